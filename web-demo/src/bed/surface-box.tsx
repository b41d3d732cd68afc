/** The place of the surface in space: the part that draws it is loaded when it is asked for. */

import { useEffect, useRef, useState } from "preact/hooks";
import type { HeightMap } from "evengap";
import type { Isolines } from "evengap/workshop";
import { useLight } from "../light";
import type { State } from "../state";
import type { Bed } from "./frame";
import type { Space } from "./surface";

export function SurfaceBox({ app, bed, map, isolines }: { app: State; bed: Bed; map: HeightMap; isolines: Isolines }) {
  const [shown, setShown] = useState(false);
  const [said, setSaid] = useState("");
  const canvas = useRef<HTMLCanvasElement>(null);
  const space = useRef<Space | null>(null);
  const light = useLight();
  useEffect(() => {
    if (!shown) return;
    let over = false;
    void import("./surface").then(
      ({ open }) => {
        if (over || !canvas.current) return;
        space.current = open(canvas.current, map, bed, isolines, light);
        setSaid(`Heights are drawn ${space.current.exaggeration} times larger than they are.`);
      },
      () => setSaid("The part that draws the surface could not be loaded: is the server still there? Load the page again."),
    );
    return () => {
      over = true;
      space.current?.close();
      space.current = null;
    };
  }, [shown, app.turn, light]);
  return (
    <section class="space" aria-labelledby="space-title">
      <h2 id="space-title">The bed in space</h2>
      {!shown ? (
        <button type="button" onClick={() => setShown(true)}>Show the surface</button>
      ) : (
        <>
          <canvas
            ref={canvas}
            tabIndex={0}
            role="application"
            aria-roledescription="surface"
            aria-label="The bed as a surface in space. Left and right turn it, up and down tip it."
          />
          <p class="note" role="status">{said}</p>
          <p class="hint">Drag, or use the arrow keys, to turn it.</p>
        </>
      )}
    </section>
  );
}

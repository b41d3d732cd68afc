/** One layer's path over the bed, coloured by how far its gap is from the gap meant. */

import { useEffect, useLayoutEffect, useRef } from "preact/hooks";
import { frame as frameOf, type Bed, type Frame } from "../bed/frame";
import { Edge, Ground, useWidth } from "../bed/sheet";
import { css, gap } from "../bed/tints";
import { useLight } from "../light";
import type { Light } from "../storage";
import { signed } from "../text";
import type { Path } from "./protocol";

/** Shades on each side of the middle. */
const SHADES = 10;

export function LayerDrawing({ bed, path, limit, title, label }: { bed: Bed; path: Path; limit: number; title: string; label: string }) {
  const [box, width] = useWidth<HTMLDivElement>();
  const canvas = useRef<HTMLCanvasElement>(null);
  const light = useLight();
  const frame = frameOf(bed, width);
  useLayoutEffect(() => {
    if (!canvas.current) return;
    canvas.current.style.width = `${frame.width}px`;
    canvas.current.style.height = `${frame.height}px`;
  });
  useEffect(() => {
    if (canvas.current && width > 0) draw(canvas.current, frame, path, limit, light);
  }, [path, width, limit, light]);
  return (
    <figure class="sheet">
      <h3>{title}</h3>
      <div class="drawing" ref={box}>
        {width > 0 && (
          <>
            <svg width={frame.width} height={frame.height} role="img" aria-label={label}>
              <Ground frame={frame} />
              <Edge frame={frame} />
            </svg>
            <canvas class="path" ref={canvas} aria-hidden="true" />
          </>
        )}
      </div>
      {path.cut && <figcaption>There is more of this layer than could be drawn.</figcaption>}
    </figure>
  );
}

function draw(canvas: HTMLCanvasElement, frame: Frame, { points, strokes }: Path, limit: number, light: Light): void {
  const ratio = Math.min(devicePixelRatio || 1, 2);
  canvas.width = Math.round(frame.width * ratio);
  canvas.height = Math.round(frame.height * ratio);
  const pen = canvas.getContext("2d");
  if (!pen) return;
  pen.scale(ratio, ratio);
  pen.lineWidth = Math.max(0.8, 0.4 * frame.scale);
  pen.lineCap = "round";
  const shade = (deviation: number) => Math.round(Math.min(1, Math.max(-1, deviation / limit)) * SHADES) + SHADES;
  // All pieces of one shade are drawn at once: the middle first, so that what matters lies on top.
  const pieces: number[][] = Array.from({ length: 2 * SHADES + 1 }, () => []);
  strokes.forEach((start, n) => {
    const end = strokes[n + 1] ?? points.length / 3;
    for (let i = start; i + 1 < end; i++) pieces[shade((points[3 * i + 2]! + points[3 * i + 5]!) / 2)]!.push(i);
  });
  const order = pieces.map((_, s) => s).sort((a, b) => Math.abs(a - SHADES) - Math.abs(b - SHADES));
  for (const s of order) {
    pen.strokeStyle = css(gap(light, s / (2 * SHADES)));
    pen.beginPath();
    for (const i of pieces[s]!) {
      pen.moveTo(frame.px(points[3 * i]!), frame.py(points[3 * i + 1]!));
      pen.lineTo(frame.px(points[3 * i + 3]!), frame.py(points[3 * i + 4]!));
    }
    pen.stroke();
  }
}

/** The colours and what they mean, mm. */
export function Legend({ limit, window }: { limit: number; window: [number, number] | null }) {
  const light = useLight();
  const canvas = useRef<HTMLCanvasElement>(null);
  useEffect(() => {
    const pen = canvas.current?.getContext("2d");
    if (!pen) return;
    const shades = 2 * SHADES + 1;
    for (let s = 0; s < shades; s++) {
      pen.fillStyle = css(gap(light, s / (shades - 1)));
      pen.fillRect((s * 210) / shades, 0, 210 / shades + 1, 10);
    }
  }, [light]);
  return (
    <div class="legend">
      <canvas ref={canvas} width={210} height={10} aria-hidden="true" />
      <p class="ends">
        <span>{signed(-limit)}</span>
        <span>0</span>
        <span>{signed(limit)} mm</span>
      </p>
      <p class="note">
        Rust: the gap is smaller than sliced, the nozzle too near. Blue: larger, too far.
        {window && ` A first layer sticks from ${signed(window[0])} to ${signed(window[1])} mm.`}
      </p>
    </div>
  );
}

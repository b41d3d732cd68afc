/** Sheet 2: the bed. */

import { useEffect, useMemo, useState } from "preact/hooks";
import { download } from "../download";
import { plural } from "../text";
import { setSurface, type State } from "../state";
import { waits, type SurfaceKind } from "../survey";
import { bedOf } from "./frame";
import { HowWellKnown } from "./known";
import { Numbers } from "./numbers";
import { Plan } from "./plan";
import { knobs, NO_KNOBS, shortTurn, TurnList } from "./knobs";
import { loaded, unloaded, workshop } from "../workshop";
import { describe, type Line } from "./words";
import { SurfaceBox } from "./surface-box";

export function BedView({ app }: { app: State }) {
  const { survey, draft } = app;
  const [printing, setPrinting] = useState<string | null>(null);
  const map = survey?.map;
  const isolines = useMemo(() => (survey?.shape && loaded()?.isolines(survey.text, app.surface)) ?? null, [app.turn]);
  const [turns, setTurns] = useState({ ...NO_KNOBS, busy: draft.screws !== null });
  useEffect(() => {
    if (!map || !survey) return;
    let here = true;
    void knobs(survey.text, app.surface, draft.screws !== null).then((found) => here && setTurns({ busy: false, ...found }));
    return () => void (here = false);
  }, [app.turn]);
  useEffect(() => {
    if (printing === null) return;
    const done = () => setPrinting(null);
    addEventListener("afterprint", done, { once: true });
    print();
    return () => removeEventListener("afterprint", done);
  }, [printing]);
  const bed = bedOf(draft);
  const plan = async (use: (svg: string) => void) => {
    try {
      const { contourPlan } = await workshop();
      use(contourPlan(survey?.text ?? "", app.surface));
    } catch (error) {
      const { message, help } = unloaded(error);
      setTurns({ busy: false, tram: null, reason: `${message} ${help}` });
    }
  };
  if (!survey) return <p class="note">The engine is loading.</p>;
  if (bed && waits(survey)) return <p class="note">{app.shapeless ? "A part of the engine is missing." : "The engine is loading."}</p>;
  if (!map || !bed || !isolines || !survey.shape) {
    return (
      <div class="empty">
        <p>
          There is no map of this bed yet. {survey.noMap?.message ?? "The card is not complete."} {survey.noMap?.help}
        </p>
        <p>
          <a href="#card">Go to the card</a>, and read at least three points that are not on one line.
        </p>
      </div>
    );
  }
  const { range, mended, left } = describe(survey.shape);
  return (
    <div class="bed-view">
      <div class="left">
        <Plan app={app} bed={bed} map={map} isolines={isolines} turns={(name) => shortTurn(turns, name)} />
        <div class="row">
          <button type="button" onClick={() => void plan((svg) => download(new Blob([svg], { type: "image/svg+xml" }), "bed-plan.svg"))}>Save the plan as SVG</button>
          <button type="button" onClick={() => void plan(setPrinting)}>Print the plan</button>
        </div>
      </div>
      <div class="right">
        <section aria-labelledby="shape-title">
          <h2 id="shape-title">How the plate lies</h2>
          {survey.faults.size > 0 && <p class="doubt">Some readings are marked on the card; the map is without them.</p>}
          {survey.doubts.size > 0 && <p class="doubt">{plural(survey.doubts.size, "reading is", "readings are")} off from what the others say: see the card.</p>}
          <Words lines={[range]} />
          <HowWellKnown card={survey.text} surface={app.surface} turn={app.turn} />
          <h3>What the screws can mend</h3>
          <Words lines={mended} />
          <TurnList knobs={turns} />
          <h3>What no screw can mend</h3>
          <p class="note">When the tilt is gone, {survey.shape.bend.range.toFixed(2)} mm are left from lowest to highest. The rewritten file makes up for that.</p>
          <Words lines={left} />
        </section>
        <div class="field">
          <label for="surface">Surface through the readings</label>
          <select id="surface" value={app.surface} onChange={(e) => setSurface(e.currentTarget.value as SurfaceKind)}>
            <option value="thin-plate" selected={app.surface === "thin-plate"}>thin plate: any scatter of points</option>
            <option value="bilinear" selected={app.surface === "bilinear"}>bilinear: needs a full grid</option>
          </select>
        </div>
      </div>
      <div class="below">
        <SurfaceBox app={app} bed={bed} map={map} isolines={isolines} />
        <Numbers map={map} bed={bed} shape={survey.shape} turn={app.turn} />
      </div>
      {printing && <div class="print-only" dangerouslySetInnerHTML={{ __html: printing }} />}
    </div>
  );
}

function Words({ lines }: { lines: Line[] }) {
  return (
    <table class="words">
      <tbody>
        {lines.map((l) => (
          <tr key={l.name}>
            <th scope="row">{l.name}</th>
            <td>
              <strong>{l.figure}</strong> <span>{l.words}</span>
            </td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

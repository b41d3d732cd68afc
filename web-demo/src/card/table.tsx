/** The points as a table: everything that the drawing does, by keyboard. */

import { useId, useRef, useState } from "preact/hooks";
import { edit, type State } from "../state";
import { FaultNote, faultOf } from "./field";
import { stateOf } from "./drawing";
import { pasteInto } from "./paste";
import { layGrid } from "../survey";
import { unloaded } from "../workshop";
import { plural } from "../text";
import type { PointDraft } from "../draft";

const UNIT: Record<string, string> = { drag: "Z, mm", gauge: "leaf, mm", patch: "thickness, mm", dial: "dial, mm" };

export function Points({ app }: { app: State }) {
  const [places, setPlaces] = useState(false);
  const [said, setSaid] = useState("");
  const body = useRef<HTMLTableSectionElement>(null);
  const { points, method } = app.draft;
  const unread = points.filter((p) => p.value.trim() === "").length;

  const move = (event: KeyboardEvent, row: number, column: string) => {
    const to = event.key === "Enter" || event.key === "ArrowDown" ? row + 1 : event.key === "ArrowUp" ? row - 1 : null;
    if (to === null) return;
    const next = body.current?.querySelector<HTMLInputElement>(`input[data-cell="${column}.${to}"]`);
    if (!next) return;
    event.preventDefault();
    next.focus();
    next.select();
  };
  const paste = (event: ClipboardEvent, row: number) => {
    const text = event.clipboardData?.getData("text/plain") ?? "";
    if (!/[\n\t]/.test(text.trim())) return;
    event.preventDefault();
    edit((d) => setSaid(pasteInto(d, text, row)));
  };
  const cell = (row: number, column: keyof PointDraft, label: string, value: string) => {
    const fault = faultOf(app, `points.${row}.${column}`);
    return (
      <input
        data-cell={`${column}.${row}`}
        value={value}
        size={6}
        autocomplete="off"
        aria-label={`${label}, point ${row + 1}`}
        aria-invalid={fault ? "true" : undefined}
        aria-describedby={`point-note-${row}`}
        onInput={(e) => {
          const typed = e.currentTarget.value;
          edit((d) => (d.points[row]![column] = typed));
        }}
        onKeyDown={(e) => move(e, row, column)}
        onPaste={(e) => paste(e, row)}
      />
    );
  };

  return (
    <section aria-labelledby="points-title">
      <h2 id="points-title">Points and readings</h2>
      <p class="note" role="status">
        {said || (points.length === 0 ? "No points yet." : `${plural(points.length, "point")}, ${unread === 0 ? "all read" : `${unread} still to be read`}.`)}
      </p>
      {points.length > 0 && (
        <>
          <p class="hint">Enter or ↓ goes to the next reading. A column pasted into a field fills the readings from there on.</p>
          <label class="check">
            <input type="checkbox" checked={places} onChange={(e) => setPlaces(e.currentTarget.checked)} /> Change places, remove points
          </label>
          <div class="scroll points" tabIndex={0} role="region" aria-label="Table of the points">
            <table>
              <thead>
                <tr>
                  <th scope="col">No.</th>
                  <th scope="col">X mm</th>
                  <th scope="col">Y mm</th>
                  <th scope="col">Reading: {UNIT[method]}</th>
                  {places && <th scope="col">Remove</th>}
                </tr>
              </thead>
              <tbody ref={body}>
                {points.map((p, i) => {
                  const state = stateOf(app, i);
                  const fault = ["x", "y", "value"].map((f) => faultOf(app, `points.${i}.${f}`)).find(Boolean);
                  return (
                    <tr key={i} class={state}>
                      <th scope="row">{i + 1}</th>
                      <td>{places ? cell(i, "x", "X", p.x) : p.x}</td>
                      <td>{places ? cell(i, "y", "Y", p.y) : p.y}</td>
                      <td>
                        {cell(i, "value", `Reading at X ${p.x} Y ${p.y}`, p.value)}
                        <div id={`point-note-${i}`}>
                          <FaultNote fault={fault} />
                          {!fault && <FaultNote fault={app.survey?.doubts.get(`points.${i}.value`)} doubt />}
                        </div>
                      </td>
                      {places && (
                        <td>
                          <button type="button" class="small" aria-label={`Remove point ${i + 1}`} onClick={() => edit((d) => d.points.splice(i, 1))}>
                            ×
                          </button>
                        </td>
                      )}
                    </tr>
                  );
                })}
              </tbody>
            </table>
          </div>
        </>
      )}
      <FaultNote fault={faultOf(app, "points")} />
      <AddPoints say={setSaid} app={app} />
    </section>
  );
}

function AddPoints({ app, say }: { app: State; say: (words: string) => void }) {
  const id = useId();
  const [one, setOne] = useState({ x: "", y: "", value: "" });
  const [grid, setGrid] = useState({ columns: "5", rows: "5", inset: "20" });
  const [pasted, setPasted] = useState("");
  const firstField = useRef<HTMLInputElement>(null);
  const [columns, rows, inset] = [Number(grid.columns), Number(grid.rows), Number(grid.inset)];
  const possible = [columns, rows].every((n) => Number.isInteger(n) && n >= 2 && n <= 200) && Number.isFinite(inset) && inset >= 0;
  const lay = async () => {
    const laid = await layGrid(app.draft, columns, rows, inset).catch(unloaded);
    if ("message" in laid) return say(`${laid.message} ${laid.help ?? ""}`);
    edit((d) => d.points.push(...laid.points.map(([x, y]) => ({ x: String(x), y: String(y), value: "" }))));
    say(laid.said);
  };
  const field = <T extends object>(name: keyof T & string, label: string, from: T, set: (next: T) => void, first = false) => (
    <label class="field">
      <span>{label}</span>
      <input
        ref={first ? firstField : null}
        value={String(from[name])}
        size={5}
        autocomplete="off"
        onInput={(e) => set({ ...from, [name]: e.currentTarget.value })}
      />
    </label>
  );
  return (
    <details class="add" open={app.draft.points.length === 0}>
      <summary>Add points</summary>
      <form
        class="row"
        onSubmit={(e) => {
          e.preventDefault();
          edit((d) => d.points.push({ ...one }));
          say(`Point ${app.draft.points.length + 1} was added.`);
          setOne({ x: "", y: "", value: "" });
          firstField.current?.focus();
        }}
      >
        {field("x", "X mm", one, setOne, true)}
        {field("y", "Y mm", one, setOne)}
        {field("value", "Reading", one, setOne)}
        <button type="submit" disabled={one.x.trim() === "" || one.y.trim() === ""}>
          Add this point
        </button>
      </form>
      <form
        class="row"
        onSubmit={(e) => {
          e.preventDefault();
          if (possible) void lay();
        }}
      >
        {field("columns", "Columns", grid, setGrid)}
        {field("rows", "Rows", grid, setGrid)}
        {field("inset", "From the edge, mm", grid, setGrid)}
        <button type="submit" disabled={!possible}>
          Lay a grid
        </button>
      </form>
      <form
        onSubmit={(e) => {
          e.preventDefault();
          const firstUnread = app.draft.points.findIndex((p) => p.value.trim() === "");
          edit((d) => say(pasteInto(d, pasted, Math.max(0, firstUnread))));
          setPasted("");
        }}
      >
        <label for={`${id}-paste`}>From a spreadsheet: a column of readings, or rows of X, Y and reading</label>
        <textarea id={`${id}-paste`} rows={3} value={pasted} onInput={(e) => setPasted(e.currentTarget.value)} />
        <button type="submit" disabled={pasted.trim() === ""}>
          Bring in
        </button>
      </form>
    </details>
  );
}

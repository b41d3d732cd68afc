/** The bed to scale: click a point or an empty place, type its reading, Tab to the next. */

import { useLayoutEffect, useRef, useState } from "preact/hooks";
import { edit, type State } from "../state";
import { frame as frameOf, bedOf, onPlate, type Frame } from "../bed/frame";
import { Edge, Figure, Ground, RightAt, Screws, useWidth } from "../bed/sheet";
import { numberIn, type PointDraft } from "../draft";
import { faultOf } from "./field";

/** A click this near to a point means it, pixels. */
const NEAR = 16;

export function Drawing({ app }: { app: State }) {
  const [box, width] = useWidth<HTMLDivElement>();
  const [open, setOpen] = useState<number | null>(null);
  const { draft } = app;
  const bed = bedOf(draft);
  if (!bed) return <p class="note">The drawing appears when the bed’s size is right.</p>;
  const frame = frameOf(bed, width);
  const places = draft.points.map((p) => placeOf(frame, p));
  const point = open === null ? undefined : draft.points[open];
  const place = open === null ? undefined : places[open];

  const click = (event: MouseEvent) => {
    const svg = event.currentTarget as SVGElement;
    const at = svg.getBoundingClientRect();
    const [x, y] = [event.clientX - at.left, event.clientY - at.top];
    const distances = places.map((p) => (p ? Math.hypot(p[0] - x, p[1] - y) : Infinity));
    const nearest = distances.indexOf(Math.min(...distances));
    if (nearest >= 0 && distances[nearest]! <= NEAR) return setOpen(nearest);
    const [mx, my] = frame.mm(x, y).map(Math.round) as [number, number];
    if (!onPlate(bed, mx, my)) return setOpen(null);
    edit((d) => d.points.push({ x: String(mx), y: String(my), value: "" }));
    setOpen(draft.points.length);
  };

  return (
    <Figure caption="Click a point to type its reading, or an empty place to add one. Tab goes to the next point. The table does the same.">
      <div class="drawing" ref={box}>
        {width > 0 && (
          <svg
            width={frame.width}
            height={frame.height}
            role="img"
            aria-label={`The bed from above, ${bed.x[1] - bed.x[0]} by ${bed.y[1] - bed.y[0]} mm, with ${draft.points.length} points; the table has them all.`}
            onClick={click}
          >
            <Ground frame={frame} />
            <Edge frame={frame} />
            <RightAt frame={frame} at={draft.rightAt} />
            {draft.screws && <Screws frame={frame} screws={draft.screws.at} />}
            {draft.points.map((p, i) => {
              const at = places[i];
              return at && <Mark key={i} at={at} point={p} open={i === open} state={stateOf(app, i)} />;
            })}
          </svg>
        )}
        {point && place && open !== null && (
          <Entry
            key={open}
            at={place}
            width={frame.width}
            label={`Reading at X ${point.x} Y ${point.y}`}
            value={point.value}
            fault={faultOf(app, `points.${open}.value`)?.message}
            onInput={(value) => edit((d) => (d.points[open]!.value = value))}
            go={(step) => {
              const next = open + step;
              if (next < 0 || next >= draft.points.length) return false;
              setOpen(next);
              return true;
            }}
            close={() => setOpen(null)}
          />
        )}
      </div>
    </Figure>
  );
}

function placeOf(frame: Frame, p: PointDraft): [number, number] | null {
  const [x, y] = [numberIn(p.x), numberIn(p.y)];
  return x === null || y === null ? null : [frame.px(x), frame.py(y)];
}

type MarkState = "read" | "unread" | "fault" | "doubt";

export function stateOf({ survey, draft }: State, i: number): MarkState {
  if (["x", "y", "value"].some((f) => survey?.faults.has(`points.${i}.${f}`))) return "fault";
  if (survey?.doubts.has(`points.${i}.value`)) return "doubt";
  return draft.points[i]?.value.trim() ? "read" : "unread";
}

function Mark({ at: [x, y], point, open, state }: { at: [number, number]; point: PointDraft; open: boolean; state: MarkState }) {
  return (
    <g class={`mark ${state}${open ? " open" : ""}`}>
      {open && <circle class="halo" cx={x} cy={y} r={11} />}
      {state === "unread" ? <circle class="still" cx={x} cy={y} r={4.5} /> : <path d={`M${x - 4} ${y}h8M${x} ${y - 4}v8`} />}
      {(state === "fault" || state === "doubt") && <circle class="ring" cx={x} cy={y} r={8} />}
      {point.value.trim() && (
        <text x={x} y={y + (state === "read" ? 16 : 20)} text-anchor="middle">
          {point.value}
          {state === "fault" ? " !" : state === "doubt" ? " ?" : ""}
        </text>
      )}
    </g>
  );
}

interface EntryProps {
  at: [number, number];
  width: number;
  label: string;
  value: string;
  fault: string | undefined;
  onInput: (value: string) => void;
  /** To the next (1) or the last (-1) point; false where there is none. */
  go: (step: 1 | -1) => boolean;
  close: () => void;
}

function Entry({ at, width, label, value, fault, onInput, go, close }: EntryProps) {
  const input = useRef<HTMLInputElement>(null);
  const box = useRef<HTMLDivElement>(null);
  // Before anything is painted: a key that is pressed at once must find its field.
  useLayoutEffect(() => {
    input.current?.focus();
    input.current?.select();
  }, []);
  useLayoutEffect(() => {
    if (!box.current) return;
    box.current.style.left = `${Math.min(Math.max(4, at[0] - 66), width - 140)}px`;
    box.current.style.top = `${at[1] + 12}px`;
  }, [at[0], at[1], width]);
  const key = (event: KeyboardEvent) => {
    if (event.key === "Escape") return close();
    const step = event.key === "Enter" || (event.key === "Tab" && !event.shiftKey) ? 1 : event.key === "Tab" ? -1 : null;
    if (step === null) return;
    if (go(step)) event.preventDefault();
    else close();
  };
  return (
    <div class="entry" ref={box}>
      <label>
        <span>{label}</span>
        <input
          ref={input}
          value={value}
          autocomplete="off"
          aria-invalid={fault ? "true" : undefined}
          onInput={(e) => onInput(e.currentTarget.value)}
          onKeyDown={key}
        />
      </label>
      {fault && <p class="fault">{fault}</p>}
    </div>
  );
}

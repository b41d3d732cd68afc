/** How to rewrite: the engine's options, in plain words. */

import { useId } from "preact/hooks";
import type { Options } from "evengap";
import { numberIn } from "../draft";

export interface Wishes {
  taper: "auto" | "none" | "range";
  from: string;
  to: string;
  shift: string;
  floor: string;
  tolerance: string;
  flow: boolean;
  eStart: "absolute" | "relative";
  g90SetsE: boolean;
  allow: { unknown_motion: boolean; own_levelling: boolean; already_rewritten: boolean; large_heights: boolean };
}

export const USUAL: Wishes = {
  taper: "auto",
  from: "0.5",
  to: "5",
  shift: "0",
  floor: "0",
  tolerance: "0.005",
  flow: true,
  eStart: "absolute",
  g90SetsE: false,
  allow: { unknown_motion: false, own_levelling: false, already_rewritten: false, large_heights: false },
};

/** `null` where a field holds no number. */
export function optionsOf(w: Wishes): Options | null {
  const numbers = [w.shift, w.floor, w.tolerance, ...(w.taper === "range" ? [w.from, w.to] : [])].map(numberIn);
  if (numbers.some((n) => n === null)) return null;
  const [shift, floor, tolerance, from, to] = numbers as number[];
  return {
    taper: w.taper === "range" ? { range: { from: from!, to: to! } } : w.taper,
    shift: shift!,
    floor: floor!,
    tolerance: tolerance!,
    flow: w.flow,
    e_start: w.eStart,
    g90_sets_e: w.g90SetsE,
    allow: w.allow,
  };
}

const ALLOW: [keyof Wishes["allow"], string][] = [
  ["unknown_motion", "motion that is not understood: it passes as it is (unknown-motion)"],
  ["own_levelling", "the machine’s own probing or compensation (own-levelling)"],
  ["already_rewritten", "a file that was rewritten before (already-rewritten)"],
  ["large_heights", "heights over 2 mm (large-heights)"],
];

export function OptionFields({ wishes, set }: { wishes: Wishes; set: (next: Wishes) => void }) {
  const id = useId();
  const put = <K extends keyof Wishes>(key: K, value: Wishes[K]) => set({ ...wishes, [key]: value });
  const number = (key: "from" | "to" | "shift" | "floor" | "tolerance", label: string, hint?: string) => {
    const wrong = numberIn(wishes[key]) === null;
    return (
      <div class="field">
        <label for={`${id}-${key}`}>
          {label} <span class="unit">mm</span>
        </label>
        <input
          id={`${id}-${key}`}
          value={wishes[key]}
          autocomplete="off"
          aria-invalid={wrong ? "true" : undefined}
          aria-describedby={hint ? `${id}-${key}-hint` : undefined}
          onInput={(e) => put(key, e.currentTarget.value)}
        />
        {hint && <p class="hint" id={`${id}-${key}-hint`}>{hint}</p>}
        {wrong && <p class="fault">Not a number. Write millimetres with a point, such as 0.1.</p>}
      </div>
    );
  };
  const check = (label: string, checked: boolean, change: (on: boolean) => void) => (
    <label class="check">
      <input type="checkbox" checked={checked} onChange={(e) => change(e.currentTarget.checked)} /> {label}
    </label>
  );
  return (
    <details class="options">
      <summary>How to rewrite</summary>
      <div class="row">
        <div class="field">
          <label for={`${id}-taper`}>Up to which height the nozzle follows the bed</label>
          <select id={`${id}-taper`} value={wishes.taper} onChange={(e) => put("taper", e.currentTarget.value as Wishes["taper"])}>
            <option value="auto" selected={wishes.taper === "auto"}>it dies out by itself, unnoticed</option>
            <option value="none" selected={wishes.taper === "none"}>to the top: the whole print is bent like the bed</option>
            <option value="range" selected={wishes.taper === "range"}>between two heights</option>
          </select>
        </div>
        {wishes.taper === "range" && number("from", "Whole up to Z")}
        {wishes.taper === "range" && number("to", "Ended at Z")}
        {number("shift", "Shift", "The nozzle higher (or lower, −) everywhere, as turning all knobs alike.")}
        {number("floor", "Floor", "No move may come to lie below this Z.")}
        {number("tolerance", "Tolerance", "How far Z may be from the bed’s shape.")}
      </div>
      {check("Extrusion follows the layers’ thickness while it dies out", wishes.flow, (on) => put("flow", on))}
      {check("E is relative until the file says so", wishes.eStart === "relative", (on) => put("eStart", on ? "relative" : "absolute"))}
      {check("On this machine G90 and G91 set E too", wishes.g90SetsE, (on) => put("g90SetsE", on))}
      <fieldset>
        <legend>Let pass what is otherwise refused, if you know why:</legend>
        {ALLOW.map(([key, words]) => (
          <div key={key}>{check(words, wishes.allow[key], (on) => put("allow", { ...wishes.allow, [key]: on }))}</div>
        ))}
      </fieldset>
    </details>
  );
}

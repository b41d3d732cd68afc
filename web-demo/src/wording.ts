/** The draft as card text that the engine reads, and which field each line of it came from. */

import { numberIn, type Draft } from "./draft";

/** Names a field: `bed.x.0`, `points.3.value`, `sheet` and so on. */
export type Field = string;

export interface Fault {
  message: string;
  help?: string | undefined;
}

export interface Wording {
  text: string;
  /** The field of each line of the text, from line 1. */
  fields: Field[];
  /** What is no number, and so could not be given to the engine. */
  faults: Map<Field, Fault>;
}

const NOT_A_NUMBER = (typed: string): Fault =>
  /^\s*[+-]?\d*,\d+\s*$/.test(typed)
    ? { message: `“${typed}” has a comma.`, help: `Write a point for the decimals: ${typed.trim().replace(",", ".")}` }
    : typed.trim() === ""
      ? { message: "A number is missing here." }
      : { message: `“${typed}” is not a number.`, help: "Write it in millimetres with a point for the decimals, such as 0.16." };

/**
 * Spells the draft as JSON, one value a line, so that the place in an error of the engine names the field.
 *
 * Points in `without` are left out: the engine names one fault at a time, and the next is found without the last.
 */
export function wording(draft: Draft, without: ReadonlySet<number>): Wording {
  const lines: string[] = [];
  const fields: Field[] = [];
  const faults: Wording["faults"] = new Map();
  const put = (line: string, field: Field = "") => {
    lines.push(line);
    fields.push(field);
  };
  const number = (typed: string, field: Field): number => {
    const n = numberIn(typed);
    if (n === null) faults.set(field, NOT_A_NUMBER(typed));
    return n ?? 0;
  };
  /** `"key": [` and each number on a line of its own. */
  const list = (key: string, typed: readonly string[], field: Field) => {
    put(`${key}[`, field);
    typed.forEach((t, i) => put(`${number(t, `${field}.${i}`)}${i < typed.length - 1 ? "," : ""}`, `${field}.${i}`));
    put("]", field);
  };
  const comma = () => (lines[lines.length - 1] += ",");
  /** An optional number or pair: nothing where all of it is empty. */
  const optional = (key: string, typed: string | readonly string[], field: Field) => {
    const texts = typeof typed === "string" ? [typed] : typed;
    if (texts.every((t) => t.trim() === "")) return;
    comma();
    if (typeof typed === "string") put(`"${key}": ${number(typed, field)}`, field);
    else list(`"${key}": `, typed, field);
  };

  put("{");
  put('"bed": {', "bed.x.0");
  list('"x": ', draft.bed.x, "bed.x");
  comma();
  list('"y": ', draft.bed.y, "bed.y");
  comma();
  put(`"outline": ${JSON.stringify(draft.bed.outline)},`, "bed.outline");
  put('"keep_out": [');
  draft.bed.keepOut.forEach((area, i) => {
    if (i > 0) comma();
    list("", area, `keepOut.${i}`);
  });
  put("]");
  put("},");

  put('"readings": {', "method");
  put(`"method": ${JSON.stringify(draft.method)}`, "method");
  if (draft.method === "drag") optional("sheet", draft.sheet, "sheet");
  if (draft.method === "gauge" || draft.method === "patch") optional("parked", draft.parked, "parked");
  if (draft.method === "dial") optional("offset", draft.offset, "offset");
  optional("bed_celsius", draft.bedCelsius, "bedCelsius");
  optional("nozzle_celsius", draft.nozzleCelsius, "nozzleCelsius");
  optional("spread", draft.spread, "spread");
  optional("right_at", draft.rightAt, "rightAt");
  if (draft.kept.predicted) {
    comma();
    put('"predicted": true');
  }
  comma();
  put('"points": [', "points");
  let some = false;
  draft.points.forEach((p, i) => {
    if (without.has(i)) return;
    const field = `points.${i}`;
    const bad = faults.size;
    const x = number(p.x, `${field}.x`);
    const y = number(p.y, `${field}.y`);
    const read = p.value.trim() !== "";
    const value = read ? number(p.value, `${field}.value`) : 0;
    if (faults.size > bad) return;
    if (some) comma();
    some = true;
    put("[", `${field}.value`);
    put(`${x},`, `${field}.x`);
    put(`${y}${read ? "," : ""}`, `${field}.y`);
    if (read) put(`${value}${p.spread ? "," : ""}`, `${field}.value`);
    if (read && p.spread) put(String(number(p.spread, `${field}.value`)), `${field}.value`);
    put("]", `${field}.value`);
  });
  put("]", "points");
  put("}");

  if (draft.screws) {
    const { thread, pitch, raise, at } = draft.screws;
    comma();
    put('"screws": {', "screws");
    if (thread !== "") put(`"thread": ${JSON.stringify(thread)},`, "screws.thread");
    else put(`"pitch": ${number(pitch, "screws.pitch")},`, "screws.pitch");
    put(`"raise": ${JSON.stringify(raise)},`, "screws.raise");
    put('"at": {', "screws");
    at.forEach((s, i) => {
      if (i > 0) comma();
      put(`${JSON.stringify(s.name)}:`, `screws.${i}.name`);
      put("[", `screws.${i}.x`);
      put(`${number(s.x, `screws.${i}.x`)},`, `screws.${i}.x`);
      put(`${number(s.y, `screws.${i}.y`)}`, `screws.${i}.y`);
      put("]", `screws.${i}.x`);
    });
    put("}", "screws");
    if (draft.kept.travel !== undefined) {
      comma();
      put(`"travel": ${JSON.stringify(draft.kept.travel)}`, "screws");
    }
    put("}");
  }
  if (draft.kept.print !== undefined) {
    comma();
    put(`"print": ${JSON.stringify(draft.kept.print)}`);
  }
  put("}");
  return { text: lines.join("\n"), fields, faults };
}

/** The card as it is being typed: every number is the text in its field. */

import type { CardJson } from "evengap";

export type Method = "drag" | "gauge" | "patch" | "dial";

export interface PointDraft {
  x: string;
  y: string;
  /** What was read; empty where the point is still to be read. */
  value: string;
  /** One standard deviation of this reading, where an opened card gave it one. */
  spread?: string;
}

export interface ScrewDraft {
  name: string;
  x: string;
  y: string;
}

export interface Draft {
  bed: { x: [string, string]; y: [string, string]; outline: "rectangle" | "round"; keepOut: [string, string, string, string][] };
  method: Method;
  sheet: string;
  parked: string;
  offset: [string, string];
  bedCelsius: string;
  nozzleCelsius: string;
  spread: string;
  rightAt: [string, string];
  points: PointDraft[];
  /** `null`: the card names no screws. */
  screws: { thread: string; pitch: string; raise: "clockwise" | "anticlockwise"; at: ScrewDraft[] } | null;
  /** Sections and keys of an opened card that this page does not edit: they go back into it as they are. */
  kept: { print?: unknown; travel?: unknown; predicted?: true };
}

export function emptyDraft(): Draft {
  return {
    bed: { x: ["0", "235"], y: ["0", "235"], outline: "rectangle", keepOut: [] },
    method: "drag",
    sheet: "0.1",
    parked: "",
    offset: ["", ""],
    bedCelsius: "",
    nozzleCelsius: "",
    spread: "",
    rightAt: ["", ""],
    points: [],
    screws: null,
    kept: {},
  };
}

export function newScrews(bed: Draft["bed"]): NonNullable<Draft["screws"]> {
  const inset = (range: [string, string], n: 0 | 1) => {
    const end = Number(range[n]);
    return Number.isFinite(end) ? String(n === 0 ? end + 30 : end - 30) : "";
  };
  const at = (name: string, i: 0 | 1, j: 0 | 1) => ({ name, x: inset(bed.x, i), y: inset(bed.y, j) });
  return {
    thread: "M4",
    pitch: "",
    raise: "anticlockwise",
    at: [at("front left", 0, 0), at("front right", 1, 0), at("back left", 0, 1), at("back right", 1, 1)],
  };
}

/** What the card's JSON may hold beyond its declared type: unread points, spreads of single readings, kept sections. */
type Whole = Omit<CardJson, "readings" | "screws"> & {
  readings: Omit<CardJson["readings"], "points"> & { points: number[][]; predicted?: boolean };
  screws?: CardJson["screws"] & { travel?: unknown };
  print?: unknown;
};

const text = (value: number | undefined) => (value === undefined ? "" : String(value));
const pair = (value: [number, number] | undefined): [string, string] => [text(value?.[0]), text(value?.[1])];

/** The fields of a card that the engine has read. */
export function draftOf(json: CardJson): Draft {
  const card = json as unknown as Whole;
  const { bed, readings, screws, print } = card;
  const kept: Draft["kept"] = {};
  if (print !== undefined) kept.print = print;
  if (screws?.travel !== undefined) kept.travel = screws.travel;
  if (readings.predicted) kept.predicted = true;
  return {
    bed: {
      x: pair(bed.x),
      y: pair(bed.y),
      outline: bed.outline ?? "rectangle",
      keepOut: (bed.keep_out ?? []).map((k) => k.map(String) as [string, string, string, string]),
    },
    method: readings.method,
    sheet: text(readings.sheet),
    parked: text(readings.parked),
    offset: pair(readings.offset),
    bedCelsius: text(readings.bed_celsius),
    nozzleCelsius: text(readings.nozzle_celsius),
    spread: text(readings.spread),
    rightAt: pair(readings.right_at),
    points: readings.points.map(([x, y, value, spread]) => ({
      x: text(x),
      y: text(y),
      value: text(value),
      ...(spread === undefined ? {} : { spread: text(spread) }),
    })),
    screws: screws
      ? {
          thread: screws.thread ?? "",
          pitch: text(screws.pitch),
          raise: screws.raise,
          at: Object.entries(screws.at).map(([name, [x, y]]) => ({ name, x: text(x), y: text(y) })),
        }
      : null,
    kept,
  };
}

/** A number as it was typed; `null` for what is none. A true minus is taken for a hyphen. */
export function numberIn(typed: string): number | null {
  const plain = typed.trim().replace(/^[−–]/, "-");
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain) ? Number(plain) : null;
}

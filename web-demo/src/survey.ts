/** What the engine makes of the draft: its faults, the card, the map and the bed's shape. */

import { Card, EvengapError, HeightMap, type SurfaceKind } from "evengap";
import type { Isolines, Outlier, Shape } from "evengap/workshop";
import type { Draft } from "./draft";
import { workshop, type Workshop } from "./workshop";
import { wording, type Fault, type Field } from "./wording";

export interface Survey {
  faults: Map<Field, Fault>;
  /** Readings that stand out from the others: not wrong in themselves. */
  doubts: Map<Field, Fault>;
  /** The card without its faulty readings; `null` where it cannot be read at all. */
  card: Card | null;
  /** The card's text, for a Worker to read again. */
  text: string;
  map: HeightMap | null;
  /** Why there is no map although there is a card. */
  noMap: Fault | null;
  /** `null` without a map, and until the engine's second module has come. */
  shape: Shape | null;
}

/** There is a map, and the second module that tells its shape has not come: which readings stand out is not known yet. */
export const waits = ({ map, shape, noMap }: Survey): boolean => map !== null && shape === null && noMap === null;

/** More faults than this are not looked for: something else is wrong. */
const MOST_FAULTS = 60;

/** `workshop` is the engine's second module, once it has come. */
export function survey(draft: Draft, surface: SurfaceKind, workshop: Workshop | null): Survey {
  const found: Survey = { faults: new Map(), doubts: new Map(), card: null, text: "", map: null, noMap: null, shape: null };
  const without = new Set<number>();
  let fields: Field[] = [];
  while (found.card === null && without.size < MOST_FAULTS) {
    const spelt = wording(draft, without);
    fields = spelt.fields;
    found.text = spelt.text;
    for (const [field, fault] of spelt.faults) found.faults.set(field, fault);
    if ([...spelt.faults.keys()].some((f) => !f.startsWith("points."))) return found;
    try {
      found.card = draft.points.length > 0 ? Card.fromText(spelt.text) : Card.fromTextWithoutPoints(spelt.text);
    } catch (error) {
      if (!(error instanceof EvengapError)) throw error;
      const field = fields[(error.line ?? 1) - 1] || "method";
      found.faults.set(field, { message: sentence(error.message), help: sentence(error.help ?? undefined) });
      const point = /^points\.(\d+)/.exec(field);
      if (!point) return found;
      without.add(Number(point[1]));
    }
  }
  if (!found.card) return found;
  try {
    found.map = HeightMap.fit(found.card, surface);
    if (!workshop) return found;
    found.shape = workshop.shape(found.text, surface);
    const put = (outlier: Outlier, fault: Fault) => {
      const field = fields[(outlier.line ?? 0) - 1];
      if (field) found.doubts.set(field, fault);
    };
    for (const outlier of found.shape.outliers) put(outlier, doubt(outlier));
    for (const outlier of found.shape.doubtful) put(outlier, worthAgain(outlier));
  } catch (error) {
    if (!(error instanceof EvengapError)) throw error;
    found.noMap = { message: sentence(error.message), help: sentence(error.help ?? undefined) };
    for (const { line } of error.places) {
      const field = fields[line - 1];
      const point = draft.points[Number(/^points\.(\d+)/.exec(field ?? "")?.[1] ?? -1)];
      // The card is a card all the same; points that wait to be read are no fault of anyone's.
      if (field && point?.value.trim()) found.doubts.set(field, found.noMap);
    }
  }
  return found;
}

function doubt(o: Outlier): Fault {
  return {
    message: `The other readings lead one to expect about ${o.expected_value.toFixed(2)} here.`,
    help: "Read this place again, and look for a crumb under the plate.",
  };
}

/** A sound reading is so far off now and then; half a minute tells. */
function worthAgain(o: Outlier): Fault {
  return { message: `Worth reading again: the others lead one to expect ${o.expected_value.toFixed(2)} ± ${o.expected_within.toFixed(2)}.` };
}

/** The engine's messages begin small and end without a full stop. */
export function sentence(text: string): string;
export function sentence(text: string | undefined): string | undefined;
export function sentence(text: string | undefined): string | undefined {
  if (!text) return undefined;
  // What is quoted from a file stands in backticks there.
  const plain = text.replace(/`([^`]+)`/g, "“$1”");
  return plain.charAt(0).toUpperCase() + plain.slice(1) + (/[.?!]$/.test(plain) ? "" : ".");
}

export interface Laid {
  points: [number, number][];
  /** In words, for a person. */
  said: string;
}

/** A grid of points on the draft's bed, laid by the engine; or why it cannot be. */
export async function layGrid(draft: Draft, columns: number, rows: number, margin: number): Promise<Laid | Fault> {
  const spelt = wording({ ...draft, points: [] }, new Set());
  const wrong = spelt.faults.values().next().value;
  if (wrong) return { message: "Mend what is marked on the card first.", help: wrong.message };
  const { planGrid } = await workshop();
  try {
    const { points, leftOut, travel } = planGrid(spelt.text, columns, rows, margin);
    const reasons = [...new Set(leftOut.map((l) => l.why))].join("; ");
    const left = leftOut.length > 0 ? ` ${leftOut.length} were left out: ${reasons}.` : "";
    return { points, said: `${points.length} points were added, in an order that takes ${(travel / 1000).toFixed(1)} m of way.${left}` };
  } catch (error) {
    if (!(error instanceof EvengapError)) throw error;
    return { message: sentence(error.message), help: sentence(error.help ?? undefined) };
  }
}

export function free(found: Survey | null): void {
  found?.map?.free();
  found?.card?.free();
}

export type { Isolines, Shape, SurfaceKind };

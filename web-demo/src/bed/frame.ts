/** Places on the bed, mm, to places on the drawing, pixels, and back. The front is at the bottom. */

import { numberIn, type Draft } from "../draft";

export interface Bed {
  x: [number, number];
  y: [number, number];
  round: boolean;
  keepOut: [number, number, number, number][];
}

export interface Frame {
  bed: Bed;
  width: number;
  height: number;
  /** Pixels a millimetre. */
  scale: number;
  px: (x: number) => number;
  py: (y: number) => number;
  mm: (px: number, py: number) => [number, number];
}

/** Room around the bed for the axes' figures, pixels. */
export const MARGIN = { left: 38, right: 12, top: 12, bottom: 40 };

/** Tallest drawing, as a share of its width: a long narrow bed is made smaller. */
const TALLEST = 1.4;

export function frame(bed: Bed, width: number): Frame {
  const [w, d] = [bed.x[1] - bed.x[0], bed.y[1] - bed.y[0]];
  const room = Math.max(80, width - MARGIN.left - MARGIN.right);
  const scale = Math.min(room / w, (TALLEST * room) / d);
  const left = MARGIN.left + (room - w * scale) / 2;
  const height = Math.round(d * scale + MARGIN.top + MARGIN.bottom);
  return {
    bed,
    width,
    height,
    scale,
    px: (x) => left + (x - bed.x[0]) * scale,
    py: (y) => MARGIN.top + (bed.y[1] - y) * scale,
    mm: (px, py) => [bed.x[0] + (px - left) / scale, bed.y[1] - (py - MARGIN.top) / scale],
  };
}

/** The bed of a draft; `null` while its size cannot be read. */
export function bedOf(draft: Draft): Bed | null {
  const range = (typed: [string, string]): [number, number] | null => {
    const [low, high] = typed.map(numberIn);
    return low != null && high != null && high - low >= 1 && high - low <= 1e5 ? [low, high] : null;
  };
  const [x, y] = [range(draft.bed.x), range(draft.bed.y)];
  if (!x || !y) return null;
  const areas = draft.bed.keepOut.map((k) => k.map(numberIn)).filter((k) => k.every((n) => n !== null));
  return { x, y, round: draft.bed.outline === "round", keepOut: areas as Bed["keepOut"] };
}

/** Round figures between two ends, about one for every `room` pixels. */
export function ticks([low, high]: [number, number], scale: number, room: number): number[] {
  const least = room / scale;
  const power = 10 ** Math.floor(Math.log10(least));
  const step = [1, 2, 5, 10].map((n) => n * power).find((s) => s >= least) ?? 10 * power;
  const found: number[] = [];
  for (let i = Math.ceil(low / step - 1e-9); i * step <= high + 1e-9 * step; i++) found.push(i * step);
  return found;
}

/** Whether the plate is there. */
export function onPlate(bed: Bed, x: number, y: number): boolean {
  const [u, v] = [(2 * x - bed.x[0] - bed.x[1]) / (bed.x[1] - bed.x[0]), (2 * y - bed.y[0] - bed.y[1]) / (bed.y[1] - bed.y[0])];
  return bed.round ? u * u + v * v <= 1 : Math.abs(u) <= 1 && Math.abs(v) <= 1;
}

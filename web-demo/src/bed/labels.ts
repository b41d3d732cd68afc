/** Where the figures of contours stand: on their lines, upright, clear of what is there already. */

import type { Isolines } from "evengap/workshop";
import type { Frame } from "./frame";

export interface Label {
  text: string;
  x: number;
  y: number;
  /** Degrees, clockwise. */
  turn: number;
}

/** Least distance of a figure from another and from a spot height, pixels. */
const CLEAR = 30;

export function labels(isolines: Isolines, frame: Frame, taken: readonly [number, number][]): Label[] {
  const placed: Label[] = [];
  const clear = (x: number, y: number) =>
    taken.every(([a, b]) => Math.abs(a - x) > CLEAR || Math.abs(b - y) > 14) &&
    placed.every((l) => Math.hypot(l.x - x, l.y - y) > CLEAR * 1.3);
  for (const level of isolines.levels) {
    const lines = [...level.lines].sort((a, b) => b.length - a.length).slice(0, 2);
    for (const line of lines) {
      const path = line.map(([x, y]) => [frame.px(x), frame.py(y)] as const);
      if (extent(path) < 60) continue;
      // From the middle of the line outwards.
      const order = path.map((_, i) => i).sort((a, b) => Math.abs(a - path.length / 2) - Math.abs(b - path.length / 2));
      const at = order.filter((_, n) => n % 3 === 0).find((i) => {
        const [x, y] = path[i]!;
        return x > frame.px(frame.bed.x[0]) + 22 && x < frame.px(frame.bed.x[1]) - 22 && y > frame.py(frame.bed.y[1]) + 12 && y < frame.py(frame.bed.y[0]) - 12 && clear(x, y);
      });
      if (at === undefined) continue;
      const [x, y] = path[at]!;
      const [a, b] = [path[Math.max(0, at - 3)]!, path[Math.min(path.length - 1, at + 3)]!];
      let turn = (Math.atan2(b[1] - a[1], b[0] - a[0]) * 180) / Math.PI;
      if (turn > 90) turn -= 180;
      if (turn < -90) turn += 180;
      placed.push({ text: level.text, x, y, turn });
    }
  }
  return placed;
}

function extent(path: readonly (readonly [number, number])[]): number {
  const range = (n: 0 | 1) => Math.max(...path.map((p) => p[n])) - Math.min(...path.map((p) => p[n]));
  return path.length < 2 ? 0 : range(0) + range(1);
}

/** The bed in numbers: what the pictures show, for reading. */

import { useMemo } from "preact/hooks";
import type { HeightMap } from "evengap";
import type { Shape } from "evengap/workshop";
import { signed } from "../text";
import { ticks, type Bed } from "./frame";

export function Numbers({ map, bed, shape, turn }: { map: HeightMap; bed: Bed; shape: Shape; turn: number }) {
  const { xs, ys, heights } = useMemo(() => {
    const scale = 1;
    const room = Math.max(bed.x[1] - bed.x[0], bed.y[1] - bed.y[0]) / 12;
    const [xs, ys] = [ticks(bed.x, scale, room), ticks(bed.y, scale, room).reverse()];
    return { xs, ys, heights: map.heightsAt(ys.flatMap((y) => xs.flatMap((x) => [x, y]))) };
  }, [turn]);
  const readings = useMemo(() => map.readings(), [turn]);
  return (
    <div class="numbers">
      <details>
        <summary>Heights in numbers</summary>
        <div class="scroll" tabIndex={0} role="region" aria-label="Heights over the bed">
          <table class="figures">
            <caption>Heights, mm, as the bed lies: the front is at the bottom</caption>
            <thead>
              <tr>
                <th scope="col">Y \ X</th>
                {xs.map((x) => <th scope="col" key={x}>{x}</th>)}
              </tr>
            </thead>
            <tbody>
              {ys.map((y, j) => (
                <tr key={y}>
                  <th scope="row">{y}</th>
                  {xs.map((x, i) => <td key={x}>{signed(heights[j * xs.length + i] ?? 0)}</td>)}
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      </details>
      <details>
        <summary>Readings against the map</summary>
        <div class="scroll" tabIndex={0} role="region" aria-label="Readings against the map">
          <table class="figures readings">
            <caption>Each reading as a height, mm; how far the map passes it by; and what the other readings alone would say</caption>
            <thead>
              <tr>
                <th scope="col">X</th>
                <th scope="col">Y</th>
                <th scope="col">Height</th>
                <th scope="col">Residual</th>
                <th scope="col">Others</th>
              </tr>
            </thead>
            <tbody>
              {readings.map((r, i) => (
                <tr key={i}>
                  <td>{r.x}</td>
                  <td>{r.y}</td>
                  <td>{signed(r.height, 3)}</td>
                  <td>{signed(r.residual, 3)}</td>
                  <td>{shape.readings[i]?.expected == null ? "none" : signed(shape.readings[i]!.expected!, 3)}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      </details>
    </div>
  );
}

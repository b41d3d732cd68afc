/** The ground of every drawing of the bed: plate, axes, clips and screws. */

import type { ComponentChildren } from "preact";
import { useLayoutEffect, useRef, useState } from "preact/hooks";
import { numberIn, type ScrewDraft } from "../draft";
import { ticks, type Frame } from "./frame";

/** The width that an element has, pixels. */
export function useWidth<T extends HTMLElement>(least = 240) {
  const ref = useRef<T>(null);
  const [width, setWidth] = useState(0);
  useLayoutEffect(() => {
    const element = ref.current;
    if (!element) return;
    const measure = () => setWidth(Math.max(least, Math.floor(element.clientWidth)));
    measure();
    const observer = new ResizeObserver(measure);
    observer.observe(element);
    return () => observer.disconnect();
  }, []);
  return [ref, width] as const;
}

export function Outline({ frame, ...rest }: { frame: Frame; [attribute: string]: unknown }) {
  const { bed, px, py, scale } = frame;
  const [w, d] = [(bed.x[1] - bed.x[0]) * scale, (bed.y[1] - bed.y[0]) * scale];
  return bed.round ? (
    <ellipse cx={px(bed.x[0]) + w / 2} cy={py(bed.y[1]) + d / 2} rx={w / 2} ry={d / 2} {...rest} />
  ) : (
    <rect x={px(bed.x[0])} y={py(bed.y[1])} width={w} height={d} {...rest} />
  );
}

/** Plate, hairlines and figures of the axes. */
export function Ground({ frame, plate = true }: { frame: Frame; plate?: boolean }) {
  const { bed, px, py, scale, height } = frame;
  const [xs, ys] = [ticks(bed.x, scale, 46), ticks(bed.y, scale, 46)];
  const [left, bottom] = [px(bed.x[0]), py(bed.y[0])];
  return (
    <g class="ground">
      {plate && <Outline frame={frame} class="plate" />}
      {xs.map((x) => (
        <g key={`x${x}`}>
          <line class="hair" x1={px(x)} x2={px(x)} y1={py(bed.y[1])} y2={bottom + 5} />
          <text x={px(x)} y={bottom + 17} text-anchor="middle">
            {x}
          </text>
        </g>
      ))}
      {ys.map((y) => (
        <g key={`y${y}`}>
          <line class="hair" x1={left - 5} x2={px(bed.x[1])} y1={py(y)} y2={py(y)} />
          <text x={left - 8} y={py(y) + 3.5} text-anchor="end">
            {y}
          </text>
        </g>
      ))}
      <text class="front" x={(left + px(bed.x[1])) / 2} y={height - 6} text-anchor="middle">
        FRONT · mm
      </text>
    </g>
  );
}

export function Edge({ frame }: { frame: Frame }) {
  const { bed, px, py, scale } = frame;
  return (
    <g>
      <Outline frame={frame} class="edge" />
      {bed.keepOut.map(([x0, y0, x1, y1], i) => (
        <rect
          key={i}
          class="keep-out"
          x={px(Math.min(x0, x1))}
          y={py(Math.max(y0, y1))}
          width={Math.abs(x1 - x0) * scale}
          height={Math.abs(y1 - y0) * scale}
        />
      ))}
    </g>
  );
}

/** The base line of what is said beside a screw: towards the middle of the bed, where there is room. */
export function screwText({ bed, py }: Frame, y: number): number {
  return py(y) + (2 * y < bed.y[0] + bed.y[1] ? -11 : 20);
}

/** A screw as it looks from above, with what is said of it beside it. */
export function Screws({ frame, screws, said }: { frame: Frame; screws: ScrewDraft[]; said?: (name: string) => string | undefined }) {
  return (
    <g class="screws">
      {screws.map((s, i) => {
        const [x, y] = [numberIn(s.x), numberIn(s.y)];
        if (x === null || y === null) return null;
        const [cx, cy] = [frame.px(x), frame.py(y)];
        const words = said?.(s.name);
        return (
          <g key={i}>
            <circle cx={cx} cy={cy} r={6} />
            <path d={`M${cx - 3.5} ${cy - 3.5}l7 7`} />
            {words && (
              <text x={cx} y={screwText(frame, y)} text-anchor="middle">
                {words}
              </text>
            )}
          </g>
        );
      })}
    </g>
  );
}

/** Where the first layer is right as it is. */
export function RightAt({ frame, at }: { frame: Frame; at: readonly [string, string] }) {
  const [x, y] = at.map(numberIn);
  if (x == null || y == null) return null;
  const [cx, cy] = [frame.px(x), frame.py(y)];
  return (
    <path class="right-at" d={`M${cx} ${cy - 8}l8 8l-8 8l-8 -8z`}>
      <title>The first layer is right here</title>
    </path>
  );
}

export function Figure({ caption, children }: { caption: ComponentChildren; children: ComponentChildren }) {
  return (
    <figure class="sheet">
      {children}
      <figcaption>{caption}</figcaption>
    </figure>
  );
}

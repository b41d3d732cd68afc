/** The surveyor's plan: contours, spot heights, and the height under the pointer. */

import { useEffect, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
import type { HeightMap } from "evengap";
import type { Isolines } from "evengap/workshop";
import type { State } from "../state";
import { useLight } from "../light";
import { signed } from "../text";
import { frame as frameOf, onPlate, type Bed, type Frame } from "./frame";
import { labels } from "./labels";
import { Edge, Figure, Ground, Outline, RightAt, Screws, screwText, useWidth } from "./sheet";
import { numberIn } from "../draft";
import { ground } from "./tints";

interface Props {
  app: State;
  bed: Bed;
  map: HeightMap;
  isolines: Isolines;
  /** What is said beside a screw. */
  turns: (name: string) => string | undefined;
}

/** Nodes along the tinted ground's longer side. */
const NODES = 220;

export function Plan({ app, bed, map, isolines, turns }: Props) {
  const [box, width] = useWidth<HTMLDivElement>();
  const [cross, setCross] = useState<[number, number]>([(bed.x[0] + bed.x[1]) / 2, (bed.y[0] + bed.y[1]) / 2]);
  const frame = frameOf(bed, width);
  const readings = useMemo(() => map.readings(), [app.turn]);
  const spots = readings.map((r) => [frame.px(r.x), frame.py(r.y) + 8] as [number, number]);
  const screws = (app.draft.screws?.at ?? []).flatMap((s) => {
    const [x, y] = [numberIn(s.x), numberIn(s.y)];
    if (x === null || y === null) return [];
    return [[frame.px(x), frame.py(y)], [frame.px(x), screwText(frame, y) - 4]] as [number, number][];
  });
  const placed = useMemo(() => (width > 0 ? labels(isolines, frame, [...spots, ...screws]) : []), [app.turn, width]);
  const height = map.height(cross[0], cross[1]);
  const [x0, y0, x1, y1] = map.measured;
  const outside = cross[0] < x0 || cross[0] > x1 || cross[1] < y0 || cross[1] > y1;

  const point = (event: PointerEvent) => {
    const at = (event.currentTarget as Element).getBoundingClientRect();
    const [x, y] = frame.mm(event.clientX - at.left, event.clientY - at.top);
    if (onPlate(bed, x, y)) setCross([x, y]);
  };
  const key = (event: KeyboardEvent) => {
    const step = event.shiftKey ? 1 : 5;
    const way = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[event.key];
    if (!way) return;
    event.preventDefault();
    const [x, y] = [Math.round(cross[0]) + way[0]!, Math.round(cross[1]) + way[1]!];
    if (onPlate(bed, x, y)) setCross([x, y]);
  };
  const few = spots.length <= 60 && frame.scale * Math.sqrt(((x1 - x0) * (y1 - y0)) / Math.max(spots.length, 1)) > 34;

  return (
    <Figure
      caption={
        <>
          Contours every {isolines.interval} mm; crosses are the readings. Beyond the dotted line the map holds the height that it has there. Point anywhere, or go with the arrow keys (Shift: 1 mm).
        </>
      }
    >
      <p class="readout" role="status">
        <span>X {cross[0].toFixed(0)}</span> <span>Y {cross[1].toFixed(0)}</span>{" "}
        <strong>{signed(height, 3)} mm</strong> {outside && <em>outside the readings: the height at their edge</em>}
      </p>
      <div class="drawing plan" ref={box}>
        {width > 0 && (
          <>
            <Tint frame={frame} map={map} isolines={isolines} turn={app.turn} />
            <svg
              width={frame.width}
              height={frame.height}
              tabindex={0}
              role="application"
              aria-roledescription="plan"
              aria-label="Plan of the bed. The arrow keys move a cross; the height there is read out."
              onPointerMove={point}
              onPointerDown={point}
              onKeyDown={key}
            >
              <Ground frame={frame} plate={false} />
              <clipPath id="plate">
                <Outline frame={frame} />
              </clipPath>
              <g class="contours" clip-path="url(#plate)">
                {isolines.levels.map((level) => (
                  <path
                    key={level.text}
                    class={level.height === 0 ? "zero" : level.index ? "index" : ""}
                    d={level.lines.map((line) => pathOf(line, frame)).join("")}
                  />
                ))}
              </g>
              {placed.map((l, i) => (
                <text key={i} class="contour-figure" transform={`translate(${l.x.toFixed(1)} ${l.y.toFixed(1)}) rotate(${l.turn.toFixed(1)})`} y={3} text-anchor="middle">
                  {l.text}
                </text>
              ))}
              <rect class="measured" clip-path="url(#plate)" x={frame.px(x0)} y={frame.py(y1)} width={(x1 - x0) * frame.scale} height={(y1 - y0) * frame.scale} />
              <Edge frame={frame} />
              <RightAt frame={frame} at={app.draft.rightAt} />
              <g class="spots">
                {readings.map((r, i) => (
                  <g key={i}>
                    <path d={`M${frame.px(r.x) - 3} ${frame.py(r.y)}h6m-3 -3v6`} />
                    {few && (
                      <text x={frame.px(r.x)} y={frame.py(r.y) + 13} text-anchor="middle">
                        {signed(r.height)}
                      </text>
                    )}
                  </g>
                ))}
              </g>
              {app.draft.screws && <Screws frame={frame} screws={app.draft.screws.at} said={turns} />}
              <g class="cross" aria-hidden="true">
                <path d={`M${frame.px(bed.x[0])} ${frame.py(cross[1])}H${frame.px(bed.x[1])}M${frame.px(cross[0])} ${frame.py(bed.y[0])}V${frame.py(bed.y[1])}`} />
                <circle cx={frame.px(cross[0])} cy={frame.py(cross[1])} r={5} />
              </g>
            </svg>
          </>
        )}
      </div>
    </Figure>
  );
}

function pathOf(line: [number, number][], frame: Frame): string {
  return line.map(([x, y], i) => `${i === 0 ? "M" : "L"}${frame.px(x).toFixed(1)} ${frame.py(y).toFixed(1)}`).join("");
}

/** The ground's height as bands of colour, one between two contours. */
function Tint({ frame, map, isolines, turn }: { frame: Frame; map: HeightMap; isolines: Isolines; turn: number }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const light = useLight();
  const { bed } = frame;
  const step = Math.max(bed.x[1] - bed.x[0], bed.y[1] - bed.y[0]) / NODES;
  const [nx, ny] = [Math.max(2, Math.round((bed.x[1] - bed.x[0]) / step)), Math.max(2, Math.round((bed.y[1] - bed.y[0]) / step))];
  const heights = useMemo(() => map.heightsOnGrid(bed.x[0] + step / 2, bed.y[0] + step / 2, step, step, nx, ny), [turn]);
  useEffect(() => {
    const pen = canvas.current?.getContext("2d");
    if (!pen) return;
    const image = pen.createImageData(nx, ny);
    const { interval } = isolines;
    const [low, high] = isolines.range.map((h) => Math.floor(h / interval)) as [number, number];
    for (let j = 0; j < ny; j++) {
      for (let i = 0; i < nx; i++) {
        const band = Math.floor((heights[j * nx + i] ?? 0) / interval);
        const [r, g, b] = ground(light, high > low ? (band - low) / (high - low) : 0.5);
        image.data.set([r, g, b, 255], 4 * ((ny - 1 - j) * nx + i));
      }
    }
    pen.putImageData(image, 0, 0);
  }, [heights, light, isolines]);
  useLayoutEffect(() => {
    const { style } = canvas.current!;
    style.left = `${frame.px(bed.x[0])}px`;
    style.top = `${frame.py(bed.y[1])}px`;
    style.width = `${(bed.x[1] - bed.x[0]) * frame.scale}px`;
    style.height = `${(bed.y[1] - bed.y[0]) * frame.scale}px`;
  });
  return <canvas class={bed.round ? "tint round" : "tint"} ref={canvas} width={nx} height={ny} aria-hidden="true" />;
}

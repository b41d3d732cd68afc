// A small program that names every type of the package, so that the compiler looks at each.
import init, { Card, EvengapError, HeightMap, Rewriter, RewriteStream, defaultOptions, rewrite, version } from "evengap";
import type {
  Allow, Bed, CardJson, EMode, ErrorKind, Extreme, Fault, MapReading, NotUnderstood,
  Offset, Options, Place, Readings, Rewritten, Screws, Smoothed, SpotHeight,
  Summary, SurfaceKind, Taper, Warning, WarningKind,
} from "evengap";
import type {
  Bend, Check, Difference, GapOptions, GapsFound, Isoline, Isolines, Outlier, PlanOptions, Printed, Shape, Spot, Tilt, Trammed,
} from "evengap/workshop";
import type { Answer, Asked } from "./worker.ts";

const bed: Bed = { x: [0, 235], y: [0, 235], outline: "rectangle", keep_out: [[0, 100, 12, 130]] };
const readings: Readings = {
  method: "drag",
  sheet: 0.1,
  points: [[30, 30, 0.1], [205, 30, 0.2], [30, 205, 0.1], [205, 205, 0.2]],
};
const screws: Screws = { thread: "M4", raise: "clockwise", at: { left: [30, 117], right: [205, 117] } };
const json: CardJson = { bed, readings, screws };

const allow: Allow = { large_heights: true };
const taper: Taper = { range: { from: 0.5, to: 4 } };
const start: EMode = "relative";
/** Nothing of the module can be called before `init()`. */
const chosen = (): Options => ({ ...defaultOptions(), allow, taper, e_start: start, tolerance: 0.01 });
const picture: PlanOptions = { width: 400 };
const surface: SurfaceKind = "bilinear";

function told(shape: Shape): string {
  const tilt: Tilt = shape.tilt;
  const bend: Bend = shape.bend;
  const lowest: Spot = shape.lowest;
  const first: Check | undefined = shape.readings[0];
  const worst: Outlier | undefined = shape.outliers[0];
  return [tilt.rises_to ?? "level", bend.twist?.toFixed(3), lowest.height, first?.error, worst?.deviations].join(" ");
}

function summed(summary: Summary): number {
  const offset: Offset | null = summary.largest_offset;
  const passed: NotUnderstood = summary.not_understood;
  const warnings: Warning[] = summary.warnings;
  const kinds: WarningKind[] = warnings.map((warning) => warning.kind);
  return (offset?.offset ?? 0) + passed.count + kinds.length;
}

function drawn(map: HeightMap): number {
  const spots: SpotHeight[] = map.card().spotHeights();
  const read: MapReading[] = map.readings();
  const smoothed: Smoothed | null = map.smoothed();
  const [low, high]: [Extreme, Extreme] = map.extremes();
  const heights: Float64Array = map.heightsOnGrid(0, 0, 10, 10, 3, 2);
  return spots.length + read.length + (smoothed?.spread ?? 0) + high.height - low.height + heights.length;
}

function place(error: EvengapError): string {
  const fault: Fault = error.toJSON();
  const kind: ErrorKind = fault.kind;
  const at: Place | undefined = fault.places[0];
  return `${kind} ${at?.line}:${at?.column} ${error.line}:${error.column} ${fault.help ?? ""}`;
}

async function main(): Promise<string> {
  await init();
  const options = chosen();
  const map = HeightMap.fit(Card.fromText(JSON.stringify(json)), surface);
  const toolpath = new TextEncoder().encode("G1 X117.5 Y100 Z0.2\nG1 X200 E5\n");
  const whole: Rewritten = rewrite(toolpath, map, options);
  const rewriter = new Rewriter(map, options);
  const parts: Uint8Array<ArrayBuffer>[] = [rewriter.push(toolpath), rewriter.finish().bytes];
  const stream = new RewriteStream(map);
  await new Blob([toolpath]).stream().pipeThrough(stream).pipeTo(new WritableStream());
  const worker = new Worker(new URL("./worker.ts", import.meta.url), { type: "module" });
  const asked: Asked = { card: map.card().toJSON(), toolpath: new Blob([toolpath]) };
  const answer = await new Promise<Answer>((resolve, reject) => {
    worker.onmessage = (event: MessageEvent<Answer>) => resolve(event.data);
    worker.onerror = (event) => reject(new Error(event.message));
    worker.postMessage(asked);
  });
  let refused = "";
  try {
    Card.fromText("[bed]\nx = 1\n");
  } catch (error) {
    if (error instanceof EvengapError) refused = place(error);
  }
  const numbers = [new Blob(parts).size - whole.bytes.length, summed(whole.summary), summed(await stream.summary), drawn(map)];
  const { default: initWorkshop, compare, contourPlan, Gaps, isolines, shape, tram, trial } = await import("evengap/workshop");
  await initWorkshop();
  const card = map.card();
  const contours: Isolines = isolines(card, surface);
  numbers.push(contours.levels.flatMap((level: Isoline) => level.lines).length);
  const window: GapOptions = { keep: "lowest" };
  const gaps = new Gaps(card, surface, window);
  gaps.push(toolpath);
  const { layers, points, strokes }: GapsFound = gaps.finish();
  numbers.push(layers.length, points.length, strokes.length);
  const plan = contourPlan(card, surface, picture);
  const change: Difference = compare(card, card, surface);
  const turns: Trammed = tram(card.toToml());
  const print: Printed = trial(card, surface, { nozzle_celsius: 205, patch: 12 });
  numbers.push(change.range_mm, turns.screws.length, print.patches.length);
  const length = "length" in answer ? answer.length : answer.fault.message;
  return [version(), numbers.every(Number.isFinite), length, refused, told(shape(card, surface)), plan.length > 1000].join("; ");
}

document.querySelector("#said")!.textContent = await main().catch((error: unknown) => `failed: ${String(error)}`);

/** Reads, looks at and rewrites a file, chunk by chunk, away from the page. */

import init, { Card, EvengapError, HeightMap, Rewriter } from "evengap";
import type { GapOptions, GapsFound } from "evengap/workshop";
import { WINDOW, type Answer, type Order, type Path, type Refusal, type Setting } from "./protocol";
import { openSink, type Output } from "./sink";
import { unloaded, workshop, type Workshop } from "../workshop";

declare const self: DedicatedWorkerGlobalScope;

/** Points of a layer's path that are kept for drawing. */
const MOST_KEPT = 300_000;
/** Bytes gathered before they are written. */
const BLOCK = 1 << 20;

class Cancelled extends Error {}
/** The engine's second module did not come. */
class Unloaded extends Error {}

const loaded = init();
let cancelled = false;
let busy: Promise<void> = Promise.resolve();

self.onmessage = ({ data }: MessageEvent<Order>) => {
  if (data.kind === "cancel") {
    cancelled = true;
    return;
  }
  // One at a time: a new order begins when the last one has let go.
  busy = busy.then(() => {
    cancelled = false;
    return carryOut(data);
  });
};

type Job = Exclude<Order, { kind: "cancel" }>;

async function carryOut(order: Job): Promise<void> {
  const { job, file } = order;
  const answer = (said: Answer, transfer: Transferable[] = []) => self.postMessage(said, transfer);
  try {
    await loaded;
    if (order.kind === "look") await look(order, answer);
    else if (order.kind === "layer") await layer(order, answer);
    else await save(order, answer);
  } catch (error) {
    if (error instanceof Cancelled) answer({ kind: "cancelled", job });
    else if (error instanceof EvengapError) answer({ kind: "refused", job, refusal: await refusalOf(error, file) });
    else answer({ kind: "failed", job, message: failure(error, file) });
  }
}

function failure(error: unknown, file: File): string {
  if (error instanceof Unloaded) return error.message;
  const name = error instanceof DOMException ? error.name : "";
  if (name === "NotReadableError" || name === "NotFoundError") return `${file.name} cannot be read any more: it was changed, moved or taken out. Choose it again.`;
  if (name === "QuotaExceededError") return "There is not enough room: free some space on the disk, then save again.";
  if (name === "NotAllowedError" || name === "NoModificationAllowedError") return "The browser may not write there: choose another place to save.";
  return `Something went wrong: ${error instanceof Error ? error.message : String(error)}`;
}

type Say = (said: Answer, transfer?: Transferable[]) => void;

/** Takes the file's bytes one after another; `from` and `to` are this pass's part of the whole progress. */
async function pass(order: Job, say: Say, words: string, [from, to]: [number, number], take: (chunk: Uint8Array) => void | Promise<void>): Promise<void> {
  const { file, job } = order;
  const reader = file.stream().getReader();
  let [done, told] = [0, 0];
  try {
    for (;;) {
      if (cancelled) throw new Cancelled();
      const { value, done: ended } = await reader.read();
      if (ended) break;
      await take(value);
      done += value.byteLength;
      const now = performance.now();
      if (now - told > 80) {
        told = now;
        say({ kind: "progress", job, words, share: from + ((to - from) * done) / Math.max(1, file.size) });
        // Lets a Cancel in: reads that are ready at once never leave the Worker's own queue.
        await new Promise((next) => setTimeout(next));
      }
    }
    if (cancelled) throw new Cancelled();
  } finally {
    reader.cancel().catch(() => {});
  }
}

function fit(setting: Setting): HeightMap {
  const card = Card.fromText(setting.card);
  try {
    return HeightMap.fit(card, setting.surface);
  } finally {
    card.free();
  }
}

/** The engine's second module, which looks at the gap along a toolpath; saving a file does without it. */
async function second(): Promise<Workshop> {
  try {
    return await workshop();
  } catch (error) {
    const { message, help } = unloaded(error);
    throw new Unloaded(`${message} ${help}`);
  }
}

/** How both files are read. */
function reading({ options }: Setting): NonNullable<GapOptions["reading"]> {
  return {
    e_start: options.e_start ?? "absolute",
    g90_sets_e: options.g90_sets_e ?? false,
    unknown_motion: options.allow?.unknown_motion ?? false,
    own_levelling: options.allow?.own_levelling ?? false,
  };
}

/** What undoes the rewriting: the taper that the rewriter settles on for this map. */
function followed(map: HeightMap, setting: Setting): NonNullable<GapOptions["followed"]> {
  const { taper } = new Rewriter(map, setting.options).finish().summary;
  return { ...(taper ? { taper } : {}), shift: setting.options.shift ?? 0 };
}

const pathOf = (found: GapsFound): Path => ({ points: found.points, strokes: found.strokes, cut: found.cut });
const buffers = (...paths: Path[]) => paths.flatMap((p) => [p.points.buffer, p.strokes.buffer] as ArrayBuffer[]);

async function look(order: Extract<Job, { kind: "look" }>, say: Say): Promise<void> {
  const { job, file, setting } = order;
  const { Gaps } = await second();
  const map = fit(setting);
  const common = { reading: reading(setting), window: WINDOW, keep: "lowest" as const, most_kept: MOST_KEPT };
  const sliced = new Gaps(setting.card, setting.surface, common);
  await pass(order, say, "Reading the file as it was sliced", [0, 0.35], (chunk) => sliced.push(chunk));
  const found = sliced.finish();
  const before = { layers: found.layers, path: pathOf(found), lines: found.lines };
  try {
    const layers = found.layers.map((l) => l.z);
    const rewriter = new Rewriter(map, setting.options);
    const even = new Gaps(setting.card, setting.surface, { ...common, followed: followed(map, setting), layers });
    let bytes = 0;
    const take = (chunk: Uint8Array) => {
      bytes += chunk.byteLength;
      even.push(chunk);
    };
    await pass(order, say, "Rewriting it, and reading the result", [0.35, 1], (chunk) => take(rewriter.pushView(chunk)));
    const end = rewriter.finish();
    take(end.bytes);
    const result = even.finish();
    const after = { layers: result.layers, path: pathOf(result), summary: end.summary, bytes };
    say({ kind: "looked", job, looked: { before, after, refusal: null, bytes: file.size } }, buffers(before.path, after.path));
  } catch (error) {
    if (!(error instanceof EvengapError)) throw error;
    const refusal = await refusalOf(error, file);
    say({ kind: "looked", job, looked: { before, after: null, refusal, bytes: file.size } }, buffers(before.path));
  } finally {
    map.free();
  }
}

async function layer(order: Extract<Job, { kind: "layer" }>, say: Say): Promise<void> {
  const { job, setting, layers, z } = order;
  const { Gaps } = await second();
  const map = fit(setting);
  const common = { reading: reading(setting), window: WINDOW, keep: { at: z }, most_kept: MOST_KEPT };
  const sliced = new Gaps(setting.card, setting.surface, common);
  const even = new Gaps(setting.card, setting.surface, { ...common, followed: followed(map, setting), layers });
  const rewriter = new Rewriter(map, setting.options);
  await pass(order, say, "Looking for the layer", [0, 1], (chunk) => {
    sliced.push(chunk);
    even.push(rewriter.pushView(chunk));
  });
  even.push(rewriter.finish().bytes);
  const [before, after] = [pathOf(sliced.finish()), pathOf(even.finish())];
  map.free();
  say({ kind: "layer", job, z, before, after }, buffers(before, after));
}

async function save(order: Extract<Job, { kind: "save" }>, say: Say): Promise<void> {
  const { job, setting } = order;
  const map = fit(setting);
  const rewriter = new Rewriter(map, setting.options);
  const output = await openSink(order.sink);
  try {
    const block = new Block(output);
    await pass(order, say, "Writing the file", [0, 1], (chunk) => block.add(rewriter.pushView(chunk)));
    await block.add(rewriter.finish().bytes);
    await block.flush();
    const file = await output.close();
    say({ kind: "saved", job, bytes: block.bytes, file });
  } catch (error) {
    await output.abandon();
    throw error;
  } finally {
    map.free();
  }
}

/** Gathers small pieces into writes of a good size. A piece is copied before anything is waited for: it may be a view that is soon another's. */
class Block {
  bytes = 0;
  private whole = new Uint8Array(BLOCK);
  private held = 0;

  constructor(private readonly output: Output) {}

  async add(piece: Uint8Array): Promise<void> {
    const fits = Math.min(piece.byteLength, this.whole.byteLength - this.held);
    this.whole.set(piece.subarray(0, fits), this.held);
    this.held += fits;
    if (this.held === this.whole.byteLength) await this.begin(piece.subarray(fits));
  }

  /** Writes what is held, to which whoever it is written to may hold on, and begins another block. */
  private async begin(rest: Uint8Array): Promise<void> {
    const full = this.held === this.whole.byteLength ? this.whole : this.whole.slice(0, this.held);
    this.whole = new Uint8Array(rest.byteLength + BLOCK);
    this.whole.set(rest);
    this.held = rest.byteLength;
    this.bytes += full.byteLength;
    await this.output.write(full);
  }

  async flush(): Promise<void> {
    if (this.held > 0) await this.begin(new Uint8Array(0));
  }
}

async function refusalOf(error: EvengapError, file: File): Promise<Refusal> {
  const { kind, message, help } = error;
  // An error of the card or the options speaks of no line of the file.
  const inFile = kind === "toolpath" || kind === "refused" || kind === "floor" || kind === "limit";
  const line = inFile ? (error.line ?? null) : null;
  const text = line === null ? null : await lineOf(file, line).catch(() => null);
  return { kind, message, help, line, column: line === null ? null : (error.column ?? null), text };
}

/** The text of a line, by counting line ends up to it. */
async function lineOf(file: File, wanted: number): Promise<string | null> {
  const reader = file.stream().getReader();
  let line = 1;
  let kept: number[] = [];
  try {
    for (;;) {
      const { value, done } = await reader.read();
      if (done) break;
      for (let i = 0; i < value.length && line <= wanted; ) {
        const end = value.indexOf(10, i);
        const stop = end < 0 ? value.length : end;
        if (line === wanted && kept.length < 400) kept = kept.concat([...value.subarray(i, Math.min(stop, i + 400))]);
        if (end < 0) break;
        line += 1;
        i = end + 1;
      }
      if (line > wanted) break;
    }
  } finally {
    reader.cancel().catch(() => {});
  }
  return line < wanted ? null : new TextDecoder().decode(new Uint8Array(kept)).replace(/\r$/, "");
}

/** What the page and its Worker say to each other. */

import type { Fault, Options, Summary, SurfaceKind } from "evengap";
import type { Layer } from "evengap/workshop";

/** What a file is held against. */
export interface Setting {
  /** The card's text. */
  card: string;
  surface: SurfaceKind;
  options: Options;
}

/** Within which gaps a first layer sticks, as shares of the gap as sliced: common practice, no source. */
export const WINDOW = { near: 0.7, far: 1.3 };

/** Where the rewritten file goes. */
export type Sink =
  | { kind: "handle"; handle: FileSystemFileHandle }
  /** The browser's private file system, to be downloaded from there. */
  | { kind: "private"; name: string }
  | { kind: "memory" };

export type Order =
  | { kind: "look"; job: number; file: File; setting: Setting }
  | { kind: "layer"; job: number; file: File; setting: Setting; layers: number[]; z: number }
  | { kind: "save"; job: number; file: File; setting: Setting; sink: Sink }
  | { kind: "cancel" };

/** The path of one layer: x, y and deviation of each point, mm. */
export interface Path {
  points: Float64Array;
  strokes: Uint32Array;
  cut: boolean;
}

export interface Refusal extends Omit<Fault, "places"> {
  line: number | null;
  column: number | null;
  /** The line's text, as far as it can be shown. */
  text: string | null;
}

export interface Looked {
  before: { layers: Layer[]; path: Path; lines: number };
  /** `null` where the file cannot be rewritten. */
  after: { layers: Layer[]; path: Path; summary: Summary; bytes: number } | null;
  refusal: Refusal | null;
  bytes: number;
}

export type Answer = { job: number } & (
  | { kind: "progress"; share: number; words: string }
  | { kind: "looked"; looked: Looked }
  | { kind: "layer"; z: number; before: Path; after: Path }
  /** `file`: to be downloaded; `null` where it is in its place already. */
  | { kind: "saved"; bytes: number; file: Blob | null }
  | { kind: "refused"; refusal: Refusal }
  | { kind: "cancelled" }
  | { kind: "failed"; message: string }
);

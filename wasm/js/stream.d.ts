import type { HeightMap, Options, Summary } from "./evengap.js";

/** Toolpath bytes in, bytes that follow the bed out; a refusal fails the stream with an `EvengapError`. */
export class RewriteStream extends TransformStream<Uint8Array, Uint8Array<ArrayBuffer>> {
  constructor(map: HeightMap, options?: Options | null);
  /** What was done, when the toolpath has ended; rejected with the same error as the stream. */
  readonly summary: Promise<Summary>;
}

/**
 * A stream that rewrites one toolpath for the bed of `map`. Options that make no sense throw at once.
 *
 * What came out before a refusal must be thrown away.
 */
export function rewriteStream(map: HeightMap, options?: Options | null): RewriteStream;

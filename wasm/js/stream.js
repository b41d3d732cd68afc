import { Rewriter } from "./evengap.js";

/** Bytes given to the engine at once: a larger chunk is cut, so that memory does not grow with it. */
const PIECE = 1 << 20;

/** Toolpath bytes in, bytes that follow the bed out: see `stream.d.ts`. */
export class RewriteStream extends TransformStream {
  constructor(map, options) {
    const rewriter = new Rewriter(map, options);
    let resolve, reject;
    const summary = new Promise((...settle) => ([resolve, reject] = settle));
    // Who does not ask for the summary hears of the failure from the stream.
    summary.catch(() => {});
    const attempt = (step) => {
      try {
        step();
      } catch (error) {
        giveUp(error);
        throw error;
      }
    };
    const giveUp = (reason) => {
      rewriter.free();
      reject(reason);
    };
    const passOn = (bytes, controller) => {
      if (bytes.length > 0) controller.enqueue(bytes);
    };
    super({
      transform(chunk, controller) {
        attempt(() => {
          if (!ArrayBuffer.isView(chunk)) return passOn(rewriter.push(chunk), controller);
          for (let from = 0; from < chunk.byteLength; from += PIECE) {
            const length = Math.min(PIECE, chunk.byteLength - from);
            passOn(rewriter.push(new Uint8Array(chunk.buffer, chunk.byteOffset + from, length)), controller);
          }
        });
      },
      flush(controller) {
        attempt(() => {
          const end = rewriter.finish();
          passOn(end.bytes, controller);
          rewriter.free();
          resolve(end.summary);
        });
      },
      // Either end was given up: the source failed, or nobody reads on.
      cancel: giveUp,
    });
    this.summary = summary;
  }
}

export const rewriteStream = (map, options) => new RewriteStream(map, options);

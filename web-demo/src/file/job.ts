/** The page's end of the Worker: one job at a time. */

import type { Answer, Order, Sink } from "./protocol";

/** Without a private file system, larger files than this are not held in memory, bytes. */
export const MOST_IN_MEMORY = 200_000_000;
/** A Worker that does not answer a Cancel is ended after this, ms. */
const PATIENCE = 1500;

type Without<T, K extends string> = T extends unknown ? Omit<T, K> : never;

export class Job {
  private worker: Worker | null = null;
  private number = 0;
  private running = false;
  private impatient: ReturnType<typeof setTimeout> | undefined;

  constructor(private readonly hear: (answer: Answer) => void) {}

  start(order: Without<Exclude<Order, { kind: "cancel" }>, "job">): void {
    if (this.running) this.worker?.postMessage({ kind: "cancel" } satisfies Order);
    this.worker ??= this.hire();
    this.number += 1;
    this.running = true;
    clearTimeout(this.impatient);
    this.worker.postMessage({ ...order, job: this.number } as Order);
  }

  cancel(): void {
    if (!this.running) return;
    this.worker?.postMessage({ kind: "cancel" } satisfies Order);
    const job = this.number;
    this.impatient = setTimeout(() => {
      this.dismiss();
      this.hear({ kind: "cancelled", job });
    }, PATIENCE);
  }

  private hire(): Worker {
    const worker = new Worker(new URL("./worker.ts", import.meta.url), { type: "module", name: "evengap" });
    worker.onmessage = ({ data }: MessageEvent<Answer>) => {
      if (data.job !== this.number) return;
      if (data.kind !== "progress") {
        this.running = false;
        clearTimeout(this.impatient);
      }
      this.hear(data);
    };
    worker.onerror = (event) => {
      this.dismiss();
      this.hear({ kind: "failed", job: this.number, message: `The part that reads files has stopped: ${event.message || "it could not be loaded"}. Load the page again.` });
    };
    return worker;
  }

  private dismiss(): void {
    this.worker?.terminate();
    this.worker = null;
    this.running = false;
  }
}

type Picker = (options: { suggestedName: string; types: { description: string; accept: Record<string, string[]> }[] }) => Promise<FileSystemFileHandle>;

/** Asks where to save, in the click. `null`: the person thought better of it. A text: why it cannot be saved. */
export async function chooseSink(file: File, name: string): Promise<Sink | null | string> {
  const picker = (window as { showSaveFilePicker?: Picker }).showSaveFilePicker;
  if (picker) {
    try {
      const extension = /\.[a-z0-9]{1,8}$/i.exec(name)?.[0] ?? ".gcode";
      const types = [{ description: "Toolpath", accept: { "text/plain": [extension] } }];
      return { kind: "handle", handle: await picker.call(window, { suggestedName: name, types }) };
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return null;
      // It may be forbidden here (in a frame, say): the other ways are left.
    }
  }
  if (await privateFiles()) {
    const { quota, usage } = await navigator.storage.estimate();
    if (quota === undefined || quota - (usage ?? 0) > file.size * 1.5) return { kind: "private", name: `${PRIVATE}${Date.now()}` };
  }
  if (file.size < MOST_IN_MEMORY) return { kind: "memory" };
  return "This browser has no room for a file of this size. Free some space on the disk, use a browser that can save to a file directly, or use the command.";
}

async function privateFiles(): Promise<boolean> {
  try {
    await navigator.storage.getDirectory();
    return true;
  } catch {
    return false;
  }
}

/** Files in the private file system are named by the time when they were begun. */
const PRIVATE = "rewritten-";
/** By then a download has taken its file, also one of another window, ms. */
const TAKEN = 3_600_000;

/** Removes what earlier downloads left in the private file system. */
export async function tidy(): Promise<void> {
  try {
    const folder = await navigator.storage.getDirectory();
    for await (const name of (folder as unknown as { keys: () => AsyncIterable<string> }).keys()) {
      if (name.startsWith(PRIVATE) && Date.now() - Number(name.slice(PRIVATE.length)) > TAKEN) await folder.removeEntry(name);
    }
  } catch {
    // There is nothing, or nothing can be there.
  }
}

/** `part.gcode` becomes `part.even.gcode`. */
export function evenName(name: string): string {
  const dot = name.lastIndexOf(".");
  return dot > 0 ? `${name.slice(0, dot)}.even${name.slice(dot)}` : `${name}.even.gcode`;
}

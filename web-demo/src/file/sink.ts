/** Where rewritten bytes go: a file of the person's choice, the browser's private file system, or memory. */

import type { Sink } from "./protocol";

export interface Output {
  write: (bytes: Uint8Array<ArrayBuffer>) => Promise<void>;
  /** All is written: gives what is to be downloaded, or `null` where the file is in its place. */
  close: () => Promise<Blob | null>;
  /** Something failed: nothing stays behind. */
  abandon: () => Promise<void>;
}

const TYPE = "application/octet-stream";

export function openSink(sink: Sink): Promise<Output> {
  if (sink.kind === "handle") return toHandle(sink.handle);
  return sink.kind === "private" ? toPrivate(sink.name) : Promise.resolve(toMemory());
}

/** The browser writes beside the target and puts the whole in its place at the end. */
async function toHandle(handle: FileSystemFileHandle): Promise<Output> {
  const fresh = (await handle.getFile()).size === 0;
  const stream = await handle.createWritable();
  return {
    write: (bytes) => stream.write(bytes),
    close: async () => {
      await stream.close();
      return null;
    },
    abandon: async () => {
      await stream.abort().catch(() => {});
      // The dialogue made an empty file; what was there before stays as it was.
      const removable = handle as FileSystemFileHandle & { remove?: () => Promise<void> };
      if (fresh) await removable.remove?.().catch(() => {});
    },
  };
}

async function toPrivate(name: string): Promise<Output> {
  const folder = await navigator.storage.getDirectory();
  const handle = await folder.getFileHandle(name, { create: true });
  const access = await handle.createSyncAccessHandle();
  access.truncate(0);
  return {
    write: async (bytes) => {
      if (access.write(bytes) !== bytes.byteLength) throw new DOMException("not all was written", "QuotaExceededError");
    },
    close: async () => {
      access.flush();
      access.close();
      return handle.getFile();
    },
    abandon: async () => {
      access.close();
      await folder.removeEntry(name).catch(() => {});
    },
  };
}

function toMemory(): Output {
  let parts: Uint8Array<ArrayBuffer>[] = [];
  return {
    write: async (bytes) => void parts.push(bytes),
    close: async () => new Blob(parts, { type: TYPE }),
    abandon: async () => {
      parts = [];
    },
  };
}

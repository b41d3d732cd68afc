/** The engine's second module: loaded when it is first needed, once. */

export type Workshop = typeof import("evengap/workshop");

let loading: Promise<Workshop> | null = null;
let there: Workshop | null = null;

/** The module, if it has come already. */
export const loaded = (): Workshop | null => there;

export function workshop(): Promise<Workshop> {
  loading ??= load().catch((error: unknown) => {
    // Asked for again, it may come.
    loading = null;
    throw error;
  });
  return loading;
}

async function load(): Promise<Workshop> {
  const module = await import("evengap/workshop");
  await module.default();
  there = module;
  return module;
}

/** What to say where it does not come. */
export function unloaded(error: unknown): { message: string; help: string } {
  return { message: "This part of the engine could not be loaded.", help: `Load the page again (${String(error)}).` };
}

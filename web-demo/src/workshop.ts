/** The engine's second module: asked for at once, and again when it is needed where it did not come. */

export type Workshop = typeof import("evengap/workshop");

let loading: Promise<Workshop> | null = null;
let there: Workshop | null = null;
let told: (reason: string | null) => void = () => {};

/** Who is to hear that the module has come, or why it has not: each time it is asked for in vain, and once when it comes. */
export function whenItComes(tell: (reason: string | null) => void): void {
  told = tell;
}

/** The module, if it has come already. */
export const loaded = (): Workshop | null => there;

export function workshop(): Promise<Workshop> {
  loading ??= load().catch((error: unknown) => {
    // Asked for again, it may come.
    loading = null;
    const { message, help } = unloaded(error);
    told(`${message} ${help}`);
    throw error;
  });
  return loading;
}

async function load(): Promise<Workshop> {
  const module = await import("evengap/workshop");
  await module.default();
  there = module;
  told(null);
  return module;
}

/** What to say where it does not come. */
export function unloaded(error: unknown): { message: string; help: string } {
  return { message: "A part of the engine could not be loaded.", help: `Try again, or load the page again (${String(error)}).` };
}

/** What the page knows, in one place; views hear of every change. */

import { useEffect, useState } from "preact/hooks";
import { emptyDraft, type Draft } from "./draft";
import { loadDraft, storeDraft } from "./storage";
import { free, survey, type SurfaceKind, type Survey } from "./survey";
import { loaded } from "./workshop";

export interface State {
  draft: Draft;
  surface: SurfaceKind;
  /** `null` until the engine has loaded. */
  survey: Survey | null;
  /** Why the engine could not be loaded. */
  broken: string | null;
  /** Why its second module could not: there is no shape then. */
  shapeless: string | null;
  /** The card cannot be kept over a reload here. */
  unkept: boolean;
  /** Counts the changes of the survey. */
  turn: number;
}

const state: State = { draft: loadDraft() ?? emptyDraft(), surface: "thin-plate", survey: null, broken: null, shapeless: null, unkept: false, turn: 0 };
const listeners = new Set<() => void>();
let ready = false;

function changed(): void {
  for (const listener of listeners) listener();
}

function judge(): void {
  if (!ready) return;
  const old = state.survey;
  state.survey = survey(state.draft, state.surface, loaded());
  state.turn += 1;
  changed();
  // Views drawn from the old map have been drawn anew by then.
  setTimeout(() => free(old), 1000);
}

export function useApp(): State {
  const [, redraw] = useState(0);
  useEffect(() => {
    const listener = () => redraw((n) => n + 1);
    listeners.add(listener);
    // What changed between the first drawing and now.
    listener();
    return () => void listeners.delete(listener);
  }, []);
  return state;
}

export function engineReady(): void {
  ready = true;
  judge();
}

/** The second module has come, or why it has not. */
export function workshopCame(reason: string | null): void {
  state.shapeless = reason;
  if (reason === null) judge();
  else changed();
}

export function engineBroken(reason: string): void {
  state.broken = reason;
  changed();
}

export function setDraft(draft: Draft): void {
  state.draft = draft;
  state.unkept = !storeDraft(draft);
  if (ready) judge();
  else changed();
}

/** Changes a copy of the draft. */
export function edit(change: (draft: Draft) => void): void {
  const draft = structuredClone(state.draft);
  change(draft);
  setDraft(draft);
}

export function clearDraft(): void {
  state.draft = emptyDraft();
  storeDraft(null);
  state.unkept = false;
  judge();
}

export function setSurface(surface: SurfaceKind): void {
  state.surface = surface;
  judge();
}

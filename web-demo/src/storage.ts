/** The card over a reload, and the choice of light or dark: in this browser's local storage, nowhere else. */

import { emptyDraft, type Draft } from "./draft";

const CARD = "evengap.card.1";
const LIGHT = "evengap.light";

export function loadDraft(): Draft | null {
  try {
    const stored = localStorage.getItem(CARD);
    if (stored === null) return null;
    const draft = { ...emptyDraft(), ...(JSON.parse(stored) as Partial<Draft>) };
    return Array.isArray(draft.points) && Array.isArray(draft.bed.keepOut) ? draft : null;
  } catch {
    // Storage may be forbidden, or hold what another version wrote: begin anew.
    return null;
  }
}

/** Whether it could be kept. */
export function storeDraft(draft: Draft | null): boolean {
  try {
    if (draft === null) localStorage.removeItem(CARD);
    else localStorage.setItem(CARD, JSON.stringify(draft));
    return true;
  } catch {
    return false;
  }
}

export type Light = "light" | "dark";

export function loadLight(): Light | null {
  try {
    const stored = localStorage.getItem(LIGHT);
    return stored === "light" || stored === "dark" ? stored : null;
  } catch {
    return null;
  }
}

export function storeLight(light: Light): void {
  try {
    localStorage.setItem(LIGHT, light);
  } catch {
    // The choice then holds until the page is closed.
  }
}

/** Light or dark: the system's wish until the switch is used. */

import { useEffect, useState } from "preact/hooks";
import { loadLight, storeLight, type Light } from "./storage";

const wish = () => (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
let chosen: Light | null = loadLight();
const listeners = new Set<() => void>();

function apply(): void {
  document.documentElement.dataset["light"] = chosen ?? wish();
  for (const listener of listeners) listener();
}

export function startLight(): void {
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", apply);
  apply();
}

export function switchLight(): void {
  chosen = (chosen ?? wish()) === "dark" ? "light" : "dark";
  storeLight(chosen);
  apply();
}

export function useLight(): Light {
  const [, redraw] = useState(0);
  useEffect(() => {
    const listener = () => redraw((n) => n + 1);
    listeners.add(listener);
    return () => void listeners.delete(listener);
  }, []);
  return chosen ?? wish();
}

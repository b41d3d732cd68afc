/** Colours of the drawings, light and dark: computed here so that canvases and legends agree. */

import type { Light } from "../storage";

export type Rgb = readonly [number, number, number];

/** Low to high ground. Lightness only rises, so that it reads in grey too; blue to yellow, which red-green blindness leaves alone. */
const GROUND: Record<Light, readonly Rgb[]> = {
  light: [[134, 176, 204], [184, 214, 208], [224, 229, 200], [250, 240, 205]],
  dark: [[24, 44, 62], [36, 66, 76], [66, 84, 76], [108, 104, 78]],
};

/** Too near the bed (rust), right (grey), too far (blue): a diverging pair that colour-blind eyes tell apart. */
const GAP: Record<Light, readonly Rgb[]> = {
  light: [[148, 52, 4], [217, 119, 30], [150, 152, 146], [72, 132, 196], [16, 64, 140]],
  dark: [[255, 190, 128], [196, 98, 36], [98, 104, 104], [52, 116, 190], [158, 212, 255]],
};

function along(stops: readonly Rgb[], t: number): Rgb {
  const at = Math.min(Math.max(t, 0), 1) * (stops.length - 1);
  const i = Math.min(Math.floor(at), stops.length - 2);
  const mix = (n: 0 | 1 | 2) => Math.round(stops[i]![n] + (stops[i + 1]![n] - stops[i]![n]) * (at - i));
  return [mix(0), mix(1), mix(2)];
}

export const ground = (light: Light, t: number): Rgb => along(GROUND[light], t);
export const gap = (light: Light, t: number): Rgb => along(GAP[light], t);
export const css = ([r, g, b]: Rgb): string => `rgb(${r},${g},${b})`;

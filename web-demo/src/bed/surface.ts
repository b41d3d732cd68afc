/** The bed as a surface in space, by the painter's algorithm on a canvas: far quads first. */

import type { HeightMap } from "evengap";
import type { Isolines } from "evengap/workshop";
import type { Light } from "../storage";
import type { Bed } from "./frame";
import { css, ground } from "./tints";

/** Quads along the longer side. */
const QUADS = 48;
/** How high the bed's range is drawn, as a share of its width. */
const RISE = 0.22;

const INK: Record<Light, { line: string; ink: string }> = {
  light: { line: "rgba(30,39,48,0.28)", ink: "#1e2730" },
  dark: { line: "rgba(230,232,226,0.25)", ink: "#e4e6e0" },
};

export interface Space {
  /** How many times larger heights are drawn. */
  exaggeration: number;
  close: () => void;
}

export function open(canvas: HTMLCanvasElement, map: HeightMap, bed: Bed, isolines: Isolines, light: Light): Space {
  const [w, d] = [bed.x[1] - bed.x[0], bed.y[1] - bed.y[0]];
  const size = Math.max(w, d);
  const [nx, ny] = [Math.max(2, Math.round((QUADS * w) / size)), Math.max(2, Math.round((QUADS * d) / size))];
  const places = grid(bed, nx, ny);
  const heights = map.heightsAt(places);
  const [low, high] = isolines.range;
  const exaggeration = nice((RISE * size) / Math.max(high - low, 0.01));
  let turn = -0.6;
  let tip = 0.55;
  let due = 0;

  const draw = () => {
    due = 0;
    const ratio = devicePixelRatio || 1;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
    if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
    const pen = canvas.getContext("2d");
    if (!pen) return;
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    const scale = Math.min(width / (1.42 * size), height / (0.95 * size));
    const [sin, cos, up, flat] = [Math.sin(turn), Math.cos(turn), Math.cos(tip), Math.sin(tip)];
    const middle = (low + high) / 2;
    /** Place on the canvas, and depth: larger is farther. */
    const project = (x: number, y: number, h: number): [number, number, number] => {
      const [u, v] = [x - (bed.x[0] + bed.x[1]) / 2, y - (bed.y[0] + bed.y[1]) / 2];
      const [a, b] = [u * cos - v * sin, u * sin + v * cos];
      const z = (h - middle) * exaggeration;
      return [width / 2 + scale * a, height / 2 - scale * (b * flat + z * up), b];
    };
    const nodes = Array.from(heights, (h, n) => project(places[2 * n]!, places[2 * n + 1]!, h));
    const quads: { corners: number[]; depth: number; h: number }[] = [];
    for (let j = 0; j < ny; j++) {
      for (let i = 0; i < nx; i++) {
        const n = j * (nx + 1) + i;
        const corners = [n, n + 1, n + nx + 2, n + nx + 1];
        const mean = (f: (c: number) => number) => corners.reduce((sum, c) => sum + f(c), 0) / 4;
        quads.push({ corners, depth: mean((c) => nodes[c]![2]), h: mean((c) => heights[c] ?? 0) });
      }
    }
    quads.sort((a, b) => b.depth - a.depth);
    // The plane of height 0, for reference, behind everything.
    pen.strokeStyle = INK[light].line;
    pen.setLineDash([4, 4]);
    pen.beginPath();
    for (const [n, [x, y]] of [[0, [bed.x[0], bed.y[0]]], [1, [bed.x[1], bed.y[0]]], [2, [bed.x[1], bed.y[1]]], [3, [bed.x[0], bed.y[1]]]] as const) {
      const [a, b] = project(x, y, 0);
      if (n === 0) pen.moveTo(a, b);
      else pen.lineTo(a, b);
    }
    pen.closePath();
    pen.stroke();
    pen.setLineDash([]);
    pen.lineWidth = 0.6;
    const { interval } = isolines;
    const band = (h: number) => Math.floor(h / interval);
    for (const { corners, h } of quads) {
      const t = band(high) > band(low) ? (band(h) - band(low)) / (band(high) - band(low)) : 0.5;
      pen.beginPath();
      corners.forEach((c, n) => (n === 0 ? pen.moveTo(nodes[c]![0], nodes[c]![1]) : pen.lineTo(nodes[c]![0], nodes[c]![1])));
      pen.closePath();
      pen.fillStyle = css(ground(light, t));
      pen.fill();
      pen.stroke();
    }
    pen.fillStyle = INK[light].ink;
    pen.font = "12px system-ui, sans-serif";
    pen.textAlign = "center";
    const name = (text: string, x: number, y: number) => {
      const [a, b] = project(x, y, low);
      pen.fillText(text, a, b + 5);
    };
    name("front", (bed.x[0] + bed.x[1]) / 2, bed.y[0] - 0.09 * d);
    name("back", (bed.x[0] + bed.x[1]) / 2, bed.y[1] + 0.09 * d);
    name("left", bed.x[0] - 0.09 * w, (bed.y[0] + bed.y[1]) / 2);
    name("right", bed.x[1] + 0.09 * w, (bed.y[0] + bed.y[1]) / 2);
  };
  const redraw = () => {
    due ||= requestAnimationFrame(draw);
  };
  const go = (dTurn: number, dTip: number) => {
    turn += dTurn;
    tip = Math.min(1.5, Math.max(0.12, tip + dTip));
    redraw();
  };
  const events = new AbortController();
  const on = <K extends keyof HTMLElementEventMap>(name: K, act: (event: HTMLElementEventMap[K]) => void) =>
    canvas.addEventListener(name, act, { signal: events.signal });
  on("pointerdown", (e) => canvas.setPointerCapture(e.pointerId));
  on("pointermove", (e) => canvas.hasPointerCapture(e.pointerId) && go(e.movementX * 0.008, e.movementY * 0.008));
  on("keydown", (e) => {
    const way = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, 0.07], ArrowDown: [0, -0.07] }[e.key];
    if (!way) return;
    e.preventDefault();
    go(way[0]!, way[1]!);
  });
  const observer = new ResizeObserver(redraw);
  observer.observe(canvas);
  draw();
  return {
    exaggeration,
    close: () => {
      events.abort();
      observer.disconnect();
      cancelAnimationFrame(due);
    },
  };
}

/** x, y of each node, row by row. For a round plate the square is drawn in to the disc, so that its edge is smooth. */
function grid(bed: Bed, nx: number, ny: number): Float64Array {
  const [cx, cy, rx, ry] = [(bed.x[0] + bed.x[1]) / 2, (bed.y[0] + bed.y[1]) / 2, (bed.x[1] - bed.x[0]) / 2, (bed.y[1] - bed.y[0]) / 2];
  const places = new Float64Array(2 * (nx + 1) * (ny + 1));
  for (let j = 0; j <= ny; j++) {
    for (let i = 0; i <= nx; i++) {
      const [u, v] = [(2 * i) / nx - 1, (2 * j) / ny - 1];
      const [a, b] = bed.round ? [u * Math.sqrt(1 - (v * v) / 2), v * Math.sqrt(1 - (u * u) / 2)] : [u, v];
      places.set([cx + rx * a, cy + ry * b], 2 * (j * (nx + 1) + i));
    }
  }
  return places;
}

/** 1, 2 or 5 times a power of ten, not above. */
function nice(n: number): number {
  const power = 10 ** Math.floor(Math.log10(n));
  return [5, 2, 1].map((s) => s * power).find((s) => s <= n * 1.0001) ?? power;
}

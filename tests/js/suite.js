// One suite of cases, run alike in Node, in a page and in a Worker: what the package makes of each case that the native
// library has written down (`wasm/examples/native.rs`). Whoever runs it compares what comes back with what was expected.

/** Most pieces that a toolpath is cut into: cuts of single bytes are for short ones. */
const MOST_PIECES = 5_000;

/** The ways to rewrite: at once, through the stream, and pushed by cuts of so many bytes. */
export const EVERY_WAY = ["whole", "stream", 1, 61, 4099, 1 << 20];

/**
 * A case's outcome, in the shape of what the native library wrote down. `read(name)` gives a file's bytes. Where the ways
 * to rewrite do not agree, all their outcomes are told, and that is not what was expected.
 */
export async function outcome(evengap, given, read, ways = EVERY_WAY) {
  if (given.made) return { made: { value: await worked(evengap, given, read) } };
  if (given.map) return { map: await mapped(evengap, given, read) };
  return { rewritten: await rewritten(evengap, given, read, ways) };
}

/** `evengap` is the first module with the second one in it, as `workshop`. */
async function worked({ EvengapError, workshop }, { function: name, given }, read) {
  try {
    if (name === "Proof") return await proven(workshop, given, read);
    if (name === "FileCheck") return await looked(new workshop.FileCheck(...given[0]), given, read);
    if (name === "Gaps") {
      const found = await looked(new workshop.Gaps(...given[0]), given, read);
      return { ...found, points: [...found.points], strokes: [...found.strokes] };
    }
    const out = workshop[name](...given);
    return ArrayBuffer.isView(out) ? Array.from(out) : (out ?? null);
  } catch (error) {
    return { fault: fault(error, EvengapError) };
  }
}

/** Pushed by odd cuts, the one that is behind first. */
async function proven({ Proof }, [made, ...names], read) {
  const proof = new Proof(...made);
  const files = await Promise.all(names.map(read));
  const at = [0, 0];
  const ended = (n) => at[n] >= files[n].length;
  while (!ended(0) || !ended(1)) {
    const n = ended(0) || (!ended(1) && !proof.originalIsBehind) ? 1 : 0;
    const chunk = files[n].subarray(at[n], (at[n] += 1013));
    if (n === 0) proof.pushOriginal(chunk);
    else proof.pushRewritten(chunk);
  }
  return proof.finish();
}

/** Pushed by odd cuts. */
async function looked(look, [, file, ...finish], read) {
  const bytes = await read(file);
  for (let at = 0; at < bytes.length; at += 997) look.push(bytes.subarray(at, at + 997));
  return look.finish(...finish);
}

async function mapped({ Card, EvengapError, HeightMap, workshop }, given, read) {
  let card, map;
  try {
    card = Card.fromText(given.card, given.csv);
    map = HeightMap.fit(card, given.surface);
  } catch (error) {
    return { fault: fault(error, EvengapError) };
  }
  // A map that should have been refused has no points beside it.
  if (given.map.fault) return { fault: null };
  const points = floats(await read(given.map.points));
  const heights = map.heightsAt(points);
  const [x, y] = points.subarray(6, 8);
  const svg = new TextEncoder().encode(workshop.contourPlan(card, given.surface));
  const out = {
    points: given.map.points,
    heights: sameBits(heights, floats(await read(given.map.heights))) ? given.map.heights : [...heights],
    toml: card.toToml(),
    json: JSON.parse(JSON.stringify(card)),
    digest: card.digest(),
    spots: card.spotHeights(),
    kind: map.kind,
    measured: map.measured,
    places: map.places,
    shift: map.shift,
    slope: map.slope(x, y),
    readings: map.readings(),
    smoothed: map.smoothed(),
    extremes: map.extremes(),
    shape: workshop.shape(card, given.surface),
    isolines: workshop.isolines(card, given.surface),
    plan: await hash(svg),
  };
  // The ways to ask for a height agree.
  const [x0, y0, x1, y1] = map.measured;
  const grid = map.heightsOnGrid(x0, y0, (x1 - x0) / 7, (y1 - y0) / 5, 8, 6);
  const asked = Array.from(grid, (_, n) => map.height(x0 + (n % 8) * ((x1 - x0) / 7), y0 + (n >> 3) * ((y1 - y0) / 5)));
  if (grid.length !== 48 || !sameBits(grid, Float64Array.from(asked))) out.grid = [...grid];
  map.free();
  card.free();
  return out;
}

async function rewritten(evengap, given, read, ways) {
  const { Card, EvengapError, HeightMap } = evengap;
  const { options } = given;
  const toolpath = await read(given.toolpath);
  const map = HeightMap.fit(Card.fromText(given.card), given.surface);
  const go = (way) => {
    if (way === "whole") return evengap.rewrite(toolpath, map, options);
    if (way === "stream") return streamed(evengap, toolpath, map, options);
    return pushed(evengap, toolpath, map, options, way);
  };
  const outcomes = [];
  for (const way of ways.filter((way) => !(toolpath.length / way > MOST_PIECES))) {
    try {
      const { bytes, summary } = await go(way);
      outcomes.push({ file: given.rewritten.file, sha256: await hash(bytes), length: bytes.length, summary });
    } catch (error) {
      outcomes.push({ fault: fault(error, EvengapError) });
    }
  }
  map.free();
  const same = outcomes.every((one) => JSON.stringify(one) === JSON.stringify(outcomes[0]));
  return same ? outcomes[0] : { differ: outcomes };
}

function pushed({ Rewriter }, toolpath, map, options, cut) {
  const rewriter = new Rewriter(map, options);
  const parts = [];
  for (let from = 0; from < toolpath.length; from += cut) parts.push(rewriter.push(toolpath.subarray(from, from + cut)));
  const { bytes, summary } = rewriter.finish();
  if (rewriter.linesRead !== summary.lines_in || rewriter.isRefused) throw new Error("the lines were miscounted");
  rewriter.free();
  return { bytes: joined([...parts, bytes]), summary };
}

async function streamed({ rewriteStream }, toolpath, map, options) {
  const stream = rewriteStream(map, options);
  const parts = [];
  const source = new Blob([toolpath]).stream();
  await source.pipeThrough(stream).pipeTo(new WritableStream({ write: (part) => void parts.push(part) }));
  return { bytes: joined(parts), summary: await stream.summary };
}

function joined(parts) {
  const whole = new Uint8Array(parts.reduce((length, part) => length + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

/** What was thrown: the engine's errors as plain objects, any other so that it cannot be taken for one. */
function fault(error, EvengapError) {
  if (!(error instanceof EvengapError && error instanceof Error)) return { thrown: String(error?.stack ?? error) };
  const [first] = error.places;
  if (error.line !== first?.line || error.column !== first?.column) return { thrown: "the first place is another" };
  return error.toJSON();
}

const floats = (bytes) => new Float64Array(Uint8Array.from(bytes).buffer);

function sameBits(a, b) {
  const [x, y] = [a, b].map((array) => new Uint8Array(array.buffer, array.byteOffset, array.byteLength));
  return x.length === y.length && x.every((byte, n) => byte === y[n]);
}

async function hash(bytes) {
  const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(sum, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

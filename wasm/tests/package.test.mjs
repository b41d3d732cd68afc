// The package against the native library, bit by bit. `tests/wasm.sh` makes both and names the folder of native
// results in NATIVE. Nothing here is typed in by hand.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import path from "node:path";
import test from "node:test";
import { HeightMap } from "../pkg/node.js";

const folder = process.env.NATIVE;
assert.ok(folder, "NATIVE names the folder of native results");
const read = (name) => readFileSync(path.join(folder, name));
const text = (name) => read(name).toString("utf8");
const numbers = (name) => {
  const bytes = read(name);
  assert.equal(bytes.length % 8, 0);
  return new Float64Array(Uint8Array.from(bytes).buffer);
};
const bits = (array) => Buffer.from(array.buffer, array.byteOffset, array.byteLength);
const toolpath = readFileSync(new URL("../../tests/example/part.gcode", import.meta.url));
const cases = JSON.parse(text("cases.json"));

test("there is something to compare", () => {
  assert.deepEqual(cases.map((c) => c.name), ["exact", "smoothed", "bilinear"]);
  assert.notDeepEqual(read("exact.heights"), read("smoothed.heights"));
  assert.notDeepEqual(read("exact.heights"), read("bilinear.heights"));
  assert.notDeepEqual(read("exact.gcode"), toolpath);
});

for (const { name, surface, points: count } of cases) {
  test(`${name}: the same heights as natively, bit by bit`, () => {
    const map = new HeightMap(text(`${name}.toml`), surface);
    const points = numbers(`${name}.points`);
    const heights = map.heights(points);
    assert.ok(count > 1000);
    assert.equal(heights.length, count);
    assert.ok(heights.some((h) => h !== 0));
    assert.deepEqual(bits(heights), read(`${name}.heights`));
    for (let i = 0; i < count; i += 97) {
      assert.equal(map.height(points[2 * i], points[2 * i + 1]), heights[i]);
    }
    map.free();
  });

  test(`${name}: the same rewritten toolpath as natively, byte by byte`, () => {
    const map = new HeightMap(text(`${name}.toml`), surface);
    const rewritten = map.rewrite(toolpath);
    assert.deepEqual(Buffer.from(rewritten.toolpath), read(`${name}.gcode`));
    assert.deepEqual(rewritten.summary, JSON.parse(text(`${name}.summary.json`)));
    map.free();
  });
}

const CARD = `[bed]
x = [0, 235]
y = [0, 235]
[readings]
method = "drag"
sheet = 0.1
points = [[30, 30, 0.1], [205, 30, 0.2], [30, 205, 0.1], [205, 205, 0.2]]
`;

test("the surface is thin-plate unless it is said", () => {
  const map = new HeightMap(CARD);
  assert.ok(Math.abs(map.height(117.5, 100) - 0.05) < 1e-12);
  assert.deepEqual([...map.measured()], [30, 30, 205, 205]);
});

test("a JSON card is read too", () => {
  const card = {
    bed: { x: [0, 235], y: [0, 235] },
    readings: { method: "drag", sheet: 0.1, points: [[30, 30, 0.1], [205, 30, 0.2], [30, 205, 0.1]] },
  };
  const map = new HeightMap(JSON.stringify(card));
  assert.ok(Math.abs(map.height(117.5, 100) - 0.05) < 1e-12);
});

test("a card's mistake is an Error with its kind and place", () => {
  const wrong = CARD.replace("sheet = 0.1", "sheat = 0.1");
  assert.throws(
    () => new HeightMap(wrong),
    (e) => e instanceof Error && e.kind === "card" && e.line === 6 && e.column === 1 && e.message.includes("sheat"),
  );
});

test("readings that make no surface are an Error with help or a place", () => {
  const line = CARD.replace(/points = .*/, "points = [[30, 30, 0.1], [100, 100, 0.2], [205, 205, 0.1]]");
  assert.throws(() => new HeightMap(line), (e) => e instanceof Error && e.kind === "readings" && e.line === 7);
});

test("a toolpath's mistake names its line and column", () => {
  const map = new HeightMap(CARD);
  const wrong = new TextEncoder().encode("G28\nG1 X10 Y10 Z0.2\nG1 X20.5.1\n");
  assert.throws(
    () => map.rewrite(wrong),
    (e) => e instanceof Error && e.kind === "toolpath" && e.line === 3 && e.column > 1,
  );
});

test("a point without its y and a surface without a name are range errors", () => {
  const map = new HeightMap(CARD);
  assert.throws(() => map.heights(new Float64Array([1, 2, 3])), RangeError);
  assert.throws(() => new HeightMap(CARD, "quilted"), RangeError);
});

// The package in Node: the same as the native library, and what only JavaScript can get wrong.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import test from "node:test";
import * as engine from "../../wasm/pkg/node.js";
import * as workshop from "../../wasm/pkg/workshop-node.js";
import { assertThatThereIsSomethingToCompare, expected, read, suite } from "./native.js";
import { outcome } from "./suite.js";

const evengap = { ...engine, workshop };
const { Card, EvengapError, HeightMap, Rewriter, rewriteStream } = evengap;

test("there is something to compare", assertThatThereIsSomethingToCompare);

for (const given of suite) {
  test(`as natively: ${given.name}`, async () => {
    assert.deepEqual(await outcome(evengap, given, read), expected(given));
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
const fit = () => HeightMap.fit(Card.fromText(CARD));
const bytes = (text) => new TextEncoder().encode(text);

test("the surface is thin-plate unless it is said", () => {
  assert.equal(fit().kind, "thin-plate");
  assert.ok(Math.abs(fit().height(117.5, 100) - 0.05) < 1e-12);
});

test("an error keeps its kind, place and help, also through JSON", () => {
  const wrong = CARD.replace("sheet = 0.1", "sheat = 0.1");
  assert.throws(() => Card.fromText(wrong), (e) => {
    assert.ok(e instanceof Error && e instanceof EvengapError);
    assert.deepEqual([e.name, e.kind, e.line, e.column], ["EvengapError", "card", 6, 1]);
    assert.match(e.message, /sheat/);
    const again = new EvengapError(structuredClone(e.toJSON()));
    assert.deepEqual(again.toJSON(), e.toJSON());
    return true;
  });
});

test("options that are mistyped are errors, not defaults", () => {
  const map = fit();
  const refused = (words) => (e) => e instanceof EvengapError && e.kind === "options" && words.test(e.message);
  assert.throws(() => new Rewriter(map, { tolerence: 0.01 }), refused(/tolerence/));
  assert.throws(() => new Rewriter(map, { allow: { everything: true } }), refused(/everything/));
  assert.throws(() => new Rewriter(map, { taper: "slow" }), refused(/slow/));
  assert.throws(() => new Rewriter(map, { shift: NaN }), refused(/null/));
  assert.throws(() => new Rewriter(map, { floor: "0" }), refused(/floor|string/));
  assert.throws(() => workshop.contourPlan(CARD, "thin-plate", { widht: 3 }), refused(/widht/));
  assert.throws(() => workshop.trial(CARD, "thin-plate", { print: { layer: 0.2 } }), refused(/layer/));
  assert.throws(() => workshop.correct(CARD, [{ x: 1, y: 2, thickness: "thin" }]), refused(/thin/));
  assert.throws(() => HeightMap.fit(Card.fromText(CARD), "quilted"), refused(/quilted/));
  new Rewriter(map, { tolerance: undefined });
});

test("the defaults can be asked for, and changing what was given changes nothing", () => {
  const defaults = evengap.defaultOptions();
  assert.equal(defaults.tolerance, 0.005);
  defaults.tolerance = 1;
  assert.equal(evengap.defaultOptions().tolerance, 0.005);
});

test("what no program should ask for is JavaScript's own error", () => {
  const map = fit();
  assert.throws(() => map.heightsAt(new Float64Array([1, 2, 3])), RangeError);
  assert.throws(() => map.heightsOnGrid(0, 0, 1, 1, 5000, 5000), RangeError);
  assert.throws(() => map.heightsOnGrid(0, 0, 1, 1, -1, 5), RangeError);
  assert.throws(() => new Rewriter(map).push("G1 X1"), TypeError);
  assert.throws(() => new Rewriter(map).push([71, 49]), TypeError);
});

test("the second module takes a card as text and as an object", () => {
  const fromText = workshop.contourPlan(CARD);
  assert.equal(workshop.contourPlan(Card.fromText(CARD)), fromText);
  assert.equal(workshop.contourPlan({ toToml: () => CARD }), fromText);
  for (const none of [undefined, null, 7, {}, { toToml: 7 }, { toToml: () => 7 }]) {
    assert.throws(() => workshop.contourPlan(none), TypeError);
  }
  assert.throws(() => workshop.compare(CARD, CARD.replace("sheet", "sheat")), (e) => e instanceof EvengapError && e.line === 6);
});

test("the cautions are the engine's, for each occasion", () => {
  const cautions = evengap.cautions();
  assert.deepEqual(Object.keys(cautions), ["reading", "running", "printing", "turning"]);
  assert.ok(Object.values(cautions).flat().every((words) => /^[A-Z].*\.$/.test(words)));
  assert.ok(cautions.printing.some((words) => /first layer/.test(words)));
});

test("any view of bytes will do, and it is copied", () => {
  const text = bytes("..G1 X1 Y1 Z0.2\n..");
  const rewriter = new Rewriter(fit());
  const out = rewriter.push(new DataView(text.buffer, 2, text.length - 4));
  assert.equal(rewriter.linesRead, 1);
  rewriter.push(bytes("G1 X100\n"));
  assert.equal(new TextDecoder().decode(out), "G1 X1 Y1 Z0.2\n");
});

test("a view shows the same bytes, until the next call", () => {
  const map = fit();
  const parts = ["G28\nG1 X10 Y10 Z0.2\n", "G1 X180 Y170 E9\nG1 X20 Y30 E12\n", "", "G1 X40 Y30 E13"].map(bytes);
  const [copies, views] = [new Rewriter(map), new Rewriter(map)];
  let before;
  for (const part of parts) {
    const copy = copies.push(part);
    const view = views.pushView(part);
    assert.deepEqual(view.slice(), copy);
    assert.equal(before === undefined || view.buffer === before, true, "it is the module's memory");
    assert.ok(view.buffer.byteLength > copy.buffer.byteLength);
    before = view.buffer;
  }
  assert.deepEqual(views.finish(), copies.finish());
  assert.throws(() => views.pushView(parts[0]), TypeError);
  assert.throws(() => new Rewriter(map).pushView(bytes("G1 X1.2.3\n")), EvengapError);
});

test("after its end a rewriter takes nothing more", () => {
  const map = fit();
  const ended = new Rewriter(map);
  ended.finish();
  assert.throws(() => ended.push(bytes("G1 X1\n")), TypeError);
  assert.throws(() => ended.finish(), TypeError);
  const refused = new Rewriter(map);
  assert.throws(() => refused.push(bytes("G1 X1.2.3\n")), EvengapError);
  assert.ok(refused.isRefused);
  assert.throws(() => refused.push(bytes("G1 X1\n")), TypeError);
});

test("a refusal fails the stream and its summary alike", async () => {
  const stream = rewriteStream(fit());
  const source = new Blob(["G28\nG1 X10 Y10 Z0.2\nG1 X20.5.1\n"]).stream();
  const told = (e) => e instanceof EvengapError && e.kind === "toolpath" && e.line === 3;
  await assert.rejects(source.pipeThrough(stream).pipeTo(new WritableStream()), told);
  await assert.rejects(stream.summary, told);
});

test("a stream that is given up gives its summary up", async () => {
  const stream = rewriteStream(fit());
  const reason = new Error("the user changed their mind");
  await stream.readable.cancel(reason);
  await assert.rejects(stream.summary, reason);
  const other = rewriteStream(fit());
  await Promise.allSettled([other.writable.abort(reason)]);
  await assert.rejects(other.summary, reason);
});

test("text in a stream is refused", async () => {
  const stream = rewriteStream(fit());
  const source = new ReadableStream({ start: (c) => (c.enqueue("G1 X1\n"), c.close()) });
  await assert.rejects(source.pipeThrough(stream).pipeTo(new WritableStream()), TypeError);
});

test("the package's version is the engine's", () => {
  const { version } = createRequire(import.meta.url)("../../wasm/pkg/package.json");
  assert.equal(evengap.version(), version);
});

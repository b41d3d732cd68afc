// How fast the package rewrites in Node beside the native library on one thread: they take turns in one run.
//
// Usage: node rate.js PACKAGE NATIVE-PROGRAM CARD TOOLPATH
import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

/** Rounds in which neither way got better by a hundredth end the run; so do these many. */
const ROUNDS = 9;
const MOST_ROUNDS = 90;
/** As the page and the command push. */
const CHUNK = 256 * 1024;
/** What is promised: the share of the native rate. */
const LEAST = 0.5;

const [folder, native, cardFile, toolpathFile] = process.argv.slice(2);
const { Card, HeightMap, Rewriter } = await import(pathToFileURL(path.resolve(folder, "node.js")));
const card = Card.fromText(readFileSync(cardFile, "utf8"));
const map = HeightMap.fit(card);
const toolpath = readFileSync(toolpathFile);

function inWasm() {
  const rewriter = new Rewriter(map);
  const start = performance.now();
  for (let from = 0; from < toolpath.length; from += CHUNK) rewriter.push(toolpath.subarray(from, from + CHUNK));
  rewriter.finish();
  const seconds = (performance.now() - start) / 1000;
  rewriter.free();
  return seconds;
}

const natively = () => Number(execFileSync(native, [cardFile, toolpathFile], { encoding: "utf8" }));
const rate = (seconds) => `${(toolpath.length / 1e6 / seconds).toFixed(0)} MB/s`;

inWasm(); // The engine compiles the module twice: at once, and well.
// The best round of each: other work on the machine only ever makes a round slower. On until neither has got better for a while.
const best = { native: Infinity, wasm: Infinity };
let rounds = 0;
for (let since = 0; since < ROUNDS && rounds < MOST_ROUNDS; rounds += 1, since += 1) {
  for (const [way, seconds] of [["native", natively()], ["wasm", inWasm()]]) {
    if (seconds < 0.99 * best[way]) since = 0;
    best[way] = Math.min(best[way], seconds);
  }
}
const [bestNatively, bestInWasm] = [best.native, best.wasm];
const share = bestNatively / bestInWasm;
console.log(`rewriting ${(toolpath.length / 1e6).toFixed(1)} MB, the best of ${rounds} rounds, one thread each:`);
console.log(`native ${rate(bestNatively)}, WASM in Node ${process.version} ${rate(bestInWasm)}: ${(100 * share).toFixed(0)} % of the native rate`);
if (!(share >= LEAST)) {
  console.error(`that is less than ${100 * LEAST} %`);
  process.exit(1);
}

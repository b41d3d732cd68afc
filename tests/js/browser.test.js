// The same suite in Chromium, in a page and in a Worker, under a policy that lets nothing in from elsewhere.
import assert from "node:assert/strict";
import path from "node:path";
import { after, before, test } from "node:test";
import { open } from "./browser.js";
import { assertThatThereIsSomethingToCompare, expected, folder, suite } from "./native.js";

const here = import.meta.dirname;
let page, complaints, close;

before(async () => {
  ({ page, complaints, close } = await open({ "": here, pkg: path.join(here, "../../wasm/pkg"), native: folder }));
});

after(() => close?.());

test("there is something to compare", assertThatThereIsSomethingToCompare);

test("the package loads in a page", async () => {
  await page.evaluate(async () => {
    const [{ default: init, ...engine }, { default: initWorkshop, ...workshop }, { outcome }] = await Promise.all([
      import("/pkg/index.js"), import("/pkg/workshop.js"), import("/suite.js"),
    ]);
    await Promise.all([init(), initWorkshop()]);
    const evengap = { ...engine, workshop };
    const read = async (name) => new Uint8Array(await (await fetch(`/native/${name}`)).arrayBuffer());
    globalThis.inPage = (given, ways) => outcome(evengap, given, read, ways);
    const worker = new Worker("/worker.js", { type: "module" });
    globalThis.inWorker = (...asked) =>
      new Promise((resolve, reject) => {
        worker.onmessage = ({ data }) => resolve(data);
        worker.onerror = (event) => reject(new Error(event.message));
        worker.postMessage(asked);
      });
  });
});

// Node takes every way to rewrite; here each place takes those that are its own.
const inPage = (given) => page.evaluate((given) => globalThis.inPage(given, ["whole", 4099]), given);
const inWorker = (given) => page.evaluate((given) => globalThis.inWorker(given, ["stream", 65536]), given);

for (const given of suite) {
  test(`as natively, in a page: ${given.name}`, async () => assert.deepEqual(await inPage(given), expected(given)));
  test(`as natively, in a Worker: ${given.name}`, async () => assert.deepEqual(await inWorker(given), expected(given)));
}

test("nothing was complained about", () => assert.deepEqual(complaints, []));

// Hostile cards: an error of the package's own in under a second, in Node and in Chromium, and the package works afterwards.
import assert from "node:assert/strict";
import path from "node:path";
import { test } from "node:test";
import * as engine from "../../wasm/pkg/node.js";
import { open } from "./browser.js";
import { TEXTS, said } from "./hostile.js";

const names = Object.keys(TEXTS);
const CARD = `[bed]
x = [0, 200]
y = [0, 200]
[readings]
method = "drag"
sheet = 0.1
points = [[30, 30, 0.1], [170, 30, 0.2], [30, 170, 0.1]]
`;

function judge(where, told) {
  test(`${where}: every text was tried`, () => assert.deepEqual(told.map((t) => t.name), names));
  for (const { name, fault, ms, kind, length } of told) {
    test(`${where}: ${name}`, () => {
      assert.equal(fault, undefined);
      assert.ok(kind === "card" || kind === "limit", kind);
      assert.ok(ms < 1000, `${ms} ms`);
      assert.ok(length < 500, `a message of ${length}`);
    });
  }
}

judge("Node", said(engine));
test("Node: a card is read afterwards", () => assert.match(engine.Card.fromText(CARD).digest(), /^[0-9a-f]{12}$/));

const here = import.meta.dirname;
const { page, complaints, close } = await open({ "": here, pkg: path.join(here, "../../wasm/pkg") });
const inPage = await page.evaluate(async (card) => {
  const [{ default: init, ...engine }, { said }] = await Promise.all([import("/pkg/index.js"), import("/hostile.js")]);
  await init();
  const told = said(engine);
  return { told, digest: engine.Card.fromText(card).digest() };
}, CARD);
await close();
judge("page", inPage.told);
test("page: a card is read afterwards", () => assert.equal(inPage.digest, engine.Card.fromText(CARD).digest()));
test("page: nothing was complained about", () => assert.deepEqual(complaints, []));

// Typing a card: by keyboard, by pointer, from a spreadsheet; what is marked; what a reload keeps.
import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { ready } from "./browser.mjs";
import { cardChooser, loadExample, native, sheet, start } from "./fixture.mjs";

let at;
before(async () => (at = await start()));
after(() => at.stop());

/** Presses Tab until the element with the focus has this name. */
async function tabTo(page, name) {
  for (let n = 0; n < 120; n++) {
    await page.keyboard.press("Tab");
    const here = await page.evaluate(() => {
      const e = document.activeElement;
      return e?.getAttribute("aria-label") ?? e?.labels?.[0]?.innerText ?? e?.textContent ?? "";
    });
    if (here.trim().startsWith(name)) return;
  }
  assert.fail(`Tab never came to ${name}`);
}

test("a card is typed, checked, saved and its bed looked at by keyboard alone", async () => {
  const { page } = at;
  await tabTo(page, "Columns");
  await page.keyboard.type("3");
  await tabTo(page, "Rows");
  await page.keyboard.type("3");
  await tabTo(page, "Lay a grid");
  await page.keyboard.press("Enter");
  await page.getByText(/^9 points were added/).waitFor();
  assert.equal(await page.locator(".points p.fault").count(), 0, "points that wait to be read are no fault");
  await page.evaluate(() => document.activeElement?.blur());
  await tabTo(page, "Reading at X 20 Y 20");
  // In the order of the visit: up the left side, over the back, down the right side to the middle, in, and along the front.
  const readings = ["0.13", "0.18", "0.05", "0.15", "0.14", "0.14", "0.27", "0.2", "0.14"];
  for (const [i, value] of readings.entries()) {
    await page.keyboard.type(value);
    await page.keyboard.press(i % 2 ? "Enter" : "Tab");
  }
  await page.getByText("9 of 9").waitFor();
  await tabTo(page, "Sheet");
  await page.keyboard.type("0.08");
  assert.equal(await page.getByLabel("Sheet mm").inputValue(), "0.08");
  await page.keyboard.press("Shift+Tab");
  await tabTo(page, "Save the card");
  const coming = page.waitForEvent("download");
  await page.keyboard.press("Enter");
  const saved = await (await coming).path();
  const text = readFileSync(saved, "utf8");
  assert.match(text, /sheet = 0\.08/);
  const map = JSON.parse(native("map", saved, "--json").toString());
  assert.deepEqual(map.readings.map((r) => Math.round((r.height + 0.08) * 1000) / 1000).sort(), readings.map(Number).sort());
  await tabTo(page, "2 Bed");
  await page.keyboard.press("Enter");
  await tabTo(page, "Plan of the bed");
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("Shift+ArrowUp");
  await page.getByText("X 113").waitFor();
  await page.getByText("Y 119").waitFor();
});

test("a click on the drawing opens a reading; Tab goes to the next point", async () => {
  const { page } = at;
  await sheet(page, "Card");
  const box = await page.locator(".drawing svg").boundingBox();
  // The middle of the plate, between the axes' figures: 235 by 235 mm, so the middle point (118, 118) lies there.
  await page.mouse.click(box.x + 38 + (box.width - 50) / 2, box.y + 12 + (box.height - 52) / 2);
  const entry = page.locator(".entry input");
  await entry.waitFor();
  assert.equal(await entry.inputValue(), "0.27");
  await page.keyboard.type("0.26");
  await page.keyboard.press("Tab");
  assert.match(await page.locator(".entry").innerText(), /X 118 Y 20/);
  assert.equal(await page.getByLabel("Reading at X 118 Y 118, point 7").inputValue(), "0.26");
  await page.keyboard.press("Escape");
  await entry.waitFor({ state: "detached" });
  // An empty place makes a point that is still to be read.
  await page.mouse.click(box.x + 38 + (box.width - 50) / 4, box.y + 12 + (box.height - 52) / 4);
  await page.getByText("9 of 10").waitFor();
  await page.keyboard.type("0.19");
  await page.getByText("10 of 10").waitFor();
});

test("a mistyped reading is marked at once, with the reason", async () => {
  const { page } = at;
  const field = page.getByLabel("Reading at X 118 Y 118, point 7");
  await field.fill("0,27");
  await page.getByText("Write a point for the decimals: 0.27").waitFor();
  assert.equal(await field.getAttribute("aria-invalid"), "true");
  assert.ok(await page.getByRole("button", { name: "Save the card" }).isDisabled());
  await field.fill("27oo");
  await page.getByText("“27oo” is not a number.").waitFor();
  await field.fill("5000");
  await page.getByText(/beyond what can be read/).waitFor();
  await field.fill("0.27");
  await page.getByText("Write a point").waitFor({ state: "detached" });
  assert.equal(await field.getAttribute("aria-invalid"), null);
  // Outside the bed, said by the engine.
  await page.getByLabel("Change places, remove points").check();
  await page.getByLabel("X, point 7").fill("300");
  await page.getByText(/is outside the bed/).first().waitFor();
  await page.getByLabel("X, point 7").fill("118");
  // Two at once.
  await page.getByLabel("X, point 1", { exact: true }).fill("-20");
  await page.getByLabel("X, point 2", { exact: true }).fill("999");
  await page.waitForFunction(() => document.querySelectorAll(".points p.fault").length === 2);
  await page.getByLabel("X, point 1", { exact: true }).fill("20");
  await page.getByLabel("X, point 2", { exact: true }).fill("20");
  await page.getByLabel("Change places, remove points").uncheck();
});

test("a reading that does not fit its neighbours is doubted", async () => {
  const { page } = at;
  await loadExample(page);
  const field = page.getByLabel("Reading at X 117 Y 117, point 13");
  await field.fill("0.72");
  await page.getByText(/The other readings lead one to expect about 0\.2\d here/).waitFor();
  await field.fill("0.27");
  await page.getByText(/The other readings/).waitFor({ state: "detached" });
});

test("columns and rows come in from a spreadsheet", async () => {
  const { page } = at;
  await page.getByText("Add points").click();
  const area = page.getByLabel(/From a spreadsheet/);
  await area.fill("X\tY\tZ\n40\t40\t0.21\n190\t40\t0.17\n");
  await page.getByRole("button", { name: "Bring in" }).click();
  await page.getByText("27 of 27").waitFor();
  const field = page.getByLabel("Reading at X 20 Y 20, point 1");
  await field.focus();
  await field.evaluate((element) => {
    const clipboardData = new DataTransfer();
    clipboardData.setData("text/plain", "0.11\n0.12\n0.15\n");
    element.dispatchEvent(new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true }));
  });
  await page.getByText("3 readings were filled in").waitFor();
  assert.equal(await page.getByLabel("Reading at X 117 Y 20, point 3").inputValue(), "0.15");
});

test("a broken card is refused with its place, and the card on the page stays", async () => {
  const { page, folder } = at;
  const broken = join(folder, "broken.toml");
  writeFileSync(broken, "[bed]\nx = [0, 235]\ny = [0, 235]\n\n[readings]\nmethod = \"drag\"\nshet = 0.1\npoints = [[1, 2, 3]]\n");
  await cardChooser(page).setInputFiles(broken);
  const alert = page.getByRole("alert");
  await alert.waitFor();
  const said = await alert.innerText();
  assert.match(said, /broken\.toml cannot be used\. Unknown key/);
  assert.match(said, /Line 7, column 1:/);
  assert.match(said, /Did you mean “sheet”\?/);
  assert.match(said, /shet = 0\.1/);
  await page.getByText("27 of 27").waitFor();
  writeFileSync(broken, Buffer.from([0, 1, 2, 255, 254]));
  await cardChooser(page).setInputFiles(broken);
  await page.waitForFunction(() => /cannot be used/.test(document.querySelector("[role=alert]")?.textContent ?? "") && !/shet/.test(document.body.textContent ?? ""));
});

test("points that are still to be read survive in the saved card", async () => {
  const { page, folder } = at;
  const unread = join(folder, "unread.json");
  writeFileSync(unread, JSON.stringify({ bed: { x: [-60, 60], y: [-60, 60], outline: "round" }, readings: { method: "gauge", parked: 0.3, points: [[0, 0, 0.25], [40, 0], [0, 40, 0.2], [-40, 0, 0.15, 0.03]] }, print: { filament: 1.75 } }));
  await cardChooser(page).setInputFiles(unread);
  await page.getByText("3 of 4").waitFor();
  const coming = page.waitForEvent("download");
  await page.getByRole("button", { name: "Save the card" }).click();
  const text = readFileSync(await (await coming).path(), "utf8");
  assert.match(text, /\[\s*40(\.0)?, +0(\.0)?\s*\]/);
  assert.match(text, /0\.03/);
  assert.match(text, /filament = 1\.75/);
});

test("an opened card takes the place of another, which can be brought back", async () => {
  const { page } = at;
  await loadExample(page);
  await page.getByRole("button", { name: "Bring the card before it back" }).click();
  await page.getByText("3 of 4").waitFor();
});

test("a reload keeps the card, and it can be cleared", async () => {
  const { page } = at;
  await page.reload();
  await ready(page);
  await page.getByText("3 of 4").waitFor();
  await page.getByRole("button", { name: "Clear the card" }).click();
  await page.getByRole("button", { name: "Yes, clear it" }).click();
  await page.getByText("No points yet.").waitFor({ state: "attached" }).catch(() => {});
  await page.getByText("0 of 0").waitFor();
  assert.equal(await page.evaluate(() => localStorage.getItem("evengap.card.1")), null);
  await page.reload();
  await ready(page);
  await page.getByText("0 of 0").waitFor();
  assert.deepEqual(at.faults, []);
});

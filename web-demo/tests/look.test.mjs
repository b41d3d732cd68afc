// Each step in light, dark and on a phone: checked by axe, and kept as a picture for people to look at.
import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { screenshots } from "./browser.mjs";
import { cardChooser, EXAMPLE_PART, fileChooser, loadExample, sheet, start } from "./fixture.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const LOOKS = [
  ["light", "light", 1280],
  ["dark", "dark", 1280],
  ["phone", "light", 360],
  ["phone-dark", "dark", 360],
];

let at;
before(async () => (at = await start()));
after(() => at.stop());

async function look(step) {
  const { page } = at;
  for (const [name, colorScheme, width] of LOOKS) {
    await page.emulateMedia({ colorScheme, reducedMotion: "reduce" });
    await page.setViewportSize({ width, height: width === 360 ? 740 : 900 });
    await page.waitForTimeout(150);
    await page.screenshot({ path: join(screenshots, `${step}-${name}.png`), fullPage: true });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(wide <= width, `${step} in ${name}: the page is ${wide} px wide`);
    await page.evaluate(axe);
    const { violations, passes } = await page.evaluate(() => window.axe.run());
    const said = violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.target} ${n.failureSummary}`));
    assert.deepEqual(said, [], `${step} in ${name}`);
    assert.ok(passes.length > 10, "axe looked at next to nothing");
  }
  await page.emulateMedia({ colorScheme: "light" });
  await page.setViewportSize({ width: 1280, height: 900 });
}

test("the empty card", () => look("1-empty"));

test("a card with what can be wrong with it", async () => {
  const { page } = at;
  await loadExample(page);
  await look("2-card");
  await page.getByLabel("Reading at X 117 Y 117, point 13").fill("0.72");
  await page.getByLabel("Reading at X 68 Y 20, point 2").fill("0,2");
  await page.getByLabel("Reading at X 166 Y 20, point 4").fill("");
  await page.getByText("Add points").click();
  await page.getByLabel("Change places, remove points").check();
  await page.getByText("The other readings").waitFor();
  const box = await page.locator(".drawing svg").boundingBox();
  await page.mouse.click(box.x + box.width * 0.5, box.y + box.height * 0.35);
  const broken = join(at.folder, "broken.toml");
  writeFileSync(broken, "[bed]\nx = [0, 235]\ny = [0, 235\n");
  await cardChooser(page).setInputFiles(broken);
  await page.getByRole("alert").waitFor();
  await look("3-marked");
});

test("the bed", async () => {
  const { page } = at;
  await loadExample(page);
  await sheet(page, "Bed");
  await page.getByRole("button", { name: "Show the surface" }).click();
  await page.getByText(/times larger/).waitFor();
  await page.getByText("Heights in numbers").click();
  await page.getByText("Readings against the map").click();
  await look("4-bed");
});

test("the file", async () => {
  const { page } = at;
  await sheet(page, "File");
  await look("5-no-file");
  await fileChooser(page).setInputFiles(EXAMPLE_PART);
  await page.getByText("outside the window where it sticks").waitFor();
  await look("6-file");
  await page.getByText("How to rewrite").click();
  const broken = join(at.folder, "broken.gcode");
  writeFileSync(broken, "G28\nG1 X40 Y40 Z0.2\nG1 X90 E1\nG1 X20 Y1.2.3 E1\n");
  await fileChooser(page).setInputFiles(broken);
  await page.getByRole("alert").waitFor();
  await look("7-refused");
});

test("the switch turns light to dark, and a reload remembers", async () => {
  const { page } = at;
  await page.getByRole("button", { name: "Dark paper" }).click();
  await page.reload();
  await page.getByRole("button", { name: "Light paper" }).waitFor();
  assert.equal(await page.evaluate(() => document.documentElement.dataset.light), "dark");
});

// Files that cannot be rewritten, and files that take a while.
import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { chosenFile, EXAMPLE_CARD, EXAMPLE_PART, fileChooser, loadExample, native, sheet, standInForDialogue, start, writeLarge } from "./fixture.mjs";

let at;
before(async () => {
  at = await start();
  await loadExample(at.page);
  await sheet(at.page, "File");
});
after(() => at.stop());

async function refusal(name, text) {
  const path = join(at.folder, name);
  writeFileSync(path, text);
  await fileChooser(at.page).setInputFiles(path);
  await at.page.getByRole("heading", { name: new RegExp(name.replace(".", "\\.")) }).waitFor();
  const alert = at.page.getByRole("alert");
  await alert.waitFor();
  return alert.innerText();
}

test("a broken number is told with its place and its line", async () => {
  const said = await refusal("broken.gcode", "G28\nG1 X10 Y10 Z0.2\nG1 X20 Y1.2.3 E1\nG1 X30 E2\n");
  assert.match(said, /Line 3, column 8:/);
  assert.match(said, /G1 X20 Y1\.2\.3 E1/);
  assert.match(said, /Nothing was written/);
  assert.equal(await at.page.getByRole("button", { name: /^Save/ }).count(), 0);
});

test("what is refused is told, and the picture of the sliced file is there all the same", async () => {
  const said = await refusal("floor.gcode", "G28\nG90\nM83\nG1 X20 Y215 Z0.02 F600\nG1 X60 Y215 E1\nG1 X20 E1\n");
  assert.match(said, /Line \d+/);
  assert.match(said, /raise/i);
  await at.page.getByRole("heading", { name: "As sliced" }).waitFor();
  assert.equal(await at.page.getByRole("heading", { name: "Rewritten" }).count(), 0);
  const probing = await refusal("probe.gcode", "G28\nM83\nG29\nG1 X20 Y20 Z0.2\nG1 X90 E1\n");
  assert.match(probing, /own-levelling/);
  await at.page.getByText("How to rewrite").click();
  await at.page.getByLabel(/own-levelling/).check();
  await at.page.getByRole("button", { name: "Look again" }).click();
  await at.page.getByText("outside the window where it sticks").waitFor();
  assert.equal(await at.page.getByRole("alert").count(), 0);
});

test("a file can be dropped", async () => {
  const { page } = at;
  await page.locator(".drop").evaluate((place, text) => {
    const dataTransfer = new DataTransfer();
    dataTransfer.items.add(new File([text], "dropped.gcode"));
    place.dispatchEvent(new DragEvent("drop", { dataTransfer, bubbles: true, cancelable: true }));
  }, "G28\nM83\nG1 X40 Y40 Z0.2\nG1 X90 E1\n");
  await page.getByRole("heading", { name: /dropped\.gcode/ }).waitFor();
  await page.getByText("outside the window where it sticks").waitFor();
});

test("a file without a toolpath is no fault, and says so", async () => {
  const path = join(at.folder, "letter.txt");
  writeFileSync(path, "; Dear printer,\n; nothing to do today.\n");
  await fileChooser(at.page).setInputFiles(path);
  await at.page.getByText("No filament is laid").waitFor();
});

test("a file that is written in several blocks has the command's bytes", async () => {
  const { page, folder } = at;
  const [sliced, even] = [join(folder, "blocks.gcode"), join(folder, "blocks.even.gcode")];
  writeLarge(sliced, 5);
  native("rewrite", sliced, "--card", EXAMPLE_CARD, "-o", even);
  await fileChooser(page).setInputFiles(sliced);
  await page.getByRole("heading", { name: /blocks\.gcode/ }).waitFor();
  await standInForDialogue(page);
  await page.getByRole("button", { name: "Save blocks.even.gcode" }).click({ timeout: 60_000 });
  await page.getByText(/^Saved/).waitFor({ timeout: 60_000 });
  const [there, want] = [await chosenFile(page), readFileSync(even)];
  assert.ok(want.length > 4 * 2 ** 20, "it is several blocks");
  assert.ok(there.equals(want), `${there.length} bytes, ${want.length} by the command`);
});

test("Cancel in the middle of 200 MB, while the page answers", async () => {
  const { page, folder } = at;
  const large = join(folder, "large.gcode");
  writeLarge(large, 200);
  await fileChooser(page).setInputFiles(large);
  await page.waitForFunction(() => (document.querySelector("progress")?.value ?? 0) > 0.05);
  // The page answers: another sheet comes at once.
  const asked = Date.now();
  await sheet(page, "Card");
  await page.getByRole("heading", { name: "Points and readings" }).waitFor();
  assert.ok(Date.now() - asked < 2000, "the page answered late");
  await sheet(page, "File");
  const share = await page.evaluate(() => document.querySelector("progress")?.value);
  assert.ok(share > 0 && share < 1, `it was at ${share}`);
  const cancelled = Date.now();
  await page.getByRole("button", { name: "Cancel" }).click();
  await page.getByText("Cancelled. Nothing was written.").waitFor();
  const took = Date.now() - cancelled;
  assert.ok(took < 2000, `it took ${took} ms to cancel`);
  assert.equal(await page.getByRole("button", { name: /^Save/ }).count(), 0);
});

test("Cancel while saving leaves the target as it was", async () => {
  const { page } = at;
  await page.getByRole("button", { name: "Look again" }).click();
  await page.getByRole("heading", { name: "What was found" }).waitFor({ timeout: 90_000 });
  await standInForDialogue(page, "what was there before");
  await page.getByRole("button", { name: "Save large.even.gcode" }).click();
  await page.waitForFunction(() => (document.querySelector("progress")?.value ?? 0) > 0.05);
  await page.getByRole("button", { name: "Cancel" }).click();
  await page.getByText("Cancelled. Nothing was written.").waitFor();
  assert.equal((await chosenFile(page)).toString(), "what was there before");
  // And the page goes on working.
  await fileChooser(page).setInputFiles(EXAMPLE_PART);
  await page.getByRole("heading", { name: /part\.gcode/ }).waitFor();
  await page.getByText("outside the window where it sticks").waitFor();
  assert.deepEqual(at.faults, []);
});

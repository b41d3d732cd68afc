// The whole job, from an empty page to a saved file, against the native command.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { cardChooser, chosenFile, EXAMPLE_CARD, EXAMPLE_PART, fileChooser, native, sheet, standInForDialogue, start } from "./fixture.mjs";

let at;
before(async () => (at = await start()));
after(() => at.stop());

test("an empty page leads to a saved file with the native command's bytes", async () => {
  const { page, folder } = at;
  await page.getByText("No points yet.").waitFor();
  await cardChooser(page).setInputFiles(EXAMPLE_CARD);
  await page.getByText("25 of 25").waitFor();
  await sheet(page, "Bed");
  await page.getByText("0.26 mm").first().waitFor();
  // The turns that the command tells, in the list and on the plan.
  const { screws } = JSON.parse(native("tram", EXAMPLE_CARD, "--json").toString());
  const listed = await page.locator(".turns li").allInnerTexts();
  assert.equal(listed.length, 4);
  const drawn = await page.locator(".plan .screws text").allTextContents().then((all) => all.join(" "));
  for (const [i, screw] of screws.entries()) {
    assert.ok(listed[i].toLowerCase().startsWith(`${screw.name}: ${screw.raise_mm > 0 ? "raise" : "lower"} ${Math.abs(screw.raise_mm).toFixed(2)} mm`), listed[i]);
    assert.ok(drawn.includes(`${screw.direction === "clockwise" ? "↻" : "↺"} ${screw.angle_degrees.toFixed(0)}°`), drawn);
  }
  // How well the bed is known, as the command says it; and a plan of it.
  const { known } = JSON.parse(native("map", EXAMPLE_CARD, "--json").toString());
  const told = await page.locator(".known").innerText();
  for (const words of [`± ${known.bed.within.toFixed(3)} mm`, `worst ${known.bed.worst.place}`]) assert.ok(told.includes(words), told);
  await page.getByText("Where it is known, and where not").click();
  await page.locator(".known-plan svg").waitFor();
  assert.match(await page.locator(".known-plan").textContent(), /The bed lies within so many mm/);
  await sheet(page, "File");
  await fileChooser(page).setInputFiles(EXAMPLE_PART);
  await page.getByRole("heading", { name: "What was found" }).waitFor();
  // The same figures that the command reports.
  const report = JSON.parse(native("rewrite", EXAMPLE_PART, "--card", EXAMPLE_CARD, "-o", join(folder, "native.gcode"), "--json").toString());
  const figures = await page.locator(".result").innerText();
  assert.ok(figures.includes(report.moves_out.toLocaleString("en-GB")), "the moves");
  assert.ok(figures.includes(`+${report.largest_offset.offset.toFixed(3)} mm`), "the largest offset");
  await standInForDialogue(page, "what was there before");
  await page.getByRole("button", { name: "Save part.even.gcode" }).click();
  await page.getByText(/^Saved: /).waitFor();
  const expected = readFileSync(join(folder, "native.gcode"));
  assert.ok(expected.length > 150_000);
  assert.deepEqual(await chosenFile(page), expected);
});

test("where no dialogue can be had, the same bytes come as a download", async () => {
  const { page, folder } = at;
  await page.evaluate(() => delete window.showSaveFilePicker && (window.showSaveFilePicker = undefined));
  const coming = page.waitForEvent("download");
  await page.getByRole("button", { name: "Save part.even.gcode" }).click();
  const download = await coming;
  assert.equal(download.suggestedFilename(), "part.even.gcode");
  assert.deepEqual(readFileSync(await download.path()), readFileSync(join(folder, "native.gcode")));
});

test("without a private file system either, it comes from memory", async () => {
  const { page, folder } = at;
  await page.evaluate(() => (navigator.storage.getDirectory = () => Promise.reject(new Error("none here"))));
  const coming = page.waitForEvent("download");
  await page.getByRole("button", { name: "Save part.even.gcode" }).click();
  assert.deepEqual(readFileSync(await (await coming).path()), readFileSync(join(folder, "native.gcode")));
});

test("options reach the engine: the same bytes as the command's options give", async () => {
  const { page, folder } = at;
  const out = join(folder, "native-options.gcode");
  native("rewrite", EXAMPLE_PART, "--card", EXAMPLE_CARD, "-o", out, "--taper", "0.6..6", "--shift", "0.03", "--flow", "off");
  await page.getByText("How to rewrite").click();
  await page.getByLabel("Up to which height").selectOption("range");
  await page.getByLabel("Whole up to Z").fill("0.6");
  await page.getByLabel("Ended at Z").fill("6");
  await page.getByLabel("Shift").fill("0.03");
  await page.getByLabel("Extrusion follows").uncheck();
  await page.getByRole("button", { name: "Look again" }).click();
  await page.getByText("ended at Z 6.00 mm").waitFor();
  const coming = page.waitForEvent("download");
  await page.getByRole("button", { name: "Save part.even.gcode" }).click();
  assert.deepEqual(readFileSync(await (await coming).path()), readFileSync(out));
});

test("another layer can be looked at", async () => {
  const { page } = at;
  await page.getByLabel("Layer", { exact: true }).selectOption("4");
  await page.getByText("The layer at Z 1.00 is drawn.").waitFor();
  const inked = await page.locator("canvas.path").first().evaluate((canvas) => {
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    return data.filter((_, i) => i % 4 === 3 && data[i] > 0).length;
  });
  assert.ok(inked > 1000, `only ${inked} pixels are drawn`);
});

test("the saved card is the one that was opened", async () => {
  const { page } = at;
  await sheet(page, "Card");
  const coming = page.waitForEvent("download");
  await page.getByRole("button", { name: "Save the card" }).click();
  const saved = await (await coming).path();
  const map = (card) => JSON.parse(native("map", card, "--json").toString());
  assert.deepEqual(map(saved).readings.map((r) => r.height), map(EXAMPLE_CARD).readings.map((r) => r.height));
});

test("nothing went to another origin, and nothing went wrong", () => {
  assert.ok(at.requests.length > 3);
  for (const url of at.requests) assert.ok(url.startsWith(at.address) || url.startsWith("blob:"), url);
  assert.deepEqual(at.faults, []);
});

// After the first load the page needs no network, wherever it was served from.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { ready } from "./browser.mjs";
import { EXAMPLE_PART, fileChooser, loadExample, sheet, start } from "./fixture.mjs";

let at;
before(async () => (at = await start()));
after(() => at.stop());

test("the first view shows in under a second", async () => {
  const painted = await at.page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime);
  console.log(`# first view after ${Math.round(painted)} ms`);
  assert.ok(painted > 0 && painted < 1000, `first view after ${painted} ms`);
});

test("it opens and does its work with the server gone", async () => {
  const { page, context, server } = at;
  await page.evaluate(() => navigator.serviceWorker.ready);
  await context.setOffline(true);
  await server.stop();
  await page.reload();
  await ready(page);
  await loadExample(page);
  await sheet(page, "Bed");
  await page.getByRole("button", { name: "Show the surface" }).click();
  await page.getByText(/times larger than they are/).waitFor();
  await sheet(page, "File");
  await fileChooser(page).setInputFiles(EXAMPLE_PART);
  await page.getByText("outside the window where it sticks").waitFor();
  assert.deepEqual(at.faults, []);
});

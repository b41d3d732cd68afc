// The engine's second module comes late, or does not come: it is said, and asked for again.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { launch, newPage, ready } from "./browser.mjs";
import { EXAMPLE_PART, fileChooser, loadExample, sheet } from "./fixture.mjs";
import { serve } from "./server.mjs";

let server, browser;
before(async () => {
  server = await serve();
  browser = await launch();
});
after(async () => {
  await browser.close();
  await server.stop();
});

const marked = (page) => page.locator(".title-block dd").nth(1).innerText();

test("without the second module it is said what is missing, and it can be asked for again", async () => {
  let broken = true;
  await browser.context.route("**/workshop_bg*", (route) => (broken ? route.fulfill({ status: 503 }) : route.continue()));
  const { page } = await newPage(browser.context, server.address);
  await ready(page);
  await loadExample(page);
  const alert = page.getByRole("alert");
  await alert.getByText("A part of the engine could not be loaded").waitFor();
  await page.getByLabel(/, point 13$/).fill("0.72");
  assert.equal(await marked(page), "…", "nobody knows yet which readings stand out");
  await sheet(page, "Bed");
  await page.getByText("A part of the engine is missing.").waitFor();
  await sheet(page, "File");
  await fileChooser(page).setInputFiles(EXAMPLE_PART);
  await page.getByText("A part of the engine could not be loaded").nth(1).waitFor();
  broken = false;
  await alert.getByRole("button", { name: "Try again" }).click();
  await alert.waitFor({ state: "detached" });
  await sheet(page, "Card");
  await page.getByText(/The other readings lead one to expect/).waitFor();
  assert.equal(await marked(page), "1");
  await sheet(page, "Bed");
  await page.getByText("How the plate lies").waitFor();
  await page.close();
  await browser.context.unroute("**/workshop_bg*");
});

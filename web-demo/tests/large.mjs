// By hand: memory and time for a large file, streamed to disk. node tests/large.mjs [megabytes]
import { mkdtempSync, rmSync, statSync } from "node:fs";
import { readFileSync, readdirSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { launch, newPage, ready } from "./browser.mjs";
import { fileChooser, loadExample, sheet, standInForDialogue, writeLarge } from "./fixture.mjs";
import { serve } from "./server.mjs";

const megabytes = Number(process.argv[2] ?? 500);
const folder = mkdtempSync(join(tmpdir(), "evengap-large-"));
const path = join(folder, "large.gcode");
writeLarge(path, megabytes);
const server = await serve();
const { context, close } = await launch();
const { page } = await newPage(context, server.address);
await ready(page);
await loadExample(page);
await sheet(page, "File");

/** Resident memory that is the renderer's own (private pages), MB: the page and its Worker live in it. */
function renderer() {
  let most = 0;
  for (const id of readdirSync("/proc").filter((n) => /^\d+$/.test(n))) {
    try {
      const command = readFileSync(`/proc/${id}/cmdline`, "utf8");
      if (!command.includes("--type=renderer") || !command.includes("evengap-page-")) continue;
      const smaps = readFileSync(`/proc/${id}/smaps_rollup`, "utf8");
      const private_ = [...smaps.matchAll(/^Private_\w+:\s+(\d+) kB/gm)].reduce((sum, m) => sum + Number(m[1]), 0);
      most = Math.max(most, private_ / 1024);
    } catch {
      // It has ended.
    }
  }
  return most;
}

async function measured(name, act) {
  const before = renderer();
  let peak = before;
  const watch = setInterval(() => (peak = Math.max(peak, renderer())), 100);
  const from = performance.now();
  await act();
  const seconds = (performance.now() - from) / 1000;
  clearInterval(watch);
  const size = statSync(path).size / 1e6;
  console.log(`${name}: ${seconds.toFixed(1)} s, ${(size / seconds).toFixed(0)} MB/s; renderer ${before.toFixed(0)} MB before, ${peak.toFixed(0)} MB at most`);
}

const slow = { timeout: 600_000 };
await measured("look (two passes)", async () => {
  await fileChooser(page).setInputFiles(path);
  await page.getByText("outside the window where it sticks").waitFor(slow);
});
await standInForDialogue(page);
await measured("save, streamed", async () => {
  await page.getByRole("button", { name: "Save large.even.gcode" }).click();
  await page.getByText(/^Saved: /).waitFor(slow);
});
await measured("another layer", async () => {
  await page.getByRole("button", { name: "Higher" }).click();
  await page.getByText(/^The layer at/).waitFor(slow);
});
await page.evaluate(() => (window.showSaveFilePicker = undefined));
await measured("save, by the private file system and a download", async () => {
  const coming = page.waitForEvent("download", slow);
  await page.getByRole("button", { name: "Save large.even.gcode" }).click();
  await (await coming).path();
});
console.log(await page.locator(".result").innerText().then((t) => t.split("\n").filter((l) => /in, /.test(l)).join("; ")));
await close();
await server.stop();
rmSync(folder, { recursive: true, force: true });

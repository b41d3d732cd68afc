// What every test file of the page stands on: a server, a browser, the native command, generated toolpaths.
import { execFileSync } from "node:child_process";
import { closeSync, mkdtempSync, openSync, rmSync, writeSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { launch, newPage, ready, root } from "./browser.mjs";
import { serve } from "./server.mjs";

export const EXAMPLE_CARD = join(root, "tests/example/bed.toml");
export const EXAMPLE_PART = join(root, "tests/example/part.gcode");

/** A page on the built files, with all that was started for it. */
export async function start(options = {}) {
  const server = await serve();
  const browser = await launch(options);
  const folder = mkdtempSync(join(tmpdir(), "evengap-files-"));
  const { page, faults, requests } = await newPage(browser.context, server.address);
  await ready(page);
  const stop = async () => {
    await browser.close();
    await server.stop();
    rmSync(folder, { recursive: true, force: true });
  };
  return { page, faults, requests, folder, context: browser.context, address: server.address, server, stop };
}

/** Runs the native command; its output is in the file `out`. */
export function native(...args) {
  const binary = process.env["EVENGAP"];
  if (!binary) throw new Error("EVENGAP must name the native command: run web-demo/test.sh");
  return execFileSync(binary, args, { stdio: ["ignore", "pipe", "pipe"] });
}

export async function loadExample(page) {
  await page.getByRole("button", { name: "Load the example" }).click();
  await page.getByText("25 of 25").waitFor();
}

export async function sheet(page, name) {
  await page.getByRole("link", { name: new RegExp(`${name}$`) }).click();
}

export const cardChooser = (page) => page.getByLabel("Card file, TOML or JSON");
export const fileChooser = (page) => page.getByLabel("Sliced file", { exact: true });

/** Puts a file of the browser's private file system in place of the save dialogue, which no test can operate. */
export async function standInForDialogue(page, before = "") {
  await page.evaluate(async (text) => {
    const folder = await navigator.storage.getDirectory();
    const handle = await folder.getFileHandle("chosen.gcode", { create: true });
    const stream = await handle.createWritable();
    await stream.write(text);
    await stream.close();
    window.showSaveFilePicker = async () => handle;
  }, before);
}

/** The bytes of the file that `standInForDialogue` offered. */
export async function chosenFile(page) {
  const binary = await page.evaluate(async () => {
    const folder = await navigator.storage.getDirectory();
    const file = await (await folder.getFileHandle("chosen.gcode")).getFile();
    let text = "";
    for (const byte of new Uint8Array(await file.arrayBuffer())) text += String.fromCharCode(byte);
    return text;
  });
  return Buffer.from(binary, "latin1");
}

/** Writes a toolpath of about `megabytes` MB: layers of zigzag over the bed, absolute E. */
export function writeLarge(path, megabytes) {
  const file = openSync(path, "w");
  let [written, e, z] = [0, 0, 0.2];
  const put = (text) => {
    written += writeSync(file, text);
  };
  put("G21\nG90\nM82\nG28\nG92 E0\n");
  while (written < megabytes * 1e6) {
    const lines = [`G1 Z${z.toFixed(2)} F600`];
    for (let n = 0; n < 40_000; n++) {
      e += 0.02;
      const x = 30 + (n % 350) * 0.5;
      lines.push(`G1 X${(Math.floor(n / 350) % 2 ? 235 - x : x).toFixed(3)} Y${(30 + Math.floor(n / 350) * 1.5).toFixed(3)} E${e.toFixed(5)}`);
    }
    put(`${lines.join("\n")}\n`);
    z += 0.2;
  }
  closeSync(file);
}

// What `npm pack` gives, installed as users do: into a fresh Node project, and into a fresh Vite project in strict
// TypeScript. It works in a temporary folder.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { copyFileSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { after, test } from "node:test";
import { open } from "./browser.js";

const here = import.meta.dirname;
const place = mkdtempSync(path.join(tmpdir(), "evengap-install-"));
after(() => rmSync(place, { recursive: true, force: true }));

const run = (folder, program, ...args) =>
  execFileSync(program, args, { cwd: folder, encoding: "utf8", stdio: ["ignore", "pipe", "inherit"] });
const npm = (folder, ...args) => run(folder, "npm", ...args, "--no-audit", "--no-fund", "--loglevel=error");
const project = (name, files) => {
  const folder = path.join(place, name);
  mkdirSync(folder);
  for (const file of files) copyFileSync(path.join(here, "projects", name, file), path.join(folder, file));
  return folder;
};
let tarball;

test("npm pack takes all that is needed and nothing else", () => {
  const [packed] = JSON.parse(npm(path.join(here, "../../wasm/pkg"), "pack", "--json", "--pack-destination", place));
  tarball = path.join(place, packed.filename);
  const names = packed.files.map((file) => file.path).sort();
  assert.deepEqual(names, [
    "LICENSE-APACHE", "LICENSE-MIT", "README.md", "error.d.ts", "error.js", "evengap.d.ts", "evengap.js",
    "evengap_bg.wasm", "index.d.ts", "index.js", "node.js", "package.json", "stream.d.ts", "stream.js",
    "workshop-node.js", "workshop.d.ts", "workshop.js", "workshop_bg.wasm",
  ]);
});

test("a fresh Node project imports and requires it", () => {
  const folder = project("node", ["package.json", "import.js", "require.cjs"]);
  npm(folder, "install", tarball);
  const said = run(folder, "node", "import.js");
  assert.match(said, /^thin-plate 0\.050 G1 X117\.5 Y100 Z0\.2\d* floor\n$/);
  // Node 20 requires modules from 20.17 on (with a warning), and plainly from 20.19 on.
  const [major, minor] = process.versions.node.split(".").map(Number);
  if (major > 20 || minor >= 17) assert.equal(run(folder, "node", "--experimental-require-module", "require.cjs"), said);
});

test("a fresh Vite project checks, builds and bundles it", () => {
  const folder = project("vite", ["package.json", "tsconfig.json", "index.html", "main.ts", "worker.ts"]);
  npm(folder, "install", tarball);
  run(folder, "npx", "--no-install", "tsc", "--noEmit");
  run(folder, "npx", "--no-install", "vite", "build", "--logLevel", "warn");
  const assets = readdirSync(path.join(folder, "dist/assets"));
  const modules = assets.filter((name) => name.endsWith(".wasm"));
  assert.equal(modules.length, 2, `two .wasm among ${assets}`);
  for (const name of ["evengap_bg", "workshop_bg"]) {
    const built = modules.find((module) => module.startsWith(name));
    const original = path.join(folder, `node_modules/evengap/${name}.wasm`);
    assert.equal(statSync(path.join(folder, "dist/assets", built)).size, statSync(original).size);
  }
  assert.ok(assets.some((name) => /^worker.*\.js$/.test(name)), `a worker among ${assets}`);
});

test("what Vite built works in a browser, page and Worker", async () => {
  const { page, complaints, close } = await open({ "": path.join(place, "vite/dist") });
  try {
    // Playwright's waiting for a function is an eval, which the page's policy forbids; for an element it is none.
    const said = await page.locator("#said:not(:empty)").textContent();
    assert.match(said, /^\d+\.\d+\.\d+; true; [1-9]\d*; card \d+:\d+ \d+:\d+ .*; (right|back|front|left)\b.*; true$/);
    assert.deepEqual(complaints, []);
  } finally {
    await close();
  }
});

test("a mistake in types is found", () => {
  const folder = path.join(place, "vite");
  const wrong = readFileSync(path.join(here, "projects/vite/wrong.ts"), "utf8");
  for (const line of wrong.split("\n").filter((line) => line && !line.startsWith("import"))) {
    const text = `${wrong.split("\n")[0]}\n${line}\n`;
    writeFileSync(path.join(folder, "wrong.ts"), text);
    assert.throws(() => execFileSync("npx", ["--no-install", "tsc", "--noEmit"], { cwd: folder, stdio: "pipe" }), line);
  }
  rmSync(path.join(folder, "wrong.ts"));
});

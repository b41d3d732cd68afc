// A real Chromium with a profile of its own: storage and files behave as they do for a visitor.
import { mkdtempSync, mkdirSync, rmSync } from "node:fs";
import { execFileSync } from "node:child_process";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const FLAGS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--enable-precise-memory-info",
];

export const root = fileURLToPath(new URL("../../", import.meta.url));
export const screenshots = fileURLToPath(new URL("../screenshots/", import.meta.url));
mkdirSync(screenshots, { recursive: true });

function findChromium() {
  if (process.env["CHROMIUM"]) return process.env["CHROMIUM"];
  for (const name of ["chromium", "chromium-browser", "google-chrome"]) {
    try {
      return execFileSync("sh", ["-c", `command -v ${name}`], { encoding: "utf8" }).trim();
    } catch {
      // The next name.
    }
  }
  throw new Error("no Chromium on PATH: see tests/setup.sh");
}

/** Opens a browser; gives the context and a way to close it and remove its profile. */
export async function launch(options = {}) {
  const profile = mkdtempSync(join(tmpdir(), "evengap-page-"));
  const context = await chromium.launchPersistentContext(profile, {
    executablePath: findChromium(),
    headless: true,
    args: FLAGS,
    viewport: { width: 1280, height: 900 },
    acceptDownloads: true,
    ...options,
  });
  context.setDefaultTimeout(20_000);
  const close = async () => {
    await context.close();
    rmSync(profile, { recursive: true, force: true });
  };
  return { context, close };
}

/** A page that notes what goes wrong on it, and every request that it makes. */
export async function newPage(context, address) {
  const page = await context.newPage();
  const faults = [];
  const requests = [];
  page.on("pageerror", (error) => faults.push(String(error)));
  page.on("console", (message) => message.type() === "error" && faults.push(message.text()));
  context.on("request", (request) => requests.push(request.url()));
  await page.goto(address);
  return { page, faults, requests };
}

/** Waits until the engine has loaded and said what it thinks of the card. */
export async function ready(page) {
  await page.getByRole("button", { name: "Load the example" }).and(page.locator(":enabled")).waitFor();
}

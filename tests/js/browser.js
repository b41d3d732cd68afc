// A browser, and a server for it that lets nothing in from elsewhere. CHROMIUM names the browser's program.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { createServer } from "node:http";
import path from "node:path";
import { chromium } from "playwright-core";

const FLAGS =
  "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking " +
  "--disable-component-update --disable-sync";
const POLICY = "default-src 'self'; img-src 'self' data:; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'";
const TYPES = { ".js": "text/javascript", ".wasm": "application/wasm", ".html": "text/html; charset=utf-8" };

/** Serves folders: `roots` has one for each first part of a path, and `""` for the rest. */
async function serve(roots) {
  const server = createServer(async (request, response) => {
    const parts = decodeURIComponent(new URL(request.url, "http://localhost").pathname).split("/").slice(1);
    const root = parts.length > 1 && roots[parts[0]] ? roots[parts.shift()] : roots[""];
    const file = path.join(root, ...parts, parts.at(-1) === "" ? "index.html" : "");
    const type = TYPES[path.extname(file)] ?? "application/octet-stream";
    try {
      const bytes = await readFile(file);
      response.writeHead(200, { "Content-Type": type, "Content-Security-Policy": POLICY }).end(bytes);
    } catch {
      response.writeHead(404).end();
    }
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  return server;
}

/** Opens the served `index.html`; `complaints` are the page's errors, `close` ends browser and server. */
export async function open(roots) {
  assert.ok(process.env.CHROMIUM, "CHROMIUM names the browser");
  const server = await serve(roots);
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: FLAGS.split(" ") });
  const page = await browser.newPage();
  const complaints = [];
  page.on("pageerror", (error) => complaints.push(String(error)));
  page.on("console", (message) => message.type() === "error" && complaints.push(message.text()));
  const close = async () => {
    await browser.close();
    server.close();
    server.closeAllConnections();
  };
  try {
    await page.goto(`http://127.0.0.1:${server.address().port}/`);
  } catch (error) {
    await close();
    throw error;
  }
  return { page, complaints, close };
}

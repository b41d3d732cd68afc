// Prints what a visitor loads, gzipped, and fails where the page's own script and style pass 100 KB.
import { readFileSync, readdirSync } from "node:fs";
import { gzipSync } from "node:zlib";

const LIMIT = 100_000;
const dist = new URL("./dist/", import.meta.url);
const files = readdirSync(new URL("assets/", dist)).map((name) => `assets/${name}`).concat("index.html", "offline.js");
let own = 0;
for (const name of files.sort()) {
  const size = gzipSync(readFileSync(new URL(name, dist))).length;
  const counts = /\.(js|css|html)$/.test(name);
  if (counts) own += size;
  console.log(`${String(size).padStart(8)}  ${name}${counts ? "" : "  (not counted)"}`);
}
console.log(`${String(own).padStart(8)}  the page's own script, style and page, gzipped bytes; at most ${LIMIT}`);
if (own === 0 || own > LIMIT) {
  console.error("the page is too large");
  process.exit(1);
}

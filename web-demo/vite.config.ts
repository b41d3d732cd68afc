import { createHash } from "node:crypto";
import { fileURLToPath } from "node:url";
import { defineConfig, type Plugin } from "vite";

const here = (path: string) => fileURLToPath(new URL(path, import.meta.url));

/** What the page may load and reach: itself. The engine needs leave to compile its WASM module. */
const POLICY = [
  "default-src 'self'",
  "script-src 'self' 'wasm-unsafe-eval'",
  "worker-src 'self'",
  "style-src 'self'",
  "img-src 'self' blob: data:",
  "connect-src 'self'",
  "object-src 'none'",
  "base-uri 'none'",
  "form-action 'none'",
].join("; ");

/** Puts the policy into the built page; the development server needs inline styles and a socket. */
const policy: Plugin = {
  name: "content-security-policy",
  apply: "build",
  transformIndexHtml: {
    order: "post",
    handler: (html) => html.replace("<head>", `<head>\n    <meta http-equiv="Content-Security-Policy" content="${POLICY}">`),
  },
};

/** Lists what was built in a service worker, so that the page opens without a network after its first visit. */
const offline: Plugin = {
  name: "offline",
  apply: "build",
  generateBundle: {
    order: "post",
    handler(_options, bundle) {
      const names = [...Object.keys(bundle), "icon.svg"].sort();
      const digest = createHash("sha256");
      for (const name of Object.keys(bundle).sort()) {
        const part = bundle[name]!;
        digest.update(name).update(part.type === "chunk" ? part.code : part.source);
      }
      const constants = `const VERSION = "${digest.digest("hex").slice(0, 12)}";\nconst FILES = ${JSON.stringify(names)};\n`;
      this.emitFile({ type: "asset", fileName: "offline.js", source: constants + WORKER });
    },
  },
};

/** Answers from what was stored when this version was installed; asks the network for anything else. */
const WORKER = `
const STORE = "evengap-" + VERSION;
self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(STORE).then((store) => store.addAll(FILES.map((name) => new Request(name, { cache: "reload" })))));
});
self.addEventListener("activate", (event) => {
  const old = (name) => name.startsWith("evengap-") && name !== STORE;
  event.waitUntil(
    caches.keys().then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name)))).then(() => self.clients.claim()),
  );
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET" || new URL(request.url).origin !== self.location.origin) return;
  const wanted = request.mode === "navigate" ? "index.html" : request;
  event.respondWith(
    caches.open(STORE).then((store) => store.match(wanted, { ignoreSearch: true })).then((found) => found ?? fetch(request)),
  );
});
`;

export default defineConfig({
  root: here("."),
  base: "./",
  resolve: {
    alias: [
      { find: /^evengap$/, replacement: here("../wasm/pkg/index.js") },
      { find: /^evengap\/workshop$/, replacement: here("../wasm/pkg/workshop.js") },
    ],
  },
  worker: { format: "es" },
  build: { target: "es2022", assetsInlineLimit: 0, modulePreload: { polyfill: false } },
  server: { fs: { allow: [here("..")] } },
  plugins: [policy, offline],
});

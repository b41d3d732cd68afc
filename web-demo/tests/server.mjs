// A plain web server for the built page, in a folder of its own as on any shared server.
import { createReadStream, existsSync, statSync } from "node:fs";
import { createServer } from "node:http";
import { extname, join, normalize } from "node:path";
import { fileURLToPath } from "node:url";

const TYPES = {
  ".html": "text/html; charset=utf-8",
  ".js": "text/javascript; charset=utf-8",
  ".css": "text/css; charset=utf-8",
  ".wasm": "application/wasm",
  ".svg": "image/svg+xml",
};

/** Serves `dist` below `prefix`; gives the address and a way to stop. */
export async function serve(prefix = "/some/folder/", port = 0) {
  const dist = fileURLToPath(new URL("../dist/", import.meta.url));
  const server = createServer((request, response) => {
    const path = decodeURIComponent(new URL(request.url ?? "/", "http://localhost").pathname);
    if (!path.startsWith(prefix)) return response.writeHead(404).end();
    let file = normalize(join(dist, path.slice(prefix.length)));
    if (!file.startsWith(dist.slice(0, -1))) return response.writeHead(403).end();
    if (existsSync(file) && statSync(file).isDirectory()) file = join(file, "index.html");
    if (!existsSync(file)) return response.writeHead(404).end();
    response.writeHead(200, { "content-type": TYPES[extname(file)] ?? "application/octet-stream" });
    createReadStream(file).pipe(response);
  });
  await new Promise((done) => server.listen(port, "127.0.0.1", done));
  const stop = () => {
    server.closeAllConnections();
    return new Promise((done) => server.close(done));
  };
  return { address: `http://127.0.0.1:${server.address().port}${prefix}`, stop };
}

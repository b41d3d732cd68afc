// Node has no fetch for files: it loads the module at once, and there is nothing to wait for.
import { readFileSync } from "node:fs";
import { initSync } from "./evengap.js";

initSync({ module: readFileSync(new URL("./evengap_bg.wasm", import.meta.url)) });

export * from "./index.js";
export { default } from "./index.js";

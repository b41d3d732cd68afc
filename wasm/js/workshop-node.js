// As node.js, for the second module.
import { readFileSync } from "node:fs";
import { initSync } from "./workshop.js";

initSync({ module: readFileSync(new URL("./workshop_bg.wasm", import.meta.url)) });

export * from "./workshop.js";
export { default } from "./workshop.js";

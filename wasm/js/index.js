export * from "./evengap.js";
export { default } from "./evengap.js";
export { EvengapError } from "./error.js";
export { RewriteStream, rewriteStream } from "./stream.js";

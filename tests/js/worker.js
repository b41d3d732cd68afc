// The suite in a module Worker: the case comes in, what the package makes of it goes out.
import init, * as evengap from "/pkg/index.js";
import { outcome } from "/suite.js";

const read = async (name) => new Uint8Array(await (await fetch(`/native/${name}`)).arrayBuffer());

addEventListener("message", async ({ data: [given, ways] }) => {
  await init();
  postMessage(await outcome(evengap, given, read, ways));
});

// The suite in a module Worker: the case comes in, what the package makes of it goes out.
import init, * as engine from "/pkg/index.js";
import initWorkshop, * as workshop from "/pkg/workshop.js";
import { outcome } from "/suite.js";

const evengap = { ...engine, workshop };
const read = async (name) => new Uint8Array(await (await fetch(`/native/${name}`)).arrayBuffer());

addEventListener("message", async ({ data: [given, ways] }) => {
  await Promise.all([init(), initWorkshop()]);
  postMessage(await outcome(evengap, given, read, ways));
});

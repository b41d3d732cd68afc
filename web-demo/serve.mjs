// Serves the built page on this machine alone: node serve.mjs [port]
import { serve } from "./tests/server.mjs";

const { address } = await serve("/", Number(process.argv[2] ?? 4173));
console.log(`The page is at ${address.replace("127.0.0.1", "localhost")} (this machine alone; Ctrl+C stops it).`);

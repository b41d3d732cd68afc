// By hand: the picture for the READMEs. node tests/screenshot.mjs
import { launch, newPage, ready } from "./browser.mjs";
import { loadExample, sheet } from "./fixture.mjs";
import { serve } from "./server.mjs";
import { fileURLToPath } from "node:url";

const server = await serve();
const { context, close } = await launch({ viewport: { width: 960, height: 700 } });
const { page } = await newPage(context, server.address);
await ready(page);
await loadExample(page);
await sheet(page, "Bed");
await page.getByText("How the plate lies").waitFor();
await page.waitForTimeout(300);
await page.screenshot({ path: fileURLToPath(new URL("../screenshot.png", import.meta.url)) });
await close();
await server.stop();

import init from "evengap";
import { render } from "preact";
import { App } from "./app";
import { startLight } from "./light";
import { engineBroken, engineReady, workshopCame } from "./state";
import { whenItComes, workshop } from "./workshop";

startLight();
render(<App />, document.getElementById("page")!);

init().then(engineReady, (error: unknown) => {
  engineBroken(error instanceof Error ? error.message : String(error));
});
whenItComes(workshopCame);
// Why it did not come has been told.
workshop().catch(() => {});

// What was built opens without a network after the first visit. It fails quietly where a browser forbids it.
if (import.meta.env.PROD && "serviceWorker" in navigator) {
  navigator.serviceWorker.register("./offline.js").catch(() => {});
}

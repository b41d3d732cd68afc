import init from "evengap";
import { render } from "preact";
import { App } from "./app";
import { startLight } from "./light";
import { engineBroken, engineReady, workshopCame } from "./state";
import { unloaded, workshop } from "./workshop";

startLight();
render(<App />, document.getElementById("page")!);

init().then(engineReady, (error: unknown) => {
  engineBroken(error instanceof Error ? error.message : String(error));
});
workshop().then(
  () => workshopCame(null),
  (error: unknown) => {
    const { message, help } = unloaded(error);
    workshopCame(`${message} ${help}`);
  },
);

// What was built opens without a network after the first visit. It fails quietly where a browser forbids it.
if (import.meta.env.PROD && "serviceWorker" in navigator) {
  navigator.serviceWorker.register("./offline.js").catch(() => {});
}

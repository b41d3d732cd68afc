/** Sheet 3: the file. */

import type { State } from "../state";

export function FileView({ app }: { app: State }) {
  return <p class="note">{app.survey?.map ? "Not built yet." : "There is no map yet."}</p>;
}

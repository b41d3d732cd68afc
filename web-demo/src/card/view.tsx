/** Sheet 1: the card. */

import type { State } from "../state";
import { Drawing } from "./drawing";
import { FaultNote } from "./field";
import { CardFiles } from "./files";
import { BedSettings, Reading, ScrewSettings } from "./settings";
import { Points } from "./table";

export function CardView({ app }: { app: State }) {
  return (
    <div class="card-view">
      <div class="wide">
        <CardFiles app={app} />
        {app.survey?.noMap && app.draft.points.length > 0 && (
          <div class="status-line">
            <FaultNote fault={app.survey.noMap} doubt />
          </div>
        )}
      </div>
      <div class="left">
        <Drawing app={app} />
      </div>
      <div class="right">
        <Points app={app} />
      </div>
      <div class="settings">
        <Reading app={app} />
        <BedSettings app={app} />
        <ScrewSettings app={app} />
      </div>
    </div>
  );
}

/** The sheets, their title block, and which one lies on top. */

import { version } from "evengap";
import { useEffect, useRef, useState } from "preact/hooks";
import { BedView } from "./bed/view";
import { CardView } from "./card/view";
import { FileView } from "./file/view";
import { switchLight, useLight } from "./light";
import { useApp, type State } from "./state";
import { waits } from "./survey";
import { workshop } from "./workshop";

const SHEETS = [
  ["card", "Card"],
  ["bed", "Bed"],
  ["file", "File"],
] as const;
type Sheet = (typeof SHEETS)[number][0];

const current = (): Sheet => SHEETS.map(([s]) => s).find((s) => `#${s}` === location.hash) ?? "card";

export function App() {
  const app = useApp();
  const [sheet, setSheet] = useState(current);
  const main = useRef<HTMLElement>(null);
  useEffect(() => {
    const go = () => {
      setSheet(current());
      scrollTo(0, 0);
      main.current?.focus({ preventScroll: true });
    };
    addEventListener("hashchange", go);
    return () => removeEventListener("hashchange", go);
  }, []);
  return (
    <>
      <header>
        <TitleBlock app={app} />
        <nav aria-label="Sheets">
          {SHEETS.map(([id, name], i) => (
            <a key={id} href={`#${id}`} aria-current={id === sheet ? "page" : undefined}>
              <span class="number">{i + 1}</span> {name}
            </a>
          ))}
        </nav>
      </header>
      <main id="main" tabIndex={-1} ref={main} aria-label={SHEETS.find(([s]) => s === sheet)![1]}>
        {app.broken && (
          <p class="refusal" role="alert">
            The engine could not be loaded ({app.broken}). Load the page again; if it stays so, this browser may be too old for WebAssembly.
          </p>
        )}
        {app.shapeless && (
          <div class="refusal" role="alert">
            <p>{app.shapeless} Until then readings that stand out are not marked, and neither the bed nor a file can be looked at.</p>
            <button type="button" onClick={() => void workshop().catch(() => {})}>Try again</button>
          </div>
        )}
        {sheet === "card" && <CardView app={app} />}
        {sheet === "bed" && <BedView app={app} />}
        {/* Kept while other sheets are looked at: a file may be at work. */}
        <div hidden={sheet !== "file"}>
          <FileView app={app} />
        </div>
      </main>
      <footer>
        <p>Nothing that you load or type leaves this machine: there is no server behind this page. After the first visit it opens without a network.</p>
        <p>evengap {app.survey ? version() : ""}</p>
      </footer>
    </>
  );
}

function TitleBlock({ app }: { app: State }) {
  const light = useLight();
  const { draft, survey } = app;
  const read = draft.points.filter((p) => p.value.trim() !== "").length;
  const faults = survey?.faults.size ?? 0;
  const waiting = survey !== null && waits(survey);
  return (
    <div class="title-block">
      <div class="name">
        <h1>evengap</h1>
        <p>Survey of a printer’s bed</p>
      </div>
      <dl>
        <div>
          <dt>Readings</dt>
          <dd>
            {read} of {draft.points.length}
          </dd>
        </div>
        <div>
          <dt>Marked</dt>
          <dd class={faults > 0 ? "fault" : ""}>{survey && !waiting ? faults + survey.doubts.size : "…"}</dd>
        </div>
        <div>
          <dt>Range</dt>
          <dd>{survey?.shape ? `${survey.shape.range.toFixed(2)} mm` : waiting ? "…" : "none yet"}</dd>
        </div>
      </dl>
      <button type="button" class="light" onClick={switchLight}>
        {light === "dark" ? "Light" : "Dark"} paper
      </button>
    </div>
  );
}

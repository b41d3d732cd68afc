/** Sheet 3: the file. */

import { cautions } from "evengap";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { bedOf } from "../bed/frame";
import { download } from "../download";
import type { State } from "../state";
import { bytes } from "../text";
import { Figures, RefusalBox } from "./figures";
import { chooseSink, evenName, Job, tidy } from "./job";
import { LayerDrawing, Legend } from "./layer";
import { OptionFields, optionsOf, USUAL, type Wishes } from "./options";
import { WINDOW, type Answer, type Looked, type Path, type Refusal, type Setting } from "./protocol";

interface Progress {
  share: number;
  words: string;
}

interface Shown {
  z: number;
  before: Path;
  after: Path | null;
}

export function FileView({ app }: { app: State }) {
  const [file, setFile] = useState<File | null>(null);
  const [wishes, setWishes] = useState<Wishes>(USUAL);
  const [progress, setProgress] = useState<Progress | null>(null);
  const [looked, setLooked] = useState<Looked | null>(null);
  /** What the result was reckoned with. */
  const [with_, setWith] = useState("");
  const [shown, setShown] = useState<Shown | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [said, setSaid] = useState("");
  const chooser = useRef<HTMLInputElement>(null);
  const title = useRef<HTMLHeadingElement>(null);
  const [over, setOver] = useState(false);
  const job = useRef<Job | null>(null);
  const name = useRef("");
  const hear = useRef<(answer: Answer) => void>(() => {});
  hear.current = (answer) => {
    if (answer.kind === "progress") return setProgress({ share: answer.share, words: answer.words });
    setProgress(null);
    switch (answer.kind) {
      case "looked": {
        const { before, after, refusal } = answer.looked;
        setLooked(answer.looked);
        setRefusal(refusal);
        setShown({ z: before.layers[0]?.z ?? 0, before: before.path, after: after?.path ?? null });
        setSaid(refusal ? "The file was read, and cannot be rewritten." : "The file was read.");
        return title.current?.focus();
      }
      case "layer":
        setShown({ z: answer.z, before: answer.before, after: answer.after });
        return setSaid(`The layer at Z ${answer.z.toFixed(2)} is drawn.`);
      case "saved":
        if (answer.file) download(answer.file, evenName(name.current));
        return setSaid(answer.file ? `${bytes(answer.bytes)} are ready: the browser puts ${evenName(name.current)} with your downloads.` : `Saved: ${bytes(answer.bytes)}, whole.`);
      case "refused":
        setSaid("");
        return setRefusal(answer.refusal);
      case "cancelled":
        return setSaid("Cancelled. Nothing was written.");
      case "failed":
        return setSaid(answer.message);
    }
  };
  useEffect(() => {
    job.current = new Job((answer) => hear.current(answer));
    void tidy();
    return () => job.current?.cancel();
  }, []);

  const { survey } = app;
  const map = survey?.map;
  const bed = bedOf(app.draft);
  const options = optionsOf(wishes);
  const setting: Setting | null = useMemo(
    () => (map && options ? { card: survey.text, surface: app.surface, options } : null),
    [app.turn, JSON.stringify(options)],
  );
  const key = JSON.stringify(setting);
  const stale = looked !== null && with_ !== key;

  const look = (chosen: File | null = file) => {
    if (!chosen || !setting) return;
    setFile(chosen);
    name.current = chosen.name;
    setLooked(null);
    setShown(null);
    setRefusal(null);
    setSaid("");
    setWith(key);
    setProgress({ share: 0, words: "Reading the file" });
    job.current?.start({ kind: "look", file: chosen, setting });
  };
  const choose = (chosen: File | undefined) => {
    if (!chosen || progress) return;
    if (chosen.size === 0) return setSaid(`${chosen.name} is empty.`);
    look(chosen);
  };
  const pick = (z: number) => {
    if (!file || !setting || !looked) return;
    setProgress({ share: 0, words: "Looking for the layer" });
    job.current?.start({ kind: "layer", file, setting, z, layers: looked.before.layers.map((l) => l.z) });
  };
  const save = async () => {
    if (!file || !setting) return;
    const sink = await chooseSink(file, evenName(file.name));
    if (sink === null) return;
    if (typeof sink === "string") return setSaid(sink);
    setSaid("");
    setProgress({ share: 0, words: "Writing the file" });
    job.current?.start({ kind: "save", file, setting, sink });
  };

  if (!map || !bed) {
    return (
      <div class="empty">
        <p>A file can be looked at when the bed has a map. {survey?.noMap?.message}</p>
        <p>
          <a href="#card">Go to the card</a> first.
        </p>
      </div>
    );
  }
  return (
    <div class="file-view">
      <section aria-labelledby="file-title">
        <h2 id="file-title" tabIndex={-1} ref={title}>
          {file ? `${file.name}, ${bytes(file.size)}` : "The sliced file"}
        </h2>
        {survey.faults.size > 0 && <p class="doubt">Some readings are marked on the card; the map is without them.</p>}
        <div
          class={over ? "drop over" : "drop"}
          onDragOver={(e) => { e.preventDefault(); setOver(true); }}
          onDragLeave={() => setOver(false)}
          onDrop={(e) => { e.preventDefault(); setOver(false); choose(e.dataTransfer?.files[0]); }}
        >
          <p>Drop a sliced file here, up to 1 GB. It stays on this machine.</p>
          <button type="button" class={file ? "" : "main"} disabled={progress !== null} onClick={() => chooser.current?.click()}>
            {file ? "Choose another file…" : "Choose a file…"}
          </button>
          <input
            ref={chooser}
            class="hidden"
            type="file"
            tabIndex={-1}
            aria-label="Sliced file"
            onChange={(e) => { choose(e.currentTarget.files?.[0]); e.currentTarget.value = ""; }}
          />
        </div>
        {progress && (
          <div class="progress">
            <label>
              <span>{progress.words}: {Math.floor(100 * progress.share)} %</span>
              <progress value={progress.share} max={1} />
            </label>
            <button type="button" onClick={() => job.current?.cancel()}>Cancel</button>
          </div>
        )}
        <p class="said" role="status">{said}</p>
        <OptionFields wishes={wishes} set={setWishes} />
        {file && !progress && (stale || !looked) && (
          <p>
            {stale && "The card or the options have changed since. "}
            <button type="button" class="main" disabled={!setting} onClick={() => look()}>Look again</button>
          </p>
        )}
      </section>
      {refusal && !progress && <RefusalBox refusal={refusal} />}
      {looked && (
        <div class={stale ? "result stale" : "result"}>
          <section aria-labelledby="found-title">
            <h2 id="found-title">What was found</h2>
            <Figures looked={looked} />
          </section>
          {shown && shown.before.points.length > 0 && (
            <Drawn looked={looked} shown={shown} bed={bed} busy={progress !== null || stale} pick={pick} />
          )}
          {looked.after && !refusal && (
            <section aria-labelledby="save-title">
              <h2 id="save-title">Save the rewritten file</h2>
              <h3>Before you print it</h3>
              <ul class="cautions">
                {cautions().printing.map((c) => <li key={c}>{c}</li>)}
              </ul>
              <button type="button" class="main" disabled={progress !== null || stale} onClick={() => void save()}>
                Save {file && evenName(file.name)}
              </button>
            </section>
          )}
        </div>
      )}
    </div>
  );
}

function Drawn({ looked, shown, bed, busy, pick }: { looked: Looked; shown: Shown; bed: NonNullable<ReturnType<typeof bedOf>>; busy: boolean; pick: (z: number) => void }) {
  const { layers } = looked.before;
  const index = Math.max(0, layers.findIndex((l) => l.z === shown.z));
  const before = layers[index];
  const after = looked.after?.layers[index];
  const sizes = [before, after].flatMap((l) => (l ? [Math.abs(l.nearest.deviation), Math.abs(l.farthest.deviation)] : []));
  const limit = Math.max(0.02, Math.ceil(Math.max(...sizes) * 20) / 20);
  const first = index === 0 && before !== undefined;
  const words = (l: typeof before) =>
    l ? `The layer’s path over the bed: deviation from ${l.nearest.deviation.toFixed(3)} to ${l.farthest.deviation.toFixed(3)} mm.` : "No path";
  return (
    <section aria-labelledby="layer-title">
      <h2 id="layer-title">Over the bed</h2>
      <div class="row layer-choice">
        <div class="field">
          <label for="layer">Layer</label>
          <select id="layer" disabled={busy || !looked.after} value={String(index)} onChange={(e) => pick(layers[Number(e.currentTarget.value)]!.z)}>
            {layers.map((l, i) => (
              <option key={i} value={String(i)} selected={i === index}>
                {i + 1} of {layers.length}: Z {l.z.toFixed(2)}
              </option>
            ))}
          </select>
        </div>
        <button type="button" disabled={busy || !looked.after || index === 0} onClick={() => pick(layers[index - 1]!.z)}>Lower</button>
        <button type="button" disabled={busy || !looked.after || index >= layers.length - 1} onClick={() => pick(layers[index + 1]!.z)}>Higher</button>
      </div>
      <Legend limit={limit} window={first ? [(WINDOW.near - 1) * before.z, (WINDOW.far - 1) * before.z] : null} />
      <div class="pair-of-drawings">
        <LayerDrawing bed={bed} path={shown.before} limit={limit} title="As sliced" label={`As sliced. ${words(before)}`} />
        {shown.after && <LayerDrawing bed={bed} path={shown.after} limit={limit} title="Rewritten" label={`Rewritten. ${words(after)}`} />}
      </div>
      {!first && <p class="note">Above the first layer the gap is that to the bed, not to the layer below: it says how far the path is lifted.</p>}
    </section>
  );
}

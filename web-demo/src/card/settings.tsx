/** How the readings were taken, and the bed they were taken on. */

import { edit, type State } from "../state";
import { newScrews, type Method } from "../draft";
import { FaultNote, faultOf, NumberField, PairField } from "./field";

const METHODS: Record<Method, [name: string, what: string]> = {
  drag: ["A sheet drags", "Lower the nozzle until the sheet just drags, and note the nozzle’s Z."],
  gauge: ["A feeler leaf slides through", "Park the nozzle, and note the thickest leaf that slides through under it."],
  patch: ["A printed patch, measured", "Print a single layer with the nozzle parked, and measure its thickness."],
  dial: ["A dial on the carriage", "Let a dial indicator ride over the bed; plunger up is positive. It knows shape, not level, so it needs a place where the first layer is right."],
};

export function Reading({ app }: { app: State }) {
  const d = app.draft;
  return (
    <section aria-labelledby="reading-title">
      <h2 id="reading-title">How it was read</h2>
      <div class="field">
        <label for="method">Method</label>
        <select id="method" value={d.method} onChange={(e) => { const m = e.currentTarget.value as Method; edit((n) => (n.method = m)); }}>
          {(Object.keys(METHODS) as Method[]).map((m) => (
            <option key={m} value={m} selected={m === d.method}>
              {METHODS[m][0]}
            </option>
          ))}
        </select>
        <p class="hint">{METHODS[d.method][1]}</p>
        <FaultNote fault={faultOf(app, "method")} />
      </div>
      <div class="row">
        {d.method === "drag" && (
          <NumberField app={app} label="Sheet" unit="mm" field="sheet" value={d.sheet} set={(n, v) => (n.sheet = v)} hint="Office paper is about 0.1. Measure yours." />
        )}
        {(d.method === "gauge" || d.method === "patch") && (
          <NumberField app={app} label="Nozzle parked at Z" unit="mm" field="parked" value={d.parked} set={(n, v) => (n.parked = v)} />
        )}
        <NumberField app={app} label="Bed" unit="°C" field="bedCelsius" value={d.bedCelsius} set={(n, v) => (n.bedCelsius = v)} />
        <NumberField app={app} label="Nozzle" unit="°C" field="nozzleCelsius" value={d.nozzleCelsius} set={(n, v) => (n.nozzleCelsius = v)} />
        <NumberField
          app={app}
          label="Spread"
          unit="mm"
          field="spread"
          value={d.spread}
          set={(n, v) => (n.spread = v)}
          hint="How well readings repeat (one standard deviation). Empty: the map passes through every one."
        />
      </div>
      {d.method === "dial" && (
        <PairField app={app} legend="Plunger’s place from the nozzle" names={["X", "Y"]} field="offset" values={d.offset} set={(n, i, v) => (n.offset[i] = v)} />
      )}
      <PairField
        app={app}
        legend="First layer is right at"
        names={["X", "Y"]}
        field="rightAt"
        values={d.rightAt}
        set={(n, i, v) => (n.rightAt[i] = v)}
        hint="Leave empty to trust the readings’ level. Give a place, and the rest is made like it."
      />
    </section>
  );
}

export function BedSettings({ app }: { app: State }) {
  const d = app.draft;
  return (
    <section aria-labelledby="bed-settings-title">
      <h2 id="bed-settings-title">The bed</h2>
      <div class="row">
        <PairField app={app} legend="X, reach" names={["from", "to"]} field="bed.x" values={d.bed.x} set={(n, i, v) => (n.bed.x[i] = v)} />
        <PairField app={app} legend="Y, reach" names={["from", "to"]} field="bed.y" values={d.bed.y} set={(n, i, v) => (n.bed.y[i] = v)} />
        <div class="field">
          <label for="outline">Outline</label>
          <select id="outline" value={d.bed.outline} onChange={(e) => { const o = e.currentTarget.value as "rectangle" | "round"; edit((n) => (n.bed.outline = o)); }}>
            <option value="rectangle" selected={d.bed.outline === "rectangle"}>Rectangle</option>
            <option value="round" selected={d.bed.outline === "round"}>Round</option>
          </select>
        </div>
      </div>
      <h3>Clips and clamps: keep out</h3>
      {d.bed.keepOut.length === 0 && <p class="note">None. The nozzle may go everywhere.</p>}
      {d.bed.keepOut.map((area, i) => {
        const fault = faultOf(app, `keepOut.${i}`) ?? [0, 1, 2, 3].map((k) => faultOf(app, `keepOut.${i}.${k}`)).find(Boolean);
        return (
          <fieldset class="row area" key={i}>
            <legend>Area {i + 1} <span class="unit">mm</span></legend>
            {["X from", "Y from", "X to", "Y to"].map((name, k) => (
              <label class="field" key={name}>
                <span>{name}</span>
                <input
                  value={area[k]}
                  size={5}
                  autocomplete="off"
                  aria-invalid={fault ? "true" : undefined}
                  onInput={(e) => { const v = e.currentTarget.value; edit((n) => (n.bed.keepOut[i]![k] = v)); }}
                />
              </label>
            ))}
            <button type="button" class="small" aria-label={`Remove area ${i + 1}`} onClick={() => edit((n) => n.bed.keepOut.splice(i, 1))}>×</button>
            <FaultNote fault={fault} />
          </fieldset>
        );
      })}
      <button type="button" onClick={() => edit((n) => n.bed.keepOut.push(["", "", "", ""]))}>Add an area</button>
    </section>
  );
}

const THREADS = ["M2", "M2.5", "M3", "M3.5", "M4", "M5", "M6", "M7", "M8"];

export function ScrewSettings({ app }: { app: State }) {
  const s = app.draft.screws;
  const general = faultOf(app, "screws") ?? faultOf(app, "screws.thread") ?? faultOf(app, "screws.raise");
  return (
    <section aria-labelledby="screws-title">
      <h2 id="screws-title">Levelling screws</h2>
      {!s ? (
        <>
          <p class="note">Only needed to be told how far to turn each knob.</p>
          <button type="button" onClick={() => edit((n) => (n.screws = newScrews(n.bed)))}>Add four screws</button>
        </>
      ) : (
        <>
          <div class="row">
            <div class="field">
              <label for="thread">Thread</label>
              <select id="thread" value={s.thread} onChange={(e) => { const t = e.currentTarget.value; edit((n) => (n.screws!.thread = t)); }}>
                {THREADS.map((t) => <option key={t} value={t} selected={t === s.thread}>{t}, coarse</option>)}
                <option value="" selected={s.thread === ""}>Another: give its pitch</option>
              </select>
            </div>
            {s.thread === "" && (
              <NumberField app={app} label="Pitch" unit="mm a turn" field="screws.pitch" value={s.pitch} set={(n, v) => (n.screws!.pitch = v)} />
            )}
            <div class="field">
              <label for="raise">The bed rises when a knob, seen from above, turns</label>
              <select id="raise" value={s.raise} onChange={(e) => { const r = e.currentTarget.value as "clockwise" | "anticlockwise"; edit((n) => (n.screws!.raise = r)); }}>
                <option value="anticlockwise" selected={s.raise === "anticlockwise"}>anticlockwise ↺</option>
                <option value="clockwise" selected={s.raise === "clockwise"}>clockwise ↻</option>
              </select>
            </div>
          </div>
          {s.at.map((screw, i) => {
            const fault = ["name", "x", "y"].map((f) => faultOf(app, `screws.${i}.${f}`)).find(Boolean);
            const input = (key: "name" | "x" | "y", label: string, size: number) => (
              <label class={`field ${key}`}>
                <span>{label}</span>
                <input value={screw[key]} size={size} autocomplete="off" aria-invalid={fault ? "true" : undefined}
                  onInput={(e) => { const v = e.currentTarget.value; edit((n) => (n.screws!.at[i]![key] = v)); }} />
              </label>
            );
            return (
              <fieldset class="row area" key={i}>
                <legend>Screw {i + 1}</legend>
                {input("name", "Name", 11)}
                {input("x", "X mm", 5)}
                {input("y", "Y mm", 5)}
                <button type="button" class="small" aria-label={`Remove screw ${i + 1}`} onClick={() => edit((n) => n.screws!.at.splice(i, 1))}>×</button>
                <FaultNote fault={fault} />
              </fieldset>
            );
          })}
          <FaultNote fault={general} />
          <div class="row">
            <button type="button" disabled={s.at.length >= 8} onClick={() => edit((n) => n.screws!.at.push({ name: `screw ${n.screws!.at.length + 1}`, x: "", y: "" }))}>Add a screw</button>
            <button type="button" onClick={() => edit((n) => (n.screws = null))}>Remove all screws</button>
          </div>
        </>
      )}
    </section>
  );
}

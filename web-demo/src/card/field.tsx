/** One labelled field of the card, with what is wrong with it. */

import { useId } from "preact/hooks";
import { edit, type State } from "../state";
import type { Draft } from "../draft";
import type { Fault } from "../wording";

export function faultOf({ survey }: State, field: string): Fault | undefined {
  return survey?.faults.get(field);
}

export function FaultNote({ fault, id, doubt = false }: { fault: Fault | undefined; id?: string; doubt?: boolean }) {
  return fault ? (
    <p class={doubt ? "doubt" : "fault"} id={id}>
      {fault.message} {fault.help}
    </p>
  ) : null;
}

interface NumberProps {
  app: State;
  label: string;
  unit?: string;
  field: string;
  value: string;
  set: (draft: Draft, value: string) => void;
  hint?: string;
}

export function NumberField({ app, label, unit, field, value, set, hint }: NumberProps) {
  const id = useId();
  const fault = faultOf(app, field);
  const described = [fault && `${id}-fault`, hint && `${id}-hint`].filter(Boolean).join(" ");
  return (
    <div class="field">
      <label for={id}>
        {label}
        {unit && <span class="unit"> {unit}</span>}
      </label>
      <input
        id={id}
        value={value}
        autocomplete="off"
        aria-invalid={fault ? "true" : undefined}
        aria-describedby={described || undefined}
        onInput={(e) => {
          const typed = e.currentTarget.value;
          edit((d) => set(d, typed));
        }}
      />
      {hint && (
        <p class="hint" id={`${id}-hint`}>
          {hint}
        </p>
      )}
      <FaultNote fault={fault} id={`${id}-fault`} />
    </div>
  );
}

interface PairProps {
  app: State;
  legend: string;
  unit?: string;
  names: [string, string];
  field: string;
  values: [string, string];
  set: (draft: Draft, index: 0 | 1, value: string) => void;
  hint?: string;
}

/** Two numbers that belong together. */
export function PairField({ app, legend, unit = "mm", names, field, values, set, hint }: PairProps) {
  const id = useId();
  const fault = faultOf(app, field) ?? faultOf(app, `${field}.0`) ?? faultOf(app, `${field}.1`);
  return (
    <fieldset class="field pair">
      <legend>
        {legend} <span class="unit">{unit}</span>
      </legend>
      <div>
        {([0, 1] as const).map((n) => (
          <label key={n}>
            <span>{names[n]}</span>
            <input
              value={values[n]}
              autocomplete="off"
              aria-invalid={fault ? "true" : undefined}
              aria-describedby={fault ? `${id}-fault` : undefined}
              onInput={(e) => {
                const typed = e.currentTarget.value;
                edit((d) => set(d, n, typed));
              }}
            />
          </label>
        ))}
      </div>
      {hint && <p class="hint">{hint}</p>}
      <FaultNote fault={fault} id={`${id}-fault`} />
    </fieldset>
  );
}

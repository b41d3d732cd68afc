/** Opening, saving and clearing the card. */

import { Card, EvengapError } from "evengap";
import example from "../../../tests/example/bed.toml?raw";
import { useRef, useState } from "preact/hooks";
import { draftOf, emptyDraft, type Draft } from "../draft";
import { download } from "../download";
import { clearDraft, edit, setDraft, type State } from "../state";
import { sentence } from "../survey";

interface Refusal {
  name: string;
  message: string;
  help: string | undefined;
  /** The line that is spoken of, and where in it. */
  quoted?: { line: number; column: number; text: string };
}

/** Largest card file that is looked at, bytes: the engine's own limit is below. */
const LARGEST = 4_000_000;

export function CardFiles({ app }: { app: State }) {
  const chooser = useRef<HTMLInputElement>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [said, setSaid] = useState("");
  const [asking, setAsking] = useState(false);
  /** What an opened card took the place of. */
  const [previous, setPrevious] = useState<Draft | null>(null);

  const read = (name: string, text: string) => {
    let card: Card | null = null;
    try {
      card = Card.fromTextWithoutPoints(text);
      const opened = draftOf(card.toJSON());
      setPrevious(app.draft.points.length > 0 ? app.draft : null);
      setDraft(opened);
      setRefusal(null);
      setSaid(`${name} is open. Comments in it are not kept when you save.`);
    } catch (error) {
      if (!(error instanceof EvengapError)) throw error;
      const { line, column } = error;
      setSaid("");
      setRefusal({
        name,
        message: sentence(error.message),
        help: sentence(error.help ?? undefined),
        ...(line ? { quoted: { line, column: column ?? 1, text: text.split("\n")[line - 1] ?? "" } } : {}),
      });
    } finally {
      card?.free();
    }
  };
  const open = async (file: File | undefined) => {
    if (!file) return;
    if (file.size > LARGEST) {
      setRefusal({ name: file.name, message: "This file is too large for a card.", help: "A sliced file is opened on the sheet “File”." });
      return;
    }
    read(file.name, await file.text());
  };
  const faults = app.survey?.faults.size ?? 0;
  const card = app.survey?.card;
  const save = () => {
    if (!card || faults > 0) return;
    download(new Blob([card.toToml()], { type: "application/toml" }), "bed.toml");
    setSaid("The card was saved as bed.toml.");
  };
  const used = app.draft.points.length > 0 || JSON.stringify(app.draft) !== JSON.stringify(emptyDraft());

  return (
    <section class="files" aria-label="The card’s file">
      <div class="row">
        <button type="button" disabled={!app.survey} onClick={() => chooser.current?.click()}>Open a card…</button>
        <input
          ref={chooser}
          class="hidden"
          type="file"
          tabIndex={-1}
          aria-label="Card file, TOML or JSON"
          accept=".toml,.json,.txt"
          onChange={(e) => { void open(e.currentTarget.files?.[0]); e.currentTarget.value = ""; }}
        />
        <button type="button" disabled={!app.survey} onClick={() => read("The example", example)}>Load the example</button>
        <button type="button" disabled={!card || faults > 0} onClick={save}>Save the card</button>
        {!asking ? (
          <button type="button" disabled={!used} onClick={() => setAsking(true)}>Clear the card</button>
        ) : (
          <span class="ask" role="group" aria-label="Clear the card?">
            <button type="button" class="danger" onClick={() => { clearDraft(); setAsking(false); setPrevious(null); setRefusal(null); setSaid("The card is empty, and this browser keeps nothing of it."); }}>
              Yes, clear it
            </button>
            <button type="button" onClick={() => setAsking(false)}>Keep it</button>
          </span>
        )}
      </div>
      <p class="note" role="status">
        {said || (app.unkept ? "This browser keeps nothing over a reload: save the card to a file." : "The card is kept in this browser until you clear it.")}
        {faults > 0 && card === null && " Mend what is marked, then it can be saved."}
        {faults > 0 && card !== null && " Mend the marked readings, then it can be saved."}
      </p>
      {previous && (
        <p>
          <button type="button" onClick={() => { setDraft(previous); setPrevious(null); setSaid("The card is as it was before."); }}>Bring the card before it back</button>
        </p>
      )}
      {app.draft.kept.predicted && (
        <p class="doubt">
          The values on this card were reckoned, and nobody has read them.{" "}
          <button type="button" class="small" onClick={() => edit((d) => delete d.kept.predicted)}>They have been read now</button>
        </p>
      )}
      {refusal && (
        <div class="refusal" role="alert">
          <p>
            <strong>{refusal.name} cannot be used.</strong> {refusal.message}
          </p>
          {refusal.quoted && (
            <>
              <p>Line {refusal.quoted.line}, column {refusal.quoted.column}:</p>
              <pre tabIndex={0}>{quote(refusal.quoted)}</pre>
            </>
          )}
          {refusal.help && <p>{refusal.help}</p>}
          <p>The card on this page is as it was.</p>
        </div>
      )}
    </section>
  );
}

/** The line with a mark under the column; a long line is cut about it. */
export function quote({ column, text }: { column: number; text: string }): string {
  const from = Math.max(0, column - 40);
  const shown = text.slice(from, from + 76).replace(/\t/g, " ");
  return `${from > 0 ? "…" : ""}${shown}\n${" ".repeat(column - 1 - from + (from > 0 ? 1 : 0))}^`;
}

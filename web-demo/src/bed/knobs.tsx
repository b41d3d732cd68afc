/** Turns of each knob: in a list here, and beside the screws on the plan. */

import type { State } from "../state";

export interface Turn {
  name: string;
  /** In words for the list, and short for the drawing. */
  words: string;
  short: string;
}

/** The engine does not reckon turns yet; its figures come in here when it does. */
export function turnsOf(_app: State): Turn[] | null {
  return null;
}

export function TurnList({ app }: { app: State }) {
  const turns = turnsOf(app);
  if (!app.draft.screws) return <p class="note">Add the levelling screws on the card, and their places are shown on the plan.</p>;
  if (!turns) return null;
  return (
    <table class="words">
      <caption>Turns of each knob</caption>
      <tbody>
        {turns.map((t) => (
          <tr key={t.name}>
            <th scope="row">{t.name}</th>
            <td>{t.words}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

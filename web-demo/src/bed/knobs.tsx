/** Turns of each knob: in a list here, and beside the screws on the plan. The engine reckons them. */

import { cautions, EvengapError } from "evengap";
import type { Trammed } from "evengap/workshop";
import { sentence, type SurfaceKind } from "../survey";
import { signed } from "../text";
import { unloaded, workshop } from "../workshop";

export interface Knobs {
  /** They are being reckoned. */
  busy?: boolean;
  tram: Trammed | null;
  /** Why there are no turns. */
  reason: string | null;
}

/** What the screws of a card have to do; nothing where it names none. */
export async function knobs(card: string, surface: SurfaceKind, screws: boolean): Promise<Knobs> {
  if (!screws) return NO_KNOBS;
  try {
    const { tram } = await workshop();
    return { tram: tram(card, surface), reason: null };
  } catch (error) {
    const { message, help } = error instanceof EvengapError ? error : unloaded(error);
    return { tram: null, reason: `${sentence(message)} ${sentence(help ?? undefined) ?? ""}` };
  }
}

export const NO_KNOBS: Knobs = { tram: null, reason: null };

const ARROW = { clockwise: "↻", anticlockwise: "↺" } as const;

/** Short, for the drawing: which way and how far. */
export function shortTurn({ tram }: Knobs, name: string): string | undefined {
  const i = tram?.screws.findIndex((s) => s.name === name) ?? -1;
  const [screw, words] = [tram?.screws[i], tram?.words[i]];
  if (!screw || !words) return undefined;
  return words.still ? "leave" : `${ARROW[screw.direction as keyof typeof ARROW]} ${screw.angle_degrees.toFixed(0)}°`;
}

const VERDICT: Record<Trammed["verdict"], string> = {
  turn: "Turn the knobs in this order, then read again.",
  "within-limit": "It is within the limit: leave the screws alone.",
  even: "The readings cannot tell this bed from an even one: leave the screws alone.",
  "bend-only": "What is left is bend, not tilt: another round with the screws mends nothing.",
  "too-fine": "No knob has as much as 1/32 turn to go, and a hand turns no finer: leave the screws alone.",
};

export function TurnList({ knobs: { busy, tram, reason } }: { knobs: Knobs }) {
  if (busy) return <p class="note">The turns are being reckoned.</p>;
  if (reason) return <p class="doubt">{reason}</p>;
  if (!tram) return <p class="note">Add the levelling screws on the card to be told how far to turn each knob.</p>;
  const { travel, twist } = tram;
  const list = (
    <ol class="turns">
      {tram.screws.map((s, i) => (
        <li key={s.name}>
          {sentence(tram.words[i]!.line)} <span class="note">± {s.spread_mm.toFixed(2)} mm</span>
        </li>
      ))}
    </ol>
  );
  return (
    <>
      <p>
        <strong>{VERDICT[tram.verdict]}</strong>
      </p>
      {tram.stop ? (
        <details>
          <summary>What they would do</summary>
          {list}
        </details>
      ) : (
        <>
          {list}
          <ul class="cautions">
            {cautions().turning.map((c) => <li key={c}>{c}</li>)}
          </ul>
        </>
      )}
      <p class="note">
        Seen from above. The range would go from {tram.range_before_mm.toFixed(2)} to {tram.range_after_mm.toFixed(2)} mm
        {Math.abs(tram.level_mm) >= 0.005 && `, and the bed would stand ${signed(tram.level_mm)} mm off`}.
      </p>
      {travel && !travel.fits && (
        <p class="doubt">
          The screws lack {travel.lacks_mm.toFixed(2)} mm of travel: {travel.lacking.join(", ")}.
        </p>
      )}
      {twist?.shows && (
        <p class="note">
          The plate is twisted: it stands {twist.twist_mm.toFixed(2)} mm higher at {twist.high.join(" and ")} than at the other two. A stiff plate stays so.
        </p>
      )}
    </>
  );
}

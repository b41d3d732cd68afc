/** How well the bed is known: in a line, and as a plan when it is asked for. The engine reckons both. */

import { useEffect, useState } from "preact/hooks";
import { EvengapError } from "evengap";
import type { HowWell } from "evengap/workshop";
import { sentence, type SurfaceKind } from "../survey";
import { unloaded, workshop } from "../workshop";

interface Told {
  known: HowWell | null;
  plan: string | null;
  reason: string | null;
}

const NOTHING: Told = { known: null, plan: null, reason: null };

export function HowWellKnown({ card, surface, turn }: { card: string; surface: SurfaceKind; turn: number }) {
  const [told, setTold] = useState(NOTHING);
  const [open, setOpen] = useState(false);
  useEffect(() => {
    let here = true;
    void ask(card, surface, open).then((found) => here && setTold(found));
    return () => void (here = false);
  }, [turn, open]);
  const { known, plan, reason } = told;
  if (reason) return <p class="doubt">{reason}</p>;
  if (!known) return <p class="note">How well the bed is known is being reckoned.</p>;
  const mm = (n: number) => `± ${n.toFixed(3)} mm`;
  const { within, worst } = known.bed;
  return (
    <>
      <p class="known">
        Known to <strong>{mm(within)}</strong> (95 %) over the bed, worst {worst.place}: {mm(worst.within)}. What all readings share, such as a
        sheet that is thicker than the card says, is not in it.
      </p>
      <details open={open} onToggle={(e) => setOpen(e.currentTarget.open)}>
        <summary>Where it is known, and where not</summary>
        {plan && <div class="known-plan" dangerouslySetInnerHTML={{ __html: plan }} />}
      </details>
    </>
  );
}

async function ask(card: string, surface: SurfaceKind, drawn: boolean): Promise<Told> {
  try {
    const { howWell, knownPlan } = await workshop();
    return { known: howWell(card, surface), plan: drawn ? knownPlan(card, surface) : null, reason: null };
  } catch (error) {
    const { message, help } = error instanceof EvengapError ? error : unloaded(error);
    return { ...NOTHING, reason: `${sentence(message)} ${sentence(help ?? undefined) ?? ""}` };
  }
}

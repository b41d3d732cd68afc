import type { Fault } from "./evengap.js";

/** What the engine refuses or cannot do: what is wrong, where, and what to do about it. */
export class EvengapError extends Error implements Fault {
  /** Made of what another one's `toJSON` gave, in a Worker say: sending an error itself loses all but its message. */
  constructor(fault: Fault);
  readonly name: "EvengapError";
  readonly kind: Fault["kind"];
  readonly help: Fault["help"];
  readonly places: Fault["places"];
  /** The first place's line, from 1. */
  get line(): number | undefined;
  /** The first place's column in bytes, from 1. */
  get column(): number | undefined;
  /** A plain object that can be sent and printed. */
  toJSON(): Fault;
}

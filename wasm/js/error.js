/** What the engine refuses or cannot do: see `error.d.ts`. */
export class EvengapError extends Error {
  constructor(fault) {
    super(fault.message);
    this.name = "EvengapError";
    this.kind = fault.kind;
    this.help = fault.help;
    this.places = fault.places;
  }

  get line() {
    return this.places[0]?.line;
  }

  get column() {
    return this.places[0]?.column;
  }

  toJSON() {
    const { kind, message, help, places } = this;
    return { kind, message, help, places };
  }
}

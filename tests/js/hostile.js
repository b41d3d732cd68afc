// Texts that are no cards, or far too much of one, and how long it takes to say so: the same in Node and in a page.

const HEAD = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n";
const points = (count, point) => `${HEAD}points = [${point.repeat(count)}]\n`;
const deep = (open, close) => `a = ${open.repeat(100_000)}1${close.repeat(100_000)}\n`;

/** Name and text. */
export const TEXTS = {
  "10 MB of comments": () => "# nothing\n".repeat(1_000_000),
  "2 MB of keys": () => Array.from({ length: 120_000 }, (_, n) => `key_${n} = ${n}\n`).join("").slice(0, 1_999_000),
  "100,000 points": () => points(100_000, "[1, 2, 0.1],"),
  "arrays in arrays": () => deep("[", "]"),
  "tables in tables": () => deep("{ a = ", " }"),
  "JSON in JSON": () => `${'{"bed":'.repeat(100_000)}1${"}".repeat(100_000)}`,
  "dotted keys": () => `${"a.".repeat(100_000)}b = 1\n`,
  "a key twice": () => `${HEAD}sheet = 0.2\npoints = [[1, 2, 0.1], [100, 2, 0.1], [1, 90, 0.1]]\n`,
  "a section twice": () => `${HEAD}[bed]\nx = [0, 1]\n`,
  "1e308": () => points(3, "[1e308, 2, 0.1],"),
  nan: () => points(3, "[1, 2, nan],"),
  "half a character": () => `${HEAD}points = [[1, 2, "\ud800"]]\n`,
};

/** What the package says of each: the error's kind, whether it has a place, and the milliseconds it took. */
export function said({ Card, EvengapError }) {
  return Object.entries(TEXTS).map(([name, make]) => {
    const text = make();
    const began = performance.now();
    try {
      Card.fromText(text).free();
      return { name, fault: "taken for a card" };
    } catch (error) {
      const ms = performance.now() - began;
      return { name, ms, kind: error instanceof EvengapError ? error.kind : String(error), length: error.message.length };
    }
  });
}

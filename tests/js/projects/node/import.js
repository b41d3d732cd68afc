import init, { Card, EvengapError, HeightMap, Rewriter, rewrite } from "evengap";

// In Node there is nothing to wait for; the line that a browser needs does no harm.
await init();

const card = Card.fromText(`[bed]
x = [0, 235]
y = [0, 235]
[readings]
method = "drag"
sheet = 0.1
points = [[30, 30, 0.1], [205, 30, 0.2], [30, 205, 0.1], [205, 205, 0.2]]
`);
const map = HeightMap.fit(card);
const { bytes } = rewrite(new TextEncoder().encode("G1 X117.5 Y100 Z0.2\n"), map);
const line = new TextDecoder().decode(bytes).trim().split("\n").at(-1);
let kind = "";
try {
  const rewriter = new Rewriter(map, { shift: -1 });
  rewriter.push(new TextEncoder().encode("G1 X1 Y1 Z0.2\n"));
  rewriter.finish();
} catch (error) {
  if (error instanceof EvengapError) kind = error.kind;
}
const { contourPlan } = await import("evengap/workshop");
if (!contourPlan(card).startsWith("<svg")) throw new Error("no plan");
console.log(map.kind, map.height(117.5, 100).toFixed(3), line, kind);

/** The bed's shape in plain words. */

import type { Shape } from "evengap/workshop";
import { signed } from "../text";

export interface Line {
  name: string;
  figure: string;
  words: string;
}

const mm = (n: number) => `${signed(n)} mm`;

export function describe(shape: Shape): { mended: Line[]; left: Line[]; range: Line } {
  const { tilt, bend, lowest, highest } = shape;
  const number = (n: number) => String(+n.toFixed(1)).replace("-", "−");
  const place = (s: { x: number; y: number }) => `X ${number(s.x)} Y ${number(s.y)}`;
  const range: Line = {
    name: "Range",
    figure: `${shape.range.toFixed(2)} mm`,
    words: `from ${mm(lowest.height)} at ${place(lowest)} to ${mm(highest.height)} at ${place(highest)}`,
  };
  const mended: Line[] = [
    {
      name: "Tilt",
      figure: tilt.rises_to ? `up to the ${tilt.rises_to}` : "none to speak of",
      words: `right edge ${mm(tilt.over_width)} above the left, back ${mm(tilt.over_depth)} above the front`,
    },
    { name: "Middle", figure: mm(tilt.middle), words: "the best plane’s height in the middle of the bed" },
  ];
  const left: Line[] = [];
  const put = (name: string, n: number | null, words: string) => {
    if (n !== null) left.push({ name, figure: mm(n), words });
  };
  const dome = (n: number) => (Math.abs(n) < 0.005 ? "straight" : n > 0 ? "a dome" : "a dip");
  put("Twist", bend.twist, "back right and front left corners above the other two");
  if (bend.bow_x !== null) put("Bow, left to right", bend.bow_x, `${dome(bend.bow_x)}: middle above the left and right edges`);
  if (bend.bow_y !== null) put("Bow, front to back", bend.bow_y, `${dome(bend.bow_y)}: middle above the front and back edges`);
  if (bend.bow_either !== null) put("Bow, either way", bend.bow_either, `${dome(bend.bow_either)}: middle above the corners; the readings cannot tell along which way`);
  left.push({ name: "The rest", figure: `${bend.rest_range.toFixed(2)} mm`, words: "from lowest to highest of what none of these explains" });
  return { mended, left, range };
}

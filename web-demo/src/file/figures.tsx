/** What was found, in figures. */

import type { Summary } from "evengap";
import type { Layer } from "evengap/workshop";
import { bytes, count, percent, plural, signed } from "../text";
import { sentence } from "../survey";
import { quote } from "../card/files";
import type { Looked, Refusal } from "./protocol";

/** The share of a layer's path where the gap is not right. */
const outside = (l: Layer | undefined) => (l && l.path.all > 0 ? 1 - l.path.right / l.path.all : null);
const share = (l: Layer | undefined, part: "near" | "far" | "unmeasured") => (l && l.path.all > 0 ? percent(l.path[part] / l.path.all) : "none");

export function Figures({ looked }: { looked: Looked }) {
  const [before, after] = [looked.before.layers[0], looked.after?.layers[0]];
  const [wrong, left] = [outside(before), outside(after)];
  if (!before || wrong === null) return <p class="doubt">No filament is laid where the position is known: is this a toolpath?</p>;
  const row = (name: string, a: string, b: string) => (
    <tr>
      <th scope="row">{name}</th>
      <td>{a}</td>
      {looked.after && <td>{b}</td>}
    </tr>
  );
  const deviation = (l: Layer | undefined, which: "nearest" | "farthest") => (l ? `${signed(l[which].deviation, 3)} mm` : "");
  return (
    <>
      <p class="verdict">
        First layer, Z {before.z.toFixed(2)}: <strong>{percent(wrong)}</strong> of its path lies outside the window where it sticks
        {left !== null ? <>; rewritten, <strong>{percent(left)}</strong>.</> : "."}
      </p>
      <div class="two">
        <div class="scroll" tabIndex={0} role="region" aria-label="First layer in figures">
          <table class="figures first">
            <caption>First layer, {count(Math.round(before.path.all))} mm of path</caption>
            <thead>
              <tr>
                <th scope="col">Share of the path</th>
                <th scope="col">As sliced</th>
                {looked.after && <th scope="col">Rewritten</th>}
              </tr>
            </thead>
            <tbody>
              {row("outside the window", percent(wrong), left === null ? "" : percent(left))}
              {row("of it too near", share(before, "near"), share(after, "near"))}
              {row("of it too far", share(before, "far"), share(after, "far"))}
              {row("not between readings", share(before, "unmeasured"), share(after, "unmeasured"))}
              {row("nearest", deviation(before, "nearest"), deviation(after, "nearest"))}
              {row("farthest", deviation(before, "farthest"), deviation(after, "farthest"))}
            </tbody>
          </table>
        </div>
        {looked.after && <Whole summary={looked.after.summary} before={looked.bytes} after={looked.after.bytes} />}
      </div>
    </>
  );
}

function Whole({ summary: s, before, after }: { summary: Summary; before: number; after: number }) {
  const growth = (a: number, b: number) => (a > 0 ? ` (${signed((100 * (b - a)) / a, 1)} %)` : "");
  const lines: [string, string][] = [["Size", `${bytes(before)} in, ${bytes(after)} out${growth(before, after)}`]];
  lines.push(["Moves", `${count(s.moves_in)} in, ${count(s.moves_out)} out${growth(s.moves_in, s.moves_out)}`]);
  if (s.largest_offset) {
    const { offset, x, y, line } = s.largest_offset;
    lines.push(["Largest offset", `${signed(offset, 3)} mm, at X ${x.toFixed(1)} Y ${y.toFixed(1)}, line ${count(line)}`]);
  }
  lines.push(["Taper", s.taper ? `whole up to Z ${s.taper[0].toFixed(2)} mm, ended at Z ${s.taper[1].toFixed(2)} mm` : "none: the whole print follows the bed"]);
  lines.push(["Filament", `${s.extrusion_in.toFixed(1)} in, ${s.extrusion_out.toFixed(1)} out${growth(s.extrusion_in, s.extrusion_out)}`]);
  const { count: passed, first } = s.not_understood;
  lines.push([
    "Not understood",
    passed === 0 ? "nothing" : `${plural(passed, "line")} passed untouched: ${first.map(([n, text]) => `line ${n} “${text.trim()}”`).join(", ")}`,
  ]);
  return (
    <div>
      <h3>The whole file</h3>
      <table class="words">
        <tbody>
          {lines.map(([name, words]) => (
            <tr key={name}>
              <th scope="row">{name}</th>
              <td>{words}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {s.lines_changed === 0 && s.marker === null && <p class="note">Nothing has to change: the rewritten file is the original.</p>}
      {s.warnings.map((w) => (
        <p class="doubt" key={w.kind}>
          <strong>Mind:</strong> {sentence(w.message)}
          {w.lines.length > 0 && ` (${w.count === 1 ? "line" : "lines"} ${w.lines.join(", ")}${w.count > w.lines.length ? " and more" : ""})`}
        </p>
      ))}
    </div>
  );
}

export function RefusalBox({ refusal }: { refusal: Refusal }) {
  const { line, column, text } = refusal;
  return (
    <div class="refusal" role="alert">
      <p>
        <strong>This file cannot be rewritten.</strong> {sentence(refusal.message)}
      </p>
      {line !== null && (
        <>
          <p>
            Line {count(line)}
            {column !== null && `, column ${column}`}:
          </p>
          {text !== null && <pre tabIndex={0}>{quote({ column: column ?? 1, text })}</pre>}
        </>
      )}
      {refusal.help && <p>{sentence(refusal.help)}</p>}
      <p>Nothing was written.</p>
    </div>
  );
}

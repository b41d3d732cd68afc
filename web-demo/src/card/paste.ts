/** Cells that come from a spreadsheet. */

import type { Draft } from "../draft";

/** The cells of pasted text, row by row; empty rows at the end are dropped. */
export function cells(text: string): string[][] {
  const rows = text.replace(/\r\n?/g, "\n").replace(/\n+$/, "").split("\n");
  return rows.map((row) => {
    if (row.includes("\t")) return row.split("\t").map((c) => c.trim());
    if (row.includes(";")) return row.split(";").map((c) => c.trim());
    const parts = row.trim().split(/\s*,\s*/);
    // One comma alone is taken for a decimal comma in a column of readings, and is then marked as such.
    return parts.length >= 3 ? parts : row.trim().split(/\s+/);
  });
}

/** A first row of words names the columns. */
const isHeader = (row: string[]) => row.length > 0 && row.every((c) => /[a-z]/i.test(c) && !/\d/.test(c));

/** What was done, in words. */
export function pasteInto(draft: Draft, text: string, from: number): string {
  const rows = cells(text).filter((row) => row.some((c) => c !== ""));
  if (rows[0] && isHeader(rows[0])) rows.shift();
  if (rows.length === 0) return "Nothing was pasted.";
  if (rows.every((row) => row.length >= 2)) {
    for (const [x, y, value] of rows) {
      const place = draft.points.find((p) => Number(p.x) === Number(x) && Number(p.y) === Number(y) && p.value === "");
      if (place) place.value = value ?? "";
      else draft.points.push({ x: x ?? "", y: y ?? "", value: value ?? "" });
    }
    return `${rows.length} points were brought in.`;
  }
  const room = draft.points.length - from;
  rows.slice(0, room).forEach((row, i) => (draft.points[from + i]!.value = row[0] ?? ""));
  const filled = Math.min(room, rows.length);
  const left = rows.length - filled;
  return `${filled} readings were filled in, from point ${from + 1} on.${left > 0 ? ` ${left} were left over: there are no more points.` : ""}`;
}

// What the native library wrote down, and how an outcome is held against it. NATIVE names the folder.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import path from "node:path";

assert.ok(process.env.NATIVE, "NATIVE names the folder of native results");
export const folder = path.resolve(process.env.NATIVE);
export const read = (name) => readFileSync(path.join(folder, name));
export const suite = JSON.parse(read("suite.json").toString("utf8"));

/** What was expected of a case. */
export const expected = ({ made, map, rewritten }) => (made ? { made } : map ? { map } : { rewritten });

/** A suite that compared nothing proves nothing. */
export function assertThatThereIsSomethingToCompare() {
  const count = (test) => suite.filter(test).length;
  assert.ok(count((c) => c.map && !c.map.fault) >= 8);
  assert.ok(count((c) => c.map?.fault?.places.length > 0) >= 10);
  assert.ok(count((c) => c.rewritten?.sha256) >= 60);
  assert.ok(count((c) => c.rewritten?.fault) >= 10);
  assert.ok(count((c) => c.rewritten?.summary?.lines_changed > 0) >= 30);
  assert.ok(count((c) => c.made && !c.made.value?.fault) >= 25);
  assert.ok(count((c) => c.made?.value?.fault) >= 10);
  const kinds = new Set(suite.map((c) => (c.made?.value ?? c.map ?? c.rewritten)?.fault?.kind).filter(Boolean));
  assert.deepEqual([...kinds].sort(), ["card", "floor", "limit", "options", "readings", "refused", "toolpath"]);
  assert.equal(new Set(suite.map((c) => c.name)).size, suite.length, "each case has a name of its own");
}

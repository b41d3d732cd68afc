#!/usr/bin/env bash
# Prints what the package's two modules weigh, and fails where one grew.
set -euo pipefail
cd "$(dirname "$0")/.."
# What a page should have to load at most, for each. It is NOT reached yet.
goal=$((150 * 1024))
failed=0
# What each weighs today, KiB, and a little for other compilers: to go down to the goal.
for each in evengap:180 workshop:283; do
  module=wasm/pkg/${each%:*}_bg.wasm
  ceiling=$((${each#*:} * 1024))
  raw=$(wc -c < "$module")
  packed=$(gzip -9 -c "$module" | wc -c)
  echo "$module: $raw bytes, $packed gzipped; the goal is $goal"
  [ "$packed" -le "$goal" ] || echo "the goal is missed by $((packed - goal)) bytes gzipped"
  if [ "$packed" -gt "$ceiling" ]; then
    echo "the module grew: more than $ceiling bytes gzipped" >&2
    failed=1
  fi
done
exit "$failed"

#!/usr/bin/env bash
# Prints what the package's two modules weigh, and fails where one weighs more than it may.
set -euo pipefail
cd "$(dirname "$0")/.."
failed=0
# KiB gzipped. The first is what a page has to load to rewrite a toolpath: 150 are promised. The second is loaded when it is asked for; it
# may weigh what it weighs today, and a little for other compilers.
for each in evengap:150 workshop:307; do
  module=wasm/pkg/${each%:*}_bg.wasm
  ceiling=$((${each#*:} * 1024))
  raw=$(wc -c < "$module")
  packed=$(gzip -9 -c "$module" | wc -c)
  echo "$module: $raw bytes, $packed gzipped; at most $ceiling"
  if [ "$packed" -gt "$ceiling" ]; then
    echo "the module grew: more than $ceiling bytes gzipped" >&2
    failed=1
  fi
done
exit "$failed"

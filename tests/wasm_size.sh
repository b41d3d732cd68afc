#!/usr/bin/env bash
# Prints what the package's module weighs, and fails where it is more than a page should have to load.
set -euo pipefail
cd "$(dirname "$0")/.."
module=wasm/pkg/evengap_bg.wasm
limit=$((150 * 1024))
raw=$(wc -c < "$module")
packed=$(gzip -9 -c "$module" | wc -c)
echo "$module: $raw bytes, $packed gzipped; the limit is $limit"
if [ "$packed" -gt "$limit" ]; then
  echo "the module is $((packed - limit)) bytes too large, gzipped" >&2
  exit 1
fi

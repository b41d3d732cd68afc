#!/usr/bin/env bash
# The page: builds the engine's package, the native command and the page, and tests the page in Chromium.
# For each step there are pictures in web-demo/screenshots afterwards.
set -euo pipefail
. "$(dirname "$0")/../tests/setup.sh"
need_rust
need_node
need_chromium
cargo build --locked --quiet --package evengap-cli
cargo run --locked --quiet --package evengap-wasm-build
EVENGAP=${CARGO_TARGET_DIR:-$root/target}/debug/evengap
export EVENGAP
need_modules web-demo
cd web-demo
npm run --silent build
rm -rf screenshots
log=node_modules/.page.tap
node --test --test-concurrency=1 --test-reporter=tap tests/*.test.mjs | tee "$log"
# A suite that ran nothing, or passed something over, has failed.
tests=$(grep -c '^ok [0-9]' "$log" || true)
if [ "$tests" -lt 25 ] || ! grep -qx '# skipped 0' "$log" || ! grep -qx '# todo 0' "$log"; then
  echo "the tests of the page did not all run" >&2
  exit 1
fi

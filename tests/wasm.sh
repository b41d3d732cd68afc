#!/usr/bin/env bash
# Makes the JavaScript package (wasm/pkg) and holds it against the native library, bit by bit, in Node.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
need_node
native=$(pwd)/target/wasm-native
rm -rf "$native"
cargo run --locked --quiet --package evengap-wasm-build
cargo run --locked --quiet --package evengap-wasm --example native -- \
  tests/example/bed.toml tests/example/part.gcode "$native"
log=$native/node.tap
NATIVE=$native node --test --test-reporter=tap wasm/tests/package.test.mjs | tee "$log"
# A suite that ran nothing, or passed something over, has failed.
tests=$(grep -c '^ok [0-9]' "$log" || true)
if [ "$tests" -lt 10 ] || ! grep -qx '# skipped 0' "$log" || ! grep -qx '# todo 0' "$log"; then
  echo "the tests of the JavaScript package did not all run" >&2
  exit 1
fi

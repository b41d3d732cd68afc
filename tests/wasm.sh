#!/usr/bin/env bash
# Makes the JavaScript package (wasm/pkg); weighs it; holds it against the native library, bit by bit, in Node and in
# Chromium; installs it as its users do; and measures its speed beside the native library's.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
need_node
need_chromium
need_modules tests/js
target=${CARGO_TARGET_DIR:-target}
work=$target/wasm-tests
rm -rf "$work"
mkdir -p "$work"
cargo run --locked --quiet --package evengap-wasm-build

bash tests/wasm_size.sh

cargo run --locked --quiet --package evengap-wasm --example native -- \
  tests/example/bed.toml tests/example/part.gcode "$work/native"

# A suite that ran nothing, or passed something over, has failed.
suite() {
  local name=$1 least=$2 log=$work/$1.tap
  NATIVE=$work/native node --test --test-reporter=tap "tests/js/$name.test.js" | tee "$log"
  if [ "$(grep -c '^ok [0-9]' "$log" || true)" -lt "$least" ] || ! grep -qx '# skipped 0' "$log" ||
    ! grep -qx '# todo 0' "$log"; then
    echo "the tests of the JavaScript package did not all run: $name" >&2
    exit 1
  fi
}
suite node 200
suite browser 380
suite hostile 28
suite install 5

cargo build --locked --quiet --release --package evengap-wasm --example rate
rate=$target/release/examples/rate
"$rate" make "$work/rate.toml" "$work/rate.gcode"
node tests/js/rate.js wasm/pkg "$rate" "$work/rate.toml" "$work/rate.gcode"

#!/usr/bin/env bash
# The main job on the example: shows the bed, draws it, and rewrites the part. Results go to target/example.
set -euo pipefail
. "$(dirname "$0")/../setup.sh"
need_rust
cargo build --locked --package evengap-cli
binary=${CARGO_TARGET_DIR:-target}/debug/evengap
mkdir -p target/example
show() { printf '\n$ evengap %s\n' "$*"; "$binary" "$@"; }
show map tests/example/bed.toml --picture target/example/bed.svg
show rewrite tests/example/part.gcode --card tests/example/bed.toml -o target/example/part.even.gcode
printf '\nThe plan is target/example/bed.svg, the file to print target/example/part.even.gcode.\n'

#!/usr/bin/env bash
# The main job on the example: shows the bed, draws it, looks at the part over it, rewrites the part and proves it. Results go to target/example.
set -euo pipefail
. "$(dirname "$0")/../setup.sh"
need_rust
cargo build --locked --package evengap-cli
binary=${CARGO_TARGET_DIR:-target}/debug/evengap
mkdir -p target/example
show() { printf '\n$ evengap %s\n' "$*"; "$binary" "$@"; }
show map tests/example/bed.toml --picture target/example/bed.svg
# As it was sliced the part is not right for this bed: status 1 says so.
show check tests/example/part.gcode --card tests/example/bed.toml --picture target/example/gap.png || [ $? -eq 1 ]
show rewrite tests/example/part.gcode --card tests/example/bed.toml -o target/example/part.even.gcode
show check target/example/part.even.gcode --card tests/example/bed.toml --original tests/example/part.gcode
printf '\nThe plan is target/example/bed.svg, the file to print target/example/part.even.gcode.\n'

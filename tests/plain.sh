#!/usr/bin/env bash
# Makes the plain WebAssembly module (wasm/plain), weighs it, and holds it against the command, bit by bit, with a host in Python:
# tests/plain/host.py. What that imports comes from PyPI on the versions of tests/plain/requirements.txt, into target.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
target=${CARGO_TARGET_DIR:-target}
work=$target/plain-tests
mkdir -p "$work"

# The names of source files, for panics: what they are called, not where this machine keeps them.
flags="--remap-path-prefix=$root/="
for registry in "${CARGO_HOME:-$HOME/.cargo}"/registry/src/*/; do
  flags="$flags --remap-path-prefix=$registry="
done
RUSTFLAGS=$flags cargo build --locked --quiet --package evengap-plain --profile wasm-plain --target wasm32-unknown-unknown
module=$target/wasm32-unknown-unknown/wasm-plain/evengap_plain.wasm
packed=$(gzip -9 -c "$module" | wc -c)
echo "$module: $(wc -c < "$module") bytes, $packed gzipped"
# What it weighs today, KiB, and a little for other compilers.
if [ "$packed" -gt $((180 * 1024)) ]; then
  echo "the module grew: more than 180 KiB gzipped" >&2
  exit 1
fi

# The README's sketch of a host in C is C.
{
  printf '#include <stdint.h>\n#include <stdio.h>\n#include <string.h>\ntypedef struct host host;\n'
  sed -n '/^```c$/,/^```$/{/^```/d;p}' wasm/plain/README.md
} > "$work/sketch.c"
grep -q evengap_rewriter_push "$work/sketch.c"
cc -std=c99 -Wall -Wextra -Werror -fsyntax-only "$work/sketch.c"

if ! need_python "$work/python" tests/plain/requirements.txt; then
  echo "SKIPPED: no Python 3.11 with venv, or its packages cannot be had: the plain module was built and not run" >&2
  exit 0
fi
python=$work/python/bin/python
"$python" --version
cargo build --locked --quiet --package evengap-cli

# The example first, as its users would run it.
"$python" tests/plain/host.py "$module" tests/example/bed.toml tests/example/part.gcode "$work/part.even.gcode"

log=$work/check.log
PLAIN_MODULE=$module PLAIN_COMMAND=$target/debug/evengap PLAIN_WORK=$work \
  "$python" -B tests/plain/check.py 2>&1 | tee "$log"
# A suite that ran nothing, or passed something over, has failed.
ran=$(sed -n 's/^Ran \([0-9]*\) tests in .*/\1/p' "$log")
if [ "${ran:-0}" -lt 16 ] || [ "$(tail -1 "$log")" != OK ]; then
  echo "the tests of the plain module did not all run" >&2
  exit 1
fi

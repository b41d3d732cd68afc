#!/usr/bin/env bash
# Makes up bytes for each target for so many seconds (20 by default), starting from the inputs that are kept in
# tests/fuzz/corpus: bash tests/fuzz.sh [SECONDS [TARGET...]]. What breaks a promise is kept in target/fuzz/found; put it
# into tests/fuzz/corpus/TARGET, where tests/tests/made_up.rs holds it for good.
# The instruments are plain codegen options: the stable compiler has them.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
seconds=${1:-20}
shift || true
targets=("$@")
[ ${#targets[@]} -gt 0 ] || targets=(card toolpath cut proven pair)
work=${CARGO_TARGET_DIR:-target}/fuzz
host=$(rustc -vV | sed -n 's/^host: //p')
mkdir -p "$work/found" "$work/corpus"
if ! command -v c++ >/dev/null; then
  echo "SKIPPED: no C++ compiler, which the fuzzer needs; nothing was made up" >&2
  exit 0
fi
flags="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 -Cllvm-args=-sanitizer-coverage-inline-8bit-counters"
flags="$flags -Cllvm-args=-sanitizer-coverage-pc-table -Cllvm-args=-sanitizer-coverage-trace-compares --cfg fuzzing"
# With --target the build scripts go without instruments.
CARGO_TARGET_DIR=$work/build RUSTFLAGS=$flags \
  cargo build --quiet --locked --release --manifest-path tests/fuzz/Cargo.toml --target "$host"
status=0
for name in "${targets[@]}"; do
  mkdir -p "$work/corpus/$name"
  log=$work/$name.log
  # A whole file is looked at several times: no input may take 10 s or 1 GB, and none may ask for 256 MB at once.
  "$work/build/$host/release/$name" -max_total_time="$seconds" -timeout=10 -rss_limit_mb=1024 -malloc_limit_mb=256 \
    -max_len=4096 -dict=tests/fuzz/words.txt -artifact_prefix="$work/found/$name-" -print_final_stats=1 \
    "$work/corpus/$name" "tests/fuzz/corpus/$name" > "$log" 2>&1 || status=1
  runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
  covered=$(sed -n 's/.* cov: \([0-9]*\) ft: \([0-9]*\).*/\1 edges, \2 features/p' "$log" | tail -1)
  echo "made up for $name: ${runs:-0} runs, ${covered:-no coverage}"
  if [ "$status" -ne 0 ] || [ "${runs:-0}" -lt 100 ]; then
    tail -30 "$log" >&2
    exit 1
  fi
done

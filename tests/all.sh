#!/usr/bin/env bash
# All tests, on a bare machine too: format, lints, docs, tests, the example, the JavaScript package, the plain module, the page.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
step() { printf '\n==> %s (%d s so far)\n' "$*" "$SECONDS"; }
need_rust
need_node
log=target/tests.log
mkdir -p target

step "format"
cargo fmt --all --check

step "lints"
cargo clippy --locked --workspace --all-targets -- -D warnings

step "lints for wasm32"
cargo clippy --locked --package evengap --package evengap-wasm --package evengap-plain --lib --target wasm32-unknown-unknown -- -D warnings
# Each of the package's two modules by itself.
for module in engine workshop; do
  cargo clippy --locked --package evengap-wasm --lib --target wasm32-unknown-unknown --no-default-features \
    --features "$module" -- -D warnings
done

step "docs"
RUSTDOCFLAGS="-D warnings" cargo doc --locked --workspace --no-deps --lib

step "tests"
# --no-fail-fast: one run names every test that fails.
cargo test --locked --workspace --no-fail-fast 2>&1 | tee "$log"
passed=$(sed -n 's/^test result: ok\. \([0-9]*\) passed.*/\1/p' "$log" | awk '{ n += $1 } END { print n + 0 }')
if [ "$passed" -lt 100 ]; then
  echo "only $passed tests ran: some suites are missing" >&2
  exit 1
fi

step "the example"
bash tests/example/run.sh 2>&1 | tee target/example.log
cmp target/example/bed.svg tests/example/bed.svg || {
  echo "the README's picture is out of date: cp target/example/bed.svg tests/example/bed.svg" >&2
  exit 1
}
# The README shows what the example's run printed: every line of it, from the rewriting's first to its last figure.
sed -n '/^Rewrote /,/^  Passed /p' target/example.log > target/example.report
[ -s target/example.report ]
while IFS= read -r line; do
  grep -qxF -- "$line" README.md || {
    echo "the README's figures are out of date: it lacks \"$line\"" >&2
    exit 1
  }
done < target/example.report

# And what its check says of the file before and after.
grep -qF '! 94 % of the first layer is too near' target/example.log || {
  echo "the README's figure of the check is out of date" >&2
  exit 1
}
grep -qF 'Proven against tests/example/part.gcode' target/example.log

step "the library's own examples"
for program in core/examples/*.rs; do
  name=$(basename "$program" .rs)
  mkdir -p "target/examples/$name"
  cargo run --locked --quiet --package evengap --example "$name" -- "target/examples/$name"
done

step "licences and sources"
need_deny
if cargo deny --version >/dev/null 2>&1; then
  cargo deny --locked check -A license-not-encountered -A license-exception-not-encountered bans licenses sources
  cargo deny --locked --manifest-path tests/fuzz/Cargo.toml --config deny.toml check -A license-not-encountered bans licenses sources
else
  echo "SKIPPED: cargo-deny is not installed (cargo install cargo-deny): licences and sources are not checked" >&2
fi

step "the interface"
bash tests/api.sh

step "what is released"
bash tests/release.sh quick

step "made-up bytes"
bash tests/fuzz.sh 15 | tee target/fuzz.log

step "instructions"
bash tests/steps.sh | tee target/steps.log

step "the JavaScript package"
bash tests/wasm.sh | tee target/wasm.log

step "the plain module"
bash tests/plain.sh | tee target/plain.log

step "the pages' commands"
bash tests/pages.sh | tee target/pages.log

step "the page"
bash web-demo/test.sh | tee target/page.log

step "the oldest Rust"
oldest=$(sed -n 's/^rust-version = "\(.*\)"/\1/p' Cargo.toml)
if rustc --version | grep -q "^rustc $oldest\."; then
  echo "Rust $oldest: all of this was built with it"
elif command -v rustup >/dev/null && rustup toolchain list | grep -q "^$oldest"; then
  cargo "+$oldest" check --locked --package evengap --package evengap-cli
else
  echo "SKIPPED: there is no Rust $oldest here (rustup toolchain install $oldest)" >&2
fi

step "all passed"
grep '^test result:' "$log"
cat target/fuzz.log
grep -E '^(Ran [0-9]+ tests|OK)' target/plain.log || echo "SKIPPED: the plain module was built and not run" >&2
grep -hE '^# (tests|pass|fail|skipped) ' target/wasm.log target/page.log
echo "$passed tests in Rust, $(grep -c '^ok [0-9]' target/wasm.log) of the JavaScript package, $(grep -c '^ok [0-9]' target/page.log) of the page"

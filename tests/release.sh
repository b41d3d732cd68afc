#!/usr/bin/env bash
# Makes what is released, into target/dist: a static command for Linux with its manual pages, completions and licences as one archive, the packages
# of the crates and of JavaScript, and their checksums. The command is built twice, in two places, and must be the same bytes.
# With `quick` nothing is built twice: what continuous integration has time for.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
quick=${1:-}
out=target/dist
rm -rf "$out"
mkdir -p "$out"
version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml | head -1)

echo "-- the packages of the crates"
cargo package --locked --quiet --no-verify --allow-dirty --package evengap --package evengap-cli
cp "${CARGO_TARGET_DIR:-target}/package/evengap-$version.crate" "${CARGO_TARGET_DIR:-target}/package/evengap-cli-$version.crate" "$out"

# Static where that target is installed (rustup target add x86_64-unknown-linux-musl); else it needs the C library of this machine or a later one.
host=$(rustc -vV | sed -n 's/^host: //p')
target=${host%-gnu}-musl
if ! { command -v rustup >/dev/null && rustup target list --installed | grep -qx "$target"; }; then
  echo "no $target here: the command needs $(ldd --version 2>/dev/null | head -1 || echo 'a C library')"
  target=$host
fi

# The same bytes wherever it is built: no path of this machine stays in it.
build() {
  local sources="${CARGO_HOME:-$HOME/.cargo}/registry/src"
  CARGO_TARGET_DIR=$1 CARGO_INCREMENTAL=0 RUSTFLAGS="--remap-path-prefix=$PWD= --remap-path-prefix=$sources= --remap-path-prefix=$1=" \
    cargo build --locked --quiet --profile dist --target "$target" --package evengap-cli
}
echo "-- the command for $target"
build "$PWD/target/dist-build"
command="target/dist-build/$target/dist/evengap"
if [ "$quick" != quick ]; then
  again=$(mktemp -d)
  trap 'rm -rf "$again"' EXIT
  build "$again"
  cmp "$command" "$again/$target/dist/evengap"
  echo "built twice: the same bytes"
fi

name=evengap-$version-$target
place=$out/$name
mkdir -p "$place/completions"
cp "$command" LICENSE-MIT LICENSE-APACHE CHANGELOG.md README.md "$place"
"$command" manual --out-dir "$place/man1"
for shell in bash zsh fish; do "$command" completions "$shell" > "$place/completions/evengap.$shell"; done
cargo run --locked --quiet --package evengap-tests --example notice -- "$target" > "$place/NOTICE.txt"
# Everything in it answers.
"$place/evengap" --version | grep -qx "evengap $version"
"$place/evengap" rewrite tests/example/part.gcode --card tests/example/bed.toml -o - --quiet | cmp - \
  <(cargo run --locked --quiet --package evengap-cli -- rewrite tests/example/part.gcode --card tests/example/bed.toml -o - --quiet)
# It needs nothing beside it: it runs in an empty root, as in an empty container.
if [ "$(id -u)" = 0 ] && [ "$target" != "$host" ]; then
  root=$(mktemp -d)
  cp "$place/evengap" "$root"
  cp tests/example/bed.toml tests/example/part.gcode "$root"
  chroot "$root" /evengap rewrite part.gcode --card bed.toml -o - --quiet | cmp - <("$place/evengap" rewrite tests/example/part.gcode --card tests/example/bed.toml -o - --quiet)
  rm -rf "$root"
  echo "it runs in an empty root"
else
  echo "SKIPPED: not root, or not static: it was not run in an empty root" >&2
fi
tar --sort=name --owner=0 --group=0 --numeric-owner --mtime=@0 -C "$out" -czf "$out/$name.tar.gz" "$name"
(cd "$out" && sha256sum -- *.tar.gz *.crate > SHA256SUMS && cat SHA256SUMS)
ls -l "$place/evengap" | awk '{ print "the command: " $5 " bytes" }'

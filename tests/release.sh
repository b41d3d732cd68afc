#!/usr/bin/env bash
# Makes what is released, into target/dist: a static command for Linux with its manual pages, completions and licences as one archive, the packages
# of the crates and of JavaScript, the plain module, and their checksums. The command is built twice, from two copies of the sources, and must be the same bytes.
# With `quick` the crates are packed and not built from their packages, nothing is built twice, and there is no WebAssembly: what continuous integration has time for.
set -euo pipefail
shopt -s nullglob
. "$(dirname "$0")/setup.sh"
need_rust
quick=${1:-}
out=target/dist
rm -rf "$out"
mkdir -p "$out"
version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml | head -1)

echo "-- the packages of the crates"
if [ "$quick" = quick ]; then
  cargo package --locked --quiet --no-verify --allow-dirty --package evengap --package evengap-cli
else
  # What is released is what is committed.
  git diff --quiet HEAD || { echo "there are changes that are not committed" >&2; exit 1; }
  cargo package --locked --quiet --package evengap --package evengap-cli
fi
cp "${CARGO_TARGET_DIR:-target}/package/evengap-$version.crate" "${CARGO_TARGET_DIR:-target}/package/evengap-cli-$version.crate" "$out"

# Static where that target is installed (rustup target add x86_64-unknown-linux-musl); else it needs the C library of this machine or a later one.
host=$(rustc -vV | sed -n 's/^host: //p')
target=${host%-gnu}-musl
if ! { command -v rustup >/dev/null && rustup target list --installed | grep -qx "$target"; }; then
  echo "no $target here: the command needs $(ldd --version 2>/dev/null | head -1 || echo 'a C library')"
  target=$host
fi

# The same bytes wherever it is built: no path of this machine stays in it. From the sources in $1 into $2.
build() {
  local registry="${CARGO_HOME:-$HOME/.cargo}/registry/src"
  (cd "$1" && CARGO_TARGET_DIR=$2 CARGO_INCREMENTAL=0 RUSTFLAGS="--remap-path-prefix=$1= --remap-path-prefix=$registry= --remap-path-prefix=$2=" \
    cargo build --locked --quiet --profile dist --target "$target" --package evengap-cli)
}
echo "-- the command for $target"
build "$PWD" "$PWD/target/dist-build"
command="target/dist-build/$target/dist/evengap"
if [ "$quick" != quick ]; then
  again=$(mktemp -d)
  trap 'rm -rf "$again"' EXIT
  mkdir "$again/sources"
  git archive HEAD | tar -x -C "$again/sources"
  build "$again/sources" "$again/target"
  cmp "$command" "$again/target/$target/dist/evengap"
  echo "built twice: the same bytes"
fi

# What is built in, for a target and a package, into a folder: the packages' licences, and those of Rust's standard library as it tells them itself.
rust_notice=$(rustc --print sysroot)/share/doc/rust/COPYRIGHT-library.html
[ -f "$rust_notice" ] || { echo "Rust is here without the notices of its standard library ($rust_notice): install it with rustup" >&2; exit 1; }
notices() {
  cargo run --locked --quiet --package evengap-tests --example notice -- "$1" "$2" > "$3/NOTICE.txt"
  cp "$rust_notice" "$3/NOTICE-rust.html"
}

name=evengap-$version-$target
place=$out/$name
mkdir -p "$place/completions"
cp "$command" LICENSE-MIT LICENSE-APACHE CHANGELOG.md README.md "$place"
"$command" manual --out-dir "$place/man1"
for shell in bash zsh fish; do "$command" completions "$shell" > "$place/completions/evengap.$shell"; done
notices "$target" evengap-cli "$place"
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
if [ "$quick" != quick ]; then
  echo "-- WebAssembly"
  need_node
  cargo run --locked --quiet --package evengap-wasm-build
  notices wasm32-unknown-unknown evengap-wasm wasm/pkg
  (cd wasm/pkg && npm pack --silent --pack-destination "$OLDPWD/$out")
  cargo build --locked --quiet --package evengap-plain --profile wasm-plain --target wasm32-unknown-unknown
  plain=evengap-plain-$version
  mkdir "$out/$plain"
  cp "${CARGO_TARGET_DIR:-target}/wasm32-unknown-unknown/wasm-plain/evengap_plain.wasm" wasm/plain/README.md LICENSE-MIT LICENSE-APACHE "$out/$plain"
  notices wasm32-unknown-unknown evengap-plain "$out/$plain"
  tar --sort=name --owner=0 --group=0 --numeric-owner --mtime=@0 -C "$out" -czf "$out/$plain.tar.gz" "$plain"
fi
# What is built in is told in each of them.
for archive in "$out"/*.tar.gz "$out"/*.tgz; do
  for notice in NOTICE.txt NOTICE-rust.html; do
    tar -tzf "$archive" | grep "/$notice\$" >/dev/null || { echo "$archive lacks $notice" >&2; exit 1; }
  done
done
(cd "$out" && sha256sum -- *.tar.gz *.tgz *.crate > SHA256SUMS && cat SHA256SUMS)
ls -l "$place/evengap" | awk '{ print "the command: " $5 " bytes" }'

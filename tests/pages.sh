#!/usr/bin/env bash
# Runs the commands of the pages for users: every block that is marked `sh`, in order, in a folder with the example's card and file. Blocks marked
# `make` are written to Makefile. A page that has no command has failed.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
cargo build --locked --quiet --package evengap-cli
binaries=$(cd "${CARGO_TARGET_DIR:-target}/debug" && pwd)
for page in cli/WORKSHOP.md; do
  place=$(mktemp -d)
  trap 'rm -rf "$place"' EXIT
  cp tests/example/bed.toml tests/example/part.gcode "$place"
  awk -v makefile="$place/Makefile" '
    /^```/ { inside = inside == "" ? substr($0, 4) : ""; if (inside == "sh") printf "echo \"-- %s:%d\"\n", FILENAME, NR; next }
    inside == "sh" { print }
    inside == "make" { print > makefile }
  ' "$page" > "$place/commands.sh"
  blocks=$(grep -c '^echo "-- ' "$place/commands.sh" || true)
  if [ "$blocks" -lt 1 ]; then
    echo "$page has no commands" >&2
    exit 1
  fi
  (cd "$place" && PATH="$binaries:$PATH" bash -euo pipefail commands.sh)
  echo "$page: $blocks blocks ran"
  rm -rf "$place"
  trap - EXIT
done

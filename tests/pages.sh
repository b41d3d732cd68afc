#!/usr/bin/env bash
# Runs the commands of the pages for users, one page a user: the owner's tour in README.md, cli/WORKSHOP.md, core/EMBEDDING.md. Each in a folder of its own
# with the example's card and file. Of a page: blocks marked `sh` in order; blocks with a name (`ini evengap.path`, `make Makefile`) are written to
# that file; `js` is run with the package, where it was built; `rust` by `cargo test`. A page that has no command has failed.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
cargo build --locked --quiet --package evengap-cli
binaries=$(cd "${CARGO_TARGET_DIR:-target}/debug" && pwd)
export PATH="$binaries:$PATH"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# A folder for a page.
place_of() {
  local place="$work/$(basename "$1" .md)"
  mkdir "$place"
  cp tests/example/bed.toml tests/example/part.gcode "$place"
  echo "$place"
}

# The blocks of page $1 as files of folder $2, and as commands.sh.
take_blocks() {
  awk -v place="$2" '
    /^```/ {
      inside = inside == "" ? substr($0, 4) : ""
      split(inside, mark, " ")
      if (inside == "sh") printf "echo \"-- %s:%d\"\n", FILENAME, NR > (place "/commands.sh")
      next
    }
    inside == "sh" { print > (place "/commands.sh") }
    inside == "js" { print > (place "/block.mjs") }
    mark[2] != "" && inside != "" { print > (place "/" mark[2]) }
  ' "$1"
}

# What a systemd of this machine says of the units, and what the service does with a folder: a file that is fine, one that is refused.
try_units() {
  if command -v systemd-analyze >/dev/null; then
    SYSTEMD_UNIT_PATH="$1:" systemd-analyze verify --man=no "$1/evengap.path" "$1/evengap.service"
    echo "the units are sound"
  else
    echo "SKIPPED: no systemd-analyze here: the units are not verified" >&2
  fi
  # The command lines as systemd would read them: its specifier for the home folder, the variable, the dollar that is written twice. One after
  # another, and no further than the first that fails.
  local home="$1/home"
  mkdir -p "$home/.cargo/bin" "$home/sliced"
  ln -s "$binaries/evengap" "$home/.cargo/bin/evengap"
  cp -r "$1/printers" "$home"
  cp "$1/part.gcode" "$home/sliced/fine.gcode"
  printf 'G1 X20 Y20 Z0.2\nG38.2 Z-5\n' > "$home/sliced/probes.gcode"
  echo "not a toolpath" > "$home/sliced/note.txt"
  sed -n 's/^ExecStart=//p' "$1/evengap.service" | sed "s|%h|$home|g; s/\\$\\$/$/g" > "$1/service.sh"
  [ "$(grep -c . "$1/service.sh")" = 3 ]
  there() { (cd "$home" && find sliced even refused -type f | sort | tr '\n' ' '); }
  EVENGAP_CARD="$home/printers/missing.toml" sh -e "$1/service.sh" > /dev/null 2>&1 && return 1
  [ "$(there)" = "sliced/fine.gcode sliced/note.txt sliced/probes.gcode " ]
  EVENGAP_CARD="$home/printers/left/now.toml" sh -e "$1/service.sh" > /dev/null
  [ "$(there)" = "even/fine.gcode refused/probes.gcode sliced/note.txt " ]
  echo "the service takes a folder's files, puts aside what is refused, and touches nothing without a card"
}

for page in cli/WORKSHOP.md core/EMBEDDING.md; do
  place=$(place_of "$page")
  take_blocks "$page" "$place"
  blocks=$(grep -c '^echo "-- ' "$place/commands.sh" || true)
  if [ "$blocks" -lt 1 ]; then
    echo "$page has no commands" >&2
    exit 1
  fi
  (cd "$place" && bash -euo pipefail commands.sh)
  if [ -f "$place/evengap.service" ]; then try_units "$place"; fi
  if [ -f "$place/block.mjs" ]; then
    if [ -f wasm/pkg/package.json ] && command -v node >/dev/null; then
      mkdir -p "$place/node_modules"
      ln -s "$PWD/wasm/pkg" "$place/node_modules/evengap"
      rm -f "$place/part.even.gcode"
      (cd "$place" && node block.mjs)
      (cd "$place" && evengap rewrite part.gcode --card bed.toml -o - --quiet) | cmp - "$place/part.even.gcode"
    else
      echo "SKIPPED: the package is not built (bash tests/wasm.sh): the JavaScript of $page is not run" >&2
    fi
  fi
  echo "$page: $blocks blocks ran"
done

# The owner's tour: its commands in their order, at a bed that reads the same everywhere but for a hand's errors. Its card gets the screws of the example;
# --ask is answered; the patches are measured.
place=$(place_of README.md)
rm "$place/bed.toml"
awk '/^## Your own bed/ { inside = 1 } /^Steps 1 to 3/ { inside = 0 } inside && /^ +evengap / { sub(/^ +/, ""); print }' README.md > "$place/tour.txt"
awk 'BEGIN { for (n = 0; n < 80; n++) printf "%.2f\n", 0.1 + 0.01 * ((n * 7) % 4) }' > "$place/answers"
awk 'BEGIN { for (n = 1; n <= 25; n++) printf "%d,%.3f\n", n, 0.2 + 0.005 * ((n * 3) % 5 - 2) }' > "$place/thicknesses.csv"
count=0
while IFS= read -r command; do
  status=0
  (cd "$place" && echo "\$ $command" && bash -euo pipefail -c "$command" < answers > said.txt 2>&1) || status=$?
  # `check` says with its status what it found of the file as it was sliced.
  case "$status $command" in
    "0 "* | "1 evengap check part.gcode "*) ;;
    *) cat "$place/said.txt" >&2; exit 1 ;;
  esac
  count=$((count + 1))
  if [ "$count" = 1 ]; then sed -n '/^\[screws\]/,/^at/p' tests/example/bed.toml >> "$place/bed.toml"; fi
done < "$place/tour.txt"
[ "$count" -ge 19 ] || { echo "README.md: only $count commands of the tour" >&2; exit 1; }
echo "README.md: $count commands of the tour ran"

#!/usr/bin/env bash
# Counts the machine instructions of fixed pieces of work and holds them against tests/steps.txt: 5 % more fails, and so does what
# is missing there. bash tests/steps.sh --renew writes the counts down instead: after a change that is worth its price, or with
# another compiler (its name stands in the first line).
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
command -v valgrind >/dev/null || bring_package valgrind >/dev/null
kept=tests/steps.txt
built=$(cargo bench --locked --quiet --package evengap-tests --bench steps --no-run --message-format json |
  sed -n 's/.*"name":"steps".*"executable":"\([^"]*\)".*/\1/p' | tail -1)
count() {
  valgrind --tool=callgrind --callgrind-out-file=/dev/null --toggle-collect='steps::counted*' "$built" "$1" 2>&1 |
    sed -n 's/^==.*Collected : \([0-9]*\).*/\1/p'
}
here="$(rustc --version | cut -d' ' -f1,2) $(uname -m)"
if [ "${1:-}" = --renew ]; then
  {
    echo "# instructions; $here"
    for work in $("$built"); do echo "$work $(count "$work")"; done
  } > "$kept.new"
  mv "$kept.new" "$kept"
  cat "$kept"
  exit
fi
there=$(sed -n 's/^# instructions; //p' "$kept")
if [ "$(uname -m)" != "${there##* }" ]; then
  echo "SKIPPED: the counts are those of another kind of machine (${there##* })" >&2
  exit 0
fi
[ "$here" = "$there" ] || echo "counted with $there, and this is $here: if that is the reason, renew the counts" >&2
failed=0
for work in $("$built"); do
  was=$(awk -v work="$work" '$1 == work { print $2 }' "$kept")
  is=$(count "$work")
  if [ -z "$was" ] || [ -z "$is" ]; then
    echo "$work: not counted (${was:-no count in $kept}, ${is:-no count now})" >&2
    failed=1
    continue
  fi
  echo "$work: $is instructions, $(awk -v a="$is" -v b="$was" 'BEGIN { printf "%+.1f %%", 100 * (a / b - 1) }')"
  if [ $((is * 100)) -gt $((was * 105)) ]; then
    echo "$work takes over 5 % more instructions than the $was of $kept" >&2
    failed=1
  fi
done
exit "$failed"

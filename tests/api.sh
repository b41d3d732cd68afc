#!/usr/bin/env bash
# Compares the library's public interface with that of the commit in tests/api.txt: what would break who builds on it fails, unless the version says
# so. Needs cargo-semver-checks; without it, or where the commit is not in the history at hand, it is skipped aloud.
set -euo pipefail
. "$(dirname "$0")/setup.sh"
need_rust
base=$(sed -n 's/^\([0-9a-f]\{7,\}\).*/\1/p' tests/api.txt)
[ -n "$base" ]
if ! cargo semver-checks --version >/dev/null 2>&1; then
  echo "SKIPPED: cargo-semver-checks is not installed (cargo install cargo-semver-checks): the interface is not compared" >&2
elif ! git cat-file -e "$base^{commit}" 2>/dev/null; then
  echo "SKIPPED: the commit $base is not in this history: the interface is not compared" >&2
else
  cargo semver-checks check-release --package evengap --baseline-rev "$base"
fi

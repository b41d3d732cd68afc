#!/usr/bin/env bash
# Builds the page and serves it on this machine alone: bash web-demo/serve.sh [port]
set -euo pipefail
. "$(dirname "$0")/../tests/setup.sh"
need_rust
need_node
cargo run --locked --quiet --package evengap-wasm-build
need_modules web-demo
npm run --silent --prefix web-demo build
exec node web-demo/serve.mjs "$@"

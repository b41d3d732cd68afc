# Sourced by the scripts beside it: brings what a bare machine lacks. Nothing is done where it is there already.
# Needs bash and, to bring anything, a network; packages of the system need root or sudo.

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$root"

# A package of the system, for machines with apt.
bring_package() {
  local as_root=""
  [ "$(id -u)" = 0 ] || as_root=sudo
  if ! command -v apt-get >/dev/null || { [ -n "$as_root" ] && ! command -v sudo >/dev/null; }; then
    echo "please install: $*" >&2
    exit 1
  fi
  $as_root apt-get -q update
  DEBIAN_FRONTEND=noninteractive $as_root apt-get -q install -y --no-install-recommends "$@"
}

# A linker, and Rust with what rust-toolchain.toml asks for.
need_rust() {
  command -v cc >/dev/null || bring_package gcc libc6-dev
  [ -n "$(command -v cargo)" ] || [ ! -f "$HOME/.cargo/env" ] || . "$HOME/.cargo/env"
  if ! command -v cargo >/dev/null; then
    # Newer Debian releases have rustup as a package.
    (bring_package rustup) || {
      echo "Rust is missing: install rustup, the Rust project's installer, and run this again" >&2
      exit 1
    }
  fi
  # What rust-toolchain.toml asks for, where it is not there; parts that an older installation lacks are added.
  cargo --version 2>/dev/null || rustup toolchain install
  if command -v rustup >/dev/null; then
    local there
    there=$(rustup component list --installed)
    case "$there" in *clippy*rustfmt*) ;; *) rustup component add clippy rustfmt ;; esac
    case "$there" in *rust-std-wasm32-unknown-unknown*) ;; *) rustup target add wasm32-unknown-unknown ;; esac
  fi
}

# cargo-deny, which takes two minutes to build: only where a machine is to bring whatever there is to bring, as continuous integration does.
need_deny() {
  cargo deny --version >/dev/null 2>&1 && return
  [ -n "${BRING_TOOLS:-}" ] || return 0
  PATH=$root/target/tools/bin:$PATH
  command -v cargo-deny >/dev/null ||
    CARGO_PROFILE_DEV_DEBUG=0 CARGO_TARGET_DIR=$root/target/tools/build cargo install --quiet --locked --debug cargo-deny --root "$root/target/tools" ||
    echo "cargo-deny could not be built" >&2
}

# Node and npm, to load the JavaScript package and to install it as its users do.
need_node() {
  command -v node >/dev/null || bring_package nodejs
  command -v npm >/dev/null || bring_package npm
  echo "node $(node --version)"
  node -e 'process.exit(Number(process.versions.node.split(".")[0]) >= 20 ? 0 : 1)' || {
    echo "the tests of the JavaScript package need Node 20 or later" >&2
    exit 1
  }
}

# Chromium, for the tests in a browser; CHROMIUM names it afterwards.
need_chromium() {
  local name
  for name in chromium chromium-browser; do
    CHROMIUM=$(command -v "$name") && break
  done
  if [ -z "${CHROMIUM:-}" ]; then
    bring_package chromium
    CHROMIUM=$(command -v chromium)
  fi
  export CHROMIUM
}

# What the tests in a folder of JavaScript import, on the versions of its package-lock.json.
need_modules() {
  [ "$1/node_modules/.package-lock.json" -nt "$1/package-lock.json" ] || npm ci --prefix "$1" --no-audit --no-fund --loglevel=error
}

# Python with its module venv, and in the folder $1 an environment with the packages of $2; fails where they cannot be had.
need_python() {
  local can='import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))'
  python3 -c "$can" 2>/dev/null || { (bring_package python3 python3-venv) >/dev/null && python3 -c "$can" 2>/dev/null; } || return 1
  [ "$1/made" -nt "$2" ] && return
  rm -rf "$1"
  python3 -m venv "$1" &&
    "$1/bin/pip" install --quiet --disable-pip-version-check --only-binary=:all: --requirement "$2" && touch "$1/made"
}

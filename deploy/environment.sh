# Sourced by the other scripts: finds Python, makes the project's own environment in .venv.
# shellcheck shell=bash

say() { printf '\n== %s\n' "$*"; }

fail() {
  printf 'error: %s\n' "$*" >&2
  exit 2
}

# run a command as root, by sudo where needed
as_root() {
  if [ "$(id -u)" -eq 0 ]; then
    "$@"
  elif command -v sudo >/dev/null; then
    sudo "$@"
  else
    fail "this needs root: run as root once: $*"
  fi
}

install_debian() {
  command -v apt-get >/dev/null || fail "please install: $*"
  say "installing $* from Debian"
  as_root apt-get update -q
  as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "$@"
}

find_python() {
  local candidate
  for candidate in "${PYTHON:-}" python3 python3.14 python3.13 python3.12 python3.11; do
    if [ -n "$candidate" ] && command -v "$candidate" >/dev/null &&
      "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
      command -v "$candidate"
      return
    fi
  done
  return 1
}

# make_environment EXTRAS: .venv with the project and the named extras in it
make_environment() {
  local python
  python=$(find_python) || fail "Python 3.11 or newer is needed (Debian 12 has it: apt install python3)"
  if [ ! -x "$environment/bin/pip" ]; then
    say "making an environment in $environment"
    "$python" -m venv "$environment" 2>/dev/null || {
      rm -rf "$environment"
      install_debian python3-venv
      "$python" -m venv "$environment"
    }
  fi
  say "installing weirkeeper[$1]"
  "$environment/bin/pip" install --quiet --disable-pip-version-check --editable "$root[$1]"
}

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
environment=${WEIRKEEPER_ENVIRONMENT:-"$root/.venv"}

#!/usr/bin/env bash
# Install what the tests need, and run every check. Arguments go to pytest.
set -euo pipefail
# shellcheck source=deploy/environment.sh
. "$(dirname "${BASH_SOURCE[0]}")/environment.sh"
cd "$root"
# Debian installs Mosquitto into /usr/sbin, which is not on every user's path
export PATH="$PATH:/usr/sbin"
command -v mosquitto >/dev/null || install_debian mosquitto
command -v openssl >/dev/null || install_debian openssl
make_environment dev
export PATH="$environment/bin:$PATH"
say "ruff"
ruff format --check .
ruff check .
say "mypy"
mypy
say "pytest"
pytest "$@"

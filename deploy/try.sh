#!/usr/bin/env bash
# Watch a bad night on the demo site: no hardware, no broker, no account.
#
#   deploy/try.sh                       a snail blocks the main drain of the classroom reef
#   deploy/try.sh --broker HOST:PORT    the same, with alerts through a broker of yours
#   deploy/try.sh all-drains-blocked    another night; see: .venv/bin/weirkeeper drill --list
set -euo pipefail
# shellcheck source=deploy/environment.sh
. "$(dirname "${BASH_SOURCE[0]}")/environment.sh"
make_environment try
exec "$environment/bin/weirkeeper" run --simulate --live "$@"

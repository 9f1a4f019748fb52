#!/bin/sh
# Sets up what the tests need, then checks style, types and behaviour; arguments go to pytest.
set -eu
cd "$(dirname "$0")/.."
sh fixtures/setup.sh test
bin="$PWD/.venv/bin"
"$bin/ruff" format --check --quiet .
"$bin/ruff" check --quiet .
"$bin/mypy"
# The suite runs with the network cut off but for loopback, which proves that the product never needs one; in a mount
# namespace of its own it may fill and write-protect small disks.
if unshare --map-root-user --net --mount true 2>/dev/null; then
  run() { unshare --map-root-user --net --mount sh -c 'ip link set lo up && exec "$@"' sh "$bin/python" -m pytest "$@"; }
else
  printf '%s\n' "This system does not let us cut the network off for the tests; running them with it." >&2
  run() { "$bin/python" -m pytest "$@"; }
fi
if [ "$#" -gt 0 ]; then
  run "$@"
  exit
fi
# One process for each core; a file stays in one of them, since its tests share a server or a model. A browser that is
# spoken to in real time gets the machine for itself.
run --numprocesses logical --dist loadfile --ignore tests/e2e
run tests/e2e

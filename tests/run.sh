#!/bin/sh
# Sets up what the tests need and runs every check: `sh tests/run.sh`.
#
# Makes a virtual environment in .venv, installs the Debian packages for the simulator, the browser and the broker
# where it may (root and apt-get), and says which tests it leaves out where it may not. With SO2BENCH_ALL=1 nothing
# may be left out: a missing tool is a failure.
set -eu
cd "$(dirname "$0")/.."

PACKAGES="gcc-avr avr-libc libsimavr2 libsimavr-dev libelf-dev gcc libc6-dev make chromium fonts-dejavu-core mosquitto mosquitto-clients"

missing() {
    for name in $PACKAGES; do
        dpkg-query -W -f '${Status}' "$name" 2>/dev/null | grep -q 'ok installed' || printf '%s ' "$name"
    done
}

if command -v dpkg-query >/dev/null 2>&1 && [ -n "$(missing)" ]; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        echo "installing: $(missing)"
        apt-get update -qq
        # shellcheck disable=SC2046
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $(missing) >/dev/null
    else
        echo "not installed, and only root may install them: $(missing)"
    fi
fi

python=${PYTHON:-python3}
[ -x .venv/bin/python ] || "$python" -m venv .venv
.venv/bin/python -m pip install -q --disable-pip-version-check -c tests/constraints.txt -e '.[test]'

left_out=""
command -v avr-gcc >/dev/null 2>&1 && [ -e /usr/include/simavr/sim_avr.h ] || left_out="$left_out firmware"
command -v chromium >/dev/null 2>&1 || left_out="$left_out browser"
command -v mosquitto >/dev/null 2>&1 || [ -x /usr/sbin/mosquitto ] || left_out="$left_out broker"
select=""
for mark in $left_out; do
    case $mark in
        firmware) why="the AVR tools or the simulator library are not installed (gcc-avr avr-libc libsimavr-dev)" ;;
        browser) why="Chromium is not installed (chromium)" ;;
        *) why="Mosquitto is not installed (mosquitto mosquitto-clients)" ;;
    esac
    echo "LEFT OUT: the tests marked '$mark': $why"
    select="${select:+$select and }not $mark"
done
if [ -n "$left_out" ] && [ "${SO2BENCH_ALL:-0}" = 1 ]; then
    echo "nothing may be left out here"
    exit 1
fi

.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
.venv/bin/lint-imports
PATH="$PATH:/usr/sbin" .venv/bin/python -m pytest -q -n auto --dist loadgroup ${select:+-m "$select"} "$@"

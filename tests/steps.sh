# Sourced by tests/check.sh and tests/nightly.sh, which define step_<name> and the list `steps`: runs
# the steps, named and timed; the first failure stops. Steps joined by "+" run side by side.
scratch=$(mktemp -d)

report=""
at_exit() {
    local status=$?
    rm -rf "$scratch"
    printf '\nseconds by step\n%b' "$report"
    if ((status)); then echo "FAILED: $step"; else echo "all steps passed: $SECONDS s"; fi
}
trap at_exit EXIT
together() { # outputs one after the other, in the order of the names
    local one running=() status=0
    for one in "$@"; do
        "step_$one" >"$scratch/log-$one" 2>&1 &
        running+=($!)
    done
    for one in "$@"; do
        wait "${running[0]}" || status=$?
        running=("${running[@]:1}")
        cat "$scratch/log-$one"
    done
    return "$status"
}

for step in "${steps[@]}"; do
    begin=$SECONDS
    echo "== $step"
    # no "||" here: it would switch set -e off inside the step
    IFS=+ read -ra names <<<"$step"
    if ((${#names[@]} == 1)); then "step_$step"; else together "${names[@]}"; fi
    report+="$(printf '%6d  %s' $((SECONDS - begin)) "$step")\n"
done

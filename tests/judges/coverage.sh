#!/bin/sh
# coverage.sh PROGRAM [TOUCHES]: 95 % intervals against the truth, for each recipe tests/judges/coverage*.json; seeds are fixed, so a failure is no chance.
# The last line is "N passed, N failed, N skipped": one per parameter.
program=${1:-build/release/coverage}; touches=${2:-1000}; here=tests/judges; passed=0; failed=0
for recipe in $here/coverage*.json; do
        case $recipe in *.scenario.json) continue ;; esac
        echo "$recipe"
        out=$("$program" "$recipe" "${recipe%.json}.scenario.json" "$touches" 1); rc=$?
        echo "$out"
        set -- $(echo "$out" | grep -oE '^[0-9]+ passed, [0-9]+ failed' | tail -n 1 | tr -dc '0-9 ')
        if [ $# -ne 2 ]; then set -- 0 1; fi
        if [ "$rc" -ne 0 ] && [ "$2" -eq 0 ]; then set -- "$1" 1; fi
        passed=$((passed + $1)); failed=$((failed + $2))
done
echo "$passed passed, $failed failed, 0 skipped"
[ "$failed" -eq 0 ]

#!/bin/sh
# floors.sh BUILD FIRST COUNT: synthetic data with truth in extended precision, other seeds than those of make test: every method within four
# times the rounding floor, and the known weak spots of line, match and thru methods.  A failure prints the command that repeats it.
B=$1; first=$2; count=$3; passed=0; failed=0
out=$(mktemp) || exit 1
trap 'rm -f "$out"' EXIT
seed=$first
while [ "$seed" -lt $((first + count)) ]; do
        for t in rf_floor rf_option_floor rf_full_floor rf_weak_spots rf_handover rf_trl_columns rf_exact rf_properties; do
                if TIPPLANE_SEED=$seed "$B/tests/unit/$t" >"$out" 2>&1; then passed=$((passed + 1)); else
                        failed=$((failed + 1))
                        echo "repeat: TIPPLANE_SEED=$seed $B/tests/unit/$t"
                        grep -hE 'times the rounding floor|^ERROR|misses by|Failure' "$out" | head -n 3
                fi
        done
        seed=$((seed + 1))
done
echo "floors: seeds $first to $((seed - 1))"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]

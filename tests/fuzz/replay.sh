#!/bin/sh
# replay.sh BUILD [ITERATIONS [SEED]]: each reader over its corpus and ITERATIONS mutations of it (2000: the short one of make test).
B=$1; n=${2:-2000}; seed=${3:-1}; passed=0; failed=0; out=$(mktemp) || exit 1
for reader in touchstone csv stdf recipe station frame entry calibration terms uncertainty plan replay memory scenario stored request; do
        "$B/fuzz_$reader" "tests/fuzz/corpus/$reader" "$n" "$seed" >"$out" 2>&1; rc=$?
        set -- $(grep -aoE '^[0-9]+ passed, [0-9]+ failed' "$out" | tail -n 1 | tr -dc '0-9 \n')
        if [ "$rc" -eq 0 ]; then grep -a mutations "$out"; else cat "$out"; fi
        passed=$((passed + ${1:-0})); f=${2:-1}; if [ "$rc" -ne 0 ] && [ "$f" -eq 0 ]; then f=1; fi; failed=$((failed + f))
done
rm -f "$out"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]

#!/bin/sh
# Runs cmocka programs one after the other and counts their tests: the last line is "N passed, N failed, N skipped".
passed=0; failed=0; skipped=0; bad=""
for t in "$@"; do
        out=$(mktemp); "$t" >"$out" 2>&1; rc=$?
        p=$(grep -c '^\[       OK \]' "$out"); f=$(grep '^\[  FAILED  \] [A-Za-z0-9_]*$' "$out" | sort -u | wc -l); s=$(grep '^\[  SKIPPED \] [A-Za-z0-9_]*$' "$out" | sort -u | wc -l)
        if [ "$rc" -ne 0 ]; then [ "$f" -gt 0 ] || f=1; bad="$bad $t"; cat "$out"; fi
        [ "$s" -gt 0 ] && grep -h '^skipped: ' "$out"
        passed=$((passed + p)); failed=$((failed + f)); skipped=$((skipped + s)); rm -f "$out"
done
[ -z "$bad" ] || echo "failed programs:$bad"
echo "$passed passed, $failed failed, $skipped skipped"
[ "$failed" -eq 0 ]

#!/bin/sh
# guided.sh BUILD SECONDS [READER…]: each reader of a build of VARIANT=guided under libFuzzer, from its corpus; what reaches new code stays in BUILD/fuzz/READER.
# A failure leaves its input beside it as READER.crash-…; the last line is "N passed, N failed".
B=$1; seconds=$2; shift 2; passed=0; failed=0
[ $# -gt 0 ] || set -- $(sed -n 's/^for reader in \(.*\); do$/\1/p' "$(dirname "$0")/replay.sh")
for reader in "$@"; do
        found=$B/fuzz/$reader; mkdir -p "$found"
        if "$B/fuzz_$reader" -max_total_time="$seconds" -timeout=20 -rss_limit_mb=4096 -max_len=65536 -print_final_stats=1 -artifact_prefix="$found." \
                "$found" "tests/fuzz/corpus/$reader" >"$found.log" 2>&1; then passed=$((passed + 1)); else failed=$((failed + 1)); tail -n 30 "$found.log"; fi
        echo "$reader: $(grep -aoE 'cov: [0-9]+ ft: [0-9]+' "$found.log" | tail -n 1), $(sed -n 's/^stat::number_of_executed_units: *//p' "$found.log") inputs"
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]

#!/bin/sh
# all.sh BUILD SEEDS: every test that needs Debian and npm packages only, in three lanes side by side: what keeps a processor busy, and what mostly waits.
# Each step's last line is "N passed, N failed" (", N skipped"); the last line here is their sum.  Logs stay in BUILD/test-logs.
B=$1; seeds=$2; logs=$B/test-logs; mkdir -p "$logs"; rm -f "$logs"/*.count
step() { # NAME COMMAND…
        name=$1; shift; log=$logs/$name.log; begin=$(date +%s)
        "$@" >"$log" 2>&1; rc=$?
        set -- $(grep -aoE '^[0-9]+ passed, [0-9]+ failed(, [0-9]+ skipped)?' "$log" | tail -n 1 | tr -dc '0-9 \n')
        p=${1:-0}; f=${2:-0}; s=${3:-0}
        if [ $# -lt 2 ]; then f=1; fi                                 # a step without a count has failed
        if [ "$rc" -ne 0 ] && [ "$f" -eq 0 ]; then f=1; fi
        echo "$p $f $s $name" >"$logs/$name.count"
        { printf '%-18s %5d passed %4d failed %4d skipped  %4d s\n' "$name" "$p" "$f" "$s" $(($(date +%s) - begin))
          grep -ah '^skipped: ' "$log" | sort | uniq -c | sed 's/^ */  /'
          if [ "$f" -ne 0 ]; then tail -n 40 "$log"; fi; } >"$logs/$name.told"
        cat "$logs/$name.told" # in one piece: the other lane speaks too
}
busy() {
        step c-tests sh tests/run_c.sh $CTESTS
        step truth-judge sh tests/judges/truth_judge.sh "$B/truth-judge"
        step coverage sh tests/judges/coverage.sh "$B/coverage" 250 # make coverage does 1000
        step nights sh tests/nights/nights.sh "$B/nights" "$seeds"
        step demo-numbers sh tests/station/demo_numbers.sh --build "$B" --short
        step fuzz-corpus sh tests/fuzz/replay.sh "$B"
}
scripts() { # all but the longest and those that others use
        step two-processes python3 tests/station/two_processes.py "$B/tipplane-station"
        for t in tests/station/*.py; do
                case $t in */cli.py | */programs.py | */offline_kit.py | */two_processes.py) continue ;; esac
                step $(basename $t .py) python3 $t --build "$B"
        done
        step truth-sealed sh tests/station/truth_sealed.sh --build "$B"
}
people() {
        step cli python3 tests/station/cli.py --build "$B"
        step api sh tests/api/run.sh "$B"
        step browser sh tests/browser/run.sh "$B"
}
busy & scripts & people; wait
bad=$(awk '$2 { printf " %s", $4 }' "$logs"/*.count)
[ -z "$bad" ] || echo "failed:$bad  (logs in $logs)"
awk '{ p += $1; f += $2; s += $3 } END { printf "%d passed, %d failed, %d skipped\n", p, f, s; exit f > 0 }' "$logs"/*.count

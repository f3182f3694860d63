#!/bin/sh
# judges.sh BUILD: what others' programs say about ours: scikit-rf about the numbers, pystdf about STDF, openapi-spec-validator and schemathesis about the interface.
# They live in build/venv, pinned by requirements.txt.  Each step's last line is "N passed, N failed, N skipped"; the last line here is their sum.
B=${1:-build/debug}; venv=build/venv; logs=$B/judge-logs; mkdir -p "$logs"
passed=0; failed=0; skipped=0
if ! cmp -s tests/judges/requirements.txt $venv/requirements.txt; then
        if ! { python3 -m venv $venv && $venv/bin/pip install -q --disable-pip-version-check -r tests/judges/requirements.txt && cp tests/judges/requirements.txt $venv/; } >"$logs/venv.log" 2>&1; then
                tail -n 5 "$logs/venv.log"; echo "judges: $venv could not be made; the packages come from PyPI"; echo "0 passed, 1 failed, 0 skipped"; exit 1
        fi
fi
step() { # NAME COMMAND…
        name=$1; shift; log=$logs/$name.log
        "$@" >"$log" 2>&1; rc=$?
        set -- $(grep -aoE '^[0-9]+ passed, [0-9]+ failed(, [0-9]+ skipped)?' "$log" | tail -n 1 | tr -dc '0-9 \n')
        p=${1:-0}; f=${2:-0}; s=${3:-0}
        if [ $# -lt 2 ]; then f=1; fi # a judge without a verdict has failed
        if [ "$rc" -ne 0 ] && [ "$f" -eq 0 ]; then f=1; fi
        printf '%-12s %5d passed %4d failed %4d skipped\n' "$name" "$p" "$f" "$s"
        if [ "$f" -ne 0 ]; then tail -n 60 "$log"; fi
        grep -ah '^skipped: ' "$log" | sed 's/^/  /'
        passed=$((passed + p)); failed=$((failed + f)); skipped=$((skipped + s))
}
step scikit-rf $venv/bin/python tests/judges/judge_rf.py "$B/rf_judge"
step offline $venv/bin/python tests/judges/judge_offline.py "$B"
step weak-spots $venv/bin/python tests/judges/judge_weak.py "$B"
step uncertainty python3 tests/station/offline_uncertainty.py --build "$B" --draws 600 # make test does 120
[ -f tests/judges/skrf_s2p.py ] && step s2p $venv/bin/python tests/judges/skrf_s2p.py "$B"
step stdf $venv/bin/python tests/judges/judge_stdf.py "$B"
step ngspice $venv/bin/python tests/judges/ngspice_models.py "$B/fit_judge"
step fits $venv/bin/python tests/judges/judge_fit.py "$B/fit_judge"
step interface $venv/bin/python tests/judges/judge_api.py "$B"
echo "$passed passed, $failed failed, $skipped skipped"
[ "$failed" -eq 0 ]

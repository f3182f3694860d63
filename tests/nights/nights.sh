#!/bin/sh
# nights.sh NIGHTS SEEDS [RECIPE SCENARIO]: the mixed campaign (each seed twice, equal digests), one short campaign per kind of fault, and the control that must fail.
# Two halves side by side.  The last line is "N passed, N failed".
nights=$1; seeds=$2; recipe=${3:-tests/nights/tiny.json}; scenario=${4:-tests/nights/tiny.scenario.json}
dir=$(mktemp -d); half=$((seeds / 2)); few=$((seeds / 50)); [ "$few" -ge 2 ] || few=2
passed=0; failed=0
count() { # FILE WORD
        n=$(tail -n 1 "$1" | sed -n 's/^\([0-9]*\) passed, \([0-9]*\) failed$/\1 \2/p')
        if [ -z "$n" ]; then echo "$2: no result"; tail -n 5 "$1"; failed=$((failed + 1)); return; fi
        passed=$((passed + ${n% *})); failed=$((failed + ${n#* }))
        if [ "${n#* }" -ne 0 ]; then grep -E '^seed|repeat' "$1" | head -n 6; fi
        grep '^nights' "$1"
}
"$nights" --first 1 --seeds "$half" --twice "$recipe" "$scenario" >"$dir/a" 2>"$dir/a.err" & a=$!
"$nights" --first $((half + 1)) --seeds $((seeds - half)) --twice "$recipe" "$scenario" >"$dir/b" 2>"$dir/b.err" & b=$!
wait $a; wait $b
count "$dir/a" mixed; count "$dir/b" mixed
classes() { for class in "$@"; do "$nights" --first 1000001 --seeds "$few" --only "$class" "$recipe" "$scenario" >"$dir/$class" 2>"$dir/$class.err"; done; }
classes daemon station power net fails hangs & a=$!
classes full commands safes contacts instruments drift entries & b=$!
wait $a; wait $b
for class in daemon station power net fails hangs full commands safes contacts instruments drift entries; do count "$dir/$class" $class; done
# A rescue that the mandate does not grant is offered once, whatever dies around its note: the same night cut off in each of its last syncs.
sed 's/"remeasure_suspects": true/"remeasure_suspects": false/; s/"rescue_suspects": true/"rescue_suspects": false/' "$recipe" >"$dir/offer.json"
sed '1s/{/{"faults": [{"what": "drift_step", "port": 2, "fs": 70, "db": 0, "at_count": 20}],/' "$scenario" >"$dir/offer.scenario.json"
"$nights" --first 1 --seeds 30 --only none --last "$dir/offer.json" "$dir/offer.scenario.json" >"$dir/offered" 2>"$dir/offered.err"
count "$dir/offered" offered
offers=$(sed -n 's/.*saw it; \([0-9]*\) rescues offered.*/\1/p' "$dir/offered")
[ "${offers:-0}" -ge 20 ] || { echo "offered: ${offers:-0} of 30 nights offered a rescue, 20 at least were looked for"; failed=$((failed + 1)); }
# The control: a disk whose sync lies must lose data under power cuts; if it does not, the campaign could not see a loss.
if "$nights" --first 1 --seeds 8 --control lies "$recipe" "$scenario" >"$dir/lies" 2>/dev/null; then
        echo "control 'lies' lost nothing: the campaign cannot see what it looks for"; failed=$((failed + 1))
else
        echo "control 'lies': $(tail -n 1 "$dir/lies"), as it must"; passed=$((passed + 1))
fi
rm -rf "$dir"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]

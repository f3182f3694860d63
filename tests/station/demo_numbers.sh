#!/bin/sh
# The demo's numbers against the simulator's sealed truth, by a judge of its own.
# demo_numbers.sh [--build DIR] [--short]
#   always    the demo's own seed; forty injected bad touches; one drift step; a step and a room that cools, with suspects rescued
#   default   also the pooled coverage of 20 seeds of the demo
# A number out of range ends with status 1 and the command that repeats it.
build=build/debug; short=no
while [ $# -gt 0 ]; do case $1 in
        --build) build=$2; shift 2 ;;
        --short) short=yes; shift ;;
        *) echo "usage: demo_numbers.sh [--build DIR] [--short]"; exit 2 ;;
esac; done
demo=$(dirname "$0")/../../simulators/demo; dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
# the demo with another mandate: suspects are not measured again but rescued
sed 's/"remeasure_suspects": true/"remeasure_suspects": false, "rescue_suspects": true/' "$demo/recipe.json" >"$dir/rescue.json"
night() { # NAME FIRST SEEDS SCENARIO [RECIPE]: exports into $dir/NAME, judges each
        mkdir -p "$dir/$1"
        if ! "$build/nights" --first "$2" --seeds "$3" --only none --export "$dir/$1" "${5:-$demo/recipe.json}" "$demo/$4" >"$dir/$1/log" 2>"$dir/$1/err"; then
                echo "FAILED: $1: a night failed"; cat "$dir/$1/log"; tail -n 5 "$dir/$1/err"; echo failed >>"$dir/nights_failed"
        fi
        for run in "$dir/$1"/*.run; do
                seed=$(basename "$run" .run)
                "$build/truth-judge" "$dir/$1/$seed.truth.json" "$run" --json >"$dir/$1/$seed.json" || echo "judge of $1 $seed" >>"$dir/nights_failed"
                [ -z "$5" ] || for trust in rescued suspect; do
                        "$build/truth-judge" "$dir/$1/$seed.truth.json" "$run" --trust $trust --json >"$dir/$1.$trust.json" || echo "judge of $1 $trust" >>"$dir/nights_failed"
                done
                rm -f "$run" "$dir/$1/$seed.truth.json"
        done
}
night own 7 1 scenario.json
night contacts 7 1 contacts.scenario.json
night drift 7 1 drift.scenario.json
night step 7 1 drift.scenario.json "$dir/rescue.json"
night room 7 1 room.scenario.json "$dir/rescue.json"
[ "$short" = yes ] || night pooled 1 20 scenario.json
python3 - "$dir" "$build" <<'PY'
import glob, json, os, sys
folder, build = sys.argv[1:]
passed = failed = 0

def check(true, text, scenario="scenario.json", seed=7):
    global passed, failed
    passed, failed = passed + bool(true), failed + (not true)
    print(("ok: " if true else "FAILED: ") + text)
    if not true:
        print("  repeat: %s/nights --first %s --seeds 1 --only none --export DIR simulators/demo/recipe.json simulators/demo/%s; %s/truth-judge DIR/%s.truth.json DIR/%s.run" % (
            build, seed, scenario, build, seed, seed))

def verdicts(name):
    return {int(os.path.basename(f)[:-5]): json.load(open(f)) for f in sorted(glob.glob(os.path.join(folder, name, "*.json"))) if "truth" not in f}

failed += os.path.exists(os.path.join(folder, "nights_failed"))
own = verdicts("own").get(7)
check(own and own["proven"] > 500 and own["share_within"] >= 0.93 and own["beyond_3_u95"] == 0 and own["unknown"] == 0 and own["crashes"] == 0,
      "the demo's own seed: %(within_u95)d of %(proven)d proven parameters within their stated 95 %% uncertainty, %(beyond_3_u95)d beyond three times it" % own if own else "the demo's own seed ran")
check(own and own["contacts"]["false_alarms"] <= 0.01 * own["contacts"]["sound"], "the demo's own seed: %(false_alarms)d false alarms among %(sound)d sound touches" % own["contacts"] if own else "")
v = verdicts("contacts").get(7)
check(v, "the night with forty bad touches ran", "contacts.scenario.json")
if v:
    c = v["contacts"]
    check(c["lost_ground"] == 20 and c["lost_ground_found"] >= 19, "lost ground: %(lost_ground_found)d of %(lost_ground)d graded absent or doubtful" % c, "contacts.scenario.json")
    check(c["open_contact"] == 20 and c["open_contact_found"] >= 19, "open contact: %(open_contact_found)d of %(open_contact)d graded absent or doubtful" % c, "contacts.scenario.json")
    check(c["missed_and_trusted"] == 0, "none of the rest is trusted: %(missed_and_trusted)d" % c, "contacts.scenario.json")
    check(c["false_alarms"] <= 0.01 * c["sound"], "false alarms: %(false_alarms)d of %(sound)d sound touches" % c, "contacts.scenario.json")
    check(v["share_within"] >= 0.93 and v["beyond_3_u95"] == 0, "with them %(within_u95)d of %(proven)d within, %(beyond_3_u95)d beyond three times" % v, "contacts.scenario.json")
v = verdicts("drift").get(7)
d = (v or {}).get("drift_step")
check(d and d["in_interval"] > 0 and d["not_suspect"] == 0 and d["suspect_elsewhere"] == 0,
      "drift step after touch %(after_touch)d: all %(in_interval)d touches of its interval are suspect, %(suspect_elsewhere)d elsewhere" % d if d else "the drift step took effect", "drift.scenario.json")
check(v and v["share_within"] >= 0.93 and v["beyond_3_u95"] == 0, "after it: %(within_u95)d of %(proven)d within, %(beyond_3_u95)d beyond three times" % v if v else "", "drift.scenario.json")
for name, what in (("step", "one drift step"), ("room", "a room that cools")):
    r, was = (json.load(open(os.path.join(folder, "%s.%s.json" % (name, trust)))) for trust in ("rescued", "suspect"))
    check(r["rescued"] > 100 and r["within_u95"] >= 0.93 * r["rescued"] and r["beyond_3_u95"] == 0 and r["worst"][0]["ratio"] < was["worst"][0]["ratio"],
          "%s: %d of %d rescued parameters within their stated 95 %% uncertainty, the furthest %.2f times it (%.2f as suspects)" % (
              what, r["within_u95"], r["rescued"], r["worst"][0]["ratio"], was["worst"][0]["ratio"]), "drift.scenario.json" if name == "step" else "room.scenario.json")
    own = verdicts(name).get(7)
    check(own and own["proven"] > 400 and own["share_within"] >= 0.93, "%s: beside them %d proven parameters, %.1f %% within" % (what, own["proven"], 100 * own["share_within"]) if own else "")
pool = verdicts("pooled")
if pool:
    n, within, far = (sum(v[k] for v in pool.values()) for k in ("proven", "within_u95", "beyond_3_u95"))
    lowest = min(pool, key=lambda s: pool[s]["share_within"])
    check(len(pool) == 20 and 0.93 <= within / n <= 0.98, "20 seeds: %d of %d proven parameters within their stated 95 %% uncertainty: %.2f %% (93 to 98; lowest seed %d: %.2f %%)" % (
        within, n, 100 * within / n, lowest, 100 * pool[lowest]["share_within"]), seed=lowest)
    worst = max(pool, key=lambda s: pool[s]["worst"][0]["ratio"] if pool[s]["worst"] else 0)
    w = pool[worst]["worst"][0]
    check(far == 0, "20 seeds: none beyond three times; the furthest %.2f times (seed %d, die %d,%d %s %s)" % (w["ratio"], worst, w["die_x"], w["die_y"], w["device"], w["parameter"]), seed=worst)
    alarms, sound = sum(v["contacts"]["false_alarms"] for v in pool.values()), sum(v["contacts"]["sound"] for v in pool.values())
    check(alarms <= 0.01 * sound, "20 seeds: %d false alarms among %d sound touches" % (alarms, sound))
    groups = {}
    for v in pool.values():
        for g in v["parameters"]:
            groups.setdefault(g["name"], []).append(g["worst"])
    print("worst |error|/u95 over 20 seeds: " + ", ".join("%s %.2f" % (k, max(x)) for k, x in sorted(groups.items())))
print("%d passed, %d failed, 0 skipped" % (passed, failed))
sys.exit(1 if failed else 0)
PY

#!/usr/bin/env python3
"""Bipolar transistors in one night: base driven by a held current after the collector, off before it; leads by base currents with the collector open; elements
against the sealed truth; and the same sweeps, exported, through the offline commands.  All elements are invented.
bipolar.py [--build DIR] [--keep DIR]
"""
import argparse, csv, json, os, sqlite3, subprocess, sys, tempfile
import cli

parser = argparse.ArgumentParser()
parser.add_argument("--build", default="build/debug")
parser.add_argument("--keep", help="leave the night's files here")
args = parser.parse_args()
build = os.path.abspath(args.build)
demo = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "simulators", "demo")
passed = failed = 0


def check(true, text):
    global passed, failed
    passed, failed = passed + bool(true), failed + (not true)
    print(("ok: " if true else "FAILED: ") + text)


recipe, world = (json.load(open(os.path.join(demo, name))) for name in ("recipe.json", "scenario.json"))
coil = next(d for d in recipe["layout"]["devices"] if d["name"] == "L1")
NAMES = ("B1", "B2", "B3", "B4")
for k, name in enumerate(NAMES):
    recipe["layout"]["devices"].append(dict(coil, name=name, kind="transistor", x_um=1000, y_um=-1000 * (k + 1)))
base = lambda ampere, limit_v=1.2: {"ampere": ampere, "limit_v": limit_v, "channel": 1}
asked = lambda word, ghz: {"name": "%s_%gGHz" % (word, ghz), "quantity": word, "freq_hz": ghz * 1e9}
DRIVES = (2e-3, 3e-3, 5e-3, 8e-3)
ON_A = 1e-4
LEADS = {"r_in": None, "r_out": "rd_ohm", "r_common": "rs_ohm", "l_in": "l_h", "l_out": "ld_h", "l_common": "ls_h"}
on = {"name": "on", "volt": 1.5, "channel": 0, "limit_a": 0.03, "settle_s": 0.1, "base": base(ON_A)}
states = [{"name": "cold_%gmA" % (1e3 * a), "channel": 0, "open_v": 1, "settle_s": 0.1, "base": base(a)} for a in DRIVES]
leads = {"cold": [{"condition": c["name"], "drive": a} for c, a in zip(states, DRIVES)], "cold_as": "open_collector", "drive_u": 1e-7, "from_hz": 2e9, "below_hz": 30e9}
measure = {"sweep": "wide", "contact": {"family": "blocks_dc", "drift_limit": 0.05}}
pads = {"deembed": "open_short", "open": "OPEN", "short": "SHORT"}
INSIDE = ("hbt_gm", "hbt_tau", "R_pi", "C_pi", "C_mu", "hbt_beta")
recipe["max_volt"] = 10
recipe["measures"] = [m for m in recipe["measures"] if m["device"] in ("OPEN", "SHORT")] + [
    dict(measure, **pads, device="B1", conditions=[on] + states, extrinsic=leads,
         parameters=[asked(word, 5) for word in INSIDE] + [{"name": w, "quantity": w} for w in ("fT", "fmax")] + [{"name": word, "quantity": word} for word in LEADS]),
    dict(measure, **pads, device="B2", conditions=[on], parameters=[asked("hbt_gm", 5)]),
    dict(measure, **pads, device="B3", conditions=[dict(on, base=base(ON_A, 0.9))], parameters=[asked("hbt_gm", 5)]),
    dict(measure, device="B4", conditions=[on] + states + [{"name": "off"}], extrinsic=dict(leads, off="off", off_as="pi"), parameters=[{"name": "r_common", "quantity": "r_common"}])]
world["bias"] = dict(world.get("bias", {}), first_port=2)
bipolar = {"beta": 120, "beta_r": 2, "is_a": 1e-18, "tf_s": 6e-13, "tr_s": 8e-12, "early_v": 40, "c_f": 4e-14, "cp_f": 9e-15, "csub_f": 1.4e-14, "tau_s": 2e-13, "r_ohm": 7,
           "ri_ohm": 6, "l_h": 2e-11, "rd_ohm": 5, "ld_h": 1.5e-11, "rs_ohm": 2, "ls_h": 3e-12}
world["devices"] += [dict(bipolar, device=name) for name in NAMES]


def night(folder, recipe, world, seed="7"):
    for name, what in (("recipe.json", recipe), ("scenario.json", dict(world, recipe="recipe.json"))):
        json.dump(what, open(os.path.join(folder, name), "w"))
    return subprocess.run([os.path.join(build, "nights"), "--first", seed, "--seeds", "1", "--only", "none", "--export", folder, os.path.join(folder, "recipe.json"),
                           os.path.join(folder, "scenario.json")], capture_output=True, text=True)


def run_in(folder):
    done = night(folder, recipe, world)
    check(done.returncode == 0, "the night with bipolars ran" if done.returncode == 0 else done.stdout[-300:] + done.stderr[-1500:])
    db = sqlite3.connect("file:%s?mode=ro" % os.path.join(folder, "7.run"), uri=True)
    steps = [json.loads(body) for (body,) in db.execute("SELECT body FROM journal WHERE phase='intend' AND kind='bias_on'")]
    check(steps and all(s["gate_by_current"] and s["gate_volt"] in (0.9, 1.2) and s["gate_channel"] == 1 and s.get("channel", 0) == 0 for s in steps),
          "%d times bias on, each base with its limit, above its collector's channel" % len(steps))
    truth = {(d["die_x"], d["die_y"], d["device"]): d for d in json.load(open(os.path.join(folder, "7.truth.json")))["devices"]}
    rows = db.execute("SELECT die_x, die_y, device, quantity, value, u95 FROM v_parameter WHERE trust='proven' AND condition=0 AND value IS NOT NULL").fetchall()
    of = lambda device, word: [(truth[x, y, d], v, u) for x, y, d, q, v, u in rows if d == device and q in (word, word + "_5GHz")]
    all_of = {}
    for word, member in LEADS.items():
        true = lambda d: d["r_ohm"] + d["ri_ohm"] if member is None else d[member]
        all_of[word] = [(v - true(d)) / u for d, v, u in of("B1", word) if d["defect"] == "none"]
    each = [abs(r) for rs in all_of.values() for r in rs]
    check(min(map(len, all_of.values())) > 40 and sum(r <= 1 for r in each) >= 0.93 * len(each) and max(each) <= 3,
          "RB, RC, RE, LB, LC, LE: %d of %d within u95, worst %.2f; %s" % (sum(r <= 1 for r in each), len(each), max(each or [0]),
          {w: "%.2f..%.2f" % (min(r or [0]), max(r or [0])) for w, r in all_of.items()}))
    for word in list(LEADS) + list(INSIDE) + ["fT", "fmax"]:
        got = of("B1", word)
        if got:
            print("    %-9s %d dies, mean %.5g, u95 %.2g" % (word, len(got), sum(v for _, v, _ in got) / len(got), sum(u for _, _, u in got) / len(got)))
    # gm by the junction: beta times the base current over 25.693 mV; beta is the die's own, the current is off by 0.1 uA at most
    gm = [abs(v - d["beta"] * ON_A / 0.025693) / (u + d["beta"] * 1e-7 / 0.025693) for d, v, u in of("B1", "hbt_gm") if d["defect"] == "none"]
    check(len(gm) > 40 and sum(r <= 1 for r in gm) >= 0.93 * len(gm), "gm is I_C over k T/q: %d of %d" % (sum(r <= 1 for r in gm), len(gm)))
    control = [abs(v - d["beta"] * ON_A / 0.025693) / u for d, v, u in of("B2", "hbt_gm")]
    check(len(control) > 40 and min(control) > 10, "control: with the leads left on, gm lies %.3g u95 and more beside" % min(control or [0]))
    check(not of("B3", "hbt_gm"), "a base that stands at its limit of 0.9 V has no number")
    why = [json.loads(b).get("reason", "") for (b,) in db.execute("SELECT body FROM journal WHERE phase='outcome' AND kind='bias_on'")]
    check(sum("limit 0.900 V" in w for w in why) == 60, "and the supply said so at each of 60 dies: " + next((w for w in why if "limit 0.9" in w), "nowhere"))
    off = [(v - d["rs_ohm"]) / u for d, v, u in of("B4", "r_common") if d["defect"] == "none"]
    check(len(off) > 40 and sum(abs(r) <= 1 for r in off) >= 0.93 * len(off), "no dummies, junctions with the pads by the off state, RE: %d of %d within u95, worst %.2f"
          % (sum(abs(r) <= 1 for r in off), len(off), max(map(abs, off or [0]))))
    judged = subprocess.run([os.path.join(build, "truth-judge"), os.path.join(folder, "7.truth.json"), os.path.join(folder, "7.run"), "--json"], capture_output=True, text=True)
    v = json.loads(judged.stdout) if judged.returncode == 0 else {}
    check(v and v["proven"] > 200 and v["share_within"] >= 0.93 and v["beyond_3_u95"] == 0 and v["unknown"] == 0,
          "each state against its own truth: %(within_u95)d of %(proven)d within u95, %(beyond_3_u95)d beyond three times, %(unknown)d unknown" % v if v else judged.stderr)


def offline(folder):
    """Eight dies by the programs themselves, exported, and the leads found again from the files of one die: the same numbers."""
    tiny, wafer = (json.load(open(os.path.join(cli.REPO, "tests/nights", name))) for name in ("tiny.json", "tiny.scenario.json"))
    square = next(d for d in tiny["layout"]["devices"] if d["name"] == "L1")
    tiny["layout"]["devices"].append(dict(square, name="B1", kind="transistor", x_um=1000, y_um=-1000))
    tiny["sweeps"][0]["segments"] = [{"start_hz": 1e9, "stop_hz": 67e9, "points": 133, "spacing": "linear", "ifbw_hz": 100, "averages": 1, "power_dbm": -30}]
    tiny["measures"] = [m for m in tiny["measures"] if m["device"] in ("OPEN", "SHORT")] + [m for m in recipe["measures"] if m["device"] == "B1"]
    tiny["max_volt"] = 10
    json.dump(tiny, open(os.path.join(folder, "recipe.json"), "w"))
    json.dump(dict(wafer, recipe="recipe.json", bias={"first_port": 2}, devices=wafer["devices"] + [dict(bipolar, device="B1")]), open(os.path.join(folder, "scenario.json"), "w"))
    t = cli.Tipplane(build, folder, os.path.join(folder, "scenario.json"))
    up = t.up()
    try:
        check(cli.until(lambda: "The page: %s/" % t.url in t.words(), 60), "the programs are up")
        rc, out, err = t("recipe", "explain", os.path.join(folder, "recipe.json"))
        check(rc == 0 and "1.5 V on channel 0 (at most 30 mA, 45 mW), then 100 uA into the base on channel 1 (at most 1.2 V); channel 0 open (at most 1 V), then 2 mA into the base" in out,
              "explained: each condition, its order and its limits")
        rc, out, err = t("run", "start", "--recipe", os.path.join(folder, "recipe.json"), "--wafer", "W1", "--print-id")
        run = out.strip()
        rc, out, err = t("wait", run, seconds=240)
        check(rc == 0, "a wafer of bipolars by the programs themselves: %s" % (out.strip().splitlines() or [err])[-1])
        to = os.path.join(folder, "export")
        rc, out, err = t("export", run, "--to", to)
        die = next((n for n in sorted(os.listdir(to)) if n.endswith("_B1.s2p")), "")
        cold = ",".join(os.path.join(to, die.replace(".s2p", "_c%d.s2p" % (k + 1))) for k in range(len(DRIVES)))
        rc, out, err = t.of_files("extrinsic", "--cold", cold, "--drive", ",".join("%g" % a for a in DRIVES), "--cold-as", "open_collector", "--from", "2e9", "--below", "30e9",
                         os.path.join(to, die), "--out", os.path.join(folder, "inside.s2p"), "--json")
        got = {e["name"]: e["value"] for e in json.loads(out)["elements"]} if rc == 0 else {}
        rc, out, err2 = t.of_files("extract", "--quantity", ",".join(INSIDE[:5]), "--at", "5e9", os.path.join(folder, "inside.s2p"), "--json")
        got.update({q["quantity"]: q["value"][0] for f in json.loads(out)["files"] for q in f["quantities"]} if rc == 0 else {})
        with open(os.path.join(to, "parameters.csv")) as f:
            rows = [r for r in csv.DictReader(f) if "x%sy%s_B1.s2p" % (r["die_x"], r["die_y"]) == die and r["condition"] == "0" and r["value"]]
        in_run = {r["quantity"].replace("_5GHz", ""): float(r["value"]) for r in rows}
        both = {w: got[w] / v - 1 for w, v in in_run.items() if w in got}
        check(len(both) >= 9 and max(map(abs, both.values())) < 1e-9, "leads and inside of %s by the offline commands are those of the run: %s %s"
              % (die, ", ".join("%s %.0e" % b for b in sorted(both.items())), err or err2))
    finally:
        up.terminate()
        up.wait(240)


def refused(folder):
    """A scenario that is neither kind of transistor, told before the night begins."""
    for change, words in (({"gm_s": 0.06}, "beta makes it bipolar"), ({"cp_f": 0}, "c_f, cp_f and r_ohm must be positive"), ({"beta_r": 0}, "beta_r")):
        bad = dict(world, devices=[dict(d, **change) if d["device"] == "B1" else d for d in world["devices"]])
        done = night(folder, recipe, bad)
        check(done.returncode != 0 and words in done.stdout + done.stderr, "refused: %s" % words)


if args.keep:
    os.makedirs(args.keep, exist_ok=True)
    run_in(args.keep)
else:
    with tempfile.TemporaryDirectory() as folder:
        run_in(folder)
    with tempfile.TemporaryDirectory() as folder:
        refused(folder)
    with tempfile.TemporaryDirectory() as folder:
        offline(folder)
print("%d passed, %d failed, 0 skipped" % (passed, failed))
sys.exit(failed > 0)

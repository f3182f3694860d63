#!/usr/bin/env python3
"""Transistors in several states under one touch, gate before drain, and their leads by cold states: one night of the demo with devices more.
transistor.py [--build DIR]
"""
import argparse, json, os, sqlite3, subprocess, sys, tempfile

parser = argparse.ArgumentParser()
parser.add_argument("--build", default="build/debug")
build = parser.parse_args().build
demo = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "simulators", "demo")
passed = failed = 0


def check(true, text):
    global passed, failed
    passed, failed = passed + bool(true), failed + (not true)
    print(("ok: " if true else "FAILED: ") + text)


recipe, world = (json.load(open(os.path.join(demo, name))) for name in ("recipe.json", "scenario.json"))
coil = next(d for d in recipe["layout"]["devices"] if d["name"] == "L1")
recipe["layout"]["devices"].append(dict(coil, name="T1", kind="transistor", x_um=1000, y_um=-1000))
for k in (2, 3, 4):
    recipe["layout"]["devices"].append(dict(coil, name="T%d" % k, kind="transistor", x_um=1000, y_um=-1000 * k))
gate = lambda volt: {"channel": 0, "volt": volt, "limit_a": 1e-3}
asked = lambda word, ghz: {"name": "%s_%dGHz" % (word, ghz), "quantity": word, "freq_hz": ghz * 1e9}
COLD = {"cold_%g" % volt: volt for volt in (0.9, 1.2, 1.8)}
# elements of the inside, and of the leads, by the member of the truth's device
INSIDE = {"gm": "gm_s", "gm_tau": "tau_s", "gds": "rsub_ohm", "Cgs": "c_f", "Cgd": "cp_f", "Cds": "csub_f"}
LEADS = {"r_in": "r_ohm", "r_out": "rd_ohm", "r_common": "rs_ohm", "l_in": "l_h", "l_out": "ld_h", "l_common": "ls_h"}
on = {"name": "on", "volt": 1, "channel": 1, "limit_a": 0.05, "settle_s": 0.1, "gate": gate(0.9)}
states = [{"name": name, "gate": gate(volt), "settle_s": 0.1} for name, volt in COLD.items()]
leads = {"cold": [{"condition": name, "drive": volt - 0.4} for name, volt in COLD.items()], "drive_u": 0.003, "from_hz": 1e10, "below_hz": 6e10}
measure = {"sweep": "wide", "contact": {"family": "blocks_dc", "drift_limit": 0.05}}
pads = {"deembed": "open_short", "open": "OPEN", "short": "SHORT"}
recipe["measures"] = [m for m in recipe["measures"] if m["device"] in ("OPEN", "SHORT")] + [
    {"device": "T1", "sweep": "wide", "deembed": "open_short", "open": "OPEN", "short": "SHORT", "contact": {"family": "blocks_dc", "drift_limit": 0.05},
     "conditions": [{"volt": 1, "channel": 1, "limit_a": 0.05, "settle_s": 0.1, "gate": gate(0.9)}, {"gate": gate(0.9), "settle_s": 0.1}, {"volt": 0}],
     "parameters": [{"name": "fT", "quantity": "fT"}, {"name": "h21_20GHz", "quantity": "h21", "freq_hz": 20e9}, {"name": "Cgd_20GHz", "quantity": "Cgd", "freq_hz": 20e9},
                    {"name": "gds_10GHz", "quantity": "gds", "freq_hz": 10e9}]},
    dict(measure, **pads, device="T2", conditions=[on] + states, extrinsic=leads,
         parameters=[asked(word, 10) for word in INSIDE] + [asked("Ri", 50), {"name": "fT", "quantity": "fT"}] + [{"name": word, "quantity": word} for word in LEADS]),
    dict(measure, **pads, device="T3", conditions=[on], parameters=[asked("gm", 10)]),
    dict(measure, device="T4", conditions=[on] + states + [{"name": "pinched"}], extrinsic=dict(leads, off="pinched", c_between_f_u=3e-17),
         parameters=[asked(word, 10) for word in ("gm", "gds", "Cgs", "Cgd")])]
world["devices"].append({"device": "T1", "gm_s": 0.06, "c_f": 4e-14, "cp_f": 8e-15, "csub_f": 1e-14, "rsub_ohm": 400, "r_ohm": 5, "ri_ohm": 2, "tau_s": 4e-13,
                         "vth_v": 0.4, "k_s_v": 0.2})
for k in (2, 3, 4):
    world["devices"].append(dict(world["devices"][-1], device="T%d" % k, l_h=2e-11, rd_ohm=4, ld_h=1.5e-11, rs_ohm=1.5, ls_h=3e-12))

with tempfile.TemporaryDirectory() as folder:
    for name, what in (("recipe.json", recipe), ("scenario.json", dict(world, recipe="recipe.json"))):
        json.dump(what, open(os.path.join(folder, name), "w"))
    done = subprocess.run([os.path.join(build, "nights"), "--first", "7", "--seeds", "1", "--only", "none", "--export", folder, os.path.join(folder, "recipe.json"),
                           os.path.join(folder, "scenario.json")], capture_output=True, text=True)
    check(done.returncode == 0, "the night with a transistor ran" if done.returncode == 0 else done.stdout[-300:] + done.stderr[-1500:])
    db = sqlite3.connect("file:%s?mode=ro" % os.path.join(folder, "7.run"), uri=True)
    rows = db.execute("SELECT quantity, condition, count(value), avg(value) FROM v_parameter WHERE trust='proven' AND device='T1' GROUP BY quantity, condition").fetchall()
    n = {(q, c): (count, mean) for q, c, count, mean in rows}
    check(n[("fT", 0)][0] > 40 and 1.5e11 < n[("fT", 0)][1] < 2.5e11, "biased, fT: %d dies, mean %.4g Hz" % n[("fT", 0)])
    check(n[("fT", 1)][0] == 0 and n[("fT", 2)][0] == 0, "cold and off it has none")
    check(n[("gds_10GHz", 1)][0] > 40 and abs(n[("gds_10GHz", 1)][1] / 0.1 - 1) < 0.1, "cold, the channel conducts k (Vg - Vth): %d dies, mean %.4g S" % n[("gds_10GHz", 1)])
    steps = [json.loads(body) for (body,) in db.execute("SELECT body FROM journal WHERE phase='intend' AND kind='bias_on'")]
    check(steps and all(s["gate_volt"] in (0.9, 1.2, 1.8) and s["volt"] in (0, 1) for s in steps), "%d times bias on, the gate with it" % len(steps))
    truth = {(d["die_x"], d["die_y"], d["device"]): d for d in json.load(open(os.path.join(folder, "7.truth.json")))["devices"]}

    def ratios(device, word, member):
        """|value - truth|/u95 of each die's proven value, biased; the member is 1/gds for gds."""
        rows = db.execute("SELECT die_x, die_y, value, u95 FROM v_parameter WHERE trust='proven' AND condition=0 AND value IS NOT NULL AND device=? AND quantity IN (?, ?, ?)",
                          (device, word, word + "_10GHz", word + "_50GHz"))
        true = lambda x, y: 1 / truth[x, y, device][member] if word == "gds" else truth[x, y, device][member]
        return [abs(value - true(x, y)) / u95 for x, y, value, u95 in rows]

    for what, members, least in (("elements inside the leads", dict(INSIDE, Ri="ri_ohm"), 40), ("elements of the leads", LEADS, 40)):
        all_of = {word: ratios("T2", word, member) for word, member in members.items()}
        each = [r for of in all_of.values() for r in of]
        check(min(map(len, all_of.values())) > least and sum(r <= 1 for r in each) >= 0.93 * len(each) and max(each) <= 3,
              "%s by cold states: %d of %d within u95, worst %.2f; %s" % (what, sum(r <= 1 for r in each), len(each), max(each or [0]), {w: len(of) for w, of in all_of.items()}))
    control = ratios("T3", "gm", "gm_s")
    check(len(control) > 40 and min(control) > 3, "control: with the leads left on, gm lies %.3g u95 and more beside the inside's" % min(control))
    for word in ("gm", "gds", "Cgs", "Cgd"):
        each = ratios("T4", word, INSIDE[word])
        check(len(each) > 40 and sum(r <= 1 for r in each) >= 0.93 * len(each) and max(each) <= 3, "no dummies, pads by the off state, %s: %d of %d within u95, worst %.2f"
              % (word, sum(r <= 1 for r in each), len(each), max(each or [0])))
    judged = subprocess.run([os.path.join(build, "truth-judge"), os.path.join(folder, "7.truth.json"), os.path.join(folder, "7.run"), "--json"], capture_output=True, text=True)
    v = json.loads(judged.stdout) if judged.returncode == 0 else {}
    check(v and v["proven"] > 200 and v["share_within"] >= 0.93 and v["beyond_3_u95"] == 0 and v["unknown"] == 0,
          "each state against its own truth: %(within_u95)d of %(proven)d within u95, %(beyond_3_u95)d beyond three times, %(unknown)d unknown" % v if v else judged.stderr)
print("%d passed, %d failed, 0 skipped" % (passed, failed))
sys.exit(failed > 0)

#!/usr/bin/env python3
"""A transistor in three states under one touch, its gate biased before its drain: one night of the demo with a device more.
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
recipe["layout"]["devices"].append(dict(coil, name="T2", kind="transistor", x_um=1000, y_um=-2000))
gate = lambda volt: {"channel": 0, "volt": volt, "limit_a": 1e-3}
at_10 = lambda word: {"name": word + "_10GHz", "quantity": word, "freq_hz": 10e9}
LEADS = ["r_in", "r_out", "r_common", "l_in", "l_out", "l_common"]
INSIDE = ["gm", "gm_tau", "gds", "Cgs", "Cgd", "Cds", "Ri"]
recipe["measures"] = [m for m in recipe["measures"] if m["device"] in ("OPEN", "SHORT")] + [
    {"device": "T1", "sweep": "wide", "deembed": "open_short", "open": "OPEN", "short": "SHORT", "contact": {"family": "blocks_dc", "drift_limit": 0.05},
     "conditions": [{"volt": 1, "channel": 1, "limit_a": 0.05, "settle_s": 0.1, "gate": gate(0.9)}, {"gate": gate(0.9), "settle_s": 0.1}, {"volt": 0}],
     "parameters": [{"name": "fT", "quantity": "fT"}, {"name": "h21_20GHz", "quantity": "h21", "freq_hz": 20e9}, {"name": "Cgd_20GHz", "quantity": "Cgd", "freq_hz": 20e9},
                    {"name": "gds_10GHz", "quantity": "gds", "freq_hz": 10e9}]},
    {"device": "T2", "sweep": "wide", "deembed": "open_short", "open": "OPEN", "short": "SHORT", "contact": {"family": "blocks_dc", "drift_limit": 0.05},
     "conditions": [{"name": "on", "volt": 1, "channel": 1, "limit_a": 0.05, "settle_s": 0.1, "gate": gate(0.9)}] +
                   [{"name": "cold_%g" % volt, "gate": gate(volt), "settle_s": 0.1} for volt in (0.9, 1.2, 1.8)],
     "extrinsic": {"cold": [{"condition": "cold_%g" % volt, "drive": volt - 0.4} for volt in (0.9, 1.2, 1.8)], "drive_u": 0.003, "from_hz": 1e10, "below_hz": 6e10},
     "parameters": [at_10(word) for word in INSIDE] + [{"name": word, "quantity": word} for word in LEADS] + [{"name": "fT", "quantity": "fT"}]}]
world["devices"].append({"device": "T1", "gm_s": 0.06, "c_f": 4e-14, "cp_f": 8e-15, "csub_f": 1e-14, "rsub_ohm": 400, "r_ohm": 5, "ri_ohm": 2, "tau_s": 4e-13,
                         "vth_v": 0.4, "k_s_v": 0.2})
world["devices"].append(dict(world["devices"][-1], device="T2", l_h=2e-11, rd_ohm=4, ld_h=1.5e-11, rs_ohm=1.5, ls_h=3e-12))

with tempfile.TemporaryDirectory() as folder:
    folder = "/tmp/w/leads.night"; os.makedirs(folder, exist_ok=True)
    for name, what in (("recipe.json", recipe), ("scenario.json", dict(world, recipe="recipe.json"))):
        json.dump(what, open(os.path.join(folder, name), "w"))
    done = subprocess.run([os.path.join(build, "nights"), "--first", "7", "--seeds", "1", "--only", "none", "--export", folder, os.path.join(folder, "recipe.json"),
                           os.path.join(folder, "scenario.json")], capture_output=True, text=True)
    check(done.returncode == 0, "the night with a transistor ran" if done.returncode == 0 else done.stdout[-300:] + done.stderr[-1500:])
    db = sqlite3.connect("file:%s?mode=ro" % os.path.join(folder, "7.run"), uri=True)
    rows = db.execute("SELECT quantity, condition, count(value), avg(value) FROM v_parameter WHERE trust='proven' GROUP BY quantity, condition").fetchall()
    n = {(q, c): (count, mean) for q, c, count, mean in rows}
    check(n[("fT", 0)][0] > 40 and 1.5e11 < n[("fT", 0)][1] < 2.5e11, "biased, fT: %d dies, mean %.4g Hz" % n[("fT", 0)])
    check(n[("fT", 1)][0] == 0 and n[("fT", 2)][0] == 0, "cold and off it has none")
    check(n[("gds_10GHz", 1)][0] > 40 and abs(n[("gds_10GHz", 1)][1] / 0.1 - 1) < 0.1, "cold, the channel conducts k (Vg - Vth): %d dies, mean %.4g S" % n[("gds_10GHz", 1)])
    steps = [json.loads(body) for (body,) in db.execute("SELECT body FROM journal WHERE phase='intend' AND kind='bias_on'")]
    check(steps and all(s["gate_volt"] in (0.9, 1.2, 1.8) and s["volt"] in (0, 1) for s in steps), "%d times bias on, the gate with it" % len(steps))
    judged = subprocess.run([os.path.join(build, "truth-judge"), os.path.join(folder, "7.truth.json"), os.path.join(folder, "7.run"), "--json"], capture_output=True, text=True)
    v = json.loads(judged.stdout) if judged.returncode == 0 else {}
    check(v and v["proven"] > 200 and v["share_within"] >= 0.93 and v["beyond_3_u95"] == 0 and v["unknown"] == 0,
          "each state against its own truth: %(within_u95)d of %(proven)d within u95, %(beyond_3_u95)d beyond three times, %(unknown)d unknown" % v if v else judged.stderr)
print("%d passed, %d failed, 0 skipped" % (passed, failed))
sys.exit(failed > 0)

#!/usr/bin/env python3
"""A joined calibration on a station whose positioner moves the probes apart for its lines: lumped standards below, lines above, one night from end to end.
joined_plan.py [--build DIR]
"""
import argparse, json, os, sqlite3, subprocess, sys, tempfile

parser = argparse.ArgumentParser()
parser.add_argument("--build", default="build/debug")
build = parser.parse_args().build
root = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
demo = os.path.join(root, "simulators", "demo")
LENGTHS = (450, 900, 2100, 5250)
DELAY_S_UM, Z_OHM = 1.45e-12 / 200, 50
SETTLE_S = 300
passed = failed = 0


def check(true, text):
    global passed, failed
    passed, failed = passed + bool(true), failed + (not true)
    print(("ok: " if true else "FAILED: ") + text)


def joined():
    """The demo's recipe, its calibration joined of unknown_thru and lines that lie on the same substrate."""
    recipe = json.load(open(os.path.join(demo, "recipe.json")))
    names = ["LINE_%04d" % n for n in LENGTHS]
    recipe["standards"] += [{"name": name, "kind": "line", "place": "substrate", "x_um": 5000, "y_um": 1000 * k, "touches_max": 50, "model": {"length_um": n}}
                            for k, (name, n) in enumerate(zip(names, LENGTHS))]
    c, use = recipe["calibration"], lambda *names: [{"standard": n} for n in names]
    c["bands"] = [{"method": "unknown_thru", "from_hz": 70e3, "to_hz": 4e9, "standards": c["standards"]},
                  {"method": "multiline_trl", "from_hz": 300e6, "to_hz": 220e9, "standards": use("THRU_A", *names, "SHORT_A")}]
    del c["method"]
    c["standards"] = c["standards"] + use(*names)
    c.update(eps_eff=4.7, reflect_estimate=-1, line_capacitance_f_m=DELAY_S_UM * 1e6 / Z_OHM, plane="tip")
    recipe["setup"]["spacing_settle_s"] = SETTLE_S
    return recipe


def scenario():
    s = json.load(open(os.path.join(demo, "scenario.json")))
    s["standards"] += [{"name": "LINE_%04d" % n, "kind": "thru", "x_um": 5000, "y_um": 1000 * k, "spacing_um": n, "delay_s": n * DELAY_S_UM, "z_ohm": Z_OHM,
                        "loss_ohm_s": 4e9, "dc_ohm": n * 5e-5} for k, n in enumerate(LENGTHS)]
    s.setdefault("stage", {}).update(spacing_um_min=150, spacing_um_max=6000)
    return s


def night(folder, recipe, world):
    for name, what in (("recipe.json", recipe), ("scenario.json", world)):
        json.dump(what, open(os.path.join(folder, name), "w"))
    return subprocess.run([os.path.join(build, "nights"), "--first", "7", "--seeds", "1", "--only", "none", "--export", folder, os.path.join(folder, "recipe.json"),
                           os.path.join(folder, "scenario.json")], capture_output=True, text=True)


with tempfile.TemporaryDirectory() as folder:
    done = night(folder, joined(), scenario())
    run = os.path.join(folder, "7.run")
    check(done.returncode == 0 and os.path.exists(run), "the night with a joined plan ran" if done.returncode == 0 else done.stdout[-500:] + done.stderr[-1500:])
    if os.path.exists(run):
        db = sqlite3.connect("file:%s?mode=ro" % run, uri=True)
        accepted = db.execute("SELECT diagnosis FROM calibration WHERE state='accepted' ORDER BY id").fetchall()
        check(accepted, "a joined calibration was accepted")
        diagnosis = json.loads(accepted[0][0]) if accepted else {}
        kinks = [j for j in diagnosis.get("joints", [])]
        check(len(kinks) == 1 and 3e8 < kinks[0]["kink_hz"] < 4e9 and not kinks[0]["beyond"] and 0 < kinks[0]["kink"] < 0.05, "the kink at the join is told: %s" % json.dumps(kinks)[:300])
        check(kinks and (kinks[0]["below"], kinks[0]["above"]) == ("unknown_thru", "multiline_trl") and abs(kinks[0]["kink_allowed"] - 2.4477 * kinks[0]["kink_u"]) < 1e-9 and kinks[0]["share_of_allowed"] < 1,
              "with the methods that meet there, and it is within what their uncertainties allow")
        steps = [(kind, json.loads(body).get("args", json.loads(body))) for kind, body in
                 db.execute("SELECT kind, body FROM journal WHERE phase='intend' ORDER BY seq")]
        at, wrong, moved = 200.0, 0, []
        for kind, args in steps:
            if kind == "move":
                if args.get("spacing_um") != at:
                    moved.append(args.get("spacing_um"))
                at = args.get("spacing_um")
            if kind == "lower":
                wrong += args.get("spacing_um") != at or (args.get("purpose") in ("device", "check") and at != 200)
        calibrations = db.execute("SELECT count(*) FROM calibration").fetchone()[0]
        check(not wrong and moved[:5] == [450, 900, 2100, 5250, 200], "the probes were moved apart for each line and back: %s …" % moved[:5])
        check(len(moved) == 5 * calibrations, "and nowhere else: %d moves in %d calibrations" % (len(moved), calibrations))
        crashes = [line for line in open(os.path.join(folder, "7.truth.json.events"))] if os.path.exists(os.path.join(folder, "7.truth.json.events")) else []
        check(not any('"crash"' in line or '"bare"' in line for line in crashes), "never moved in contact, never beside the pads")
        judged = subprocess.run([os.path.join(build, "truth-judge"), os.path.join(folder, "7.truth.json"), run, "--json"], capture_output=True, text=True)
        v = json.loads(judged.stdout) if judged.returncode == 0 else {}
        check(v and v["proven"] > 300 and v["share_within"] >= 0.93 and v["beyond_3_u95"] == 0,
              "%(within_u95)d of %(proven)d proven parameters within their stated 95 %% uncertainty, %(beyond_3_u95)d beyond three times it" % v if v else judged.stderr)
print("%d passed, %d failed, 0 skipped" % (passed, failed))
sys.exit(failed > 0)

"""load_trim.py: the real programs and the tiny recipe on a station whose load is off by 0.3 ohm at both ports: stated, every result is off with it; measured by the DC meter at the touch, it is not."""
import csv, io, json, math, os, subprocess, sys, tempfile, time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import programs

OFF_OHM, METER_U_OHM = 0.3, 0.006  # the simulated meter: 2 mohm of noise and 1e-4 of 50 ohm


def prepare(build, folder, how, is_ohm):
    recipe, scenario = json.loads(programs.load(programs.TINY[0])), json.loads(programs.load(programs.TINY[1]))
    recipe["calibration"]["load_resistance"] = how
    recipe["setup"]["dc_ohm_u"] = METER_U_OHM
    for s in scenario["standards"]:
        if s["name"] == "LOAD_A":
            s.update(r_ohm=is_ohm, u_r_ohm=0)
    os.makedirs(folder)
    for name, what in (("scenario.json", scenario), ("tiny.json", recipe)):
        with open(os.path.join(folder, name), "w") as f:
            json.dump(what, f)
    p = programs.Programs(build, folder, scenario=os.path.join(folder, "scenario.json")).up()
    return p, p.start_run(json.dumps(recipe).encode())


def night(build, folder, how):
    """What was said of the calibration, the text of `tipplane run show`, (value - truth, u95, share of "load R" in the budget) of each proven R_1GHz, and the true R of the load."""
    p, run = prepare(build, folder, how, 50 + OFF_OHM)
    try:
        p.wait_sealed(run)
        calibrations = p.get("/api/v1/runs/%s/calibrations" % run)["calibrations"]
        rows = list(csv.DictReader(io.StringIO(p.call("GET", "/api/v1/runs/%s/parameters.csv" % run)[2].decode(), newline="")))
        show = subprocess.run([os.path.join(build, "tipplane"), "run", "show", run, "--address", "http://127.0.0.1:%d" % p.port, "--token-file", os.path.join(p.data_dir, "token")],
                              capture_output=True, text=True).stdout
    finally:
        p.stop()
    with open(os.path.join(p.world, "truth.json")) as f:
        truth = json.load(f)
    is_ohm = {(d["die_x"], d["die_y"]): d["r_ohm"] for d in truth["devices"] if d["device"] == "R1"}
    with p.database(run) as db:
        shares = [json.loads(b).get("shared", {}).get("load R", 0) for (b,) in db.execute("SELECT budget FROM v_parameter WHERE quantity='R_1GHz' AND value IS NOT NULL")]
    errors = [(float(r["value"]) - is_ohm[int(r["die_x"]), int(r["die_y"])], float(r["u95"])) for r in rows if r["quantity"] == "R_1GHz" and r["value"] and r["trust"] == "proven"]
    load = next(s for s in truth["standards"] if s["name"] == "LOAD_A")
    return calibrations, show, errors, shares, load


def rms(errors):
    return math.sqrt(sum(e * e for e, _ in errors) / len(errors))


def main():
    build = sys.argv[sys.argv.index("--build") + 1] if "--build" in sys.argv else "build/debug"
    count = programs.Count()
    with tempfile.TemporaryDirectory(prefix="load-") as folder:
        _, _, stated, stated_shares, load = night(build, os.path.join(folder, "stated"), "stated")
        began = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
        calibrations, show, measured, measured_shares, _ = night(build, os.path.join(folder, "measured"), "measured")
        count.check(len(stated) >= 6 and len(measured) >= 6, "%d and %d dies have a proven R of 75 ohm at 1 GHz" % (len(stated), len(measured)))
        off = 75 / 50 * OFF_OHM
        mean = sum(e for e, _ in stated) / len(stated)
        count.check(abs(mean + off) < 0.1 * off, "stated: the load's %.1f ohm pull R by %.3f ohm" % (OFF_OHM, mean))
        for c in calibrations:
            swept = {s["standard"]: s for s in c["standards"]}
            count.check(all(swept[l["standard"]]["touchdown"] and swept[l["standard"]]["swept"] for l in c["diagnosis"]["loads"]) and swept["LOAD_A"]["swept"] >= swept["SHORT_A"]["swept"] >= began,
                        "calibration %d says when each load was read: %s" % (c["number"], ", ".join("%s %s" % (l["standard"], swept[l["standard"]]["swept"]) for l in c["diagnosis"]["loads"])))
        count.check(rms(measured) < rms(stated) / 10, "measured: %.4f ohm from the truth instead of %.4f" % (rms(measured), rms(stated)))
        count.check(all(abs(e) <= u95 for e, u95 in measured), "each within its u95 of %.3f ohm or less" % max(u for _, u in measured), measured)
        count.check(max(u for _, u in measured) < min(u for _, u in stated), "which is below the stated load's, %.3f ohm or more" % min(u for _, u in stated))
        count.check(0 < max(measured_shares) < min(stated_shares), "of which the load's R is %d %% at most, and was %d %%" % (max(measured_shares), min(stated_shares)))
        loads = [l for c in calibrations for l in c["diagnosis"]["loads"]]
        real = [load["port%d" % l["port"]]["r_ohm"] for l in loads]
        count.check(len(loads) == 2 * len(calibrations) and all(abs(l["ohm"] - r) < 2.5 * l["u_ohm"] and l["stated_ohm"] == 50 for l, r in zip(loads, real)),
                    "the calibration says what it took the load as: %s" % ", ".join("port %(port)d %(ohm).4f +- %(u_ohm).4f" % l for l in loads), (loads, load))
        swept = {s["standard"]: s["swept"] for s in calibrations[0]["standards"]}
        count.check("loads by the DC meter: LOAD_A at port 1 50.3" in show and "(stated 50 ± 5; read %s)" % swept["LOAD_A"] in show, "and so does tipplane run show", show)

        p, run = prepare(build, os.path.join(folder, "worn"), "measured", 57)
        try:
            until, sentence = time.monotonic() + 60, ""
            while "LOAD_A" not in sentence and time.monotonic() < until:
                sentence = json.dumps(p.get("/api/v1/runs/" + run))
                time.sleep(0.1)
            count.check("load LOAD_A" in sentence and "at port 1" in sentence and "clean the tips" in sentence, "a load of 57 ohm is refused by copy, port and value: " + sentence[max(0, sentence.find("load LOAD_A")):][:330], sentence[:1500] + p.tail("daemon", 40))
        finally:
            p.stop()
    count.end()


main()

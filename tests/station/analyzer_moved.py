"""analyzer_moved.py: the real programs and the tiny recipe on a station whose analyzer reads back another source attenuator from some sweep on: the calibration holds no longer, what was swept so has no value, and the night goes on with a new one."""
import csv, io, json, os, sys, tempfile

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import programs


def night(build, folder, first_sweep):
    scenario = json.loads(programs.load(programs.TINY[1]))
    if first_sweep:
        scenario["faults"] = [{"what": "attenuator", "port": 2, "db": 10, "at_count": first_sweep, "count": 1000000}]
    os.makedirs(folder)
    for name, what in (("scenario.json", json.dumps(scenario).encode()), ("tiny.json", programs.load(programs.TINY[0]))):
        with open(os.path.join(folder, name), "wb") as f:
            f.write(what)
    p = programs.Programs(build, folder, scenario=os.path.join(folder, "scenario.json")).up()
    try:
        run = p.start_run(programs.load(programs.TINY[0]))
        row = p.wait_sealed(run)
        calibrations = p.get("/api/v1/runs/%s/calibrations" % run)["calibrations"]
        rows = list(csv.DictReader(io.StringIO(p.call("GET", "/api/v1/runs/%s/parameters.csv" % run)[2].decode(), newline="")))
    finally:
        p.stop()
    with p.database(run) as db:
        sweeps = [json.loads(b)["analyzer"] for (b,) in db.execute("SELECT bias FROM v_sweep ORDER BY id")]
    return row, calibrations, rows, sweeps


def main():
    build = sys.argv[sys.argv.index("--build") + 1] if "--build" in sys.argv else "build/debug"
    count = programs.Count()
    with tempfile.TemporaryDirectory(prefix="moved-") as folder:
        _, calibrations, rows, sweeps = night(build, os.path.join(folder, "steady"), 0)
        count.check(all(s == {"attenuator_db": [0, 0], "power_dbm": [-20, -20], "ifbw_hz": [100, 100]} for s in sweeps), "each of %d sweeps keeps what the analyzer read back" % len(sweeps), sweeps[:2])
        count.check(len(calibrations) == 1 and not any("attenuator" in r["reason"] for r in rows), "a steady analyzer is calibrated once")
        row, calibrations, rows, sweeps = night(build, os.path.join(folder, "moved"), 41)
        moved = [s["attenuator_db"] == [0, 10] for s in sweeps]
        count.check(any(moved) and not all(moved), "from sweep %d on port 2 reads 10 dB" % (moved.index(True) + 1))
        refused = [r for r in rows if "attenuator" in r["reason"]]
        count.check(refused and all(not r["value"] and r["verdict"] == "none" for r in refused), "%d numbers swept so are refused: %s" % (len(refused), refused and refused[0]["reason"]))
        good = [r for r in rows if r["value"] and r["trust"] == "proven"]
        count.check(len(calibrations) >= 2 and calibrations[-1]["state"] == "accepted", "it was calibrated anew: %s" % [(c["number"], c["state"]) for c in calibrations], row)
        count.check(good, "%d numbers are proven; %s" % (len(good), row["progress"]["counts"]))
    count.end()


main()

#!/usr/bin/env python3
"""What the daemon knew of drift goes with exported raw files: the plan holds what a check lets pass, each file what both checks around it saw, and
drift makes of numbers corrected from them what it made of the daemon's.

offline_drift.py [--build DIR] [--print]
The demo's night with its line read as it stands and all else taken as known well, so that drift counts; the run file is read with SQLite alone.
"""
import glob, json, math, os, re, shutil, sqlite3, subprocess, time
from offline_kit import *
from programs import free_port


def night(d):
    """a run of the demo's recipe with TL1 not de-embedded, standards known exactly, touches known better than they are, exported to night/"""
    data, demo, port = d.at("data"), os.path.join(REPO, "simulators", "demo"), free_port()
    with open(os.path.join(demo, "recipe.json")) as f:
        recipe = json.load(f)
    for m in recipe["measures"]:
        if m["device"] == "TL1":
            m["deembed"] = "none"
            m.pop("open", None)
            m.pop("short", None)
    for key in ("contact_ohm_u", "contact_h_u", "placement_um_u"):
        recipe["setup"][key] /= 4  # less than it is: so that drift is a fair part of what is left
    for s in recipe["standards"]:
        s["model"] = {k: v for k, v in s["model"].items() if not k.startswith("u_")}
    d.plan("recipe.json", **recipe)
    with open(d.at("up.log"), "w") as log:
        up = subprocess.Popen([d.program, "up", "--station-config", os.path.join(demo, "station.json"), "--data", data, "--listen", "127.0.0.1:%d" % port], stdout=log, stderr=log, cwd=REPO)
    t = lambda *words: subprocess.run([d.program, "--address", "http://127.0.0.1:%d" % port, "--token-file", os.path.join(data, "token"), *words], capture_output=True, text=True, cwd=d.path)
    try:
        until = time.monotonic() + 60
        while t("status").returncode and time.monotonic() < until:
            time.sleep(0.2)
        started = t("run", "start", "--recipe", "recipe.json", "--wafer", "DEMO-01", "--lot", "DEMO", "--print-id")
        if started.returncode:
            raise SystemExit(started.stderr)
        t("wait", started.stdout.strip())
        out = t("export", started.stdout.strip(), "--to", "night", "--raw")
        if out.returncode:
            raise SystemExit(out.stderr)
    finally:
        up.terminate()
        up.wait(60)
    return recipe


def rows(d, sql, *values):
    c = sqlite3.connect("file:%s?immutable=1" % glob.glob(d.at("night/*.run"))[0], uri=True)
    c.row_factory = sqlite3.Row
    return c.execute(sql, values).fetchall()


SAYS = r"! drift since the calibration: port 1 (\S+) s (\S+) dB, port 2 (\S+) s (\S+) dB"


def comments(d, recipe):
    """the plan and each file, against the recipe's limits and the checks' own modes"""
    with open(d.at("night/raw/plan.json")) as f:
        plan = json.load(f)
    limits = recipe["check"]["limits"]
    check("the plan has what a check lets pass, rectangular", abs(plan["drift_delay_s_u"] / (limits["delay_fs"] * 1e-15 / math.sqrt(3)) - 1) < 1e-12 and abs(plan["drift_loss_db_u"] / (limits["loss_db"] / math.sqrt(3)) - 1) < 1e-12, plan)
    checks = {r["id"]: (r["seq"], json.loads(r["modes"])) for r in rows(d, "SELECT id, ended AS seq, modes FROM v_check WHERE passed")}
    spans = [(checks[r["opening"]][1], checks[r["closing"]][1], r["opened"], r["closed"]) for r in rows(d, "SELECT * FROM v_interval WHERE closing IS NOT NULL") if r["opening"] in checks and r["closing"] in checks]
    seen = 0
    for r in rows(d, "SELECT max(touchdown) AS touchdown, die_x, die_y, device FROM v_sweep WHERE device IS NOT NULL AND die_x IS NOT NULL GROUP BY die_x, die_y, device, condition"):
        with open(d.at("night/raw/x%dy%d_%s.s2p" % (r["die_x"], r["die_y"], r["device"]))) as f:
            said = re.search(SAYS, f.read(600))
        own = [x for x in spans if x[2] < r["touchdown"] < x[3]]
        if not own or not said:
            check("a file says of drift what its interval does", not own and not said, (r["device"], own, said))
            continue
        seen += 1
        want = []
        for port in ("port1", "port2"):
            a, b = own[0][0][port], own[0][1][port]
            for key, u, scale in (("delay_fs", "delay_u_fs", 1e-15), ("loss_db", "loss_u_db", 1)):
                want.append(scale * math.sqrt((a[key] ** 2 + a[key] * b[key] + b[key] ** 2 + a[u] ** 2 + b[u] ** 2) / 3))
        got = [float(said[k]) for k in (1, 2, 3, 4)]
        if max(abs(x / y - 1) for x, y in zip(got, want)) > 1e-6:
            check("what the file says is what the checks saw", False, (r["device"], got, want))
    check("hundreds of files say it", seen > 300, seen)


def agree(d):
    """drift's part of a number by the daemon and from files"""
    raw = os.path.join(d.path, "night", "raw")
    run_in = Folder(d.program, raw)
    run_in.run("solve", "plan.json", "--out", "terms.json")
    parts, same, seen = 0, 0, []
    for r in rows(d, "SELECT die_x, die_y, value, u95, budget FROM v_parameter WHERE device = 'TL1' AND quantity = 'S21_40GHz' ORDER BY touchdown LIMIT 12"):
        name, shares = "x%dy%d_TL1.s2p" % (r["die_x"], r["die_y"]), {}
        for group in json.loads(r["budget"]).values():
            if isinstance(group, dict):
                shares.update(group)
        daemon = sum(v for k, v in shares.items() if "as seen" in k) / 100 * r["u95"] ** 2
        u = {}
        for how, more in (("with", []), ("without", ["--drift-u", "0,0"])):
            rc, out, err = run_in.run("correct", "--terms", "terms.json", name, "--out", "tip.s2p", *more)
            told = run_in.json("extract", "--quantity", "S21_dB", "--at", "40e9", "tip.s2p")
            u[how], value = told["files"][0]["quantities"][0]["u95"][0], told["files"][0]["quantities"][0]["value"][0]
            os.remove(os.path.join(raw, "tip.s2p"))
            os.remove(os.path.join(raw, "tip.u.json"))
        daemon, files = 100 * daemon / r["u95"] ** 2, 100 * (u["with"] ** 2 - u["without"] ** 2) / r["u95"] ** 2
        parts += abs(daemon - files) < 1 and files > 2.5  # delay and loss, each in whole per cent
        same += abs(value - r["value"]) < 1e-9
        seen.append("%s: %.9f dB, %.9f by files; drift %.3g %%, %.3g %%" % (name, r["value"], value, daemon, files))
    check("drift makes of S21 what the daemon says, 12 lines", parts == 12, seen)
    check("and the numbers are the same", same == 12, seen)
    doc = run_in.json("correct", "--terms", "terms.json", name)
    check("drift is counted", "drift since the calibration" not in doc["files"][0]["uncertainty"]["not_counted"], doc["files"][0]["uncertainty"]["not_counted"])
    with open(os.path.join(raw, name)) as f:
        text = f.read()
    for bad, *pieces in (("port 1 -1e-15 s 0 dB, port 2 0 s 0 dB", "port 1", "-1e-15"), ("port 1 fast", "port 1 fast", "--drift-u"), ("port 1 0 s 0 dB, port 2 1 s 0 dB", "port 2", "at most")):
        run_in.text("bad.s2p", re.sub(r"(drift since the calibration: ).*", r"\g<1>" + bad, text))
        refused(run_in, "a comment that says %s" % bad, ["correct", "--terms", "terms.json", "bad.s2p", "--out", "x.s2p"], "bad.s2p", *pieces)
    rc, out, err = run_in.run("correct", "--terms", "terms.json", "bad.s2p", "--out", "x.s2p", "--drift-u", "1e-15,0")
    check("--drift-u goes before the comment", rc == 0, (rc, err))


def all_of_it(d):
    recipe = night(d)
    comments(d, recipe)
    agree(d)


if __name__ == "__main__":
    raise SystemExit(run(all_of_it))

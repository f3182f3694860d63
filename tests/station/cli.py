#!/usr/bin/env python3
"""The real `tipplane`, from `up` to SIGTERM, on a simulated station with the tiny recipe: what it prints, its exit status, and what it does when a program dies or hangs.

Usage: cli.py --build build/debug
Only processes started here, and their children found by their parent's pid, are signalled.  Debian's python3 alone, no packages.
"""
import argparse, csv, io, json, os, signal, socket, sqlite3, statistics, struct, subprocess, sys, tempfile, time

REPO = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
ABSENT = "01ARZ3NDEKTSV4RRFFQ69G5FAV"   # a well-formed id of no run
counts = {True: 0, False: 0}


def check(claim, holds, seen=""):
    counts[bool(holds)] += 1
    if not holds:
        print("failed: %s: %s" % (claim, str(seen)[-1500:]))


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def until(what, seconds):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        got = what()
        if got:
            return got
        time.sleep(0.05)
    return None


def children(pid):
    """name -> pid of the children of pid; the kernel cuts names to 15 characters."""
    found = {}
    for entry in os.listdir("/proc"):
        if not entry.isdigit():
            continue
        try:
            with open("/proc/%s/stat" % entry) as f:
                text = f.read()
        except OSError:
            continue
        name, rest = text[text.index("(") + 1:text.rindex(")")], text[text.rindex(")") + 2:].split()
        if int(rest[1]) == pid and rest[0] != "Z":
            found[name] = int(entry)
    return found


class Tipplane:
    def __init__(self, build, folder, scenario="tests/nights/tiny.scenario.json"):
        self.program, self.folder, self.port = os.path.join(os.path.abspath(build), "tipplane"), folder, free_port()
        self.data, self.url = os.path.join(folder, "data"), "http://127.0.0.1:%d" % self.port
        self.station = os.path.join(folder, "station.json")
        self.env = dict(os.environ, XDG_CONFIG_HOME=os.path.join(folder, "config"), HOME=folder)
        with open(self.station, "w") as f:
            json.dump({"name": "tiny", "driver": "simulated", "config": {"scenario": os.path.join(REPO, scenario)}}, f)

    def up(self, **more):
        out = open(os.path.join(self.folder, "up.out"), "ab")
        return subprocess.Popen([self.program, "up", "--station-config", self.station, "--data", self.data, "--listen", "127.0.0.1:%d" % self.port, "--name", "under-test"],
                                stdout=out, stderr=out, env=self.env, **more)

    def words(self):
        with open(os.path.join(self.folder, "up.out"), errors="replace") as f:
            return f.read()

    def __call__(self, *words, token=None, address=None, seconds=120, stdin=None):
        command = [self.program, "--address", address or self.url, "--token-file", token or os.path.join(self.data, "token")] + list(words)
        p = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=self.env, timeout=seconds, input=stdin, cwd=self.folder)
        return p.returncode, p.stdout.decode(errors="replace"), p.stderr.decode(errors="replace")

    def of_files(self, *words):
        """a command that asks no daemon, and takes no address"""
        p = subprocess.run([self.program, *words], capture_output=True, text=True, env=self.env, timeout=120, cwd=self.folder)
        return p.returncode, p.stdout, p.stderr


def is_one_sentence(text):
    return text.startswith("tipplane: ") and text.count("\n") == 1


def before_up(t):
    rc, out, err = t("runs", token="/dev/null")
    check("an empty token file is refused with 6", rc == 6 and is_one_sentence(err), (rc, err))
    p = subprocess.run([t.program, "--address", t.url, "status"], capture_output=True, text=True, env=t.env)
    check("no daemon is exit 5, one sentence, and what to do", p.returncode == 5 and is_one_sentence(p.stderr) and "tipplane up" in p.stderr and not p.stdout, (p.returncode, p.stderr))
    p = subprocess.run([t.program, "recipe", "check", os.path.join(REPO, "tests/nights/tiny.json"), "--json"], capture_output=True, text=True, env=t.env)
    check("a recipe is checked without a daemon", p.returncode == 0 and json.loads(p.stdout)["dies"] == 8, p)
    p = subprocess.run([t.program, "recipe", "check", "-"], input='{"name":"x","nmae":1}', capture_output=True, text=True, env=t.env)
    check("a wrong recipe is exit 2 with the place", p.returncode == 2 and "nmae" in p.stderr, (p.returncode, p.stderr))
    p = subprocess.run([t.program, "up"], capture_output=True, text=True, env=t.env)
    check("up without a station's file is exit 2", p.returncode == 2 and "--station-config" in p.stderr, (p.returncode, p.stderr))
    p = subprocess.run([t.program, "up", "--station-config", "/nowhere.json", "--data", os.path.join(t.folder, "other"), "--listen", "127.0.0.1:%d" % free_port()],
                       capture_output=True, text=True, env=t.env, timeout=60)
    check("up ends with the station's own words when its file is wrong", p.returncode in (2, 3) and "/nowhere.json" in p.stderr, (p.returncode, p.stderr))
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        p = subprocess.run([t.program, "up", "--station-config", t.station, "--data", os.path.join(t.folder, "third"), "--listen", "127.0.0.1:%d" % taken.getsockname()[1]],
                           capture_output=True, text=True, env=t.env, timeout=60)
        check("up ends when the page's port is taken, with the daemon's words, and leaves nobody behind", p.returncode not in (0, None) and str(taken.getsockname()[1]) in p.stderr
              and "stopped in order" in open(os.path.join(t.folder, "third/station.out")).read(), (p.returncode, p.stderr))
    p = subprocess.run([t.program, "--address", t.url, "safe"], capture_output=True, text=True, env=t.env)
    check("safe without a daemon names the station's socket", p.returncode == 5 and "--socket" in p.stderr, (p.returncode, p.stderr))


def one_run(t, up):
    tiny = os.path.join(REPO, "tests/nights/tiny.json")
    rc, out, err = t("status")
    check("status says daemon, station and run", rc == 0 and "well" in out and "simulated" in out and "none yet" in out, (rc, out, err))
    rc, out, err = t("status", "--json")
    check("status --json is one object", rc == 0 and json.loads(out)["station"]["connected"] is True, (rc, out, err))
    rc, out, err = t("run", "start", "--recipe", tiny, "--wafer", "W 1")
    check("a wafer's name with a blank is exit 2", rc == 2, (rc, err))
    rc, out, err = t("run", "start", "--recipe", tiny, "--wafer", "W1", "--lot", "LOT-7", "--print-id")
    run = out.strip()
    check("run start prints the id alone", rc == 0 and len(run) == 26 and out == run + "\n", (rc, out, err))
    rc, out, err = t("run", "start", "--recipe", tiny, "--wafer", "W2")
    check("a second run is refused with 4 while one is in hand", rc == 4 or "W1" not in t("status")[1], (rc, err))
    path = os.path.join(t.folder, "early.stdf")
    rc, out, err = t("export", run, "--stdf", path)
    check("a run in hand is no STDF yet: 4", (rc == 4 and is_one_sentence(err) and "not final" in err and not os.path.exists(path)) or json.loads(t("show", run, "--json")[1])["state"] == "sealed", (rc, out, err))
    rc, out, err = t("wait", run)
    check("wait ends with 0 for a good wafer", rc == 0 and "8 of 8" in out, (rc, out, err))
    rc, out, err = t("wait", run, "--json")
    check("waiting for a run that has ended ends at once", rc == 0 and json.loads(out)["state"] == "sealed", (rc, out, err))
    return run


def reading(t, run):
    rc, out, err = t("run", "show", run)
    check("show has the summary", rc == 0 and all(w in out for w in ("W1", "LOT-7", "proven", "pass", "refused", "Contacts", "Checks", "Calibration", "Time")), (rc, out, err))
    rc, out, err = t("run", "show", run, "--json")
    shown = json.loads(out)
    check("show --json has the counts", shown["progress"]["counts"]["proven"] == 32, out)
    rc, out, err = t("map", run)
    check("the map shows eight dies, all proven and passed", out.count("[+]") == 8 and "verdict" in out, out)
    rc, out, err = t("map", run, "--parameter", "L_10GHz")
    check("the map shows values", rc == 0 and out.count("p+]") == 8, out)
    rc, out, err = t("map", run, "--parameter", "nothing")
    check("a parameter that is not there is exit 3", rc == 3 and is_one_sentence(err), (rc, err))
    rc, out, err = t("parameters", run, "--csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    check("parameters --csv is CSV with all rows", rc == 0 and len(rows) == 48 and rows[0]["device"] == "L1", (rc, out[:300]))
    rc, out, err = t("parameters", run, "--device", "R1", "--json")
    check("parameters --json can be narrowed", len(json.loads(out)["parameters"]) == 16, out[:300])
    rc, out, err = t("parameters", run)
    check("parameters are a table with u95 and reasons", "±" in out and "not resolvable" in out, out[:400])
    yielding(t, run)
    for words in (["devices", run], ["yield", run], ["checks", run], ["touchdowns", run], ["runs"], ["recipes"], ["station"], ["alarms"]):
        rc, out, err = t(*words)
        check("%s prints something for people" % words[0], rc == 0 and (out.strip() or "no alarm" in err), (rc, out, err))
        rc, out, err = t(*(words + ["--json"]))
        check("%s --json is one object" % words[0], rc == 0 and isinstance(json.loads(out), dict), (rc, out[:200], err))
    rc, out, err = t("journal", run, "--json")
    entries = [json.loads(line) for line in out.splitlines()]
    check("journal --json has an entry per line, in order, with reasons", rc == 0 and [e["seq"] for e in entries] == list(range(1, len(entries) + 1)) and any(e["reason"] for e in entries), out[:300])
    rc, out, err = t("events", seconds=30)
    check("events without --follow ends by itself", rc == 0 and "hello" in out, (rc, out, err))
    rc, out, err = t("recipe", "explain", os.path.join(REPO, "tests/nights/tiny.json"))
    check("a recipe is explained", rc == 0 and "CALIBRATION" in out, (rc, err))
    rc, out, err = t("recipe", "plan", os.path.join(REPO, "tests/nights/tiny.json"), "--wafer", "W1", "--json")
    check("the plan counts what the wafer has seen", rc == 0 and any(x["kind"] == "pad" and x["used"] > 0 for x in json.loads(out)["things"]), (rc, err))


def yielding(t, run):
    """Counted again from the parameters; an end of Wilson's interval is where |p - q| is 1.96 standard deviations of q."""
    rows = json.loads(t("parameters", run, "--json")[1])["parameters"]
    rc, out, err = t("yield", run, "--json")
    seen = json.loads(out)
    ok = rc == 0 and (seen["dies"]["good"], seen["dies"]["n"], seen["dies"]["good_at_first_touch"]) == (8, 8, 8) and len(seen["quantities"]) == 6
    for q in seen["quantities"]:
        mine = [r for r in rows if (r["device"], r["quantity"]) == (q["device"], q["quantity"])]
        values = [r["value"] for r in mine if r["value"] is not None]
        n, good = sum(r["verdict"] != "none" for r in mine), sum(r["verdict"] == "pass" for r in mine)
        ok = ok and (q["n"], q["good"], q["no_verdict"], q["values"], q["not_measured"]) == (n, good, len(mine) - n, len(values), 0)
        ok = ok and (n == 0 or all(abs((good / n - e) ** 2 - 1.959963984540054 ** 2 * e * (1 - e) / n) < 1e-12 for e in q["wilson"]))
        ok = ok and (not values or (abs(q["median"] / statistics.median(values) - 1) < 1e-12 and abs(q["s"] / statistics.stdev(values) - 1) < 1e-9 and q["s_without_measuring"] < q["s"]))
    check("yield counts what the parameters say, and its interval is Wilson's", ok, out)
    check("show says the yield in a line", "Yield        8 of 8 dies with a verdict are good: 100.0 %, with 95 % between 67.6 and 100.0 %, of this wafer; 8 at the first touch\n" in t("show", run)[1])


def stdf_read(path):
    """A little reader, from the published layout alone: (name, values) of FAR, MIR, PTR, PRR and WRR, others by their numbers."""
    with open(path, "rb") as f:
        data = f.read()
    names = {(0, 10): ("FAR", "<BB"), (1, 10): ("MIR", "<II"), (15, 10): ("PTR", "<IBBBBf"), (5, 20): ("PRR", "<BBBHHHhhI"), (2, 20): ("WRR", "<BBIIIII"), (1, 20): ("MRR", "<I")}
    at, records = 0, []
    while at < len(data):
        n, typ, sub = struct.unpack_from("<HBB", data, at)
        name, fields = names.get((typ, sub), ((typ, sub), "<"))
        records.append((name, struct.unpack_from(fields, data, at + 4)))
        at += 4 + n
    return records if at == len(data) else []


def stdf_exporting(t, run):
    path = os.path.join(t.folder, "run.stdf")
    rc, out, err = t("export", run, "--stdf", path)
    check("export --stdf needs no folder and says what it wrote", rc == 0 and out == path + ": 8 parts, 6 tests each; 8 good, 0 failed, 0 neither\n", (rc, out, err))
    records = stdf_read(path)
    names, ptr, prr = [r[0] for r in records], [r[1] for r in records if r[0] == "PTR"], [r[1] for r in records if r[0] == "PRR"]
    check("the file begins and ends as it must", records and records[0] == ("FAR", (2, 4)) and names[1] == "MIR" and names[-1] == "MRR" and names.count((1, 30)) == 1, names[:9])
    dies = json.loads(t("map", run, "--json")[1])["dies"]
    check("a part of each die, in order, with its coordinates", [p[6:8] for p in prr] == [(d["x"], d["y"]) for d in dies] and all(p[2] == 0 and p[4] == 1 for p in prr), prr)
    rows, devices = json.loads(t("parameters", run, "--json")[1])["parameters"], json.loads(t("devices", run, "--json")[1])["devices"]
    numbers = {(d["name"], p["name"]): 10000 * (k + 1) + m + 1 for k, d in enumerate(devices) for m, p in enumerate(d["parameters"])}
    seen = {(at, p[0]): p for at, part in enumerate(ptr[k:k + 6] for k in range(0, len(ptr), 6)) for p in part}
    place = {(d["x"], d["y"]): k for k, d in enumerate(dies)}
    wrong = [r for r in rows for p in [seen[place[r["die"]["x"], r["die"]["y"]], numbers[r["device"], r["quantity"]]]]
             if (p[3], p[5]) != ((0x42, 0) if r["value"] is None else (0x00, struct.unpack("<f", struct.pack("<f", r["value"]))[0]))]
    check("a PTR of each number, to a single's last bit, and its verdict", len(ptr) == len(rows) == 48 and not wrong, wrong[:2])
    touches = json.loads(t("touchdowns", run, "--json")[1])["touchdowns"]
    down = lambda d: sum(x["evidence"]["station_ns"] / 1e6 - 1e3 * x["station_s"] for x in touches if x["die"] == {"x": d["x"], "y": d["y"]})
    check("the time of a part is that of its touches", all(abs(p[8] - down(d)) <= 1 for p, d in zip(prr, dies)), (prr, [down(d) for d in dies]))
    p = subprocess.run([t.program, "stdf", path, "--json"], capture_output=True, text=True)
    told = json.loads(p.stdout or "{}")
    check("stdf reads it back", p.returncode == 0 and (told["parts"], told["good"], told["records"]["PTR"], told["lot"], told["wafer"], told["passed_over"]) == (8, 8, 48, "LOT-7", "W1", 0), p)
    p = subprocess.run([t.program, "stdf", path], capture_output=True, text=True)
    check("stdf says it to people", p.returncode == 0 and "8 parts: 8 good" in p.stdout and "L1 L_10GHz" in p.stdout and "285.0 pH" in p.stdout, p)
    with open(path, "rb") as f, open(path + ".cut", "wb") as cut:
        cut.write(f.read()[:-20])
    p = subprocess.run([t.program, "stdf", path + ".cut"], capture_output=True, text=True)
    check("a file that is cut off is one sentence with the place", p.returncode == 2 and is_one_sentence(p.stderr) and "at offset" in p.stderr and not p.stdout, (p.returncode, p.stderr))


def exporting(t, run):
    folder = os.path.join(t.folder, "out")
    rc, out, err = t("export", run, "--to", folder)
    names = sorted(os.listdir(folder))
    s2p = [n for n in names if n.endswith(".s2p")]
    check("export writes one Touchstone file per device, the tables and the run file", rc == 0 and len(s2p) == 32 and {"parameters.csv", "touchdowns.json", run + ".run"} <= set(names), (rc, err, names))
    check("nothing half written stays", not [n for n in names if n.endswith(".part")], names)
    good = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._+-"
    check("names are plain and begin with no dash", all(set(n) <= set(good) and n[0] != "-" for n in names), names)
    for n in s2p:
        p = subprocess.run([t.program, "touchstone", os.path.join(folder, n), "--check", "--json"], capture_output=True, text=True)
        if p.returncode or json.loads(p.stdout)["points"] != 21:
            check("%s is read back" % n, False, p)
            break
    else:
        check("all Touchstone files are read back with 21 points", True)
    # models of what was exported
    rc, out, err = t("export", run, "--to", folder, "--models")
    models = os.path.join(folder, "models")
    circuits = sorted(n for n in os.listdir(models) if n.endswith(".cir"))
    with open(os.path.join(models, "models.csv")) as f:
        rows = list(csv.DictReader(f))
    check("export --models writes a subcircuit for each device that is no dummy", rc == 0 and len(circuits) == 16 and all(".subckt" in open(os.path.join(models, n)).read().lower() for n in circuits), (rc, err, circuits))
    check("models.csv has the elements of each", {r["file"] for r in rows} == set(circuits) and all(r["value"] and float(r["s_worst"]) < 0.2 for r in rows), rows[:4])
    resistors = [float(r["value"]) for r in rows if r["device"] == "R1" and r["element"] == "r"]
    check("a resistor's circuit holds its resistance", len(resistors) == 8 and all(60 < r < 90 for r in resistors), resistors)
    name = "x%(die_x)sy%(die_y)s_%(device)s" % next(r for r in rows if r["device"] == "R1")
    p = subprocess.run([t.program, "fit", "--model", "resistor", os.path.join(folder, name + ".s2p"), "--json"], capture_output=True, text=True)
    check("it is what `tipplane fit` says of the same file", p.returncode == 0 and any(abs(e["value"] / r - 1) < 1e-6 for e in json.loads(p.stdout)["elements"] if e["name"] == "r" for r in resistors), p.stdout[:300] + p.stderr)
    # from what the analyzer read, without the daemon: the same error terms, the same corrected devices
    rc, out, err = t("export", run, "--to", folder, "--raw")
    raw, program = os.path.join(folder, "raw"), t.program
    check("export --raw writes the standards, the devices and a plan", rc == 0 and {"plan.json", "switch_terms.s2p"} <= set(os.listdir(raw)) and set(s2p) <= set(os.listdir(raw)), (rc, err))
    with open(os.path.join(raw, "plan.json")) as f:
        plan = json.load(f)
    with open(os.path.join(raw, "plan.json"), "w") as f:
        json.dump({**plan, "noise_floor_u": 1e-5, "noise_trace_u": 4e-4}, f)  # of which a recipe says nothing
    p = subprocess.run([program, "solve", os.path.join(raw, "plan.json"), "--out", os.path.join(raw, "terms.json")], capture_output=True, text=True)
    check("the night's plan is solved from its files, and its verification holds", p.returncode == 0 and "verified" in p.stdout, (p.returncode, p.stderr, p.stdout))
    p = subprocess.run([program, "correct", "--terms", os.path.join(raw, "terms.json"), "--to", os.path.join(raw, "corrected")] + [os.path.join(raw, n) for n in s2p], capture_output=True, text=True)
    check("all raw devices are corrected", p.returncode == 0, (p.returncode, p.stderr))
    with open(os.path.join(REPO, "tests/nights/tiny.json")) as f:
        measures = {m["device"]: m for m in json.load(f)["measures"]}
    worst = []
    for n in s2p:
        die, device = n[:-4].split("_", 1)
        ours, m = os.path.join(raw, "corrected", n), measures[device]
        if m.get("deembed", "none") != "none":
            dummies = [x for k in m["deembed"].split("_") for x in ("--" + k, os.path.join(raw, "corrected", "%s_%s.s2p" % (die, m[k])))]
            bare = os.path.join(raw, "bare_" + n)
            p = subprocess.run([program, "deembed", "--method", m["deembed"], *dummies, ours, "--out", bare], capture_output=True, text=True)
            ours = bare
        p = subprocess.run([program, "compare", os.path.join(folder, n), ours, "--json"], capture_output=True, text=True)
        worst.append(json.loads(p.stdout)["all"]["worst"] if p.returncode == 0 else p.stderr)
    check("they are what the daemon says, de-embedded too, within 1e-11", all(not isinstance(w, str) for w in worst) and max(worst) <= 1e-11, worst)
    with open(os.path.join(folder, "parameters.csv")) as f:
        said = {"x%(die_x)sy%(die_y)s" % r: (float(r["value"]), float(r["u95"])) for r in csv.DictReader(f) if r["device"] == "L1" and r["quantity"] == "L_10GHz" and r["value"] and r["trust"] == "proven"}
    ratios = []
    for die, (value, u95) in said.items():
        p = subprocess.run([program, "extract", "--quantity", "Lser", "--at", "10e9", "--json", os.path.join(raw, "bare_%s_L1.s2p" % die)], capture_output=True, text=True)
        q = json.loads(p.stdout)["files"][0]["quantities"][0] if p.returncode == 0 else {"value": [0], "u95": [0]}
        ratios.append((abs(q["value"][0] / value - 1), q["u95"][0] / u95))
    check("an inductance and its half width over files are those of the daemon: %s" % (" ".join("%.2f" % r for _, r in ratios)), len(ratios) >= 4 and all(v < 1e-9 and 0.7 < r < 1.3 for v, r in ratios), ratios)
    db = sqlite3.connect("file:%s?immutable=1" % os.path.join(folder, run + ".run"), uri=True)
    check("the run file is whole", db.execute("PRAGMA quick_check").fetchone()[0] == "ok")
    db.close()
    rc, out, err = t("run", "file", run, "--to", os.path.join(t.folder, "one.run"))
    with open(os.path.join(t.folder, "one.run"), "rb") as a, open(os.path.join(folder, run + ".run"), "rb") as b:
        check("run file gives the same bytes", a.read() == b.read())
    bad = os.path.join(t.folder, "bad.s2p")
    with open(bad, "w") as f:
        f.write("# GHz S RI R 50\n1 0 0 1 0 1 0 nan 0\n")
    p = subprocess.run([t.program, "touchstone", bad, "--check"], capture_output=True, text=True)
    check("a bad Touchstone file is one sentence with its line", p.returncode == 2 and is_one_sentence(p.stderr) and "line 2" in p.stderr, (p.returncode, p.stderr))


def refusing(t, run):
    bad = os.path.join(t.folder, "wrong")
    with open(bad, "w") as f:
        f.write("tpl_" + "0" * 64 + "\n")
    for words in (["status"], ["runs"], ["pause", run]):
        rc, out, err = t(*words, token=bad)
        check("%s with a wrong token is 6" % words[0], rc == 6 and is_one_sentence(err), (rc, err))
    rc, out, err = t("runs", token=os.path.join(t.folder, "not-there"))
    check("a token file that is not there is 6", rc == 6 and is_one_sentence(err), (rc, err))
    for words in (["run", "show", ABSENT], ["map", ABSENT], ["wait", ABSENT], ["export", ABSENT, "--to", os.path.join(t.folder, "none")], ["pause", ABSENT], ["run", "show", "W1"]):
        rc, out, err = t(*words)
        check("%s of a run that is not there is 3" % " ".join(words[:2]), rc == 3 and is_one_sentence(err) and not out, (rc, out, err))
    check("nothing is exported of a run that is not there", not os.path.exists(os.path.join(t.folder, "none")))
    rc, out, err = t("pause", run)
    check("a sealed run takes no command: 4", rc == 4, (rc, err))
    rc, out, err = t("skip", run, "--die", "3")
    check("a die of one number is 2", rc == 2, (rc, err))
    rc, out, err = t("token", "make", "--person", "ada", "--role", "watch")
    token = os.path.join(t.folder, "ada")
    with open(token, "w") as f:
        f.write(out)
    check("a token is made, and only its secret is on stdout", rc == 0 and out.startswith("tpl_") and len(out) == 69, (rc, out, err))
    check("it reads", t("runs", token=token)[0] == 0)
    check("it may not command: 6", t("safe", token=token)[0] == 6)
    rc, out, err = t("report", "--data", t.data)
    secret = open(os.path.join(t.data, "token")).read().strip()
    check("a report has versions and logs and no secret", rc == 0 and "run.sealed" in out and "/healthz" in out and secret not in out and secret[4:] not in out, out[:300])


def supervising(t, up):
    path = os.path.join(t.data, "station.sock")
    rc, out, err = t("safe")
    check("safe gives the proof", rc == 0 and out.startswith("PROVEN SAFE"), (rc, out, err))
    before = children(up.pid)
    check("up has two children", set(before) == {"tipplaned", "tipplane-statio"}, before)
    second = subprocess.run([t.program, "up", "--station-config", t.station, "--data", t.data, "--listen", "127.0.0.1:%d" % t.port], capture_output=True, text=True, env=t.env, timeout=60)
    check("a second up is refused with the sentence of the lock", second.returncode == 4 and "another station" in second.stderr and "The page" not in second.stdout, second)
    check("and the first one keeps its children", children(up.pid) == before, children(up.pid))

    os.kill(before["tipplaned"], signal.SIGKILL)
    again = until(lambda: children(up.pid).get("tipplaned") not in (None, before["tipplaned"]) and t("status")[0] == 0, 30)
    check("a killed daemon is started again", again, t.words())
    os.kill(before["tipplane-statio"], signal.SIGKILL)
    again = until(lambda: children(up.pid).get("tipplane-statio") not in (None, before["tipplane-statio"]) and json.loads(t("station", "--json")[1])["connected"], 30)
    check("a killed station is started again, and the daemon finds it", again, t.words())

    time.sleep(3)   # up has seen both answer: whoever has only just begun is given a minute
    hung = children(up.pid)["tipplaned"]
    os.kill(hung, signal.SIGSTOP)
    rc, out, err = t("safe", "--socket", path, seconds=60)
    check("with the daemon hung, safe asks the station itself", rc == 0 and "PROVEN SAFE" in out, (rc, out, err))
    again = until(lambda: children(up.pid).get("tipplaned") not in (None, hung) and t("status")[0] == 0, 60)
    check("a hung daemon is killed and started again", again, t.words())
    time.sleep(3)
    hung = children(up.pid)["tipplane-statio"]
    os.kill(hung, signal.SIGSTOP)
    again = until(lambda: children(up.pid).get("tipplane-statio") not in (None, hung) and json.loads(t("station", "--json")[1] or "{}").get("connected"), 60)
    check("a hung station is killed and started again", again, t.words())


def cut_run(t, up):
    time.sleep(1)   # the daemon's answer is a snapshot and may be a turn of its loop old
    ready = until(lambda: json.loads(t("status", "--json")[1] or "{}").get("ready", {}).get("ready"), 30)
    check("after all that another run can be started", ready, t("status"))
    rc, out, err = t("run", "start", "--recipe", "-", "--wafer", "W4", "--print-id", stdin=open(os.path.join(REPO, "tests/nights/tiny.json"), "rb").read())
    check("a recipe may come from stdin", rc == 0, (rc, err))
    run = out.strip()
    waiting = subprocess.Popen([t.program, "--address", t.url, "--token-file", os.path.join(t.data, "token"), "wait", run], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=t.env)
    begun = until(lambda: json.loads(t("run", "show", run, "--json")[1])["progress"]["seq"] > 40, 30)
    os.kill(children(up.pid)["tipplaned"], signal.SIGKILL)
    check("the run had begun when the daemon was killed", begun)
    try:
        out, err = waiting.communicate(timeout=120)
        check("wait outlives the daemon's death", waiting.returncode in (0, 10) and b"of" in out, (waiting.returncode, out, err))
    except subprocess.TimeoutExpired:
        waiting.kill()
        check("wait outlives the daemon's death", False, t("status")[1])
    with open(os.path.join(t.data, "daemon.out")) as f:
        check("the daemon was killed in mid-run, and the next one went on with it", "run.resumed run=" + run in f.read())
    until(lambda: t("status")[0] == 0, 30)
    check("the cut run is sealed", '"state":"sealed"' in t("run", "show", run, "--json")[1])


def safe_and_back(t):
    """Whoever says safe has a reason: nothing moves until somebody says that it may go on."""
    empty = os.path.join(t.folder, "wrong")
    with open(empty, "w") as f:
        f.write("tpl_" + "0" * 65 + "\n")
    for who, words, token in (("the daemon", ["safe"], None), ("the station itself", ["safe", "--socket", os.path.join(t.data, "station.sock")], empty)):
        rc, out, err = t("run", "start", "--recipe", os.path.join(REPO, "simulators/demo/recipe.json"), "--wafer", "W6" + str(len(words)), "--print-id")
        run = out.strip()
        progress = lambda: json.loads(t("run", "show", run, "--json")[1]).get("progress") or {}
        begun = until(lambda: progress().get("seq", 0) > 60, 30)
        rc, out, err = t(*words, token=token, seconds=60)
        check("asked of %s: safe in a run gives the proof" % who, begun and rc == 0 and "PROVEN SAFE" in out, (rc, out, err))
        check("asked of %s: the run is paused by it" % who, until(lambda: progress().get("state") == "paused", 20), progress())
        time.sleep(0.5)
        seq = progress().get("seq")
        time.sleep(1)
        check("asked of %s: and nothing goes on by itself" % who, progress().get("seq") == seq and progress().get("state") == "paused", progress())
        check("asked of %s: until somebody resumes it" % who, t("resume", run)[0] == 0 and t("wait", run, seconds=120)[0] in (0, 10), progress())


def stopping(t, up):
    pids = children(up.pid)
    seen = {}

    def look():
        now = children(up.pid)
        for name in pids:
            if name not in now:
                seen.setdefault(name, time.monotonic())
        return up.poll() is not None
    up.send_signal(signal.SIGTERM)
    end = time.monotonic() + 230
    while not look() and time.monotonic() < end:
        time.sleep(0.002)
    look()
    check("SIGTERM ends up with 0", up.poll() == 0, (up.poll(), t.words()))
    check("the daemon ends before the station", len(seen) == 2 and seen["tipplaned"] < seen["tipplane-statio"], seen)
    with open(os.path.join(t.data, "station.out")) as f:
        check("the station stopped in order", "stopped in order" in f.read().splitlines()[-1])
    check("afterwards nobody answers", t("status")[0] == 5)
    check("the words on the way are few and plain", "both stopped in order" in t.words(), t.words())


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--build", default="build/debug")
    with tempfile.TemporaryDirectory(prefix="tpcli") as folder:
        t = Tipplane(parser.parse_args().build, folder)
        before_up(t)
        up = t.up()
        try:
            check("up prints the page's address when it answers", until(lambda: "The page: %s/" % t.url in t.words(), 60), t.words())
            run = one_run(t, up)
            reading(t, run)
            exporting(t, run)
            stdf_exporting(t, run)
            refusing(t, run)
            supervising(t, up)
            cut_run(t, up)
            stopping(t, up)
        finally:
            if up.poll() is None:
                up.terminate()
                up.wait(240)
    with tempfile.TemporaryDirectory(prefix="tpcli") as folder:
        t = Tipplane(parser.parse_args().build, folder, "simulators/demo/scenario.json")
        up = t.up()
        try:
            check("up with the demo's wafer answers", until(lambda: "The page: %s/" % t.url in t.words(), 60), t.words())
            safe_and_back(t)
        finally:
            up.terminate()
            up.wait(240)
    print("%d passed, %d failed" % (counts[True], counts[False]))
    return 1 if counts[False] else 0


if __name__ == "__main__":
    sys.exit(main())

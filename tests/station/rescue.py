"""rescue.py: the real programs, the tiny recipe and one drift step: offered to a person after the run, done by the daemon where the mandate says so; the same numbers both ways.

A run that a build of schema 1 began has no place for what is granted: it is offered instead, nothing is lost, and the file stays as it was begun."""
import contextlib, csv, glob, hashlib, io, json, os, sqlite3, subprocess, sys, tempfile, time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import programs

API = "/api/v1"


def to_schema_1(path):
    """The run file as the first migrations alone make it, with all of its rows."""
    with contextlib.closing(sqlite3.connect(path)) as whole:
        whole.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        whole.execute("PRAGMA journal_mode=DELETE")
        application = whole.execute("PRAGMA application_id").fetchone()[0]
    os.rename(path, path + ".whole")
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        for name in sorted(glob.glob(os.path.join(programs.REPO, "schema", "run", "0001_*.sql"))):
            db.executescript(programs.load(name).decode())
        db.execute("ATTACH ? AS whole", (path + ".whole",))
        db.execute("PRAGMA application_id=%d" % application)
        db.execute("PRAGMA user_version=1")
        for (table,) in db.execute("SELECT name FROM main.sqlite_schema WHERE type='table' AND name NOT LIKE 'sqlite%'").fetchall():
            db.execute("INSERT OR REPLACE INTO main.%s SELECT * FROM whole.%s" % (table, table))
        assert not {"evaluation_trust", "offer"} & {name for (name,) in db.execute("SELECT name FROM sqlite_schema")}
    os.remove(path + ".whole")


def night(build, folder, grants, older=False):
    recipe, scenario = json.loads(programs.load(programs.TINY[0])), json.loads(programs.load(programs.TINY[1]))
    recipe["mandate"].update(remeasure_suspects=False, rescue_suspects=grants)
    scenario["faults"] = [{"what": "drift_step", "port": 2, "fs": 70, "db": 0, "at_count": 20}]
    os.makedirs(folder)
    for name, what in (("scenario.json", scenario), ("tiny.json", recipe)):
        with open(os.path.join(folder, name), "w") as f:
            json.dump(what, f)
    p = programs.Programs(build, folder, scenario=os.path.join(folder, "scenario.json")).up()
    text = json.dumps(recipe).encode()
    sha = hashlib.sha256(text).hexdigest()
    status, _, body = p.call("PUT", API + "/recipes/" + sha, text, token=True)
    assert status in (200, 201), (status, body)
    status, _, body = p.call("POST", API + "/runs", {"recipe": sha, "wafer": "W1", "lot": "L1"}, token=True, key=True)
    assert status == 201, (status, body)
    run = json.loads(body)["run"]
    status, _, body = p.call("GET", API + "/runs/%s/rescue.json" % run)
    assert status == 409 and b"in hand" in body, (status, body)
    if older:  # another build began it, and its daemon has died
        p.kill("daemon")
        to_schema_1(glob.glob(os.path.join(p.data_dir, "runs", "*", "*", run + ".run"))[0])
        p.start("daemon")
        p.wait_api()
    until = time.monotonic() + 120
    while json.loads(p.call("GET", API + "/runs/" + run)[2])["state"] != "sealed":
        assert time.monotonic() < until, p.tail("daemon")
        time.sleep(0.1)
    return p, run


def rows_of(text):
    return {(r["sweep"], r["quantity"], r["freq_hz"]): r for r in csv.DictReader(io.StringIO(text, newline=""))}


def main():
    build, passed = sys.argv[sys.argv.index("--build") + 1] if "--build" in sys.argv else "build/debug", 0

    def check(true, text):
        nonlocal passed
        assert true, text
        passed += 1
        print("ok: " + text)

    with tempfile.TemporaryDirectory(prefix="rescue-") as folder:
        p, run = night(build, os.path.join(folder, "offered"), False)
        try:
            get = lambda what: p.call("GET", API + "/runs/%s%s" % (run, what))[2]
            counts, sentence = (json.loads(get(""))["progress"][k] for k in ("counts", "sentence"))
            check(counts["rescued"] == 0 and counts["suspect"] > 0 and counts["rescue_offered"] == counts["suspect"] and "tipplane evaluate" in sentence,
                  "without the mandate %(suspect)d suspects stay suspect, and the last sentence offers a rescue" % counts)
            said = json.loads(get("/evaluations"))
            check([e["n"] for e in said["evaluations"]] == [1], "the run has its own evaluation alone")
            offer, notes = said["offer"], [e for e in json.loads(get("/journal?phase=note"))["entries"] if e["body"]["note"] == "rescue_offered"]
            check(len(notes) == 1 and notes[0]["seq"] == offer["entry"] and offer["devices"] == offer["suspects"] == counts["suspect"], "and one offer, with its note in the journal: " + notes[0]["body"]["why"])
            before = get("/parameters.csv")
            offered = json.loads(get("/rescue.json"))
            check(offered["rescued"] == offered["suspects"] == counts["suspect"] and "port 2 by 7" in offered["spec"]["intervals"][0]["sentence"],
                  "asked for, all are rescued: " + offered["spec"]["intervals"][0]["sentence"])
            check(all(r["trust"] == "rescued" for r in offered["parameters"]) and len(offered["parameters"]) > 0, "none of them is proven")
            check(get("/parameters.csv") == before, "and nothing stored has changed")
            check(offered["offered"] == offer["offered"] and offered["spec"] == offer["spec"] and len(offered["parameters"]) == offer["values"], "what is taken is what was offered at " + offer["offered"])
            with open(os.path.join(folder, "copy.run"), "wb") as f:
                f.write(get("/file"))
            with sqlite3.connect(os.path.join(folder, "copy.run")) as db:
                stored = db.execute("SELECT sweep,quantity,freq_hz,value,u95,verdict,trust FROM v_offer ORDER BY 1,2,3").fetchall()
            check(stored == [tuple(r[k] for k in ("sweep", "quantity", "freq_hz", "value", "u95", "verdict", "trust")) for r in offered["parameters"]], "its %d numbers lie in the run's file, bit for bit" % len(stored))
            token = os.path.join(folder, "offered/data/token")
            cli = [os.path.join(build, "tipplane"), "evaluate", run, "--to", os.path.join(folder, "out.csv"), "--address", "http://127.0.0.1:%d" % p.port, "--token-file", token]
            said = subprocess.run(cli, capture_output=True, text=True)
            show = subprocess.run([cli[0], "run", "show", run] + cli[5:], capture_output=True, text=True).stdout
            check("Offered      %(values)d values of %(devices)d of %(suspects)d suspects" % offer in show and "to take it: tipplane evaluate " + run in show, "tipplane run show tells it: " + show[show.find("Offered"):].split("\n")[0], )
            check(said.returncode == 0 and "as the run offered at " + offer["offered"] in said.stdout and "suspects rescued" in said.stdout and "between calibrations 1 and 2" in said.stdout, "tipplane evaluate says so: " + said.stdout.split("\n")[0])
            with open(os.path.join(folder, "out.csv"), newline="") as f:
                by_hand = rows_of(f.read())
        finally:
            p.stop()
        p, run = night(build, os.path.join(folder, "granted"), True)
        try:
            get = lambda what: p.call("GET", API + "/runs/%s%s" % (run, what))[2]
            progress = json.loads(get(""))["progress"]
            check(json.loads(get("/evaluations"))["offer"] is None, "with the mandate nothing is offered")
            check(progress["counts"]["suspect"] == 0 and progress["counts"]["rescued"] == counts["suspect"] and progress["counts"]["rescue_offered"] == 0,
                  "with the mandate the daemon rescues them itself")
            words = {d["trust"] for die in json.loads(get("/map"))["dies"] for d in die["devices"]}
            check(words == {"proven", "rescued"}, "the map shows proven and rescued, nothing suspect")
            newest, first = rows_of(get("/parameters.csv").decode()), rows_of(get("/parameters.csv?evaluation=1").decode())
            rescued = {k: r for k, r in newest.items() if r["trust"] == "rescued"}
            check(set(rescued) == set(by_hand) and all(float(rescued[k]["value"] or 0) == float(by_hand[k]["value"] or 0) and rescued[k]["u95"] == by_hand[k]["u95"] for k in rescued),
                  "its %d numbers are those that were offered, bit for bit" % len(rescued))
            check(all(first[k]["trust"] == "suspect" for k in rescued) and all(first[k] == r for k, r in newest.items() if k not in rescued), "the first evaluation still calls them suspect")
            check(any(first[k]["value"] != r["value"] for k, r in rescued.items()), "and had other values")
        finally:
            p.stop()
        p, run = night(build, os.path.join(folder, "older"), True, older=True)
        try:
            get = lambda what: p.call("GET", API + "/runs/%s%s" % (run, what))[2]
            row = json.loads(get(""))
            check(row["state"] == "sealed" and row["progress"]["counts"]["suspect"] == counts["suspect"] and row["progress"]["counts"]["rescued"] == 0, "granted, but begun under schema 1: the run ends, its suspects stay suspect")
            notes = [e["body"]["why"] for e in json.loads(get("/journal?phase=note"))["entries"] if e["body"]["note"] == "rescue_offered"]
            check(len(notes) == 1 and "this older file has no place" in notes[0] and "tipplane evaluate" in row["progress"]["sentence"], "and says so, once: %s; %s" % (notes[0], row["progress"]["sentence"]))
            check([e["n"] for e in json.loads(get("/evaluations"))["evaluations"]] == [1], "nothing of it is stored by halves")
            taken = json.loads(get("/rescue.json"))
            check(taken["rescued"] == taken["suspects"] == counts["suspect"] and taken["offered"] is None and len(taken["parameters"]) == len(by_hand), "tipplane evaluate has all of it computed")
            kept = p
        finally:
            p.stop()
        with contextlib.closing(kept.database(run)) as db:
            check(db.execute("PRAGMA user_version").fetchone()[0] == 1 and db.execute("PRAGMA integrity_check").fetchone()[0] == "ok", "the sealed file is of schema 1 still")
    print("%d passed, 0 failed, 0 skipped" % passed)


main()

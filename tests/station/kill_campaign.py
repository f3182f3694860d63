#!/usr/bin/env python3
"""SIGKILL of the real programs at random instants; after each run everything that must be true of it is looked up in its files.

kill_campaign.py [--build DIR] [--script] [--daemon N] [--station N] [--both N] [--runs N] [--demo] [--full] [--seed S]
By default on the tiny recipe; --full: 100 kills of the daemon, 20 of the station, 20 of both, over ten demo runs.  Kills are spread evenly over the journal of a
quiet run of the same seed, and fall up to 40 ms after an entry was seen.  The first runs kill the daemon alone: there no copy of a standard may be touched once more
than in the quiet run.
"""
import argparse, hashlib, json, os, random, shutil, stat, tempfile, threading, time
from programs import Count, Programs, TINY, UpPrograms, WIDE, load

count = Count()
RAW = ("S11", "S12", "S21", "S22")
SIDEWAYS = ("home", "align", "move", "park", "unload")
POINT_BYTES = {"c64le": 8, "c64be": 8, "c128le": 16, "c128be": 16}


def digest(raw):
    """As docs/database.md describes it."""
    m = 2 ** 64 - 1
    a, b = 0x9e3779b97f4a7c15 ^ len(raw), 0xc2b2ae3d27d4eb4f ^ len(raw)
    for i in range(0, len(raw), 8):
        w = int.from_bytes(raw[i:i + 8], "little")
        a = (a ^ w) * 0xff51afd7ed558ccd & m
        a ^= a >> 32
        b = (b + w) * 0xc4ceb9fe1a85ec53 & m
        b ^= b >> 29
    return a.to_bytes(8, "little") + b.to_bytes(8, "little")


class Faults(list):
    def unless(self, true, text):
        if not true:
            self.append(text)


def judge(p, run, seen, kills, fast):
    """All that must hold of an ended run.  Returns (faults, facts)."""
    bad, facts = Faults(), {}
    catalogue = p.database()
    path, state, sha = catalogue.execute("SELECT path, state, sealed_sha256 FROM run WHERE id=?", (run,)).fetchone()
    path = os.path.join(p.data_dir, path)
    bad.unless(state == "sealed", "the catalogue says %s" % state)
    bad.unless(sha is not None and hashlib.sha256(load(path)).digest() == sha, "the file's SHA-256 is not the sealed one")
    bad.unless(stat.S_IMODE(os.stat(path).st_mode) == 0o444, "a sealed file can be written")
    db = p.database(run)
    for name, base in (("run file", db), ("catalogue", catalogue)):
        bad.unless(base.execute("PRAGMA integrity_check").fetchone()[0] == "ok", "%s: integrity_check" % name)
        bad.unless(not base.execute("PRAGMA foreign_key_check").fetchall(), "%s: foreign_key_check" % name)

    # sweeps: each outcome that was good has its row and its traces; each one seen before a kill is there, byte for byte
    sweeps = dict(db.execute("SELECT s.id, a.points FROM sweep s JOIN axis a ON a.id=s.axis"))
    traces = {}
    for sweep, name, dtype, check, raw in db.execute("SELECT sweep, name, dtype, digest, raw FROM trace"):
        traces.setdefault(sweep, {})[name] = hashlib.sha256(raw).digest()
        bad.unless(len(raw) == POINT_BYTES[dtype] * sweeps[sweep], "sweep %d trace %s: %d bytes for %d points" % (sweep, name, len(raw), sweeps[sweep]))
        if not fast or sweep % 97 == 0:
            bad.unless(digest(raw) == check, "sweep %d trace %s: digest" % (sweep, name))
    good = [r[0] for r in db.execute("SELECT i.seq FROM journal o JOIN journal i ON i.step=o.step AND i.phase='intend' "
                                     "WHERE o.phase='outcome' AND o.kind='sweep' AND o.result='ok'")]
    for seq in good:
        bad.unless(seq in sweeps, "the sweep of entry %d ended well and is not stored" % seq)
        bad.unless(all(n in traces.get(seq, {}) for n in RAW), "the sweep of entry %d has traces %s" % (seq, sorted(traces.get(seq, {}))))
    bad.unless(len(sweeps) == len(good), "%d sweeps are stored, %d ended well by the journal" % (len(sweeps), len(good)))
    for n, bytes_seen in seen.items():
        bad.unless(n in sweeps, "sweep %d was shown before a kill and is gone" % n)
        for name, sha_seen in bytes_seen.items():
            bad.unless(traces.get(n, {}).get(name) == sha_seen, "sweep %d, trace %s: not the bytes that were shown before a kill" % (n, name))

    # ledger of each thing = lowerings intended on it that were not given back
    entries = db.execute("SELECT seq, step, phase, kind, result, body FROM journal ORDER BY seq").fetchall()
    given_back = {json.loads(b)["of_step"] & 0xffffffff for _, _, ph, k, _, b in entries if ph == "note" and json.loads(b)["note"] == "compensate"}
    intended = {s for s, _, ph, k, _, _ in entries if ph == "intend" and k == "lower"}
    touched = {}
    for touchdown, thing in db.execute("SELECT touchdown, thing FROM touched"):
        touched.setdefault(thing, set()).add(touchdown)
        bad.unless(touchdown in intended, "touchdown %d has no intention" % touchdown)
    ledger = {"%s/%s/%s" % (k, s, part): (n, budget) for k, s, part, n, budget in catalogue.execute(
        "SELECT t.kind, t.serial, t.part, coalesce(sum(l.touches), 0), t.budget FROM thing t LEFT JOIN ledger l ON l.thing=t.id AND l.run=? GROUP BY t.id", (run,))}
    for thing, (n, budget) in ledger.items():
        want = len(touched.get(thing, set()) - given_back)
        bad.unless(n == want, "%s: the ledger counts %d, the journal intends %d" % (thing, n, want))
        bad.unless(budget is None or n <= budget, "%s: %d touches, budget %s" % (thing, n, budget))
    bad.unless(set(touched) <= set(ledger), "things without a ledger: %s" % (set(touched) - set(ledger)))
    tips = {thing: n for thing, (n, _) in ledger.items() if thing.startswith("tip/")}
    for thing, n in tips.items():
        bad.unless(n == len(intended - given_back), "%s: %d touches counted, %d lowerings intended" % (thing, n, len(intended - given_back)))

    # laws, from the journal alone: what was known before each intention
    known = None
    for seq, _, phase, kind, result, body in entries:
        body = json.loads(body)
        if phase == "intend" and known:
            if kind in SIDEWAYS:
                bad.unless(known["separated"] == "known", "entry %d: %s though separation was not known" % (seq, kind))
            if kind in ("lower", "separate"):
                bad.unless(known["bias_off"] == "known", "entry %d: %s though bias off was not known" % (seq, kind))
        if "state" in body and (phase == "outcome" or body.get("has_state")):
            if phase == "outcome" and not body.get("station_boot"):
                continue  # done by the daemon
            known = body["state"]

    # the world: what really happened under the probes
    with open(os.path.join(p.world, "truth.json.events")) as f:
        events = f.read()
    bad.unless("crash" not in events, "the stage moved sideways in contact: %s" % [line for line in events.splitlines() if "crash" in line][:2])
    world = json.loads(load(os.path.join(p.world, "world.state")))
    bad.unless(not world["state"]["in_contact"] and all(abs(v) < 0.5 for v in world["state"]["volt"]), "the world was left in contact or biased: %s" % world["state"])
    really = sum(int(world["touches"][i:i + 4], 16) for i in range(0, len(world["touches"]), 4))
    spent = max(tips.values())
    bad.unless(really <= spent, "the probes touched %d times, the ledger counts %d" % (really, spent))
    facts["touches"], facts["really"] = spent, really
    facts["copies"] = {t: n for t, (n, _) in ledger.items() if t.startswith("copy/")}
    facts["calibrations"], = db.execute("SELECT count(*) FROM calibration").fetchone()
    facts["checks"], = db.execute("SELECT count(*) FROM check_done").fetchone()
    recipe = json.loads(db.execute("SELECT d.body FROM document d JOIN run r ON r.recipe=d.sha256").fetchone()[0])
    explained = {s["name"]: 0 for s in recipe["standards"] if not s.get("raised")}
    for uses, times in ((recipe["calibration"]["standards"], facts["calibrations"]), (recipe["calibration"]["verify"], facts["calibrations"]),
                        (recipe["check"]["standards"], facts["checks"])):
        for use in uses:
            if use["standard"] in explained:
                explained[use["standard"]] += times
    facts["unexplained"] = {t: n - explained.get(t.split("/")[-1], 0) for t, n in facts["copies"].items()}
    facts["entries"], facts["sweeps"], facts["seen"] = len(entries), len(sweeps), len(seen)
    facts["compensated"] = len(given_back)
    facts["trust"] = dict(db.execute("SELECT trust, count(*) FROM v_touchdown WHERE device IS NOT NULL GROUP BY trust"))
    unsaid = db.execute("SELECT id FROM touchdown WHERE outcome IS NULL").fetchall()
    bad.unless(not unsaid, "how these touches ended is not said: %s" % unsaid[:5])
    silent = db.execute("SELECT d.name, d.die_x, d.die_y FROM v_touchdown t JOIN device d ON d.name=t.device AND d.die_x=t.die_x AND d.die_y=t.die_y "
                        "WHERE t.outcome='good' AND EXISTS(SELECT 1 FROM v_parameter p WHERE p.device=t.device) "
                        "AND EXISTS(SELECT 1 FROM sweep s WHERE s.touchdown=t.id) "
                        "AND NOT EXISTS(SELECT 1 FROM parameter p JOIN sweep s ON s.id=p.sweep WHERE s.touchdown=t.id)").fetchall()
    bad.unless(not silent, "%d well measured devices have neither values nor a reason: %s" % (len(silent), silent[:3]))
    measured = db.execute("SELECT count(DISTINCT die_x || ',' || die_y || ',' || device) FROM v_parameter WHERE value IS NOT NULL").fetchone()[0]
    facts["measured"] = measured
    db.close()
    catalogue.close()
    return bad, facts


def against_quiet(facts, quiet, only_daemon):
    bad = Faults()
    if only_daemon:
        bad.unless(facts["measured"] == quiet["measured"], "%d devices have values, %d in the quiet run" % (facts["measured"], quiet["measured"]))
        # A check may fail by chance in one run and not in the other, so what the run's own calibrations and checks explain is taken off first.
        more = {k: (facts["unexplained"][k], quiet["unexplained"].get(k, 0)) for k in facts["unexplained"] if facts["unexplained"][k] > max(0, quiet["unexplained"].get(k, 0))}
        bad.unless(not more, "the daemon's death cost touches on standards (more than calibrations and checks explain, here and in the quiet run): %s" % more)
        same = (facts["calibrations"], facts["checks"]) == (quiet["calibrations"], quiet["checks"])
        bad.unless(not same or facts["copies"] == quiet["copies"], "copies were touched otherwise than in the quiet run: %s" %
                   {k: (quiet["copies"].get(k), n) for k, n in facts["copies"].items() if n != quiet["copies"].get(k)})
        bad.unless(not same or facts["touches"] <= quiet["touches"] + len(facts["kills"]), "%d touches, %d in the quiet run, %d kills" % (facts["touches"], quiet["touches"], len(facts["kills"])))
    return bad


def one_run(build, files, seed, plan, keep, by_up, quiet=None, only_daemon=False):
    """plan: [(journal seq, delay in s, names)], rising; quiet: the facts of the same seed without kills.  Returns (faults, facts, kills left over)."""
    folder = tempfile.mkdtemp(prefix="tipplane-kill-")
    p = (UpPrograms if by_up else Programs)(build, folder, files[1], seed)
    left, seen, done, bad, facts = list(plan), {}, [], Faults(), {}
    try:
        p.up().supervise()
        run = p.start_run(load(files[0]), "W%d" % seed)
        began = time.monotonic()
        while time.monotonic() - began < 900:
            try:
                row = p.get("/api/v1/runs/" + run)
            except (OSError, AssertionError):
                time.sleep(0.005)
                continue
            if row["state"] == "sealed" and row["file_sha256"] and not row["in_hand"]:
                break
            if left and row["progress"] and row["in_hand"] and row["progress"]["seq"] >= left[0][0]:
                _, delay, names = left.pop(0)
                if len(done) % 3 == 0:
                    look_at_sweeps(p, run, seen)
                time.sleep(delay)
                while not all(p.runs(n) for n in names):
                    time.sleep(0.002)
                p.kill(*names)
                done.append((row["progress"]["seq"], names))
            else:
                time.sleep(0.004)
        else:
            bad.append("not sealed after 900 s: %s\n%s" % (json.dumps(row)[:1200], p.tail("daemon")))
        facts["seconds"] = time.monotonic() - began
        until = time.monotonic() + 30
        while not all(p.runs(n) for n in ("daemon", "station")) and time.monotonic() < until:
            time.sleep(0.02)
        p.wait_api()
        status = p.stop()
        bad.unless(status == {"daemon": 0, "station": 0}, "stopped in order they ended with %s" % status)
        if not bad:
            more, found = judge(p, run, seen, done, len(files) > 2)
            bad += more
            facts.update(found)
            facts["kills"] = done
            if quiet and not bad:
                bad += against_quiet(facts, quiet, only_daemon)
    except Exception as e:  # a failed run is reported with its seed, the campaign goes on
        bad.append("%s: %s" % (type(e).__name__, e))
    finally:
        p.abandon()
        if bad and keep:
            print("kept: " + folder)
        else:
            shutil.rmtree(folder, ignore_errors=True)
    facts["kills"] = done
    return bad, facts, left


def look_at_sweeps(p, run, seen):
    try:
        sweeps = p.get("/api/v1/runs/%s/sweeps" % run)["sweeps"]
        for s in sweeps:
            seen.setdefault(s["n"], {})
        if sweeps:
            n = random.choice(sweeps)["n"]
            for name in RAW:
                status, _, raw = p.call("GET", "/api/v1/runs/%s/sweeps/%d/traces/%s" % (run, n, name))
                if status == 200:
                    seen[n][name] = hashlib.sha256(raw).digest()
    except (OSError, AssertionError):
        pass


def plan_of(rng, kinds, entries):
    """Even slices of the journal, one kill somewhere in each."""
    rng.shuffle(kinds)
    width = entries / max(1, len(kinds))
    return [(int(width * (i + rng.random())) + 1, rng.random() * 0.04, names) for i, names in enumerate(kinds)]


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--build", default="build/debug")
    a.add_argument("--daemon", type=int, default=10)
    a.add_argument("--station", type=int, default=3)
    a.add_argument("--both", type=int, default=2)
    a.add_argument("--runs", type=int, default=4)
    a.add_argument("--seed", type=int, default=int(time.time()) % 100000)
    a.add_argument("--demo", action="store_true")
    a.add_argument("--full", action="store_true")
    a.add_argument("--script", action="store_true", help="started again by this script instead of `tipplane up`")
    a.add_argument("--keep", action="store_true", help="keep the folder of a failed run")
    o = a.parse_args()
    o.by_up = not o.script
    if o.full:
        o.daemon, o.station, o.both, o.runs, o.demo = 100, 20, 20, 10, True
    files = WIDE + ("large",) if o.demo else TINY
    rng = random.Random(o.seed)
    random.seed(o.seed)
    print("kill_campaign: --seed %d: %d kills of the daemon, %d of the station, %d of both over %d runs, started again by %s" % (
        o.seed, o.daemon, o.station, o.both, o.runs, "`tipplane up`" if o.by_up else "this script"))
    alone = max(1, o.runs // 2)  # runs in which only the daemon dies
    for_daemon = [["daemon"]] * o.daemon
    for_rest = [["station"]] * o.station + [["daemon", "station"]] * o.both
    total = {"daemon": 0, "station": 0, "both": 0}
    for i in range(o.runs):
        seed = 1 + rng.randrange(1 << 30)
        bad, quiet, _ = one_run(o.build, files, seed, [], o.keep, o.by_up)
        if bad:
            count.fail("run %d, seed %d, quiet: %s" % (i + 1, seed, "; ".join(bad[:4])))
            continue
        only_daemon = i < alone
        runs_left, alone_left = o.runs - i, alone - i
        if only_daemon:
            n = -(-len(for_daemon) // alone_left)
            mine, for_daemon = for_daemon[:n], for_daemon[n:]
        else:
            n = -(-len(for_rest) // runs_left)
            rng.shuffle(for_rest)
            mine, for_rest = for_rest[:n] + for_daemon, for_rest[n:]
            for_daemon = []
        bad, facts, left = one_run(o.build, files, seed, plan_of(rng, mine, quiet["entries"]), o.keep, o.by_up, quiet, only_daemon)
        for _, _, names in left:
            (for_daemon if names == ["daemon"] else for_rest).append(names)
        for _, names in facts["kills"]:
            total["both" if len(names) == 2 else names[0]] += 1
        text = "run %d, seed %d, kills %s: %.1f s, %s entries, %s sweeps (%s seen before a kill), touches %s (quiet %d), standards beyond calibrations and checks %s, given back %s, trust %s" % (
            i + 1, seed, " ".join("%s@%d" % ("+".join(n), s) for s, n in facts["kills"]), facts.get("seconds", 0), facts.get("entries"), facts.get("sweeps"), facts.get("seen"),
            facts.get("touches"), quiet["touches"], sum(facts.get("unexplained", {}).values()), facts.get("compensated"), facts.get("trust"))
        if bad:
            count.fail("%s\n  %s\n  repeat: --seed %d" % (text, "\n  ".join(bad[:8]), o.seed))
        else:
            count.ok(text)
    count.check(total == {"daemon": o.daemon, "station": o.station, "both": o.both}, "killed: %(daemon)d times the daemon, %(station)d the station, %(both)d both" % total)
    count.end()


if __name__ == "__main__":
    main()

#!/usr/bin/env python3
"""The daemon is killed, or stopped for good, while the probes are in contact and C1 is biased at 10 V: the station alone makes itself safe.

safe_in_contact.py [--build DIR] [--kills N] [--stops N]
The evidence is the station's: its own log, and what it answers on its socket to the frame "safe".  The simulator's physical world must agree: no volt left, probes up.
Time is counted twice and both stay below 5 s, lease included: by the clock on the wall, and in station time: what the wall saw until then, lease included, and
the ladder's own duration on top.  (Stepped time also leaps with a step that had begun before the death; that leap is no time that passed after it.)
"""
import argparse, json, os, shutil, signal, tempfile, time
from kill_campaign import judge
from programs import Count, Programs, WIDE, load
from two_processes import Daemon, SAFE, SAFE_DONE

LIMIT_S = 5.0
count = Count()


def world(p):
    return json.loads(load(os.path.join(p.world, "world.state")))["state"]


def is_biased(state):
    return state["in_contact"] and max(abs(v) for v in state["volt"]) > 5


def log_lines(p, offset):
    with open(p.station_log, "rb") as f:
        f.seek(offset)
        return [json.loads(line) for line in f.read().splitlines() if line.endswith(b"}")]


def was_biased(lines, event_at):
    """By the station's log: a bias step was in hand or done, and none had taken it away, when the ladder's event was written."""
    on = False
    for line in lines[:event_at]:
        if "begin" in line:
            on = on or line["kind"] == "bias_on"
            if line["kind"] in ("bias_off", "separate", "safe"):
                on = False
    return on


def resume(p, run):
    """Whoever asks the station for safety, past the daemon, pauses the run: a person lets it go on.  By the journal: the state that the daemon shows may
    still be that of an earlier pause, and a resume before the new pause is written would be undone by it."""
    until, notes = time.monotonic() + 30, []
    while time.monotonic() < until:
        entries = p.get("/api/v1/runs/%s/journal?phase=note&limit=1000" % run)["entries"]
        notes = [e["body"]["note"] for e in entries if e["body"]["note"] in ("pause", "resume")]
        if notes and notes[-1] == "pause":
            status, _, answer = p.call("POST", "/api/v1/runs/%s/commands" % run, body={"do": "resume"}, token=True, key=True)
            assert status in (200, 202), "resume: %d %s" % (status, answer.decode())
            return
        time.sleep(0.02)
    raise AssertionError("the run was not paused by safe; pauses and resumes so far: " + json.dumps(notes)[:300])


def one(p, run, sig, name):
    """Returns None when the signal came too late (bias was off again), else True or False."""
    until = time.monotonic() + 60
    while True:
        try:
            state = world(p)
        except (OSError, ValueError, KeyError):
            continue
        if is_biased(state):
            break
        assert time.monotonic() < until, "no bias within 60 s: %s" % p.tail("daemon")
    offset, began_us = 0, int(time.time() * 1e6)
    p.kill("daemon", sig=sig)
    began = time.monotonic()
    events, lines = [], []
    while not events and time.monotonic() - began < 20:
        time.sleep(0.01)
        lines = log_lines(p, offset)
        events = [i for i, line in enumerate(lines) if "event" in line and line["wall_us"] >= began_us]
        if not events and sig == signal.SIGKILL and time.monotonic() - began > 4:
            break
    ok = True
    if not events or not was_biased(lines, events[0]):
        result = None
    else:
        line, event = lines[events[0]], lines[events[0]]["event"]
        wall_s, station_s = (line["wall_us"] - began_us) * 1e-6, (line["wall_us"] - began_us) * 1e-6 + event["walk_s"]
        operator = Daemon(p.socket)
        operator.send(SAFE)
        answer = operator.receive(SAFE_DONE)
        operator.s.close()
        really = world(p)
        for what, s, proven in (("log", event["state"], event["proven_safe"]), ("socket", answer["state"], answer["proven_safe"])):
            safe = proven and s["separated"] == "known" and s["bias_off"] == "known" and abs(s["volt_max"]) < 0.5 and not s["in_contact"]
            ok = ok and (safe or s["latched"])
        ok = ok and not really["in_contact"] and all(abs(v) < 0.5 for v in really["volt"]) and really["z_um"] >= 200
        ok = ok and wall_s < LIMIT_S and station_s < LIMIT_S
        count.check(ok, "%s in contact at %.2f V: %.3f V and %.0f um %.2f s of station time and %.2f s on the wall later (%s)" % (
            name, max(abs(v) for v in state["volt"]), event["state"]["volt_max"], event["state"]["z_um"], station_s, wall_s, event["text"].split(";")[0]),
            "" if ok else json.dumps([event, answer, really]))
        result = ok
    if sig == signal.SIGKILL:
        p.start("daemon")
    else:
        os.kill(p.p["daemon"].pid, signal.SIGCONT)
    p.wait_api()
    if result is not None:
        resume(p, run)
    return result


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--build", default="build/debug")
    a.add_argument("--kills", type=int, default=6)
    a.add_argument("--stops", type=int, default=2)
    o = a.parse_args()
    folder = tempfile.mkdtemp(prefix="tipplane-contact-")
    p = Programs(o.build, folder, WIDE[1], 7)
    hits, late = [], 0
    try:
        p.up()
        run = p.start_run(load(WIDE[0]))
        for sig, name, n in ((signal.SIGKILL, "killed", o.kills), (signal.SIGSTOP, "stopped (SIGSTOP)", o.stops)):
            got = 0
            while got < n and late < 40:
                result = one(p, run, sig, name)
                if result is None:
                    late += 1
                else:
                    got += 1
                    hits.append(result)
        count.check(len(hits) == o.kills + o.stops, "%d times in contact with bias on by the station's log (%d signals came too late and do not count)" % (len(hits), late))
        p.wait_sealed(run, 120)
        count.check(p.stop() == {"daemon": 0, "station": 0}, "the run went on to its end and both programs stopped in order")
        bad, facts = judge(p, run, {}, [], True)
        count.check(not bad, "everything stored is whole, ledgers and laws held (%d entries, %d sweeps)" % (facts["entries"], facts["sweeps"]), "; ".join(bad[:4]))
    except (AssertionError, OSError) as e:
        count.fail("%s: %s" % (type(e).__name__, e))
    finally:
        p.abandon()
        shutil.rmtree(folder, ignore_errors=True)
    count.end()


main()

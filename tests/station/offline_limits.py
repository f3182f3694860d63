#!/usr/bin/env python3
"""Numbers of files against limits, with the real program and no daemon: verdicts, acceptance limits and risks against the normal law written here
(JCGM 106:2012, 7 to 9), and what is refused.

offline_limits.py [--build DIR] [--print]
"""
import math, random
from offline_kit import *

HZ = [1e9 * k for k in range(1, 41)]
U = 0.002


def phi(x):
    return 0.5 * math.erfc(-x / math.sqrt(2))


def coil(d, name, henry, ohm=2.0):
    z = [ohm + 2j * math.pi * f * henry for f in HZ]
    return d.s2p(name, HZ, [[v / (v + 100), 100 / (v + 100), 100 / (v + 100), v / (v + 100)] for v in z])


def limits(d, *rows):
    return d.plan("limits.json", parameters=list(rows))


def row(low=None, high=None, quantity="Lser", hz=10e9, **more):
    r = {"quantity": quantity, **({"freq_hz": hz} if hz else {}), **more}
    return {**r, **({} if low is None else {"low": low}), **({} if high is None else {"high": high})}


def judged(d, *words, status=(0, 10)):
    told = d.json("extract", "--limits", "limits.json", *words, status=status)
    return told and [(q["judged"], q["value"][0], q["u"][0]) for f in told["files"] for q in f["quantities"]], told


def verdicts(d):
    """the probability within, the verdict and what would pass, for limits all around the value"""
    coil(d, "c.s2p", 0.3e-9)
    told = d.json("extract", "--quantity", "Lser", "--at", "10e9", "--u", U, "c.s2p")
    value, u = (told["files"][0]["quantities"][0][k][0] for k in ("value", "u"))
    seen, r = set(), random.Random(3)
    for k in range(60):
        a, b = sorted((value + u * r.uniform(-6, 6), value + u * r.uniform(-6, 6)))
        low, high, risk = (None, a, b)[r.randrange(3)], None, r.choice([0.05, 0.01, 0.2])
        low, high = (a, b) if k % 3 == 0 else (a, None) if k % 3 == 1 else (None, b)
        limits(d, row(low, high, risk=risk))
        rc, out, err = d.run("extract", "--limits", "limits.json", "--u", U, "c.s2p")
        (one,), _ = judged(d, "--u", U, "c.s2p")
        v = one[0]
        pc = (1 if high is None else phi((high - value) / u)) - (0 if low is None else phi((low - value) / u))
        want = "pass" if pc >= 1 - risk else "fail" if pc <= risk else "marginal"
        seen.add(want)
        check("%s of %s to %s" % (want, low, high), v["verdict"] == want and abs(v["probability_within"] - pc) < 1e-6 and rc == (0 if want == "pass" else 10) and want in out, (v, pc, out))
        if low is None:
            check("what would pass", v["passes_from"] is None and abs(phi((high - v["passes_to"]) / u) - (1 - risk)) < 1e-6, v)
    check("all three verdicts were there", seen == {"pass", "fail", "marginal"}, seen)
    limits(d, row(value - 0.1 * u, value + 0.1 * u))
    rc, out, err = d.run("extract", "--limits", "limits.json", "--u", U, "c.s2p")
    check("limits too near to be decided", rc == 10 and "cannot be decided with this uncertainty" in out, (rc, out))
    limits(d, row(value - 0.1 * u, value + 0.1 * u, acceptance="simple"))
    (one,), _ = judged(d, "--u", U, "c.s2p", status=(0,))
    check("by the value alone", one[0]["verdict"] == "pass" and one[0]["reason"] == "by the value alone", one)
    limits(d, row(0.2e-9, 0.4e-9, name="coil"), row(1, None, "R11", hz=20e9), row(None, 1e12, "SRF11", hz=None), row(3, None, "Qser"))
    (l, r11, srf, q), told = judged(d, "c.s2p", "--u", U)
    check("several numbers, each at its own frequency, two at one", l[0]["verdict"] == r11[0]["verdict"] == q[0]["verdict"] == "pass" and abs(l[1] / 0.3e-9 - 1) < 1e-9 and abs(q[1] / (2 * math.pi * 3 / 2) - 1) < 1e-9, told)
    check("and one of the sweep that does not exist: no verdict, and why", srf[0]["verdict"] == "none" and srf[0]["reason"] == "no value", srf)
    rc, out, err = d.run("extract", "--limits", "limits.json", "c.s2p")
    check("nobody states u: no verdict", rc == 10 and "nothing states how well it is known" in out and "pass" not in out, (rc, out, err))


def risks(d):
    """of thirty coils that scatter: shares of all that is made, by adding up the two normals on a grid"""
    r = random.Random(9)
    names = [coil(d, "c%d.s2p" % k, 0.3e-9 * (1 + 0.02 * r.gauss(0, 1))) for k in range(30)]
    low, high = 0.285e-9, 0.312e-9
    for more, rule in (({}, 0.05), ({"risk": 0.2}, 0.2), ({"acceptance": "simple"}, None)):
        limits(d, row(low, high, **more))
        all_, told = judged(d, "--u", U, *names)
        x, us = [v for j, v, u in all_], [u for j, v, u in all_]
        u = math.sqrt(sum(k * k for k in us) / len(us))
        m = sum(x) / len(x)
        s = math.sqrt(sum((v - m) ** 2 for v in x) / (len(x) - 1))
        bad = good_not = failed = 0.0
        steps = 400
        for i in range(-steps, steps + 1):  # the true value
            t = 6 * i / steps
            true, weight = m + s * t, math.exp(-t * t / 2) / math.sqrt(2 * math.pi) * 6 / steps
            for k in range(-steps, steps + 1):  # what is read of it
                e = 6 * k / steps
                y, w = true + u * e, weight * math.exp(-e * e / 2) / math.sqrt(2 * math.pi) * 6 / steps
                pc = phi((high - y) / u) - phi((low - y) / u)
                passes, fails = (low <= y <= high, not low <= y <= high) if rule is None else (pc >= 1 - rule, pc <= rule)
                inside = low <= true <= high
                bad += w * (passes and not inside)
                good_not += w * (inside and not passes)
                failed += w * (inside and fails)
        said = told["risks"][0]
        check("risks, %s" % (more or "guarded"), said["values"] == 30 and abs(said["bad_passed"] - bad) < 2e-3 and abs(said["good_not_passed"] - good_not) < 5e-3 and abs(said["good_failed"] - failed) < 3e-3 and abs(said["u"] / u - 1) < 1e-9, (said, bad, good_not, failed))
    rc, out, err = d.run("extract", "--limits", "limits.json", "--u", U, *names)
    check("and in words", "RISKS of the verdicts" in out and "Lser at 10 GHz, 30 files:" in out and "by the value alone, u " in out, out)
    told = d.json("extract", "--limits", "limits.json", "--u", U, *names[:9], status=(0, 10))
    check("nine files are too few", told and told["risks"] == [], told and told["risks"])


def bad(d):
    coil(d, "c.s2p", 0.3e-9)
    good = row(1e-10, 5e-10)
    for name, rows, *pieces in (("an unknown word", [row(1, 2, "Lsr")], "Lsr", "--quantities"), ("no frequency", [row(1, 2, hz=None)], "/parameters/0/freq_hz", "Lser"),
                                ("a frequency of a sweep", [good, row(1, 2, "SRF11")], "/parameters/1/freq_hz", "SRF11"), ("no limit", [row()], "/parameters/0/low", "no limit"),
                                ("limits the wrong way round", [row(2e-10, 1e-10)], "/parameters/0/low", "below"), ("one twice", [good, good], "/parameters/1", "twice"),
                                ("an unknown key", [{**good, "hihg": 1}], "hihg", "high"), ("a risk of a half", [{**good, "risk": 0.5}], "risk", "0.5"), ("nothing", [], "parameters")):
        refused(d, name, ["extract", "--limits", limits(d, *rows), "c.s2p"], "limits.json", *pieces)
    limits(d, good)
    refused(d, "words beside", ["extract", "--limits", "limits.json", "--quantity", "Lser", "c.s2p"], "--quantity")
    refused(d, "frequencies beside", ["extract", "--limits", "limits.json", "--at", "1e9", "c.s2p"], "--at")
    refused(d, "no such file", ["extract", "--limits", "nowhere.json", "c.s2p"], "nowhere.json", status=3)
    rc, out, err = d.run("extract", "--limits", limits(d, row(1e-10, 5e-10, hz=7e4)), d.s2p("low.s2p", [7e4, 1e9, 2e9], [[v / (v + 100), 100 / (v + 100), 100 / (v + 100), v / (v + 100)] for v in (2 + 2j * math.pi * f * 0.3e-9 for f in (7e4, 1e9, 2e9))]), "--u", U)
    check("a number below what can be resolved: no verdict, exit 1", rc == 1 and "none" in out and "below what can be resolved" in err, (rc, out, err))


if __name__ == "__main__":
    raise SystemExit(run(verdicts, risks, bad))

#!/usr/bin/env python3
"""`tipplane quality` on files: a good line passes every test, and each fault is found by its own; noise at the tips against the noise that was put in.

offline_quality.py [--build DIR] [--print]
The truth is the file the test makes: a lossy line of known constants with noise of known size, then one fault.  IEEE 370's figures against its formulas, written here once more.
"""
import cmath, math, random
from offline_kit import *

HZ = [0.5e9 * (k + 1) for k in range(240)]   # to 120 GHz: edges at 30, 54, 80 and 110

def line(f, um=3000):
    """series R of the skin with its own inductance, so that it is causal"""
    w = 2 * math.pi * f
    z, y = 60 * (1 + 1j) * math.sqrt(f / 1e9) * 8 + 1j * w * 4.2e-7, 1j * w * 1.45e-10
    g, zc = cmath.sqrt(z * y), cmath.sqrt(z / y)
    a, b, cc = cmath.cosh(g * um * 1e-6), zc * cmath.sinh(g * um * 1e-6), cmath.sinh(g * um * 1e-6) / zc
    d = 2 * a + b / 50 + cc * 50
    return [(b / 50 - cc * 50) / d, 2 / d, 2 / d, (b / 50 - cc * 50) / d]

def noisy(rows, u, seed):
    rng = random.Random(seed)
    return [[x + u * complex(rng.gauss(0, 1), rng.gauss(0, 1)) for x in row] for row in rows]

def tests_of(told):
    return {t["test"]: t for t in told["files"][0]["tests"]} if told else {}

def good_and_each_fault(d):
    good = [line(f) for f in HZ]
    u = 5e-5
    faults = {  # which test finds it, and by how much
        "passivity": [[2.5 * x if f > 60e9 else x for x in row] for f, row in zip(HZ, good)],
        "reciprocity": [[r[0], r[1], 1.08 * r[2], r[3]] for r in good],
        "causality": [[x.conjugate() for x in r] for r in good],
        "causality_fit": [[x.conjugate() for x in r] for r in good],
        "symmetry": [[r[0], r[1], r[2], r[3] + 0.2] for r in good],
        "seams": [[r[0], r[1], r[2] * (1.03 if f >= 54e9 else 1), r[3]] for f, r in zip(HZ, good)],
    }
    d.s2p("good.s2p", HZ, noisy(good, u, 1))
    told = d.json("quality", "good.s2p", "--symmetric", 0.01, "--strict")
    found = {k: t["finding"] for k, t in tests_of(told).items()}
    check("a good line passes every test", set(found) == set(faults) and set(found.values()) == {"good"}, (found, [t["say"] for t in tests_of(told).values()]))
    for name, rows in faults.items():
        d.s2p("bad.s2p", HZ, noisy(rows, u, 2))
        told = d.json("quality", "bad.s2p", "--symmetric", 0.01, "--strict", status=(10,))
        t = tests_of(told).get(name)
        check("%s: the fault is found" % name, t and t["finding"] == "bad" and len(t["say"]) > 20, t)
        if name == "passivity" and t:
            check("from where it begins", 60e9 < t["from_hz"] < 61e9 and t["worst"] > 1.1, t)
        if name == "seams" and t:
            check("at the edge where it is", abs(t["worst_hz"] - 54e9) < 1e9, t)
    d.s2p("unlike.s2p", HZ, faults["symmetry"])
    t = tests_of(d.json("quality", "unlike.s2p", "--strict", status=(0, 10))).get("symmetry")
    check("unlike ends are no fault unless it is said that they are alike", t and t["finding"] == "unknown" and t["worst"] > 0.19, t)
    rc, out, err = d.run("quality", "good.s2p")
    check("one line a test for people, and no mark at a good one", rc == 0 and out.count("\n") >= 8 and "IEEE 370" in out and not [x for x in out.split("\n") if x[2:3] in ("!", "?")], (rc, out, err))

def ieee(d):
    rows = [[x * 1.05 for x in line(f)] for f in HZ]
    for r in rows:
        r[2] += 0.02
    d.s2p("ieee.s2p", HZ, rows)
    def singular(s):
        a, b = sum(abs(x) ** 2 for x in s), abs(s[0] * s[3] - s[1] * s[2]) ** 2
        return math.sqrt((a + math.sqrt(max(a * a - 4 * b, 0))) / 2)
    n = len(HZ)
    want = {"passivity": 100 / n * max(0, n - sum(max(0, singular(r) - 1.00001) / 0.1 for r in rows)), "reciprocity": 100 / n * max(0, n - sum(max(0, abs(r[1] - r[2]) - 1e-6) / 0.1 for r in rows))}
    told = d.json("quality", "ieee.s2p")
    got = told["files"][0]["ieee370"] if told else {}
    for k, w in want.items():
        check("IEEE 370, %s by its formula" % k, k in got and 5 < w < 99.9 and abs(got[k] - w) < 1e-6, (got, w))

def floors(d):
    u, names = 5e-4, []
    for k in range(12):
        names.append("again%d.s2p" % k)
        d.s2p(names[-1], HZ, noisy([line(f) for f in HZ], u, 10 + k))
    told = d.json("quality", *names, "--repeats")
    bands = told["sweep_to_sweep"] if told else []
    check("noise from sweep to sweep is the one put in", bands and all(abs(b["u"] / u - 1) < 0.05 for b in bands), bands)
    d.s2p("slow.s2p", HZ, noisy([line(f, 300) for f in HZ], u, 5))   # turns by little from point to point
    told = d.json("quality", "slow.s2p")
    for band in [b for b in (told["files"][0]["noise"] if told else []) if b["from_hz"] >= 10e9]:   # the largest of four medians of 16; below, the root of the skin is not smooth
        check("one sweep's noise from %.3g GHz is the one put in" % (band["from_hz"] / 1e9), 0.8 * u < band["u"] < 1.7 * u and abs(band["db"] - 20 * math.log10(band["u"])) < 1e-9, band)
    d.s2p("other.s2p", HZ[:-1], [line(f) for f in HZ[:-1]])
    rc, out, err = d.run("quality", "again0.s2p", "other.s2p", "--repeats")
    check("other frequencies are no repeats", rc == 2 and "other frequencies" in err, (rc, err))
    air = [[cmath.exp(-2j * math.pi * f * 0.2e-12), 1e-3 + 0j, 1e-3 + 0j, cmath.exp(-2j * math.pi * f * 0.2e-12)] for f in HZ]
    d.s2p("air.s2p", HZ, noisy(air, 1e-5, 3))
    told = d.json("quality", "air.s2p", "--raised")
    bands = told["files"][0]["floor"] if told else []
    check("what passes between raised probes: -60 dB, noise -100 dB", bands and all(abs(b["level_db"] + 60) < 0.5 and (b["noise_db"] is None or abs(b["noise_db"] + 100) < 3) for b in bands) and bands[-1]["noise_db"], bands)
    rc, out, err = d.run("quality", "again0.s2p", "--raised")
    check("a line is no raised probe", rc == 2 and "raise both probes" in err, (rc, err))
    rng = random.Random(4)
    d.s1p("one.s1p", HZ, [0.5 * cmath.exp(-2j * math.pi * f * 2e-12) + 1e-4 * complex(rng.gauss(0, 1), rng.gauss(0, 1)) for f in HZ])
    found = {k: t["finding"] for k, t in tests_of(d.json("quality", "one.s1p")).items()}
    check("one reflection is judged by what it tells", found.get("passivity") == "good" and found.get("causality_fit") == "good" and "reciprocity" not in found, found)

# by scikit-rf 2.2.0 (its class of the frequency-domain quality figures), as in tests/reference/formats_measured.c
def measured(d):
    folder = os.environ.get("TIPPLANE_DATA")
    if not folder:
        return
    told = d.json("quality", os.path.join(folder, "onwafer_150ghz", "line_0200um.s2p"))
    got = told["files"][0]["ieee370"] if told else {}
    check("a measured line: IEEE 370 as another program has it", got and abs(got["passivity"] - 98.57311301599074) < 1e-6 and abs(got["reciprocity"] - 90.44214393297703) < 1e-6, got)

def turned_round(d):
    """a transistor whose ports or S21 and S12 are exchanged, by every command that reads it"""
    fet = []
    for f in HZ:
        w = 2 * math.pi * f
        y = [[1j * w * 49e-15 + 1e-3, -9e-15j * w], [0.06 - 9e-15j * w, 6e-3 + 21e-15j * w]]
        a, b, e, g = 1 + 50 * y[0][0], 50 * y[0][1], 50 * y[1][0], 1 + 50 * y[1][1]
        n = a * g - b * e
        fet.append([(2 * g) / n - 1, -2 * b / n, -2 * e / n, 2 * a / n - 1])
    d.s2p("upright.s2p", HZ, fet)
    d.s2p("swapped.s2p", HZ, [[r[0], r[2], r[1], r[3]] for r in fet])
    d.s2p("ports.s2p", HZ, [[r[3], r[2], r[1], r[0]] for r in fet])
    said = "amplifies from port 2 to 1: ports or S21/S12 exchanged"
    for name, turned in (("upright", False), ("swapped", True), ("ports", True)):
        rc, out, err = d.run("quality", name + ".s2p")
        check("quality of %s" % name, (said in out) == turned, out)
        rc, out, err = d.run("extract", "--quantity", "gm", "--at", "20e9", name + ".s2p")
        check("extract of %s" % name, (said in err) == turned, err)

run(good_and_each_fault, ieee, floors, measured, turned_round)

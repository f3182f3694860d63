#!/usr/bin/env python3
"""`tipplane fit --model varactor` on files: the constants of the junction that the test makes come back out of one file a voltage.

offline_varactor.py [--build DIR] [--print]
The truth is C = cj0/(1 + vr/phi)^m + cp in series with rs and ls, between two ports, with noise.
"""
import math, random
from offline_kit import *

CJ0, PHI, M, CP, RS, LS = 180e-15, 0.72, 0.48, 22e-15, 3.1, 11e-12
VOLTS = [0, 0.3, 0.7, 1.2, 2, 3, 4.5, 6.5, 9]
HZ = [0.5e9 * (k + 1) for k in range(100)]

def capacitance(v):
    return CJ0 / (1 + v / PHI) ** M + CP

def device(v, f):
    w = 2 * math.pi * f
    z = RS + 1j * w * LS + 1 / (1j * w * capacitance(v))
    return [z / (z + 100), 100 / (z + 100), 100 / (z + 100), z / (z + 100)]

def write(d, noise):
    rng, names = random.Random(3), []
    for k, v in enumerate(VOLTS):
        names.append("v%d.s2p" % k)
        d.s2p(names[-1], HZ, [[x + noise * complex(rng.gauss(0, 1), rng.gauss(0, 1)) for x in device(v, f)] for f in HZ])
    return names

def constants(d):
    volts = ",".join(map(str, VOLTS))
    for noise, limit in ((0, 1e-6), (2e-5, 0.02)):
        names = write(d, noise)
        told = d.json("fit", "--model", "varactor", "--reverse", volts, *names, "--name", "var")
        if not told:
            return
        for p, v in zip(told["points"], VOLTS):
            within("noise %g, C at %g V" % (noise, v), abs(p["c_f"] / capacitance(v) - 1), limit / 10 + 1e-7)
            within("rs there", abs(p["rs_ohm"] / RS - 1), 0.02)
            within("ls there", abs(p["ls_h"] / LS - 1), 0.02)
        for e in told["elements"]:
            truth = {"rs": RS, "ls": LS}.get(e["name"])
            check("%s of all files" % e["name"], e["dropped"] or truth is None or abs(e["value"] - truth) < 1e-6 * truth + 4 * e["u"], e)
        check("noise %g, the error of S" % noise, told["error"]["worst"] < 1e-9 + 8 * noise and len(told["error"]["bands"]) >= 3, told["error"])
        for key, truth in (("cj0_f", CJ0), ("phi_v", PHI), ("m", M), ("cp_f", CP)):
            got = told[key]
            check("noise %g, %s" % (noise, key), abs(got["value"] - truth) < (4 * got["u"] if noise else limit * truth) and got["u"] < 0.1 * truth, (got, truth))
        check("the tuning range", abs(told["tuning"] / (capacitance(0) / capacitance(9)) - 1) < 0.01, told["tuning"])
    line = [x for x in told["netlist"].split("\n") if x.startswith(".model")]
    card = dict(x.split("=") for x in line[0][line[0].index("(") + 1:-1].split()) if line else {}
    check("the netlist holds the law", card and all(abs(float(card[k]) - told[w]["value"]) <= 1e-12 * told[w]["value"] for k, w in (("cjo", "cj0_f"), ("vj", "phi_v"), ("m", "m"))) and ".subckt var p1 p2 ref" in told["netlist"] and "valid from" in told["netlist"] and "model error" in told["netlist"] and "\nl1 " in told["netlist"], told["netlist"])
    rc, out, err = d.run("fit", "--model", "varactor", "--reverse", volts, *names, "--out", "var.cir")
    check("in words", rc == 0 and "varactor at 9 voltages" in out and "cj0" in out and "  ls " in out and "error of S" in out and os.path.exists(d.at("var.cir")), (rc, out, err))

def refusals(d):
    names = write(d, 0)
    for what, words, say in (("a voltage that is missing", ["--reverse", "0,1,2", *names], "3 voltages for 9 files"),
                             ("too few", ["--reverse", "0,1", *names[:2]], "measure at least 5"),
                             ("one voltage", ["--reverse", "1,1,1,1,1", *names[:5]], "measure over the range"),
                             ("an option of another model", ["--reverse", "0,1,2,3,4", *names[:5], "--order", "3"], "order")):
        rc, out, err = d.run("fit", "--model", "varactor", *words)
        check(what, rc == 2 and say in err and not out, (rc, err, out))
    rc, out, err = d.run("fit", "--model", "capacitor", *names[:2])
    check("several files for another model", rc == 2 and "one FILE" in err, (rc, err))
    rc, out, err = d.run("fit", "--model", "capacitor", "--reverse", "1", names[0])
    check("a voltage for another model", rc == 2 and "--reverse" in err, (rc, err))

def voltages(d):
    names = write(d, 0)
    rc, out, err = d.run("fit", "--model", "varactor", "--reverse", ",".join("%g" % (1000 * v) for v in VOLTS), *names, "--out", "x.cir")
    check("millivolts are said", rc == 0 and "millivolts" in err, (rc, err))
    rc, out, err = d.run("fit", "--model", "varactor", "--reverse", "0,0.3,0.3,1.2,2,3,4.5,6.5,9", *names, "--out", "x.cir")
    check("one voltage with two capacitances", "both told to be at 0.3 V" in err, (rc, err))
    rc, out, err = d.run("fit", "--model", "varactor", "--reverse", ",".join(map(str, VOLTS)), *names, "--out", "x.cir")
    check("nothing is said of good files", rc == 0 and not err, err)

run(constants, refusals, voltages)

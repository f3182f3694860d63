#!/usr/bin/env python3
"""What was given wrongly is named: a line's length in another unit, RI under MA, one file for two pairs, ends that were not there, dummies that are the device, halves that are none; and how a dash ends.

offline_given_wrongly.py [--build DIR] [--print]
The files are made here from lines, pads and coils of known constants; each fault is put in by hand, and the same files without it are left alone.
"""
import cmath, math
from offline_kit import *

HZ = [0.5e9 * (k + 1) for k in range(160)]

def chain(*parts):
    a, b, c, d = 1, 0, 0, 1
    for e, f, g, h in parts:
        a, b, c, d = a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h
    return a, b, c, d

def s_of(m):
    a, b, c, d = m
    n = a + b / 50 + c * 50 + d
    return [(a + b / 50 - c * 50 - d) / n, 2 / n, 2 / n, (-a + b / 50 - c * 50 + d) / n]

def line(f, um):
    w = 2 * math.pi * f
    z, y = 3000 * cmath.sqrt(1 + 1j * f / 5e9) + 1j * w * 4.2e-7, 1j * w * 1.5e-10
    g, zc = cmath.sqrt(z * y) * um * 1e-6, cmath.sqrt(z / y)
    return cmath.cosh(g), zc * cmath.sinh(g), cmath.sinh(g) / zc, cmath.cosh(g)

def shunt(f, c): return 1, 0, 2j * math.pi * f * c, 1
def coil(f, l): return 1, 2 + 2j * math.pi * f * l, 0, 1

def put(d, name, of):
    return d.s2p(name, HZ, [s_of(of(f)) for f in HZ])

def lengths(d):
    put(d, "line.s2p", lambda f: line(f, 800))
    for length, wrong in ((800, False), (0.8, True), (8000, True)):
        rc, out, err = d.run("extract", "--quantity", "eps_eff", "--at", "20e9", "--length-um", length, "line.s2p")
        check("extract at %g um" % length, ("a line has 1 to 50" in err) == wrong, err)
    for length, wrong in ((800, False), (80, True)):
        rc, out, err = d.run("fit", "--model", "line", "--length-um", length, "line.s2p", "--out", "line.cir")
        check("fit at %g um" % length, rc == 0 and ("a line has 1 to 50" in err) == wrong, (rc, err))

def magnitudes(d):
    text = open(d.at(put(d, "ri.s2p", lambda f: line(f, 800)))).read()
    d.text("ma.s2p", text.replace("RI", "MA"))
    rc, out, err = d.run("extract", "--quantity", "Lser", "--at", "10e9", "ma.s2p")
    check("RI under MA", rc == 2 and "ma.s2p: line" in err and "RI" in err, (rc, err))

def dashes(d):
    d.s2p("zero.s2p", HZ, [[0.1, 0, 0, 0.1] for f in HZ])
    put(d, "coil.s2p", lambda f: coil(f, 3e-10))
    rc, out, err = d.run("extract", "--quantity", "Lser", "--at", "10e9", "zero.s2p", "coil.s2p")
    check("a dash that was asked for ends with 1, and the others are written", rc == 1 and "coil.s2p" in out and "300" in out, (rc, out, err))
    rc, out, err = d.run("extract", "--quantity", "Lser", "zero.s2p", "coil.s2p")
    check("of all frequencies it does not", rc == 0, (rc, err))
    d.s2p("ones.s2p", HZ, [[0.5, 0.5, 0.5, 0.5] for f in HZ])
    rc, out, err = d.run("quality", "ones.s2p")
    check("no nan and no inf of a constant", rc == 0 and "nan" not in out and "inf" not in out, out)

def joins(d):
    def star(f, end):  # three coils to a common point; port 3 ended by `end` ohm
        z = 2j * math.pi * f * 50e-12
        return chain((1, z, 0, 1), (1, 0, 1 / (z + end), 1), (1, z, 0, 1))
    for name, end in (("a", 50), ("b", 70)):
        put(d, name + ".s2p", lambda f: star(f, end))
    d.text("c.s2p", open(d.at("a.s2p")).read())
    d.text("e.s2p", open(d.at("a.s2p")).read())
    rc, out, err = d.run("join", "1,2=a.s2p", "1,3=c.s2p", "2,3=e.s2p", "--out", "x.s3p")
    check("pairs that agree", rc == 0 and "contradict" not in err and "given for" not in err, (rc, err))
    rc, out, err = d.run("join", "1,2=a.s2p", "1,3=c.s2p", "2,3=a.s2p", "--out", "x.s3p")
    check("one file for two pairs", "one file is of one pair" in err, err)
    rc, out, err = d.run("join", "1,2=a.s2p", "1,3=b.s2p", "2,3=e.s2p", "--out", "x.s3p")
    check("an end that was not there", rc == 0 and "more than touches do" in err, (rc, err))

def dummies(d):
    pads = lambda f, *inside: chain(shunt(f, 15e-15), *inside, shunt(f, 15e-15))
    put(d, "dut.s2p", lambda f: pads(f, coil(f, 2e-10)))
    put(d, "open.s2p", lambda f: pads(f, (1, 1e9, 0, 1)))
    put(d, "short.s2p", lambda f: pads(f, coil(f, 5e-12), (1, 0, 1 / (0.05 + 2j * math.pi * f * 2e-12), 1), coil(f, 5e-12)))
    put(d, "thru.s2p", lambda f: pads(f, coil(f, 10e-12)))
    put(d, "lame.s2p", lambda f: chain(shunt(f, 90e-15), coil(f, 2e-10), shunt(f, 15e-15)))
    for name, um in (("l1", 500), ("l2", 1000), ("l3", 900)):
        put(d, name + ".s2p", lambda f: pads(f, line(f, um)))
    def said(what, words, sentence, wrong):
        rc, out, err = d.run("deembed", *words, "dut.s2p", "--out", "y.s2p")
        check(what, rc == 0 and (sentence in err) == wrong, (rc, err))
    said("open and short", ["--method", "open_short", "--open", "open.s2p", "--short", "short.s2p"], "same numbers", False)
    said("the device as its open", ["--method", "open_short", "--open", "dut.s2p", "--short", "short.s2p"], "same numbers as dut.s2p, the device", True)
    for method in ("thru_pi", "thru_tee"):
        said("a thru", ["--method", method, "--thru", "thru.s2p"], "not alike", False)
        said("a thru with unlike ends", ["--method", method, "--thru", "lame.s2p"], "not alike", True)
    left = {}
    for second in ("l2", "l3"):
        rc, out, err = d.run("deembed", "--method", "l_2l", "--line", "l1.s2p", "--line-double", second + ".s2p", "dut.s2p", "--out", "y.s2p")
        check("l_2l with %s says what is left" % second, rc == 0 and "ps of line are left" in err and "on these dummies" in err, (rc, err))
        left[second] = float(err.split("between the pads ")[1].split(" ps")[0]) if "between the pads" in err else math.nan
    check("100 um of line are left of 900", abs(left["l3"] - left["l2"] - 100e-6 * math.sqrt(4.2e-7 * 1.5e-10) * 1e12) < 0.15, left)
    put(d, "two.s2p", lambda f: chain(shunt(f, 10e-15), line(f, 600), shunt(f, 10e-15)))
    put(d, "half.s2p", lambda f: chain(shunt(f, 10e-15), line(f, 300)))
    said("a half", ["--method", "two_x_thru", "--two-x-thru", "two.s2p", "--half", "half.s2p"], "do not make", False)
    said("the whole as its half", ["--method", "two_x_thru", "--two-x-thru", "two.s2p", "--half", "two.s2p"], "do not make", True)
    rc, out, err = d.run("deembed", "--methods")
    check("the cascaded line split is found by its name", "cascaded line split" in out, out)

run(lengths, magnitudes, dashes, joins, dummies)

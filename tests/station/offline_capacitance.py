#!/usr/bin/env python3
"""The lines' capacitance from a DC resistance, of the lines themselves or of a load, by `tipplane solve` on files; then the same plan with it in 50 ohm.

offline_capacitance.py [--build DIR] [--print]
The truth is the line that the test makes: R of its own skin effect, L, C and G = w C tan d per metre, behind error boxes of an analyzer of its own.  How: Williams & Marks,
IEEE MGWL 1 (1991) 243 (load) and Marks & Williams, IEEE MGWL 1 (1991) 141 (line).
"""
import cmath, math, random
from offline_kit import *

R_DC, C_M, TAN = 2600.0, 171.3e-12, 0.002   # ohm/m, F/m
R_LOAD, L_LOAD = 47.31, 3e-12
LENGTHS_UM = (200, 650, 1500, 3300, 7100)

def line_of(f):
    w = 2 * math.pi * f
    r = R_DC * math.sqrt(1 + (f / 4e9) ** 2) ** 0.5
    z, y = r + 1j * w * 3.9e-7 + 1j * w * 2e-8 / math.sqrt(1 + f / 1e9), 1j * w * C_M * (1 - 1j * TAN)
    return cmath.sqrt(z * y), cmath.sqrt(z / y)

def product(a, b):
    return [a[0] * b[0] + a[1] * b[2], a[0] * b[1] + a[1] * b[3], a[2] * b[0] + a[3] * b[2], a[2] * b[1] + a[3] * b[3]]

def t_of(s):   # S11 S12 S21 S22 to cascade parameters
    return [-(s[0] * s[3] - s[1] * s[2]) / s[2], s[0] / s[2], -s[3] / s[2], 1 / s[2]]

def s_of(t):
    return [t[1] / t[3], t[0] - t[1] * t[2] / t[3], 1 / t[3], -t[2] / t[3]]

def boxes(f):
    """two smooth error boxes, to the tips of the lines, in the line's own impedance"""
    a = [0.08 * cmath.exp(-1j * f / 6e9), 0.93 * cmath.exp(-1j * f / 3e9), 0.93 * cmath.exp(-1j * f / 3e9), 0.11 * cmath.exp(-1j * f / 9e9)]
    b = [0.10 * cmath.exp(-1j * f / 8e9), 0.91 * cmath.exp(-1j * f / 3.4e9), 0.91 * cmath.exp(-1j * f / 3.4e9), 0.07 * cmath.exp(-1j * f / 5e9)]
    return t_of(a), t_of(b)

def raw_two(f, t):
    a, b = boxes(f)
    return s_of(product(product(a, t), b))

def raw_one(f, gamma):
    """a reflection at either port, nothing across"""
    a, b = (s_of(t) for t in boxes(f))
    return [a[0] + a[1] * a[2] * gamma / (1 - a[3] * gamma), 0j, 0j, b[3] + b[1] * b[2] * gamma / (1 - b[0] * gamma)]

def write(d, hz, noise, seed):
    rng = random.Random(seed)
    noisy = lambda rows: [[x + noise * complex(rng.gauss(0, 1), rng.gauss(0, 1)) for x in row] for row in rows]

    for n, um in enumerate(LENGTHS_UM):
        d.s2p("L%d.s2p" % n, hz, noisy([raw_two(f, [cmath.exp(-line_of(f)[0] * um * 1e-6), 0j, 0j, cmath.exp(line_of(f)[0] * um * 1e-6)]) for f in hz]))
    d.s2p("short.s2p", hz, noisy([raw_one(f, -1) for f in hz]))
    gamma = lambda f: (lambda z, zc: (z - zc) / (z + zc))(R_LOAD + 2j * math.pi * f * L_LOAD, line_of(f)[1])
    d.s2p("load.s2p", hz, noisy([raw_one(f, gamma(f)) for f in hz]))
    z50 = 82.0
    d.s2p("dut.s2p", hz, noisy([raw_one(f, (z50 - line_of(f)[1]) / (z50 + line_of(f)[1])) for f in hz]))

def plan(d, name, method, lines, load, **keys):
    standards = [{"name": "L%d" % n, "kind": "line", "file": "L%d.s2p" % n, "model": {"length_um": LENGTHS_UM[n]}} for n in lines]
    standards += [{"name": "short", "kind": "reflect", "file": "short.s2p"}, {"name": "load", "kind": "load", "file": "load.s2p", "model": {"r_ohm": 50, **load}}]
    calibration = {"method": method, "plane": "tip", "eps_eff": 5.6, "reflect_estimate": -1, "standards": [{"standard": n} for n in ["L%d" % n for n in lines] + ["short"]], "verify": [{"standard": "load", "limit": 2}]}
    calibration.update(keys.pop("calibration", {}))
    return d.plan(name, standards=standards, calibration=calibration, **keys)

def found(diagnosis, by):
    got = [x for x in (diagnosis or {}).get("line_capacitance", []) if x["by"] == by]
    return got[0] if got else {}

def both_ways(d):
    hz = [0.2e9 * 1.07 ** k for k in range(90)]
    for noise, seed in ((0, 1), (1e-4, 2), (1e-4, 3), (1e-4, 4)):
        write(d, hz, noise, seed)
        _, told = solve(d, "c", plan(d, "c.plan.json", "multiline_trl", range(5), {"dc_ohm": R_LOAD, "u_dc_ohm": 0.02}, line_dc_ohm_m=R_DC, line_dc_ohm_m_u=5))
        for by, share in (("load", 0.02 / R_LOAD), ("the lines", 5 / R_DC)):
            c = found(told, by)
            off = abs(c.get("f_m", math.nan) / C_M - 1)
            limit = max(3 * c.get("u_f_m", math.nan) / C_M, 0.01 if by == "the lines" else 2e-4)   # R has grown by a third at the end of the decade
            check("noise %g, by %s: C within 3 u" % (noise, by), off <= limit, (off, limit, c))
            check("noise %g, by %s: u holds what is not known of the resistance" % (noise, by), c.get("u_f_m", 0) >= 0.999 * share * C_M, c)
        check("noise %g: the loss tangent by the load" % noise, abs(found(told, "load").get("loss_tangent", math.nan) - TAN) < (1e-3 if not noise else 0.01), found(told, "load"))
    write(d, hz, 0, 1)
    c = found(told, "load")["f_m"]
    terms, told = solve(d, "ohms", plan(d, "ohms.plan.json", "multiline_trl", range(5), {"dc_ohm": R_LOAD}, calibration={"line_capacitance_f_m": C_M, "line_loss_tangent": TAN}))
    got = d.json("correct", "--terms", terms, "dut.s2p")
    want = (82 - 50) / (82 + 50)
    within("with it a resistor of 82 ohm is one", max(abs(complex(*s) - want) for s in got["files"][0]["s11"]) if got else math.nan, 1e-6)
    check("results in 50 ohm find the same capacitance", abs(found(told, "load").get("f_m", 0) / C_M - 1) < 2e-4, told and told["line_capacitance"])

def sentences(d):
    hz = [0.2e9 * 1.07 ** k for k in range(90)]
    write(d, hz, 1e-4, 7)
    rc, out, err = d.run("solve", plan(d, "w.plan.json", "multiline_trl", range(5), {"dc_ohm": R_LOAD, "u_dc_ohm": 0.02}, line_dc_ohm_m=R_DC), "--out", "w.json")
    check("what belongs into the plan is said", rc == 0 and '"line_capacitance_f_m": 1.7' in out and "pF/m" in out, out + err)
    check("a resistance without uncertainty is said to count as exact", "the resistance counts as exact" in out, out)
    rc, out, err = d.run("solve", plan(d, "w.plan.json", "multiline_trl", range(5), {"dc_ohm": R_LOAD, "u_dc_ohm": 0.02}, calibration={"line_capacitance_f_m": 190e-12, "line_capacitance_u_f_m": 1e-12}), "--out", "w.json")
    check("a plan that says another capacitance is told so", rc == 0 and "! the plan says 190 +- 2 pF/m" in out, out + err)
    rc, out, err = d.run("solve", plan(d, "w.plan.json", "multiline_trl", range(5), {"dc_ohm": R_LOAD}, line_dc_ohm_m=2.6), "--out", "w.json")   # ohm per millimetre
    check("a resistance in the wrong unit gives no capacitance", rc == 0 and "which no line has" in out, out + err)
    refused(d, "a negative resistance", ["solve", plan(d, "n.plan.json", "multiline_trl", range(5), {"dc_ohm": R_LOAD}, line_dc_ohm_m=-1)], "n.plan.json", "line_dc_ohm_m")
    _, told = solve(d, "one", plan(d, "one.plan.json", "trl", (0, 3), {"dc_ohm": R_LOAD}))
    check("a method of one pair finds it too", abs(found(told, "load").get("f_m", 0) / C_M - 1) < 0.01, told and told["line_capacitance"])

run(both_ways, sentences)

#!/usr/bin/env python3
"""What a plan believes of lines, loads and reflects and no residual contradicts: the lines' impedance by a capacitance of another unit, by a real number where
loss makes it complex, by a loss tangent that is none; a match that is not alike at both ports.  Each is said, and the right plan has not a word.

offline_beliefs.py [--build DIR] [--print]
Truth: lines of stated R, L and C per metre, coils of stated L and R, read by the analyzer of offline_multiport.py.
"""
import cmath
from offline_kit import *
from offline_standards import Bench, HZ, ends, standard

R_M, C_M, Z0, EPS = 3000.0, 1.44e-10, 54.0, 5.4  # ohm/m, F/m, ohm, of the lossless line
L_M = Z0 * Z0 * C_M
UM = (200, 450, 900, 1800, 3500)
COIL_H, COIL_OHM = 150e-12, 3.0
BOUND = 0.05  # of alpha/beta, from which a real impedance is said to be none


def line(um):
    def s(f):
        w = 2 * math.pi * f
        g, z = cmath.sqrt((R_M + 1j * w * L_M) * 1j * w * C_M), cmath.sqrt((R_M + 1j * w * L_M) / (1j * w * C_M))
        gl = g * um * 1e-6
        a, b, c_ = cmath.cosh(gl), z * cmath.sinh(gl), cmath.sinh(gl) / z
        down = 2 * a + b / 50 + c_ * 50
        return [[(b / 50 - c_ * 50) / down, 2 / down], [2 / down, (b / 50 - c_ * 50) / down]]
    return s


def loss_share(f):
    g = cmath.sqrt((R_M + 2j * math.pi * f * L_M) * 2j * math.pi * f * C_M)
    return g.real / g.imag


def coil(f):
    z = COIL_OHM + 2j * math.pi * f * COIL_H
    return [[z / (z + 100), 100 / (z + 100)], [100 / (z + 100), z / (z + 100)]]


LINES = [{"name": "l%d" % x, "kind": "line", "file": "l%d.s2p" % x, "model": {"length_um": x}} for x in UM] + [{"name": "r", "kind": "reflect", "file": "r.s2p"}]


def bench(d):
    b = Bench(d, 1e-6)
    for x in UM:
        b.write("l%d" % x, line(x - UM[0]))  # planes in the middle of the first line
    b.write("r", ends(lambda f: -1, lambda f: -1))
    b.write("coil", coil)
    return b


def of_lines(b, method="multiline_trl", **calibration):
    return b.solve(LINES[:2] + LINES[-1:] if method == "trl" else LINES, method, eps_eff=EPS, reflect_estimate=-1, **calibration)[0]


def impedance(d):
    b = bench(d)
    about = lambda said: [w for w in said if "line_c" in w or "line_z" in w or "line_l" in w or "returns more" in w]
    for method in ("multiline_trl", "trl"):
        check("%s: C as it is" % method, not about(of_lines(b, method, line_capacitance_f_m=C_M)))
        for wrong in (0.01, 50):
            said = about(of_lines(b, method, line_capacitance_f_m=wrong * C_M))
            check("%s: C times %g" % (method, wrong), len(said) == 1 and "line_capacitance_f_m %.4g makes" % (wrong * C_M) in said[0] and "1.5e-10" in said[0], said)
        said = about(of_lines(b, method, line_capacitance_f_m=C_M, line_loss_tangent=0.5))
        check("%s: a loss tangent of 0.5" % method, len(said) == 1 and "line_loss_tangent 0.5 is more than all loss" in said[0], said)
        said = about(of_lines(b, method, line_z_ohm=Z0))
        upto = max(f for f in HZ if loss_share(f) > BOUND)
        check("%s: a real impedance" % method, len(said) == 1 and any("up to %.4g GHz by more than 5 %%" % (x / 1e9) in said[0] for x in (upto - 1e9, upto, upto + 1e9)) and "%.0f %% at 1 GHz" % (100 * loss_share(HZ[0])) in said[0], said)
    rc, out, err = d.run("solve", d.plan("z.json", standards=LINES, switch_terms={"file": "switch.s2p"}, calibration={"method": "multiline_trl", "eps_eff": EPS, "reflect_estimate": -1, "line_capacitance_f_m": C_M}), "--out", "c.json")
    said = [x for x in out.split("\n") if "impedance of the lines, as used" in x]
    z = cmath.sqrt((R_M + 2j * math.pi * 1e10 * L_M) / (2j * math.pi * 1e10 * C_M))
    check("the impedance as used is printed", len(said) == 1 and "%.4g%+.3gj ohm at 10 GHz" % (z.real, z.imag) in said[0], (z, said))
    rc, out, err = d.run("solve", d.plan("bare.json", standards=LINES, calibration={"method": "multiline_trl", "eps_eff": EPS, "reflect_estimate": -1, "line_capacitance_f_m": C_M}), "--out", "bare_terms.json")
    check("without switch terms that is said", rc == 0 and "no switch terms: raw files are taken as free of them" in out, (rc, out, err))


def counted(d):
    """a real impedance's error is in the half width: within two standard uncertainties, and no less than half of one, where alpha/beta is below a tenth; within three
    where it is so large that no first order knows it"""
    b = bench(d)
    of_lines(b, line_z_ohm=Z0, line_z_ohm_u=1e-3)
    rc, out, err = d.run("correct", "--terms", "t.json", "coil.s2p", "--to", "out")
    check("corrected", rc == 0, err)
    for f in (1e9, 3e9, 10e9, 50e9):
        told = d.json("extract", "--quantity", "Rser,Lser", "--at", f, "--share", "10", "out/coil.s2p")
        for q, truth in zip(told["files"][0]["quantities"] if told else [], (COIL_OHM, COIL_H)):
            off, u = abs(q["value"][0] - truth), q["u"][0] or 0
            check("%s at %g GHz: %.4g off, u %.2g" % (q["quantity"], f / 1e9, off, u), off <= (2 if loss_share(f) < 0.1 else 3) * u and (off > u / 2 or loss_share(f) > 0.1), q)


def lengths(d):
    b = bench(d)
    in_mm = [{**s, "model": {"length_um": s["model"]["length_um"] / 1000}} if "model" in s else s for s in LINES]
    refused(d, "lengths in mm", ["solve", d.plan("mm.json", standards=in_mm, switch_terms={"file": "switch.s2p"}, calibration={"method": "multiline_trl", "eps_eff": EPS, "reflect_estimate": -1}), "--out", "mm.t"], "0.2 and 0.45 um long", "0.2 mm are 200 um")


def left_out(d):
    """a line that only verifies: by how much longer it seems, and what that leaves"""
    b = bench(d)
    lines = [s for s in LINES if s["name"] != "l900"]
    for um, limit in ((900, 1e-3), (880, 0.2)):
        plan = d.plan("v.json", standards=lines + [{"name": "v", "kind": "line", "file": "l900.s2p", "model": {"length_um": um}}], switch_terms={"file": "switch.s2p"},
                      calibration={"method": "multiline_trl", "eps_eff": EPS, "reflect_estimate": -1, "line_capacitance_f_m": C_M, "verify": [{"standard": "v", "limit": limit}]})
        told = d.json("solve", plan, "--out", "v.t")
        v = told["diagnosis"]["verified"][0] if told else {}
        check("a line of 900 um told as %g" % um, v and abs(v["longer_m"] * 1e6 - (900 - um)) < 0.05 and v["longer_leaves"] < 1e-3 and (um == 900 or v["worst"] > 0.05), v)
    rc, out, err = d.run("solve", "v.json", "--out", "v.t")
    check("and said", "as if 20.0 um longer than told, which leaves" in out, out)


def told_twice(d):
    b = bench(d)
    plan = lambda **c: ["solve", d.plan("two.json", standards=LINES, switch_terms={"file": "switch.s2p"}, calibration={"method": "multiline_trl", "eps_eff": EPS, "reflect_estimate": -1, **c}), "--out", "two.t"]
    refused(d, "a capacitance and an impedance of the lines", plan(line_capacitance_f_m=C_M, line_z_ohm=Z0), "/calibration/line_z_ohm is 54 ohm", "give one of them")
    b.write("open", ends(lambda f: 1, lambda f: 1))
    lrrm = [standard("thru"), {"name": "open", "kind": "open", "file": "open.s2p"}, standard("short"), standard("load")]
    refused(d, "a match from an open without C", ["solve", d.plan("o.json", standards=lrrm, switch_terms={"file": "switch.s2p"}, calibration={"method": "lrrm", "match_fit": "from_open"}), "--out", "o.t"],
            '/calibration/match_fit is "from_open"', "open has none", "c_f")
    bands = lambda to, from_: [{"method": "unknown_thru", "from_hz": 1e9, "to_hz": to, "standards": [{"standard": s} for s in ("open", "short", "load", "thru")]},
                               {"method": "multiline_trl", "from_hz": from_, "to_hz": 110e9, "standards": [{"standard": s["name"]} for s in LINES]}]
    joined = lambda to, from_, **c: ["solve", d.plan("b.json", standards=LINES + [standard("thru"), standard("open"), standard("short"), standard("load")], switch_terms={"file": "switch.s2p"},
                                                calibration={"bands": bands(to, from_), "eps_eff": EPS, "reflect_estimate": -1, "plane": "tip", "thru_delay_s": 1e-12, **c}), "--out", "b.t"]
    refused(d, "lines in their own impedance beside ohms", joined(30e9, 10e9), "in the line's own impedance", "capacitance per metre")
    refused(d, "bands that leave a gap", joined(10e9, 11e9, line_capacitance_f_m=C_M), "they share no frequency", "overlap")


def match(d):
    """the match of lrm told alike at both ports, and it is not: the solved open returns more than it gets"""
    b = Bench(d, 1e-5)
    g = lambda ohm: lambda f: (ohm - 50) / (ohm + 50)
    b.write("open", ends(lambda f: 1, lambda f: 1))
    plan = [standard("thru"), {"name": "open", "kind": "open", "file": "open.s2p"}, {"name": "load", "kind": "load", "file": "load.s2p", "model": {"r_ohm": 50.6}}]
    for port_2, want in ((50.6, False), (42.0, True)):
        b.write("load", ends(g(50.6), g(port_2)))
        said = [w for w in b.solve(plan, "lrm")[0] if "returns more" in w]
        check("loads of 50.6 and %g ohm told as 50.6" % port_2, len(said) == want and (not want or "the match is not what it is told" in said[0]), said)


if __name__ == "__main__":
    raise SystemExit(run(impedance, counted, lengths, left_out, told_twice, match))

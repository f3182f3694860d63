#!/usr/bin/env python3
"""The commands that work on corrected files, with the real program and no daemon: deembed, extract, fit, compare, touchstone; files in any
parameters, references and modes.

offline_networks.py [--build DIR] [--print]       --print shows every sentence and every worst difference
"""
import cmath, csv, json, math, os
from offline_kit import *


def table(name):
    """case -> what -> {hz: [S11 S12 S21 S22]} of a check table of matrices"""
    cases = {}
    with open(os.path.join(REFERENCE, name)) as f:
        for row in csv.DictReader(line for line in f if line[0] != "#"):
            i, k = int(row["i"]), int(row["j"])
            if i:
                cases.setdefault(row["case"], {}).setdefault(row["what"], {}).setdefault(float(row["f_hz"]), [0j] * 4)[2 * (i - 1) + k - 1] = complex(float(row["re"]), float(row["im"]))
    return cases


def deembedding(d):
    options = {"open": "open", "short": "short", "pad": "pad", "thru": "thru", "short1": "short-left", "short2": "short-right", "two_x_thru": "two-x-thru", "half": "half", "line": "line", "line_2l": "line-double"}
    words = {"open": "open", "short": "short", "open_short": "open_short", "short_open": "short_open", "pad_open_short": "pad_open_short", "three_step": "three_step", "cho_burk": "three_step", "two_x_thru": "two_x_thru", "thru_half": "thru_pi"}
    for case, parts in table("deembed.csv").items():
        word = words.get(case)
        if not word or "device" not in parts:
            continue
        for what, points in parts.items():
            hz = sorted(points)
            d.s2p("%s_%s.s2p" % (case, what), hz, [points[f] for f in hz])
        dummies = [x for what in parts if what in options for x in ("--" + options[what], "%s_%s.s2p" % (case, what))]
        if case == "thru_half":
            dummies = ["--thru", "thru_half_thru.s2p"]
        rc, out, err = d.run("deembed", "--method", word, *dummies, case + "_measured.s2p", "--out", "bare.s2p")
        if rc:
            count.fail("deembed %s: exit %d: %s" % (case, rc, err))
            continue
        hz, got = read_s2p(d.at("bare.s2p"))
        want = [parts["device"][f] for f in hz]
        within("deembed %s" % case, distance(got[1:], want[1:]), 1e-12)
        within("deembed %s at 70 kHz" % case, distance(got[:1], want[:1]), 1e-8)
        check("deembed %s: nothing is said of good dummies" % case, "exchanged" not in err and "not what it is" not in err, err)
        told = d.json("deembed", "--method", word, *dummies, case + "_measured.s2p")
        check("deembed %s --json is the same numbers" % case, told and [complex(*x) for x in told["s21"]] == [r[2] for r in got], told)
    for case, one, other in (("three_step", "short1", "short2"), ("three_step", "open", "thru"), ("open_short", "open", "short"), ("pad_open_short", "pad", "short")):
        files = {"--" + options[what]: "%s_%s.s2p" % (case, {one: other, other: one}.get(what, what)) for what in table("deembed.csv")[case] if what in options}
        rc, out, err = d.run("deembed", "--method", case, *[x for pair in files.items() for x in pair], case + "_measured.s2p", "--out", "bare.s2p")
        want = " and ".join(sorted((options[one], options[other]), key=("open", "short", "pad", "thru", "short-left", "short-right").index)).replace("-", "_")
        check("%s: %s" % (case, want), rc in (0, 1) and want + " are exchanged" in err and "%s_%s.s2p" % (case, one) in err, (rc, err))
    rc, out, err = d.run("deembed", "--method", "open", "--open", "open_open.s2p", "open_measured.s2p", "--out", "bare.ts")
    told, back = d.json("touchstone", "bare.ts"), d.json("compare", "bare.ts", "bare_1.s2p") if not d.run("deembed", "--method", "open", "--open", "open_open.s2p", "open_measured.s2p", "--out", "bare_1.s2p")[0] else None
    check("a result called .ts is of version 2.1 and the same", rc == 0 and told and told["version"] == "2.1" and back and back["all"]["worst"] == 0, (rc, err, told))
    refused(d, "a result called .s3p", ["deembed", "--method", "open", "--open", "open_open.s2p", "open_measured.s2p", "--out", "bare.s3p"], "bare.s3p", ".s2p")
    rc, out, err = d.run("deembed", "--methods")
    check("the methods are listed with what they need", rc == 0 and "--open --short" in out and "35 GHz" in out, out)
    rc, out, err = d.run("deembed", "--method", "open", "--open", "open_open.s2p", "bare.s2p")
    check("what is de-embedded already is refused", rc == 2 and "already" in err, (rc, err))


def leads(d):
    """A FET of known elements behind known pads and leads, in its three states, and a bipolar behind leads alone, by nodal admittances."""
    hz = [0.5e9 * (k + 1) for k in range(80)]

    def inv(m):
        det = m[0] * m[3] - m[1] * m[2]
        return [m[3] / det, -m[1] / det, -m[2] / det, m[0] / det]

    def file(name, inside, pads=(11e-15, 9e-15)):
        rows = []
        for f in hz:
            w = 2j * math.pi * f
            z, a, b, s = inv(inside(w)), 3 + w * 22e-12, 2 + w * 19e-12, 1 + w * 3e-12
            y = inv([z[0] + a + s, z[1] + s, z[2] + s, z[3] + b + s])
            y[0], y[3] = y[0] + w * pads[0], y[3] + w * pads[1]
            d0, n = [1 + 50 * y[0], 50 * y[1], 50 * y[2], 1 + 50 * y[3]], [1 - 50 * y[0], -50 * y[1], -50 * y[2], 1 - 50 * y[3]]
            i = inv(d0)
            sp = [i[0] * n[0] + i[1] * n[2], i[0] * n[1] + i[1] * n[3], i[2] * n[0] + i[3] * n[2], i[2] * n[1] + i[3] * n[3]]
            rows.append("%.17g " % f + " ".join("%.17g %.17g" % (sp[k].real, sp[k].imag) for k in (0, 2, 1, 3)))
        with open(d.at(name), "w") as out:
            out.write("# Hz S RI R 50\n" + "\n".join(rows) + "\n")

    hot = lambda w: [w * 40e-15 / (1 + w * 2.5 * 40e-15) + w * 8e-15, -w * 8e-15, 0.06 * cmath.exp(-w * 0.4e-12) / (1 + w * 2.5 * 40e-15) - w * 8e-15, 0.004 + w * 12e-15 + w * 8e-15]
    file("hot.s2p", hot)
    file("off.s2p", lambda w: [w * 16e-15, -w * 8e-15, -w * 8e-15, w * 8e-15])
    for v in (0.3, 0.5, 0.8):
        file("cold%g.s2p" % v, lambda w, v=v: [w * 48e-15, -w * 24e-15, -w * 24e-15, 0.2 * v + w * 24e-15])
    cold = ["--cold", "cold0.3.s2p,cold0.5.s2p,cold0.8.s2p", "--drive", "0.3,0.5,0.8", "--from", "1e9", "--below", "20e9"]
    told = d.json("extrinsic", "--off", "off.s2p", *cold, "hot.s2p", "--out", "inside.s2p")
    want = {"c_in": 11e-15, "c_out": 9e-15, "l_in": 22e-12, "l_out": 19e-12, "l_common": 3e-12, "r_in": 3, "r_out": 2, "r_common": 1}
    got = {e["name"]: e["value"] for e in (told or {"elements": []})["elements"]}
    check("extrinsic elements from off and cold files, within 5 %", got and all(abs(got[k] / w - 1) < 0.05 for k, w in want.items()), got)
    told = d.json("extract", "--quantity", "gm,Cgs,Cgd,gds", "--at", "10e9", "inside.s2p")
    inner = {q["quantity"]: q["value"][0] for f in told["files"] for q in f["quantities"]}
    check("what is left has the intrinsic elements, within 3 %", all(abs(inner[k] / w - 1) < 0.03 for k, w in {"gm": 0.06, "Cgs": 40e-15, "Cgd": 8e-15, "gds": 0.004}.items()), inner)
    told = d.json("extract", "--quantity", "gm", "--at", "10e9", "hot.s2p")
    check("the leads had hidden them", told["files"][0]["quantities"][0]["value"][0] < 0.058, told)
    rc, out, err = d.run("extrinsic", "--off", "off.s2p")
    check("without a device the elements alone are told", rc == 0 and "c_in" in out and "fF" in out, (rc, out, err))
    refused(d, "cold states without drives", ["extrinsic", "--cold", "cold0.3.s2p,cold0.5.s2p", "--drive", "0.3"], "2 files", "1 numbers")
    refused(d, "no state at all", ["extrinsic", "hot.s2p"], "--off", "--cold")
    refused(d, "a state that is none", ["extrinsic", "--off", "off.s2p", "--off-as", "hot"], "--off-as", "cold_pinch")
    refused(d, "a forward gate without its channel", ["extrinsic", *cold, "--cold-as", "gate_forward"], "four resistances")
    # bipolar, current gains 100 and 2, transit times 0.5 and 8 ps; collector open: I_F = 1.5 I_R; on: 10 mA
    def open_collector(base_a):
        ir = base_a / (1.5 / 100 + 1 / 2)
        f, r = 1.5 * ir / 0.0257, ir / 0.0257
        def y(w):
            be, bc = f / 100 + w * (f * 0.5e-12 + 40e-15), r / 2 + w * (r * 8e-12 + 15e-15)
            return [be + bc, -bc, f - r - bc, r + bc]
        return y
    gm = 0.01 / 0.0257
    file("bjt.s2p", lambda w: [gm / 100 + w * (gm * 0.5e-12 + 40e-15) + w * 12e-15, -w * 12e-15, gm * cmath.exp(-w * 0.2e-12) - w * 12e-15, 2e-4 + w * 9e-15 + w * 12e-15], (0, 0))
    for ma in (2, 3, 5, 8):
        file("base%d.s2p" % ma, open_collector(ma * 1e-3), (0, 0))
    base = ["--cold", "base2.s2p,base3.s2p,base5.s2p,base8.s2p", "--drive", "2e-3,3e-3,5e-3,8e-3", "--from", "1e9", "--below", "20e9"]
    told = d.json("extrinsic", *base, "--cold-as", "open_collector", "bjt.s2p", "--out", "bjt_inside.s2p")
    got = {e["name"]: e["value"] for e in (told or {"elements": []})["elements"]}
    check("a bipolar's leads from base currents with the collector open, within 2 %", got and all(abs(got[k] / w - 1) < 0.02 for k, w in want.items() if k[0] != "c"), got)
    told = d.json("extract", "--quantity", "hbt_gm,C_pi,C_mu,R_pi", "--at", "5e9", "bjt_inside.s2p")
    inner = {q["quantity"]: q["value"][0] for f in told["files"] for q in f["quantities"]}
    check("what is left is its hybrid pi, within 2 %", all(abs(inner[k] / w - 1) < 0.02 for k, w in {"hbt_gm": gm, "C_pi": gm * 0.5e-12 + 40e-15, "C_mu": 12e-15, "R_pi": 100 / gm}.items()), inner)
    refused(d, "cold states read as what they cannot be", ["extrinsic", *base, "--cold-as", "collector"], "gate_forward", "open_collector")


def extracting(d):
    with open(os.path.join(REFERENCE, "extraction.csv")) as f:
        rows = [r for r in csv.DictReader(line for line in f if line[0] != "#")]
    cases, single = {}, {}
    for r in rows:
        v = complex(float(r["re"]), float(r["im"]))
        if r["f_hz"]:
            cases.setdefault(r["case"], {}).setdefault(float(r["f_hz"]), {})[r["name"]] = v
        else:
            single[r["case"], r["name"]] = v.real
    asked = {  # word of the command -> name in the check file
        "inductor_pi": {"L11": "L11_henry", "Ld": "Ldiff_henry", "Lser": "Lseries_henry", "Q11": "Q11", "Qd": "Qdiff", "R11": "R11_ohm", "Rser": "Rseries_ohm"},
        "capacitor": {"C11": "C11_farad", "Cser": "Cseries_farad", "QCser": "Qseries", "Rser": "Rseries_ohm"},
        "fet_bilateral": {"U": "U", "K": "K", "mu": "mu", "mu_prime": "mu_prime", "MSG": "MSG", "B1": "B1"},
    }
    for case, words in asked.items():
        points = {f: v for f, v in cases[case].items() if "S11" in v}
        hz = sorted(points)
        d.s2p(case + ".s2p", hz, [[points[f][k] for k in ("S11", "S12", "S21", "S22")] for f in hz])
        told = d.json("extract", "--quantity", ",".join(words), "--u", "1e-9", "--share", "10", case + ".s2p")  # as good as they were written
        for q in (told or {"files": [{"quantities": []}]})["files"][0]["quantities"]:
            name, worst = words[q["quantity"]], 0
            for f, v in zip(q["freq_hz"], q["value"]):
                want = points[f].get(name)
                if want is not None and f >= 1e9:
                    worst = max(worst, abs(v - want.real) / abs(want.real))
            within("extract %s of %s, relative, from 1 GHz" % (q["quantity"], case), worst, 1e-9)
        rc, out, err = d.run("extract", "--quantity", ",".join(words), case + ".s2p", "--at", "10e9,20e9")
        check("extract %s in words" % case, rc == 0 and out.count("\n") == 2 * len(words) and "10 GHz" in out, (rc, out, err))
    # a line of 1 mm through several turns: eps_eff 5.2, 47 ohm, loss as the square root of frequency
    hz, rows, z = [1e9 + 0.5e9 * k for k in range(219)], [], 47 / 50
    for f in hz:
        g = (5.0 * math.sqrt(f / 1e9) + 2j * math.pi * f * math.sqrt(5.2) / 299792458) * 1e-3
        sh, ch = cmath.sinh(g), cmath.cosh(g)
        den = 2 * ch + (z + 1 / z) * sh
        rows.append([(z - 1 / z) * sh / den, 2 / den, 2 / den, (z - 1 / z) * sh / den])
    d.s2p("line.s2p", hz, rows)
    told = d.json("extract", "--quantity", "alpha,beta,Zc,loss,delay", "--length-um", "1000", "line.s2p")
    truth = {"alpha": lambda f: 5.0 * math.sqrt(f / 1e9), "beta": lambda f: 2 * math.pi * f * math.sqrt(5.2) / 299792458, "Zc": lambda f: 47.0, "loss": lambda f: 5.0 * math.sqrt(f / 1e9) * 8.685889638065037e-3, "delay": lambda f: math.sqrt(5.2) / 299792458 * 1e-3}
    for q in (told or {"files": [{"quantities": []}]})["files"][0]["quantities"]:
        worst = [abs(v / truth[q["quantity"]](f) - 1) for f, v in zip(q["freq_hz"], q["value"]) if v is not None]
        within("a line's %s through %d of %d points, relative" % (q["quantity"], len(worst), len(hz)), max(worst), 1e-9)
    # between points: a capacitor of 100 fF on a fine grid, asked for where no point is
    hz = [1e9 + 0.25e9 * k for k in range(120)]
    y = [complex(0, 2 * math.pi * f * 100e-15) * 50 for f in hz]
    d.s2p("cap.s2p", hz, [[1 / (1 + 2 * v), 2 * v / (1 + 2 * v), 2 * v / (1 + 2 * v), 1 / (1 + 2 * v)] for v in y])
    told = d.json("extract", "--quantity", "Cser,Cd", "--at", "10.1e9,5e9", "cap.s2p", "cap.s2p")
    if told:
        got = [v for f in told["files"] for q in f["quantities"] for v in q["value"]]
        check("two files, two quantities, two frequencies", len(got) == 8 and [f["file"] for f in told["files"]] == ["cap.s2p"] * 2, told)
        within("a capacitor between points", max(abs(v / 100e-15 - 1) for v in got), 1e-9)
    told = d.json("extract", "--quantity", "Cser", "--at", "10e9", "--u", "0.001", "cap.s2p")
    q = told and told["files"][0]["quantities"][0]
    check("with --u a number has its uncertainty", q and q["u"][0] and 1e-17 < q["u"][0] < 1e-15, q)
    # fT of a single-pole device on a grid dense enough for a plateau
    g, cg = 0.06, 40e-15
    hz = [1e9 * 1.1 ** k for k in range(50)]
    rows = []
    for f in hz:
        a, b, dd, e = 0.5e-4 + 1j * 2 * math.pi * f * cg, -1e-7j * f / 1e9, g + 0j, 6e-3 + 0j
        a, b, dd, e = (50 * v for v in (a, b, dd, e))
        den = (1 + a) * (1 + e) - b * dd
        rows.append([((1 - a) * (1 + e) + b * dd) / den, -2 * b / den, -2 * dd / den, ((1 + a) * (1 - e) + b * dd) / den])
    d.s2p("fet.s2p", hz, rows)
    told = d.json("extract", "--quantity", "fT", "fet.s2p")
    q = told and told["files"][0]["quantities"][0]
    check("fT of gm/(2 pi Cgs)", q and abs(q["value"][0] / (g / (2 * math.pi * cg)) - 1) < 1e-3, q)
    refused(d, "a quantity that is none", ["extract", "--quantity", "Lx", "cap.s2p"], "Lx", "--quantities")
    refused(d, "a line without its length", ["extract", "--quantity", "eps_eff", "cap.s2p"], "eps_eff", "--length-um")
    refused(d, "a frequency outside the sweep", ["extract", "--quantity", "Cser", "--at", "1e12", "cap.s2p"], "cap.s2p", "1e+12", status=1)
    refused(d, "a frequency that is no number", ["extract", "--quantity", "Cser", "--at", "ten", "cap.s2p"], "--at", "ten")
    refused(d, "a raw file", ["extract", "--quantity", "Cser", d.s2p("raw.s2p", hz, rows, head="! reference plane: receiver\n")], "raw.s2p", "receiver")
    refused(d, "no quantity", ["extract", "cap.s2p"], "--quantity")


def comparing(d):
    hz = [1e8 * (k + 1) for k in range(300)]
    rows = [[0.1 + 0j, 0.9 * cmath.exp(-2j * math.pi * f * 5e-12), 0.9 * cmath.exp(-2j * math.pi * f * 5e-12), 0.1j] for f in hz]
    moved = [[r[0], r[1], r[2] * cmath.exp(-2j * math.pi * f * 0.2e-12), r[3] + (0.02 if f == 1.5e9 else 0)] for f, r in zip(hz, rows)]
    d.s2p("a.s2p", hz, rows)
    d.s2p("b.s2p", hz, moved)
    told = d.json("compare", "a.s2p", "b.s2p", "--bands", "1e9,10e9")
    if told:
        within("the delay between two files, s", abs(told["s21_delay_s"] - 0.2e-12), 1e-20)
        band = [b for b in told["bands"] if b["from_hz"] == 1e9][0]
        s22 = band["entries"][3]
        check("the largest difference of a band is found", abs(s22["worst"] - 0.02) < 1e-15 and s22["worst_hz"] == 1.5e9 and len(told["bands"]) == 3, told)
    rc, out, err = d.run("compare", "a.s2p", "b.s2p", "--limit", "1e-3")
    check("compare says it in words and exits 10 above its limit", rc == 10 and "largest difference" in out and "200 fs" in out, (rc, out, err))
    rc, out, err = d.run("compare", "a.s2p", "a.s2p", "--limit", "0")
    check("a file does not differ from itself", rc == 0, (rc, out, err))
    # one, three and four ports, by all entries
    for n in (1, 3, 4):
        matrices = [[[0.1 * complex(i + 1, k) for k in range(n)] for i in range(n)] for _ in hz]
        d.text("a.s%dp" % n, touchstone_text("S", 1, [50.0] * n, list(zip(hz, matrices))))
        moved = [[list(r) for r in m] for m in matrices]
        moved[14][n - 1][0] += 0.02j
        d.text("b.s%dp" % n, touchstone_text("S", 1, [50.0] * n, list(zip(hz, moved))[:200]))
        told = d.json("compare", "a.s%dp" % n, "b.s%dp" % n)
        check("%d ports are compared" % n, told and told["ports"] == n and abs(told["all"]["worst"] - 0.02) < 1e-15 and told["all"]["worst_entry"] == "S%d1" % n and told["all"]["worst_hz"] == 1.5e9 and len(told["all"]["entries"]) == n * n and told["points_common"] == 200, told and told["all"])
        check("%d ports: what is left out is noted" % n, told and any("200 frequencies" in n for n in told["notes"]), told and told["notes"])
        rc, out, err = d.run("compare", "a.s%dp" % n, "b.s%dp" % n, "--limit", "0.01")
        check("%d ports in words" % n, rc == 10 and "largest difference 0.02, S%d1 at 1.5 GHz" % n in out, (rc, out, err))
        seventy = [s_of_y(solved([[(i == k) + m[i][k] for k in range(n)] for i in range(n)], [[((i == k) - m[i][k]) / 50 for k in range(n)] for i in range(n)]), [75.0] * n) for m in matrices[:5]]
        d.text("c.s%dp" % n, touchstone_text("S", 1, [75.0] * n, list(zip(hz, seventy))))
        told = d.json("compare", "a.s%dp" % n, "c.s%dp" % n)
        check("%d ports in 75 ohm are brought to 50" % n, told and told["all"]["worst"] < 1e-13 and any("75 ohm brought to 50 ohm" in n for n in told["notes"]), told and (told["all"]["worst"], told["notes"]))
    refused(d, "three ports against four", ["compare", "a.s3p", "a.s4p"], "3 ports", "4")
    refused(d, "three ports interpolated", ["compare", "a.s3p", "b.s3p", "--interpolate"], "--modes")
    j = reference("cal_solt.json")
    for n in ("open", "short", "load", "thru"):
        d.s2p(n + ".s2p", j["frequencies_hz"], [matrix(r) for r in j["standards"][n]["raw"]])
        d.s2p("ideal_%s.s2p" % n, j["frequencies_hz"], [matrix(r) for r in j["standards"][n]["ideal"]])
    standards = [{"name": n, "kind": n, "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load", "thru")]
    d.s2p("switch.s2p", j["frequencies_hz"], [[0j, c(r), c(f), 0j] for f, r in zip(j["switch_terms"]["forward"], j["switch_terms"]["reverse"])])
    for word, name in (("solt", "one"), ("unknown_thru", "two")):
        solve(d, name, d.plan(name + ".plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration={"method": word}))
    told = d.json("compare", "one.json", "two.json")
    check("two methods from the same raw files are one calibration", told and told["kind"] == "terms" and told["worst"] < 1e-10, told and (told["worst"], told["sentence"]))
    hot = [dict(s) for s in standards]
    del hot[2]["ideal"]
    hot[2]["model"] = {"r_ohm": 52}
    solve(d, "three", d.plan("three.plan.json", standards=hot, switch_terms={"file": "switch.s2p"}, calibration={"method": "solt"}))
    told = d.json("compare", "one.json", "three.json")
    check("a load of 52 ohm instead of its definition shows as 0.02 and more", told and 0.015 < told["worst"] < 0.5, told and told["worst"])
    rc, out, err = d.run("compare", "one.json", "three.json")
    check("and in words", rc == 0 and "differ at most" in out, (rc, out, err))


def touchstone_text(parameter, version, z, points, modes=""):
    """points: (Hz, matrix in ohm and siemens); normalised in version 1 as tests/reference/formats_touchstone_examples.c has it"""
    n = len(z)
    voltage = [parameter == "Z" or (parameter == "H" and p == 0) or (parameter == "G" and p == 1) for p in range(n)]
    up = [math.sqrt(z[p]) if voltage[p] else 1 / math.sqrt(z[p]) for p in range(n)]
    scale = [[1.0 if parameter == "S" or version >= 2 else up[i] * up[k] for k in range(n)] for i in range(n)]
    out = "[Version] 2.1\n# Hz %s RI\n[Number of Ports] %d\n%s[Number of Frequencies] %d\n[Reference] %s\n%s[Network Data]\n" % (parameter, n, "[Two-Port Data Order] 12_21\n" if n == 2 else "", len(points), " ".join(map(repr, z)), modes) \
        if version >= 2 else "# Hz %s RI R %s\n" % (parameter, " ".join(map(repr, z)))
    for f, m in points:
        order = [(0, 0), (1, 0), (0, 1), (1, 1)] if n == 2 and version < 2 else [(i, k) for i in range(n) for k in range(n)]
        words = ["%.17g %.17g" % (m[i][k].real / scale[i][k], m[i][k].imag / scale[i][k]) for i, k in order]
        out += "%.17g " % f + (" ".join(words) if n <= 2 else "\n".join(" ".join(words[r * n:r * n + n]) for r in range(n))) + "\n"
    return out + ("[End]\n" if version >= 2 else "")


def converted(d):
    """one device in every kind of parameters and with two references: every command sees the same S"""
    hz = [1e9 * k for k in range(1, 41)]
    ys = []
    for f in hz:
        w = 2j * math.pi * f
        y12, y1, y2 = 1 / (4 + w * 0.4e-9), w * 20e-15, w * 15e-15 + 1e-4
        ys.append([[y12 + y1, -y12], [-y12, y12 + y2]])
    zs = [solved(y, [[1, 0], [0, 1]]) for y in ys]
    hs = [[[1 / y[0][0], -y[0][1] / y[0][0]], [y[1][0] / y[0][0], (y[0][0] * y[1][1] - y[0][1] * y[1][0]) / y[0][0]]] for y in ys]
    gs = [solved(h, [[1, 0], [0, 1]]) for h in hs]
    fifty = [s_of_y(y, (50, 50)) for y in ys]
    d.s2p("s.s2p", hz, [[s[0][0], s[0][1], s[1][0], s[1][1]] for s in fifty])
    want = d.json("extract", "--quantity", "Lser", "s.s2p")
    check("nothing is noted of S in 50 ohm", want and want["notes"] == [], want and want["notes"])
    for z in ((50.0, 50.0), (75.0, 75.0), (75.0, 20.0)):
        for parameter, matrices in (("S", [s_of_y(y, z) for y in ys]), ("Z", zs), ("Y", ys), ("H", hs), ("G", gs)):
            for version in (1, 2):
                name = "%s_%g_%g.%s" % (parameter, *z, "ts" if version == 2 else "s2p")
                d.text(name, touchstone_text(parameter, version, z, list(zip(hz, matrices))))
                told = d.json("compare", "s.s2p", name)
                within("%s is the same device" % name, told["all"]["worst"] if told else 1, 1e-13)
                said = " ".join(told["notes"]) if told else ""
                check("%s: what was converted is noted" % name, (parameter == "S" or "%s parameters converted" % parameter in said) and (z == (50, 50) or "to 50 ohm" in said), said)
                got = d.json("extract", "--quantity", "Lser", name)
                a, b = got["files"][0]["quantities"][0]["value"], want["files"][0]["quantities"][0]["value"]
                within("%s: Lser" % name, max(abs(x / y - 1) for x, y in zip(a, b)), 1e-10)
                check("%s: extract notes it too" % name, (parameter == "S" or "%s parameters converted" % parameter in " ".join(got["notes"])), got["notes"])
    rc, out, err = d.run("extract", "--quantity", "Lser", "--at", "10e9", "H_75_20.s2p")
    check("without --json a note is a line on stderr", rc == 0 and "Lser" in out and "H_75_20.s2p: H parameters converted" in err and "brought to 50 ohm" in err, (rc, out, err))
    for name in ("Z_75_20.s2p", "G_75_75.ts"):
        told = d.json("fit", "--model", "inductor", name)
        check("fit of %s" % name, told and any("converted" in n for n in told["notes"]) and abs({e["name"]: e["value"] for e in told["elements"]}["ls"] / 0.4e-9 - 1) < 0.02, told and told["elements"])
    d.s2p("open.s2p", hz, [[s[0][0], s[0][1], s[1][0], s[1][1]] for s in (s_of_y([[2j * math.pi * f * 10e-15, 0], [0, 2j * math.pi * f * 10e-15]], (50, 50)) for f in hz)])
    d.text("open_y.s2p", touchstone_text("Y", 1, (75.0, 20.0), [(f, [[2j * math.pi * f * 10e-15, 0j], [0j, 2j * math.pi * f * 10e-15]]) for f in hz]))
    d.run("deembed", "--method", "open", "--open", "open.s2p", "s.s2p", "--out", "bare.s2p")
    told = d.json("deembed", "--method", "open", "--open", "open_y.s2p", "H_75_75.s2p", "--out", "bare_h.s2p")
    both = d.json("compare", "bare.s2p", "bare_h.s2p")
    within("deembed of H in 75 ohm with a dummy in Y", both["all"]["worst"] if both else 1, 1e-12)
    with open(d.at("bare_h.s2p")) as f:
        check("and the file says what was converted", "converted to single-ended S" in f.read(), told)
    # raw ratios in other parameters: what the file was made of comes back; its references mean nothing
    j = reference("cal_solt.json")
    raw = [matrix(r) for r in j["dut"]["fet"]["raw"]]
    write_case(d, j, {n: s["raw"] for n, s in j["standards"].items()}, {"fet": j["dut"]["fet"]["raw"]})
    ideals(d, j, j["frequencies_hz"])
    thru = [matrix(r) for r in j["standards"]["thru"]["ideal"]]
    d.text("thru_h.ts", touchstone_text("H", 2, (30.0, 90.0), [(f, h_of_s(s, 30.0, 90.0)) for f, s in zip(j["frequencies_hz"], ((renormalised(t, (50, 50), (30.0, 90.0))) for t in thru))]))
    standards = [{"name": n, "kind": n, "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load")] + [{"name": "thru", "kind": "thru", "file": "thru.s2p", "ideal": "thru_h.ts"}]
    terms, diagnosis = solve(d, "t", d.plan("t.plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration={"method": "solt"}))
    d.text("fet_h.ts", touchstone_text("H", 2, (30.0, 90.0), [(f, h_of_s(s, 30.0, 90.0)) for f, s in zip(j["frequencies_hz"], raw)]))
    told = d.json("correct", "--terms", terms, "fet_h.ts")
    got = [[c(told["files"][0][k][i]) for k in ("s11", "s12", "s21", "s22")] for i in range(len(raw))] if told else raw
    within("an ideal in H of 30 and 90 ohm, and a raw file in H", distance(got, [matrix(x) for x in j["dut"]["fet"]["true"]]), 1e-9)
    check("both are noted", told and "converted" in told["notes"][0] and "raw ratios" in told["notes"][1], told and told["notes"])


def h_of_s(s, za, zb):
    """H of a row S11 S12 S21 S22 (V1, I2 of I1, V2), by solving for the waves of I1 = 1, V2 = 0 and of I1 = 0, V2 = 1"""
    a, b = math.sqrt(za), math.sqrt(zb)
    # unknown a1, a2: I1 = (a1 - b1)/a, V2 = (a2 + b2) b
    m = [[(1 - s[0]) / a, -s[1] / a], [s[2] * b, (1 + s[3]) * b]]
    x = solved(m, [[1, 0], [0, 1]])
    h = [[0j, 0j], [0j, 0j]]
    for k in range(2):
        a1, a2 = x[0][k], x[1][k]
        h[0][k] = (a1 + s[0] * a1 + s[1] * a2) * a
        h[1][k] = (a2 - s[2] * a1 - s[3] * a2) / b
    return h


def renormalised(s, old, new):
    """a row S11 S12 S21 S22 from two references to two others, by waves"""
    up, down = [[0j, 0j], [0j, 0j]], [[0j, 0j], [0j, 0j]]
    for p in range(2):
        for k in range(2):
            v = math.sqrt(old[p]) * ((p == k) + s[2 * p + k])
            i = ((p == k) - s[2 * p + k]) / math.sqrt(old[p])
            down[p][k] = (v + new[p] * i) / (2 * math.sqrt(new[p]))
            up[p][k] = (v - new[p] * i) / (2 * math.sqrt(new[p]))
    # S' down = up
    t = solved([[down[k][i] for k in range(2)] for i in range(2)], [[up[k][i] for k in range(2)] for i in range(2)])
    return [t[0][0], t[1][0], t[0][1], t[1][1]]


def modes(d):
    """two coupled coils side by side: 2 (L - M) between the pairs, (L + M)/2 for both together; as S, mixed S and mixed Z of four ports"""
    hz = [1e9 * k for k in range(1, 31)]
    L, M, R, C = 0.5e-9, 0.15e-9, 3.0, 12e-15
    ys = []
    for f in hz:
        w = 2j * math.pi * f
        b = solved([[R + w * L, w * M], [w * M, R + w * L]], [[1, 0], [0, 1]])
        y = [[b[i % 2][k % 2] * (1 if (i < 2) == (k < 2) else -1) + (w * C if i == k else 0) for k in range(4)] for i in range(4)]
        ys.append(y)
    half = math.sqrt(0.5)
    mixing = [[half, -half, 0, 0], [0, 0, half, -half], [half, half, 0, 0], [0, 0, half, half]]  # D1,2 D3,4 C1,2 C3,4
    product = lambda a, b: [[sum(a[i][m] * b[m][k] for m in range(len(b))) for k in range(len(b[0]))] for i in range(len(a))]
    turned = [list(r) for r in zip(*mixing)]
    fifty = [s_of_y(y, [50.0] * 4) for y in ys]
    # I_d = (I1 - I2)/2, V_d = V1 - V2, I_c = I1 + I2, V_c = (V1 + V2)/2
    current = [[0.5, -0.5, 0, 0], [0, 0, 0.5, -0.5], [1, 1, 0, 0], [0, 0, 1, 1]]
    order = "[Mixed-Mode Order] D1,2 D3,4 C1,2 C3,4\n"
    d.text("four.s4p", touchstone_text("S", 1, [50.0] * 4, list(zip(hz, fifty))))
    d.text("four_75.s4p", touchstone_text("Y", 1, [75.0, 75.0, 20.0, 20.0], list(zip(hz, ys))))
    d.text("mixed_s.ts", touchstone_text("S", 2, [50.0] * 4, [(f, product(product(mixing, s), turned)) for f, s in zip(hz, fifty)], order))
    d.text("mixed_y.ts", touchstone_text("Y", 2, [50.0] * 4, [(f, product(product(current, y), [list(r) for r in zip(*current)])) for f, y in zip(hz, ys)], order))
    for name in ("four.s4p", "four_75.s4p", "mixed_s.ts", "mixed_y.ts"):
        told = d.json("extract", "--quantity", "Lser,Rser,pi_C1", "--modes", "D1,2:D3,4", name)
        q = {x["quantity"]: x["value"] for x in told["files"][0]["quantities"]} if told else {}
        if q:
            within("%s: differential inductance between the pairs" % name, max(abs(v / (2 * (L - M)) - 1) for v in q["Lser"]), 1e-9)
            within("%s: differential resistance" % name, max(abs(v / (2 * R) - 1) for v in q["Rser"]), 1e-9)
            within("%s: differential capacitance to ground" % name, max(abs(v / (C / 2) - 1) for v in q["pi_C1"]), 1e-9)
            check("%s: its modes are noted" % name, any("D1,2 and D3,4" in n for n in told["notes"]), told["notes"])
        told = d.json("extract", "--quantity", "Lser,pi_C2", "--modes", "C1,2:C3,4", name)
        q = {x["quantity"]: x["value"] for x in told["files"][0]["quantities"]} if told else {}
        if q:
            within("%s: common inductance" % name, max(abs(v / ((L + M) / 2) - 1) for v in q["Lser"]), 1e-9)
            within("%s: common capacitance" % name, max(abs(v / (2 * C) - 1) for v in q["pi_C2"]), 1e-9)
    told = d.json("extract", "--quantity", "Ld,Qd", "--modes", "D1,2:D3,4", "--at", "10e9", "four.s4p")
    q = {x["quantity"]: x["value"][0] for x in told["files"][0]["quantities"]} if told else {}
    check("Ld and Qd of the differential two-port", q and 1 < q["Qd"] < 100 and q["Ld"] > 0, q)
    rc, out, err = d.run("compare", "four.s4p", "mixed_y.ts", "--modes", "D1,2:S3", "--limit", "1e-12")
    check("a balun's two modes are brought to one reference, and two files compared in them", rc == 0 and "50 ohm" in err, (rc, out, err))
    rc, out, err = d.run("fit", "--model", "inductor", "--modes", "D1,2:D3,4", "four.s4p", "--out", "d.cir")
    check("a differential inductor is fitted", rc == 0 and "699" in out or "700" in out, (rc, out, err))
    told = d.json("fit", "--model", "vector", "--order", "8", "mixed_y.ts")
    check("four ports in mixed Y are fitted as single-ended S", told and told["ports"] == 4 and told["error"]["worst"] < 1e-3, told and told["error"])


def lists_of_frequencies(d):
    """what is used, left out, interpolated"""
    wide, narrow = [1e9 * k for k in range(1, 41)], [0.5e9 * k for k in range(9, 41)]
    row = lambda f: [1 / (1 + 2 * v) if k in (0, 3) else 2 * v / (1 + 2 * v) for v in [50j * 2 * math.pi * f * 100e-15] for k in range(4)]
    for name, hz in (("wide.s2p", wide), ("narrow.s2p", narrow)):
        d.s2p(name, hz, [row(f) for f in hz])
    told = d.json("compare", "wide.s2p", "narrow.s2p")
    check("common frequencies are compared, and counted", told and told["points_common"] == 16 and told["points_a"] == 40 and told["points_b"] == 32 and told["all"]["worst"] == 0, told)
    check("what is left out is noted of both", told and len(told["notes"]) == 2 and "16 of its 40" in told["notes"][0] and "16 of its 32" in told["notes"][1], told and told["notes"])
    told = d.json("compare", "narrow.s2p", "wide.s2p", "--interpolate")  # quadratic in f where five points are dense, which is exact for this Y; in log f below
    check("--interpolate takes what lies between", told and told["points_common"] == 32 and 0 < told["all"]["worst"] < 5e-3 and told["bands"][-1]["from_hz"] == 10e9 and told["bands"][-1]["worst"] < 1e-12 and "interpolated at 16 of 32" in " ".join(told["notes"]), told and (told["all"]["worst"], told["notes"]))
    told = d.json("compare", "wide.s2p", "narrow.s2p", "--interpolate")
    check("and nothing beyond a sweep's ends", told and told["points_common"] == 16 and told["all"]["from_hz"] == 5e9 and told["all"]["to_hz"] == 20e9, told)
    d.s2p("pad.s2p", wide, [[1 / (1 + 50j * 2 * math.pi * f * 10e-15) * (1 - 50j * 2 * math.pi * f * 10e-15), 0j, 0j, 1 / (1 + 50j * 2 * math.pi * f * 10e-15) * (1 - 50j * 2 * math.pi * f * 10e-15)] for f in wide])
    told = d.json("deembed", "--method", "open", "--open", "pad.s2p", "narrow.s2p")
    check("deembed on common frequencies", told and told["points"] == 16 and "16 of its 32" in " ".join(told["notes"]), told and told["notes"])
    told = d.json("deembed", "--method", "open", "--open", "pad.s2p", "narrow.s2p", "--interpolate")
    check("deembed with an interpolated dummy", told and told["points"] == 32 and "pad.s2p: interpolated" in " ".join(told["notes"]), told and told["notes"])


def converting(d):
    for case in reference("touchstone.json")["cases"]:
        name = "%s.%s" % (case["name"], case["file_extension"])
        d.text(name, case["text"])
        rc, out, err = d.run("touchstone", name)
        check("%s is %s" % (name, "refused in one sentence" if case["reject"] else "read"), rc == 2 and is_one_sentence(err) and name in err and "line " in err if case["reject"] else rc == 0 and name in out, (rc, out, err))
        if case["reject"]:
            continue
        rc, out, err = d.run("touchstone", name, "--as", "2.1", "--out", "x.ts")
        told, back = d.json("touchstone", name), d.json("touchstone", "x.ts")
        check("%s as 2.1 holds the same" % name, rc == 0 and told and back and {k: v for k, v in told.items() if k != "version"} == {k: v for k, v in back.items() if k != "version"}, (rc, err, told, back))
    d.text("much.s2p", "! reference plane: tip\n!" + "x" * (4 << 20) + "\n# Hz S RI R 50\n1e9 0.1 0 0.9 0 0.9 0 0.1 0\n2e9 0.1 0 0.9 0 0.9 0 0.1 0\n")
    for words in (["touchstone"], ["extract", "--quantity", "S21_dB", "--at", "1e9"], ["compare", "much.s2p"]):
        rc, out, err = d.run(*words, "much.s2p")
        lines = [x for x in err.splitlines() if "are left out" in x]
        check("%s: 4 MB of comment are said once" % words[0], rc == 0 and len(lines) == 1 and lines[0].startswith("tipplane: much.s2p: 4128") and "65536 are kept" in lines[0], (rc, err))
        told = d.json(*words, "much.s2p")
        check("%s --json: among the notes" % words[0], told and len([n for n in told["notes"] if "are left out" in n]) == 1, told)


def fitting(d):
    j = reference("vectorfit.json")
    for case, passive in (("C_S_two_port_passive", True), ("B_S_two_port_violating", False)):
        k = j[case]
        hz, rows = k["f_hz"], [matrix(r) for r in k["S"]]
        d.s2p(case + ".s2p", hz, rows)
        told = d.json("fit", "--model", "vector", *(["--keep-active"] if not passive else []), case + ".s2p")
        if not told:
            continue
        within("fit %s: the model's S" % case, told["error"]["worst"], 1e-9)
        poles = sorted((c(p) for p in told["poles"]), key=abs)
        want = sorted((c(p) for p in k["poles"]), key=abs)
        within("fit %s: its poles, relative" % case, max(abs(a - b) / abs(b) for a, b in zip(poles, want)) if len(poles) == len(want) else 1.0, 1e-6)
        check("fit %s: %s" % (case, "passive" if passive else "not passive, and says so"), told["passive"] is passive and ".subckt" in told["netlist"], told["passive"])
    refused(d, "what is active by far", ["fit", "--model", "vector", "B_S_two_port_violating.s2p"], "1.69", "--keep-active", status=1)  # its largest singular value, by numpy
    hz = [1e9 * i for i in range(1, 111)]
    z = [1 + 0.2e-9j * 2 * math.pi * f for f in hz]
    d.s2p("loud.s2p", hz, [[1.02 * v / (v + 100), 102 / (v + 100), 102 / (v + 100), 1.02 * v / (v + 100)] for v in z])
    rc, out, err = d.run("fit", "--model", "vector", "loud.s2p", "--out", "b.cir", "--name", "Made_Passive")
    with open(d.at("b.cir")) as f:
        text = f.read()
    check("fit makes it passive unless told otherwise, and says how far S moved", rc == 0 and "made passive" in out and ".subckt made_passive p1 p2 ref" in text and "fitted to loud.s2p" in text.lower(), (rc, out, err, text[:400]))
    # an inductor by its own equations, on a grid a person would sweep
    true = {"ls": 1e-9, "rs": 4.0, "cp": 6e-15, "cox1": 40e-15, "cox2": 36e-15, "rsub1": 250.0, "rsub2": 300.0, "csub1": 15e-15, "csub2": 13e-15}
    hz, rows = [0.1e9 * 1.05 ** k for k in range(155)], []
    for f in hz:
        w = 2 * math.pi * f
        ys = 1 / (true["rs"] + 1j * w * true["ls"]) + 1j * w * true["cp"]
        sides = []
        for n in "12":
            sides.append(1 / (1 / (1j * w * true["cox" + n]) + 1 / (1 / true["rsub" + n] + 1j * w * true["csub" + n])))
        y11, y22, y12 = (50 * v for v in (ys + sides[0], ys + sides[1], -ys))
        den = (1 + y11) * (1 + y22) - y12 * y12
        rows.append([((1 - y11) * (1 + y22) + y12 * y12) / den, -2 * y12 / den, -2 * y12 / den, ((1 + y11) * (1 - y22) + y12 * y12) / den])
    d.s2p("coil.s2p", hz, rows)
    told = d.json("fit", "--model", "inductor", "coil.s2p")
    if told:
        found = {e["name"]: e["value"] for e in told["elements"]}
        shared = [n for n in true if n in found]
        check("all elements of the inductor are named", len(shared) == 9, found)
        within("fit inductor: its elements, relative", max([abs(found[n] / true[n] - 1) for n in shared] or [1.0]), 1e-6)
    rc, out, err = d.run("fit", "--model", "inductor", "coil.s2p")
    check("without --out the netlist is on stdout and the elements on stderr", rc == 0 and out.count(".subckt") == 1 and "nH" in err, (rc, out[:300], err))
    # a line of 1 mm
    hz, rows, z = [1e9 + 0.5e9 * k for k in range(119)], [], 47 / 50
    for f in hz:
        g = (5.0 * math.sqrt(f / 1e9) + 2j * math.pi * f * math.sqrt(5.2) / 299792458) * 1e-3
        sh, ch = cmath.sinh(g), cmath.cosh(g)
        den = 2 * ch + (z + 1 / z) * sh
        rows.append([(z - 1 / z) * sh / den, 2 / den, 2 / den, (z - 1 / z) * sh / den])
    d.s2p("line.s2p", hz, rows)
    told = d.json("fit", "--model", "line", "--length-um", "1000", "line.s2p")
    check("a line is fitted within a per cent of S", told and told["error"]["worst"] < 0.02 and told["sections"] > 1, told and told["error"])
    refused(d, "a model that is none", ["fit", "--model", "spirale", "coil.s2p"], "spirale", "inductor")
    refused(d, "no model", ["fit", "coil.s2p"], "--model")
    refused(d, "a form that is none", ["fit", "--model", "vector", "--form", "Z", "coil.s2p"], "Z", "S and Y")
    refused(d, "a line without its length", ["fit", "--model", "line", "line.s2p"], "line.s2p", "--length-um")
    refused(d, "order 0", ["fit", "--model", "vector", "--order", "0", "coil.s2p"], "--order", "0")
    refused(d, "an order beyond the points", ["fit", "--model", "vector", "--order", "30", d.s2p("few.s2p", hz[:5], rows[:5])], "few.s2p", "5")
    refused(d, "raw data", ["fit", "--model", "vector", d.s2p("raw.s2p", hz, rows, head="! reference plane: receiver\n")], "raw.s2p", "receiver")
    refused(d, "five ports", ["fit", "--model", "vector", d.text("five.s5p", "# Hz S RI R 50\n1" + " 0 0 0 0 0 0 0 0\n 0 0\n" * 5)], "five.s5p", "5 ports")


if __name__ == "__main__":
    raise SystemExit(run(deembedding, leads, extracting, comparing, converted, modes, lists_of_frequencies, converting, fitting))

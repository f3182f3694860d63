#!/usr/bin/env python3
"""Three and four ports by two-port steps, with the real program and no daemon: plans with steps solved, raw .s3p and .s4p corrected, differential
quantities taken, two-ports of pairs joined, and what is refused.

offline_multiport.py [--build DIR] [--print]       --print shows every sentence and every worst difference
Raw data come from an analyzer of one error box per port, written here from the waves at both sides of the boxes.
"""
import cmath, json, math, os, random
from offline_kit import *


class Analyzer:
    """an error box and a termination per port, smooth over frequency"""

    def __init__(self, ports, seed):
        r = random.Random(seed)
        disc = lambda size: size * cmath.exp(2j * math.pi * r.random()) * (0.3 + 0.7 * r.random())
        self.ports = ports
        self.start = {w: [disc(size) for _ in range(ports)] for w, size in (("e00", 0.15), ("e11", 0.2), ("e10", 0.9), ("e01", 0.8), ("g", 0.1))}
        self.delay = {w: [r.uniform(5e-12, 40e-12) for _ in range(ports)] for w in self.start}

    def at(self, word, p, f):
        return self.start[word][p] * cmath.exp(-2j * math.pi * f * self.delay[word][p])

    def raw(self, s, f, ports):
        """m_ij = b_i/a_j of a device s at these ports, each port's termination in when another one is driven"""
        n = len(ports)
        e = {w: [self.at(w, p, f) for p in ports] for w in self.start}
        one = [[1.0 * (i == k) for k in range(n)] for i in range(n)]
        # a = e10 a0 + e11 b, b = S a, b0 = e00 a0 + e01 b
        b = solved([[one[i][k] - sum(s[i][m] * one[m][k] * e["e11"][k] for m in range(n)) for k in range(n)] for i in range(n)], [[s[i][k] * e["e10"][k] for k in range(n)] for i in range(n)])
        m = [[e["e00"][i] * one[i][k] + e["e01"][i] * b[i][k] for k in range(n)] for i in range(n)]
        out = [[0j] * n for _ in range(n)]
        for j in range(n):  # b0 = M (e_j + G b0), G without port j
            column = solved([[one[i][k] - m[i][k] * (e["g"][k] if k != j else 0) for k in range(n)] for i in range(n)], [[m[i][j]] for i in range(n)])
            for i in range(n):
                out[i][j] = column[i][0]
        return out


def snp(d, name, hz, matrices, head=""):
    n = len(matrices[0])
    if n == 2:
        return d.s2p(name, hz, [[m[0][0], m[0][1], m[1][0], m[1][1]] for m in matrices], head)
    out = head + "# Hz S RI R 50\n"
    for f, m in zip(hz, matrices):
        out += "%.17g " % f + "\n".join(" ".join("%.17g %.17g" % (x.real, x.imag) for x in row) for row in m) + "\n"
    return d.text(name, out)


def read_snp(path, n):
    values, hz, matrices = [], [], []
    with open(path) as f:
        for line in f:
            if line[0] not in "!#[":
                values += [float(x) for x in line.split()]
    for k in range(0, len(values), 1 + 2 * n * n):
        v = values[k + 1:k + 1 + 2 * n * n]
        hz.append(values[k])
        matrices.append([[complex(v[2 * (i * n + j)], v[2 * (i * n + j) + 1]) for j in range(n)] for i in range(n)])
    return hz, matrices


HZ = [1e9 * k for k in range(1, 21)]
REFLECTS = {"open": lambda f: cmath.exp(-0.02j * f / 1e9), "short": lambda f: -cmath.exp(-0.01j * f / 1e9), "load": lambda f: 0.02 + 0.001j * f / 1e9}
THRU = lambda f: cmath.exp(-2j * math.pi * f * 1.2e-12)


def step_files(d, a, p, q, method, thru_error=1.0):
    """the plan and raw files of ports p and q (from 0)"""
    tag = "%d%d" % (p + 1, q + 1)
    for n, of in REFLECTS.items():
        snp(d, "%s_%s.s2p" % (n, tag), HZ, [a.raw([[of(f), 0], [0, of(f)]], f, (p, q)) for f in HZ])
        d.s2p("ideal_%s.s2p" % n, HZ, [[of(f), 0j, 0j, of(f)] for f in HZ])
    snp(d, "thru_%s.s2p" % tag, HZ, [a.raw([[0, THRU(f)], [THRU(f) * thru_error, 0]], f, (p, q)) for f in HZ])
    d.s2p("ideal_thru.s2p", HZ, [[0j, THRU(f), THRU(f), 0j] for f in HZ])
    d.s2p("switch_%s.s2p" % tag, HZ, [[0j, a.at("g", p, f), a.at("g", q, f), 0j] for f in HZ])
    standards = [{"name": n, "kind": n, "file": "%s_%s.s2p" % (n, tag), "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load", "thru")]
    if method == "unknown_thru":
        del standards[3]["ideal"]
        return d.plan("plan_%s.json" % tag, standards=standards, switch_terms={"file": "switch_%s.s2p" % tag}, calibration={"method": method, "thru_delay_s": 1.2e-12})
    return d.plan("plan_%s.json" % tag, standards=standards, calibration={"method": method})


def device(n, seed):
    r = random.Random(seed)
    start = [[0.6 * complex(r.uniform(-1, 1), r.uniform(-1, 1)) for _ in range(n)] for _ in range(n)]
    return [[[start[i][k] * cmath.exp(-2j * math.pi * f * (i + k + 1) * 3e-12) for k in range(n)] for i in range(n)] for f in HZ]


def apart(a, b):
    return max(abs(x - y) for m, n in zip(a, b) for r, s in zip(m, n) for x, y in zip(r, s))


def came_back(d, name, terms, a, limit=1e-11):
    n = a.ports
    truth = device(n, 5)
    raw = snp(d, "dut.s%dp" % n, HZ, [a.raw(s, f, range(n)) for f, s in zip(HZ, truth)])
    rc, out, err = d.run("correct", "--terms", terms, raw, "--to", "out")
    if rc:
        return count.fail("%s: correct: exit %d: %s" % (name, rc, err))
    hz, got = read_snp(d.at("out/" + raw), n)
    with open(d.at("out/" + raw)) as f:
        check("%s: the file says its plane" % name, "reference plane: tip" in f.read() and hz == HZ)
    within("%s: the device comes back" % name, apart(got, truth), limit)
    told = d.json("correct", "--terms", terms, raw)
    check("%s: --json is the same numbers" % name, told and [complex(*x) for x in told["files"][0]["s%d1" % n]] == [m[n - 1][0] for m in got] and told["files"][0]["z_ref_ohm"] == 50, told and list(told["files"][0]))


def steps(d):
    for ports, pairs in ((3, ((0, 1), (0, 2))), (3, ((1, 0), (2, 1), (0, 2))), (4, ((0, 1), (1, 2), (3, 2))), (4, tuple((p, q) for p in range(4) for q in range(p + 1, 4)))):
        for methods in (("unknown_thru",), ("solt",), ("solt", "unknown_thru")):
            a = Analyzer(ports, 10 * ports + len(pairs))
            listed = [{"port_1": p + 1, "port_2": q + 1, "plan": step_files(d, a, p, q, methods[k % len(methods)])} for k, (p, q) in enumerate(pairs)]
            name = "%d ports by %d steps of %s" % (ports, len(pairs), " and ".join(methods))
            told = d.json("solve", d.plan("all.json", ports=ports, steps=listed), "--out", "terms.json")
            if not told:
                continue
            figures = told["diagnosis"]["figures"]
            within("%s: what steps say of one port" % name, max(f["largest"] for f in figures.values()), 1e-10)
            check("%s: each step's diagnosis is there" % name, [(s["port_1"] - 1, s["port_2"] - 1) for s in told["diagnosis"]["steps"]] == list(pairs) and all("bands" in s["diagnosis"] for s in told["diagnosis"]["steps"]) and len(figures) == 3, told["diagnosis"]["steps"][0].keys())
            came_back(d, name, "terms.json", a)
    with open(d.at("terms.json")) as f:
        document = json.load(f)
    g = document["switch_terms"]["port_4"]
    within("the terms hold what each port reflects undriven", max(abs(complex(x, y) - a.at("g", 3, f)) for f, x, y in zip(HZ, g["re"], g["im"])), 1e-11)
    ed = document["terms"]["port_3"]["ED"]
    within("and each port's directivity", max(abs(complex(x, y) - a.at("e00", 2, f)) for f, x, y in zip(HZ, ed["re"], ed["im"])), 1e-11)
    check("port 1 has no K, the others have", "K" not in document["terms"]["port_1"] and "K" in document["terms"]["port_2"])
    check("the terms say which files they came from", sum("SHA-256" in v for v in document["notes"].values()) >= 30 and document["notes"]["file_0"].startswith("plan: all.json"), document["notes"])
    # a step whose thru moved between its two sweeps: the loops see it, N - 1 steps cannot
    step_files(d, a, 0, 1, "solt", thru_error=1.05)
    told = d.json("solve", "all.json", "--out", "bad.json")
    figures = told["diagnosis"]["figures"] if told else {}
    check("a thru that moved shows in the closed loops", told and 0.005 < figures["k_disagreement"]["largest"] < 0.05 and figures["box_difference"]["largest"] < 1e-9, figures and {k: v["largest"] for k, v in figures.items()})
    rc, out, err = d.run("solve", "all.json", "--out", "bad.json")
    check("and in words", rc == 0 and "4 ports by 6 steps, 20 points from 1 GHz to 20 GHz" in out and "transmission around closed loops" in out and "result: 4 ports, plane tip, 50 ohm, switch terms removed" in out, (rc, out, err))
    # a step by terms that are solved already
    step_files(d, a, 0, 1, "solt")
    d.run("solve", "plan_12.json", "--out", "terms_12.json")
    listed = [{"port_1": 1, "port_2": 2, "terms": "terms_12.json"}] + [{"port_1": p, "port_2": p + 1, "plan": "plan_%d%d.json" % (p, p + 1)} for p in (2, 3)]
    step_files(d, a, 1, 2, "unknown_thru")
    step_files(d, a, 2, 3, "solt")
    rc, out, err = d.run("solve", d.plan("mixed.json", ports=4, steps=listed))
    d.text("mixed_terms.json", out)
    check("without --out the terms are on stdout, the words on stderr", rc == 0 and "4 ports by 3 steps" in err, (rc, err))
    came_back(d, "a step by terms", "mixed_terms.json", a)


def differential(d):
    """from raw four-port files to a differential inductance, and the other ways a result may be written"""
    L, M, R, C = 0.5e-9, 0.15e-9, 3.0, 12e-15
    a = Analyzer(4, 77)
    listed = [{"port_1": p + 1, "port_2": q + 1, "plan": step_files(d, a, p, q, "solt")} for p, q in ((0, 1), (0, 2), (0, 3))]
    d.run("solve", d.plan("all.json", ports=4, steps=listed), "--out", "terms.json")
    truth = []
    for f in HZ:
        w = 2j * math.pi * f
        b = solved([[R + w * L, w * M], [w * M, R + w * L]], [[1, 0], [0, 1]])
        truth.append(s_of_y([[b[i % 2][k % 2] * (1 if (i < 2) == (k < 2) else -1) + (w * C if i == k else 0) for k in range(4)] for i in range(4)], [50.0] * 4))
    snp(d, "coils.s4p", HZ, [a.raw(s, f, range(4)) for f, s in zip(HZ, truth)], head="! reference plane: receiver\n")
    for out in ("coils_tip.s4p", "coils_tip.ts"):
        rc, _, err = d.run("correct", "--terms", "terms.json", "coils.s4p", "--out", out)
        told = d.json("extract", "--quantity", "Lser,Rser,pi_C1", "--modes", "D1,2:D3,4", out)
        q = {x["quantity"]: x["value"] for x in told["files"][0]["quantities"]} if told else {}
        if q:
            within("%s: differential inductance, relative" % out, max(abs(v / (2 * (L - M)) - 1) for v in q["Lser"]), 1e-8)
            within("%s: differential resistance, relative" % out, max(abs(v / (2 * R) - 1) for v in q["Rser"]), 1e-8)
            within("%s: differential capacitance, relative" % out, max(abs(v / (C / 2) - 1) for v in q["pi_C1"]), 1e-8)
    told = d.json("touchstone", "coils_tip.ts")
    check("a result called .ts is of version 2.1", told and told["version"] == "2.1" and told["ports"] == 4, told)
    rc, out, err = d.run("correct", "--terms", "terms.json", "coils.s4p")
    check("nothing odd is said of the coils", rc == 0 and not err, (rc, err))
    snp(d, "loud.s4p", HZ, [a.raw([[1.1 if i == k == 2 else 0 for k in range(4)] for i in range(4)], f, range(4)) for f in HZ])
    rc, out, err = d.run("correct", "--terms", "terms.json", "loud.s4p")
    check("a port that gives out more than it gets is said, with its pair", rc == 0 and "loud.s4p, ports 1 and 3: gives out more than it gets" in err and err.count("\n") == 1, (rc, err))
    part = [f for f in HZ if f > 3e9] + [20.5e9]
    snp(d, "part.s4p", part, [a.raw([[0.1] * 4] * 4, f, range(4)) for f in part])
    told = d.json("correct", "--terms", "terms.json", "part.s4p", "--common")
    check("--common leaves out what was not calibrated", told and told["files"][0]["freq_hz"] == part[:-1] and "2.05e+10 Hz" in told["notes"][0], told and told["notes"])
    refused(d, "frequencies that were not calibrated", ["correct", "--terms", "terms.json", "part.s4p"], "part.s4p", "1 of its 18", "--common")
    refused(d, "a three-port and terms of four", ["correct", "--terms", "terms.json", snp(d, "three.s3p", HZ, [[[0j] * 3] * 3] * len(HZ))], "three.s3p", "3 ports, the terms 4")
    refused(d, "a two-port and terms of four", ["correct", "--terms", "terms.json", "thru_12.s2p"], "thru_12.s2p", "2 ports, the terms 4")
    refused(d, "a corrected file", ["correct", "--terms", "terms.json", "coils_tip.s4p"], "coils_tip.s4p", "raw")
    refused(d, "a four-port and terms of two", ["correct", "--terms", "two.json", "coils.s4p"], "coils.s4p", "4 ports") if not d.run("solve", "plan_12.json", "--out", "two.json")[0] else count.fail("plan_12.json was not solved")
    refused(d, "switch terms beside them", ["correct", "--terms", "terms.json", "--switch-terms", "switch_12.s2p", "coils.s4p"], "--switch-terms", "4 ports")
    refused(d, "options of uncertainty that is not wanted", ["correct", "--terms", "terms.json", "--noise-u", "1e-4,1e-4", "--no-uncertainty", "coils.s4p"], "--noise-u", "corrected files")
    refused(d, "a port beside them", ["correct", "--terms", "terms.json", "--port", "2", "coils.s4p"], "--port")
    refused(d, "a result of four ports called .s2p", ["correct", "--terms", "terms.json", "coils.s4p", "--out", "x.s2p"], "x.s2p", ".s4p")
    refused(d, "terms of four ports in a comparison", ["compare", "terms.json", "terms.json"], "terms.json", "several ports")
    refused(d, "terms of four ports as a step", ["solve", d.plan("p.json", ports=3, steps=[{"port_1": 1, "port_2": 2, "terms": "terms.json"}, {"port_1": 1, "port_2": 3, "terms": "terms.json"}])], "p.json", "step 1", "several ports")
    with open(d.at("terms.json")) as f:
        good = json.load(f)

    def broken(change):
        document = json.loads(json.dumps(good))
        change(document)
        d.text("broken.json", json.dumps(document))
        return ["correct", "--terms", "broken.json", "coils.s4p"]

    refused(d, "a later version", broken(lambda t: t.update(version=2)), "broken.json", "version 2", status=4)
    refused(d, "five ports", broken(lambda t: t.update(ports=5)), "broken.json", "/ports")
    refused(d, "a port that is missing", broken(lambda t: t["terms"].pop("port_3")), "broken.json", "/terms/port_3")
    refused(d, "a term that is missing", broken(lambda t: t["terms"]["port_2"].pop("ES")), "broken.json", "/terms/port_2/ES")
    refused(d, "a K of port 1", broken(lambda t: t["terms"]["port_1"].update(K=t["terms"]["port_2"]["K"])), "broken.json", '"K" in /terms/port_1')
    refused(d, "a port too many", broken(lambda t: t.update(ports=3)), "broken.json", '"port_4"')
    refused(d, "a column that is too short", broken(lambda t: t["terms"]["port_2"]["ED"]["re"].pop()), "broken.json", "/terms/port_2/ED/re", "19 numbers")
    refused(d, "a hole", broken(lambda t: t["terms"]["port_2"]["ED"]["re"].__setitem__(3, None)), "broken.json", "entry 4 of 20")
    refused(d, "an unknown key", broken(lambda t: t.update(model="eight")), "broken.json", '"model"')
    refused(d, "switch terms of three ports", broken(lambda t: t["switch_terms"].pop("port_4")), "broken.json", "/switch_terms/port_4")
    refused(d, "switch terms that are missing", broken(lambda t: t.pop("switch_terms")), "coils.s4p", "switch terms")


def points(d):
    """each S of three and four ports is judged, to the ends, in raw files and in corrected ones; what is good is left alone"""
    r = random.Random(8)
    for ports, pairs in ((3, ((0, 1), (0, 2))), (4, ((0, 1), (1, 2), (2, 3)))):
        a, n = Analyzer(ports, 77), ports
        global HZ
        few, HZ = HZ, [0.5e9 * k for k in range(4, 64)]
        listed = [{"port_1": p + 1, "port_2": q + 1, "plan": step_files(d, a, p, q, "solt")} for p, q in pairs]
        d.json("solve", d.plan("all.json", ports=ports, steps=listed), "--out", "terms.json")
        noisy = lambda m: [[x + 2e-4 * complex(r.gauss(0, 1), r.gauss(0, 1)) for x in row] for row in m]
        reciprocal = [[[0.3 * (s[i][k] + s[k][i]) for k in range(n)] for i in range(n)] for s in device(n, 6)]  # passive, so that nothing else is odd
        raw, hz = [noisy(a.raw(s, f, range(n))) for f, s in zip(HZ, reciprocal)], HZ
        HZ = few

        def spoiled(change):
            """change: {(point, row, column): factor, or None for what the point before it read}"""
            rows = [[list(row) for row in m] for m in raw]
            for (at, i, k), x in change.items():
                rows[at][i][k] = rows[at - 1][i][k] if x is None else rows[at][i][k] * x
            return snp(d, "raw.s%dp" % n, hz, rows)

        name = "%d ports" % ports
        told = d.json("correct", "--terms", "terms.json", spoiled({}))
        check("%s: nothing is said of a good raw file" % name, told and not told["notes"], told and told["notes"])
        for at in (1, 30, len(hz) - 1):
            told = d.json("correct", "--terms", "terms.json", spoiled({(at, n - 1, 0): 3}))
            said = [x for x in told["notes"] if "out of line" in x] if told else []
            check("%s: one wild point of S%d1, point %d, is said once" % (name, n, at), len(said) == 1 and "S%d1" % n in said[0] and "%.6g GHz" % (hz[at] / 1e9) in said[0] and said[0].startswith("raw.s%dp: " % n), told and told["notes"])
        told = d.json("correct", "--terms", "terms.json", spoiled({(k, 1, n - 1): None for k in range(20, 25)}))
        check("%s: a receiver that stood still is said" % name, told and any("S2%d is the same to the last digit at 6 points" % n in x for x in told["notes"]), told and told["notes"])
        told = d.json("correct", "--terms", "terms.json", spoiled({(k, i, j): 0 for k in (40, 41) for i in range(n) for j in range(n)}))
        check("%s: what was not read is said" % name, told and any("all S are 0 at 2 of 60 frequencies" in x for x in told["notes"]), told and told["notes"])


def bad_plans(d):
    a = Analyzer(3, 5)
    step_files(d, a, 0, 1, "solt")
    step_files(d, a, 0, 2, "solt")
    one, two = {"port_1": 1, "port_2": 2, "plan": "plan_12.json"}, {"port_1": 1, "port_2": 3, "plan": "plan_13.json"}

    def plan(**keys):
        return ["solve", d.plan("p.json", **{"ports": 3, "steps": [one, two], **keys})]

    rc, out, err = d.run(*plan())
    check("the plan all others spoil is good", rc == 0, err)
    sol = [{"name": n, "kind": n, "file": "%s_12.s2p" % n, "ideal": "ideal_%s.s2p" % n} for n in REFLECTS]
    d.plan("sol.json", standards=sol, calibration={"method": "sol"})
    refused(d, "a step of reflections alone", plan(steps=[{**one, "plan": "sol.json"}, two]), "p.json", "step 1", "sol.json", "add a thru", "unknown_thru")
    pairs = [{"name": x + y, "kind": "known", "file": "%s_%s.s2p" % (x, y), "ideal": "ideal_%s_%s.s2p" % (x, y)} for x, y in (("open", "short"), ("short", "open"), ("load", "open"))]
    for x, y in (("open", "short"), ("short", "open"), ("load", "open")):
        snp(d, "%s_%s.s2p" % (x, y), HZ, [a.raw([[REFLECTS[x](f), 0], [0, REFLECTS[y](f)]], f, (0, 1)) for f in HZ])
        d.s2p("ideal_%s_%s.s2p" % (x, y), HZ, [[REFLECTS[x](f), 0j, 0j, REFLECTS[y](f)] for f in HZ])
    thru = {"name": "thru", "kind": "thru", "file": "thru_12.s2p", "ideal": "ideal_thru.s2p"}
    for method in ("sixteen_term", "known_standards"):
        d.plan("%s.json" % method, standards=sol + pairs + [thru], switch_terms={"file": "switch_12.s2p"}, calibration={"method": method})
    refused(d, "a step with leakage", plan(steps=[{**one, "plan": "sixteen_term.json"}, two]), "p.json", "step 1", "sixteen_term.json", "known_standards")
    rc, out, err = d.run(*plan(steps=[{**one, "plan": "known_standards.json"}, two]), "--out", "t.json")
    check("what the sentence says to do is possible: the same standards by known_standards", rc == 0 and "known_standards: 7 standards" in out, (rc, out, err))
    refused(d, "five ports", plan(ports=5), "p.json", "ports", "5")
    refused(d, "no steps", plan(steps=[]), "p.json", "/steps", "2 steps")
    refused(d, "steps of two ports", plan(ports=2), "p.json", "3 or 4")
    refused(d, "steps without ports", ["solve", d.plan("p.json", steps=[one])], "p.json", "3 or 4")
    refused(d, "standards beside steps", plan(standards=[{"name": "open", "kind": "open", "file": "open_12.s2p"}]), "p.json", "/standards")
    refused(d, "a calibration beside steps", plan(calibration={"method": "solt"}), "p.json", "/calibration")
    refused(d, "switch terms beside steps", plan(switch_terms={"file": "switch_12.s2p"}), "p.json", "/switch_terms")
    refused(d, "a port of itself", plan(steps=[{**one, "port_2": 1}, two]), "p.json", "/steps/0", "ports 1 and 1")
    refused(d, "a port that is not there", plan(steps=[one, {**two, "port_2": 4}]), "p.json", "/steps/1", "ports 1 and 4")
    refused(d, "a port that nothing leads to", plan(steps=[one, one]), "p.json", "port 3")
    refused(d, "a plan and terms", plan(steps=[{**one, "terms": "t.json"}, two]), "p.json", "/steps/0", "either")
    refused(d, "neither plan nor terms", plan(steps=[one, {"port_1": 1, "port_2": 3}]), "p.json", "/steps/1", "either")
    refused(d, "a plan that is not there", plan(steps=[one, {**two, "plan": "none.json"}]), "p.json", "step 2", "none.json", status=3)
    refused(d, "a plan with steps as a step", plan(steps=[one, {**two, "plan": d.plan("nested.json", ports=3, steps=[one, two])}]), "p.json", "step 2", "nested.json", "steps itself")
    refused(d, "a step with a bad file", plan(steps=[one, {**two, "plan": d.plan("nan.json", standards=[{"name": "open", "kind": "open", "file": d.text("nan.s2p", "# Hz S RI R 50\n1e9 0 0 nan 0 1 0 0 0\n")}], calibration={"method": "sol"})}]), "step 2", "nan.json", "nan.s2p", "line 2")
    with open(d.at("plan_13.json")) as f:
        other = json.load(f)
    for s in other["standards"]:
        for key in ("file", "ideal"):
            hz, rows = read_s2p(d.at(s[key]))
            s[key] = d.s2p("short_" + s[key], hz[:9], rows[:9])
    d.text("short.json", json.dumps(other))
    refused(d, "steps on two lists of frequencies", plan(steps=[one, {**two, "plan": "short.json"}]), "p.json", "ports 1 and 3", "differs")
    sol = {"standards": [{"name": n, "kind": n, "file": "%s_13.s2p" % n, "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load")], "calibration": {"method": "sol"}}
    refused(d, "a step of one-port terms", plan(steps=[one, {**two, "plan": d.text("sol.json", json.dumps(sol))}]), "step 2", "sol.json", "reflections alone")
    d.run("solve", step_files(d, a, 0, 2, "unknown_thru"), "--out", "t.json")
    with open(d.at("t.json")) as f:
        document = json.load(f)
    del document["switch_terms"]
    d.text("t.json", json.dumps(document))
    refused(d, "terms that lack their switch terms", plan(steps=[one, {"port_1": 1, "port_2": 3, "terms": "t.json"}]), "step 2", "t.json", "switch terms")
    other["calibration"]["verify"] = [{"standard": "spare", "limit": 1e-3}]
    spoilt = {**other, "standards": [{"name": n, "kind": n, "file": "%s_13.s2p" % n, "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load", "thru")] + [{"name": "spare", "kind": "load", "file": "load_13.s2p", "model": {"r_ohm": 60}}]}
    d.text("spoilt.json", json.dumps(spoilt))
    rc, out, err = d.run(*plan(steps=[one, {**two, "plan": "spoilt.json"}]), "--out", "x.json")
    check("a verification of a step beyond its limit is exit 10", rc == 10 and "beyond its limit" in err, (rc, out, err))


def ended(s, g, p, q):
    """the two-port at p, q of s when the other ports end in g"""
    n, kept = len(s), (p, q)
    others = [r for r in range(n) if r not in kept]
    b = solved([[(i == k) - s[i][k] * g[k] for k in others] for i in others], [[s[i][k] for k in kept] for i in others])
    return [[s[i][k] + sum(s[i][r] * g[r] * b[m][c] for m, r in enumerate(others)) for c, k in enumerate(kept)] for i in kept]


def joining(d):
    """corrected two-ports of each pair, the other ports ended in what is known, are the device again"""
    for n in (3, 4):
        truth = device(n, 9)
        pairs = [(p, q) for p in range(n) for q in range(p + 1, n)]
        for name, ends, words in (("reference", [lambda f: 0] * n, []), ("ohms", [lambda f, k=k: (40 + 5 * k - 50) / (40 + 5 * k + 50) for k in range(n)], ["--ends", ",".join(str(40 + 5 * k) for k in range(n))]),
                                  ("files and a short", [lambda f: -1] + [lambda f, k=k: 0.2 * cmath.exp(-2j * math.pi * f * k * 1e-12) for k in range(1, n)], ["--ends", ",".join(["0"] + ["end_%d.s1p" % k for k in range(1, n)])])):
            for k in range(n):
                d.s1p("end_%d.s1p" % k, HZ, [complex(ends[k](f)) for f in HZ])
            files = []
            for p, q in pairs:
                turned = (p + q) % 2 == 0  # some the other way round
                a, b = (q, p) if turned else (p, q)
                snp(d, "d%d%d.s2p" % (a + 1, b + 1), HZ, [ended(s, [e(f) for e in ends], a, b) for f, s in zip(HZ, truth)], head="! reference plane: tip\n")
                files.append("%d,%d=d%d%d.s2p" % (a + 1, b + 1, a + 1, b + 1))
            told = d.json("join", *files, *words, "--out", "joined.s%dp" % n)
            hz, got = read_snp(d.at("joined.s%dp" % n), n)
            within("%d ports joined, ended by %s" % (n, name), apart(got, truth), 1e-12)
            check("they agree, and the answer is the file", told and told["disagreement"] < 1e-13 and [complex(*x) for x in told["s21"]] == [m[1][0] for m in got] and told["plane"] == "tip", told and told["disagreement"])
            check("what ends them unless told is noted", bool(told and told["notes"]) == (not words), told and told["notes"])
    rc, out, err = d.run("join", *files, "--ends", "0,60,end_2.s1p,end_3.s1p", "--out", "wrong.s4p")
    check("an end that is not what was said shows in the disagreement", rc == 0 and "4 ports from 6 files" in err and float(err.split("at most ")[1].split(",")[0]) > 1e-3, (rc, err))
    for name, given, ends, status, said in (("two ends exchanged", files, "0,end_1.s1p,end_3.s1p,end_2.s1p", 0, "with the ends of ports 3 and 4 exchanged by"),
                                            ("a file turned round", ["2,1=" + files[0][4:]] + files[1:], "0,end_1.s1p,end_2.s1p,end_3.s1p", 10, "with d12.s2p turned round by")):
        told = d.json("join", *given, "--ends", ends, "--out", "odd.s4p", status=(status,))
        check("%s is said" % name, told and len(told["notes"]) == 1 and "the files contradict each other by " in told["notes"][0] and said in told["notes"][0], told and told["notes"])
    rc, out, err = d.run("join", *files)
    check("without --out the file is on stdout, and without --ends they contradict each other", rc == 10 and "tipplane: the files contradict each other by 0.268 (limit 0.1)" in err and out.count("\n") > 80 and "! joined from" in out, (rc, out[:200], err))
    refused(d, "a pair that is missing", ["join", *files[1:]], "all 6 pairs")
    refused(d, "a pair that is none", ["join", "12=d12.s2p"], '"12=d12.s2p"', "P,Q=FILE")
    refused(d, "a fifth port", ["join", "1,5=d12.s2p"], "1 to 4")
    refused(d, "a port with itself", ["join", "1,1=d12.s2p"], "two different ports")
    refused(d, "a file that is not there", ["join", "1,2=none.s2p"], "none.s2p", status=3)
    refused(d, "ends of three ports", ["join", *files, "--ends", "50,50,50"], "--ends", "3 values for 4 ports")
    refused(d, "an end of -1 ohm", ["join", *files, "--ends", "50,50,-1,50"], "-1", "port 3")
    refused(d, "an end of two ports", ["join", *files, "--ends", "50,50,d12.s2p,50"], "d12.s2p", ".s1p")
    refused(d, "a raw file", ["join", "1,2=" + snp(d, "raw.s2p", HZ, [[[0, 0], [0, 0]]] * len(HZ), head="! reference plane: receiver\n")], "raw.s2p", "corrected")
    refused(d, "a result of four ports called .s3p", ["join", *files, "--out", "x.s3p"], "x.s3p", ".s4p")


if __name__ == "__main__":
    raise SystemExit(run(steps, differential, points, bad_plans, joining))

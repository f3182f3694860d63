#!/usr/bin/env python3
"""The commands that work on files, as somebody meets them who has one port, an odd standard or a wrong file: what is possible, what is refused, what is said.

offline_sentences.py [--build DIR] [--print]       --print shows every sentence and every worst difference
The check files of tests/reference are the truth of what is corrected; the sentences must name the file, the value and what to do.
"""
import cmath, math, random
from offline_kit import *
from offline_multiport import Analyzer


def one_port_alone(d):
    """an analyzer of one port: nothing of port 2 is asked for, nothing is made up of it"""
    j = reference("cal_oneport.json")
    hz = j["frequencies_hz"]
    kinds = {"open": "open", "short": "short", "load": "load", "offset_short_2ps": "short", "offset_open_3ps": "open"}
    for n, s in j["standards"].items():
        d.s1p("%s.s1p" % n, hz, [c(x) for x in s["raw"]])
        d.s2p("ideal_%s.s2p" % n, hz, [[c(x), 0j, 0j, c(x)] for x in s["ideal"]])
    d.s2p("two.s2p", hz, [[c(x), 0j, 0j, c(x)] for x in j["standards"]["offset_short_2ps"]["raw"]])
    for port in (1, 2):
        other = 3 - port
        standards = [{"name": n, "kind": kinds[n], "file_%d" % port: n + ".s1p", "ideal": "ideal_%s.s2p" % n} for n in j["standards"]]
        for names in (["open", "short", "load"], list(j["standards"])):
            word = "port %d alone, %d standards" % (port, len(names))
            terms, diagnosis = solve(d, "sol", d.plan("p.json", standards=[s for s in standards if s["name"] in names], calibration={"method": "sol"}))
            with open(d.at(terms)) as f:
                document = json.load(f)
            check("%s: the terms are those of this port" % word, document["model"] == "one_port" and sorted(document["terms"]) == ([["EDF", "ERF", "ESF"], ["EDR", "ERR", "ESR"]][port - 1]), sorted(document["terms"]))
            check("%s: the condition is that of this port" % word, diagnosis and 1 < diagnosis["bands"][0]["figures"]["condition"]["largest"] < 1e3, diagnosis)
            for n, dut in j["dut"].items():
                d.s1p(n + ".s1p", hz, [c(x) for x in dut["raw"]])
                told = d.json("correct", "--terms", terms, n + ".s1p", "--port", port)
                if told:
                    within("%s: %s" % (word, n), max(abs(c(a) - c(b)) for a, b in zip(told["files"][0]["s11" if port == 1 else "s22"], dut["true"])), 1e-10)
        verify = [{"standard": "offset_short_2ps", "limit": 1e-6}]
        told = d.json("solve", d.plan("v.json", standards=standards, calibration={"method": "sol", "verify": verify}), "--out", "v.out.json")
        check("port %d alone verifies" % port, told and told["diagnosis"]["accepted"] and told["diagnosis"]["verified"][0]["worst"] < 1e-9, told and told["diagnosis"]["verified"])
        both = [{"name": s["name"], "kind": s["kind"], "file": "two.s2p", "ideal": s["ideal"]} if s["name"] == "offset_short_2ps" else s for s in standards]
        told = d.json("solve", d.plan("v.json", standards=both, calibration={"method": "sol", "verify": verify}), "--out", "v.out.json")
        check("a standard of both ports verifies the calibrated one only", told and told["diagnosis"]["verified"][0]["worst"] < 1e-9, told and told["diagnosis"]["verified"])
        away = [s for s in standards if s["name"] != "offset_short_2ps"] + [{"name": "offset_short_2ps", "kind": "short", "file_%d" % other: "short.s1p", "ideal": "ideal_offset_short_2ps.s2p"}]
        refused(d, "a verification at the other port", ["solve", d.plan("a.json", standards=away, calibration={"method": "sol", "verify": verify})], "a.json", "offset_short_2ps", "port %d" % other, "port %d" % port)
        refused(d, "the other port's file", ["correct", "--terms", "sol.json", "open.s1p", "--port", other], "open.s1p", "port %d alone" % port, "--port %d" % port)
        refused(d, "a file of two ports", ["correct", "--terms", "sol.json", "two.s2p"], "two.s2p", "port %d alone" % port, ".s1p")
    refused(d, "one standard at the other port", ["solve", d.plan("m.json", standards=[{"name": n, "kind": n, "file_%d" % (1 + (n == "load")): n + ".s1p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load")], calibration={"method": "sol"})], "m.json", "open at port 2")
    both = [{"name": n, "kind": n, "file_1": n + ".s1p", "file_2": n + ".s1p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load")]
    terms, diagnosis = solve(d, "both", d.plan("both.plan.json", standards=both, calibration={"method": "sol"}))
    told = d.json("correct", "--terms", terms, "two.s2p")
    check("what one-port terms cannot say of two ports is said", told and "S21 and S12" in " ".join(told["notes"]), told and told["notes"])


def any_two_port(d):
    """known_standards takes a two-port that its file describes in the place of a thru, and two unlike ends"""
    j = reference("cal_solt.json")
    hz = j["frequencies_hz"]
    write_case(d, j, {n: s["raw"] for n, s in j["standards"].items()}, {n: x["raw"] for n, x in j["dut"].items()})
    ideals(d, j, hz)
    for n in ("inductor", "fet"):
        d.s2p("true_%s.s2p" % n, hz, [matrix(x) for x in j["dut"][n]["true"]])
    of = lambda kind, name: [[c(j["standards"][name[0]][kind][i][0]), 0j, 0j, c(j["standards"][name[1]][kind][i][3])] for i in range(len(hz))]
    for pair in (("open", "short"), ("short", "open")):
        d.s2p("%s_%s.s2p" % pair, hz, of("raw", pair))
        d.s2p("ideal_%s_%s.s2p" % pair, hz, of("ideal", pair))
    pairs = [{"name": n, "kind": "known", "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in ("open_short", "short_open")]
    lumped = [{"name": n, "kind": n, "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load")]
    for name, standards in (("lumped ones and an inductor", lumped + [{"name": "inductor", "kind": "known", "file": "inductor.s2p", "ideal": "true_inductor.s2p"}]),
                            ("unlike ends, a load and a transistor", pairs + [lumped[2], {"name": "fet", "kind": "known", "file": "fet.s2p", "ideal": "true_fet.s2p"}])):
        terms, diagnosis = solve(d, "known", d.plan("known.plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration={"method": "known_standards", "switch_terms": True}))
        devices_come_back(d, "known_standards from %s" % name, terms, j, "true", 1e-10)
    refused(d, "nothing that transmits", ["solve", d.plan("dark.json", standards=pairs + lumped, calibration={"method": "known_standards"})], "dark.json", "transmits", "known two-port")
    d.s2p("dead.s2p", hz, [[matrix(r)[0], matrix(r)[1], 0j, matrix(r)[3]] for r in j["dut"]["inductor"]["raw"]])
    dead = lumped + [{"name": "inductor", "kind": "known", "file": "dead.s2p", "ideal": "true_inductor.s2p"}]
    refused(d, "a known two-port that was not in contact", ["solve", d.plan("dead.json", standards=dead, calibration={"method": "known_standards"})], "dead.json", "inductor", "S21", "70000 Hz", status=1)


def words(d):
    """a word that is no text is answered with the words there are; a key that is missing with its name, place and an example"""
    standards = [{"name": n, "kind": n, "file": n + ".s2p"} for n in ("open", "short", "load", "thru")]
    kind = [dict(s) for s in standards]
    kind[0]["kind"] = 1
    refused(d, "a kind that is a number", ["solve", d.plan("p.json", standards=kind, calibration={"method": "solt"})], "p.json", "/standards/0/kind", "1 is not", "open, short, load, thru, line, reflect, known")
    refused(d, "a method that is a number", ["solve", d.plan("p.json", standards=standards, calibration={"method": 12})], "p.json", "/calibration/method", "12 is not", "unknown_thru", "multiline_trl")
    refused(d, "a method that is a list", ["solve", d.plan("p.json", standards=standards, calibration={"method": ["solt"]})], "p.json", "a list of 1", "unknown_thru")
    refused(d, "a plane that is null", ["solve", d.plan("p.json", standards=standards, calibration={"method": "solt", "plane": None})], "p.json", "/calibration/plane", "null", "tip, line_middle")
    lines = [{"name": n, "kind": "line", "file": n + ".s2p", "model": {"length_um": x}} for n, x in (("l1", 200), ("l2", 900))] + [{"name": "short", "kind": "short", "file": "short.s2p"}]
    calibration = {"method": "multiline_trl", "reflect_estimate": -1, "eps_eff": 5.2}
    for key in ("eps_eff", "reflect_estimate"):
        given = {k: v for k, v in calibration.items() if k != key}
        refused(d, "lines without %s" % key, ["solve", d.plan("l.json", standards=lines, calibration=given)], "l.json", "/calibration/%s" % key, '"%s": ' % key, "multiline_trl")
        bands = {**given, "bands": [{"method": "trl", "from_hz": 1, "to_hz": 1e12, "standards": [{"standard": s["name"]} for s in lines]}]}
        del bands["method"]
        refused(d, "a band of lines without %s" % key, ["solve", d.plan("l.json", standards=lines, calibration=bands)], "l.json", "/calibration/%s" % key, '"%s": ' % key, "trl")


def off_states(d):
    """what is plainly no transistor that is off is named; what is one, with leakage and lossy pads, is read"""
    hz = [0.1e9 * k for k in range(1, 201)]

    def device(name, y):
        s = [s_of_y(y(2 * math.pi * f), (50, 50)) for f in hz]
        return d.s2p(name, hz, [[x[0][0], x[0][1], x[1][0], x[1][1]] for x in s])

    def series(z, pad=20e-15):
        return lambda w: [[1 / z(w) + 1j * w * pad, -1 / z(w)], [-1 / z(w), 1 / z(w) + 1j * w * pad]]

    for name, y, *pieces in (("inductor", series(lambda w: 1 + 1j * w * 1e-9), "inductive (1 nH at 0.1 GHz)"),
                             ("coil", series(lambda w: 20 + 1j * w * 5e-9, 50e-15), "inductive (5 nH"),
                             ("via", series(lambda w: 0.1 + 1j * w * 20e-12), "inductive (0.02 nH"),
                             ("resistor", series(lambda w: 50), "conducts between its ports (50 ohm"),
                             ("on", lambda w: [[1j * w * 50e-15, -1j * w * 8e-15], [0.05 - 1j * w * 8e-15, 0.002 + 1j * w * 30e-15]], "amplifies"),
                             ("match", lambda w: [[0.02, 0], [0, 0.02]], "port 1 conducts to ground"),
                             ("short", lambda w: [[1 / (1j * w * 20e-12 + 0.5), 0], [0, 1 / (1j * w * 20e-12 + 0.5)]], "Im Y11", "does not rise")):
        for kind in ("pi", "cold_pinch"):
            refused(d, "%s as an off state, %s" % (name, kind), ["extrinsic", "--off", device(name + ".s2p", y), "--off-as", kind], name + ".s2p", *pieces, status=1)
    refused(d, "a capacitor as a pinched FET", ["extrinsic", "--off", device("cap.s2p", series(lambda w: 1 + 1 / (1j * w * 100e-15)))], "cap.s2p", "-80 fF", "pi", status=1)
    leaking = lambda w: [[1j * w * 60e-15 + w * 3e-15 + 1e-5, -1j * w * 10e-15 - 1e-5], [-1j * w * 10e-15 - 1e-5, 1j * w * 40e-15 + w * 3e-15 + 1e-5]]
    told = d.json("extrinsic", "--off", device("off.s2p", leaking), "--off-as", "pi")
    found = {e["name"]: e["value"] for e in told["elements"]} if told else {}
    check("a transistor that is off, leaking 100 kohm, on lossy pads", found and abs(found["c_in"] - 50e-15) < 1e-18 and abs(found["c_out"] - 30e-15) < 1e-18 and abs(found["c_between"] - 10e-15) < 1e-18, found)


def read_oddities(d, name, pieces):
    """a file that was corrected elsewhere is looked at by whatever reads it: said once, on stderr or among the notes, and nothing fails for it"""
    with open(d.at("out.s2p")) as f:  # as correct wrote it
        file = d.text("odd_%s.s2p" % name, f.read())
    is_it = lambda line: (line[len("tipplane: "):] if line.startswith("tipplane: ") else line).startswith(file + ": ") and all(p in line for p in pieces)
    for what in (["deembed", "--method", "open", "--open", "good_4.out.s2p", file, "--out", "d.s2p"], ["extract", "--quantity", "B1", "--at", "10e9", file], ["fit", "--model", "vector", "--keep-active", file, "--out", "m.cir"],
                 ["compare", file, "good_0.out.s2p"], ["compare", file, file]):
        rc, out, err = d.run(*what)
        check("%s says that of %s, once" % (" ".join(what[:2]), name), rc == 0 and sum(map(is_it, err.splitlines())) == 1, (rc, err))
        told = d.json(*what)
        check("%s --json has it among its notes, of %s" % (" ".join(what[:2]), name), told and sum(map(is_it, told["notes"])) == 1, told and told["notes"])
    with open(d.at("d.s2p")) as f:
        written = f.read()
    check("and the file that deembed writes does not speak of it", not any(all(p in line for p in pieces) for line in written.splitlines()), written[:600])


def leads_of_a_fet(d):
    """a textbook FET without noise: what the model lacks is in the half widths, so that they hold the truth; cold files in the wrong order and
    a Cds that went with the pad are refused"""
    hz = [0.2e9 * k for k in range(1, 551)]
    true = {"l_in": 20e-12, "l_out": 18e-12, "l_common": 3e-12, "r_in": 3.0, "r_out": 4.0, "r_common": 2.0}

    def inv(m):
        (a, b), (c_, e) = m
        det = a * e - b * c_
        return [[e / det, -b / det], [-c_ / det, a / det]]

    def device(name, inside):
        rows = []
        for f in hz:
            w = 2j * math.pi * f
            z, a, b, s = inv(inside(w)), 3 + w * 20e-12, 4 + w * 18e-12, 2 + w * 3e-12
            y = inv([[z[0][0] + a + s, z[0][1] + s], [z[1][0] + s, z[1][1] + b + s]])
            m = s_of_y([[y[0][0] + w * 15e-15, y[0][1]], [y[1][0], y[1][1] + w * 12e-15]], (50, 50))
            rows.append([x for row in m for x in row])
        return d.s2p(name + ".s2p", hz, rows)

    device("hot", lambda w: [[w * 60e-15 / (1 + w * 60e-15) + w * 12e-15, -w * 12e-15], [0.08 * cmath.exp(-0.3e-12 * w) / (1 + w * 60e-15) - w * 12e-15, 0.004 + w * 32e-15]])
    device("off", lambda w: [[w * 30e-15, -w * 15e-15], [-w * 15e-15, w * 25e-15]])
    for v in (2, 4, 8):  # half of the gate's capacitance at each end of the channel
        device("cold%d" % v, lambda w: [[w * 80e-15, -w * 40e-15], [-w * 40e-15, w * 40e-15 + 0.03 * v + w * 10e-15]])
    words = ["extrinsic", "--off", "off.s2p", "--drive", "0.2,0.4,0.8", "--from", "1e9", "--below", "20e9"]
    told = d.json(*words, "--cold", "cold2.s2p,cold4.s2p,cold8.s2p", "hot.s2p", "--out", "inside.s2p")
    for e in told["elements"] if told else []:
        if e["name"] in true:
            off, half = abs(e["value"] - true[e["name"]]), 2 * e["u"]
            check("%s: its half width holds the truth, and is no wider than 10 times that" % e["name"], off <= half <= max(10 * off, 0.05 * true[e["name"]]), (e, off))
    refused(d, "cold files in the wrong order", [*words, "--cold", "cold8.s2p,cold4.s2p,cold2.s2p"], "cold8.s2p with drive 0.2", "order of --drive", status=1)
    refused(d, "two of them exchanged", [*words, "--cold", "cold2.s2p,cold8.s2p,cold4.s2p"], "cold8.s2p with drive 0.4", "order of --drive", status=1)
    refused(d, "Cds of what a pinched state left", ["extract", "--quantity", "gm,Cds", "--at", "10e9", "inside.s2p"], "inside.s2p", "Cds", "taken off with c_out", status=1)
    told = d.json("extract", "--quantity", "gm,Cgs,Cgd", "--at", "10e9", "inside.s2p")
    got = [q["value"][0] for q in told["files"][0]["quantities"]] if told else [0, 0, 0]
    check("the rest can be asked", abs(got[0] / 0.08 - 1) < 0.02 and abs(got[1] / 60e-15 - 1) < 0.02 and abs(got[2] / 12e-15 - 1) < 0.02, got)


def lengths_of_l_2l(d):
    """pads off by a line and one twice as long; exchanged, or of another ratio, they are refused"""
    hz = [1e9 * k for k in range(1, 111)]

    def chain(*parts):
        m = [1, 0, 0, 1]
        for a, b, c_, e in parts:
            m = [m[0] * a + m[1] * c_, m[0] * b + m[1] * e, m[2] * a + m[3] * c_, m[2] * b + m[3] * e]
        a, b, c_, e = m[0], m[1] / 50, m[2] * 50, m[3]
        den = a + b + c_ + e
        return [(a + b - c_ - e) / den, 2 * (a * e - b * c_) / den, 2 / den, (-a + b - c_ + e) / den]

    def line(f, mm, z=47.0):
        g = (5e-2 * math.sqrt(f / 1e9) + 2j * math.pi * f * math.sqrt(5.2) / 299792458e3) * mm
        return (cmath.cosh(g), z * cmath.sinh(g), cmath.sinh(g) / z, cmath.cosh(g))

    pad = lambda f: (1, 0, 2j * math.pi * f * 30e-15, 1)
    for mm in (0.2, 0.4, 0.8, 1.0, 0.7, 0.3):
        d.s2p("line_%g.s2p" % mm, hz, [chain(pad(f), line(f, mm), pad(f)) for f in hz])
    z = lambda f: (1, 5 + 2j * math.pi * f * 1e-10, 0, 1)
    d.s2p("device.s2p", hz, [chain(pad(f), z(f), pad(f)) for f in hz])
    for one, two in ((0.2, 0.4), (0.4, 0.8)):
        rc, out, err = d.run("deembed", "--method", "l_2l", "--line", "line_%g.s2p" % one, "--line-double", "line_%g.s2p" % two, "device.s2p", "--out", "bare.s2p")
        check("l_2l of %g and %g mm" % (one, two), rc == 0 and distance(read_s2p(d.at("bare.s2p"))[1], [chain(z(f)) for f in hz]) < 1e-9, (rc, err))
    for one, two, piece in ((0.4, 0.2, "exchanged"), (0.8, 0.4, "exchanged"), (0.4, 1.0, "longer than twice"), (0.2, 0.7, "longer than twice"), (0.2, 0.3, "shorter")):
        refused(d, "l_2l of %g and %g mm" % (one, two), ["deembed", "--method", "l_2l", "--line", "line_%g.s2p" % one, "--line-double", "line_%g.s2p" % two, "device.s2p", "--out", "bad.s2p"], "line_%g.s2p is not twice as long as line_%g.s2p" % (two, one), piece, status=1)
    check("nothing is written of it", not os.path.exists(d.at("bad.s2p")))


def oddities(d):
    """200 good devices with the noise of an analyzer on them and on the standards: not a word; each bad one: its sentence"""
    hz, a, r = [1e9 * k for k in range(1, 221)], Analyzer(2, 3), random.Random(5)

    def raw(s, f, noise):
        return [x + noise * (0.3 + abs(x)) * complex(r.gauss(0, 1), r.gauss(0, 1)) for row in a.raw([[s[0], s[1]], [s[2], s[3]]], f, (0, 1)) for x in row]

    def line(f, mm, z=1.0, db_mm=0.5):
        g = (db_mm / 8.686 * math.sqrt(f / 1e11) + 2j * math.pi * f * math.sqrt(5.3) / 299792458e3) * mm
        sh, ch = cmath.sinh(g), cmath.cosh(g)
        den = 2 * ch + (z + 1 / z) * sh
        return [(z - 1 / z) * sh / den, 2 / den, 2 / den, (z - 1 / z) * sh / den]

    def y(matrix):
        s = s_of_y(matrix, (50, 50))
        return [s[0][0], s[0][1], s[1][0], s[1][1]]

    def series(z, pad):
        return y([[1 / z + pad, -1 / z], [-1 / z, 1 / z + pad]])

    def device(k):
        p, q = r.random(), r.random()
        pad = lambda w: 1j * w * (5e-15 + 20e-15 * q)
        return [lambda f, w: line(f, 0.1 + 2.5 * p, 0.8 + 0.5 * q), lambda f, w: series(0.5 + 5 * q + 1j * w * (50e-12 + 1e-9 * p), pad(w)),
                lambda f, w: series(0.3 + q + 1 / (1j * w * (20e-15 + 1e-12 * p)), pad(w)), lambda f, w: series(10 + 200 * p, pad(w)),
                lambda f, w: y([[1j * w * (30 * p - 8) * 1e-15, 0], [0, 1j * w * (30 * q - 8) * 1e-15]]),
                lambda f, w: y([[1 / (0.1 + 1j * w * 10e-12 * p), 0], [0, 1 / (0.1 + 1j * w * 10e-12 * q)]]),
                lambda f, w: y([[1j * w * 58e-15, -1j * w * 8e-15], [(0.01 + 0.06 * p) * cmath.exp(-1e-12j * w) - 1j * w * 8e-15, 0.002 + 1j * w * 12e-15]])][k % 7]

    ideal = {"open": lambda f: [(1 - 2j * math.pi * f * 50 * -6e-15) / (1 + 2j * math.pi * f * 50 * -6e-15) if k in (0, 3) else 0j for k in range(4)],
             "short": lambda f: [(2j * math.pi * f * 4e-12 - 50) / (2j * math.pi * f * 4e-12 + 50) if k in (0, 3) else 0j for k in range(4)],
             "load": lambda f: [0j] * 4, "thru": lambda f: [0j, cmath.exp(-2e-12j * math.pi * f), cmath.exp(-2e-12j * math.pi * f), 0j]}
    for n, s in ideal.items():
        d.s2p("ideal_%s.s2p" % n, hz, [s(f) for f in hz])
        d.s2p(n + ".s2p", hz, [raw(s(f), f, 1e-4) for f in hz])
    standards = [{"name": n, "kind": n, "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in ideal]
    terms, diagnosis = solve(d, "terms", d.plan("plan.json", standards=standards, calibration={"method": "solt"}))
    names = []
    for k in range(200):
        s, noise = device(k), 10 ** r.uniform(-5, -3.5)
        names.append(d.s2p("good_%d.s2p" % k, hz, [raw(s(f, 2 * math.pi * f), f, noise) for f in hz]))
    told = d.json("correct", "--terms", terms, *names)
    check("nothing is said of 200 good files", told and len(told["files"]) == 200 and not told["notes"], told and told["notes"])
    for k in (0, 4):
        d.run("correct", "--terms", terms, "good_%d.s2p" % k, "--out", "good_%d.out.s2p" % k)
    told = d.json("deembed", "--method", "open", "--open", "good_4.out.s2p", "good_0.out.s2p")
    check("and nothing when good ones are read", told and not told["notes"], told and told["notes"])
    thru, short = ideal["thru"], ideal["short"]
    bad = {"gain": (lambda f: [x * (1 + 0.15 * (f / 220e9) ** 4) for x in short(f)], "gives out more than it gets", "at the high end"),
           "one_way": (lambda f: [x * (1.05 if k == 2 else 1) for k, x in enumerate(line(f, 0.5))], "S21 and S12 differ by 0.0", "switch terms"),
           "time": (lambda f: [x.conjugate() for x in line(f, 1)], "before it was sent", "sign of time"),
           "step": (lambda f: [x * (cmath.exp(0.02 - 0.03j) if f >= 110e9 and k == 2 else 1) for k, x in enumerate(line(f, 0.5))], "S21 steps by", "110 GHz"),
           "noise": (lambda f: [x + (0.03 * complex(r.gauss(0, 1), r.gauss(0, 1)) if f > 140e9 else 0) for x in line(f, 0.5)], "noise of 0.0", "IF bandwidth")}
    for name, (s, *pieces) in bad.items():
        d.s2p(name + ".s2p", hz, [raw(s(f), f, 1e-5) for f in hz])
        rc, out, err = d.run("correct", "--terms", terms, name + ".s2p", "--out", "out.s2p")
        check("%s is said" % name, rc == 0 and any(line.startswith("tipplane: %s.s2p: " % name) and all(p in line for p in pieces) for line in err.splitlines()) and err.count("\n") <= 3, (rc, err))
        told = d.json("correct", "--terms", terms, name + ".s2p")
        check("%s is among the notes of --json" % name, told and any(all(p in n for p in pieces) for n in told["notes"]), told and told["notes"])
        read_oddities(d, name, pieces)
    # single points, and sweeps that are none, in raw files of devices and of standards
    coil, at = device(8), 129
    good = [raw(coil(f, 2 * math.pi * f), f, 1e-4) for f in hz]

    def wrong(name, change, rows=good):
        return d.s2p(name + ".s2p", hz, [change(k, list(x)) for k, x in enumerate(rows)])

    spoiled = {"spur": (lambda k, x: [5 * v for v in x] if k in (49, 99, 149, 199) else x, "out of line", "at 4 points", "50, 100, 150, 200 GHz"),
               "loud_point": (lambda k, x: [1.2 * v for v in x] if k == at else x, "out of line", "at 1 point", "130 GHz"),
               "turned_over": (lambda k, x: [x[0], x[1], -x[2], x[3]] if k == at else x, "out of line", "S21 at 130 GHz"),
               "zeros": (lambda k, x: [0j] * 4, "all S are 0 at all 220", "nothing was read"), "stuck": (lambda k, x: good[10], "all S are the same at all 220", "stands still")}
    for name, (change, *pieces) in spoiled.items():
        told = d.json("correct", "--terms", terms, wrong(name, change))
        check("%s is said" % name, told and any(n.startswith(name + ".s2p: ") and all(p in n for p in pieces) for n in told["notes"]), told and told["notes"])
    for value, word in ((9.91e37, "no number"), (9.9e37, "no number"), (1e160, "no analyzer reads"), (1300.0, "no analyzer reads")):
        file = wrong("far", lambda k, x: [x[0], x[1], value + 0j, x[3]] if k == at else x)
        refused(d, "a raw %g" % value, ["correct", "--terms", terms, file, "--out", "far.out.s2p"], "far.s2p", "S21 at 1.3e+11 Hz", word)
        refused(d, "a raw %g of a standard" % value, ["solve", d.plan("far.json", standards=[{**s, "file": "far.s2p"} if s["name"] == "thru" else s for s in standards], calibration={"method": "solt"})], "far.json", "standard thru", "far.s2p", "S21 at 1.3e+11 Hz", word)
    refused(d, "9.91e37 in a corrected file", ["extract", "--quantity", "Lser", wrong("far", lambda k, x: [9.91e37 + 0j, *x[1:]] if k == at else x)], "far.s2p", "S11 at 1.3e+11 Hz", "no number")
    for name, factor in (("short", 1.5), ("thru", -1)):
        wrong("bad_standard", lambda k, x: [factor * v for v in x] if k == at else x, [raw(ideal[name](f), f, 1e-4) for f in hz])
        told = d.json("solve", d.plan("bad.json", standards=[{**s, "file": "bad_standard.s2p"} if s["name"] == name else s for s in standards], calibration={"method": "solt"}), "--out", "bad.t.json")
        said = [n for n in told["notes"] if "out of line" in n] if told else []
        check("a point out of line of the %s is named, and of no other standard" % name, len(said) == 1 and said[0].startswith("standard %s: " % name) and "130 GHz" in said[0], told and told["notes"])
    for n in ("open", "short", "load"):
        d.s1p(n + ".s1p", hz, [raw(ideal[n](f), f, 0)[0] for f in hz])
    reflections = [{"name": n, "kind": n, "file_1": n + ".s1p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load")]
    one, diagnosis = solve(d, "one", d.plan("one.plan.json", standards=reflections, calibration={"method": "sol"}))
    d.s1p("loud.s1p", hz, [raw([1.06 * x for x in short(f)], f, 0)[0] for f in hz])
    rc, out, err = d.run("correct", "--terms", one, "loud.s1p")
    check("a reflection of more than 1 is said too", rc == 0 and "loud.s1p: gives out more than it gets" in err and "all along" in err, (rc, err))


def below_resolution(d):
    """what S do not carry is refused, whether or not somebody says how well they are known; what they carry is not"""
    r = random.Random(12)
    hz = sorted([7e4 * (1e9 / 7e4) ** (k / 59) for k in range(59)] + [1e9 + 0.5e9 * k for k in range(439)])

    def series(name, z, u=0.0):
        rows = []
        for f in hz:
            v = z(2 * math.pi * f)
            rows.append([x + u * complex(r.gauss(0, 1), r.gauss(0, 1)) for x in (v / (v + 100), 100 / (v + 100), 100 / (v + 100), v / (v + 100))])
        return d.s2p(name, hz, rows)

    coil, capacitor = (lambda w: 0.5 + 0.3e-9j * w), (lambda w: 0.5 + 1 / (1j * w * 100e-15))
    for name, z, words, at_10_ghz in (("coil", coil, ("Lser", "Ld", "L11", "Qser"), 0.3e-9), ("capacitor", capacitor, ("Cser", "Cd", "C11", "QCser"), 100e-15)):
        for u in (0, 1e-6, 1e-4):
            file = series("%s_%g.s2p" % (name, u), z, u)
            for word in words:
                for more in ([], ["--u", "1e-4"]):
                    rc, out, err = d.run("extract", "--quantity", word, "--at", "70e3", *more, file)
                    check("%s of 70 kHz is refused" % file, rc == 1 and "\u2013" in out and "below what can be resolved at 70 kHz" in err and is_one_sentence(err) and ("state --u" in err) == (not more), (rc, out, err))
            told = d.json("extract", "--quantity", words[0], "--at", "10e9", file)
            q = told and told["files"][0]["quantities"][0]
            check("%s at 10 GHz is said, without a half width that nobody stated" % file, q and abs(q["value"][0] / at_10_ghz - 1) < 0.02 and q["u"] == [None] and not q["say"], q)
    d.s2p("active.s2p", hz, [[1.2 * x for x in row] for row in read_s2p(d.at("coil_0.s2p"))[1]])
    rc, out, err = d.run("extract", "--quantity", "Lser", "--at", "70e3", "active.s2p")
    check("a file whose number is refused has its notes said before it", rc == 1 and "below what can be resolved" in err.splitlines()[-1] and any("gives out more than it gets" in x for x in err.splitlines()[:-1]), (rc, err))
    told = d.json("extract", "--quantity", "Lser", "--at", "70e3", "active.s2p", status=(1,))
    check("and among the notes of --json", told and any("gives out more" in n for n in told["notes"]), told and told["notes"])
    rc, out, err = d.run("extract", "--quantity", "SRF11", "active.s2p", "--json")
    check("with no answer at all they are on stderr with --json, too", rc == 1 and not out and "SRF11" in err.splitlines()[-1] and "gives out more than it gets" in err, (rc, out, err))
    told = d.json("extract", "--quantity", "Lser", "coil_0.0001.s2p")
    q = told and told["files"][0]["quantities"][0]
    check("of a whole sweep the lower end is left out and said", q and q["value"][0] is None and q["value"][-1] and "points are below what can be resolved" in q["say"] and "state --u" in q["say"], q and q["say"])
    told = d.json("extract", "--quantity", "Lser", "--at", "70e3,10e9", "coil_0.s2p", status=(1,))
    q = told and told["files"][0]["quantities"][0]
    check("with --json too: null, and status 1", q and q["value"][0] is None and abs(q["value"][1] / 0.3e-9 - 1) < 1e-9, q)
    # 100 noisy coils are not accused of what they carry
    refused_n = 0
    for k in range(100):
        henry, u = 10 ** r.uniform(-11, -8.7), 10 ** r.uniform(-5, -3)
        told = d.json("extract", "--quantity", "Lser", "--at", "10e9,20e9", series("n.s2p", lambda w: 1 + 1j * w * henry, u), status=(0, 1))
        refused_n += not told or None in told["files"][0]["quantities"][0]["value"]
    check("a coil of 10 pH to 2 nH in noise of 1e-5 to 1e-3 is never refused at 10 and 20 GHz", refused_n == 0, refused_n)
    hz = [1e9 * k for k in range(1, 51)]
    d.s1p("coil.s1p", hz, [(1 + 2j * math.pi * f * 0.3e-9 - 50) / (1 + 2j * math.pi * f * 0.3e-9 + 50) for f in hz])
    told = d.json("extract", "--quantity", "L11,R11,Q11", "--at", "10e9", "coil.s1p")
    got = [q["value"][0] for q in told["files"][0]["quantities"]] if told else [0, 0, 0]
    check("one port has L, R, Q of z (1 + S)/(1 - S)", abs(got[0] / 0.3e-9 - 1) < 1e-9 and abs(got[1] - 1) < 1e-9 and abs(got[2] / (2 * math.pi * 3) - 1) < 1e-9, got)
    refused(d, "what one port does not have", ["extract", "--quantity", "Lser", "coil.s1p"], "coil.s1p", "Lser is of two ports", "L11")
    d.s2p("thru.s2p", hz, [[0j, 1 + 0j, 1 + 0j, 0j] for f in hz])
    told = d.json("extract", "--quantity", "S21_dB", "--at", "10.5e9", "thru.s2p")
    check("a thru, which has no Y, between its points", told and abs(told["files"][0]["quantities"][0]["value"][0]) < 1e-12, told)


def models_of_what_is_active(d):
    """a transistor is not made a passive model of; with --keep-active it is what it is; a violation of 0.0005 costs no more; orders are explained"""
    hz = [1e9 * k for k in range(1, 111)]

    def device(name, y, gain=1.0):
        s = [s_of_y(y(2 * math.pi * f), (50, 50)) for f in hz]
        return d.s2p(name, hz, [[gain * x for row in m for x in row] for m in s])

    fet = device("fet.s2p", lambda w: [[0.002 + 30e-15j * w, -5e-15j * w], [0.06 * cmath.exp(-0.4e-12j * w) - 5e-15j * w, 0.004 + 20e-15j * w]])
    for order in ([], ["--order", "2"]):
        refused(d, "a passive model of a transistor %s" % order, ["fit", "--model", "vector", *order, fet, "--out", "fet.cir"], "fet.s2p", "give out more than they get", "--keep-active", status=1)
    check("no netlist is left of it", not os.path.exists(d.at("fet.cir")))
    rc, out, err = d.run("fit", "--model", "vector", "--keep-active", fet, "--out", "fet.cir")
    check("--keep-active fits it", rc == 0 and "not passive: up to" in out and os.path.exists(d.at("fet.cir")), (rc, out, err))
    coil = lambda w: [[1 / (2 + 0.3e-9j * w) + 20e-15j * w, -1 / (2 + 0.3e-9j * w)], [-1 / (2 + 0.3e-9j * w), 1 / (2 + 0.3e-9j * w) + 20e-15j * w]]
    for above in (1e-5, 1e-4, 5e-4, 2e-3, 1e-2):
        for order in ([], ["--order", "8"]):
            told = d.json("fit", "--model", "vector", *order, device("loud.s2p", lambda w: [[1 / (1 + 2e-10j * w), -1 / (1 + 2e-10j * w)], [-1 / (1 + 2e-10j * w), 1 / (1 + 2e-10j * w)]], 1 + above))
            check("%g above 1, %s" % (above, order), told and told["passive"] and told["error"]["worst"] <= 3 * above, told and told["error"])
    device("coil.s2p", coil)
    d.s2p("long.s2p", hz, [[0j, 0.5 * cmath.exp(-2e-10j * math.pi * f), 0.5 * cmath.exp(-2e-10j * math.pi * f), 0j] for f in hz])
    refused(d, "a model that describes nothing", ["fit", "--model", "vector", "--order", "1", "long.s2p"], "long.s2p", "describes nothing", status=1)
    refused(d, "a model that is another device once it is passive", ["fit", "--model", "vector", "--order", "1", "coil.s2p"], "coil.s2p", "moved S by", "--order", status=1)
    rc, out, err = d.run("fit", "--model", "vector", "--order", "20", "coil.s2p", "--out", "coil.cir")
    check("poles that are left out are said", rc == 0 and "order 3 of the 20 asked for" in out and "left out" in out, (rc, out, err))


def weak_bands(d):
    """where a method is weak it says from where to where, how weak, and what helps; and what it says helps"""
    hz, a = [1e9 * k for k in range(1, 221)], Analyzer(2, 3)
    mm = lambda f: 2j * math.pi * f * math.sqrt(5.3) / 299792458e3 + 0.05 * math.sqrt(f / 1e11)  # 1/mm

    def read(name, s):
        return d.s2p(name + ".s2p", hz, [[x for row in a.raw(s(f), f, (0, 1)) for x in row] for f in hz])

    def told(**plan):
        d.s2p("switch.s2p", hz, [[0j, a.at("g", 0, f), a.at("g", 1, f), 0j] for f in hz])
        answer = d.json("solve", d.plan("weak.json", switch_terms={"file": "switch.s2p"}, **plan), "--out", "t.json")
        return [w for w in answer["diagnosis"]["bands"][0]["warnings"] if "hardly" in w or "20 degrees" in w or "90 degrees" in w] if answer else []

    read("short", lambda f: [[-1, 0], [0, -1]])
    lines = []
    for um in (200, 600, 440):
        read("line_%d" % um, lambda f: [[0, cmath.exp(-mm(f) * (um - 200) / 1000)], [cmath.exp(-mm(f) * (um - 200) / 1000), 0]])
        lines.append({"name": "line_%d" % um, "kind": "line", "file": "line_%d.s2p" % um, "model": {"length_um": um}})
    reflect = [{"name": "short", "kind": "short", "file": "short.s2p"}]
    calibration = {"eps_eff": 5.3, "reflect_estimate": -1, "line_z_ohm": 50}
    for method in ("trl", "multiline_trl"):
        said = told(standards=lines[:2] + reflect, calibration={"method": method, **calibration})
        # 0.4 mm: 19.5 degrees (a deviation of 3) at 17.6 GHz, 160.5 at 145.2, 199.5 at 180.5
        check("%s: two lines" % method, len(said) == 2 and "up to 17 GHz" in said[0] and "all are short" in said[0] and "bands" in said[0] and "3.4 mm" in said[0] and "down to 2.12 GHz" in said[0]
              and "from 146 to 180 GHz" in said[1] and "half a wave apart" in said[1] and "add a line about 0.2 mm longer" in said[1] and "multiline_trl" in said[1], said)
    said = told(standards=lines + reflect, calibration={"method": "multiline_trl", **calibration})
    check("with the line that was said to help only the low end is weak", len(said) == 1 and "up to 17 GHz" in said[0], said)
    tau = 1 / (4 * 100.02e9)  # a short behind it is an open at 100.02 GHz
    of = {"open": lambda f: 1, "far_short": lambda f: -cmath.exp(-4j * math.pi * f * tau), "load": lambda f: 0}
    for n, g in of.items():
        read(n, lambda f: [[g(f), 0], [0, g(f)]])
        d.s2p("ideal_%s.s2p" % n, hz, [[complex(g(f)), 0j, 0j, complex(g(f))] for f in hz])
    through = lambda delay: lambda f: [[0, cmath.exp(-2j * math.pi * f * delay)], [cmath.exp(-2j * math.pi * f * delay), 0]]
    read("thru", through(1e-12))
    lumped = [{"name": n, "kind": n.split("_")[-1], "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in of]
    thru = [{"name": "thru", "kind": "thru", "file": "thru.s2p", "model": {"delay_s": 1e-12}}]
    for method, standards, cure in (("sol", lumped, "leave these frequencies out"), ("solt", lumped + thru, "bands"), ("unknown_thru", lumped + thru, "bands")):
        said = told(standards=standards, calibration={"method": method, "thru_delay_s": 1e-12})
        check("%s: reflections that coincide" % method, len(said) == 1 and said[0].startswith("at 100 GHz") and "condition number up to" in said[0] and cure in said[0], said)
    delay = 1 / (4 * 220.3e9)  # 90 degrees there
    read("thru", through(delay))
    said = told(standards=[{**thru[0], "model": {"delay_s": delay}}, {"name": "open", "kind": "open", "file": "open.s2p"}, reflect[0], {"name": "load", "kind": "load", "file": "load.s2p", "model": {"r_ohm": 50}}], calibration={"method": "lrrm"})
    check("lrrm: a thru near 90 degrees", len(said) == 1 and said[0].startswith("from 192 to 220 GHz") and "shorter thru" in said[0] and "bands" in said[0], said)


def sign_of_reflect(d):
    """told an open for a short, every reflection comes out as its opposite: said where it can be seen, silent where all is right"""
    hz, a = [1e9 * k for k in range(2, 111, 2)], Analyzer(2, 8)
    mm = lambda f: 2j * math.pi * f * math.sqrt(5.3) / 299792458e3 + 0.05 * math.sqrt(f / 1e11)  # 1/mm
    open_g = lambda f: cmath.exp(-0.4j * f / 110e9)
    devices = {"short": lambda f: [[-1, 0], [0, -1]], "open": lambda f: [[open_g(f), 0], [0, open_g(f)]], "load": lambda f: [[0, 0], [0, 0]]}
    for um in (0, 500):
        devices["line_%d" % um] = lambda f, um=um: [[0, cmath.exp(-mm(f) * um / 1000)], [cmath.exp(-mm(f) * um / 1000), 0]]
    for n, s in devices.items():
        d.s2p(n + ".s2p", hz, [[x for row in a.raw(s(f), f, (0, 1)) for x in row] for f in hz])
        d.s2p("ideal_%s.s2p" % n, hz, [[complex(x) for row in s(f) for x in row] for f in hz])
    d.s2p("switch.s2p", hz, [[0j, a.at("g", 0, f), a.at("g", 1, f), 0j] for f in hz])
    lines = [{"name": "line_%d" % um, "kind": "line", "file": "line_%d.s2p" % um, "model": {"length_um": um or 0.001}} for um in (0, 500)]
    one = lambda name, kind, file, **more: {"name": name, "kind": kind, "file": file + ".s2p", **more}

    def notes(standards, method="multiline_trl", estimate=-1, verify=(), status=(0,)):
        c = {"method": method, "eps_eff": 5.3, "reflect_estimate": estimate, "line_z_ohm": 50, "verify": [{"standard": v, "limit": 0.05} for v in verify]}
        told = d.json("solve", d.plan("sign.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration=c), "--out", "t.json", status=status)
        return told["notes"] if told else ["no answer"]

    spare = one("spare", "open", "open", ideal="ideal_open.s2p")
    for method in ("trl", "multiline_trl"):
        said = notes(lines + [one("r", "reflect", "short"), spare], method, verify=["spare"])
        check("%s: the right sign" % method, not said, said)
        said = notes(lines + [one("r", "reflect", "short"), spare], method, 1, ["spare"], (10,))
        check("%s: the wrong one, and a verification" % method, len(said) == 1 and said[0].startswith("spare: ") and "opposite" in said[0] and "reflect_estimate" in said[0], said)
        plan = d.plan("sign.json", standards=lines + [one("r", "short", "short")], calibration={"method": method, "eps_eff": 5.3, "reflect_estimate": 1})
        refused(d, "%s: a short with the estimate of an open" % method, ["solve", plan], "sign.json", "/calibration/reflect_estimate", "is a short", '"reflect_estimate": -1')
    check("two reflects of the right sign", not notes(lines + [one("r", "short", "short"), one("o", "open", "open")]))
    said = notes(lines + [one("r", "reflect", "short"), one("o", "open", "open")], estimate=1)
    check("two reflects of the wrong one", len(said) == 1 and "o was told to be an open and comes out as a short" in said[0] and "reflect_estimate has the wrong sign" in said[0], said)
    thru = one("thru", "thru", "line_0", ideal="ideal_line_0.s2p")
    match = one("load", "load", "load", model={"r_ohm": 50})
    check("lrm: open and short as told", not notes([thru, match, one("o", "open", "open"), one("s", "short", "short")], "lrm"))
    said = notes([thru, match, one("o", "open", "short"), one("s", "short", "short")], "lrm")
    check("lrm: a short in the place of the open", len(said) == 1 and "s was told to be a short and comes out as an open" in said[0] and "reflect before it" in said[0], said)
    known = [one(n, n, f, ideal="ideal_%s.s2p" % n) for n, f in (("open", "short"), ("short", "open"))] + [match, thru]
    said = notes(known + [{**spare, "name": "again"}], "solt", verify=["again"], status=(10,))
    check("solt: open and short exchanged, and a verification", any("opposite" in n and "open and short are exchanged" in n for n in said), said)


def options(d):
    """no option is ignored: it is used, or refused with a sentence"""
    j = reference("cal_solt.json")
    hz = j["frequencies_hz"]
    write_case(d, j, {n: s["raw"] for n, s in j["standards"].items()}, {n: x["raw"] for n, x in j["dut"].items()})
    ideals(d, j, hz)
    standards = [{"name": n, "kind": n, "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load", "thru")]
    terms, diagnosis = solve(d, "solt", d.plan("solt.plan.json", standards=standards, calibration={"method": "solt"}))
    d.s1p("open.s1p", hz, [matrix(r)[0] for r in j["standards"]["open"]["raw"]])
    refused(d, "--port with a two-port", ["correct", "--terms", terms, "fet.s2p", "--port", "2"], "--port", "fet.s2p")
    refused(d, "--switch-terms with terms that keep them", ["correct", "--terms", terms, "fet.s2p", "--switch-terms", "switch.s2p"], "--switch-terms", "solt")
    one, diagnosis = solve(d, "sol", d.plan("sol.plan.json", standards=standards[:3], calibration={"method": "sol"}))
    refused(d, "--switch-terms with one-port terms", ["correct", "--terms", one, "open.s1p", "--switch-terms", "switch.s2p"], "--switch-terms", "sol")
    refused(d, "--port with a two-port and one-port terms", ["correct", "--terms", one, "fet.s2p", "--port", "2"], "--port", "fet.s2p")
    for words in (["open.s1p", "--terms", one, "--noise-u", "1e-4,1e-4", "--no-uncertainty"], ["fet.s2p", "--terms", terms, "--contact-u", "0.1,1e-13", "--no-uncertainty"], ["fet.s2p", "--terms", terms, "--drift-u", "1e-13,0.1", "--no-uncertainty"]):
        refused(d, "%s that nothing is made of" % words[3], ["correct", *words], words[3], "corrected files")
    rc, out, err = d.run("correct", "open.s1p", "--terms", one, "--noise-u", "1e-4,1e-4", "--out", "tip.s1p")
    check("noise alone makes a document of a one-port", rc == 0 and os.path.exists(d.at("tip.u.json")), err)
    refused(d, "a corrected one-port says so, and is not corrected again", ["correct", "tip.s1p", "--terms", one, "--out", "x.s1p"], "tip.s1p", "reference plane is tip")
    d.s2p("a.s2p", hz, [matrix(r) for r in j["dut"]["fet"]["true"]])
    for name, words, *pieces in (("a line's length without a line", ["extract", "--quantity", "Lser", "--length-um", "500", "a.s2p"], "--length-um", "a line"),
                                 ("a window without fT", ["extract", "--quantity", "Lser", "--from", "1e9", "a.s2p"], "--from", "fT and fmax"),
                                 ("the window's other end", ["extract", "--quantity", "Lser", "--below", "1e9", "a.s2p"], "--below", "fT and fmax"),
                                 ("a frequency of fT", ["extract", "--quantity", "fT", "--at", "1e9", "a.s2p"], "--at", "at a frequency"),
                                 ("a share of nothing", ["extract", "--quantity", "Lser", "--share", "0.1", "a.s2p"], "--share", "--u"),
                                 ("off-below without off", ["extrinsic", "--cold", "a.s2p,a.s2p", "--drive", "1,2", "--off-below", "1e9"], "--off-below", "--off FILE"),
                                 ("drives without cold states", ["extrinsic", "--off", "a.s2p", "--drive", "1,2"], "--drive", "--cold FILES"),
                                 ("a channel that is extrapolated away", ["extrinsic", "--cold", "a.s2p,a.s2p", "--drive", "1,2", "--channel-ohm", "3"], "--channel-ohm", "gate_forward"),
                                 ("the inside of nothing", ["extrinsic", "--off", "a.s2p", "--out", "x.s2p"], "--out", "FILE"),
                                 ("an order of a circuit", ["fit", "--model", "inductor", "--order", "4", "a.s2p"], "--order", "vector"),
                                 ("skin effect of a vector model", ["fit", "--model", "vector", "--skin", "a.s2p"], "--skin", "inductors and resistors"),
                                 ("a substrate of an inductor", ["fit", "--model", "inductor", "--substrate", "a.s2p"], "--substrate", "capacitors"),
                                 ("a length of an inductor", ["fit", "--model", "inductor", "--length-um", "100", "a.s2p"], "--length-um", "lines"),
                                 ("a file anew and as JSON", ["touchstone", "a.s2p", "--as", "2.1", "--json"], "--as", "--json")):
        refused(d, name, words, *pieces)


if __name__ == "__main__":
    raise SystemExit(run(one_port_alone, any_two_port, words, off_states, leads_of_a_fet, lengths_of_l_2l, oddities, below_resolution, models_of_what_is_active, weak_bands, sign_of_reflect, options))

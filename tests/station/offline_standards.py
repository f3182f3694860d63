#!/usr/bin/env python3
"""Standards and files as people get them wrong: more standards than needed of which one is spoiled, files exchanged, leakage, switch terms of another file,
lengths exchanged, numbers of another unit, options that a command does not take.  Each is named, and the right one is passed without a word.

offline_standards.py [--build DIR] [--print]       --print shows every sentence
Raw data come from the analyzer of offline_multiport.py, by the waves at both sides of its boxes: what was done to them is the truth of each sentence.
"""
import cmath, copy, math, random
from offline_kit import *
from offline_multiport import Analyzer, step_files

HZ = [1e9 * k for k in range(1, 111)]
delay = lambda f, s: cmath.exp(-2j * math.pi * f * s)
opened = lambda f: (1 - 100j * math.pi * f * -6.5e-15) / (1 + 100j * math.pi * f * -6.5e-15)
shorted = lambda f: (2j * math.pi * f * 4e-12 - 50) / (2j * math.pi * f * 4e-12 + 50)
ends = lambda a, b: lambda f: [[a(f), 0], [0, b(f)]]
through = lambda s, share=1.0: lambda f: [[0, share * delay(f, s)], [share * delay(f, s), 0]]
DEVICES = {"open": ends(opened, opened), "short": ends(shorted, shorted), "load": ends(lambda f: 0, lambda f: 0), "thru": through(1e-12), "thru_2": through(3e-12), "thru_3": through(2e-12),
           "spare": ends(lambda f: -1 / 3, lambda f: 0.2), "dut": lambda f: [[0.2, 0.4 * delay(f, 2e-12)], [0.9 * delay(f, 2e-12), -0.3j]]}
MODEL = {"open": {"c_f": [-6.5e-15, 0, 0, 0]}, "short": {"l_h": [4e-12, 0, 0, 0]}, "load": {"r_ohm": 50}, "thru": {"delay_s": 1e-12}, "thru_2": {"delay_s": 3e-12}, "thru_3": {"delay_s": 2e-12}}
SPARE = {"name": "spare", "kind": "load", "file": "spare.s2p", "model": {"r_ohm": 25}, "port_2": {"kind": "load", "model": {"r_ohm": 75}}}


def standard(name, **more):
    return {"name": name, "kind": name.split("_")[0], "file": name + ".s2p", "model": MODEL[name], **more}


LUMPED = [standard(n) for n in ("open", "short", "load")]
THRUS = [standard(n) for n in ("thru", "thru_2", "thru_3")]


class Bench:
    """the raw files of an analyzer, with noise; of: what each is in the place of what it should be"""

    def __init__(self, d, noise=1e-5, leak=0.0):
        self.d, self.a, self.r, self.noise, self.leak = d, Analyzer(2, 21), random.Random(4), noise, leak
        for w in ("e00", "e11", "g"):  # cables: what comes back turns fast
            self.a.delay[w] = [x + 150e-12 for x in self.a.delay[w]]
        for n, s in DEVICES.items():
            self.write(n, s)
        d.s2p("switch.s2p", HZ, [[0j, self.a.at("g", 0, f), self.a.at("g", 1, f), 0j] for f in HZ])

    def rows(self, s):
        n = lambda: self.noise * complex(self.r.gauss(0, 1), self.r.gauss(0, 1))
        rows = [[x + n() for row in self.a.raw(s(f), f, (0, 1)) for x in row] for f in HZ]
        return [[r[0], r[1] + self.leak * delay(f, 80e-12), r[2] + self.leak * delay(f, 70e-12), r[3]] for f, r in zip(HZ, rows)]

    def write(self, name, s, turn=lambda r: r):
        self.d.s2p(name + ".s2p", HZ, [turn(r) for r in self.rows(s)])

    def solve(self, standards, method="unknown_thru", verify=(), status=(0,), switch="switch.s2p", **calibration):
        plan = {"standards": standards, "calibration": {"method": method, "thru_delay_s": 1e-12, "verify": [{"standard": v, "limit": 0.05} for v in verify], **calibration}}
        if switch and method != "solt":
            plan["switch_terms"] = {"file": switch}
        told = self.d.json("solve", self.d.plan("p.json", **plan), "--out", "t.json", status=status)
        if not told:
            return [], {}, ["no answer"]
        band = told["diagnosis"]["bands"][0]
        return band["warnings"], {s["name"]: s for s in band["standards"]}, told["notes"]


def one(name, said, *pieces):
    check(name, len(said) == 1 and all(p in said[0] for p in pieces), said)


ports = lambda r: [r[3], r[2], r[1], r[0]]
order = lambda r: [r[0], r[2], r[1], r[3]]


def several_thrus(d):
    """least squares: right ones agree, a spoiled one shows; two noisy ones are better than one"""
    b = Bench(d)
    for method in ("solt", "unknown_thru"):
        said, left, notes = b.solve(LUMPED + THRUS, method)
        check("%s: three thrus that agree" % method, not said and not notes and all(left[t["name"]]["residual_worst"] < 3e-4 for t in THRUS), (said, notes, left))
    told = LUMPED + THRUS[:1] + [standard("thru_2") | {"model": {"delay_s": 4e-12}}]
    said, left, notes = b.solve(told, "solt")
    check("solt: of two thrus the one that is told otherwise", any("the 2 thrus contradict each other" in s and "thru_2 is unlike the others" in s for s in said) and left["thru_2"]["residual_worst"] > 0.04, said)
    b.write("thru_2", through(3e-12), lambda r: [r[0], 1.2 * r[1], 1.2 * r[2], r[3]])
    said, left, notes = b.solve(LUMPED + THRUS[:2], "solt")
    check("solt: of two thrus the one that was touched badly", any("thru_2 is unlike the others" in s for s in said), said)
    said, left, notes = b.solve(LUMPED + THRUS[:2])
    check("unknown_thru: it is as reciprocal as before, and its definition says more", not said and len(notes) == 1 and "thru_2 transmits 1.2 times" in notes[0], (said, notes))
    b.write("thru_2", through(3e-12), lambda r: [r[0], r[1], 1.05 * r[2], r[3]])
    said, left, notes = b.solve(LUMPED + THRUS[:2])
    check("unknown_thru: two of which one is not reciprocal", any("a third one would tell" in s for s in said) and abs(left["thru_2"]["residual_worst"] - 0.0125) < 2e-3, (said, left))
    said, left, notes = b.solve(LUMPED + THRUS)
    check("unknown_thru: of three it is named", any("thru_2 is unlike the others" in s for s in said), said)
    rc, out, err = d.run("solve", d.plan("p.json", standards=LUMPED + THRUS[:1], switch_terms={"file": "switch.s2p"}, calibration={"method": "unknown_thru", "thru_delay_s": 1e-12}), "--out", "t.json")
    check("as many as needed: nothing can be judged, and so it says", rc == 0 and out.count("cannot be judged: what it says is met exactly") == 4, (rc, out, err))
    for method in ("lrm", "lrrm"):
        refused(d, "%s: two thrus" % method, ["solve", d.plan("p.json", standards=LUMPED[2:] + LUMPED[:2 if method == "lrrm" else 1] + THRUS[:2], switch_terms={"file": "switch.s2p"}, calibration={"method": method})], "known_standards takes any number")
    b.noise = 2e-3
    distance = {1: 0.0, 3: 0.0}
    for draw in range(12):
        for t in THRUS:
            b.write(t["name"], DEVICES[t["name"]])
        for n in distance:
            b.solve(LUMPED + THRUS[:n], "solt")
            d.run("correct", "--terms", "t.json", "dut.s2p", "--out", "dut.out.s2p")
            distance[n] += sum(abs(r[2] - DEVICES["dut"](f)[1][0]) ** 2 for f, r in zip(*read_s2p(d.at("dut.out.s2p"))))
    check("three thrus leave a third of one's variance in a device's S21", 0.25 < distance[3] / distance[1] < 0.45, distance)


def exchanged(d):
    """what was turned round is named: all files, one alone, switch terms, S21 and S12; nothing is said of right ones"""
    b = Bench(d)
    four = LUMPED + THRUS[:1]
    said, left, notes = b.solve(four + [SPARE], verify=["spare"])
    check("all is right: not a word", not said and not notes, (said, notes))
    rc, out, err = d.run("correct", "--terms", "t.json", "dut.s2p", "--out", "dut.out.s2p")
    check("nor of a device", rc == 0 and not err, err)
    b.write("spare", DEVICES["spare"], ports)
    one("the verifying file's ports alone", b.solve(four + [SPARE], verify=["spare"], status=(10,))[2], "spare: in its own file ports 1 and 2 are exchanged")
    for n, s in DEVICES.items():
        b.write(n, s, ports)
    said = b.solve(four + [SPARE], verify=["spare"], status=(10,))[2]
    check("ports exchanged in all files: said as such, and not as open and short", any(s.startswith("spare: ports 1 and 2 are exchanged") for s in said) and not any("opposite" in s for s in said), said)
    for n, s in DEVICES.items():
        b.write(n, s, order)
    one("S21 and S12 exchanged in all files, one thru", b.solve(four)[2], "thru: S21 and S12 of the reading are exchanged")
    rc, out, err = d.run("correct", "--terms", "t.json", "dut.s2p", "--out", "dut.out.s2p")
    check("and of the device, whatever the calibration", rc == 0 and "dut.s2p: S21 and S12 of the reading are exchanged" in err.splitlines()[0], err)
    for n, s in DEVICES.items():
        b.write(n, s)
    d.s2p("turned.s2p", HZ, [[0j, b.a.at("g", 1, f), b.a.at("g", 0, f), 0j] for f in HZ])
    one("forward and reverse switch terms exchanged, one thru", b.solve(four, switch="turned.s2p")[2], "forward and reverse switch terms are exchanged")
    b.solve(four)
    b.write("dut", DEVICES["dut"], ports)
    rc, out, err = d.run("correct", "--terms", "t.json", "dut.s2p", "--out", "dut.out.s2p")
    check("a device's ports alone", rc == 0 and "ports 1 and 2 of this reading" in err, err)


def open_and_short(d):
    """exchanged, with nothing to verify by: an analyzer whose ways are cables tells by their sign towards DC; one whose ways are not says nothing"""
    for seed in range(6):
        b = Bench(d)
        b.a = Analyzer(2, 100 + seed)
        for w, size in (("e10", 0.9), ("e01", 0.8)):
            b.a.start[w] = [size, 0.95 * size]
        d.s2p("switch.s2p", HZ, [[0j, b.a.at("g", 0, f), b.a.at("g", 1, f), 0j] for f in HZ])
        for n, s in DEVICES.items():
            b.write(n, s)
        for method, switch in (("solt", None), ("unknown_thru", "switch.s2p"), ("lrrm", "switch.s2p")):
            listed = LUMPED + THRUS[:1]
            said, left, notes = b.solve(listed, method, switch=switch)
            check("%s, seed %d: nothing is said of right files" % (method, seed), not any("look exchanged" in n for n in notes), notes)
            wrong = [{**s, "file": {"open": "short.s2p", "short": "open.s2p"}.get(s["name"], s["file"])} for s in listed]
            said, left, notes = b.solve(wrong, method, switch=switch)
            check("%s, seed %d: open and short exchanged" % (method, seed), sum(n.startswith("open and short look exchanged") for n in notes) == 1, (said, notes))


def leakage(d):
    """leakage of a fiftieth of what a thru reads is said of every method that does not know it; a tenth of it is not"""
    b = Bench(d, leak=0.003)
    for method in ("known_standards", "solt", "unknown_thru"):
        one("%s" % method, b.solve(LUMPED + THRUS[:1], method)[2], "transmits nothing and reads 0.02", "the sides leak", method, "sixteen_term")
    check("little leakage is no word", not Bench(d, leak=0.0003).solve(LUMPED + THRUS[:1], "known_standards")[2])


def switch_terms(d):
    """recorded ones have medians of 0.2 to 0.4 and single frequencies beyond 1; what is far from that is of another file"""
    b = Bench(d)
    four = LUMPED + THRUS[:1]
    plan = lambda file: ["solve", d.plan("p.json", standards=four, switch_terms={"file": file}, calibration={"method": "unknown_thru", "thru_delay_s": 1e-12}), "--out", "t.json"]
    d.s2p("upside.s2p", HZ, [[0j, 1 / b.a.at("g", 0, f), 1 / b.a.at("g", 1, f), 0j] for f in HZ])
    refused(d, "b2/a2", plan("upside.s2p"), "/switch_terms", "a median of ", "b2/a2")
    for name, of, said in (("some beyond 1", lambda f: 1.3 if f % 2e10 == 0 else 0.4, None), ("a median of 0.9", lambda f: 0.9, "median of 0.9"), ("nothing", lambda f: 1e-4, "median of 0.0001")):
        d.s2p("odd.s2p", HZ, [[0j, of(f) * delay(f, 1e-12), 0.01j * of(f), 0j] for f in HZ])
        notes = [n for n in b.solve(four, switch="odd.s2p")[2] if "median" in n]
        check("switch terms of %s" % name, len(notes) == (said is not None) and (not said or said in notes[0]), notes)


def lengths(d):
    """two lengths exchanged, and an eps_eff far from what the lines say: named in the place of the reflect"""
    b = Bench(d)
    gamma = lambda f: 2j * math.pi * f * math.sqrt(5.3) / 299792458e6 + 5e-5 * math.sqrt(f / 1e11)  # 1/um
    um = (200, 450, 900, 1800, 3500)
    for x in um:
        b.write("l%d" % x, lambda f: [[0, cmath.exp(-gamma(f) * (x - 200))], [cmath.exp(-gamma(f) * (x - 200)), 0]])
    short = lambda f: -cmath.exp(2 * gamma(f) * 400)  # 400 um before the middle of the first line
    b.write("reflect", ends(short, short))
    lines = lambda told: [{"name": "l%d" % x, "kind": "line", "file": "l%d.s2p" % x, "model": {"length_um": told.get(x, x)}} for x in um] + [{"name": "r", "kind": "reflect", "file": "reflect.s2p"}]
    plan = lambda told, eps: ["solve", d.plan("l.json", standards=lines(told), switch_terms={"file": "switch.s2p"}, calibration={"method": "multiline_trl", "eps_eff": eps, "reflect_estimate": -1, "reflect_offset_um": -400}), "--out", "t.json"]
    rc, out, err = d.run(*plan({}, 5.3))
    check("lines as told", rc == 0 and "exchanged" not in err, err)
    for swapped in ((450, 900), (900, 1800), (200, 450)):
        rc, out, err = d.run(*plan(dict(zip(swapped, swapped[::-1])), 5.3))
        check("the lengths of %d and %d exchanged, whether it can be solved or not" % swapped, rc in (0, 1, 2) and "by their phases the lengths of l%d and l%d are exchanged" % swapped in out + err, (rc, out, err))
    plan({}, 5.3)
    with open(d.at("l.json")) as f:
        told = json.load(f)
    del told["calibration"]["reflect_offset_um"]
    refused(d, "an offset of 0 in the place of -400 um", ["solve", d.plan("l.json", **told), "--out", "t.json"], "a reflect_offset_um of about -400 fits it", "and 0 is told (from the reference plane, the middle of the first line")
    rc, out, err = d.run(*plan({}, 12))
    check("a first guess of eps_eff twice too large does no harm", rc == 0 and not err, (rc, out, err))


def steps(d):
    """a step whose ports are exchanged is named, and the result is not accepted"""
    a = Analyzer(3, 5)
    pairs = ((0, 1), (0, 2), (1, 2))
    of = [{"port_1": p + 1, "port_2": q + 1, "plan": step_files(d, a, p, q, "unknown_thru")} for p, q in pairs]
    told = d.json("solve", d.plan("all.json", ports=3, steps=of), "--out", "t.json")
    check("steps as they are", told and told["diagnosis"]["accepted"])
    of[1]["port_1"], of[1]["port_2"] = 3, 1
    rc, out, err = d.run("solve", d.plan("all.json", ports=3, steps=of), "--out", "t.json")
    check("ports of a step exchanged", rc == 10 and "with ports 3 and 1 of step 2 exchanged by only" in err and '"port_1": 1, "port_2": 3?' in err, (rc, err))
    told = d.json("solve", "all.json", "--out", "t.json", status=(10,))
    check("and not accepted", told and told["diagnosis"]["accepted"] is False)


def units(d):
    """numbers of another unit, keys that a kind has no use for, two definitions of one standard"""
    Bench(d)
    d.s2p("ideal.s2p", HZ, [[complex(opened(f)), 0j, 0j, complex(opened(f))] for f in HZ])
    d.s2p("through.s2p", HZ, [[0j, 1 + 0j, 1 + 0j, 0j] for f in HZ])

    def asked(name, change, *pieces):
        standards = copy.deepcopy(LUMPED + THRUS[:1])
        change(standards)
        refused(d, name, ["solve", d.plan("u.json", standards=standards, calibration={"method": "solt"})], "u.json", *pieces)

    at = lambda k, **new: lambda s: s[k].update(new)
    asked("farad", at(0, model={"c_f": [-6.5, 0, 0, 0]}), "standard open: model/c_f", "-6.5 F", "6.5e-15")
    asked("a slope of farad", at(0, model={"c_f": [-6.5e-15, 1e-9, 0, 0]}), "model/c_f: number 2", "1 F at 1 GHz")
    asked("henry", at(1, model={"l_h": [4, 0, 0, 0]}), "standard short: model/l_h", "4 H", "4e-12")
    asked("seconds", at(3, model={"delay_s": 1}), "/standards/3/model/delay_s", "1 s is outside")
    asked("a resistance of an open", at(0, model={"c_f": [-6.5e-15, 0, 0, 0], "r_ohm": 50}), "standard open: model/r_ohm", "of a load", "kind open")
    asked("an inductance of an open", at(0, model={"l_h": [4e-12, 0, 0, 0]}), "standard open: model/l_h", "a short or a load")
    asked("a capacitance of a thru", at(3, model={"delay_s": 1e-12, "c_f": [1e-15, 0, 0, 0]}), "standard thru: model/c_f", "kind thru")
    asked("at port 2", at(2, port_2={"kind": "short", "model": {"c_f": [1e-15, 0, 0, 0]}}), "standard load: port_2/model/c_f", "kind short")
    asked("ideal and model", at(0, ideal="ideal.s2p"), "standard open", '"ideal" says what it is, and "model" says it too')
    asked("the ideal of a thru", at(0, ideal="through.s2p", model={}), "standard open", "through.s2p transmits", "|S12| is 1", "an open reflects")
    asked("no kind", lambda s: s[0].pop("kind"), "/standards/0/kind: missing", "one of open, short, load, thru, line, reflect, known")


def no_daemon(d):
    """what works on files takes no address and no token"""
    plan = d.plan("u.json")
    for words in (["solve", plan], ["correct", "a.s2p"], ["join", "1,2=a.s2p"], ["extract", "a.s2p"], ["compare", "a.s2p", "b.s2p"], ["recipe", "check", plan]):
        for option in ("address", "token-file"):
            refused(d, "%s with --%s" % (words[0], option), [*words, "--" + option, "http://127.0.0.1:1"], "--%s is of the daemon, which `tipplane %s" % (option, words[0]))
    rc, out, err = d.run("solve", "--help")
    check("nor says its help that it did", rc == 0 and "--address" not in out and "--no-causes" in out, out)
    rc, out, err = d.run("runs", "--help")
    check("and what asks a daemon does", rc == 0 and "--address" in out, out)


if __name__ == "__main__":
    raise SystemExit(run(several_thrus, exchanged, open_and_short, leakage, switch_terms, lengths, steps, units, no_daemon))

#!/usr/bin/env python3
"""The commands that work on files, with the real program and no daemon: solve, correct, deembed, extract, fit, compare, touchstone.

offline.py [--build DIR] [--print]       --print shows every sentence and every worst difference
The check files of tests/reference are written as Touchstone files, the commands run, and the answers held against the check files; then
bad files and plans: each must give one sentence that names the file and the value.
"""
import argparse, cmath, csv, json, math, os, subprocess, tempfile
from programs import Count, REPO

count = Count()
show = False
REFERENCE = os.path.join(REPO, "tests", "reference")


# ---- files ------------------------------------------------------------------------------------------------------------------------------
def c(pair):
    return complex(pair[0], pair[1])


def matrix(row):
    """S11 S12 S21 S22 of one frequency, of a check file"""
    return [c(x) for x in row]


def reference(name):
    with open(os.path.join(REFERENCE, name)) as f:
        return json.load(f)


class Folder:
    def __init__(self, program, path):
        self.program, self.path = program, path

    def at(self, name):
        return os.path.join(self.path, name)

    def text(self, name, text):
        with open(self.at(name), "w") as f:
            f.write(text)
        return name

    def s2p(self, name, hz, rows, head=""):
        """rows: four complex numbers each, S11 S12 S21 S22"""
        lines = [head, "# Hz S RI R 50\n"]
        for f, s in zip(hz, rows):
            lines.append(" ".join("%.17g" % x for x in [f] + [y for k in (0, 2, 1, 3) for y in (s[k].real, s[k].imag)]) + "\n")
        return self.text(name, "".join(lines))

    def s1p(self, name, hz, values):
        return self.text(name, "# Hz S RI R 50\n" + "".join("%.17g %.17g %.17g\n" % (f, v.real, v.imag) for f, v in zip(hz, values)))

    def plan(self, file, **keys):
        return self.text(file, json.dumps(keys))

    def run(self, *words):
        p = subprocess.run([self.program, *map(str, words)], capture_output=True, text=True, cwd=self.path, timeout=60)
        return p.returncode, p.stdout, p.stderr

    def json(self, *words, status=(0,)):
        rc, out, err = self.run(*words, "--json")
        if rc not in status:
            count.fail("%s: exit %d: %s" % (" ".join(map(str, words)), rc, err))
            return None
        try:
            return json.loads(out)
        except ValueError:
            count.fail("%s: no JSON: %s" % (" ".join(map(str, words)), out[:300]))
            return None


def read_s2p(path):
    """frequencies, rows of S11 S12 S21 S22; of what our writer writes"""
    hz, rows = [], []
    with open(path) as f:
        for line in f:
            if line[0] not in "!#":
                v = [float(x) for x in line.split()]
                s = [complex(v[1 + 2 * k], v[2 + 2 * k]) for k in range(4)]
                hz.append(v[0])
                rows.append([s[0], s[2], s[1], s[3]])
    return hz, rows


def distance(a, b):
    """of two lists of rows: the largest |a - b| / max(1, |b|)"""
    return max(abs(x - y) / max(1, abs(y)) for r, s in zip(a, b) for x, y in zip(r, s))


def within(name, value, limit):
    if value <= limit:
        count.ok("%s: worst %.1e, limit %.0e" % (name, value, limit) if show else "")
    else:
        count.fail("%s: worst %.3g, limit %.0e" % (name, value, limit))


def check(name, ok, more=""):
    if ok:
        count.ok(name if show else "")
    else:
        count.fail("%s: %s" % (name, str(more)[:600]))


# ---- solve and correct --------------------------------------------------------------------------------------------------------------------
def write_case(d, j, standards, devices):
    """raw files of standards {name: raw rows} and devices; switch.s2p when the case has switch terms"""
    hz = j["frequencies_hz"]
    for name, raw in list(standards.items()) + list(devices.items()):
        d.s2p(name + ".s2p", hz, [matrix(r) for r in raw])
    if "switch_terms" in j:
        d.s2p("switch.s2p", hz, [[0j, c(r), c(f), 0j] for f, r in zip(j["switch_terms"]["forward"], j["switch_terms"]["reverse"])])


def devices_come_back(d, name, terms, j, truth, limit, from_hz=0, to_folder="out"):
    hz = j["frequencies_hz"]
    rc, out, err = d.run("correct", "--terms", terms, *[n + ".s2p" for n in j["dut"]], "--to", to_folder)
    if rc:
        return count.fail("%s: correct: exit %d: %s" % (name, rc, err))
    worst = 0
    for n, dut in j["dut"].items():
        got_hz, got = read_s2p(d.at("%s/%s.s2p" % (to_folder, n)))
        check("%s: %s keeps its frequencies" % (name, n), got_hz == hz, got_hz)
        keep = [i for i, f in enumerate(hz) if f >= from_hz]
        worst = max(worst, distance([got[i] for i in keep], [matrix(dut[truth][i]) for i in keep]))
    within(name, worst, limit)
    return worst


def solve(d, name, plan, *more):
    """the terms file and the diagnosis"""
    told = d.json("solve", plan, "--out", name + ".json", *more)
    return name + ".json", (told or {}).get("diagnosis")


def ideals(d, j, hz):
    for name, s in j["standards"].items():
        d.s2p("ideal_%s.s2p" % name, hz, [matrix(r) for r in s["ideal"]])


def lumped(d, word, file, kinds, **calibration):
    j = reference(file)
    hz = j["frequencies_hz"]
    write_case(d, j, {n: s["raw"] for n, s in j["standards"].items()}, {n: x["raw"] for n, x in j["dut"].items()})
    ideals(d, j, hz)
    standards = [{"name": n, "kind": kinds.get(n, "known"), "file": n + ".s2p", **({} if n == "unknown_thru" else {"ideal": "ideal_%s.s2p" % n})} for n in j["standards"]]
    plan = d.plan(word + ".plan.json", name="check", standards=standards, switch_terms={"file": "switch.s2p"}, calibration={"method": word, "switch_terms": True, **calibration})
    terms, diagnosis = solve(d, word, plan)
    devices_come_back(d, "%s from files" % word, terms, j, "true", 1e-10)
    return plan, terms, diagnosis


def solving(d):
    kinds = {"open": "open", "short": "short", "load": "load", "thru": "thru", "unknown_thru": "thru"}
    plan, terms, diagnosis = lumped(d, "solt", "cal_solt.json", kinds)
    check("solt's diagnosis holds forward against reverse", diagnosis and diagnosis["bands"][0]["figures"]["k_disagreement"]["largest"] < 1e-10, diagnosis)
    models = reference("error-models.json")
    with open(d.at(terms)) as f:
        document = json.load(f)
    worst = max(abs(c(a) - c(b)) for word in ("EDF", "ESF", "ERF", "ELF", "ETF") for a, b in zip(columns(document, word), models["twelve_term"][word]))
    within("the twelve terms themselves", worst, 1e-10)
    check("the terms say which files they came from, with digests", sum("SHA-256" in str(v) for v in document["notes"].values()) >= 9, document.get("notes"))
    lumped(d, "unknown_thru", "cal_solr.json", kinds, thru_delay_s=reference("cal_solr.json")["delay_guess_s"])
    lumped(d, "sixteen_term", "cal_16term.json", {"thru": "thru"})
    rc, out, err = d.run("solve", plan, "--out", "again.json")
    check("without --json the diagnosis is words", rc == 0 and "solt: 4 standards" in out and "result: plane tip, 50 ohm" in out, (rc, out, err))
    rc, out, err = d.run("solve", plan)
    with open(d.at("again.json")) as f:
        check("without --out the terms are on stdout and the words on stderr", rc == 0 and out == f.read() and "solt: 4 standards" in err, (rc, out[:200], err))
    told = d.json("solve", plan)
    check("--json alone holds terms and diagnosis", told and told["terms"]["model"] == "twelve" and told["diagnosis"]["accepted"] is True, told)


def columns(document, word):
    return list(zip(document["terms"][word]["re"], document["terms"][word]["im"]))


def lines(d):
    for word, file in (("trl", "cal_trl.json"), ("multiline_trl", "cal_mtrl.json")):
        j = reference(file)
        write_case(d, j, {**{n: x["raw"] for n, x in j["lines"].items()}, "reflect": j["reflect"]["raw"]}, {n: x["raw"] for n, x in j["dut"].items()})
        eps = j["eps_eff_at_10GHz"][0]
        standards = [{"name": n, "kind": "line", "file": n + ".s2p", "model": {"length_um": x["length_m"] * 1e6}} for n, x in j["lines"].items()] + [{"name": "reflect", "kind": "reflect", "file": "reflect.s2p"}]
        common = {"method": word, "eps_eff": eps, "reflect_estimate": j["reflect"]["estimate_at_tips"], "plane": "tip"}  # the reflect lies at the tips
        plan = d.plan(word + ".plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration=common)
        terms, diagnosis = solve(d, word, plan)
        # below 100 MHz line calibrations lose digits, as tests/reference/rf_calibrations.c judges frequency by frequency
        devices_come_back(d, "%s from files, in the lines' impedance" % word, terms, j, "true_Zc", 1e-10, from_hz=1e8)
        with open(d.at("out/inductor.s2p")) as f:
            text = f.read()
        check("%s: a file in the line's impedance says so and claims no 50 ohm" % word, "the line's own" in text and "R 1\n" in text and "reference plane: tip" in text, text[:300])
        gamma = diagnosis and diagnosis["bands"][0]["figures"]["gamma_im"]["values"]
        if gamma:
            within("%s: beta" % word, max(abs(g - c(t).imag) / abs(c(t)) for g, t, f in zip(gamma, j["gamma_per_m"], j["frequencies_hz"]) if f >= 1e9), 1e-9)
        loss = j["G_S_per_m"][0] / (2 * math.pi * j["frequencies_hz"][0] * j["C_F_per_m"])
        plan = d.plan(word + "_50.plan.json", standards=standards, switch_terms={"forward": "forward.s1p", "reverse": "reverse.s1p"}, calibration={**common, "line_capacitance_f_m": j["C_F_per_m"], "line_loss_tangent": loss})
        for end in ("forward", "reverse"):
            d.s1p(end + ".s1p", j["frequencies_hz"], [c(x) for x in j["switch_terms"][end]])
        rc, out, err = d.run("solve", plan, "--out", "fifty.json")
        check("%s: with the line's capacitance the result is 50 ohm" % word, rc == 0 and "plane tip, 50 ohm" in out, (rc, out, err))
        devices_come_back(d, "%s from files, in 50 ohm" % word, "fifty.json", j, "true_50ohm", 1e-10, from_hz=1e8)


def banded(d):
    """lumped standards below, lines above, joined: both check files are of one system"""
    j, k = reference("cal_solr.json"), reference("cal_mtrl.json")
    hz = j["frequencies_hz"]
    write_case(d, j, {n: s["raw"] for n, s in j["standards"].items()}, {n: x["raw"] for n, x in j["dut"].items()})
    write_case(d, k, {**{n: x["raw"] for n, x in k["lines"].items()}, "reflect": k["reflect"]["raw"]}, {})
    ideals(d, j, hz)
    lumped_ones = [{"name": n, "kind": "thru" if n == "unknown_thru" else n, "file": n + ".s2p", **({} if n == "unknown_thru" else {"ideal": "ideal_%s.s2p" % n})} for n in j["standards"]]
    line_ones = [{"name": n, "kind": "line", "file": n + ".s2p", "model": {"length_um": x["length_m"] * 1e6}} for n, x in k["lines"].items()] + [{"name": "reflect", "kind": "reflect", "file": "reflect.s2p"}]
    loss = k["G_S_per_m"][0] / (2 * math.pi * hz[0] * k["C_F_per_m"])
    calibration = {"plane": "tip", "thru_delay_s": j["delay_guess_s"], "eps_eff": k["eps_eff_at_10GHz"][0], "reflect_estimate": -1, "line_capacitance_f_m": k["C_F_per_m"], "line_loss_tangent": loss,
                   "bands": [{"method": "unknown_thru", "from_hz": 1, "to_hz": 30e9, "standards": [{"standard": s["name"]} for s in lumped_ones]},
                             {"method": "multiline_trl", "from_hz": 1e9, "to_hz": 220e9, "standards": [{"standard": s["name"]} for s in line_ones]}]}
    terms, diagnosis = solve(d, "bands", d.plan("bands.plan.json", standards=lumped_ones + line_ones, switch_terms={"file": "switch.s2p"}, contact_ohm_u=0.01, contact_h_u=1e-13, placement_um_u=1, calibration=calibration))
    devices_come_back(d, "two bands joined, from files", terms, j, "true", 1e-10)
    check("the joint says how little both differ", diagnosis and len(diagnosis["bands"]) == 2 and diagnosis["joints"][0]["kink"] < 1e-9 and diagnosis["joints"][0]["points"] == 3, diagnosis and diagnosis["joints"])
    rc, out, err = d.run("solve", "bands.plan.json", "--out", "b.json")
    check("and in words", rc == 0 and "joint 1: 3 points from 1 GHz to 30 GHz" in out, (rc, out, err))


def matched(d):
    j = reference("cal_lrm.json")
    hz = j["frequencies_hz"]
    for word, match in (("match_50", None), ("match_known", [c(x) for x in j["match_known"]["ideal"]])):
        write_case(d, j, {"thru": j["thru"]["raw"], "reflect": j["reflect"]["raw"], "match": j[word]["raw"]}, {n: x["raw"] for n, x in j["dut"].items()})
        d.s2p("ideal_thru.s2p", hz, [matrix(r) for r in j["thru"]["ideal"]])
        d.s2p("ideal_match.s2p", hz, [[g, 0j, 0j, g] for g in match or [0j] * len(hz)])
        standards = [{"name": "thru", "kind": "thru", "file": "thru.s2p", "ideal": "ideal_thru.s2p"}, {"name": "reflect", "kind": "reflect", "file": "reflect.s2p"},
                     {"name": "match", "kind": "load", "file": "match.s2p", **({"ideal": "ideal_match.s2p"} if match else {"model": {"r_ohm": 50}})}]
        terms, diagnosis = solve(d, "lrm", d.plan("lrm.plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration={"method": "lrm", "reflect_estimate": 1}))
        devices_come_back(d, "lrm from files, %s" % word, terms, j, "true", 1e-10)
    j = reference("cal_lrrm.json")
    hz = j["frequencies_hz"]
    write_case(d, j, {n: j[n]["raw"] for n in ("thru", "open", "short")}, {n: x["raw"] for n, x in j["dut"].items()})
    d.s2p("ideal_thru.s2p", hz, [matrix(r) for r in j["thru"]["ideal"]])
    d.s1p("match_1.s1p", hz, [matrix(r)[0] for r in j["match_port1"]["raw"]])
    standards = [{"name": "thru", "kind": "thru", "file": "thru.s2p", "ideal": "ideal_thru.s2p"}, {"name": "open", "kind": "open", "file": "open.s2p"}, {"name": "short", "kind": "short", "file": "short.s2p"},
                 {"name": "match", "kind": "load", "file_1": "match_1.s1p", "model": {"r_ohm": j["match_port1"]["R_ohm"]}}]
    terms, diagnosis = solve(d, "lrrm", d.plan("lrrm.plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration={"method": "lrrm"}))
    devices_come_back(d, "lrrm from files, its match at port 1 alone", terms, j, "true", 1e-10)
    match = diagnosis["bands"][0]["match"]
    check("lrrm says what it found of its match and open, and how well",
          match["determined"] and abs(match["l_h"] - j["match_port1"]["true_L_henry"]) < 1e-21 + 3 * match["l_u_h"]
          and abs(match["open_c_f"] - j["open"]["true_C_farad"]) < 1e-22 + 3 * match["open_c_u_f"], match)


def one_port(d):
    j = reference("cal_oneport.json")
    hz = j["frequencies_hz"]
    kinds = {"open": "open", "short": "short", "load": "load", "offset_short_2ps": "short", "offset_open_3ps": "open"}
    standards = []
    for n, s in j["standards"].items():
        d.s1p("%s_1.s1p" % n, hz, [c(x) for x in s["raw"]])
        d.s2p("ideal_%s.s2p" % n, hz, [[c(x), 0j, 0j, c(x)] for x in s["ideal"]])
        standards.append({"name": n, "kind": kinds[n], "file_1": "%s_1.s1p" % n, "file_2": "%s_1.s1p" % n, "ideal": "ideal_%s.s2p" % n})
    terms, diagnosis = solve(d, "sol", d.plan("sol.plan.json", standards=standards, calibration={"method": "sol"}))
    for n, dut in j["dut"].items():
        d.s1p(n + ".s1p", hz, [c(x) for x in dut["raw"]])
        for port in (1, 2):
            told = d.json("correct", "--terms", terms, n + ".s1p", "--port", port)
            if told:
                got = [c(x) for x in told["files"][0]["s11" if port == 1 else "s22"]]
                within("a one-port file at port %d" % port, max(abs(a - c(b)) for a, b in zip(got, dut["true"])), 1e-10)
        rc, out, err = d.run("correct", "--terms", terms, n + ".s1p", "--out", "one.s1p")
        told = d.json("touchstone", "one.s1p")
        check("a one-port result is a .s1p", rc == 0 and told and told["ports"] == 1 and told["points"] == len(hz), (rc, out, err))


def by_models(d):
    """the same solution from models in the plan instead of files of ideals, a band that joins, a verification"""
    j = reference("cal_solt.json")
    hz = j["frequencies_hz"]
    write_case(d, j, {n: s["raw"] for n, s in j["standards"].items()}, {n: x["raw"] for n, x in j["dut"].items()})
    standards = [{"name": n, "kind": n, "file": n + ".s2p", "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load")] + [{"name": "thru", "kind": "thru", "file": "thru.s2p", "model": {"delay_s": 1e-12}}]
    ideals(d, j, hz)
    plan = d.plan("model.plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration={"method": "solt"})
    terms, diagnosis = solve(d, "model", plan)
    devices_come_back(d, "solt with the thru by its model", terms, j, "true", 1e-10)
    d.s2p("true_inductor.s2p", hz, [matrix(x) for x in j["dut"]["inductor"]["true"]])
    spare = {"name": "spare", "kind": "known", "file": "inductor.s2p", "ideal": "true_inductor.s2p"}
    told = d.json("solve", d.plan("verify.plan.json", standards=standards + [spare], switch_terms={"file": "switch.s2p"}, calibration={"method": "solt", "verify": [{"standard": "spare", "limit": 1e-6}]}), "--out", "v.json")
    check("a verification within its limit is accepted", told and told["diagnosis"]["accepted"] is True and told["diagnosis"]["verified"][0]["worst"] < 1e-9, told)
    again = {"name": "again", "kind": "load", "file": "load.s2p", "model": {"r_ohm": 49, "l_h": [0, 0, 0, 0]}}  # the load once more, told wrongly
    told = d.json("solve", d.plan("solved.plan.json", standards=standards + [again], switch_terms={"file": "switch.s2p"}, calibration={"method": "solt", "verify": [{"standard": "again", "limit": 1}]}), "--out", "v.json")
    solved = told and told["diagnosis"]["verified"][0]["solved"]
    check("a verified copy's definition is solved from its readings", solved and [s["port"] for s in solved] == [1, 2] and solved[0]["numbers"][0]["name"] == "L0" and abs(solved[0]["numbers"][1]["value"] - 50) < 1e-6 and solved[0]["numbers"][1]["told"] == 49, solved)
    wrong = {**spare, "ideal": "ideal_thru.s2p"}
    told = d.json("solve", d.plan("verify.plan.json", standards=standards + [wrong], switch_terms={"file": "switch.s2p"}, calibration={"method": "solt", "verify": [{"standard": "spare", "limit": 0.01}]}), "--out", "v.json", status=(10,))
    check("one beyond it is not, and the exit status says so", told and told["diagnosis"]["accepted"] is False and told["diagnosis"]["verified"][0]["worst"] > 0.01, told)
    some = [h for h in hz if h > 1e9]
    d.s2p("part.s2p", some, [matrix(x) for h, x in zip(hz, j["dut"]["fet"]["raw"]) if h > 1e9])
    told = d.json("correct", "--terms", terms, "part.s2p")
    if told:
        within("a device swept over part of the calibration", distance([[c(told["files"][0][k][i]) for k in ("s11", "s12", "s21", "s22")] for i in range(len(some))], [matrix(x) for h, x in zip(hz, j["dut"]["fet"]["true"]) if h > 1e9]), 1e-10)
    pair = {"name": "pair", "kind": "open", "file": "thru.s2p", "model": {"c_f": [1e-15, 0, 0, 0]}, "port_2": {"kind": "short"}}
    told = d.json("solve", d.plan("ends.plan.json", standards=standards + [pair], calibration={"method": "solt", "verify": [{"standard": "pair", "limit": 2}]}), "--out", "v.json", status=(0, 10))
    check("two unlike ends are one standard", told and told["diagnosis"]["verified"][0]["worst"] > 0.1, told)
    rows = [{"hz": f, "s11": [c(r[0]).real, c(r[0]).imag], "s21": [c(r[2]).real, c(r[2]).imag], "s12": [c(r[1]).real, c(r[1]).imag], "s22": [c(r[3]).real, c(r[3]).imag]} for f, r in zip(hz, j["standards"]["thru"]["ideal"])]
    data = [dict(s) for s in standards]
    data[3] = {"name": "thru", "kind": "thru", "file": "thru.s2p", "data": rows}
    terms, diagnosis = solve(d, "data", d.plan("data.plan.json", standards=data, switch_terms={"file": "switch.s2p"}, calibration={"method": "solt"}))
    devices_come_back(d, "solt with the thru by data in the plan", terms, j, "true", 1e-10)


# ---- deembed, compare, touchstone -----------------------------------------------------------------------------------------------------------
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
        told = d.json("deembed", "--method", word, *dummies, case + "_measured.s2p")
        check("deembed %s --json is the same numbers" % case, told and [complex(*x) for x in told["s21"]] == [r[2] for r in got], told)
    rc, out, err = d.run("deembed", "--method", "open", "--open", "open_open.s2p", "open_measured.s2p", "--out", "bare.ts")
    told, back = d.json("touchstone", "bare.ts"), d.json("compare", "bare.ts", "bare_1.s2p") if not d.run("deembed", "--method", "open", "--open", "open_open.s2p", "open_measured.s2p", "--out", "bare_1.s2p")[0] else None
    check("a result called .ts is of version 2.1 and the same", rc == 0 and told and told["version"] == "2.1" and back and back["all"]["worst"] == 0, (rc, err, told))
    refused(d, "a result called .s3p", ["deembed", "--method", "open", "--open", "open_open.s2p", "open_measured.s2p", "--out", "bare.s3p"], "bare.s3p", ".s2p")
    rc, out, err = d.run("deembed", "--methods")
    check("the methods are listed with what they need", rc == 0 and "--open --short" in out and "35 GHz" in out, out)
    rc, out, err = d.run("deembed", "--method", "open", "--open", "open_open.s2p", "bare.s2p")
    check("what is de-embedded already is refused", rc == 2 and "already" in err, (rc, err))


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
        told = d.json("extract", "--quantity", ",".join(words), case + ".s2p")
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


# ---- other parameters, references, modes and lists of frequencies ---------------------------------------------------------------------------
def solved(a, b):
    """X of A X = B, lists of rows, by elimination"""
    n = len(a)
    m = [list(map(complex, r)) + list(map(complex, s)) for r, s in zip(a, b)]
    for k in range(n):
        p = max(range(k, n), key=lambda i: abs(m[i][k]))
        m[k], m[p] = m[p], m[k]
        m[k] = [x / m[k][k] for x in m[k]]
        for i in range(n):
            if i != k:
                m[i] = [x - m[i][k] * y for x, y in zip(m[i], m[k])]
    return [r[n:] for r in m]


def s_of_y(y, z):
    """one reference z per port: S = (1 + y)^-1 (1 - y), y_ij = sqrt(z_i) Y_ij sqrt(z_j)"""
    n = len(y)
    y = [[y[i][k] * math.sqrt(z[i] * z[k]) for k in range(n)] for i in range(n)]
    one = [[float(i == k) for k in range(n)] for i in range(n)]
    return solved([[one[i][k] + y[i][k] for k in range(n)] for i in range(n)], [[one[i][k] - y[i][k] for k in range(n)] for i in range(n)])


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
    rc, out, err = d.run("fit", "--model", "vector", "B_S_two_port_violating.s2p", "--out", "b.cir", "--name", "Made_Passive")
    with open(d.at("b.cir")) as f:
        text = f.read()
    check("fit makes it passive unless told otherwise, and says how far S moved", rc == 0 and "made passive" in out and ".subckt made_passive p1 p2 ref" in text and "fitted to b_s_two_port_violating.s2p" in text.lower(), (rc, out, err, text[:400]))
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


# ---- bad inputs -----------------------------------------------------------------------------------------------------------------------------
def is_one_sentence(text):
    return text.startswith("tipplane: ") and text.count("\n") == 1 and 30 <= len(text) <= 460 and "(null)" not in text


def refused(d, name, words, *pieces, status=2):
    rc, out, err = d.run(*words)
    missing = [p for p in pieces if p not in err]
    if rc != status or not is_one_sentence(err) or missing or out:
        count.fail("%s: exit %d, not said: %s\n  %s%s" % (name, rc, missing, err, out[:200]))
    else:
        count.ok("%s: %s" % (name, err.strip()) if show else "")


def bad(d):
    hz = [1e9, 2e9, 3e9]
    rows = [[0.1 + 0j, 0.9 + 0j, 0.9 + 0j, 0.1 + 0j]] * 3
    for n in ("open", "short", "load", "thru", "raw"):
        d.s2p(n + ".s2p", hz, rows)
    d.s2p("short_list.s2p", hz[:2], rows[:2])
    d.s2p("tip.s2p", hz, rows, head="! reference plane: tip\n")
    d.s1p("one.s1p", hz, [0.1, 0.1, 0.1])
    d.text("nan.s2p", "# Hz S RI R 50\n1e9 0 0 nan 0 1 0 0 0\n")
    d.text("three.s3p", "# Hz S RI R 50\n1e9 0 0 0 0 0 0\n 0 0 0 0 0 0\n 0 0 0 0 0 0\n")
    d.s2p("ohm75.s2p", hz, rows)
    with open(d.at("ohm75.s2p")) as f:
        d.text("ohm75.s2p", f.read().replace("R 50", "R 75"))
    good = [{"name": n, "kind": n, "file": n + ".s2p", **({"model": {"r_ohm": 50}} if n == "load" else {})} for n in ("open", "short", "load", "thru")]

    def plan(standards=good, **keys):
        return d.plan("p.json", standards=standards, **{"calibration": {"method": "solt"}, **keys})

    def change(i, **keys):
        s = [dict(x) for x in good]
        s[i].update(keys)
        return [{k: v for k, v in x.items() if v is not None} for x in s]

    refused(d, "no such plan", ["solve", "nowhere.json"], "nowhere.json", status=3)
    d.text("p.json", "{]")
    refused(d, "a plan that is no JSON", ["solve", "p.json"], "p.json")
    refused(d, "an unknown key", ["solve", plan(switchterms={})], "p.json", "switchterms", "switch_terms")
    refused(d, "an unknown method", ["solve", plan(calibration={"method": "sold"})], "p.json", "sold", "solt")
    refused(d, "no method", ["solve", plan(calibration={})], "p.json", "method")
    refused(d, "an unknown kind", ["solve", plan(change(0, kind="opn"))], "p.json", "opn", "open")
    refused(d, "a standard without a file", ["solve", plan(change(1, file=None))], "p.json", "short", "file_1")
    refused(d, "two standards of one name", ["solve", plan(change(1, name="open"))], "p.json", "open")
    refused(d, "a name that is not there", ["solve", plan(calibration={"method": "solt", "standards": [{"standard": "opem"}]})], "opem", "there are open, short, load, thru")
    refused(d, "a file that is not there", ["solve", plan(change(2, file="lode.s2p"))], "load", "lode.s2p", status=3)
    refused(d, "a file with NaN", ["solve", plan(change(2, file="nan.s2p"))], "load", "nan.s2p", "line 2", '"nan"')
    refused(d, "a file of three ports", ["solve", plan(change(2, file="three.s3p"))], "load", "three.s3p", "3 ports")
    refused(d, "a file of no known ending", ["solve", plan(change(2, file="p.json"))], "load", "p.json", ".s1p")
    refused(d, "a corrected file as raw", ["solve", plan(change(2, file="tip.s2p"))], "load", "tip.s2p", "raw")
    refused(d, "another list of frequencies", ["solve", plan(change(2, file="short_list.s2p"))], "load", "2 frequencies")
    refused(d, "an ideal on other frequencies", ["solve", plan(change(2, ideal="short_list.s2p"))], "load", "short_list.s2p", "2 frequencies")
    refused(d, "a load without its resistance", ["solve", plan(change(2, model={}))], "p.json", "load", "above 0")
    refused(d, "standards that coincide", ["solve", plan(change(2, model={"r_ohm": 50}))], "p.json", status=1)
    refused(d, "no load", ["solve", plan([s for s in good if s["name"] != "load"])], "load")
    refused(d, "switch terms asked for and not given", ["solve", plan(calibration={"method": "solt", "switch_terms": True})], "switch_terms")
    refused(d, "half the switch terms", ["solve", plan(switch_terms={"forward": "one.s1p"})], "reverse")
    refused(d, "a temperature of a star", ["solve", plan(temperature_c=1e4)], "temperature_c", "10000")
    refused(d, "a verification that is part of the solution", ["solve", plan(calibration={"method": "solt", "standards": [{"standard": n} for n in ("open", "short", "load", "thru")], "verify": [{"standard": "thru", "limit": 0.1}]})], "thru", "verif")
    refused(d, "a known two-port that nothing describes", ["solve", plan(change(3, kind="known"))], "thru", "ideal")
    refused(d, "two unlike ends and an ideal", ["solve", plan(change(1, ideal="thru.s2p", port_2={"kind": "open"}))], "short", "port_2")
    refused(d, "two unlike ends read at one port", ["solve", plan(change(1, file=None, file_1="one.s1p", port_2={"kind": "open"}))], "short", "file")
    refused(d, "correct without terms", ["correct", "raw.s2p"], "--terms")
    refused(d, "terms that are no terms", ["correct", "--terms", "p.json", "raw.s2p"], "p.json")
    refused(d, "terms that are not there", ["correct", "--terms", "none.json", "raw.s2p"], "none.json", status=3)
    refused(d, "an unknown method of de-embedding", ["deembed", "--method", "opne", "raw.s2p"], "opne", "open_short")
    refused(d, "a dummy that is missing", ["deembed", "--method", "open_short", "--open", "open.s2p", "raw.s2p"], "raw.s2p", "short")
    refused(d, "a dummy that the method does not use", ["deembed", "--method", "open", "--open", "open.s2p", "--pad", "thru.s2p", "raw.s2p"], "pad")
    refused(d, "a dummy on other frequencies", ["deembed", "--method", "open", "--open", d.s2p("away.s2p", [9e9], rows[:1]), "raw.s2p"], "away.s2p", "no frequency", "--interpolate")
    d.s2p("line_z.s2p", hz, rows, head="! reference impedance: the line's own\n")
    with open(d.at("line_z.s2p")) as f:
        d.text("line_z.s2p", f.read().replace("R 50", "R 1"))
    refused(d, "a dummy in a line's own impedance", ["deembed", "--method", "open", "--open", "line_z.s2p", "raw.s2p"], "line_z.s2p", "50 ohm")
    refused(d, "a line's own impedance against 50 ohm", ["compare", "raw.s2p", "line_z.s2p"], "line_z.s2p", "the line's own")
    refused(d, "a fit in a line's own impedance", ["fit", "--model", "vector", "line_z.s2p"], "line_z.s2p", "renormalise")
    refused(d, "three ports and no modes", ["extract", "--quantity", "Ld", "three.s3p"], "three.s3p", "3 ports", "--modes")
    for modes, piece in (("D1,2", "colon"), ("D1,2:X3", '"X3"'), ("D1,2:D3,4", '"D3,4"'), ("D1,2:S1", "port 1"), ("D1,1:S3", '"D1,1"'), ("D1,2:C1,3", "port 1"), ("S3:S3", "port 3"), ("D1,2:D3,444444444444444444", "colon")):
        refused(d, "modes %s of three ports" % modes, ["extract", "--quantity", "Ld", "--modes", modes, "three.s3p"], "--modes", piece)
    d.text("pair.ts", "[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 1\n[Reference] 50 75\n[Mixed-Mode Order] D1,2 C1,2\n[Network Data]\n1 0 0 0 0 0 0 0 0\n[End]\n")
    refused(d, "a mixed-mode pair of two references", ["extract", "--quantity", "Ld", "pair.ts"], "pair.ts", "50 and 75 ohm")
    d.text("active.z2p", "# GHz Z RI R 50\n1 -1 0 0 0 0 0 -1 0\n")
    refused(d, "Z that has no S", ["extract", "--quantity", "Ld", "active.z2p"], "active.z2p", "1e+09 Hz", "no S")
    refused(d, "a comparison of terms with modes", ["compare", "p.json", "p.json", "--modes", "S1:S2"], "--modes")
    refused(d, "compare a network with a plan", ["compare", "raw.s2p", "p.json"], "raw.s2p", "p.json")
    refused(d, "compare without a common frequency", ["compare", "raw.s2p", "far.s2p"], "far.s2p", "no frequency") if d.s2p("far.s2p", [9e9], rows[:1]) else None
    refused(d, "bands that fall", ["compare", "raw.s2p", "open.s2p", "--bands", "2e9,1e9"], "edge 2")
    refused(d, "a band that is no number", ["compare", "raw.s2p", "open.s2p", "--bands", "2e9,x"], "--bands", '"x"')
    refused(d, "a version that is none", ["touchstone", "raw.s2p", "--as", "3.0"], "raw.s2p", "3.0")
    refused(d, "a folder that cannot be written", ["touchstone", "raw.s2p", "--as", "2.0", "--out", "none/x.ts"], "none/x.ts", status=3)
    j = reference("cal_solt.json")
    for n in ("open", "short", "load", "thru"):
        d.s2p("good_%s.s2p" % n, j["frequencies_hz"], [matrix(r) for r in j["standards"][n]["raw"]])
        d.s2p("ideal_%s.s2p" % n, j["frequencies_hz"], [matrix(r) for r in j["standards"][n]["ideal"]])
    standards = [{"name": n, "kind": n, "file": "good_%s.s2p" % n, "ideal": "ideal_%s.s2p" % n} for n in ("open", "short", "load", "thru")]
    solve(d, "terms", d.plan("g.json", standards=standards, calibration={"method": "solt"}))
    refused(d, "raw data at frequencies that were not calibrated", ["correct", "--terms", "terms.json", "raw.s2p"], "raw.s2p", "2 of its 3 frequencies", "2e+09 Hz", "--common")
    told = d.json("correct", "--terms", "terms.json", "raw.s2p", "--common")
    check("--common leaves them out and says so", told and told["files"][0]["freq_hz"] == [1e9] and "left out" in told["notes"][0], told)
    refused(d, "nothing calibrated", ["correct", "--terms", "terms.json", "--common", d.s2p("other.s2p", [1.5e9], rows[:1])], "other.s2p", "1.5e+09 Hz")
    refused(d, "raw data that are corrected", ["correct", "--terms", "terms.json", "tip.s2p"], "tip.s2p", "raw")
    refused(d, "one port and two-port terms", ["correct", "--terms", "terms.json", "one.s1p"], "one.s1p", "solt")
    refused(d, "several files and no folder", ["correct", "--terms", "terms.json", "raw.s2p", "open.s2p"], "--to")
    refused(d, "a corrected file over its raw one", ["correct", "--terms", "terms.json", "./raw.s2p", "--to", "."], "raw.s2p", "replace")
    check("nothing half written stays behind", not [n for n in os.listdir(d.path) if n.endswith(".part") or n == "none"], os.listdir(d.path))


def main():
    global show
    ap = argparse.ArgumentParser()
    ap.add_argument("--build", default="build/debug")
    ap.add_argument("--print", action="store_true")
    a = ap.parse_args()
    show = a.print
    program = os.path.abspath(os.path.join(a.build, "tipplane"))
    for part in (solving, lines, banded, matched, one_port, by_models, deembedding, extracting, comparing, converted, modes, lists_of_frequencies, converting, fitting, bad):
        with tempfile.TemporaryDirectory() as folder:
            part(Folder(program, folder))
    return count.end()


if __name__ == "__main__":
    raise SystemExit(main())

#!/usr/bin/env python3
"""The command line against scikit-rf over the same raw files: `tipplane solve` and `tipplane correct`, and every two-port method that
scikit-rf has.  Printed for each: the worst difference between the two, and how far each lies from the truth that the raw data were made of.

usage: judge_offline.py BUILD      from the repository's root, in an environment with scikit-rf and NumPy
Raw data: tests/reference/cal_*.json (exact, from wave equations), and the same with noise where both programs use the same equations.
Three and four ports: raw data of an analyzer written here.  Where a limit is for Tipplane's distance from the truth alone, scikit-rf is weaker on that case, and the reason stands beside it.
"""
import json
import os
import subprocess
import sys
import tempfile
import types
import warnings

import numpy as np
import numpy.typing  # scikit-rf needs it imported before with old NumPy
import skrf
from skrf.calibration import calibration as theirs

warnings.simplefilter("ignore")
HERE = os.path.dirname(os.path.abspath(__file__))
REFERENCE = os.path.join(os.path.dirname(HERE), "reference")
PROGRAM = os.path.abspath(os.path.join(sys.argv[1], "tipplane"))
rows, failed = [], 0


def complex_of(pairs):
    a = np.array(pairs, float)
    return a[..., 0] + 1j * a[..., 1]


def matrices(values):
    return complex_of(values).reshape(-1, 2, 2)


def diagonal(gamma):
    s = np.zeros((len(gamma), 2, 2), complex)
    s[:, 0, 0] = s[:, 1, 1] = gamma
    return s


def through(t):
    s = np.zeros((len(t), 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = t
    return s


def network(f, s, z0=50):
    s = np.asarray(s)
    return skrf.Network(frequency=skrf.Frequency.from_f(f, unit="hz"), s=s if s.ndim == 3 else s.reshape(-1, 1, 1), z0=z0)


class Case:
    """A check file with its frequencies from `lowest` on, and noise on everything raw."""

    def __init__(self, name, lowest=0, noise=0, seed=7):
        self.d = json.load(open(os.path.join(REFERENCE, name)))
        f = np.array(self.d["frequencies_hz"])
        self.keep = f >= lowest
        self.f, self.noise, self.rng = f[self.keep], noise, np.random.default_rng(seed)
        self.switch = [complex_of(self.d["switch_terms"][w])[self.keep] for w in ("forward", "reverse")] if "switch_terms" in self.d else None
        self.devices = {n: self.raw(x["raw"]) for n, x in self.d["dut"].items()}

    def raw(self, values):
        s = matrices(values)[self.keep]
        return s + self.noise * (self.rng.standard_normal(s.shape) + 1j * self.rng.standard_normal(s.shape))

    def s(self, values):
        return matrices(values)[self.keep]

    def truth(self, key):
        return {n: matrices(x[key])[self.keep] for n, x in self.d["dut"].items()}

    def networks(self, *many):
        return [network(self.f, s) for s in many]

    def switch_networks(self):
        return self.networks(*self.switch)


def write(folder, name, ntwk):
    """17 digits, so that nothing is lost on the way"""
    ntwk.write_touchstone(filename=name.rsplit(".", 1)[0], dir=folder, form="ri", format_spec_A="{:.17g}", format_spec_B="{:.17g}", format_spec_freq="{:.17g}")


def tipplane(folder, *words):
    p = subprocess.run([PROGRAM, *words], capture_output=True, text=True, cwd=folder)
    if p.returncode:
        raise RuntimeError(p.stderr.strip())
    return p.stdout


def ours(case, standards, calibration, switch=True):
    """standards: dicts as in a plan, with `raw` and perhaps `ideal` as arrays; the corrected devices, and the diagnosis"""
    with tempfile.TemporaryDirectory() as folder:
        listed = []
        for s in standards:
            s = dict(s)
            write(folder, s["name"] + ".s2p", network(case.f, s.pop("raw")))
            if "ideal" in s:
                write(folder, s["name"] + "_ideal.s2p", network(case.f, s["ideal"]))
                s["ideal"] = s["name"] + "_ideal.s2p"
            listed.append({**s, "file": s["name"] + ".s2p"})
        plan = {"standards": listed, "calibration": calibration}
        if switch and case.switch:
            for word, values in zip(("forward", "reverse"), case.switch):
                write(folder, word + ".s1p", network(case.f, values))
            plan["switch_terms"] = {"forward": "forward.s1p", "reverse": "reverse.s1p"}
        json.dump(plan, open(os.path.join(folder, "plan.json"), "w"))
        diagnosis = json.loads(tipplane(folder, "solve", "plan.json", "--out", "terms.json", "--json"))["diagnosis"]
        for n, raw in case.devices.items():
            write(folder, n + ".s2p", network(case.f, raw))
        told = json.loads(tipplane(folder, "correct", "--terms", "terms.json", *[n + ".s2p" for n in case.devices], "--json"))
        got = {}
        for n, x in zip(case.devices, told["files"]):
            got[n] = np.array([complex_of(x[k]) for k in ("s11", "s12", "s21", "s22")]).T.reshape(-1, 2, 2)
        return got, diagnosis


def worst(a, b):
    return max(float(np.max(np.abs(a[n] - b[n]) / np.maximum(1, np.abs(b[n])))) for n in a)


def judge(what, case, got, cal, truth, limit, why, weaker=None):
    """limit: of the difference between the two; weaker: instead of our distance from the truth, which must not be clearly more than theirs"""
    global failed
    other = {n: cal.apply_cal(network(case.f, raw)).s for n, raw in case.devices.items()} if cal is not None else None
    between = worst(got, other) if other else float("nan")
    own, their = worst(got, truth), worst(other, truth) if other else float("nan")
    ok = own <= min(limit, 1.2 * their) if weaker else between <= limit
    failed += not ok
    rows.append((ok, what, between, own, their, limit, why if not weaker else weaker))


def lumped():
    for noise, label in ((0, ""), (1e-3, ", noisy")):
        case = Case("cal_solt.json", noise=noise)
        names = ("open", "short", "load", "thru")
        raw = {n: case.raw(case.d["standards"][n]["raw"]) for n in names}
        ideal = {n: case.s(case.d["standards"][n]["ideal"]) for n in names}
        got, _ = ours(case, [{"name": n, "kind": n, "raw": raw[n], "ideal": ideal[n]} for n in names], {"method": "solt"}, switch=False)
        cal = theirs.SOLT(measured=case.networks(*raw.values()), ideals=case.networks(*ideal.values()), n_thrus=1, self_calibration=False)
        judge("SOLT" + label, case, got, cal, case.truth("true"), 1e-10, "one solution of one set of equations")

        if not noise:  # with noise both weigh the equations in their own way
            got, _ = ours(case, [{"name": n, "kind": n, "raw": raw[n], "ideal": ideal[n]} for n in names], {"method": "known_standards"})
            cal = theirs.EightTerm(measured=case.networks(*raw.values()), ideals=case.networks(*ideal.values()), switch_terms=case.switch_networks() if case.switch else None)
            judge("known standards, eight terms", case, got, cal, case.truth("true"), 1e-10, "exact data, one solution")

        case = Case("cal_solr.json", noise=noise)
        raw = {n: case.raw(case.d["standards"][n]["raw"]) for n in ("open", "short", "load", "unknown_thru")}
        for n in ("open", "short", "load"):
            raw[n][:, 0, 1] = raw[n][:, 1, 0] = 0  # whether switch terms are removed from reflections changes nothing then
        ideal = {n: case.s(case.d["standards"][n]["ideal"]) for n in ("open", "short", "load")}
        standards = [{"name": n, "kind": "thru" if n == "unknown_thru" else n, "raw": raw[n], **({"ideal": ideal[n]} if n in ideal else {})} for n in raw]
        got, _ = ours(case, standards, {"method": "unknown_thru", "thru_delay_s": case.d["delay_guess_s"]})
        guess = through(np.exp(-2j * np.pi * case.f * case.d["delay_guess_s"]))
        cal = theirs.UnknownThru(measured=case.networks(*raw.values()), ideals=case.networks(*ideal.values(), guess), switch_terms=case.switch_networks())
        judge("unknown thru" + label, case, got, cal, case.truth("true"), 1e-10, "one solution of one set of equations")

        case = Case("cal_16term.json", noise=noise)
        names = list(case.d["standards"])
        raw = {n: case.raw(case.d["standards"][n]["raw"]) for n in names}
        ideal = {n: case.s(case.d["standards"][n]["ideal"]) for n in names}
        got, _ = ours(case, [{"name": n, "kind": "known", "raw": raw[n], "ideal": ideal[n]} for n in names], {"method": "sixteen_term"})
        cal = theirs.SixteenTerm(measured=case.networks(*raw.values()), ideals=case.networks(*ideal.values()), switch_terms=case.switch_networks())
        if noise:
            judge("sixteen terms, eight standards" + label, case, got, cal, case.truth("true"), 0.05, "", weaker="other weights of the same equations: each lies near the truth, not near the other")
        else:
            judge("sixteen terms, eight standards", case, got, cal, case.truth("true"), 1e-10, "exact data, one solution")


def one_port():
    """reflections: three standards, and all five by least squares"""
    global failed
    d = json.load(open(os.path.join(REFERENCE, "cal_oneport.json")))
    f, kinds = d["frequencies_hz"], {"open": "open", "short": "short", "load": "load", "offset_short_2ps": "short", "offset_open_3ps": "open"}
    rng = np.random.default_rng(11)
    for names, noise in ((("open", "short", "load"), 0), (("open", "short", "load"), 1e-3), (tuple(kinds), 0)):
        raw = {n: complex_of(d["standards"][n]["raw"]) + noise * rng.standard_normal(len(f)) for n in names}
        ideal = {n: complex_of(d["standards"][n]["ideal"]) for n in names}
        device = d["dut"]["series_20ohm_60pH"]
        with tempfile.TemporaryDirectory() as folder:
            for n in names:
                write(folder, n + ".s1p", network(f, raw[n]))
                write(folder, n + "_ideal.s2p", network(f, diagonal(ideal[n])))
            write(folder, "device.s1p", network(f, complex_of(device["raw"])))
            plan = {"standards": [{"name": n, "kind": kinds[n], "file_1": n + ".s1p", "file_2": n + ".s1p", "ideal": n + "_ideal.s2p"} for n in names], "calibration": {"method": "sol"}}
            json.dump(plan, open(os.path.join(folder, "plan.json"), "w"))
            tipplane(folder, "solve", "plan.json", "--out", "terms.json")
            got = complex_of(json.loads(tipplane(folder, "correct", "--terms", "terms.json", "device.s1p", "--json"))["files"][0]["s11"])
        cal = theirs.OnePort(measured=[network(f, raw[n]) for n in names], ideals=[network(f, ideal[n]) for n in names], is_reciprocal=False)
        other, truth = cal.apply_cal(network(f, complex_of(device["raw"]))).s[:, 0, 0], complex_of(device["true"])
        between, own, their = (float(np.abs(a - b).max()) for a, b in ((got, other), (got, truth), (other, truth)))
        ok = between <= 1e-10
        failed += not ok
        rows.append((ok, "one port, %d standards%s" % (len(names), ", noisy" if noise else ""), between, own, their, 1e-10, "one solution of one set of equations"))


def halves():
    """a thru taken as a lumped pi or tee"""
    global failed
    with open(os.path.join(REFERENCE, "deembed.csv")) as file:
        table = [r.split(",") for r in file if not r.startswith("#")][1:]
    for method, cls in (("thru_pi", skrf.calibration.deembedding.SplitPi), ("thru_tee", skrf.calibration.deembedding.SplitTee)):
        f = sorted({float(r[1]) for r in table if r[0] == "thru_half" and float(r[1]) > 1e6})
        nets = {}
        for what in ("measured", "thru", "device"):
            s = np.zeros((len(f), 2, 2), complex)
            for r in table:
                if r[0] == "thru_half" and r[2] == what and float(r[1]) in f:
                    s[f.index(float(r[1])), int(r[3]) - 1, int(r[4]) - 1] = complex(float(r[5]), float(r[6]))
            nets[what] = network(f, s)
        with tempfile.TemporaryDirectory() as folder:
            for what, n in nets.items():
                write(folder, what + ".s2p", n)
            told = json.loads(tipplane(folder, "deembed", "--method", method, "--thru", "thru.s2p", "measured.s2p", "--json"))
            told = told["files"][0] if "files" in told else told
        got = np.array([complex_of(told[k]) for k in ("s11", "s12", "s21", "s22")]).T.reshape(-1, 2, 2)
        other = cls(dummy_thru=nets["thru"]).deembed(nets["measured"]).s
        between, own, their = (float(np.abs(a - b).max()) for a, b in ((got, other), (got, nets["device"].s), (other, nets["device"].s)))
        if method == "thru_tee":  # the file's halves are lumped pis
            own = their = float("nan")
        ok = between <= 1e-10
        failed += not ok
        rows.append((ok, "de-embedding by %s" % method, between, own, their, 1e-10, "one formula; differences of numbers that are alike to a few digits"))


def lines():
    for noise, label in ((0, ""), (1e-4, ", noisy")):
        case = Case("cal_trl.json", lowest=1e9 if not noise else 10e9, noise=noise)  # 250 um are half a degree at 1 GHz: noise alone
        d = case.d
        raw = {n: case.raw(x["raw"]) for n, x in d["lines"].items()}
        reflect = case.raw(d["reflect"]["raw"])
        lengths = [x["length_m"] for x in d["lines"].values()]
        standards = [{"name": n, "kind": "line", "raw": raw[n], "model": {"length_um": l * 1e6}} for n, l in zip(raw, lengths)] + [{"name": "reflect", "kind": "reflect", "raw": reflect}]
        half = lengths[0] / 2
        calibration = {"eps_eff": d["eps_eff_at_10GHz"][0], "reflect_estimate": -1, "reflect_offset_um": -half * 1e6}
        gamma = complex_of(d["gamma_per_m"])[case.keep]
        got, _ = ours(case, standards, {"method": "trl", **calibration})
        middle = {n: shift(case.s(x["true_Zc"]), gamma, half) for n, x in d["dut"].items()}
        line = through(np.exp(-gamma * (lengths[1] - lengths[0])))
        estimate = diagonal(-np.exp(2 * gamma * half))
        measured = list(raw.values())
        cal = theirs.TRL(measured=case.networks(measured[0], reflect, measured[1]), ideals=[None, network(case.f, estimate), network(case.f, line)], switch_terms=case.switch_networks())
        judge("TRL" + label, case, got, cal, middle, 1e-9 if not noise else 1e-3, "exact: rounding times 1/sin(phase)" if not noise else "from 10 GHz; two ways of leaving out the redundant number, apart by some of the noise")

        case = Case("cal_mtrl.json", lowest=1e9, noise=noise)
        d = case.d
        raw = {n: case.raw(x["raw"]) for n, x in d["lines"].items()}
        reflect = case.raw(d["reflect"]["raw"])
        lengths = [x["length_m"] for x in d["lines"].values()]
        standards = [{"name": n, "kind": "line", "raw": raw[n], "model": {"length_um": l * 1e6}} for n, l in zip(raw, lengths)] + [{"name": "reflect", "kind": "reflect", "raw": reflect}]
        gamma = complex_of(d["gamma_per_m"])[case.keep]
        middle = {n: shift(case.s(x["true_Zc"]), gamma, half) for n, x in d["dut"].items()}
        got, _ = ours(case, standards, {"method": "multiline_trl", **calibration})
        measured = list(raw.values())
        cal = theirs.NISTMultilineTRL(measured=case.networks(measured[0], reflect, *measured[1:]), l=[l - lengths[0] for l in lengths], Grefls=[-1], refl_offset=[-half], er_est=5.7 - 0.1j, switch_terms=case.switch_networks())
        cal.run()
        judge("multiline TRL, six lines" + label, case, got, cal, middle, 1e-9 if not noise else 0.1 * noise, "exact: rounding" if not noise else "the same weights; the rest is of second order in the noise")
        tug = theirs.TUGMultilineTRL(line_meas=case.networks(*measured), line_lengths=lengths, er_est=5.7 - 0.1j, reflect_meas=[network(case.f, reflect)], reflect_est=[-1], reflect_offset=[-half], ref_plane=half, switch_terms=case.switch_networks())
        judge("multiline TRL against the eigenvalue way" + label, case, got, tug, middle, 1e-9 if not noise else 20 * noise, "exact: rounding" if not noise else "another estimator: both lie within the noise of the truth")


def shift(s, gamma, l):
    """planes from the tips to the middle of the first line, l further in"""
    return s * np.exp(2 * gamma * l)[:, None, None]


def matched():
    for noise, label in ((0, ""), (1e-3, ", noisy")):
        case = Case("cal_lrm.json", noise=noise)
        d = case.d
        ones = np.ones(len(case.f))
        thru, known = case.s(d["thru"]["ideal"]), complex_of(d["match_known"]["ideal"])[case.keep]
        raw_thru, raw_reflect = case.raw(d["thru"]["raw"]), case.raw(d["reflect"]["raw"])
        for what, match, ideal in (("LRM, 50 ohm match", case.raw(d["match_50"]["raw"]), 0 * ones), ("LRM, known match", case.raw(d["match_known"]["raw"]), known)):
            standards = [{"name": "thru", "kind": "thru", "raw": raw_thru, "ideal": thru}, {"name": "reflect", "kind": "reflect", "raw": raw_reflect}, {"name": "match", "kind": "load", "raw": match, "ideal": diagonal(ideal)}]
            got, _ = ours(case, standards, {"method": "lrm", "reflect_estimate": 1})
            cal = theirs.LRM(measured=case.networks(raw_thru, raw_reflect, match), ideals=case.networks(thru, diagonal(ones), diagonal(ideal)), switch_terms=case.switch_networks())
            judge(what + label, case, got, cal, case.truth("true"), 1e-10, "one solution of one set of equations")

        case = Case("cal_lrrm.json", noise=noise)
        d = case.d
        thru, ohm = case.s(d["thru"]["ideal"]), d["match_port1"]["R_ohm"]
        raw = {n: case.raw(d[n]["raw"]) for n in ("thru", "open", "short", "match_port1")}
        standards = [{"name": "thru", "kind": "thru", "raw": raw["thru"], "ideal": thru}, {"name": "open", "kind": "open", "raw": raw["open"]}, {"name": "short", "kind": "short", "raw": raw["short"]},
                     {"name": "match", "kind": "load", "raw": raw["match_port1"], "model": {"r_ohm": ohm}}]
        got, diagnosis = ours(case, standards, {"method": "lrrm"})
        cal = theirs.LRRM(measured=case.networks(raw["thru"], raw["short"], raw["open"], raw["match_port1"]), ideals=case.networks(thru, diagonal(-ones), diagonal(ones), diagonal((ohm - 50) / (ohm + 50) * ones)),
                          switch_terms=case.switch_networks(), match_fit="l")
        judge("LRRM, the match's inductance found" + label, case, got, cal, case.truth("true"), 1e-9 if not noise else 0.2, "exact data; scikit-rf's search for the inductance stops where its tolerance lets it",
              weaker=None if not noise else "one inductance from twelve noisy opens, weighted in two ways: judged by the truth, and no further from it than scikit-rf")


def touchstone():
    """scikit-rf writes, we convert, scikit-rf reads: what comes out must be what went in"""
    global failed
    rng = np.random.default_rng(11)
    for ports in (1, 2, 3, 4, 9):
        s = rng.standard_normal((20, ports, ports)) + 1j * rng.standard_normal((20, ports, ports))
        n = network(np.linspace(1e8, 1e11, 20), s)
        with tempfile.TemporaryDirectory() as folder:
            for version in ("1.0", "2.0", "2.1"):
                for form in ("ri", "ma", "db"):
                    more = {} if version == "1.0" else {"version": version}
                    text = n.write_touchstone(filename="x", return_string=True, form=form, format_spec_A="{:.17g}", format_spec_B="{:.17g}", format_spec_freq="{:.17g}", **more)
                    name = "x.s%dp" % ports if version == "1.0" else "x.ts"
                    open(os.path.join(folder, name), "w").write(text)
                    worst_here = 0
                    for as_version, back in (("1.0", "y.s%dp" % ports), ("2.0", "y.ts"), ("2.1", "z.ts")):
                        tipplane(folder, "touchstone", name, "--as", as_version, "--out", back)
                        got = skrf.Network(os.path.join(folder, back))
                        worst_here = max(worst_here, float(np.abs(got.s - s).max()), float(np.abs(got.f / n.f - 1).max()))
                    limit = 1e-15 if form == "ri" else 1e-14
                    ok = worst_here <= limit
                    failed += not ok
                    if not ok or (version == "2.1" and form == "db"):
                        rows.append((ok, "Touchstone %s in %s, %d ports, converted" % (version, form, ports), worst_here, float("nan"), float("nan"), limit, "17 digits; angles and decibels round"))
                    else:
                        rows.append((ok, None, worst_here, 0, 0, limit, ""))


def hybrid():
    """Z, Y, H and G of scikit-rf's own making in two unlike references, written here as version 2: what tipplane takes for their S"""
    global failed
    rng = np.random.default_rng(13)
    f = np.linspace(1e9, 4e10, 20)
    s = 0.5 * (rng.standard_normal((20, 2, 2)) + 1j * rng.standard_normal((20, 2, 2)))
    with tempfile.TemporaryDirectory() as folder:
        for z in ((50.0, 50.0), (75.0, 20.0)):
            n = network(f, s, z0=z)
            want = n.copy()
            want.renormalize(50)
            write(folder, "want.s2p", want)
            for parameter, x in (("Z", n.z), ("Y", n.y), ("H", n.h), ("G", n.g)):
                text = "[Version] 2.1\n# Hz %s RI\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 20\n[Reference] %r %r\n[Network Data]\n" % (parameter, *z)
                text += "".join("%.17g %s\n" % (hz, " ".join("%.17g %.17g" % (v.real, v.imag) for v in m.ravel())) for hz, m in zip(f, x))
                open(os.path.join(folder, "x.ts"), "w").write(text + "[End]\n")
                told = json.loads(tipplane(folder, "compare", "want.s2p", "x.ts", "--json"))
                ok = told["all"]["worst"] <= 1e-12
                failed += not ok
                rows.append((ok, "%s of scikit-rf, %g and %g ohm, to S in 50 ohm" % (parameter, *z), told["all"]["worst"], float("nan"), float("nan"), 1e-12, "rounding through matrices of some hundreds"))


def modes():
    """the differential and the common two-port of a random four-port: --modes against se2gmm, and against its file in mixed modes"""
    global failed
    rng = np.random.default_rng(19)
    f = np.linspace(1e9, 4e10, 20)
    n = network(f, 0.4 * (rng.standard_normal((20, 4, 4)) + 1j * rng.standard_normal((20, 4, 4))))
    mixed = n.copy()
    mixed.se2gmm(p=2)  # pairs of ports 1, 2 and 3, 4; D D C C
    with tempfile.TemporaryDirectory() as folder:
        write(folder, "four.s4p", n)
        text = "[Version] 2.1\n# Hz S RI\n[Number of Ports] 4\n[Number of Frequencies] 20\n[Reference] 50 50 50 50\n[Mixed-Mode Order] D1,2 D3,4 C1,2 C3,4\n[Network Data]\n"
        text += "".join("%.17g %s\n" % (hz, "\n".join(" ".join("%.17g %.17g" % (v.real, v.imag) for v in row) for row in m)) for hz, m in zip(f, mixed.s))
        open(os.path.join(folder, "mixed.ts"), "w").write(text + "[End]\n")
        for word, at, z in (("D1,2:D3,4", [0, 1], 100), ("C1,2:C3,4", [2, 3], 25)):
            write(folder, "want.s2p", network(f, mixed.s[np.ix_(range(20), at, at)], z0=z))
            for name in ("four.s4p", "mixed.ts"):
                # the same; what is drawn anew at each frequency looks like noise, so how well it is known is stated
                got = json.loads(tipplane(folder, "extract", "--quantity", "S11_dB,S21_dB,S12_dB,S22_dB", "--modes", word, name, "--u", "1e-12", "--json"))["files"][0]["quantities"]
                want = json.loads(tipplane(folder, "extract", "--quantity", "S11_dB,S21_dB,S12_dB,S22_dB", "want.s2p", "--u", "1e-12", "--json"))["files"][0]["quantities"]
                worst_here = max(abs(x - y) for a, b in zip(got, want) for x, y in zip(a["value"], b["value"]))
                inductance = [json.loads(tipplane(folder, "extract", "--quantity", "Lser", *more, "--u", "1e-12", "--json"))["files"][0]["quantities"][0]["value"] for more in (("--modes", word, name), ("want.s2p",))]
                worst_here = max(worst_here, max(abs(x / y - 1) for x, y in zip(*inductance)))
                ok = worst_here <= 1e-10
                failed += not ok
                rows.append((ok, "modes %s of %s" % (word, name), worst_here, float("nan"), float("nan"), 1e-10, "dB of each S, and an inductance"))
        direct = json.loads(tipplane(folder, "compare", "four.s4p", "mixed.ts", "--json"))["all"]["worst"]
        failed += not direct <= 1e-14
        rows.append((direct <= 1e-14, "mixed modes of scikit-rf back to four ports", direct, float("nan"), float("nan"), 1e-14, "an orthonormal mixing"))


class Analyzer:
    """N ports, an error box and a termination each; b0 = [E00 + E01 S (1 - E11 S)^-1 E10] a0"""

    def __init__(self, ports, f, rng):
        turn = lambda size: size * np.exp(2j * np.pi * (rng.random(ports)[None, :] - f[:, None] * rng.uniform(5e-12, 40e-12, ports)[None, :]))
        self.e00, self.e11, self.e10, self.e01, self.g = (turn(size) for size in (0.1, 0.15, 0.8, 0.7, 0.08))

    def raw(self, s, at):
        d = lambda e: np.einsum("fi,ij->fij", e[:, at], np.eye(len(at)))
        m = d(self.e00) + d(self.e01) @ s @ np.linalg.inv(np.eye(len(at)) - d(self.e11) @ s) @ d(self.e10)
        out = np.zeros_like(m)
        for j in range(len(at)):
            g = self.g[:, at].copy()
            g[:, j] = 0
            out[:, :, j] = (np.linalg.inv(np.eye(len(at)) - m @ np.einsum("fi,ij->fij", g, np.eye(len(at)))) @ m)[:, :, j]
        return out


def multiport():
    """three and four ports by two-port steps that share port 1: the only way that scikit-rf knows"""
    f = np.linspace(1e9, 4e10, 21)
    standards = {"open": diagonal(np.exp(-1e-11j * f)), "short": diagonal(-np.exp(-8e-12j * f)), "load": diagonal(0.02 + 0j * f), "thru": through(np.exp(-2j * np.pi * f * 1.2e-12))}
    for ports in (3, 4):
        for method in ("solt", "unknown_thru"):
            for noise in (0, 1e-3):
                rng = np.random.default_rng(17)
                a = Analyzer(ports, f, rng)
                noisy = lambda s: s + noise * (rng.standard_normal(s.shape) + 1j * rng.standard_normal(s.shape))
                truth = 0.4 * (rng.standard_normal((len(f), ports, ports)) + 1j * rng.standard_normal((len(f), ports, ports)))
                dut, steps, cals = noisy(a.raw(truth, list(range(ports)))), [], {}
                with tempfile.TemporaryDirectory() as folder:
                    for q in range(1, ports):
                        raw = {n: noisy(a.raw(s, [0, q])) for n, s in standards.items()}
                        switch = [noisy(a.g[:, q]), noisy(a.g[:, 0])]  # forward: what port q reflects while port 1 is driven
                        if method == "unknown_thru":
                            for n in ("open", "short", "load"):
                                raw[n][:, 0, 1] = raw[n][:, 1, 0] = 0  # whether switch terms are removed from reflections changes nothing then
                        listed = []
                        for n in raw:
                            write(folder, "%s%d.s2p" % (n, q), network(f, raw[n]))
                            write(folder, "%s_ideal.s2p" % n, network(f, standards[n]))
                            listed.append({"name": n, "kind": n, "file": "%s%d.s2p" % (n, q), **({} if method == "unknown_thru" and n == "thru" else {"ideal": "%s_ideal.s2p" % n})})
                        plan = {"standards": listed, "calibration": {"method": method, **({"thru_delay_s": 1.2e-12} if method == "unknown_thru" else {})}}
                        measured, ideals = [network(f, r) for r in raw.values()], [network(f, s) for s in standards.values()]
                        if method == "unknown_thru":
                            for word, values in zip(("forward", "reverse"), switch):
                                write(folder, "%s%d.s1p" % (word, q), network(f, values))
                            plan["switch_terms"] = {"forward": "forward%d.s1p" % q, "reverse": "reverse%d.s1p" % q}
                            cals[(0, q)] = {"method": theirs.UnknownThru, "measured": measured, "ideals": ideals, "switch_terms": [network(f, w) for w in switch]}
                        else:
                            cals[(0, q)] = {"method": theirs.SOLT, "measured": measured, "ideals": ideals, "n_thrus": 1, "self_calibration": False}
                        json.dump(plan, open(os.path.join(folder, "plan%d.json" % q), "w"))
                        steps.append({"port_1": 1, "port_2": q + 1, "plan": "plan%d.json" % q})
                    json.dump({"ports": ports, "steps": steps}, open(os.path.join(folder, "all.json"), "w"))
                    tipplane(folder, "solve", "all.json", "--out", "terms.json")
                    write(folder, "dut.s%dp" % ports, network(f, dut))
                    told = json.loads(tipplane(folder, "correct", "--terms", "terms.json", "dut.s%dp" % ports, "--json"))["files"][0]
                got = np.array([complex_of(told["s%d%d" % (i + 1, j + 1)]) for i in range(ports) for j in range(ports)]).T.reshape(-1, ports, ports)
                cal = theirs.MultiportCal(cals)
                cal.run()
                case = types.SimpleNamespace(devices={"dut": dut}, f=f)
                judge("%d ports by steps of %s%s" % (ports, method, ", noisy" if noise else ""), case, {"dut": got}, cal, {"dut": truth}, 1e-10 if not noise else 0.1, "exact data, one solution",
                      weaker=None if not noise else "a port in several steps: the mean here, one of them there; judged by the truth, and no further from it than scikit-rf")


def main():
    lumped()
    one_port()
    halves()
    hybrid()
    modes()
    multiport()
    touchstone()
    lines()
    matched()
    print("scikit-rf %s and tipplane over the same raw files: worst |difference| of corrected devices / max(1, |S|)" % skrf.__version__)
    print("  %-48s %9s %9s %9s   %s" % ("", "between", "ours-true", "their-true", "limit"))
    for ok, what, between, own, their, limit, why in rows:
        if what is None:
            continue
        print("  %s %-46s %9.1e %9.1e %9.1e   %.0e  (%s)" % ("ok " if ok else "BAD", what, between, own, their, limit, why))
    print("%d passed, %d failed, 0 skipped" % (len(rows) - failed, failed))
    return failed != 0


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
"""What is not known exactly, over files: solve, correct, deembed, extract with the real program and no daemon.

offline_uncertainty.py [--build DIR] [--print] [--draws N]
Closed forms: the columns of a SOL and a TRL calibration, through the documents, against tests/reference/uncertainty.json and Lagrange
interpolation.  Draws: whole calibrations with standards, touches and noise drawn by a made-up analyzer of this file's own; how often the
half widths hold what was put in.
"""
import cmath, json, math, os, random, sys
from offline_kit import *

C0 = 299792458.0


def document(d, name):
    with open(d.at(name)) as f:
        return json.load(f)


def at(cause, word, i):
    column = cause["s"].get(word)
    return complex(column["re"][i], column["im"][i]) if column else 0j


def size(causes, word, i):
    """of circular causes"""
    return math.sqrt(sum(abs(at(c, word, i)) ** 2 for c in causes))


# ---- closed forms ------------------------------------------------------------------------------------------------------------------------


def open_short_load(d):
    """RF: dG = sum dG_i prod (G - G_j)/(G_i - G_j); the derivatives of another program at 110 GHz"""
    j, u = reference("cal_oneport.json"), reference("uncertainty.json")["sol_110GHz"]
    hz, is_, i110 = j["frequencies_hz"], j["standard_definitions"], 8
    names = ("open", "short", "load")
    for n in names:
        d.s2p(n + ".s2p", hz, [[c(x), 0j, 0j, c(x)] for x in j["standards"][n]["raw"]])
    raw = [c(x) for x in next(iter(j["dut"].values()))["raw"]]
    d.s2p("device.s2p", hz, [[m, 0j, 0j, m] for m in raw])
    u_c, u_l, u_r, u_ll, r, l = 3e-16, 4e-13, 0.2, 6e-13, 0.01, 2e-13
    models = {"open": {"c_f": [is_["open_C_farad"], 0, 0, 0], "u_c_f": u_c}, "short": {"l_h": [is_["short_L_henry"], 0, 0, 0], "u_l_h": u_l},
              "load": {"r_ohm": is_["load_R_ohm"], "l_h": [is_["load_L_henry"], 0, 0, 0], "u_r_ohm": u_r, "u_l_h": u_ll}}
    plan = {"standards": [{"name": n, "kind": n, "file": n + ".s2p", "raised": n == "open", "model": models[n]} for n in names],
            "noise_floor_u": u["u_raw_circular"], "noise_freedom": 9, "contact_ohm_u": r, "contact_h_u": l, "placement_um_u": 2, "calibration": {"method": "sol"}}
    told = d.json("solve", d.plan("sol.json", **plan), "--out", "terms.json")
    check("what is stated is counted, and only that", told and told["diagnosis"]["not_counted"] == [] and len(told["diagnosis"]["causes"]) == 28, told and told["diagnosis"])
    rc, out, err = d.run("correct", "--terms", "terms.json", "device.s2p", "--out", "tip.s2p")
    check("sol: corrected", rc == 0, err)
    doc = document(d, "tip.u.json")
    causes = {x["name"]: x for x in doc["causes"]}
    gamma = {n: [c(x) for x in j["standards"][n]["ideal"]] for n in names}
    series = lambda g, z: (1 - g) ** 2 / 100 * z
    shunt = lambda g, y: -(1 + g) ** 2 * 25 * y
    got_hz, tip = read_s2p(d.at("tip.s2p"))
    worst = 0
    for i, f in enumerate(hz):
        w, g = 2 * math.pi * f, tip[i][0]
        theta = 1j * w * math.sqrt(5.3) / C0 * 2e-6 / math.sqrt(2)
        L = {n: math.prod((g - gamma[m][i]) / (gamma[n][i] - gamma[m][i]) for m in names if m != n) for n in names}
        # a definition moves what is believed, a touch what is read: the other sign
        want = {"open: C0": L["open"] * shunt(gamma["open"][i], 1j * w * u_c), "short: L0": L["short"] * series(gamma["short"][i], 1j * w * u_l),
                "load: R": L["load"] * series(gamma["load"][i], u_r), "load: L0": L["load"] * series(gamma["load"][i], 1j * w * u_ll),
                "short: touch R": -L["short"] * series(gamma["short"][i], r), "load: touch L": -L["load"] * series(gamma["load"][i], 1j * w * l),
                "load: place": 2 * L["load"] * theta * gamma["load"][i], "own: touch R": series(g, r), "own: place": -2 * theta * g}
        for name, value in want.items():
            for port, word in ((1, "s11"), (2, "s22")):
                worst = max(worst, abs(at(causes["%s, port %d" % (name, port)], word, i) - value) / max(1e-6, abs(value)))
    within("sol: each cause is Lagrange's polynomial, at all frequencies", worst, 2e-6)  # central differences of two steps
    d_ideal = [c(x) for x in u["dG_dIdeal"]]
    w, g = 2 * math.pi * hz[i110], gamma["load"][i110]
    within("sol: dG/d(ideal of the load) at 110 GHz", abs(at(causes["load: R, port 1"], "s11", i110) / series(g, u_r) - d_ideal[2]), 1e-6)
    for k, n in enumerate(names):
        within("sol: dG/d(reading of the %s)" % n, abs(abs(at(causes["%s: noise, S11" % n], "s11", i110)) / u["u_raw_circular"] / abs(c(u["dG_dRawStandard"][k])) - 1), 1e-6)
    noise = [x for x in doc["causes"] if x["kind"] == "noise"]
    within("sol: noise of all four readings together", abs(size(noise, "s11", i110) / u["u_from_noise"] - 1), 1e-6)
    check("noise has its degrees of freedom, and nothing else has", all((x["freedom"] == 9) == (x["kind"] == "noise") for x in doc["causes"]), doc["causes"][0])
    check("drift is named as not counted", doc["not_counted"] == ["drift since the calibration"], doc["not_counted"])


def lines(d):
    """all 16 raw S with noise of 1e-3: the published Jacobian's u"""
    j, u = reference("cal_trl.json"), reference("uncertainty.json")["trl_54GHz"]
    hz, sw = j["frequencies_hz"], j["switch_terms"]

    def bare(m, i):
        f, r = c(sw["forward"][i]), c(sw["reverse"][i])
        n = 1 - m[1] * m[2] * f * r
        return [(m[0] - m[1] * m[2] * f) / n, (m[1] - m[0] * m[1] * r) / n, (m[2] - m[3] * m[2] * f) / n, (m[3] - m[1] * m[2] * r) / n]

    write = lambda name, rows: d.s2p(name + ".s2p", hz, [bare(matrix(m), i) for i, m in enumerate(rows)])
    for n, x in j["lines"].items():
        write(n, x["raw"])
    write("reflect", j["reflect"]["raw"])
    write("device", j["dut"]["inductor"]["raw"])
    standards = [{"name": n, "kind": "line", "file": n + ".s2p", "model": {"length_um": x["length_m"] * 1e6, "u_length_um": 1}} for n, x in j["lines"].items()]
    plan = {"standards": standards + [{"name": "reflect", "kind": "reflect", "file": "reflect.s2p"}], "noise_floor_u": 1e-3,
            "calibration": {"method": "trl", "eps_eff": 5.7, "reflect_estimate": -1, "reflect_offset_um": -100, "plane": "line_middle"}}
    told = d.json("solve", d.plan("trl.json", **plan), "--out", "terms.json")
    rc, out, err = d.run("correct", "--terms", "terms.json", "device.s2p", "--out", "middle.s2p")
    check("trl: corrected", rc == 0, err)
    doc = document(d, "middle.u.json")
    noise = [x for x in doc["causes"] if x["kind"] == "noise"]
    i = hz.index(54e9)
    worst = max(abs(size(noise, word, i) / want - 1) for word, want in zip(("s11", "s12", "s21", "s22"), u["u_linear_per_component"]))
    within("trl: noise of 14 raw S that the solution and the device read, per S", worst, 1e-6)
    check("trl: the reference is the line's own", doc["z_ref_ohm"] is None and doc["plane"] == "line_middle", doc["z_ref_ohm"])
    check("trl: a line's length does nothing in the middle of the first line", not any(x["kind"] == "length" and size([x], "s21", i) > 1e-8 for x in doc["causes"]), [x["name"] for x in doc["causes"]])
    check("trl: what is not stated is named", told and "contact" in told["diagnosis"]["not_counted"] and "placement" in told["diagnosis"]["not_counted"], told and told["diagnosis"])


if __name__ == "__main__":
    sys.exit(run(open_short_load, lines))

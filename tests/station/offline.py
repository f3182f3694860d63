#!/usr/bin/env python3
"""The commands that work on files, with the real program and no daemon: solve and correct, and what each command refuses.

offline.py [--build DIR] [--print]       --print shows every sentence and every worst difference
The check files of tests/reference are written as Touchstone files, the commands run, and the answers held against the check files; then
bad files and plans: each must give one sentence that names the file and the value.
"""
import json, math, os
from offline_kit import *


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


def exchanged(d):
    """readings the wrong way round are named"""
    j = reference("cal_mtrl.json")
    hz, names = j["frequencies_hz"], list(j["lines"])
    raw = {**{n: [matrix(r) for r in x["raw"]] for n, x in j["lines"].items()}, "reflect": [matrix(r) for r in j["reflect"]["raw"]]}
    write_case(d, j, {}, {})
    standards = [{"name": n, "kind": "line", "file": n + ".s2p", "model": {"length_um": x["length_m"] * 1e6}} for n, x in j["lines"].items()] + [{"name": "reflect", "kind": "reflect", "file": "reflect.s2p"}]
    calibration = {"method": "multiline_trl", "eps_eff": j["eps_eff_at_10GHz"][0], "reflect_estimate": -1, "plane": "tip"}
    plan = d.plan("exchanged.plan.json", standards=standards, switch_terms={"file": "switch.s2p"}, calibration=calibration)
    swapped = d.s2p("swapped.s2p", hz, [[0j, c(f), c(r), 0j] for f, r in zip(j["switch_terms"]["forward"], j["switch_terms"]["reverse"])])
    other = d.plan("swapped.plan.json", standards=standards, switch_terms={"file": swapped}, calibration=calibration)
    for name, file, turn, piece in (("as they are", plan, lambda s: s, None),
                                    ("S21 and S12 exchanged", plan, lambda s: [s[0], s[2], s[1], s[3]], "S21 and S12 of the readings are exchanged"),
                                    ("phasors of the other sign", plan, lambda s: [x.conjugate() for x in s], "other sign of time"),
                                    ("switch terms exchanged", other, lambda s: s, "forward and reverse switch terms are exchanged")):
        for n, rows in raw.items():
            d.s2p(n + ".s2p", hz, [turn(s) for s in rows])
        told = d.json("solve", file, "--out", "t.json")
        notes = told and " ".join(told["notes"])
        check("lines read with %s" % name, told and (piece in notes if piece else not notes), notes)
    for n, rows in raw.items():
        d.s2p(n + ".s2p", hz, rows)
    d.s2p("fet.s2p", hz, [matrix(r) for r in j["dut"]["fet"]["raw"]])
    d.s2p("fet_is.s2p", hz, [matrix(r)[::-1] for r in j["dut"]["fet"]["true_50ohm"]])  # the device the other way round
    loss = j["G_S_per_m"][0] / (2 * math.pi * hz[0] * j["C_F_per_m"])
    verify = {**calibration, "line_capacitance_f_m": j["C_F_per_m"], "line_loss_tangent": loss, "verify": [{"standard": "fet", "limit": 0.01}]}
    told = d.json("solve", d.plan("verified.plan.json", standards=standards + [{"name": "fet", "kind": "known", "file": "fet.s2p", "ideal": "fet_is.s2p"}], switch_terms={"file": "switch.s2p"}, calibration=verify), "--out", "t.json", status=(10,))
    check("a verified device with its ports exchanged", told and any(n.startswith("fet:") and "ports" in n for n in told["notes"]), told and told["notes"])


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
    check("and in words", rc == 0 and "joint 1, " in out and ": 3 points from 1 GHz to 30 GHz" in out, (rc, out, err))


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
    refused(d, "an ideal on other frequencies", ["solve", plan(change(2, ideal="short_list.s2p", model={}))], "load", "short_list.s2p", "2 frequencies")
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
    refused(d, "the same by --out", ["correct", "--common", "--terms", "terms.json", "raw.s2p", "--out", "./raw.s2p"], "raw.s2p", "replace")
    refused(d, "a second raw file in the first one's folder", ["correct", "--common", "--terms", "terms.json", "raw.s2p", "open.s2p", "--to", d.path], "raw.s2p", "replace")
    refused(d, "terms over the plan", ["solve", "g.json", "--out", "g.json"], "g.json", "replace")
    refused(d, "a result over its dummy", ["deembed", "--method", "open", "--open", "open.s2p", "raw.s2p", "--out", "open.s2p"], "open.s2p", "replace")
    refused(d, "a result in the place of a device", ["deembed", "--method", "open", "--open", "open.s2p", "raw.s2p", "--out", "/dev/stdout"], "/dev/stdout", "device or a pipe")
    refused(d, "a folder where a file is wanted", ["compare", "raw.s2p", os.makedirs(d.at("folder.s2p"), exist_ok=True) or "folder.s2p"], "folder.s2p", "directory")
    refused(d, "an empty file", ["extract", "--quantity", "Ld", d.text("empty.s2p", "")], "empty.s2p", "empty")
    dark = {"name": "thru", "kind": "thru", "file": d.s2p("dark.s2p", j["frequencies_hz"], [[s[0], 0j, 0j, s[3]] for s in map(matrix, j["standards"]["thru"]["raw"])]), "ideal": "ideal_thru.s2p"}
    refused(d, "a thru that does not transmit", ["solve", d.plan("dark.json", standards=standards[:3] + [dark], calibration={"method": "solt"}), "--out", "dark_terms.json"], "dark.json", "70000 Hz", "thru", status=1)
    check("and no terms of it are written", not os.path.exists(d.at("dark_terms.json")))
    refused(d, "a line without its length", ["solve", plan([good[3], {"name": "away", "kind": "line", "file": "thru.s2p"}, {"name": "r", "kind": "reflect", "file": "short.s2p"}], calibration={"method": "trl", "eps_eff": 5, "reflect_estimate": -1})], "p.json", "away", "length_um")
    refused(d, "a window without room", ["extract", "--quantity", "fT", "--from", "2e9", "--below", "1e9", "raw.s2p"], "--below", "1e+09 Hz")
    told = d.json("extract", "--quantity", "S21_dB,fT", "good_thru.s2p", status=(1,))
    check("a number that is nowhere does not take the others with it", told and len(told["files"][0]["quantities"][0]["value"]) == 12
          and told["files"][0]["quantities"][1]["value"] == [None] and told["files"][0]["quantities"][1]["say"], told)
    refused(d, "a window without points", ["extract", "--quantity", "fT", "--from", "5e12", "good_thru.s2p"], "good_thru.s2p", "5000 GHz", status=1)
    check("nothing half written stays behind", not [n for n in os.listdir(d.path) if n.endswith(".part") or n == "none"], os.listdir(d.path))


if __name__ == "__main__":
    raise SystemExit(run(solving, lines, exchanged, banded, matched, one_port, by_models, bad))

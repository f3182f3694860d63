#!/usr/bin/env python3
"""What is not known exactly, over files, beyond modelled standards and two-ports: whole calibrations drawn with the causes wrong, and how often
the half widths hold what was put in.

offline_uncertainty_kinds.py [--build DIR] [--print] [--draws N] [--only WORD of the parts' names]
The made-up analyzer and its devices are those of offline_uncertainty.py, written apart from the product.
"""
import offline_uncertainty as ou
import hashlib
from offline_multiport import Analyzer, ended, read_snp, snp
from offline_uncertainty import *

DRAWS = 40  # of make test; 600 take some minutes


def is_likely(k, n, p):
    """k of n, where each is by p: not among the 0.05 % at either end, by the binomial law itself, for few draws are far from normal"""
    each = [math.exp(math.lgamma(n + 1) - math.lgamma(i + 1) - math.lgamma(n - i + 1) + i * math.log(p) + (n - i) * math.log(1 - p)) for i in range(n + 1)]
    return min(sum(each[: k + 1]), sum(each[k:])) > 2.3e-4


class Tally:
    """of many draws: how often a half width holds the truth, and how far the numbers scatter in units of their u"""

    def __init__(self, name):
        self.name, self.seen = name, {}

    def add(self, key, value, u, u95, truth, model=0.0):
        """model: what of u is the model's own error, which no draw scatters"""
        if model >= u:
            return count.fail("%s: %s: the model's own error of %g is more than u %g" % (self.name, key, model, u))
        self.seen.setdefault(key, []).append((value, u, u95, truth, math.sqrt(1 - (model / u) ** 2)))

    def check(self, least):
        resolved = {k: s for k, s in self.seen.items() if sorted(2 * x[1] / abs(x[3]) for x in s)[len(s) // 2] <= 0.3}
        check("%s: %d of %d numbers are resolved" % (self.name, len(resolved), len(self.seen)), len(resolved) >= least, sorted(map(str, resolved)))
        p, all_held, all_n = 0.9545, 0, 0
        for key, s in resolved.items():
            n = sum(abs(v - t) <= h * drawn for v, u, h, t, drawn in s)
            check("%s: %s: %.1f %%" % (self.name, key, 100 * n / len(s)), is_likely(n, len(s), p), n)
            all_held, all_n = all_held + n, all_n + len(s)
            ratio = math.sqrt(sum((v - t) ** 2 for v, u, h, t, drawn in s) / len(s)) / (sum(u * drawn for v, u, h, t, drawn in s) / len(s))
            check("%s: %s scatters by %.2f u" % (self.name, key, ratio), abs(ratio - 1) <= 4 / math.sqrt(2 * len(s)) + 0.03, ratio)
        every, draws = all_held / max(1, all_n), max(map(len, self.seen.values()))
        check("%s: of %d draws of %d numbers %.1f %% lie within their half width" % (self.name, draws, len(resolved), 100 * every), abs(every - p) <= max(0.02, 2.5 * math.sqrt(p * (1 - p) / draws)), every)


def tally_chain(t, got):
    for word, (value, u, u95) in got.items():
        for i, f in enumerate(HZ):
            t.add("%s at %g GHz" % (word, f / 1e9), 1e9 if value[i] is None else value[i], u[i], u95[i], TRUTH[word](2 * math.pi * f))


# ---- standards by data -------------------------------------------------------------------------------------------------------------------

U_DATA = {"open": 0.004, "short": 0.003, "load": 0.002, "thru": 0.002}
REFLECTS = ("open", "short", "load")


def believed(n, w):
    """what the data say of a standard: S11 S12 S21 S22"""
    if n == "thru":
        e = cmath.exp(-1j * w * STANDARDS["thru"])
        return [0j, e, e, 0j]
    z = {"open": lambda: 1 / (1j * w * STANDARDS["open"]), "short": lambda: 1j * w * STANDARDS["short"], "load": lambda: STANDARDS["load"] + 1j * w * STANDARDS["load_l"]}[n]()
    return [reflection(z), 0j, 0j, reflection(z)]


def data_plan(d, method):
    """two standards by files, one by rows in the plan"""
    own = lambda n: {"data": [{"hz": f, "s11": [believed(n, 2 * math.pi * f)[0].real, believed(n, 2 * math.pi * f)[0].imag]} for f in HZ]} if n == "short" else {"ideal": "ideal_%s.s2p" % n}
    for n in U_DATA:
        d.s2p("ideal_%s.s2p" % n, HZ, [believed(n, 2 * math.pi * f) for f in HZ])
    return d.plan("plan.json", standards=[{"name": n, "kind": n, "file": n + ".s2p", "raised": n == "open", "data_u": U_DATA[n], **own(n)} for n in U_DATA],
                  contact_ohm_u=U["touch_ohm"], contact_h_u=U["touch_h"], placement_um_u=U["place_um"], noise_floor_u=U["floor"], noise_trace_u=U["trace"],
                  calibration={"method": method, "thru_delay_s": STANDARDS["thru"]})


def data_files(d, rng, wrong):
    """wrong: {(standard, entry): by how much its S differs from its data}, the same at all frequencies"""
    touches = {n: touch(rng) for n in ("short", "load", "thru", "device", "dummy_open", "dummy_short")}
    rows = {n: [] for n in list(U_DATA) + ["device", "dummy_open", "dummy_short"]}
    for f in HZ:
        w = 2 * math.pi * f
        device, o, sh = structures(w)
        for n, s in [(n, [x + wrong.get((n, e), 0) for e, x in enumerate(believed(n, w))]) for n in U_DATA] + [("device", device), ("dummy_open", o), ("dummy_short", sh)]:
            if n in ("thru", "device"):
                s = two_port_moved(s, touches[n], w)
            else:
                s = [one_port_moved(s[0], touches.get(n), 0, w), 0j, 0j, one_port_moved(s[3], touches.get(n), 1, w)]
            rows[n].append(read(s, f, rng))
    for n, r in rows.items():
        d.s2p(n + ".s2p", HZ, r)


def drawn_wrong(rng):
    z = lambda n: U_DATA[n] * complex(rng.gauss(0, 1), rng.gauss(0, 1))
    wrong = {(n, e): z(n) for n in U_DATA for e in (0, 3)}
    wrong["thru", 1] = wrong["thru", 2] = z("thru")
    return wrong


def data_drawn(d, method, draws, seed):
    rng, t = random.Random(seed), Tally("standards by data, %s" % method)
    data_plan(d, method)
    for _ in range(draws):
        data_files(d, rng, drawn_wrong(rng))
        tally_chain(t, chain(d))
    t.check(10)


def data_of_files(d):
    data_drawn(d, "unknown_thru", DRAWS, 11)


def data_of_a_thru_too(d):
    data_drawn(d, "solt", DRAWS // 2, 12)


def data_causes(d):
    """each cause of data against data that are really so wrong, at all frequencies together; and what is refused"""
    data_plan(d, "solt")
    none = random.Random(0)
    none.gauss = lambda a, b: 0
    device = lambda: read_s2p(d.at("tip/device.s2p"))[1]
    data_files(d, none, {})
    still = chain(d)
    doc = document(d, "tip/device.u.json")
    names = [x["name"] for x in doc["causes"] if "data" in x["name"]]
    check("two causes for each S that the data give", len(names) == 3 * 4 + 6 and "thru: data, S21 and S12 imaginary" in names, names)
    check("nothing is left of what nobody stated", doc["not_counted"] == ["drift since the calibration"], doc["not_counted"])
    with open(d.at("device.s2p")) as f:
        raw = f.read()
    for name, at_, part in (("open: data, S11 real", [("open", 0)], 1), ("short: data, S22 imaginary", [("short", 3)], 1j), ("thru: data, S21 and S12 real", [("thru", 1), ("thru", 2)], 1),
                            ("thru: data, S11 imaginary", [("thru", 0)], 1j)):
        cause = [x for x in doc["causes"] if x["name"] == name][0]
        sides = []
        for sign in (1, -1):
            data_files(d, none, {k: sign * 0.02 * U_DATA[k[0]] * part for k in at_})
            d.text("device.s2p", raw)
            chain(d)
            sides.append(device())
        worst, most = 0, 1e-12
        for i in range(len(HZ)):
            for k, word in enumerate(("s11", "s12", "s21", "s22")):
                is_, said = (sides[0][i][k] - sides[1][i][k]) / 0.04, -at(cause, word, i)  # a belief: the other sign
                worst, most = max(worst, abs(is_ - said)), max(most, abs(is_))
        within("%s does what it is said to (at most %.2g)" % (name, most), worst / most, 1e-3)
    with open(d.at("plan.json")) as f:
        plan = json.load(f)
    del plan["standards"][0]["data_u"]
    d.plan("few.json", **plan)
    told = d.json("solve", "few.json", "--out", "few_terms.json")
    check("data of which nobody says how well they are known are named", told["diagnosis"]["not_counted"] == ["definition of open"], told["diagnosis"]["not_counted"])
    plan["standards"][0] = {"name": "open", "kind": "open", "file": "open.s2p", "model": {"c_f": [0, 0, 0, 0]}, "data_u": 0.01}
    d.plan("few.json", **plan)
    refused(d, "data_u without data", ["solve", "few.json", "--out", "x.json"], "standard open", "data_u", "u_r_ohm")


# ---- drift -------------------------------------------------------------------------------------------------------------------------------

DRIFT = {"delay": 6e-14, "loss": 0.02}  # s, dB at the highest frequency; one way, each port


def drift(rng):
    return [{k: v * rng.gauss(0, 1) for k, v in DRIFT.items()} for _ in range(2)]


def drifted(m, f, by):
    """raw ratios of a port whose way to the tips has grown since the calibration: its tracking, not its directivity"""
    w = 2 * math.pi * f
    e = [cmath.exp(-b["loss"] * math.log(10) / 20 * math.sqrt(f / HZ[-1]) - 1j * w * b["delay"]) for b in by]
    ed = [b[0] for b in boxes(f)[:2]]
    return [ed[0] + (m[0] - ed[0]) * e[0] ** 2, m[1] * e[0] * e[1], m[2] * e[0] * e[1], ed[1] + (m[3] - ed[1]) * e[1] ** 2]


def drift_over(d, by, names=("device", "dummy_open", "dummy_short")):
    """the files of what was read after the calibration, read when the ports had drifted"""
    for n in names:
        hz, rows = read_s2p(d.at(n + ".s2p"))
        d.s2p(n + ".s2p", hz, [drifted(r, f, by) for f, r in zip(hz, rows)])


def drift_plan(d, method):
    drawn_plan(d, method)
    with open(d.at("plan.json")) as f:
        plan = json.load(f)
    return d.plan("plan.json", **{**plan, "drift_delay_s_u": DRIFT["delay"], "drift_loss_db_u": DRIFT["loss"]})


def drift_since(d):
    rng, t = random.Random(21), Tally("drift since the calibration")
    drift_plan(d, "unknown_thru")
    for _ in range(DRAWS):
        drawn_files(d, rng)
        drift_over(d, drift(rng))
        tally_chain(t, chain(d))
    t.check(12)


def drift_causes(d):
    """each cause against a port that has really drifted so, of two-port and of one-port terms; shared, by --drift-u too, and what is refused"""
    none = random.Random(0)
    none.gauss = lambda a, b: 0
    still_ = [{"delay": 0, "loss": 0}] * 2
    for method in ("unknown_thru", "sol"):
        drift_plan(d, method)
        if method == "sol":
            with open(d.at("plan.json")) as f:
                plan = json.load(f)
            plan["standards"] = plan["standards"][:3]
            d.plan("plan.json", **plan)
        drawn_files(d, none)
        rc, out, err = d.run("solve", "plan.json", "--out", "terms.json")
        d.run("correct", "--terms", "terms.json", "device.s2p", "dummy_open.s2p", "--to", "tip")
        doc, other = document(d, "tip/device.u.json"), document(d, "tip/dummy_open.u.json")
        causes = {x["name"]: x for x in doc["causes"] if x["kind"] == "drift"}
        check("%s: two causes of drift at each port, and drift is not among what is not counted" % method, len(causes) == 4 and "drift since the calibration" not in doc["not_counted"], (list(causes), doc["not_counted"]))
        check("%s: they are the dummy's too" % method, {x["id"] for x in causes.values()} <= {x["id"] for x in other["causes"]})
        for port in (0, 1):
            for what in DRIFT:
                sides = []
                for sign in (1, -1):
                    drawn_files(d, none)
                    drift_over(d, [{**still_[p], what: 0.02 * sign * DRIFT[what]} if p == port else still_[p] for p in range(2)])
                    d.run("correct", "--terms", "terms.json", "device.s2p", "--out", "moved.s2p")
                    sides.append(read_s2p(d.at("moved.s2p"))[1])
                cause, worst, most = causes["drift: %s, port %d" % (what, port + 1)], 0, 1e-12
                for i in range(len(HZ)):
                    for k, word in enumerate(("s11", "s12", "s21", "s22")):
                        is_ = (sides[0][i][k] - sides[1][i][k]) / 0.04
                        worst, most = max(worst, abs(is_ - at(cause, word, i))), max(most, abs(is_))
                within("%s: drift of %s at port %d does what it is said to (at most %.2g)" % (method, what, port + 1, most), worst / most, 1e-3)
    with open(d.at("plan.json")) as f:
        plan = json.load(f)
    d.plan("plain.json", **{k: v for k, v in plan.items() if not k.startswith("drift")})
    d.run("solve", "plain.json", "--out", "plain_terms.json")
    d.run("correct", "--terms", "plain_terms.json", "--drift-u", "6e-14,0.02", "device.s2p", "--out", "by_option.s2p")
    d.run("correct", "--terms", "terms.json", "device.s2p", "--out", "by_plan.s2p")
    columns_of = lambda name: {x["name"]: x["s"] for x in document(d, name)["causes"] if x["kind"] == "drift"}
    check("--drift-u says what the plan would", columns_of("by_option.u.json") == columns_of("by_plan.u.json"))
    d.run("correct", "--terms", "plain_terms.json", "device.s2p", "--out", "by_none.s2p")
    check("who says nothing has it named", "drift since the calibration" in document(d, "by_none.u.json")["not_counted"] and not columns_of("by_none.u.json"))
    drift_plan(d, "unknown_thru")
    drawn_files(d, none)
    d.run("solve", "plan.json", "--out", "thru_terms.json")
    d.run("correct", "--terms", "thru_terms.json", "thru.s2p", "--out", "thru_before.s2p")
    drift_over(d, [{"delay": 5e-14, "loss": 0}, {"delay": 2e-14, "loss": 0}], ["thru"])
    d.run("correct", "--terms", "thru_terms.json", "thru.s2p", "--out", "thru_after.s2p")
    told = d.json("compare", "thru_before.s2p", "thru_after.s2p")
    within("compare of a thru before and after says both ports' delay", abs(told["s21_delay_s"] - 7e-14), 2e-16)
    refused(d, "drift that is no pair", ["correct", "--terms", "terms.json", "--drift-u", "1e-13", "device.s2p", "--out", "x.s2p"], "--drift-u 1e-13", "two numbers", "delay")
    refused(d, "a nanosecond and more", ["correct", "--terms", "terms.json", "--drift-u", "1e-8,0", "device.s2p", "--out", "x.s2p"], "--drift-u 1e-8,0", "1e-09")
    d.plan("far.json", **{**plan, "drift_delay_s_u": 1})
    refused(d, "a plan whose ports drift a second", ["solve", "far.json", "--out", "x.json"], "/drift_delay_s_u")


# ---- one-port files ----------------------------------------------------------------------------------------------------------------------

ONE_OHM, ONE_H = 12.0, 0.15e-9  # a resistor with its inductance, to ground
F_ONE = [2e9 * 20 ** (i / 60) for i in range(61)]  # a fit weighs each S by all that is not known of it as if it were noise too: with few points that shows


def one_port_plan(d, port):
    """a SOL calibration of one port alone"""
    drawn_plan(d, "sol")
    with open(d.at("plan.json")) as f:
        plan = json.load(f)
    plan["standards"] = [{**{k: v for k, v in s.items() if k != "file"}, "file_%d" % port: s["name"] + ".s1p"} for s in plan["standards"][:3]]
    return d.plan("plan.json", **plan)


def one_port_files(d, rng, port, device_touch=None):
    g = lambda: rng.gauss(0, 1)
    dc, dl, dr, dll, touches = g(), g(), g(), g(), {n: touch(rng) for n in ("short", "load", "device")}
    if device_touch:
        touches["device"] = device_touch
    rows = {n: [] for n in ("open", "short", "load", "device")}
    for f in F_ONE:
        w = 2 * math.pi * f
        ends = {"open": 1 / (1j * w * (STANDARDS["open"] + U["c_f"] * dc)), "short": 1j * w * (STANDARDS["short"] + U["l_h"] * dl),
                "load": STANDARDS["load"] + U["r_ohm"] * dr + 1j * w * (STANDARDS["load_l"] + U["l_h"] * dll), "device": ONE_OHM + 1j * w * ONE_H}
        for n, z in ends.items():
            s = one_port_moved(reflection(z), touches.get(n), port - 1, w)
            rows[n].append(read([s, 0j, 0j, s], f, rng)[3 * (port - 1)])
    for n, r in rows.items():
        d.s1p(n + ".s1p", F_ONE, r)


def ran(d, *words):
    rc, out, err = d.run(*words)
    if rc:
        raise SystemExit("%s: %s" % (" ".join(words), err))
    return err


def by_the_page(doc, i, grad):
    """u of a real number with dy = Re(sum grad dS), as docs/uncertainty.md has it"""
    changes = [(x["kind"], sum(g * at(x, word, i) for word, g in grad.items())) for x in doc["causes"]]
    return math.sqrt(sum((abs(y) if kind == "noise" else y.real) ** 2 for kind, y in changes))


def read_s1p(path):
    with open(path) as f:
        rows = [[float(x) for x in line.split()] for line in f if line[0] not in "!#"]
    return [complex(r[1], r[2]) for r in rows]


def one_port_files_of_a_calibration(d):
    """calibrations of one port with everything drawn: R and L at some frequencies by the document alone, and R of a circuit fitted to all"""
    rng, t = random.Random(31), Tally("one-port files")
    for k in range(DRAWS):
        port = 1 + k % 2
        one_port_plan(d, port)
        one_port_files(d, rng, port)
        ran(d, "solve", "plan.json", "--out", "terms.json")
        ran(d, "correct", "--terms", "terms.json", "--port", port, "device.s1p", "--out", "tip.s1p")
        got, doc = read_s1p(d.at("tip.s1p")), document(d, "tip.u.json")
        for i in range(0, len(F_ONE), 15):
            w, z, g = 2 * math.pi * F_ONE[i], 50 * (1 + got[i]) / (1 - got[i]), 100 / (1 - got[i]) ** 2
            for word, value, grad, truth in (("R", z.real, g, ONE_OHM), ("L", z.imag / w, -1j * g / w, ONE_H)):
                u = by_the_page(doc, i, {"s11": grad})
                t.add("%s at %.3g GHz" % (word, F_ONE[i] / 1e9), value, u, 2 * u, truth)
        r = {e["name"]: e for e in d.json("fit", "--model", "resistor", "tip.s1p")["elements"]}["r"]
        t.add("r of the circuit", r["value"], r["u"], 2 * r["u"], ONE_OHM)
    t.check(9)


def one_port_documents(d):
    """what is in the document, who reads it, what is refused"""
    rng = random.Random(33)
    one_port_plan(d, 2)
    still = touch(rng)
    one_port_files(d, rng, 2, still)
    ran(d, "solve", "plan.json", "--out", "terms.json")
    ran(d, "correct", "--terms", "terms.json", "--port", "2", "device.s1p", "--out", "tip.s1p")
    doc = document(d, "tip.u.json")
    check("a document of one port, of version 2", doc["ports"] == 1 and doc["version"] == 2 and all(set(x["s"]) == {"s11"} for x in doc["causes"]), doc["causes"][:2])
    names = {x["name"] for x in doc["causes"]}
    check("it has the standards at that port, its own touch and its noise", {"open: C0, port 2", "load: R, port 2", "own: touch R, port 2", "own: noise, S22"} <= names and not any("port 1" in n for n in names), names)
    told = d.json("correct", "--terms", "terms.json", "--port", "2", "device.s1p")
    check("--json carries it", told["files"][0]["uncertainty"]["causes"] == doc["causes"], "")
    # the same device by one-port terms of both ports and a .s2p: the same columns
    none = random.Random(0)
    none.gauss = lambda a, b: 0
    one_port_files(d, none, 2)
    ran(d, "solve", "plan.json", "--out", "terms.json")
    ran(d, "correct", "--terms", "terms.json", "--port", "2", "device.s1p", "--out", "one.s1p")
    drawn_plan(d, "sol")
    with open(d.at("plan.json")) as f:
        plan = json.load(f)
    d.plan("both.json", **{**plan, "standards": plan["standards"][:3]})
    kept = ou.HZ
    ou.HZ = F_ONE
    drawn_files(d, none, [0, 0])
    ou.HZ = kept
    d.s2p("device.s2p", F_ONE, [read([x, 0j, 0j, x], f, none) for f in F_ONE for x in [reflection(ONE_OHM + 2j * math.pi * f * ONE_H)]])
    ran(d, "solve", "both.json", "--out", "both_terms.json")
    ran(d, "correct", "--terms", "both_terms.json", "device.s2p", "--out", "two.s2p")
    two = {x["name"]: x for x in document(d, "two.u.json")["causes"]}
    worst = max(abs(at(x, "s11", i) - at(two[x["name"]], "s22", i)) for x in document(d, "one.u.json")["causes"] for i in range(len(F_ONE)) if "place" not in x["name"])
    within("each cause is that of a two-port's reflection", worst, 1e-9)  # place: the stage moves both ports of a two-port
    # two readings of one resistor, and another one
    one_port_plan(d, 2)
    one_port_files(d, rng, 2)
    ran(d, "solve", "plan.json", "--out", "terms.json")
    ran(d, "correct", "--terms", "terms.json", "--port", "2", "device.s1p", "--out", "tip.s1p")
    again = []
    for f in F_ONE:
        w = 2 * math.pi * f
        again.append(read([0j, 0j, 0j, one_port_moved(reflection(ONE_OHM + 1j * w * ONE_H), still, 1, w)], f, rng)[3])
    d.s1p("again.s1p", F_ONE, again)
    d.s1p("other.s1p", F_ONE, [x * 1.02 for x in again])
    for name, beyond in (("again", False), ("other", True)):
        ran(d, "correct", "--terms", "terms.json", "--port", "2", name + ".s1p", "--out", "tip_%s.s1p" % name)
        told = d.json("compare", "tip.s1p", "tip_%s.s1p" % name)
        check("compare knows of one-ports what they are sure of: %s" % name, told["known"]["entries"] == len(F_ONE) and (told["known"]["beyond"] > len(F_ONE) // 5) == beyond and told["known"]["worst_entry"] == "S11", told.get("known"))
    told = d.json("fit", "--model", "vector", "tip.s1p")
    check("fit --model vector takes the noise of it", told and told["ports"] == 1, told)
    refused(d, "two files with one document", ["correct", "--terms", "both_terms.json", "device.s1p", "device.s2p", "--to", "x"], "device.u.json", "two folders")
    with open(d.at("tip.s1p"), "a") as f:
        f.write("! edited\n")
    refused(d, "a .s1p that was edited under its document", ["compare", "tip.s1p", "tip_again.s1p"], "tip.u.json", "earlier state")


# ---- a transistor's leads ----------------------------------------------------------------------------------------------------------------

F_FET = [1e9 * (k + 1) for k in range(24)]
DRIVES = (0.3, 0.4, 0.5, 0.65, 0.8)
STATES = ["off", "hot"] + ["cold%g" % v for v in DRIVES]


def inside_y(state, w):
    """admittances of a FET inside its leads, pinched off, cold at a gate voltage, or biased; w = j omega.  Cold it is what the extraction takes
    it for, so that the scatter is noise: a channel that goes with the gate's voltage, and the gate's capacitance before it"""
    if state == "off":
        return [w * 16e-15, -w * 8e-15, -w * 8e-15, w * 8e-15]
    if state == "hot":
        return [w * 40e-15 / (1 + w * 2.5 * 40e-15) + w * 8e-15, -w * 8e-15, 0.06 * cmath.exp(-w * 0.4e-12) / (1 + w * 2.5 * 40e-15) - w * 8e-15, 0.004 + w * 12e-15 + w * 8e-15]
    x = 1 / float(state[4:])
    return inv([1.2 * x + 1 / (w * 45e-15), 1.5 * x, 1.5 * x, 3 * x])


def transistor(state, w):
    """S at the tips: pads of 11 and 9 fF, leads of 3, 2, 1 ohm and 22, 19, 3 pH"""
    w = 1j * w
    z, a, b, s = inv(inside_y(state, w)), 3 + w * 22e-12, 2 + w * 19e-12, 1 + w * 3e-12
    y = inv([z[0] + a + s, z[1] + s, z[2] + s, z[3] + b + s])
    y = [50 * (y[0] + w * 11e-15), 50 * y[1], 50 * y[2], 50 * (y[3] + w * 9e-15)]
    return list(mul([1 - y[0], -y[1], -y[2], 1 - y[3]], inv([1 + y[0], y[1], y[2], 1 + y[3]])))


def transistor_files(d, rng):
    """a calibration and a transistor in all its states on one touch, everything drawn"""
    kept, ou.HZ = ou.HZ, F_FET
    drawn_files(d, rng)
    ou.HZ = kept
    t = touch(rng)
    for state in STATES:
        d.s2p(state + ".s2p", F_FET, [read(two_port_moved(transistor(state, 2 * math.pi * f), t, 2 * math.pi * f), f, rng) for f in F_FET])


INNER = ("gm", "Cgs", "Cgd", "gds")


def transistor_chain(d, *touch_words):
    """from raw files to elements of leads and of the inside: {name: (value, u, u95)}"""
    ran(d, "solve", "plan.json", "--out", "terms.json")
    ran(d, "correct", "--terms", "terms.json", *touch_words, *[x + ".s2p" for x in STATES], "--to", "tip")
    told = d.json("extrinsic", "--off", "tip/off.s2p", "--cold", ",".join("tip/cold%g.s2p" % v for v in DRIVES), "--drive", ",".join("%g" % v for v in DRIVES),
                  "--off-below", "4e9", "--from", "1e9", "--below", "20e9", "tip/hot.s2p", "--out", "inside.s2p")
    got = {e["name"]: (e["value"], e["u"], 2 * e["u"], e["u_model"]) for e in told["elements"] if e["name"] != "c_between"}
    told = d.json("extract", "--quantity", ",".join(INNER), "--share", "10", "--at", "10e9", "inside.s2p")
    for q in told["files"][0]["quantities"]:
        got[q["quantity"]] = (q["value"][0], q["u"][0], q["u95"][0], 0.0)
    return got


def leads_of_a_transistor(d):
    """against the same chain with nothing wrong, so that what the method takes the transistor for is left aside: of the value by the difference,
    of u by what the budget calls the elements' model"""
    none = random.Random(0)
    none.gauss = lambda a, b: 0
    rng, t = random.Random(41), Tally("a transistor's leads and inside")
    drawn_plan(d, "unknown_thru")
    transistor_files(d, none)
    still = transistor_chain(d, "--one-touch")
    for _ in range(DRAWS):
        transistor_files(d, rng)
        for name, (value, u, u95, _) in transistor_chain(d, "--one-touch").items():
            t.add(name, value, u, u95, still[name][0], still[name][3])
    t.check(10)


def leads_documents(d):
    """one touch or several, what is said, what is refused"""
    drawn_plan(d, "unknown_thru")
    transistor_files(d, random.Random(42))
    one = transistor_chain(d, "--one-touch")
    own = lambda name: {x["name"]: x["id"] for x in document(d, "tip/%s.u.json" % name)["causes"] if x["name"].startswith("own: ")}
    hot, off = own("hot"), own("off")
    check("sweeps of one touch share what is the touch's, and no noise", all((hot[n] == off[n]) == ("noise" not in n) for n in hot) and len(hot) == 11, (hot, off))
    told = d.json("extrinsic", "--off", "tip/off.s2p", "--off-below", "4e9")
    c_in = told["elements"][0]
    check("--json names causes and the scatter by itself", c_in["u"] > c_in["u_scatter"] > 0 and len(c_in["budget"]) == 3 and c_in["budget"][0]["cause"] == "open: C0" and "drift since the calibration" in told["not_counted"], c_in)
    words = ["--off", "tip/off.s2p", "--cold", ",".join("tip/cold%g.s2p" % v for v in DRIVES), "--drive", ",".join("%g" % v for v in DRIVES), "--off-below", "4e9", "--from", "1e9", "--below", "20e9"]
    rc, out, err = d.run("extrinsic", *words, "--budget")
    check("--budget names three causes of each element", rc == 0 and out.count("%") == 3 * 8 and "transistor: touch" in out, (rc, out, err))
    doc = document(d, "inside.u.json")
    names = [x["name"] for x in doc["causes"]]
    check("the inside's document has calibration, touch, scatter and the biased state's noise", doc["plane"] == "device" and {"open: C0, port 1", "transistor: touch R, port 1", "scatter of r_out", "biased: noise, S21"} <= set(names) and not any(n.startswith("cold") for n in names), names)
    rc, out, err = d.run("extract", "--quantity", "gm", "--at", "10e9", "--budget", "inside.s2p")
    check("extract reads it", rc == 0 and "±" in out and "unlike what they are taken for" in err, (out, err))
    many = transistor_chain(d)
    check("touches of their own: the extrapolation to no channel widens what the leads are not known by", many["r_common"][1] > 1.1 * one["r_common"][1], (many["r_common"], one["r_common"]))
    check("and the values are the same", all(many[n][0] == one[n][0] for n in one))
    rc, out, err = d.run("extrinsic", *words, "--no-uncertainty")
    check("--no-uncertainty: the scatter alone", rc == 0 and "±" in out and err == "", err)
    os.remove(d.at("tip/off.u.json"))
    rc, out, err = d.run("extrinsic", *words)
    check("a state without a document counts as exact, which is said", rc == 0 and "of 1 of %d states" % (len(DRIVES) + 1) in err, err)
    refused(d, "--budget without documents", ["extrinsic", "--off", "tip/off.s2p", "--budget"], "--budget", "X.u.json")
    refused(d, "one touch of one file", ["correct", "--terms", "terms.json", "off.s2p", "--one-touch", "--out", "x.s2p"], "--one-touch", "two files")
    refused(d, "one touch of no uncertainty", ["correct", "--terms", "terms.json", "off.s2p", "hot.s2p", "--one-touch", "--no-uncertainty", "--to", "x"], "--one-touch", "uncertainty")


# ---- pairs and modes ---------------------------------------------------------------------------------------------------------------------

COIL = {"l": 0.5e-9, "m": 0.15e-9, "r": 3.0, "c": 12e-15}  # two coupled coils: from port 1 to 3 and from 2 to 4, c from each port to ground
PAIRS = ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3))
MODAL = {"Lser": 2 * (COIL["l"] - COIL["m"]), "Rser": 2 * COIL["r"], "pi_C1": COIL["c"] / 2}  # by D1,2:D3,4
END_OHM = 47.0


def coils(f):
    w = 2j * math.pi * f
    b = solved([[COIL["r"] + w * COIL["l"], w * COIL["m"]], [w * COIL["m"], COIL["r"] + w * COIL["l"]]], [[1, 0], [0, 1]])
    return s_of_y([[b[i % 2][k % 2] * (1 if (i < 2) == (k < 2) else -1) + (w * COIL["c"] if i == k else 0) for k in range(4)] for i in range(4)], [50.0] * 4)


def pair_files(d, rng, pairs=PAIRS, end_wrong=0):
    """a two-port calibration, and the coils measured pair by pair with it, a touch for each, while END_OHM ends the other ports"""
    drawn_files(d, rng)
    ends = [reflection(END_OHM) + end_wrong] * 4
    for p, q in pairs:
        t, rows = touch(rng), []
        for f in HZ:
            m = ended(coils(f), ends, p, q)
            rows.append(read(two_port_moved([m[0][0], m[0][1], m[1][0], m[1][1]], t, 2 * math.pi * f), f, rng))
        d.s2p("d%d%d.s2p" % (p + 1, q + 1), HZ, rows)


def pair_chain(d, quantities=tuple(MODAL), modes="D1,2:D3,4", ends="%g" % END_OHM):
    ran(d, "solve", "plan.json", "--out", "terms.json")
    ran(d, "correct", "--terms", "terms.json", *["d%d%d.s2p" % (p + 1, q + 1) for p, q in PAIRS], "--to", "tip")
    ran(d, "join", *["%d,%d=tip/d%d%d.s2p" % (2 * (p + 1, q + 1)) for p, q in PAIRS], "--ends", ",".join([ends] * 4), "--out", "joined.s4p")
    told = d.json("extract", "--quantity", ",".join(quantities), "--modes", modes, "--share", "10", "joined.s4p")
    return {q["quantity"]: (q["value"], q["u"], q["u95"]) for q in told["files"][0]["quantities"]}


def joined_pairs(d):
    """half widths of differential numbers, over calibrations and touches drawn"""
    rng, t = random.Random(51), Tally("joined pairs and modes")
    drawn_plan(d, "unknown_thru")
    for _ in range(DRAWS):
        pair_files(d, rng)
        for word, (value, u, u95) in pair_chain(d).items():
            for i, f in enumerate(HZ):
                t.add("%s at %g GHz" % (word, f / 1e9), value[i], u[i], u95[i], MODAL[word])
    t.check(11)


def entries_of(doc, name, i):
    x = [c_ for c_ in doc["causes"] if c_["name"] == name]
    return [[at(x[0], "s%d%d" % (p + 1, q + 1), i) for q in range(doc["ports"])] for p in range(doc["ports"])] if x else None


def joined_documents(d):
    """each cause against pairs that are really so wrong; ends with a document; modes; compare; what is said"""
    none = random.Random(0)
    none.gauss = lambda a, b: 0
    drawn_plan(d, "unknown_thru")
    pair_files(d, none)
    pair_chain(d)
    doc, (hz, still) = document(d, "joined.u.json"), read_snp(d.at("joined.s4p"), 4)
    check("a document of four ports", doc["ports"] == 4 and doc["version"] == 2 and {"open: C0, port 1", "pair 1,3: touch R, port 1", "pair 3,4: noise, S12"} <= {x["name"] for x in doc["causes"]}, [x["name"] for x in doc["causes"]])
    check("what ended the ports counts as exact, which is said", "what ended the ports that were not measured" in doc["not_counted"])
    # the calibration's open, wrong by a part of its u at port 1: it moves all six pairs
    sides = []
    for sign in (1, -1):
        drawn_files(d, none, [0.02 * sign, 0])
        ran(d, "solve", "plan.json", "--out", "terms.json")
        ran(d, "correct", "--terms", "terms.json", *["d%d%d.s2p" % (p + 1, q + 1) for p, q in PAIRS], "--to", "tip_moved")
        ran(d, "join", *["%d,%d=tip_moved/d%d%d.s2p" % (2 * (p + 1, q + 1)) for p, q in PAIRS], "--ends", ",".join(["%g" % END_OHM] * 4), "--out", "moved.s4p")
        sides.append(read_snp(d.at("moved.s4p"), 4)[1])
    worst, most = 0, 1e-12
    for i in range(len(HZ)):
        said = entries_of(doc, "open: C0, port 1", i)
        for p in range(4):
            for q in range(4):
                is_ = (sides[0][i][p][q] - sides[1][i][p][q]) / 0.04
                worst, most = max(worst, abs(is_ + said[p][q])), max(most, abs(is_))  # a belief: the other sign
    within("a wrong open moves all four ports as said (at most %.2g)" % most, worst / most, 1e-3)
    # modes of S and of its document, by the orthonormal mixing written here
    mix = lambda m: [[0.5 * (m[a][c_] - m[a][c_ + 1] - m[a + 1][c_] + m[a + 1][c_ + 1]) for c_ in (0, 2)] for a in (0, 2)]
    told = d.json("extract", "--quantity", "Lser", "--modes", "D1,2:D3,4", "--share", "10", "joined.s4p")
    q = told["files"][0]["quantities"][0]
    for i, f in enumerate(HZ):
        s, w, total = mix(still[i]), 2 * math.pi * f, 0
        flat = lambda m: [m[0][0], m[0][1], m[1][0], m[1][1]]

        def lser(v):
            m, n = chain_of_s(v, 100.0)
            return (2 * m[1] / n / (1 + v[1] / v[2])).imag / w  # -2/(Y12 + Y21)

        for x in doc["causes"]:
            dm, h = flat(mix(entries_of(doc, x["name"], i))), 1e-3
            dy = (lser([a + h * b for a, b in zip(flat(s), dm)]) - lser([a - h * b for a, b in zip(flat(s), dm)])) / (2 * h)
            other = (lser([a + 1j * h * b for a, b in zip(flat(s), dm)]) - lser([a - 1j * h * b for a, b in zip(flat(s), dm)])) / (2 * h)
            total += dy * dy + (other * other if x["kind"] == "noise" else 0)
        within("%g GHz: u of a differential inductance by the page's formula" % (f / 1e9), abs(q["u"][i] / math.sqrt(total) - 1), 1e-4)
    told = d.json("extract", "--quantity", "Lser,pi_C1", "--modes", "D1,2:S3", "--share", "10", "joined.s4p")
    check("a balun, brought to 50 ohm, has half widths too", all(u and u > 0 for x in told["files"][0]["quantities"] for u in x["u"]), told)
    # an end that is measured: its document is carried, and its own wrongness is held
    one_end = {"format": "tipplane uncertainty", "version": 2, "of": "end.s1p", "ports": 1, "plane": "tip", "z_ref_ohm": 50, "frequencies_hz": HZ, "not_counted": [],
               "causes": [{"id": "%064x" % 7, "name": "end: R", "kind": "standard", "freedom": None, "s": {"s11": {"re": [0.004] * len(HZ), "im": [0.001] * len(HZ)}}}]}
    d.s1p("end.s1p", HZ, [reflection(END_OHM) + 0j] * len(HZ))
    with open(d.at("end.s1p")) as f:
        text = "! reference plane: tip\n" + f.read()
    d.text("end.s1p", text)
    d.text("end.u.json", json.dumps({**one_end, "of_sha256": hashlib.sha256(text.encode()).hexdigest()}))
    pair_files(d, none)
    pair_chain(d, ends="end.s1p")
    doc = document(d, "joined.u.json")
    sides = []
    for sign in (1, -1):
        pair_files(d, none, end_wrong=0.02 * sign * (0.004 + 0.001j))
        pair_chain(d, ends="%g" % END_OHM)
        sides.append(read_snp(d.at("joined.s4p"), 4)[1])
    worst, most = 0, 1e-12
    for i in range(len(HZ)):
        said = entries_of(doc, "end: R", i)
        for p in range(4):
            for k in range(4):
                is_ = (sides[0][i][p][k] - sides[1][i][p][k]) / 0.04
                worst, most = max(worst, abs(is_ + said[p][k])), max(most, abs(is_))
    within("an end of one port moves what is joined as said (at most %.2g)" % most, worst / most, 1e-3)
    check("with documents of all ends nothing is left to say of them", "what ended the ports that were not measured" not in doc["not_counted"])
    pair_files(d, random.Random(3))
    pair_chain(d)
    os.rename(d.at("joined.s4p"), d.at("first.s4p"))
    os.rename(d.at("joined.u.json"), d.at("first.u.json"))
    pair_files(d, random.Random(4))
    pair_chain(d)
    told = d.json("compare", "first.s4p", "joined.s4p")
    check("compare knows of four ports", told["known"]["entries"] == 16 * len(HZ) and told["known"]["beyond"] <= 8, told.get("known"))
    rc, out, err = d.run("extract", "--quantity", "Lser", "--modes", "D1,2:D3,4", "--budget", "--at", "10e9", "joined.s4p")
    check("--budget of two modes", rc == 0 and out.count("%") == 3 and "not counted" in err and "not used" not in err, (out, err))
    rc, out, err = d.run("fit", "--model", "vector", "--modes", "D1,2:D3,4", "joined.s4p", "--json")
    check("fit --modes takes the noise of them", rc == 0, err)
    with open(d.at("joined.s4p"), "a") as f:
        f.write("! edited\n")
    refused(d, "modes of a file that was edited", ["extract", "--quantity", "Lser", "--modes", "D1,2:D3,4", "joined.s4p"], "joined.u.json", "earlier state")


# ---- three and four ports ----------------------------------------------------------------------------------------------------------------

STEPS = ((0, 1), (0, 2), (0, 3))


def noisy(m, rng):
    return [[v + math.hypot(U["floor"], U["trace"] * abs(v)) * complex(rng.gauss(0, 1), rng.gauss(0, 1)) for v in row] for row in m]


def touched_ports(s, touches, w):
    """a network whose ports are touched: contact in series, each tip further out along 50 ohm"""
    n = len(s)
    one = [[1.0 * (i == k) for k in range(n)] for i in range(n)]
    # b = S a of the inside; a series z at a port by Y: S -> Y -> (Y^-1 + z)^-1
    y = solved([[one[i][k] + s[i][k] for k in range(n)] for i in range(n)], [[one[i][k] - s[i][k] for k in range(n)] for i in range(n)])
    z = [(t["r"] + 1j * w * t["l"]) / 50 for t in touches]
    y = solved([[one[i][k] + y[i][k] * z[k] for k in range(n)] for i in range(n)], y)
    s = solved([[one[i][k] + y[i][k] for k in range(n)] for i in range(n)], [[one[i][k] - y[i][k] for k in range(n)] for i in range(n)])
    e = [cmath.exp(-1j * w * math.sqrt(EPS) / C0 * t["x"]) for t in touches]
    return [[s[i][k] * e[i] * e[k] for k in range(n)] for i in range(n)]


def four_plans(d, methods):
    """steps of 1,2, 1,3 and 1,4, each with standards of its own"""
    for k, (p, q) in enumerate(STEPS):
        drawn_plan(d, methods[k])
        with open(d.at("plan.json")) as f:
            plan = json.load(f)
        tag = "%d%d" % (p + 1, q + 1)
        for s in plan["standards"]:
            s["file"] = "%s_%s.s2p" % (s["name"], tag)
        if methods[k] == "unknown_thru":
            plan["switch_terms"] = {"file": "switch_%s.s2p" % tag}
        d.plan("plan_%s.json" % tag, **plan)
    return d.plan("all.json", ports=4, steps=[{"port_1": p + 1, "port_2": q + 1, "plan": "plan_%d%d.json" % (p + 1, q + 1)} for p, q in STEPS])


def four_files(d, a, rng, wrong={}, device_wrong=None):
    """raw files of every step and of the coils; wrong: {(step, "dc" …, port): in u} in the place of draws"""
    for k, (p, q) in enumerate(STEPS):
        g = lambda what, port: wrong.get((k, what, port), rng.gauss(0, 1))
        dc, dl, dr, dll, dt = ([g(x, 0), g(x, 1)] for x in ("dc", "dl", "dr", "dll", "dt"))
        touches = {n: touch(rng) for n in ("short", "load", "thru")}
        for what, port in [x[1:] for x in wrong if x[0] == k and x[1].startswith("touch ")]:
            _, part, n = what.split()
            touches[n][part][port] += wrong[k, what, port] * {"r": U["touch_ohm"], "l": U["touch_h"], "x": U["place_um"] * 1e-6 / math.sqrt(2)}[part]
        rows = {n: [] for n in ("open", "short", "load", "thru")}
        for f in HZ:
            w = 2 * math.pi * f
            ends = {"open": [1 / (1j * w * (STANDARDS["open"] + U["c_f"] * x)) for x in dc], "short": [1j * w * (STANDARDS["short"] + U["l_h"] * x) for x in dl],
                    "load": [STANDARDS["load"] + U["r_ohm"] * x + 1j * w * (STANDARDS["load_l"] + U["l_h"] * y) for x, y in zip(dr, dll)]}
            for n, z in ends.items():
                s = [one_port_moved(reflection(z[m]), touches.get(n), m, w) for m in range(2)]
                rows[n].append(noisy(a.raw([[s[0], 0], [0, s[1]]], f, (p, q)), rng))
            t = cmath.exp(-1j * w * (STANDARDS["thru"] + U["delay_s"] * dt[0]))
            s = two_port_moved([0j, t, t, 0j], touches["thru"], w)
            rows["thru"].append(noisy(a.raw([[s[0], s[1]], [s[2], s[3]]], f, (p, q)), rng))
        tag = "%d%d" % (p + 1, q + 1)
        for n, r in rows.items():
            snp(d, "%s_%s.s2p" % (n, tag), HZ, r)
        d.s2p("switch_%s.s2p" % tag, HZ, [[0j, a.at("g", p, f), a.at("g", q, f), 0j] for f in HZ])
    own = device_wrong or [{"r": U["touch_ohm"] * rng.gauss(0, 1), "l": U["touch_h"] * rng.gauss(0, 1), "x": U["place_um"] * 1e-6 * rng.gauss(0, 1)} for _ in range(4)]
    snp(d, "coils.s4p", HZ, [noisy(a.raw(touched_ports(coils(f), own, 2 * math.pi * f), f, range(4)), rng) for f in HZ])


def four_chain(d, modes="D1,2:D3,4"):
    ran(d, "solve", "all.json", "--out", "terms.json")
    ran(d, "correct", "--terms", "terms.json", "coils.s4p", "--out", "tip.s4p")
    told = d.json("extract", "--quantity", ",".join(MODAL), "--modes", modes, "--share", "10", "tip.s4p")
    return {q["quantity"]: (q["value"], q["u"], q["u95"]) for q in told["files"][0]["quantities"]}


def four_ports(d):
    """half widths of differential numbers of an analyzer of four ports, calibrated by three steps"""
    rng, t, a = random.Random(61), Tally("four ports by steps"), Analyzer(4, 12)
    four_plans(d, ("unknown_thru", "solt", "unknown_thru"))
    for _ in range(DRAWS):
        four_files(d, a, rng)
        for word, (value, u, u95) in four_chain(d).items():
            for i, f in enumerate(HZ):
                t.add("%s at %g GHz" % (word, f / 1e9), value[i], u[i], u95[i], MODAL[word])
    t.check(11)


def four_documents(d):
    """each cause against a step or a device that is really so wrong; what the terms hold; what is said and refused"""
    none, a = random.Random(0), Analyzer(4, 12)
    none.gauss = lambda x, y: 0
    four_plans(d, ("unknown_thru", "solt", "unknown_thru"))
    four_files(d, a, none)
    four_chain(d)
    doc, terms = document(d, "tip.u.json"), document(d, "terms.json")
    check("the terms hold the causes of their steps", {"step 1,2: open: C0, port 1", "step 1,3: thru: offset delay", "step 1,4: load: noise, S22"} <= {x["name"] for x in terms["causes"]} and terms["each_reading"]["contact_ohm_u"] == U["touch_ohm"], [x["name"] for x in terms["causes"]])
    check("a thru's delay moves nothing of an unknown thru", "step 1,2: thru: offset delay" not in {x["name"] for x in terms["causes"]})
    with open(d.at("coils.s4p")) as f:
        raw = f.read()
    zero = [{"r": 0, "l": 0, "x": 0} for _ in range(4)]

    def worst_of(name, make, sign=1):
        sides = []
        for by in (0.02, -0.02):
            make(by)
            four_chain(d)
            sides.append(read_snp(d.at("tip.s4p"), 4)[1])
        worst, most = 0, 1e-12
        for i in range(len(HZ)):
            said = entries_of(doc, name, i) or [[0j] * 4] * 4
            for p in range(4):
                for q in range(4):
                    is_ = (sides[0][i][p][q] - sides[1][i][p][q]) / 0.04
                    worst, most = max(worst, abs(is_ - sign * said[p][q])), max(most, abs(is_))
        within("%s does what it is said to (at most %.2g)" % (name, most), worst / most, 2e-3)

    def step_wrong(k, what, port):
        def make(by):
            four_files(d, a, none, {(k, what, port): by})
            d.text("coils.s4p", raw)
        return make

    for name, k, what, port, sign in (("step 1,2: open: C0, port 1", 0, "dc", 0, -1), ("step 1,2: load: R, port 2", 0, "dr", 1, -1), ("step 1,3: load: R, port 1", 1, "dr", 0, -1), ("step 1,3: thru: offset delay", 1, "dt", 0, -1),
                                      ("step 1,3: thru: touch L, port 2", 1, "touch l thru", 1, 1), ("step 1,4: short: touch R, port 1", 2, "touch r short", 0, 1), ("step 1,4: short: place, port 2", 2, "touch x short", 1, 1)):
        worst_of(name, step_wrong(k, what, port), sign)
    for word, key, size in (("touch R", "r", U["touch_ohm"]), ("touch L", "l", U["touch_h"]), ("place", "x", U["place_um"] * 1e-6)):
        worst_of("own: %s, port 3" % word, lambda by: four_files(d, a, none, device_wrong=[{**zero[p], key: by * size} if p == 2 else zero[p] for p in range(4)]))
    # noise of one raw ratio at one frequency
    four_files(d, a, none)
    hz, rows = read_snp(d.at("coils.s4p"), 4)
    sides = []
    for by in (1e-6, -1e-6):
        moved = [[list(r) for r in m] for m in rows]
        moved[2][1][3] += by
        snp(d, "coils.s4p", HZ, moved)
        four_chain(d)
        sides.append(read_snp(d.at("tip.s4p"), 4)[1])
    said, u = entries_of(doc, "own: noise, S24", 2), math.hypot(U["floor"], U["trace"] * abs(rows[2][1][3]))
    within("noise of one reading", max(abs(abs(sides[0][2][p][q] - sides[1][2][p][q]) / 2e-6 * u - abs(said[p][q])) for p in range(4) for q in range(4)) / u, 1e-5)
    # a drift of one port: its tracking in the analyzer grows longer
    snp(d, "coils.s4p", HZ, rows)
    ran(d, "correct", "--terms", "terms.json", "--drift-u", "6e-14,0", "coils.s4p", "--out", "tip.s4p")
    doc = document(d, "tip.u.json")
    sides = []
    for by in (0.02, -0.02):
        b = Analyzer(4, 12)
        still = b.at
        b.at = lambda word, p, f: still(word, p, f) * (cmath.exp(-2j * math.pi * f * 6e-14 * by) if p == 1 and word in ("e10", "e01") else 1)
        snp(d, "coils.s4p", HZ, [b.raw(coils(f), f, range(4)) for f in HZ])
        ran(d, "correct", "--terms", "terms.json", "coils.s4p", "--out", "tip.s4p")
        sides.append(read_snp(d.at("tip.s4p"), 4)[1])
    worst, most = 0, 1e-12
    for i in range(len(HZ)):
        said = entries_of(doc, "drift: delay, port 2", i)
        for p in range(4):
            for q in range(4):
                is_ = (sides[0][i][p][q] - sides[1][i][p][q]) / 0.04
                worst, most = max(worst, abs(is_ - said[p][q])), max(most, abs(is_))
    within("a port that drifts moves S as said (at most %.2g)" % most, worst / most, 1e-3)
    check("drift is not among what is not counted then", "drift since the calibration" not in doc["not_counted"])
    rc, out, err = d.run("solve", "all.json", "--no-causes", "--out", "bare.json")
    check("solve --no-causes", rc == 0 and "causes" not in document(d, "bare.json"), err)
    rc, out, err = d.run("correct", "--terms", "bare.json", "coils.s4p", "--out", "bare.s4p")
    check("terms without causes make no document", rc == 0 and not os.path.exists(d.at("bare.u.json")), err)
    rc, out, err = d.run("correct", "--terms", "bare.json", "--noise-u", "1e-4,0", "coils.s4p", "--out", "bare.s4p")
    check("--noise-u alone makes one of sixteen readings", rc == 0 and len(document(d, "bare.u.json")["causes"]) == 16, err)
    rc, out, err = d.run("correct", "--terms", "terms.json", "coils.s4p")
    check("to stdout the document is lost, which is said", rc == 0 and "--out FILE" in err, err)
    ran(d, "solve", "plan_12.json", "--no-causes", "--out", "terms_12.json")
    with open(d.at("all.json")) as f:
        mixed = json.load(f)
    mixed["steps"][0] = {"port_1": 1, "port_2": 2, "terms": "terms_12.json"}
    d.plan("mixed.json", **mixed)
    rc, out, err = d.run("solve", "mixed.json", "--out", "mixed_terms.json")
    check("a step of which nothing is stated counts as exact, which is said and kept", rc == 0 and "counts as exact" in err and "step 1,2: all of it" in document(d, "mixed_terms.json")["not_counted"], err)

    def broken(change):
        other = json.loads(json.dumps(terms))
        change(other)
        d.text("broken.json", json.dumps(other))
        return ["correct", "--terms", "broken.json", "coils.s4p"]

    refused(d, "a cause of a port that is not there", broken(lambda t: t["causes"][0]["terms"].update(port_5={})), "broken.json", "/causes/0/terms", "port_5")
    refused(d, "a K of port 1 in a cause", broken(lambda t: t["causes"][0]["terms"].update(port_1={"K": {"re": [0.0] * len(HZ), "im": [0.0] * len(HZ)}})), "broken.json", "/causes/0/terms/port_1")
    refused(d, "two causes of one name", broken(lambda t: t["causes"][1].update(name=t["causes"][0]["name"])), "broken.json", "/causes", "two are called")
    refused(d, "a cause of no kind", broken(lambda t: t["causes"][1].update(kind="luck")), "broken.json", "/causes/1/kind")
    refused(d, "a column of a cause that is too short", broken(lambda t: list(list(t["causes"][0]["terms"].values())[0].values())[0]["re"].pop()), "broken.json", "4 numbers")


# ---- standards that were measured themselves ---------------------------------------------------------------------------------------------

TRANSFER = {"open": lambda w: 1 / (1j * w * 8e-15), "short": lambda w: 0.2 + 1j * w * 9e-12, "load": lambda w: 48.5 + 1j * w * 7e-12}


def transfer_files(d, rng, dc=None):
    """a calibration, and three standards measured with it"""
    drawn_files(d, rng, dc)
    for n, z in TRANSFER.items():
        t = touch(rng)
        d.s2p("t_%s.s2p" % n, HZ, [read([one_port_moved(reflection(z(2 * math.pi * f)), t, 0, 2 * math.pi * f), 0j, 0j, one_port_moved(reflection(z(2 * math.pi * f)), t, 1, 2 * math.pi * f)], f, rng) for f in HZ])
    ran(d, "solve", "plan.json", "--out", "first.json")
    ran(d, "correct", "--terms", "first.json", *["t_%s.s2p" % n for n in TRANSFER], "--to", "known")


def second_files(d, rng):
    """the same standards, a thru and a coil at another time, with the analyzer as it is"""
    rows = {n: [] for n in [*TRANSFER, "thru", "device"]}
    touches = {n: touch(rng) for n in rows}
    for f in HZ:
        w = 2 * math.pi * f
        e = cmath.exp(-1j * w * STANDARDS["thru"])
        for n, z in TRANSFER.items():
            rows[n].append(read([one_port_moved(reflection(z(w)), touches[n], 0, w), 0j, 0j, one_port_moved(reflection(z(w)), touches[n], 1, w)], f, rng))
        rows["thru"].append(read(two_port_moved([0j, e, e, 0j], touches["thru"], w), f, rng))
        coil = series(COIL_OHM + 1j * w * COIL_H)
        rows["device"].append(read(two_port_moved(s_of_chain(mul(shunt(1j * w * SIDE_F), coil)), touches["device"], w), f, rng))
    for n, r in rows.items():
        d.s2p("second_%s.s2p" % n, HZ, r)


def second_plan(d):
    standards = [{"name": n, "kind": n, "file": "second_%s.s2p" % n, "ideal": "known/t_%s.s2p" % n} for n in TRANSFER] + [{"name": "thru", "kind": "thru", "file": "second_thru.s2p", "model": {"delay_s": STANDARDS["thru"]}}]
    return d.plan("second.json", standards=standards, contact_ohm_u=U["touch_ohm"], contact_h_u=U["touch_h"], placement_um_u=U["place_um"], noise_floor_u=U["floor"], noise_trace_u=U["trace"],
                  calibration={"method": "unknown_thru", "thru_delay_s": STANDARDS["thru"]})


def second_chain(d):
    ran(d, "solve", "second.json", "--out", "second_terms.json")
    ran(d, "correct", "--terms", "second_terms.json", "second_device.s2p", "--out", "second_tip.s2p")
    told = d.json("extract", "--quantity", ",".join(WORDS), "--share", "10", "second_tip.s2p")
    return {q["quantity"]: (q["value"], q["u"], q["u95"]) for q in told["files"][0]["quantities"]}


def standards_measured(d):
    """half widths through two calibrations: the second's standards are known by what the first one made of them"""
    rng, t = random.Random(71), Tally("standards that were measured themselves")
    drawn_plan(d, "unknown_thru")
    second_plan(d)
    for _ in range(DRAWS):
        transfer_files(d, rng)
        second_files(d, rng)
        tally_chain(t, second_chain(d))
    t.check(10)


def standards_measured_documents(d):
    """the first calibration's open moves all three of the second's standards together; data_u in the place of documents; what is said"""
    none = random.Random(0)
    none.gauss = lambda a, b: 0
    drawn_plan(d, "unknown_thru")
    second_plan(d)
    transfer_files(d, none)
    second_files(d, none)
    second_chain(d)
    doc = document(d, "second_tip.u.json")
    names = [x["name"] for x in doc["causes"]]
    check("each cause of the data stands once, and their own touches and noise by their names", names.count("open: data: open: C0, port 1") == 1 and not any(n.startswith("short: data: open: C0") for n in names)
          and {"short: data: touch R, port 1", "load: data: noise, S22"} <= set(names) and len(set(names)) == len(names), names)
    check("what is not known of the data either is named", "open: data: drift since the calibration" in doc["not_counted"] and not any("definition of" in x and "thru" not in x for x in doc["not_counted"]), doc["not_counted"])
    sides = []
    for sign in (1, -1):
        transfer_files(d, none, [0.02 * sign, 0])
        second_chain(d)
        sides.append(read_s2p(d.at("second_tip.s2p"))[1])
    cause, worst, most = [x for x in doc["causes"] if x["name"] == "open: data: open: C0, port 1"][0], 0, 1e-12
    for i in range(len(HZ)):
        for k, word in enumerate(("s11", "s12", "s21", "s22")):
            is_ = (sides[0][i][k] - sides[1][i][k]) / 0.04
            worst, most = max(worst, abs(is_ + at(cause, word, i))), max(most, abs(is_))  # a belief of the first: the other sign
    within("a wrong open of the first calibration goes through the second as said (at most %.2g)" % most, worst / most, 1e-3)
    with open(d.at("second.json")) as f:
        plan = json.load(f)
    plan["standards"][0]["data_u"] = 0.003
    d.plan("second.json", **plan)
    second_chain(d)
    names = [x["name"] for x in document(d, "second_tip.u.json")["causes"]]
    check("data_u stands in the place of a document", "open: data, S11 real" in names and "short: data: open: C0, port 1" in names and "open: data: touch R, port 1" not in names, names)
    with open(d.at("known/t_short.s2p"), "a") as f:
        f.write("! edited\n")
    refused(d, "an ideal that was edited under its document", ["solve", "second.json", "--out", "x.json"], "standard short", "t_short.u.json", "earlier state", "--no-causes")
    rc, out, err = d.run("solve", "second.json", "--no-causes", "--out", "x.json")
    check("--no-causes does not look", rc == 0, err)


if __name__ == "__main__":
    if "--draws" in sys.argv:
        at_ = sys.argv.index("--draws")
        DRAWS = int(sys.argv[at_ + 1])
        del sys.argv[at_ : at_ + 2]
    parts = [data_of_files, data_of_a_thru_too, data_causes, drift_since, drift_causes, one_port_files_of_a_calibration, one_port_documents, leads_of_a_transistor, leads_documents, joined_pairs, joined_documents, four_ports, four_documents, standards_measured, standards_measured_documents]
    if "--only" in sys.argv:
        at_ = sys.argv.index("--only")
        parts = [p for p in parts if sys.argv[at_ + 1] in p.__name__]
        del sys.argv[at_ : at_ + 2]
    sys.exit(run(*parts))

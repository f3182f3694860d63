#!/usr/bin/env python3
"""Every key of a standard's model that says how well it is known, in every method: what the document claims of it against a standard that is really so wrong, at one port,
at the other, and at both; and whole calibrations drawn whose reflects differ from port to port.

offline_uncertainty_keys.py [--build DIR] [--print] [--draws N] [--only WORD of the parts' names]
The made-up analyzer is that of offline_uncertainty.py, the standards are this file's own, both written apart from the product.
"""
import copy
from offline_uncertainty import *
from offline_uncertainty_kinds import Tally

DRAWS = 120
T_C, T_REF_C, DC_AT_C = 45, 25, 35
KEYS = {"u_c_f": ("C0", "c", 3e-16), "u_l_h": ("L0", "l", 4e-13), "u_r_ohm": ("R", "r", 0.1), "u_dc_ohm": ("R", "dc", 0.05), "u_r_per_k": ("R per kelvin", "tc", 4e-5),
        "u_delay_s": ("offset delay", "tau", 1e-14), "u_loss_ohm_s": ("offset loss", "loss", 1e10), "u_z_ohm": ("offset impedance", "z", 1.0)}
OFFSET = {"tau": 0.3e-12, "loss": 5e9, "z": 55.0}
TRUE = {"open": {"c": -6.5e-15, **OFFSET}, "short": {"l": 4e-12, **OFFSET}, "load": {"r": 50.2, "tc": 8e-5, "l": 5e-12, "c": 1e-15, **OFFSET}, "thru": {"tau": 1e-12, "loss": 5e9, "z": 51.0},
        "reflect": {"r": 0.1, "l": 4e-12, "c": 0}}
FIELDS = {"c": "c_f", "l": "l_h", "r": "r_ohm", "tc": "r_per_k", "tau": "delay_s", "loss": "loss_ohm_s", "z": "z_ohm"}
STEP = 0.25  # of u: what is claimed is straight, and a whole u of a match bends lrrm's search by a tenth
SHARED = 0.36  # of the variance: 0.8 of u is a port's own, 0.6 is both ports'


# ---- standards as they are, by the trade's definitions -----------------------------------------------------------------------------------


def offset_line(m, f):
    w, tau, z, loss = 2 * math.pi * f, m.get("tau", 0), m.get("z", 50.0), m.get("loss", 0) * math.sqrt(f / 1e9)
    gl, zc = 1j * w * tau + (1 + 1j) * tau * loss / (2 * z), z + (1 - 1j) * loss / (2 * w)
    return (cmath.cosh(gl), zc * cmath.sinh(gl), cmath.sinh(gl) / zc, cmath.cosh(gl))


def load_ohm(m):
    """R where the chuck is; a load that a meter read has what it read, there"""
    at_, dc_at = 1 + m["tc"] * (T_C - T_REF_C), 1 + m["tc"] * (DC_AT_C - T_REF_C)
    return m["dc"] * at_ / dc_at if "dc" in m else m["r"] * at_


def end_of(kind, m, f):
    w = 2 * math.pi * f
    z = {"open": lambda: 1 / (1j * w * m["c"]), "short": lambda: 1j * w * m["l"], "load": lambda: 1 / (1 / (load_ohm(m) + 1j * w * m["l"]) + 1j * w * m["c"]),
         "reflect": lambda: 1 / (1 / (m["r"] + 1j * w * m["l"]) + 1j * w * m["c"])}[kind]()
    a, b, c_, d = offset_line(m, f)
    return reflection((a * z + b) / (c_ * z + d))


def kinds_of(name):
    return {"open_short": ("open", "short")}.get(name, (name, name))


def stands(name, m, f):
    """S of a standard whose two ends have the numbers m[0], m[1]"""
    if name in LINES:
        e = cmath.exp(-gamma_of(f) * m[0]["um"] * 1e-6 - 2j * math.pi * f * m[0].get("tau", 0))
        return [0j, e, e, 0j]
    if name == "thru":
        return s_of_chain(offset_line(m[0], f))
    g = [end_of(kinds_of(name)[p], m[p], f) for p in range(2)]
    return [g[0], 0j, 0j, g[1]]


def numbers(names, trimmed=False):
    is_ = {n: [dict({"um": LINES[n]} if n in LINES else TRUE[k]) for k in kinds_of(n)] for n in names}
    for m in is_.get("load", []) if trimmed else []:
        m["dc"] = m["r"] * (1 + m["tc"] * (DC_AT_C - T_REF_C))
    return is_


QUIET = random.Random(0)
QUIET.gauss = lambda a, b: 0


def write(d, name, rows):
    d.s2p(name + ".s2p", F_LINES, rows)
    if name == "load":
        d.s1p("load_1.s1p", F_LINES, [r[0] for r in rows])


def write_standard(d, name, m):
    write(d, name, [read(stands(name, m, f), f, QUIET) for f in F_LINES])


HAS_USE = {"u_c_f": ("open", "load", "reflect"), "u_l_h": ("short", "load", "reflect"), "u_r_ohm": ("load", "reflect")}  # the others are of any kind


def stated(kind, keys):
    return {k: KEYS[k][2] for k in keys if kind in HAS_USE.get(k, (kind,))}


# ---- what a plan says of them ------------------------------------------------------------------------------------------------------------


def said(kind, m, keys):
    model = {FIELDS[k]: [m[k], 0, 0, 0] if k in "cl" else m[k] for k in m if k in FIELDS and kind != "reflect"}
    if "dc" in m:
        model.update(dc_ohm=m["dc"], dc_at_c=DC_AT_C)
    return {**model, **({"t_ref_c": T_REF_C} if kind == "load" else {}), **stated(kind, keys)}


def keyed(names, is_, keys, **calibration):
    """a plan that states all keys of all standards"""
    out = []
    for n in names:
        if n in LINES:
            out.append({"name": n, "kind": "line", "file": n + ".s2p", "model": {"length_um": LINES[n], "u_length_um": 1, **stated("line", keys)}})
            continue
        where = {"file_1": "load_1.s1p"} if n == "load" and calibration.get("match_port_1") else {"file": n + ".s2p"}
        kinds = kinds_of(n)
        s = {"name": n, "kind": kinds[0], **where, "model": {**said(kinds[0], is_[n][0], keys), "u_shared": SHARED, "u_length_um": 1}}
        if kinds[0] != kinds[1]:
            s["port_2"] = {"kind": kinds[1], "model": said(kinds[1], is_[n][1], keys)}
        out.append(s)
    return {"standards": out, "temperature_c": T_C, "calibration": {k: v for k, v in calibration.items() if k != "match_port_1"}}


LUMPED, REFLECTED, ALL = ("open", "short", "load", "thru"), ("thru", "open", "short", "load"), [k for k in KEYS if k != "u_dc_ohm"]
LINE_METHOD = dict(eps_eff=EPS, plane="tip", reflect_estimate=-1, line_z_ohm=50)
PLANS = {
    "sol": (LUMPED[:3], dict(method="sol")), "solt": (LUMPED, dict(method="solt")), "unknown_thru": (LUMPED, dict(method="unknown_thru", thru_delay_s=1e-12)),
    "known_standards": (LUMPED, dict(method="known_standards")), "sixteen_term": (LUMPED + ("open_short",), dict(method="sixteen_term")),
    "lrm, short": (("thru", "load", "short"), dict(method="lrm")), "lrm, open and short": (("thru", "load", "open", "short"), dict(method="lrm")),
    "lrm, reflect": (("thru", "load", "reflect"), dict(method="lrm", reflect_estimate=-1)),
    "lrrm": (REFLECTED, dict(method="lrrm", match_port_1=True)), "lrrm, fixed": (REFLECTED, dict(method="lrrm", match_fit="fixed")), "lrrm, from_open": (REFLECTED, dict(method="lrrm", match_fit="from_open")),
    "trl": (("line_1", "line_2", "short"), dict(method="trl", **LINE_METHOD)), "trl, reflect": (("line_1", "line_2", "reflect"), dict(method="trl", **LINE_METHOD)),
    "multiline_trl": (("line_1", "line_2", "line_3", "line_4", "short"), dict(method="multiline_trl", **LINE_METHOD)),
    "joined": (LUMPED + ("line_1", "line_2", "line_3"), dict(thru_delay_s=1e-12, **LINE_METHOD,
               bands=[{"method": "solt", "from_hz": 1, "to_hz": 25e9, "standards": [{"standard": n} for n in LUMPED]},
                      {"method": "multiline_trl", "from_hz": 10e9, "to_hz": 60e9, "standards": [{"standard": n} for n in ("line_1", "line_2", "line_3", "short")]}])),
}
FLOOR = 3e-6  # of S
WORDS_OF = lambda method: ("s11", "s22") if method == "sol" else ("s11", "s12", "s21", "s22")


def corrected(d, method, out, *words):
    rc, _, err = d.run("solve", "plan.json", "--out", "t.json", *words)
    if not rc:
        rc, _, err = d.run("correct", "--terms", "t.json", "device.s2p", "--out", out)
    if rc:
        raise SystemExit("%s: %s" % (method, err))
    return read_s2p(d.at(out))[1]


def refused_key(d, method, name, key):
    """a key that its kind has no use for"""
    plan = document(d, "plan.json")
    [s for s in plan["standards"] if s["name"] == name][0]["model"][key] = KEYS[key][2]
    d.plan("wrong.json", **plan)
    refused(d, "%s: %s of %s" % (method, key, name), ["solve", "wrong.json", "--out", "x.json"], name, key, "has no use for it")


def key_of_a_standard(d, method, doc, still, is_, name, key):
    """one key of one standard: each port, and both ports, are off"""
    if not any(k in HAS_USE.get(key, (k,)) for k in (("line",) if name in LINES else kinds_of(name))):
        refused_key(d, method, name, key)
        return
    number, field, u = KEYS[key] if key != "u_length_um" else ("length", "um", 1)
    causes, nothing = {x["name"]: x for x in doc["causes"]}, "%s: %s (moves nothing)" % (name, key) in doc["not_counted"]
    kinds, two_port = kinds_of(name), name == "thru" or name in LINES
    moved = {}
    for ports in ((0,),) if two_port else ((0,), (1,), (0, 1)):
        m = copy.deepcopy(is_[name])
        if not all(field in m[p] or (name in LINES and field == "tau") for p in ports):
            continue
        for p in ports:
            m[p][field] = m[p].get(field, 0) + STEP * u
        write_standard(d, name, m)
        rows = corrected(d, method, "moved.s2p", "--no-causes")
        write_standard(d, name, is_[name])
        moved[ports] = [[(rows[i][k] - still[i][k]) / STEP for k in range(4)] for i in range(len(F_LINES))]
    claimed = [n for n in causes if n.startswith("%s: %s" % (name, number)) and n[len(name) + 2 + len(number):][:1] in ("", ",")]
    if not moved or nothing:  # nothing of this kind has that number, or the method does not mind it
        check("%s: %s of %s: no claim, and it is named" % (method, key, name), nothing and not claimed, (claimed, doc["not_counted"]))
    one_number = kinds[0] == kinds[1] and not two_port
    for ports, rows in moved.items():
        where = "" if two_port else ", port %d" % (ports[0] + 1) if len(ports) == 1 else ", both ports"
        at_both, one_read = key == "u_dc_ohm", name == "load" and PLANS[method][1].get("match_port_1")
        scale = 1 if two_port or at_both or not one_number or one_read else 0.8 if len(ports) == 1 else 0.6
        if (at_both and len(ports) == 1) or (not one_number and len(ports) == 2):  # one reading is not off at one port alone; unlike ends share nothing
            continue
        cause = causes.get("%s: %s%s" % (name, number, ", port 1" if at_both and one_read else where))
        worst = most = 0
        for i in range(len(F_LINES)):
            for word in WORDS_OF(method):
                is_so, claim = rows[i][("s11", "s12", "s21", "s22").index(word)], -at(cause, word, i) / scale if cause else 0j
                worst, most = max(worst, abs(is_so - claim)), max(most, abs(is_so))
        if scale == 1 and one_number and not at_both and len(ports) == 2:
            continue  # a match that is read at one port alone
        within("%s: %s of %s%s does what is claimed, %.2g" % (method, key, name, where, most), worst, 0.1 * most + FLOOR)


def every_key(d):
    for trimmed in (False, True):
        for method, (names, calibration) in PLANS.items():
            if trimmed and "load" not in names:
                continue
            is_, keys = numbers(names, trimmed), ALL + (["u_dc_ohm"] if trimmed else [])
            d.plan("plan.json", **keyed(names, is_, keys, **calibration))
            for n in names:
                write_standard(d, n, is_[n])
            write(d, "device", [read(structures(2 * math.pi * f)[0], f, QUIET) for f in F_LINES])
            still = corrected(d, method, "tip.s2p")
            doc = document(d, "tip.u.json")
            for name in ("load",) if trimmed else names:
                for key in ("u_dc_ohm", "u_r_per_k") if trimmed else ALL + ["u_length_um"]:
                    key_of_a_standard(d, method, doc, still, is_, name, key)
            if trimmed:
                ids = [x["id"] for x in doc["causes"] if x["name"].startswith("load: R,")]
                if method == "lrrm, from_open":  # which finds the resistance itself
                    check("%s: a load's resistance moves nothing" % method, not ids and "load: u_dc_ohm (moves nothing)" in doc["not_counted"], doc["not_counted"])
                    continue
                check("%s: one reading of a load is one cause" % method, len(ids) == 1, [x["name"] for x in doc["causes"]])


# ---- draws -------------------------------------------------------------------------------------------------------------------------------

NUMBERS = {"Lser": lambda s, w: series_z(s).imag / w, "Rser": lambda s, w: series_z(s).real, "Qser": lambda s, w: series_z(s).imag / series_z(s).real,
           "S11_dB": lambda s, w: 20 * math.log10(abs(s[0])), "S22_dB": lambda s, w: 20 * math.log10(abs(s[3])), "S21_dB": lambda s, w: 20 * math.log10(abs(s[2]))}


def series_z(s):
    m, n = chain_of_s(s)
    return m[1] / n


def drawn(d, method, calibration, names, shared, draws, seed, noise=1):
    """reflects, loads and lines off by what is stated, each port by itself or (shared) both alike, with touches and noise"""
    kept = {k: U[k] for k in ("floor", "trace")}
    U.update({k: noise * u for k, u in kept.items()})
    rng, t = random.Random(seed), Tally("%s, %d %% of it shared" % (method, 100 * shared))
    coil = lambda f: s_of_chain(mul(shunt(2j * math.pi * f * SIDE_F), series(COIL_OHM + 2j * math.pi * f * COIL_H)))
    is_ = numbers(names)
    plan = keyed(names, is_, [], **calibration)
    for s in plan["standards"]:
        s["model"].pop("u_shared", None)
        keys = {"open": ("u_c_f",), "short": ("u_l_h",), "load": ("u_r_ohm", "u_l_h"), "thru": ("u_delay_s",)}.get(s["name"], ())
        s["model"].update({**{k: KEYS[k][2] for k in keys}, **({"u_shared": shared} if shared and s["name"] in ("open", "short", "load") else {})})
    d.plan("plan.json", contact_ohm_u=U["touch_ohm"], contact_h_u=U["touch_h"], noise_floor_u=U["floor"], noise_trace_u=U["trace"], **plan)
    for _ in range(draws):
        for n in names:
            m = copy.deepcopy(is_[n])
            if n in LINES:
                m[0]["um"] += rng.gauss(0, 1)
            elif n == "thru":
                m[0]["tau"] += KEYS["u_delay_s"][2] * rng.gauss(0, 1)
            for key in {"open": ("u_c_f",), "short": ("u_l_h",), "load": ("u_r_ohm", "u_l_h")}.get(n, ()):
                both = rng.gauss(0, 1)
                for p in range(2):
                    m[p][KEYS[key][1]] += KEYS[key][2] * (math.sqrt(shared) * both + math.sqrt(1 - shared) * rng.gauss(0, 1))
            touched = {**touch(rng), "x": [0, 0]}
            rows = []
            for f in F_LINES:
                s, w = stands(n, m, f), 2 * math.pi * f
                s = two_port_moved(s, touched, w) if n == "thru" or n in LINES else [one_port_moved(s[0], touched, 0, w), 0j, 0j, one_port_moved(s[3], touched, 1, w)]
                rows.append(read(s, f, rng))
            write(d, n, rows)
        touched = {**touch(rng), "x": [0, 0]}
        write(d, "device", [read(two_port_moved(coil(f), touched, 2 * math.pi * f), f, rng) for f in F_LINES])
        corrected(d, method, "tip.s2p")
        for q in d.json("extract", "--quantity", ",".join(NUMBERS), "--share", "10", "tip.s2p")["files"][0]["quantities"]:
            for i, f in enumerate(F_LINES):
                if q["u"][i] is not None and f in (8e9, 20e9, 50e9):
                    t.add("%s at %g GHz" % (q["quantity"], f / 1e9), 1e9 if q["value"][i] is None else q["value"][i], q["u"][i], q["u95"][i], NUMBERS[q["quantity"]](coil(f), 2 * math.pi * f))
    U.update(kept)
    t.check(9)


def drawn_reflects(d):
    for k, (method, shared) in enumerate((("lrm, short", 0), ("lrrm", 0), ("lrrm, fixed", 0), ("trl", 0), ("multiline_trl", 0), ("lrrm", 0.9), ("solt", 0.9))):
        names, calibration = PLANS[method]
        drawn(d, method, calibration, names, shared, DRAWS, 60 + k, 1)


# ---- a match that is found -----------------------------------------------------------------------------------------------------------------


def found_match(d):
    """noise of what was read of the standards, and of nothing else: it moves each frequency and, through the match that is found, all of them"""
    global F_LINES
    kept, draws = F_LINES, max(60, DRAWS)
    for method, fit, many, least in (("lrrm", "inductance", False, 1.15), ("lrrm, from_open", "from_open", False, 1.15), ("lrrm", "inductance_and_capacitance", True, 1.15)):
        F_LINES = [2e9 * 110 ** (k / 40) for k in range(41)] if many else kept
        names, calibration = PLANS[method]
        rng, is_ = random.Random(90), numbers(names)
        for m in [m for n in REFLECTED[1:] for m in is_[n] if many]:
            m.update(tau=0, loss=0)  # an open behind a lossy offset is not lossless, and L and C together are too near each other to bear that
        d.plan("plan.json", noise_floor_u=U["floor"], noise_trace_u=U["trace"], **keyed(names, is_, [], **{**calibration, "match_fit": fit}))
        for n in names:
            write_standard(d, n, is_[n])
        write(d, "device", [read(structures(2 * math.pi * f)[0], f, QUIET) for f in F_LINES])
        still = corrected(d, method, "tip.s2p", "--no-causes")
        for n in names:
            write(d, n, [read(stands(n, is_[n], f), f, rng) for f in F_LINES])
        corrected(d, method, "tip.s2p")
        doc = document(d, "tip.u.json")
        causes = [c for c in doc["causes"] if not c["name"].startswith("own: ")]
        found = [c["name"] for c in causes if c["name"].endswith("found, noise")]
        check("%s: what noise makes of the match is a cause" % fit, found == ["load: L found, noise"] + {"inductance": [], "from_open": ["load: R found, noise"]}.get(fit, ["load: C found, noise"]), found)
        seen = {(i, w): 0 for i in range(len(F_LINES)) for w in WORDS_OF(method)}
        for _ in range(draws):
            for n in names:
                write(d, n, [read(stands(n, is_[n], f), f, rng) for f in F_LINES])
            for i, s in enumerate(corrected(d, method, "moved.s2p", "--no-causes")):
                for k, w in enumerate(WORDS_OF(method)):
                    seen[i, w] += abs(s[k] - still[i][k]) ** 2 / draws
        other = [c["name"] for c in causes if c["name"] == "load: another pair of L and C"]
        check("%s: another pair of L and C is %s cause" % (fit, "a" if many else "no"), bool(other) == many, other)
        said = lambda i, w, all_: sum(abs(at(c, w, i)) ** 2 * (2 if c["kind"] == "noise" else 1) for c in causes if c["name"] not in other and (all_ or c["name"] not in found))
        ratios = {x: math.sqrt(seen[x] / said(*x, True)) for x in seen}
        worst = max(ratios, key=lambda x: abs(ratios[x] - 1))
        check("%s: over %d draws noise moves S by %.2f to %.2f of what is said" % (fit, draws, min(ratios.values()), max(ratios.values())), abs(ratios[worst] - 1) <= 4 / math.sqrt(2 * draws) + 0.05, (worst, ratios[worst]))
        without = max(math.sqrt(seen[x] / said(*x, False)) for x in seen)
        check("%s: without the match's cause it would be up to %.2f" % (fit, without), without > least, without)
    F_LINES = kept


if __name__ == "__main__":
    if "--draws" in sys.argv:
        at_ = sys.argv.index("--draws")
        DRAWS = int(sys.argv[at_ + 1])
        del sys.argv[at_ : at_ + 2]
    parts = [every_key, drawn_reflects, found_match]
    if "--only" in sys.argv:
        at_ = sys.argv.index("--only")
        parts = [p for p in parts if sys.argv[at_ + 1] in p.__name__]
        del sys.argv[at_ : at_ + 2]
    sys.exit(run(*parts))

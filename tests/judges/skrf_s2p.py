#!/usr/bin/env python3
"""A demo run's files in the hands of scikit-rf: it reads every exported .s2p, and corrects the same raw data by itself.

usage: skrf_s2p.py BUILD      from the repository's root, in an environment with scikit-rf 2 and NumPy
From the exported run file come the raw standards with their models and the raw devices; scikit-rf solves its unknown thru with the mean switch terms of the
thru, corrects, and takes pads and leads away by the die's own dummies where the recipe says so.  Everything must agree to 1e-9.
"""
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import warnings

import numpy as np
import numpy.typing  # scikit-rf needs it imported before with old NumPy
import skrf
from skrf.calibration.calibration import UnknownThru
from skrf.calibration.deembedding import Open, OpenShort

REPO = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
sys.path.insert(0, os.path.join(REPO, "tests", "station"))
from programs import Count, Programs, WIDE, load  # noqa: E402

warnings.simplefilter("ignore")
LIMIT = 1e-9
TYPES = {"c64le": "<c8", "c64be": ">c8", "c128le": "<c16", "c128be": ">c16"}
count = Count()


def network(f, s, name=""):
    return skrf.Network(frequency=skrf.Frequency.from_f(f, unit="hz"), s=s, z0=50, name=name)


class Raw:
    """The raw sweeps of a run file."""

    def __init__(self, path):
        self.db = sqlite3.connect("file:%s?immutable=1" % path, uri=True)

    def trace(self, sweep, name):
        row = self.db.execute("SELECT dtype, raw FROM trace WHERE sweep=? AND name=?", (sweep, name)).fetchone()
        return np.frombuffer(row[1], TYPES[row[0]]).astype(complex) if row else None

    def network(self, sweep):
        f = np.frombuffer(self.db.execute("SELECT freq_hz FROM axis a JOIN sweep s ON s.axis=a.id WHERE s.id=?", (sweep,)).fetchone()[0], "<f8")
        s = np.empty((len(f), 2, 2), complex)
        for i in range(2):
            for j in range(2):
                s[:, i, j] = self.trace(sweep, "S%d%d" % (i + 1, j + 1))
        return network(f, s)


def reflection(kind, model, f):
    """Of the bare end in 50 ohm; C and L are polynomials in f."""
    w = 2 * np.pi * f
    poly = lambda c: sum(c[k] * f ** k for k in range(len(c)))
    if kind == "open":
        y = 1j * 50 * w * poly(model["c_f"])
        return (1 - y) / (1 + y)
    z = (1j * w * poly(model["l_h"]) if kind == "short" else model["r_ohm"] + 1j * w * model["l_h"][0]) / 50
    return (z - 1) / (z + 1)


def calibration(raw, recipe):
    """scikit-rf's unknown thru from the raw standards of the only accepted calibration."""
    (number, which), = raw.db.execute("SELECT number, id FROM calibration WHERE state='accepted'")
    kinds = {s["name"]: s["kind"] for s in recipe["standards"]}
    models = {s["name"]: dict({"c_f": [0, 0, 0, 0], "l_h": [0, 0, 0, 0], "r_ohm": 50}, **s["model"]) for s in recipe["standards"]}
    measured, ideals, thru, gammas = [], [], None, None
    for name, sweep in raw.db.execute("SELECT standard, sweep FROM standard WHERE calibration=? ORDER BY n", (which,)):
        m = raw.network(sweep)
        if kinds[name] == "thru":
            thru, gammas = m, [raw.trace(sweep, "GF"), raw.trace(sweep, "GR")]
            continue
        g = reflection(kinds[name], models[name], m.f)
        s = np.zeros((len(m.f), 2, 2), complex)
        s[:, 0, 0] = s[:, 1, 1] = g
        measured.append(m)
        ideals.append(network(m.f, s, name))
    delay = recipe["calibration"]["thru_delay_s"]
    s = np.zeros((len(thru.f), 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = np.exp(-2j * np.pi * thru.f * delay)
    switch = tuple(network(thru.f, g.reshape(-1, 1, 1)) for g in gammas)
    cal = UnknownThru(measured=measured + [thru], ideals=ideals + [network(thru.f, s, "thru")], switch_terms=switch)
    cal.run()
    return cal, number


def far(a, b):
    return float(np.max(np.abs(a.s - b.s)))


def judge(raw, recipe, folder, names):
    cal, number = calibration(raw, recipe)
    measures = {m["device"]: m for m in recipe["measures"]}
    sweeps = {(x, y, d, c): n for x, y, d, c, n in raw.db.execute(
        "SELECT die_x, die_y, device, condition, max(id) FROM v_sweep WHERE use='device' GROUP BY die_x, die_y, device, condition")}
    worst, tips, n = {}, {}, 0

    def tip(x, y, device, condition=0):
        key = (x, y, device, condition)
        if key not in tips:
            tips[key] = cal.apply_cal(raw.network(sweeps[key]))
        return tips[key]
    for (x, y, device, condition), sweep in sorted(sweeps.items()):
        if device == "LADDER":
            continue
        m, want = measures[device], tip(x, y, device, condition)
        name = "x%dy%d_%s%s.s2p" % (x, y, device, "_c%d" % condition if condition else "")
        if name not in names:
            continue  # counted by the caller
        ours = names.pop(name)
        if m.get("deembed") == "open_short":
            want = OpenShort(dummy_open=tip(x, y, m["open"]), dummy_short=tip(x, y, m["short"])).deembed(want)
        elif m.get("deembed") == "open":
            want = Open(dummy_open=tip(x, y, m["open"])).deembed(want)
        d = far(ours, want)
        at = int(np.argmax(np.max(np.abs(ours.s - want.s), axis=(1, 2))))
        if d >= worst.get(device, (0,))[0]:
            worst[device] = (d, name, ours.f[at])
        n += 1
    for device, (d, name, hz) in sorted(worst.items()):
        count.check(d <= LIMIT, "%s: scikit-rf's own correction%s agrees to %.1e (worst: %s at %.4g GHz)" % (
            device, {"open_short": " and open-short", "open": " and open"}.get(measures[device].get("deembed"), ""), d, name, hz / 1e9))
    return n


def main():
    build = sys.argv[1] if len(sys.argv) > 1 else "build/debug"
    folder = tempfile.mkdtemp(prefix="tipplane-s2p-")
    p = Programs(build, os.path.join(folder, "house"), WIDE[1], 7)
    out = os.path.join(folder, "export")
    recipe = json.loads(load(WIDE[0]))
    try:
        p.up()
        run = p.start_run(load(WIDE[0]))
        row = p.wait_sealed(run, 600)
        done = subprocess.run([os.path.join(p.build, "tipplane"), "export", run, "--to", out, "--address", "http://127.0.0.1:%d" % p.port], capture_output=True, text=True)
        count.check(done.returncode == 0, "tipplane export: %s" % (done.stdout.strip() or done.stderr.strip()), done.stderr.strip())
        p.stop()
        files = sorted(f for f in os.listdir(out) if f.endswith(".s2p"))
        read, bad = {}, []
        for f in files:
            try:
                n = skrf.Network(os.path.join(out, f))
                if n.nports != 2 or not np.all(np.isfinite(n.s)) or not np.all(np.abs(n.z0 - 50) == 0):
                    bad.append("%s: %d ports, z0 %s" % (f, n.nports, n.z0[0]))
                read[f] = n
            except Exception as e:  # whatever a reader says of a file is the verdict on the file
                bad.append("%s: %s" % (f, e))
        measured = row["progress"]["counts"]["measured"]
        count.check(not bad and len(files) >= measured, "scikit-rf %s reads every one of %d .s2p files, in 50 ohm (%d devices measured)" % (skrf.__version__, len(files), measured), bad[:3])
        raw = Raw(os.path.join(out, run + ".run"))
        f = np.frombuffer(raw.db.execute("SELECT freq_hz FROM axis LIMIT 1").fetchone()[0], "<f8")
        count.check(all(np.array_equal(n.f, f) for n in read.values()), "their frequencies are the instrument's own, bit for bit (%d points)" % len(f))
        n = judge(raw, recipe, out, read)
        count.check(n == measured and not [k for k in read if "_n" not in k], "compared: %d files (%d not)" % (n, len(read)), list(read)[:4])
    except (AssertionError, OSError, ValueError) as e:
        count.fail("%s: %s" % (type(e).__name__, e))
    finally:
        p.abandon()
        shutil.rmtree(folder, ignore_errors=True)
    count.end()


main()

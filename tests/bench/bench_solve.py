#!/usr/bin/env python3
"""What a point costs to solve, to de-embed and to fit: scikit-rf on the same raw data, one core.

usage: bench_solve.py PATH_TO_bench_solve    (needs scikit-rf; without it the C side alone is printed)
"""
import glob
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
import warnings

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"  # one core against one core


def middle(once, points, least=5):
    once()
    times = []
    for _ in range(least):
        begun = time.thread_time()
        once()
        times.append((time.thread_time() - begun) * 1e9 / points)
    return statistics.median(times)


def scikit_rf(program):
    """ns per point of each method on what `bench_solve --write` made; {} without scikit-rf."""
    try:
        import numpy as np
        import skrf
    except ImportError:
        return {}
    warnings.simplefilter("ignore")
    c = skrf.calibration
    ns = {"version": skrf.__version__}
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([program, "--write", folder], check=True)

        def load(word):
            raw, ideal = [], []
            for k in range(len(glob.glob(f"{folder}/{word}_[0-9].s2p"))):
                raw.append(skrf.Network(f"{folder}/{word}_{k}.s2p"))
                path = f"{folder}/{word}_ideal_{k}.s2p"
                ideal.append(skrf.Network(path) if os.path.exists(path) else None)
            sw = skrf.Network(f"{folder}/{word}_switch.s2p")
            return raw, ideal, [sw.s21, sw.s12]

        def take(word, make):
            """The order of arguments is scikit-rf's; the data are bench_solve's."""
            raw, ideal, switch = load(word)

            def once():
                make(raw, ideal, switch).run()
            ns[word] = middle(once, len(raw[0]), 3)

        one = lambda nets: [n.s11 for n in nets]
        take("sol", lambda m, i, s: c.OnePort(one(m), one(i)))
        take("solt", lambda m, i, s: c.SOLT(m, i))
        take("unknown_thru", lambda m, i, s: c.UnknownThru(m, i[:3] + [i[2]], switch_terms=s))
        take("lrm", lambda m, i, s: c.LRM(m, [i[0], i[0], i[2]], switch_terms=s))
        take("lrrm", lambda m, i, s: c.LRRM(m, [i[0], i[3], i[3], i[3]], switch_terms=s, z0=50, match_fit="l"))
        take("trl", lambda m, i, s: c.TRL([m[0], m[2], m[1]], [None, -1, None], n_reflects=1, switch_terms=s))
        lengths = [200e-6, 450e-6, 900e-6, 1800e-6, 3500e-6]
        take("multiline_trl", lambda m, i, s: c.NISTMultilineTRL([m[0], m[-1], *m[1:-1]], [-1], lengths, er_est=5, refl_offset=[-100e-6], switch_terms=s))
        take("sixteen_term", lambda m, i, s: c.SixteenTerm(m, i, switch_terms=s))

        raw, ideal, _ = load("sol")
        noisy = ideal[0].copy()
        dummy = c.deembedding.OpenShort(ideal[0], ideal[1])
        noisy.s[:, 0, 1] = noisy.s[:, 1, 0] = 0.1
        ns["open_short"] = middle(lambda: dummy.deembed(noisy), len(noisy))

    for points, order in ((1001, 8), (2001, 20)):
        f = 1e8 + 2.199e11 * np.arange(points) / (points - 1)
        s, h = 2j * np.pi * f, 0.1
        for k in range(order // 2):
            w = 2 * np.pi * 2e11 * (k + 1) / (order / 2 + 0.5)
            p, r = complex(-0.02 * w, w), complex(0.01 * w, 0.004 * w)
            h = h + r / (s - p) + r.conjugate() / (s - p.conjugate())
        h = h + 1e-4 * np.sin(12.9898 * np.arange(points)) + 1e-4j * np.cos(78.233 * np.arange(points))
        net = skrf.Network(f=f, f_unit="hz", s=h.reshape(-1, 1, 1), z0=50)

        def fit():
            v = skrf.vectorFitting.VectorFitting(net)
            v.vector_fit(n_poles_real=0, n_poles_cmplx=order // 2)
        ns[f"vector_fit_{order}"] = middle(fit, points, 3)
    return ns


def main():
    ours = json.loads(subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout)
    theirs = scikit_rf(sys.argv[1])
    print(f"{'ns per point':20}{'here':>10}{'scikit-rf':>12}{'ratio':>8}{'workspace/input':>18}")
    rows = dict(ours["solve"], open_short=ours["open_short"], vector_fit_8=ours["vector_fit_8"], vector_fit_20=ours["vector_fit_20"])
    for word, row in rows.items():
        other = f"{theirs[word]:12.0f}{theirs[word] / row['ns']:8.0f}" if word in theirs else f"{'':20}"
        print(f"{word:20}{row['ns']:10.1f}{other}{row.get('workspace_over_input', float('nan')):18.2f}")
    print(f"scikit-rf {theirs['version']}, one core" if theirs else "scikit-rf is not installed: its column is empty")


if __name__ == "__main__":
    main()

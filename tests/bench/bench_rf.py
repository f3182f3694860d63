#!/usr/bin/env python3
"""Correction of a sweep: the C kernels beside scikit-rf on one core and beside a copy of the same bytes.

usage: bench_rf.py PATH_TO_bench_rf    (needs scikit-rf; without it the C side alone is printed)
"""
import json
import os
import statistics
import subprocess
import sys
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"  # one core against one core


def scikit_rf(points):
    """ns per point of apply_cal for eight terms with switch terms and for twelve terms; None without scikit-rf"""
    try:
        import numpy as np
        import skrf
    except ImportError:
        return None
    rng = np.random.default_rng(1)
    f = skrf.Frequency.from_f(70e3 + 323.5e6 * np.arange(points), unit="hz")
    draw = lambda size, at=0: at + size * (rng.standard_normal(points) + 1j * rng.standard_normal(points))
    one_way = lambda d: {f"{d} directivity": draw(0.05), f"{d} source match": draw(0.05), f"{d} reflection tracking": draw(0.05, 0.7)}
    eight = {**one_way("forward"), **one_way("reverse"), "k": draw(0.05, 0.7), "forward switch term": draw(0.05), "reverse switch term": draw(0.05), "forward isolation": draw(0), "reverse isolation": draw(0)}
    twelve = {**one_way("forward"), **one_way("reverse")}
    for d in ("forward", "reverse"):
        twelve.update({f"{d} load match": draw(0.05), f"{d} transmission tracking": draw(0.05, 0.7), f"{d} isolation": draw(0)})
    raw = skrf.Network(frequency=f, s=0.2 * (rng.standard_normal((points, 2, 2)) + 1j * rng.standard_normal((points, 2, 2))), z0=50)
    result = {}
    for word, cal in (("eight_terms_with_switch", skrf.calibration.EightTerm.from_coefs(f, eight)), ("twelve_terms", skrf.calibration.TwelveTerm.from_coefs(f, twelve))):
        cal.apply_cal(raw)
        times = []
        for _ in range(15):
            begun = time.thread_time()
            cal.apply_cal(raw)
            times.append((time.thread_time() - begun) * 1e9 / points)
        result[word] = statistics.median(times)
    result["version"] = skrf.__version__
    return result


def main():
    ours = json.loads(subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout)
    theirs = scikit_rf(ours["points"])
    print(f"correction, {ours['points']} points, ns per point (+- half spread of the middle five of nine)")
    print(f"{'':30}{'cache':>16}{'memory':>18}{'copy/this, memory':>20}{'scikit-rf/this, cache':>24}")
    for word in ("memcpy", "copy", "copy_with_switch", "eight_terms", "eight_terms_with_switch", "twelve_terms"):
        cache = ours[f"{word}_cache_ns"]
        cell = lambda where: f"{ours[f'{word}_{where}_ns']:.1f} +- {ours[f'{word}_{where}_spread_ns']:.1f}"
        ratio = "" if word.startswith(("copy", "mem")) else f"{ours[f'{word}_memory_ratio']:.2f}"
        other = theirs.get(word) if theirs else None
        beside = f"{other / cache:.0f} ({other:.0f} ns)" if other else ""
        print(f"{word:30}{cell('cache'):>16}{cell('memory'):>18}{ratio:>20}{beside:>24}")
    print(f"rounding error of the correction over what rounding its inputs costs: {ours['rounding_over_floor']:.2f}")
    print(f"scikit-rf {theirs['version']}, one core" if theirs else "scikit-rf is not installed: its column is empty")


if __name__ == "__main__":
    main()

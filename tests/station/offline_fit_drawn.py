#!/usr/bin/env python3
"""Elements of circuits fitted to noisy S, against the elements that the S are made of: of so many draws the half widths must hold the truth as often as they
say, element by element, and the model must lie no further from the noiseless device than the error that it states.

offline_fit_drawn.py [--build DIR] [--print]      FIT_DRAWS=1000 as make coverage has it, 150 in make test
Truth: the circuits' own equations (Yue & Wong, IEEE Trans. ED 47 (2000) 560), written here.
"""
import random
from offline_kit import *

U = 3e-4  # of each real and imaginary part
DRAWS = int(os.environ.get("FIT_DRAWS", "150"))
HZ = [0.2e9 * 1.08 ** k for k in range(88)]  # to 162 GHz
TRUE = {
    "inductor": {"ls": 0.6e-9, "rs": 3.0, "cp": 5e-15, "cox1": 35e-15, "rsub1": 260.0, "csub1": 14e-15, "cox2": 31e-15, "rsub2": 310.0, "csub2": 12e-15},
    "capacitor": {"c": 120e-15, "rs": 2.5, "ls": 14e-12, "cox1": 9e-15, "cox2": 6e-15},
    "resistor": {"r": 75.0, "l": 18e-12, "c": 4e-15, "cg1": 7e-15, "cg2": 5e-15},
}


def ends_of(kind, e, n, w):
    if kind == "inductor":
        return 1 / (1 / (1j * w * e["cox" + n]) + 1 / (1 / e["rsub" + n] + 1j * w * e["csub" + n]))
    return 1j * w * e[("cox" if kind == "capacitor" else "cg") + n]


def s_of(kind, e, f):
    w = 2 * math.pi * f
    if kind == "capacitor":
        ys = 1 / (e["rs"] + 1j * w * e["ls"] + 1 / (1j * w * e["c"]))
    elif kind == "inductor":
        ys = 1 / (e["rs"] + 1j * w * e["ls"]) + 1j * w * e["cp"]
    else:
        ys = 1 / (e["r"] + 1j * w * e["l"]) + 1j * w * e["c"]
    return s_of_y([[ys + ends_of(kind, e, "1", w), -ys], [-ys, ys + ends_of(kind, e, "2", w)]], (50, 50))


def as_often_as_said(k, n, p=0.95):
    """k of n is not among the 0.05 % at either end of the binomial law, and 93 to 97 of 100 is well in any case"""
    law = [math.comb(n, i) * p ** i * (1 - p) ** (n - i) for i in range(n + 1)]
    return 0.93 <= k / n <= 0.97 or (sum(law[: k + 1]) > 5e-4 and sum(law[k:]) > 5e-4)


def drawn(kind):
    def part(d):
        rng, true, inside, complete, beyond = random.Random(kind), TRUE[kind], {n: 0 for n in TRUE[kind]}, 0, 0
        device = [s_of(kind, true, f) for f in HZ]
        for _ in range(DRAWS):
            noisy = lambda x: x + complex(rng.gauss(0, U), rng.gauss(0, U))
            d.s2p("x.s2p", HZ, [[noisy(s[i][j]) for i in (0, 1) for j in (0, 1)] for s in device])
            told = d.json("fit", "--model", kind, "--u", repr(U), "x.s2p")
            found = {e["name"]: e for e in told["elements"]} if told else {}
            if not all(n in found for n in true):
                continue
            complete += 1
            for n in true:
                inside[n] += abs(found[n]["value"] - true[n]) <= 1.959964 * found[n]["u"]
            fitted = {n: found[n]["value"] for n in true}
            off = max(abs(a - b) for s, f in zip(device, HZ) for x, y in zip(s, s_of(kind, fitted, f)) for a, b in zip(x, y))
            beyond += off > told["error"]["worst"]
        check("%s: every draw has all elements" % kind, complete == DRAWS, complete)
        for n in true:
            check("%s: %s within its u95 in %d of %d" % (kind, n, inside[n], complete), as_often_as_said(inside[n], complete), inside[n])
        check("%s: the model lies no further from the noiseless device than the error stated" % kind, beyond == 0, beyond)
    part.__name__ = kind
    return part


if __name__ == "__main__":
    raise SystemExit(run(*[drawn(kind) for kind in TRUE]))

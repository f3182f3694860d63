"""offline_kit.py: what the tests of commands on files share: a folder of files, the real program over them, differences and sentences judged.

Used by offline*.py.  Debian's python3 alone, no packages.
"""
import argparse, json, math, os, subprocess, tempfile
from programs import Count, REPO

count = Count()
show = False
REFERENCE = os.path.join(REPO, "tests", "reference")


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


def columns(document, word):
    return list(zip(document["terms"][word]["re"], document["terms"][word]["im"]))


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


def is_one_sentence(text):
    return text.startswith("tipplane: ") and text.count("\n") == 1 and 30 <= len(text) <= 460 and "(null)" not in text


def refused(d, name, words, *pieces, status=2):
    rc, out, err = d.run(*words)
    missing = [p for p in pieces if p not in err]
    last = err.rstrip("\n").split("\n")[-1] + "\n"  # data that give no answer may have notes before it
    if rc != status or not is_one_sentence(last if status == 1 else err) or missing or out:
        count.fail("%s: exit %d, not said: %s\n  %s%s" % (name, rc, missing, err, out[:200]))
    else:
        count.ok("%s: %s" % (name, err.strip()) if show else "")


def run(*parts):
    """each part in a folder of its own, which --keep leaves behind; the last line counts"""
    global show
    ap = argparse.ArgumentParser()
    ap.add_argument("--build", default="build/debug")
    ap.add_argument("--print", action="store_true")
    ap.add_argument("--keep", metavar="DIR", help="leave the files of each part in DIR/part")
    a = ap.parse_args()
    show = a.print
    program = os.path.abspath(os.path.join(a.build, "tipplane"))
    for part in parts:
        if a.keep:
            os.makedirs(os.path.join(a.keep, part.__name__), exist_ok=True)
            part(Folder(program, os.path.join(a.keep, part.__name__)))
            continue
        with tempfile.TemporaryDirectory() as folder:
            part(Folder(program, folder))
    return count.end()

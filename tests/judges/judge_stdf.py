#!/usr/bin/env python3
"""pystdf, an STDF reader that others wrote, about `tipplane export --stdf`: every record is counted, every coordinate, value, limit and verdict compared with the daemon's own answers.

usage: judge_stdf.py BUILD     from the repository's root, in an environment with pystdf
Real programs on loopback and a tiny run whose limits are so narrow that dies pass, fail and lie between.  The last line is "N passed, N failed, N skipped".
"""
import json
import os
import struct
import subprocess
import sys
import tempfile

from pystdf.IO import Parser
from pystdf import V4

sys.path.insert(0, os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "station"))
from programs import Count, Programs, TINY, load

BUILD = sys.argv[1]
single = lambda x: struct.unpack("<f", struct.pack("<f", x))[0]


class Sink:
    """Records by name, in order, as dictionaries."""

    def __init__(self):
        self.all = []

    def after_begin(self, source):
        pass

    def after_send(self, source, data):
        kind, fields = data
        self.all.append((type(kind).__name__.upper(), dict(zip(kind.fieldNames, fields))))

    def of(self, name):
        return [fields for kind, fields in self.all if kind == name]


def read(path):
    sink = Sink()
    with open(path, "rb") as f:
        parser = Parser(inp=f)
        parser.addSink(sink)
        parser.parse()
    return sink


def narrow(recipe):
    for m in recipe["measures"]:
        for p in m.get("parameters", []):
            if p["name"] == "R_1GHz":
                p["low"], p["high"] = 74.6, 75.3
    return recipe


def judge(count, seen, told, run, map_, devices, parameters):
    kinds = [kind for kind, _ in seen.all]
    asked = [(d["name"], p) for d in devices["devices"] for p in d["parameters"]]
    dies = map_["dies"]
    count.check(kinds[:2] == ["FAR", "MIR"] and kinds[-1] == "MRR" and kinds.count("PCR") == 1 and kinds.count("WIR") == kinds.count("WRR") == 1, "FAR, MIR, a wafer, PCR, MRR", kinds)
    count.check(kinds.count("PIR") == kinds.count("PRR") == len(dies) and kinds.count("PTR") == len(dies) * len(asked), "a part per die, a PTR per asked number", kinds)
    count.check([(r["X_COORD"], r["Y_COORD"]) for r in seen.of("PRR")] == [(d["x"], d["y"]) for d in dies], "coordinates are the map's, in order", "")
    rows = {((r["die"]["x"], r["die"]["y"]), r["device"], r["quantity"]): r for r in parameters["parameters"]}
    flags = {"pass": 0x00, "fail": 0x80, "marginal": 0x40, "none": 0x40}
    worst = "".join(
        "%s %s: %s %s\n" % (d, p["name"], t, rows[((d["x"], d["y"]), device, p["name"])])
        for k, d in enumerate(dies)
        for (device, p), t in zip(asked, seen.of("PTR")[k * len(asked):])
        for r in [rows[((d["x"], d["y"]), device, p["name"])]]
        if t["TEST_TXT"] != device + " " + p["name"]
        or t["TEST_FLG"] != flags[r["verdict"]] | (0x02 if r["value"] is None else 0)
        or (r["value"] is not None and t["RESULT"] != single(r["value"])))
    count.check(not worst, "every value, to a single's last bit, and every verdict", worst[:900])
    first = seen.of("PTR")[:len(asked)]
    count.check(all((t["LO_LIMIT"] == single(p["low"])) if p["low"] is not None else t["OPT_FLAG"] & 0x40 for (_, p), t in zip(asked, first))
                and all((t["HI_LIMIT"] == single(p["high"])) if p["high"] is not None else t["OPT_FLAG"] & 0x80 for (_, p), t in zip(asked, first)), "limits are the recipe's, and a missing one is said to be missing", first)
    count.check(all(t["OPT_FLAG"] & 0x0E == 0x0E and (t["UNITS"] or "1") == p["unit"] for (_, p), t in zip(asked, first)), "units are the recipe's", first)
    verdict = {"pass": 0x00, "fail": 0x08, "marginal": 0x10, "none": 0x10}
    count.check([r["PART_FLG"] for r in seen.of("PRR")] == [verdict[d["verdict"]] for d in dies], "parts pass and fail as the map says", (seen.of("PRR"), dies))
    verdicts = [d["verdict"] for d in dies]
    count.check(len(set(verdicts)) >= 2, "there is more than one verdict to compare", verdicts)
    good = verdicts.count("pass")
    count.check(seen.of("WRR")[0]["GOOD_CNT"] == seen.of("PCR")[0]["GOOD_CNT"] == good and seen.of("WRR")[0]["PART_CNT"] == len(dies), "good parts are counted", seen.of("WRR"))
    for bins, number in (("HBR", "HBIN"), ("SBR", "SBIN")):
        mine = {r[number + "_NUM"]: r[number + "_CNT"] for r in seen.of(bins)}
        parts = [r["HARD_BIN" if bins == "HBR" else "SOFT_BIN"] for r in seen.of("PRR")]
        count.check(mine == {b: parts.count(b) for b in parts}, bins + " counts the parts' bins", (mine, parts))
    count.check(all(t["FAIL_CNT"] == sum(r["verdict"] == "fail" for r in parameters["parameters"] if r["device"] + " " + r["quantity"] == t["TEST_NAM"]) for t in seen.of("TSR")), "TSR counts the fails of each test", seen.of("TSR"))
    mir, wcr = seen.of("MIR")[0], seen.of("WCR")[0]
    count.check(mir["LOT_ID"] == "LOT-9" and run in mir["USER_TXT"] and "UTC" in mir["USER_TXT"] and seen.of("WIR")[0]["WAFER_ID"] == "JUDGED", "lot, wafer, run, and that times are UTC", mir)
    count.check((wcr["WAFR_SIZ"], wcr["DIE_WID"], wcr["DIE_HT"], wcr["WF_UNITS"]) == (map_["diameter_mm"], map_["pitch_x_um"] / 1000, map_["pitch_y_um"] / 1000, 3)
                and wcr["WF_FLAT"] == {0: "R", 90: "U", 180: "L", 270: "D"}[map_["notch_deg"]] and (wcr["POS_X"], wcr["POS_Y"]) == ("R", "U"), "the wafer's size, notch and directions", wcr)
    times = [mir["SETUP_T"], mir["START_T"], seen.of("WIR")[0]["START_T"], seen.of("WRR")[0]["FINISH_T"], seen.of("MRR")[0]["FINISH_T"]]
    count.check(times == sorted(times) and times[0] > 1e9, "times rise", times)
    count.check(told["records"]["PTR"] == kinds.count("PTR") and told["good"] == good and [t["least"] for t in told["tests"]] == [min((t["RESULT"] for t in seen.of("PTR") if t["TEST_NUM"] == q["number"] and not t["TEST_FLG"] & 2), default=None) for q in told["tests"]],
                "`tipplane stdf` reads the same", told)


def hexed(count, folder):
    """The check file of the tests, read by others."""
    path = os.path.join(folder, "check.stdf")
    with open("tests/reference/stdf.hex") as f, open(path, "wb") as out:
        for line in f:
            if not line.startswith("#"):
                out.write(bytes.fromhex(line.split("#")[0]))
    seen = read(path)
    count.check([k for k, _ in seen.all] == "FAR MIR WIR PIR PTR PTR PRR WRR MRR".split(), "the check file has its nine records", seen.all)
    count.check([round(t["RESULT"] * 1e9, 4) for t in seen.of("PTR")][:1] == [1.0125] and seen.of("PRR")[0]["X_COORD"] == -3 and seen.of("MIR")[0]["LOT_ID"] == "LOT7", "and its values", seen.all)


def main():
    count = Count()
    with tempfile.TemporaryDirectory() as folder:
        hexed(count, folder)
        p = Programs(BUILD, folder, scenario=os.path.abspath(TINY[1]))
        try:
            p.up()
            token = os.path.join(folder, "token")
            with open(token, "w") as f:
                f.write(p.token())
            ask = lambda *words: subprocess.run([os.path.join(BUILD, "tipplane"), "--address", "http://127.0.0.1:%d" % p.port, "--token-file", token, *words], capture_output=True, text=True)
            path, recipe = os.path.join(folder, "run.stdf"), os.path.join(folder, "recipe.json")
            with open(recipe, "w") as f:
                json.dump(narrow(json.loads(load(TINY[0]))), f)
            run = ask("run", "start", "--recipe", recipe, "--wafer", "JUDGED", "--lot", "LOT-9", "--print-id").stdout.strip()
            p.wait_sealed(run)
            r = ask("export", run, "--stdf", path)
            count.check(r.returncode == 0, "the run is exported", r.stderr)
            judge(count, read(path), json.loads(subprocess.run([os.path.join(BUILD, "tipplane"), "stdf", path, "--json"], capture_output=True, text=True).stdout), run, *(json.loads(ask(what, run, "--json").stdout) for what in ("map", "devices", "parameters")))
            p.stop()
        finally:
            p.abandon()
    count.end()


if __name__ == "__main__":
    main()

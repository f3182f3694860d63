#!/usr/bin/env python3
"""The worked example of docs/offline.md, as it stands there: the demo's night, its commands one after the other, and every line that the page shows.

offline_example.py [--build DIR] [--print]
"""
import argparse, glob, json, os, re, shlex, subprocess, tempfile, time
from programs import Count, REPO, free_port

parser = argparse.ArgumentParser()
parser.add_argument("--build", default="build/debug")
parser.add_argument("--print", action="store_true")
args = parser.parse_args()
program = os.path.abspath(os.path.join(args.build, "tipplane"))
count = Count()


def night(folder):
    """the demo's run, exported with what the analyzer read; the folder of the raw files"""
    data, port, demo = os.path.join(folder, "data"), free_port(), os.path.join(REPO, "simulators", "demo")
    with open(os.path.join(folder, "up.log"), "w") as log:
        up = subprocess.Popen([program, "up", "--station-config", os.path.join(demo, "station.json"), "--data", data, "--listen", "127.0.0.1:%d" % port], stdout=log, stderr=log, cwd=REPO)
    t = lambda *words: subprocess.run([program, "--address", "http://127.0.0.1:%d" % port, "--token-file", os.path.join(data, "token"), *words], capture_output=True, text=True, cwd=REPO)
    try:
        until = time.monotonic() + 60
        while t("status").returncode and time.monotonic() < until:
            time.sleep(0.2)
        run = t("run", "start", "--recipe", os.path.join(demo, "recipe.json"), "--wafer", "DEMO-01", "--lot", "DEMO", "--print-id").stdout.strip()
        t("wait", run)
        out = t("export", run, "--to", os.path.join(folder, "night"), "--raw")
        if out.returncode:
            raise SystemExit("the demo's night: %s" % out.stderr)
    finally:
        up.terminate()
        up.wait(60)
    return os.path.join(folder, "night", "raw")


def steps():
    """(command, lines shown after it), from the page"""
    with open(os.path.join(REPO, "docs", "offline.md")) as f:
        page = f.read()
    page = page[page.index("## A worked example") : page.index("## The plan")]
    out = []
    for line in page.splitlines():
        if line.startswith("    $B/tipplane ") or re.match("    cd [^/;]*$", line):
            out.append((line.strip(), []))
        elif line.startswith("    ") and out:
            out[-1][1].append(line.strip())
    return [s for s in out if not re.search(r"tipplane (up|runs|export) ", s[0])]


def squeezed(text):
    return re.sub(r"\s+", " ", text)


with tempfile.TemporaryDirectory() as folder:
    where = night(folder)
    plan = os.path.join(where, "plan.json")
    with open(plan) as f:
        p = json.load(f)
    p.update(noise_floor_u=1e-5, noise_trace_u=4e-4)  # as the page says
    with open(plan, "w") as f:
        json.dump(p, f)
    solt = json.loads(json.dumps(p))
    solt["calibration"].update(method="solt", switch_terms=False)
    del solt["switch_terms"]
    with open(os.path.join(where, "solt.json"), "w") as f:
        json.dump(solt, f)
    for command, shown in steps():
        words = shlex.split(command.replace("$B/tipplane", program))
        if words[0] == "cd":
            where = os.path.join(where, words[1])
            continue
        words = [x for w in words for x in (sorted(os.path.relpath(g, where) for g in glob.glob(os.path.join(where, w))) if "*" in w else [w])]
        done = subprocess.run(words, capture_output=True, text=True, cwd=where)
        said = squeezed(done.stdout + done.stderr)
        if args.print:
            print("$ %s\n%s%s" % (command, done.stdout, done.stderr))
        if done.returncode:
            count.fail("%s: exit %d: %s" % (command, done.returncode, done.stderr))
        for line in shown:
            if line == "…":
                continue
            if squeezed(line) in said:
                count.ok("")
            else:
                count.fail("%s\n  does not say what the page shows: %s\n  it says: %s" % (command, line, (done.stdout + done.stderr)[-1500:]))
raise SystemExit(count.end())

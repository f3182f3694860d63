#!/usr/bin/env python3
"""The interface under load: the real daemon on a loopback port with a data folder of its own, its station simulated.  A run that is paused, so that nothing else
wants the processor; the same run on, with fifty viewers; and sealed, when its map is kept in memory after the first question,
and its checks are read from its file each time.

usage: bench_api.py BUILD
"""
import json
import os
import subprocess
import sys
import tempfile
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(os.path.dirname(HERE), "station"))
import programs


def main():
    build = sys.argv[1]
    with tempfile.TemporaryDirectory() as folder:
        p = programs.Programs(build, folder)
        try:
            p.up()
            run = p.start_run(programs.load(programs.WIDE[0]))
            status, live = "/api/v1/station", f"/api/v1/runs/{run}/map"

            def row():
                return p.get(f"/api/v1/runs/{run}")

            def command(word):
                code, _, answer = p.call("POST", f"/api/v1/runs/{run}/commands", {"do": word}, token=True, key=True)
                assert code in (200, 202), answer

            def load(viewers, *documents):
                done = subprocess.run([os.path.join(build, "bench_api"), str(p.port), str(p.p["daemon"].pid), str(viewers), *documents], check=True, stdout=subprocess.PIPE, text=True)
                return json.loads(done.stdout)

            until = time.monotonic() + 60
            while not row()["in_hand"] and time.monotonic() < until:
                time.sleep(0.01)
            time.sleep(2)  # a map with something on it
            command("pause")
            time.sleep(1)
            result = {"paused": load(0, status, live)}
            command("resume")
            result["busy"] = load(50, status, live)
            result["busy"]["run_on"] = bool(row()["in_hand"])  # to the end of the measurement
            p.wait_sealed(run, 600)
            result["sealed"] = load(0, live, f"/api/v1/runs/{run}/checks")
            print(json.dumps(result))
            p.stop()
        finally:
            p.abandon()


if __name__ == "__main__":
    main()

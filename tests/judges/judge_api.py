#!/usr/bin/env python3
"""Two outside judges of the interface: openapi-spec-validator reads the description, schemathesis asks the running daemon what it describes.

usage: judge_api.py BUILD [EXAMPLES]     from the repository's root, in an environment with openapi-spec-validator and schemathesis
Real programs on loopback, a tiny run behind them, so that there is something to describe.  The last line is "N passed, N failed, N skipped".
"""
import os
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "station"))
from programs import Count, Programs, TINY, load

BUILD, EXAMPLES = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 15
DESCRIPTION = "schema/openapi.yaml"
OUT = (
    "events",  # never ends by design
)
CHECKS = "not_a_server_error,status_code_conformance,content_type_conformance,response_headers_conformance,response_schema_conformance,missing_required_header,ignored_auth"
BIN = os.path.dirname(sys.executable)


def description(count):
    r = subprocess.run([os.path.join(BIN, "openapi-spec-validator"), DESCRIPTION], capture_output=True, text=True)
    return count.check(r.returncode == 0, "openapi-spec-validator takes " + DESCRIPTION, (r.stdout + r.stderr)[-1500:])


def ask(count, p, run):
    command = [os.path.join(BIN, "schemathesis"), "run", DESCRIPTION, "--url", "http://127.0.0.1:%d" % p.port, "--checks", CHECKS, "-H", "Authorization: Bearer " + p.token(),
               "--max-examples", str(EXAMPLES), "--phases", "examples,coverage,fuzzing", "--rate-limit", "auto", "--request-timeout", "20", "--seed", "1", "--no-color", "--generation-database", "none",
               "--continue-on-failure", "--warnings", "off"]
    for operation in OUT:
        command += ["--exclude-operation-id", operation]
    with tempfile.TemporaryDirectory() as where:  # it keeps its own notes in the folder where it runs
        command[2] = os.path.abspath(DESCRIPTION)
        r = subprocess.run(command, capture_output=True, text=True, cwd=where)
    print(r.stdout)
    m = re.search(r"Test cases:\s+(.*)", r.stdout) or re.search(r"(\d+ generated.*)", r.stdout)
    count.check(r.returncode == 0, "schemathesis: " + (m[1] if m else "no summary"), r.stderr[-1000:] if not m else "see above")
    count.check(p.p["daemon"].poll() is None and p.p["station"].poll() is None, "both programs live after it", p.tail("daemon"))


def main():
    count = Count()
    if not description(count):
        count.skipped += 1
        print("skipped: schemathesis, until the description is valid")
        count.end()
    with tempfile.TemporaryDirectory() as folder:
        p = Programs(BUILD, folder, scenario=os.path.abspath(TINY[1]))
        try:
            p.up()
            run = p.start_run(load(TINY[0]), "JUDGED")
            p.wait_sealed(run)
            ask(count, p, run)
            p.stop()
        finally:
            p.abandon()
    count.end()


if __name__ == "__main__":
    main()

#!/bin/sh
# The daemon never opens the simulator's truth: strace of both programs through a whole run; the station, which does open it, is the control.
# truth_sealed.sh [--build DIR]
build=build/debug
while [ $# -gt 0 ]; do case $1 in --build) build=$2; shift 2 ;; *) echo "usage: truth_sealed.sh [--build DIR]"; exit 2 ;; esac; done
if ! command -v strace >/dev/null 2>&1; then echo "skipped: strace is not installed"; echo "0 passed, 0 failed, 1 skipped"; exit 0; fi
here=$(dirname "$0"); dir=$(mktemp -d); passed=0; failed=0
trap 'rm -rf "$dir"' EXIT
python3 - "$here" "$build" "$dir" <<'PY' || { echo "FAILED: the run under strace"; cat "$dir"/*.stderr | tail -n 20; failed=$((failed + 1)); }
import os, sys
here, build, folder = sys.argv[1:]
sys.path.insert(0, here)
sys.dont_write_bytecode = True
from programs import Programs, TINY, load
trace = lambda name: ["strace", "-f", "-qq", "-e", "trace=open,openat,openat2,creat,link,linkat,symlink,rename,renameat,renameat2,name_to_handle_at", "-o", os.path.join(folder, name)]
p = Programs(build, folder, TINY[1], 7, daemon_command=trace("daemon.trace"), station_command=trace("station.trace"),
             env={"ASAN_OPTIONS": "detect_leaks=0"})  # the leak check cannot work under another tracer
try:
    p.up()
    run = p.start_run(load(TINY[0]))
    p.wait_sealed(run, 300)
    p.get("/api/v1/runs/%s/parameters.json" % run)
    for name in ("daemon", "station"):  # strace hands SIGTERM on to nobody: the program is its child
        with open("/proc/%d/task/%d/children" % (p.p[name].pid, p.p[name].pid)) as f:
            os.kill(int(f.read().split()[0]), 15)
        assert p.p[name].wait(60) == 0, name
finally:
    p.abandon()
PY
ok() { if [ "$1" = yes ]; then passed=$((passed + 1)); echo "ok: $2"; else failed=$((failed + 1)); echo "FAILED: $2"; fi; }
opens=$(grep -c 'open' "$dir/daemon.trace" 2>/dev/null || echo 0)
ok "$([ "$opens" -gt 100 ] && echo yes)" "the daemon was watched through a whole run: $opens calls that open files"
ok "$(grep -q 'catalogue.db' "$dir/daemon.trace" && echo yes)" "strace sees the daemon's own files (catalogue.db)"
touched=$(grep -E 'truth\.json|/world' "$dir/daemon.trace" | grep -c . )
ok "$([ "$touched" -eq 0 ] && echo yes)" "the daemon opened nothing of the simulator's world: $touched calls name truth.json or its folder"
[ "$touched" -eq 0 ] || grep -E 'truth\.json|/world' "$dir/daemon.trace" | head -n 5
seen=$(grep -c 'truth\.json' "$dir/station.trace")
ok "$([ "$seen" -gt 0 ] && echo yes)" "control: the station's simulator opened the truth $seen times"
echo "$passed passed, $failed failed, 0 skipped"
[ "$failed" -eq 0 ]

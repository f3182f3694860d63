#!/bin/sh
# Both programs under ThreadSanitizer, end to end: a tiny run with viewers that poll, event streams, commands, and the daemon killed and stopped in order in between.
# two_process_tsan.sh [--build DIR]   DIR is a build of VARIANT=tsan (made here when it is not there); no report of TSan is allowed, and there is no suppression file.
# The control: a program with a race, built here the same way, must be reported.
build=build/tsan
while [ $# -gt 0 ]; do case $1 in --build) build=$2; shift 2 ;; *) echo "usage: two_process_tsan.sh [--build DIR]"; exit 2 ;; esac; done
case $build in *tsan*) ;; *) build=build/tsan ;; esac
make VARIANT=tsan "$build/tipplaned" "$build/tipplane-station" >/dev/null || { echo "FAILED: VARIANT=tsan does not build"; echo "0 passed, 1 failed, 0 skipped"; exit 1; }
here=$(dirname "$0"); dir=$(mktemp -d); passed=0; failed=0
trap 'rm -rf "$dir"' EXIT
ok() { if [ "$1" = yes ]; then passed=$((passed + 1)); echo "ok: $2"; else failed=$((failed + 1)); echo "FAILED: $2"; fi; }

printf '#include <pthread.h>\nstatic int n; static void *add(void *a) { for (int i = 0; i < 1000; i++) n++; return a; }\nint main(void) { pthread_t t; pthread_create(&t, 0, add, 0); add(0); pthread_join(t, 0); return 0; }\n' >"$dir/race.c"
gcc -g -O1 -fsanitize=thread "$dir/race.c" -o "$dir/race" -lpthread
TSAN_OPTIONS="exitcode=66 log_path=$dir/control" "$dir/race"; rc=$?
ok "$([ $rc -eq 66 ] && ls "$dir"/control.* >/dev/null 2>&1 && echo yes)" "control: a race is reported (exit $rc)"

TSAN_OPTIONS="exitcode=66 log_path=$dir/report halt_on_error=0 second_deadlock_stack=1" python3 - "$here" "$build" "$dir" <<'PY'; rc=$?
import http.client, json, os, sys, threading, time
here, build, folder = sys.argv[1:]
sys.path.insert(0, here)
from programs import Programs, TINY, load
p = Programs(build, os.path.join(folder, "house"), TINY[1], 7)
end, answers, events = threading.Event(), [0], [0]
run = None

def viewer(paths):
    while not end.is_set():
        for path in paths:
            try:
                status, _, _ = p.call("GET", path.replace("RUN", run or "01ARZ3NDEKTSV4RRFFQ69G5FAV"))
                answers[0] += 1
                if status == 500:
                    print("500 from", path)
            except OSError:
                time.sleep(0.1)

def stream():
    last = None
    while not end.is_set():
        try:
            c = http.client.HTTPConnection("127.0.0.1", p.port, timeout=2)
            c.request("GET", "/api/v1/events", headers={"Last-Event-ID": last} if last else {})
            r = c.getresponse()
            while not end.is_set():
                line = r.readline()
                if not line:
                    break
                if line.startswith(b"id:"):
                    last = line[3:].strip().decode()
                    events[0] += 1
        except (OSError, http.client.HTTPException):
            time.sleep(0.1)

try:
    p.up()
    viewers = [threading.Thread(target=viewer, args=(paths,), daemon=True) for paths in (
        ["/api/v1/station", "/api/v1/runs/RUN", "/api/v1/runs/RUN/map", "/metrics"], ["/api/v1/runs/RUN/parameters.json", "/api/v1/runs/RUN/ribbon", "/healthz"],
        ["/api/v1/runs/RUN/sweeps", "/api/v1/runs/RUN/journal", "/api/v1/runs", "/"], ["/api/v1/runs/RUN/file", "/api/v1/runs/RUN/checks", "/readyz"])]
    viewers += [threading.Thread(target=stream, daemon=True) for _ in range(4)]
    for v in viewers:
        v.start()
    run = p.start_run(load(TINY[0]))
    time.sleep(1.5)
    for do in ("pause", "resume"):
        p.call("POST", "/api/v1/runs/%s/commands" % run, {"do": do}, token=True, key=True)
        time.sleep(0.5)
    p.kill("daemon")            # as a crash …
    p.start("daemon")
    p.wait_api(120)
    time.sleep(2)
    os.kill(p.p["daemon"].pid, 15)  # … and in order, in the middle of the run
    status = p.p["daemon"].wait(180)
    assert status == 0, "the daemon ended with %s: %s" % (status, p.tail("daemon"))
    p.start("daemon")
    p.wait_api(120)
    p.call("POST", "/api/v1/station/safe", {}, token=True)
    time.sleep(1)
    p.call("POST", "/api/v1/runs/%s/commands" % run, {"do": "resume"}, token=True, key=True)   # safe pauses the run in hand
    p.wait_sealed(run, 400)
    sweep = p.get("/api/v1/runs/%s/sweeps?use=device" % run)["sweeps"][-1]["n"]
    assert p.call("GET", "/api/v1/runs/%s/sweeps/%d/network.s2p" % (run, sweep))[0] == 200
    end.set()
    for v in viewers:
        v.join(10)
    status = p.stop(180)
    assert status == {"daemon": 0, "station": 0}, status
    print("%d answers to viewers, %d events in streams" % (answers[0], events[0]))
    assert answers[0] > 50 and events[0] > 5
finally:
    end.set()
    p.abandon()
PY
ok "$([ $rc -eq 0 ] && echo yes)" "a tiny run to its seal under TSan, with four viewers, four event streams, commands, a killed and a stopped daemon (status $rc)"
[ $rc -eq 0 ] || tail -n 20 "$dir"/house/*.stderr
reports=$(ls "$dir"/report.* 2>/dev/null | wc -l)
ok "$([ "$reports" -eq 0 ] && echo yes)" "no report of TSan ($reports files)"
for r in "$dir"/report.*; do [ -f "$r" ] && head -n 60 "$r"; done
echo "$passed passed, $failed failed, 0 skipped"
[ "$failed" -eq 0 ]

#!/bin/sh
# demo.sh BUILD: the main job, once, on the simulated station: one wafer of 60 dies, then what it says and how far that is from the simulator's truth.
# ONCE=1 ends by itself; otherwise the page stays up until Ctrl-C.  PORT (8080) is the page's port on loopback, DATA (./demo-data) the data folder.
set -eu
B=$1; PORT=${PORT:-8080}; DATA=${DATA:-demo-data}; ONCE=${ONCE:-0}
here=simulators/demo; address=127.0.0.1:$PORT
[ ! -e "$DATA" ] || { n=1; while [ -e "$DATA.$n" ]; do n=$((n + 1)); done; echo "an earlier demo stands in $DATA; it is kept as $DATA.$n"; mv "$DATA" "$DATA.$n"; }
mkdir -p "$DATA"
"$B/tipplane" up --station-config $here/station.json --data "$DATA" --listen "$address" >"$DATA/up.log" 2>&1 &
up=$!
stop() { kill "$up" 2>/dev/null || true; wait "$up" 2>/dev/null || true; }
trap 'stop; exit 130' INT TERM
trap 'stop' EXIT
tp() { "$B/tipplane" --address "http://$address" --token-file "$DATA/token" "$@"; }
n=0
until tp status >/dev/null 2>&1; do
        n=$((n + 1)); sleep 0.2
        if [ $n -gt 100 ] || ! kill -0 "$up" 2>/dev/null; then echo "demo: the daemon did not start; its words:"; tail -n 20 "$DATA/up.log"; exit 1; fi
done
echo "The page: http://$address/     (simulated station, invented wafer)"
begin=$(date +%s)
run=$(tp run start --recipe $here/recipe.json --wafer DEMO-01 --lot DEMO --print-id)
echo "Run $run: 60 dies, 7 devices of 6 kinds each, 70 kHz to 220 GHz, in stepped time."
tp wait "$run" >/dev/null || [ $? -eq 10 ]
echo "Done in $(($(date +%s) - begin)) s."
echo
tp run show "$run"
echo
tp map "$run"
mkdir -p "$DATA/export"
tp export "$run" --to "$DATA/export" >/dev/null
echo
echo "Touchstone files: $DATA/export/*.s2p ($(find "$DATA/export" -name '*.s2p' | wc -l) files, one per device)"
echo "Parameters:       $DATA/export/parameters.csv"
file=$(find "$DATA/runs" -name "$run.run")
echo "Run file:         $file (SQLite, sealed, read-only)"
echo
echo "Against the simulator's sealed truth, which the daemon never reads:"
"$B/truth-judge" "$(find "$DATA" -name truth.json | head -n 1)" "$file" --demand | grep -v '^  off by'
if [ "$ONCE" != 1 ]; then
        echo
        echo "The page stays up at http://$address/ until Ctrl-C."
        wait "$up" || true
fi

#!/bin/sh
# run.sh BUILD: the page in a real browser, on a night of its own: the demo wafer with bad touches and a drift step.  Last line: "N passed, N failed, N skipped".
# TIPPLANE_SCREENSHOT=1 also writes docs/images/page.png.
set -eu
B=$(realpath "$1"); here=$(dirname "$(realpath "$0")"); repo=$(realpath "$here/../..")
skip() { echo "skipped: browser tests: $1"; echo "0 passed, 0 failed, 1 skipped"; exit 0; }
[ -x /usr/bin/chromium ] || skip "chromium is not installed (apt-get install chromium)"
command -v node >/dev/null || skip "node is not installed (apt-get install nodejs)"
[ -d "$repo/client/web/node_modules/playwright-core" ] || skip "client/web/node_modules is missing (cd client/web && npm ci --ignore-scripts)"
dir=$(mktemp -d)
up=
stop() { [ -z "$up" ] || { kill "$up" 2>/dev/null || true; wait "$up" 2>/dev/null || true; }; rm -rf "$dir"; }
trap stop EXIT
trap 'exit 130' INT TERM
cp "$repo"/simulators/demo/*.json "$dir/"
( cd "$dir" && node -e '
        const fs = require("fs"), read = (name) => JSON.parse(fs.readFileSync(name, "utf8"));
        const night = read("scenario.json"), touches = read("contacts.scenario.json").faults, drift = read("drift.scenario.json").faults;
        const stubborn = touches.slice(0, 6).map((fault) => ({ ...fault, attempts: 3 }));
        night.name = "bad touches, some of them for good, and a drift step (invented)";
        night.faults = [...stubborn, ...touches.slice(6, 8), ...touches.slice(20, 30), ...drift];
        fs.writeFileSync("scenario.json", JSON.stringify(night));' )
port=$(node -e 'const s = require("net").createServer().listen(0, "127.0.0.1", () => { console.log(s.address().port); s.close(); });')
"$B/tipplane" up --station-config "$dir/station.json" --data "$dir/data" --listen "127.0.0.1:$port" >"$dir/up.log" 2>&1 &
up=$!
tp() { "$B/tipplane" --address "http://127.0.0.1:$port" --token-file "$dir/data/token" "$@"; }
n=0
until tp status >/dev/null 2>&1; do
        n=$((n + 1)); sleep 0.2
        if [ $n -gt 150 ] || ! kill -0 "$up" 2>/dev/null; then
                echo "FAILED: the daemon did not start"; tail -n 20 "$dir/up.log"; echo "0 passed, 1 failed, 0 skipped"; exit 1
        fi
done
run=$(tp run start --recipe "$dir/recipe.json" --wafer DEMO-07 --lot DEMO --print-id)
tp wait "$run" >/dev/null || true # 10: some devices could not be trusted, which is what this night is for
# the daemon dies; up starts it again
TIPPLANE_RESTART="kill -KILL \$(pgrep -P $up -x tipplaned)"
export TIPPLANE_RESTART TIPPLANE_URL="http://127.0.0.1:$port"
node "$here/run.mjs"

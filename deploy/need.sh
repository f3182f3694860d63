#!/bin/sh
# need.sh SET…: installs the missing Debian packages of the named sets (build, test, lint, fuzz, judges), as root or with sudo;
# otherwise prints the one line to run.  Packages that are there already cost nothing.
set -eu
build="gcc make git libuv1-dev libmicrohttpd-dev libcjson-dev libsqlite3-dev liblapacke-dev libopenblas0-serial libopenblas-serial-dev libcurl4-gnutls-dev"
page="nodejs npm"
test="libcmocka-dev strace python3 python3-yaml sqlite3 curl chromium"
lint="clang-format cppcheck"
fuzz="clang-14 libclang-rt-14-dev llvm-14"
judges="python3-venv python3-pip ngspice"
want=""
for set in "$@"; do
        case "$set" in
        build) want="$want $build $page" ;;
        test) want="$want $test" ;;
        lint) want="$want $lint" ;;
        fuzz) want="$want $fuzz" ;;
        judges) want="$want $judges" ;;
        *) echo "need.sh: no set named '$set'; there are build, test, lint, fuzz, judges" >&2; exit 2 ;;
        esac
done
missing=""
for p in $want; do
        # a node or npm from elsewhere is as good as Debian's
        case "$p" in nodejs) command -v node >/dev/null 2>&1 && continue ;; npm) command -v npm >/dev/null 2>&1 && continue ;; esac
        dpkg-query -W -f '${Status}' "$p" 2>/dev/null | grep -q 'ok installed' || missing="$missing $p"
done
[ -n "$missing" ] || exit 0
line="apt-get install -y --no-install-recommends$missing"
if [ "$(id -u)" -eq 0 ]; then sudo=""; elif command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then sudo="sudo"; else
        echo "Some packages are missing.  As root, run:  apt-get update && $line" >&2
        exit 1
fi
echo "installing:$missing"
log=$(mktemp)
if ! { $sudo apt-get update -qq && $sudo env DEBIAN_FRONTEND=noninteractive $line; } >"$log" 2>&1; then
        tail -20 "$log" >&2
        echo "need.sh: installing failed; the line was:  $line" >&2
        exit 1
fi
rm -f "$log"

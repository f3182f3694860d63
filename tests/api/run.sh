#!/bin/sh
# run.sh BUILD: the interface end to end: real daemon, simulated station, real sockets.  Last line: "N passed, N failed, N skipped".
exec python3 "$(dirname "$0")/interface.py" --build "$1"

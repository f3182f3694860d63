#!/bin/sh
# lint.sh: what a reader of the tree would object to, found by tools.  From the repository's root; the last line is "N passed, N failed".
# Looks at the files that git knows.
here=tests/lint; passed=0; failed=0; tmp=$(mktemp -d) || exit 1
trap 'rm -rf "$tmp"' EXIT
ok() { passed=$((passed + 1)); }
bad() { failed=$((failed + 1)); echo "lint: $1"; head -n 20 "$2" | cut -c1-200 | sed 's/^/  /'; }
none() { if [ -s "$2" ]; then bad "$1" "$2"; else ok; fi; } # WHAT FILE: the file must be empty
files() { git ls-files -- "$@" | while read -r f; do [ -f "$f" ] && echo "$f"; done; } # a deleted file is no fault

files '*.c' '*.h' >"$tmp/c"
files 'daemon/*.c' 'daemon/*.h' 'simulators/*.c' 'simulators/*.h' 'client/*.c' 'client/*.h' >"$tmp/product"

# ---- tools ---------------------------------------------------------------------------------------------------------------------------
if command -v cppcheck >/dev/null; then
        files 'daemon/*.c' 'simulators/*.c' 'client/*.c' 'tests/*.c' >"$tmp/sources"
        cppcheck --enable=warning,portability,performance --inline-suppr --error-exitcode=1 -j2 -q --std=c11 -D_GNU_SOURCE -Idaemon -Iclient -I. \
                --include=$here/cppcheck_macros.h \
                --suppress=missingInclude --suppress=missingIncludeSystem --suppressions-list=$here/cppcheck_false.txt \
                --template='{file}:{line}: {id}: {message}' --file-list="$tmp/sources" >"$tmp/out" 2>&1
        none "cppcheck" "$tmp/out"
else echo "skipped: cppcheck is not installed"; fi
if command -v clang-format >/dev/null; then
        while read -r f; do clang-format --dry-run --Werror "$f" >/dev/null 2>&1 || echo "$f: run clang-format -i on it"; done <"$tmp/c" >"$tmp/out"
        none "clang-format" "$tmp/out"
else echo "skipped: clang-format is not installed"; fi
files '*.sh' .ci/run | while read -r f; do
        case $(head -n 1 "$f") in *bash*) bash -n "$f" 2>&1 ;; *) sh -n "$f" 2>&1 ;; esac; done >"$tmp/out"
none "a shell script does not parse" "$tmp/out"
files '*.json' | while read -r f; do python3 -m json.tool "$f" 2>&1 >/dev/null | sed "s|^|$f: |"; done >"$tmp/out"
none "a JSON file does not parse" "$tmp/out"
files '*.py' | while read -r f; do python3 -c 'import ast, sys; ast.parse(open(sys.argv[1]).read(), sys.argv[1])' "$f" 2>&1 | tail -n 1 | sed "s|^|$f: |"; done >"$tmp/out"
none "a Python file does not parse" "$tmp/out"

python3 docs/make_reference.py --check >"$tmp/out" 2>&1; none "the tables of docs/ and their schemas" "$tmp/out"

# ---- words: what is written is about the product, and about nothing outside a clone --------------------------------------------------------
# (the words are put together here so that this file does not hold them)
pages=$(printf '%s|' RF SEAMS JOB DESIGN STYLE ECOSYSTEM | sed 's/|$//')
git grep -nIE "\b($pages)\.md\b|/wor[k]/|\bshared/(data|checks)\b|\bchecks/make\b" -- . >"$tmp/out"
none "words of a workplace" "$tmp/out"
git grep -nIE '\b(TODO|FIXME|XXX|HACK)\b' -- '*.c' '*.h' '*.sh' '*.py' '*.js' ":!$here/lint.sh" >"$tmp/out"
none "unfinished work is an issue, not a comment" "$tmp/out"

# ---- calls that may not be made; comments and texts do not count --------------------------------------------------------------------------
calls() { # WHAT PATTERN ALLOWED-FILES-REGEX: reports calls of the named functions outside the allowed files
        grep -v -E "${3:-^$}" "$tmp/product" | xargs sed -E -s -n "$(printf '%s' 's:/\*[^*]*\*/::g; s:"([^"\\]|\\.)*":"":g; ')/(^|[^A-Za-z0-9_>.])($2)\\(/{F;=;p}" |
                awk '{ if (NR % 3 == 1) f = $0; else if (NR % 3 == 2) l = $0; else if ($0 !~ /^ ?(\*|   [A-Z]|\/\*)/) print f ":" l ":" $0 }' >"$tmp/out"
        none "$1" "$tmp/out"
}
calls "unbounded writes into memory" 'gets|strcpy|strcat|sprintf|vsprintf|stpcpy'
calls "hidden state, or no word about errors" 'strtok|rand|srand|random|atof|setlocale|localtime|gmtime|ctime|asctime|system|popen|alloca'
calls "clocks are the world's" 'time|gettimeofday|clock_gettime|clock|sleep|usleep|nanosleep' '^daemon/host/|^daemon/api/stream\.[ch]$'
calls "nothing from outside ends a program" 'abort|_exit|assert' '^simulators/world/'
calls "files and sockets are the world's" 'fopen|open|openat|socket|connect|bind|listen|accept|accept4|unlink|rename|mkdir|pthread_create|fork|execve?p?' \
        '^daemon/host/|^daemon/store/|^daemon/api/http[a-z_]*\.c$|^simulators/world/|^simulators/judge/|^client/|^daemon/tipplane[a-z_]*\.c$'

# ---- walls and names --------------------------------------------------------------------------------------------------------------------
grep -E '^daemon/(base|rf|formats|wafer|recipe)/' "$tmp/product" | xargs grep -nE '#include <(uv|sqlite3|microhttpd|pthread|unistd|fcntl|time|sys/[a-z]+|curl/.*)\.h>' | grep -v '^daemon/base/log\.c:' >"$tmp/out" # log.c: the one writer to stderr
none "a pure room does no input or output" "$tmp/out"
grep '^simulators/' "$tmp/product" | xargs grep -nE '#include "(rf|formats|run|evaluate|store|api)/' | grep -v '^simulators/world/' >"$tmp/out"
none "the simulated physics is written apart from rf/" "$tmp/out"
may() { grep "^daemon/rf/$1/" "$tmp/product" | xargs grep -nE '#include "rf/' | grep -vE "\"rf/($1${2:+|$2})/"; } # ROOM OTHERS
{ may numbers; may network numbers; may correct 'network|numbers'; may calibrate 'correct|network|numbers'; may deembed 'network|numbers'
  may extract 'deembed|network|numbers'; may models 'network|numbers'; } >"$tmp/out"
none "the rooms of rf/ know only those before them: numbers, network, correct, calibrate; deembed, extract; models; trust knows all" "$tmp/out"
for r in lines reflects sixteen; do
        grep "^daemon/rf/calibrate/$r/" "$tmp/product" | xargs grep -nE '#include "rf/calibrate/(lines|reflects|sixteen)/' | grep -v "\"rf/calibrate/$r/"; done >"$tmp/out"
none "the families of calibration (lines, reflects, sixteen terms) do not know each other" "$tmp/out"
grep '^daemon/' "$tmp/product" | grep -v '^daemon/store/' | xargs grep -n '#include <sqlite3.h>' >"$tmp/out"
grep '^daemon/' "$tmp/product" | grep -v '^daemon/api/http[a-z_]*\.[ch]$' | xargs grep -n '#include <microhttpd.h>' >>"$tmp/out"
none "SQL stays in store/, libmicrohttpd in api/http*" "$tmp/out"
grep '^daemon/.*\.h$' "$tmp/product" | xargs grep -nE '\b(double|float|u?int64_t|u?int32_t)( [^;(){}]*,)? \*?([a-z0-9]+_)*(freq|frequency|pitch|delay|timeout|duration|deadline|overtravel|temperature|voltage|lease|age)[;,]' >"$tmp/out"
none "a quantity's name ends with its unit" "$tmp/out"
grep '\.h$' "$tmp/product" | xargs grep -nE '\b(double|float|u?int64_t|u?int32_t) \*?[a-z0-9_]+_(msec|millis|usec|micros|secs|seconds_|mhz|ghz|mv|volts|ohms|degc|microns)[;,]' >"$tmp/out"
none "units are spelled as everywhere: _s _ms _ns _hz _volt _ohm _um _c" "$tmp/out"
grep '\.[ch]$' "$tmp/product" | xargs grep -nE '^[[:space:]]+static [^(){}]*(;|= )' | grep -vE 'static (const|_Atomic const|inline|_Noreturn|enum code|bool|void|struct [a-z_]+ \*?[a-z_]+\()|\bconst\b' >"$tmp/out"
none "nothing is kept in static memory" "$tmp/out"

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]

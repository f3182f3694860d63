#!/bin/sh
# page_files.sh FILE…: prints a C table of the files, each under its name without folders.
set -eu
echo '#include "api/page.h"'
i=0
for f in "$@"; do
        printf 'static const unsigned char bytes_%d[] = {\n' "$i"
        od -An -v -tx1 "$f" | sed 's/ \([0-9a-f][0-9a-f]\)/0x\1,/g'
        # an empty file still needs one element; its length below is the true one
        echo '0};'
        i=$((i + 1))
done
echo 'const struct page_file page_files[] = {'
i=0
for f in "$@"; do
        case "$f" in
        *.html) type='text/html; charset=utf-8' ;;
        *.js) type='text/javascript; charset=utf-8' ;;
        *.css) type='text/css; charset=utf-8' ;;
        *.svg) type='image/svg+xml' ;;
        *.yaml) type='application/yaml' ;;
        *) type='application/octet-stream' ;;
        esac
        printf '        { "%s", "%s", "%s", bytes_%d, sizeof bytes_%d - 1 },\n' "${f##*/}" "$type" "$(sha256sum "$f" | cut -d' ' -f1)" "$i" "$i"
        i=$((i + 1))
done
echo '};'
echo "const size_t page_file_n = sizeof page_files / sizeof page_files[0];"

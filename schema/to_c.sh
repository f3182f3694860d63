#!/bin/sh
# Prints schema/KIND/NNNN_*.sql as one C table, so that the programs carry their schema inside.  Usage: sh schema/to_c.sh FILE...
printf '/* made by schema/to_c.sh: do not edit */\n#include "store/schema.h"\n\nconst struct schema_sql schema_sqls[] = {\n'
for file in "$@"; do
        kind=$(basename "$(dirname "$file")")
        number=$(basename "$file" | sed 's/^0*\([0-9]*\)_.*/\1/')
        printf '{ "%s", %s, "%s",\n' "$kind" "$number" "$file"
        sed -e 's/\\/\\\\/g' -e 's/"/\\"/g' -e 's/^/  "/' -e 's/$/\\n"/' "$file"
        printf '},\n'
done
printf '};\nconst size_t schema_sql_n = sizeof schema_sqls / sizeof schema_sqls[0];\n'

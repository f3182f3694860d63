/* schema.h: the numbered migrations, compiled in from schema/KIND/NNNN_*.sql. */
#ifndef TIPPLANE_STORE_SCHEMA_H
#define TIPPLANE_STORE_SCHEMA_H
#include <stddef.h>

struct schema_sql {
        const char *kind; /* "catalogue", "run", "index" */
        int number;       /* user_version after it */
        const char *file, *sql;
};
extern const struct schema_sql schema_sqls[]; /* by kind, then by number */
extern const size_t schema_sql_n;

#endif

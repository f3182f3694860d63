/* table.h: rows with named columns, from a CSV file (RFC 4180) or from a view of a run file. */
#ifndef TIPPLANE_SIMULATORS_JUDGE_TABLE_H
#define TIPPLANE_SIMULATORS_JUDGE_TABLE_H
#include "base/arena.h"
#include "base/error.h"

struct table {
        char **names;
        char ***cells;
        size_t column_n, row_n;
}; /* cells[row][column], never NULL */
/* All memory from the arena. */
enum code table_read_csv(const char *path, struct arena *, struct table *ret, struct tp_error *);
enum code table_read_sql(const char *path, const char *sql, struct arena *, struct table *ret, struct tp_error *);
bool table_is_run_file(const char *path);                             /* an SQLite database? */
int table_column(const struct table *, const char *name);             /* -1: none */
const char *table_text(const struct table *, size_t row, int column); /* "" for column -1 */
double table_real(const struct table *, size_t row, int column);      /* NaN when empty or no number */

#endif

/* csv.h: RFC 4180 out and in.  Lines end in CRLF; cells are quoted when they hold a comma, quote, CR or LF; numbers have 17 digits; NaN is
   an empty cell.  A text cell that a spreadsheet would take for a formula (= + - @ TAB first) is refused. */
#ifndef TIPPLANE_FORMATS_CSV_H
#define TIPPLANE_FORMATS_CSV_H
#include "base/arena.h"
#include "base/error.h"
#include "base/text.h"

struct csv_out {
        struct text *to;
        size_t columns, column; /* columns: fixed by the first row */
        bool broken;            /* a formula cell or a row of another length: csv_ok() is false */
};
struct csv_out csv_to(struct text *to);
void csv_text(struct csv_out *o, const char *cell); /* NULL: empty */
void csv_real(struct csv_out *o, double cell);
void csv_int(struct csv_out *o, int64_t cell);
void csv_end_row(struct csv_out *o);
bool csv_ok(const struct csv_out *o);

/* Reads all rows.  Lines beginning with '#' before the first row are skipped when comments is true; all rows must have the same number of
   cells; CR LF or LF. */
struct csv {
        size_t row_n, column_n;
        const char **cells; /* [row_n * column_n], NUL-terminated, in the arena */
};
enum code csv_read(const char *bytes, size_t n, bool comments, struct arena *arena, struct csv *ret, struct tp_error *err);
static inline const char *csv_cell(const struct csv *c, size_t row, size_t column) { return c->cells[row * c->column_n + column]; }

#endif

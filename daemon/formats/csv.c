/* csv.c: RFC 4180 out of and into memory (csv.h). */
#include "formats/csv.h"
#include <inttypes.h>
#include <math.h>
#include <string.h>

struct csv_out csv_to(struct text *to) { return (struct csv_out){.to = to}; }

static void begin_cell(struct csv_out *o)
{
        if (o->column++ > 0)
                text_put(o->to, ",");
}

void csv_text(struct csv_out *o, const char *cell)
{
        begin_cell(o);
        if (!cell)
                return;
        if (cell[0] && strchr("=+-@\t\r", cell[0])) { /* a spreadsheet would run it */
                o->broken = true;
                return;
        }
        if (!strpbrk(cell, ",\"\r\n")) {
                text_put(o->to, cell);
                return;
        }
        text_put(o->to, "\"");
        for (const char *c = cell; *c; c++) {
                if (*c == '"')
                        text_put(o->to, "\"");
                text_bytes(o->to, c, 1);
        }
        text_put(o->to, "\"");
}

void csv_real(struct csv_out *o, double cell)
{
        begin_cell(o);
        if (isinf(cell))
                o->broken = true;
        else if (!isnan(cell))
                text_f(o->to, "%.17g", cell);
}

void csv_int(struct csv_out *o, int64_t cell)
{
        begin_cell(o);
        text_f(o->to, "%" PRId64, cell);
}

void csv_end_row(struct csv_out *o)
{
        if (o->columns == 0)
                o->columns = o->column;
        o->broken = o->broken || o->column != o->columns;
        o->column = 0;
        text_put(o->to, "\r\n");
}

bool csv_ok(const struct csv_out *o) { return !o->broken && o->column == 0 && text_ok(o->to); }

/* ---- reading ------------------------------------------------------------------------------------------------------------------------ */

struct cursor {
        const char *at, *end;
        size_t line;
        struct tp_error *err;
};

/* One cell into `to` (NULL: only look); *ret_more: a comma followed.  The cell never gets longer than its text. */
static enum code cell(struct cursor *c, char *to, size_t *ret_n, bool *ret_more)
{
        size_t n = 0, begun = c->line;
        bool quoted = c->at < c->end && *c->at == '"';
        if (quoted)
                c->at++;
        for (;; c->at++) {
                if (c->at == c->end) {
                        if (quoted)
                                return tp_fail(c->err, CODE_BAD_INPUT, "line %zu: a quoted cell is not closed", begun);
                        break;
                }
                if (quoted && *c->at == '"') {
                        if (c->at + 1 < c->end && c->at[1] == '"') {
                                c->at++;
                        } else {
                                c->at++;
                                break;
                        }
                } else if (!quoted && (*c->at == ',' || *c->at == '\n' || *c->at == '\r')) {
                        break;
                } else if (!quoted && *c->at == '"') {
                        return tp_fail(c->err, CODE_BAD_INPUT, "line %zu: a quote inside a cell that does not begin with one", c->line);
                }
                if (*c->at == '\0')
                        return tp_fail(c->err, CODE_BAD_INPUT, "line %zu: a zero byte is no text", c->line);
                if (*c->at == '\n')
                        c->line++;
                if (to)
                        to[n] = *c->at;
                n++;
        }
        if (to)
                to[n] = '\0';
        *ret_n = n;
        *ret_more = c->at < c->end && *c->at == ',';
        if (*ret_more) {
                c->at++;
                return CODE_OK;
        }
        if (c->at < c->end && *c->at == '\r')
                c->at++;
        if (c->at < c->end && *c->at != '\n')
                return tp_fail(c->err, CODE_BAD_INPUT, "line %zu: text after a closing quote", c->line);
        if (c->at < c->end)
                c->at++;
        c->line++;
        return CODE_OK;
}

static void skip_comments(struct cursor *c, bool comments)
{
        while (comments && c->at < c->end && *c->at == '#') {
                const char *nl = memchr(c->at, '\n', (size_t)(c->end - c->at));
                c->at = nl ? nl + 1 : c->end;
                c->line++;
        }
}

enum code csv_read(const char *bytes, size_t n, bool comments, struct arena *arena, struct csv *ret, struct tp_error *err)
{
        struct csv csv = {0};
        char *store = NULL;
        for (int pass = 0; pass < 2; pass++) { /* count, then keep */
                struct cursor c = {bytes, bytes + n, 1, err};
                size_t row = 0, used = 0;
                skip_comments(&c, comments);
                while (c.at < c.end) {
                        size_t column = 0, line = c.line;
                        bool more = true;
                        while (more) {
                                size_t length = 0;
                                char *to = store ? store + used : NULL; /* first pass: only counted */
                                enum code code = cell(&c, to, &length, &more);
                                if (code)
                                        return code;
                                if (pass)
                                        csv.cells[row * csv.column_n + column] = to;
                                used += length + 1;
                                column++;
                        }
                        if (row == 0 && pass == 0)
                                csv.column_n = column;
                        if (column != csv.column_n)
                                return tp_fail(err, CODE_BAD_INPUT, "line %zu: %zu cells; the first row has %zu", line, column,
                                               csv.column_n);
                        row++;
                }
                if (pass == 0) {
                        csv.row_n = row;
                        if (row == 0)
                                return tp_fail(err, CODE_BAD_INPUT, "the table is empty");
                        csv.cells = arena_take(arena, row * csv.column_n * sizeof *csv.cells);
                        store = arena_take(arena, used);
                        if (!csv.cells || !store)
                                return tp_fail_memory(err);
                }
        }
        *ret = csv;
        return CODE_OK;
}

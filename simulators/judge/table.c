/* table.c: see table.h. */
#include "simulators/judge/table.h"
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { COLUMN_MAX = 64, FILE_MAX = 256 << 20 };

static enum code slurp(const char *path, struct arena *arena, char **ret, size_t *ret_n, struct tp_error *err)
{
        FILE *f = fopen(path, "rb");
        long n = -1;
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s cannot be opened; give the path of a file that exists", path);
        if (fseek(f, 0, SEEK_END) == 0)
                n = ftell(f);
        rewind(f);
        char *all = n >= 0 && n < FILE_MAX ? arena_take(arena, (size_t)n + 1) : NULL;
        bool whole = all && fread(all, 1, (size_t)n, f) == (size_t)n;
        fclose(f);
        if (!whole)
                return tp_fail(err, CODE_DISK, "%s cannot be read whole (%ld bytes)", path, n);
        *ret = all;
        *ret_n = (size_t)n;
        return CODE_OK;
}

static enum code row_add(struct table *t, char *const *cells, size_t n, size_t *room, struct arena *arena, struct tp_error *err)
{
        if (t->row_n == *room) {
                size_t more = *room ? 2 * *room : 1024;
                char ***rows = arena_take(arena, more * sizeof *rows);
                if (!rows)
                        return tp_fail_memory(err);
                if (t->row_n)
                        memcpy(rows, t->cells, t->row_n * sizeof *rows);
                t->cells = rows;
                *room = more;
        }
        char **row = arena_take(arena, n * sizeof *row);
        if (!row)
                return tp_fail_memory(err);
        memcpy(row, cells, n * sizeof *row);
        t->cells[t->row_n++] = row;
        return CODE_OK;
}

/* Cuts one cell out of the text in place; *at goes behind it; true at the end of a row. */
static bool cell_cut(char **at, char *end, char **ret)
{
        char *from = *at, *to = *at, *p = *at;
        if (p < end && *p == '"') {
                from = to = ++p;
                while (p < end && !(p[0] == '"' && p[1] != '"')) {
                        p += p[0] == '"';
                        *to++ = *p++;
                }
                p += p < end;
        } else
                while (p < end && *p != ',' && *p != '\n' && *p != '\r')
                        *to++ = *p++;
        bool last = p >= end || *p != ',';
        if (p < end && *p == '\r')
                p++;
        if (p < end)
                p++;
        *to = 0;
        *at = p;
        *ret = from;
        return last;
}

enum code table_read_csv(const char *path, struct arena *arena, struct table *ret, struct tp_error *err)
{
        struct table t = {0};
        char *text = NULL, *cells[COLUMN_MAX];
        size_t bytes = 0, room = 0;
        enum code code = slurp(path, arena, &text, &bytes, err);
        if (code)
                return code;
        char *at = text, *end = text + bytes;
        while (at < end) {
                size_t n = 0;
                bool last = false;
                if (*at == '#' && !t.names) { /* comments before the header */
                        char *line = memchr(at, '\n', (size_t)(end - at));
                        at = line ? line + 1 : end;
                        continue;
                }
                while (!last && n < COLUMN_MAX)
                        last = cell_cut(&at, end, &cells[n++]);
                if (!last || (t.names && n != t.column_n))
                        return tp_fail(err, CODE_BAD_INPUT, "%s: row %zu has %zu cells, the header has %zu", path, t.row_n + 1, n,
                                       t.column_n);
                if (!t.names) {
                        t.column_n = n;
                        t.names = arena_take(arena, n * sizeof *t.names);
                        if (!t.names)
                                return tp_fail_memory(err);
                        memcpy(t.names, cells, n * sizeof *cells);
                } else if ((code = row_add(&t, cells, n, &room, arena, err)))
                        return code;
        }
        if (!t.names)
                return tp_fail(err, CODE_BAD_INPUT, "%s is empty; a header row is wanted", path);
        *ret = t;
        return CODE_OK;
}

bool table_is_run_file(const char *path)
{
        char head[16] = {0};
        FILE *f = fopen(path, "rb");
        size_t n = f ? fread(head, 1, sizeof head, f) : 0;
        if (f)
                fclose(f);
        return n == sizeof head && memcmp(head, "SQLite format 3", 16) == 0;
}

enum code table_read_sql(const char *path, const char *sql, struct arena *arena, struct table *ret, struct tp_error *err)
{
        struct table t = {0};
        sqlite3 *db = NULL;
        sqlite3_stmt *q = NULL;
        char *cells[COLUMN_MAX];
        size_t room = 0;
        enum code code = CODE_OK;
        int rc = sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL);
        if (rc == SQLITE_OK)
                rc = sqlite3_prepare_v2(db, sql, -1, &q, NULL);
        t.column_n = rc == SQLITE_OK ? (size_t)sqlite3_column_count(q) : 0;
        t.names = arena_take(arena, (t.column_n + 1) * sizeof *t.names);
        if (!t.names || t.column_n > COLUMN_MAX)
                code = tp_fail_memory(err);
        for (size_t k = 0; k < t.column_n && !code; k++)
                t.names[k] = arena_text(arena, sqlite3_column_name(q, (int)k));
        while (!code && rc == SQLITE_OK) {
                rc = sqlite3_step(q);
                if (rc != SQLITE_ROW)
                        break;
                rc = SQLITE_OK;
                for (size_t k = 0; k < t.column_n; k++) {
                        char number[40];
                        const char *text = (const char *)sqlite3_column_text(q, (int)k);
                        if (sqlite3_column_type(q, (int)k) == SQLITE_FLOAT) { /* all 17 digits */
                                snprintf(number, sizeof number, "%.17g", sqlite3_column_double(q, (int)k));
                                text = number;
                        }
                        cells[k] = arena_text(arena, text ? text : "");
                }
                code = row_add(&t, cells, t.column_n, &room, arena, err);
        }
        if (!code && rc != SQLITE_DONE)
                code = tp_fail(err, CODE_DAMAGED, "%s: %s", path, db ? sqlite3_errmsg(db) : "no memory");
        sqlite3_finalize(q);
        sqlite3_close(db);
        if (!code)
                *ret = t;
        return code;
}

int table_column(const struct table *t, const char *name)
{
        for (size_t k = 0; k < t->column_n; k++)
                if (strcmp(t->names[k], name) == 0)
                        return (int)k;
        return -1;
}
const char *table_text(const struct table *t, size_t row, int column) { return column < 0 ? "" : t->cells[row][column]; }
double table_real(const struct table *t, size_t row, int column)
{
        const char *s = table_text(t, row, column);
        char *end;
        double x = strtod(s, &end);
        return *s && !*end ? x : NAN;
}

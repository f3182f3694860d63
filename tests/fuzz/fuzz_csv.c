/* fuzz_csv.c: tables as they come from spreadsheets.  What is accepted is written and read again: same cells (but for formula cells). */
#include "tests/fuzz/fuzz.h"
#include "formats/csv.h"

static const char *const fuzz_words[] = {",", "\"", "\"\"", "\r\n", "\n", "\r", "#", "=1+1", "a,b\n", ",,,\n", "\"a\nb\"", " ", "\t", NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct csv in, again;
        enum code code = csv_read(bytes, n, true, arena, &in, err);
        if (!code && in.row_n && in.column_n) {
                struct text t;
                struct tp_error other = {0};
                text_init(&t, 0);
                struct csv_out o = csv_to(&t);
                for (size_t r = 0; r < in.row_n; r++) {
                        for (size_t c = 0; c < in.column_n; c++)
                                csv_text(&o, csv_cell(&in, r, c));
                        csv_end_row(&o);
                }
                if (csv_ok(&o)) {
                        if (csv_read(text_of(&t), t.n, false, arena, &again, &other) || again.row_n != in.row_n ||
                            again.column_n != in.column_n)
                                fuzz_broken("a table that was read, written and read again has another shape");
                        for (size_t i = 0; i < in.row_n * in.column_n; i++)
                                if (strcmp(in.cells[i], again.cells[i]) != 0)
                                        fuzz_broken("written and read again, a cell differs");
                }
                text_done(&t);
        }
        arena_free(arena);
        return code;
}

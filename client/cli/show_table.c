/* show_table.c: columns that line up; see show.h. */
#include "base/utf8.h"
#include "cli/show.h"
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct table table_of(struct arena *arena, const char *align)
{
        size_t n = strlen(align);
        return (struct table){.arena = arena, .align = align, .columns = n < TABLE_COLUMNS_MAX ? n : TABLE_COLUMNS_MAX};
}

void table_cell(struct table *t, const char *fmt, ...)
{
        char cell[500];
        va_list args;
        va_start(args, fmt);
        vsnprintf(cell, sizeof cell, fmt, args);
        va_end(args);
        if (t->n == t->room) {
                size_t room = t->room ? t->room * 2 : 64;
                const char **more = arena_take(t->arena, room * sizeof *more);
                if (!more) {
                        t->broken = true;
                        return;
                }
                if (t->n)
                        memcpy(more, t->cells, t->n * sizeof *more);
                t->cells = more;
                t->room = room;
        }
        const char *kept = arena_text(t->arena, cell);
        t->broken |= !kept;
        t->cells[t->n++] = kept ? kept : "";
}

/* Characters of the text, so that ± and µ count once. */
static size_t width_of(const char *s)
{
        size_t n = 0, bytes = strlen(s);
        for (size_t i = 0; i < bytes; n++) {
                uint32_t point;
                size_t step = utf8_step(s + i, bytes - i, &point);
                i += step ? step : 1;
        }
        return n;
}

void table_put(const struct table *t, struct text *to)
{
        size_t width[TABLE_COLUMNS_MAX] = {0};
        for (size_t i = 0; i < t->n; i++) {
                size_t w = width_of(t->cells[i]);
                if (w > width[i % t->columns])
                        width[i % t->columns] = w;
        }
        for (size_t i = 0; i < t->n; i++) {
                size_t column = i % t->columns, w = width_of(t->cells[i]), pad = width[column] - w;
                bool is_last = column + 1 == t->columns, is_right = t->align[column] == 'r';
                if (is_right)
                        text_f(to, "%*s", (int)pad, "");
                text_put(to, t->cells[i]);
                if (!is_right && !is_last)
                        text_f(to, "%*s", (int)pad, "");
                while (is_last && to->n && to->at[to->n - 1] == ' ') /* of empty cells */
                        to->at[--to->n] = 0;
                text_put(to, is_last ? "\n" : "  ");
        }
        if (t->broken)
                text_put(to, "(the table is not whole: memory is short)\n");
}

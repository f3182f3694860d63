/* text.c: growing text.  A failed append leaves the text as it was and marks it broken: half a JSON document is never sent as a whole one.
 */
#include "base/text.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const size_t TEXT_MAX = (size_t)64 << 20;

void text_init(struct text *t, size_t max) { *t = (struct text){.max = max ? max : TEXT_MAX}; }

void text_done(struct text *t)
{
        free(t->at);
        *t = (struct text){.max = t->max};
}

void text_clear(struct text *t)
{
        t->n = 0;
        t->broken = false;
        if (t->at)
                t->at[0] = 0;
}

bool text_ok(const struct text *t) { return !t->broken; }
const char *text_of(const struct text *t) { return t->at ? t->at : ""; }

/* Room for n more bytes and the NUL; doubling keeps appending linear. */
static bool text_grow(struct text *t, size_t n)
{
        size_t max = t->max ? t->max : TEXT_MAX; /* a zeroed struct is an empty text too */
        if (t->broken || n > max || t->n > max - n) {
                t->broken = true;
                return false;
        }
        if (t->n + n < t->room)
                return true;
        size_t room = t->room ? t->room : 128;
        while (room <= t->n + n)
                room *= 2;
        char *at = realloc(t->at, room);
        if (!at) {
                t->broken = true;
                return false;
        }
        t->at = at;
        t->room = room;
        return true;
}

void text_bytes(struct text *t, const void *bytes, size_t n)
{
        if (!text_grow(t, n))
                return;
        if (n)
                memcpy(t->at + t->n, bytes, n);
        t->n += n;
        t->at[t->n] = 0;
}

void text_put(struct text *t, const char *s) { text_bytes(t, s, strlen(s)); }

void text_f(struct text *t, const char *fmt, ...)
{
        char little[256];
        va_list args, again;
        va_start(args, fmt);
        va_copy(again, args);
        int n = vsnprintf(little, sizeof little, fmt, args);
        if (n < 0)
                t->broken = true;
        else if ((size_t)n < sizeof little)
                text_bytes(t, little, (size_t)n);
        else if (text_grow(t, (size_t)n)) {
                vsnprintf(t->at + t->n, (size_t)n + 1, fmt, again);
                t->n += (size_t)n;
        }
        va_end(again);
        va_end(args);
}

char *text_take(struct text *t, size_t *ret_n)
{
        if (!t->at)
                text_bytes(t, "", 0);
        char *at = t->at;
        if (ret_n)
                *ret_n = at ? t->n : 0;
        *t = (struct text){.max = t->max};
        return at;
}

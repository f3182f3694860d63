/* refuse.c: the place first, then the value and what to do about it. */
#include "wafer/refuse.h"
#include <stdarg.h>
#include <stdio.h>

struct pointer pointer_at(const char *fmt, ...)
{
        struct pointer p;
        va_list args;
        va_start(args, fmt);
        vsnprintf(p.at, sizeof p.at, fmt, args);
        va_end(args);
        return p;
}

enum code refuse_at(struct tp_error *err, struct pointer where, const char *fmt, ...)
{
        char words[440];
        va_list args;
        va_start(args, fmt);
        vsnprintf(words, sizeof words, fmt, args);
        va_end(args);
        return tp_fail_at(err, CODE_BAD_INPUT, where.at, "%s: %s", where.at[0] ? where.at : "top level", words);
}

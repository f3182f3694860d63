/* json_out.c: JSON written into a text.  What it writes, json_read() reads: a whole double beyond 2^53 gets ".0", because digits alone that
   large are refused as integers.  json_int() itself writes any int64_t as it is; whoever writes one beyond 2^53 must not expect json_read()
   to take it. */
#include "base/text.h"
#include "base/utf8.h"
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { DEPTH_ROOM = sizeof((struct json_out *)0)->first / sizeof(bool) };

struct json_out json_to(struct text *to) { return (struct json_out){.to = to}; }

static void json_string(struct text *to, const char *s)
{
        size_t n = strlen(s);
        text_put(to, "\"");
        for (size_t i = 0, step; i < n; i += step) {
                uint32_t point = 0;
                size_t plain = i; /* nearly everything is: one copy for the whole stretch */
                while (plain < n && (unsigned char)s[plain] >= 0x20 && (unsigned char)s[plain] < 0x7F && s[plain] != '"' &&
                       s[plain] != '\\')
                        plain++;
                if (plain > i) {
                        step = plain - i;
                        text_bytes(to, s + i, step);
                        continue;
                }
                step = utf8_step(s + i, n - i, &point);
                if (step == 0) {
                        text_put(to, "\xEF\xBF\xBD"); /* U+FFFD */
                        step = 1;
                } else if (point == '"' || point == '\\')
                        text_f(to, "\\%c", (char)point);
                else if (point == '\n')
                        text_put(to, "\\n");
                else if (point < 0x20 || point == 0x7F)
                        text_f(to, "\\u%04x", (unsigned)point);
                else
                        text_bytes(to, s + i, step);
        }
        text_put(to, "\"");
}

/* The comma, the key and the colon before a value. */
static void json_lead(struct json_out *o, const char *key)
{
        if (o->depth > 0) {
                if (!o->first[o->depth])
                        text_put(o->to, ",");
                o->first[o->depth] = false;
        }
        if (key) {
                json_string(o->to, key);
                text_put(o->to, ":");
        }
}

void json_open(struct json_out *o, const char *key, char bracket)
{
        if (o->depth + 1 >= DEPTH_ROOM) {
                o->to->broken = true;
                return;
        }
        json_lead(o, key);
        text_bytes(o->to, &bracket, 1);
        o->first[++o->depth] = true;
}

void json_close(struct json_out *o, char bracket)
{
        if (o->depth == 0) {
                o->to->broken = true;
                return;
        }
        o->depth--;
        text_bytes(o->to, &bracket, 1);
}

void json_text(struct json_out *o, const char *key, const char *value)
{
        if (!value) {
                json_null(o, key);
                return;
        }
        json_lead(o, key);
        json_string(o->to, value);
}

void json_int(struct json_out *o, const char *key, int64_t value)
{
        json_lead(o, key);
        text_f(o->to, "%" PRId64, value);
}

void json_real(struct json_out *o, const char *key, double value)
{
        if (!isfinite(value)) {
                json_null(o, key);
                return;
        }
        char digits[40];
        int n = snprintf(digits, sizeof digits - 2, "%.17g", value);
        if (fabs(value) > 9007199254740992.0 && !strpbrk(digits, ".e"))
                memcpy(digits + n, ".0", 3);
        json_lead(o, key);
        text_put(o->to, digits);
}

void json_bool(struct json_out *o, const char *key, bool value)
{
        json_lead(o, key);
        text_put(o->to, value ? "true" : "false");
}

void json_null(struct json_out *o, const char *key)
{
        json_lead(o, key);
        text_put(o->to, "null");
}

void json_raw(struct json_out *o, const char *key, const char *json)
{
        json_lead(o, key);
        text_put(o->to, json && json[0] ? json : "null");
}

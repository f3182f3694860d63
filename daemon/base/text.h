/* text.h: a growing, bounded piece of text or bytes, and JSON written into it.
   Once an append fails (memory, limit) the text is `broken` and stays so: check once at the end with text_ok(). */
#ifndef TIPPLANE_BASE_TEXT_H
#define TIPPLANE_BASE_TEXT_H
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct text {
        char *at;            /* NUL-terminated, NULL while empty; the text's own (text_done) */
        size_t n, room, max; /* max 0: 64 MiB */
        bool broken;
};
void text_init(struct text *t, size_t max);
void text_done(struct text *t);
void text_clear(struct text *t);
bool text_ok(const struct text *t);
const char *text_of(const struct text *t); /* never NULL */
void text_bytes(struct text *t, const void *bytes, size_t n);
void text_put(struct text *t, const char *s);
void text_f(struct text *t, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
char *text_take(struct text *t, size_t *ret_n); /* the caller frees; the text is empty afterwards */

/* JSON writer: commas are put where needed.  `key` is NULL inside arrays and at the top.  Doubles get 17 significant digits;
   NaN and infinities become null.  Text is escaped; bad UTF-8 becomes U+FFFD. */
struct json_out {
        struct text *to;
        unsigned depth;
        bool first[64];
};
struct json_out json_to(struct text *to);
void json_open(struct json_out *o, const char *key, char bracket);      /* '{' or '[' */
void json_close(struct json_out *o, char bracket);                      /* '}' or ']' */
void json_text(struct json_out *o, const char *key, const char *value); /* NULL value: null */
void json_int(struct json_out *o, const char *key, int64_t value);
void json_real(struct json_out *o, const char *key, double value);
void json_bool(struct json_out *o, const char *key, bool value);
void json_null(struct json_out *o, const char *key);
void json_raw(struct json_out *o, const char *key, const char *json); /* already JSON */

#endif

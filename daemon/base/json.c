/* json.c: strict reading of JSON.
 * Idea        cJSON builds a good tree from good text but lets much bad text through.  A scanner of our own goes over the text first and
 *             knows the whole grammar of RFC 8259; only what it accepts reaches cJSON.  Duplicate keys are looked for in the finished
 *             tree, where "a" and "\u0061" are the same key.
 * Invariants  nothing the scanner accepts may mean another thing to cJSON (which cuts numbers at 63 characters: longer ones are refused
 *             here).
 * Not here    what the keys mean (fields.c). */
#include "base/json.h"
#include "base/utf8.h"
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NUMBER_CHARACTERS_MAX = 63, DEPTH_HARD_MAX = 256 };

struct scan {
        const char *text;
        size_t n, at;
        unsigned depth, depth_max;
        struct tp_error *err;
};

static bool is_digit(char c) { return c >= '0' && c <= '9'; }
static char peek(const struct scan *s) { return s->at < s->n ? s->text[s->at] : 0; }

/* Up to 24 bytes of the text, made printable, so that the sentence shows what stands there. */
static void excerpt(const struct scan *s, size_t at, size_t n, char ret[64])
{
        size_t o = 0;
        for (size_t i = at, step; i < s->n && i < at + n && o < 48; i += step) {
                uint32_t point = 0;
                step = utf8_step(s->text + i, s->n - i, &point);
                if (step == 0 || point < 0x20 || point == 0x7F) {
                        o += (size_t)snprintf(ret + o, 64 - o, "\\x%02x", (unsigned)(uint8_t)s->text[i]);
                        step = 1;
                } else {
                        memcpy(ret + o, s->text + i, step);
                        o += step;
                }
        }
        ret[o] = 0;
}

__attribute__((format(printf, 3, 4))) static enum code refuse(const struct scan *s, size_t at, const char *fmt, ...)
{
        char words[300];
        va_list args;
        va_start(args, fmt);
        vsnprintf(words, sizeof words, fmt, args);
        va_end(args);
        size_t line = 1, column = 1;
        for (size_t i = 0; i < at && i < s->n; i++) {
                bool is_new = s->text[i] == '\n';
                line += is_new;
                column = is_new ? 1 : column + (((uint8_t)s->text[i] & 0xC0) != 0x80);
        }
        return tp_fail(s->err, CODE_BAD_INPUT, "JSON, line %zu, column %zu: %s", line, column, words);
}

static enum code refuse_character(const struct scan *s, const char *wanted)
{
        char seen[64];
        if (s->at >= s->n)
                return refuse(s, s->at, "the text ends here, but %s should follow; is it cut off?", wanted);
        excerpt(s, s->at, 8, seen);
        return refuse(s, s->at, "\"%s\" stands where %s should stand", seen, wanted);
}

static void skip_space(struct scan *s)
{
        while (s->at < s->n && (s->text[s->at] == ' ' || s->text[s->at] == '\t' || s->text[s->at] == '\n' || s->text[s->at] == '\r'))
                s->at++;
}

static enum code scan_number(struct scan *s)
{
        size_t from = s->at;
        bool is_integer = true;
        char digits[NUMBER_CHARACTERS_MAX + 1];
        if (peek(s) == '-')
                s->at++;
        if (!is_digit(peek(s)))
                return refuse_character(s, "a digit");
        if (peek(s) == '0' && s->at + 1 < s->n && is_digit(s->text[s->at + 1])) {
                excerpt(s, from, 12, digits);
                return refuse(s, from, "the number %s begins with a zero; write it without", digits);
        }
        while (is_digit(peek(s)))
                s->at++;
        if (peek(s) == '.') {
                is_integer = false;
                s->at++;
                if (!is_digit(peek(s)))
                        return refuse_character(s, "a digit after the decimal point");
                while (is_digit(peek(s)))
                        s->at++;
        }
        if (peek(s) == 'e' || peek(s) == 'E') {
                is_integer = false;
                s->at++;
                if (peek(s) == '+' || peek(s) == '-')
                        s->at++;
                if (!is_digit(peek(s)))
                        return refuse_character(s, "a digit of the exponent");
                while (is_digit(peek(s)))
                        s->at++;
        }
        size_t n = s->at - from;
        if (n > NUMBER_CHARACTERS_MAX) {
                char seen[64];
                excerpt(s, from, 16, seen);
                return refuse(s, from, "the number %s... has %zu characters; at most %d are read, and 17 digits are all a number can hold",
                              seen, n, NUMBER_CHARACTERS_MAX);
        }
        memcpy(digits, s->text + from, n);
        digits[n] = 0;
        double value = strtod(digits, NULL);
        if (!isfinite(value))
                return refuse(s, from, "the number %s is too large; the largest is about 1.8e308", digits);
        if (value == 0 && strcspn(digits, "123456789") < strcspn(digits, "eE"))
                return refuse(s, from, "the number %s is too small to differ from 0; the smallest is about 4.9e-324; write 0 if 0 is meant",
                              digits);
        if (is_integer && fabs(value) >= 9007199254740992.0 && strcmp(digits + (digits[0] == '-'), "9007199254740992") != 0)
                return refuse(s, from, "the integer %s is beyond 2^53 = 9007199254740992 and would lose digits; write it as text", digits);
        return CODE_OK;
}

/* Four hex digits at s->at; -1 when they are not there. */
static int32_t hex4(const struct scan *s)
{
        int32_t value = 0;
        if (s->n - s->at < 4)
                return -1;
        for (size_t i = 0; i < 4; i++) {
                char c = s->text[s->at + i];
                int digit = is_digit(c) ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
                if (digit < 0)
                        return -1;
                value = value * 16 + digit;
        }
        return value;
}

static enum code scan_escape(struct scan *s)
{
        size_t from = s->at++; /* the backslash */
        char seen[64];
        if (s->at < s->n && strchr("\"\\/bfnrt", s->text[s->at]) && s->text[s->at]) {
                s->at++;
                return CODE_OK;
        }
        excerpt(s, from, 6, seen);
        if (peek(s) != 'u')
                return refuse(s, from, "\"%s\" is no escape; JSON has \\\" \\\\ \\/ \\b \\f \\n \\r \\t and \\u with four hex digits",
                              seen);
        s->at++;
        int32_t unit = hex4(s);
        if (unit < 0)
                return refuse(s, from, "\"%s\" is no escape; \\u needs four hex digits", seen);
        if (unit == 0)
                return refuse(s, from, "\\u0000 is not allowed in a text; leave it out");
        s->at += 4;
        if (unit < 0xD800 || unit > 0xDFFF)
                return CODE_OK;
        if (unit <= 0xDBFF && s->n - s->at >= 6 && s->text[s->at] == '\\' && s->text[s->at + 1] == 'u') {
                s->at += 2;
                int32_t low = hex4(s);
                s->at += 4;
                if (low >= 0xDC00 && low <= 0xDFFF)
                        return CODE_OK;
        }
        return refuse(s, from, "\"%s\" is half of a surrogate pair; the other half is missing", seen);
}

static enum code scan_string(struct scan *s)
{
        size_t from = s->at++;
        while (s->at < s->n && s->text[s->at] != '"') {
                uint32_t point = 0;
                if (s->text[s->at] == '\\') {
                        enum code code = scan_escape(s);
                        if (code)
                                return code;
                        continue;
                }
                size_t step = utf8_step(s->text + s->at, s->n - s->at, &point);
                if (step == 0)
                        return refuse(s, s->at, "the byte 0x%02x is no UTF-8 here; save the text as UTF-8",
                                      (unsigned)(uint8_t)s->text[s->at]);
                if (point < 0x20)
                        return refuse(s, s->at, "the control character 0x%02x stands bare in a text; write \\u%04x", (unsigned)point,
                                      (unsigned)point);
                s->at += step;
        }
        if (s->at >= s->n) {
                char seen[64];
                excerpt(s, from, 16, seen);
                return refuse(s, from, "the text %s... has no closing quote", seen);
        }
        s->at++;
        return CODE_OK;
}

static enum code scan_word(struct scan *s)
{
        static const char *const words[] = {"true", "false", "null"};
        for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
                size_t n = strlen(words[i]);
                if (s->n - s->at >= n && memcmp(s->text + s->at, words[i], n) == 0) {
                        s->at += n;
                        return CODE_OK;
                }
        }
        return refuse_character(s, "a value");
}

static enum code scan_value(struct scan *s);

/* A list or an object, from its opening to its closing bracket. */
static enum code scan_inside(struct scan *s, char closing)
{
        if (++s->depth > s->depth_max)
                return refuse(s, s->at, "this is level %u of brackets; at most %u are read", s->depth, s->depth_max);
        s->at++;
        skip_space(s);
        if (peek(s) == closing)
                goto closed;
        for (;;) {
                enum code code = CODE_OK;
                skip_space(s);
                if (closing == '}') {
                        code = peek(s) == '"' ? scan_string(s) : refuse_character(s, "a key in quotes");
                        if (code)
                                return code;
                        skip_space(s);
                        if (peek(s) != ':')
                                return refuse_character(s, "a colon after the key");
                        s->at++;
                        skip_space(s);
                }
                code = scan_value(s);
                if (code)
                        return code;
                skip_space(s);
                if (peek(s) == closing)
                        goto closed;
                if (peek(s) != ',')
                        return refuse_character(s, closing == '}' ? "a comma or }" : "a comma or ]");
                s->at++;
        }
closed:
        s->at++;
        s->depth--;
        return CODE_OK;
}

static enum code scan_value(struct scan *s)
{
        char c = peek(s);
        if (c == '{' || c == '[')
                return scan_inside(s, c == '{' ? '}' : ']');
        if (c == '"')
                return scan_string(s);
        if (c == '-' || is_digit(c))
                return scan_number(s);
        return scan_word(s);
}

static enum code scan_all(struct scan *s)
{
        if (s->n >= 3 && memcmp(s->text, "\xEF\xBB\xBF", 3) == 0)
                return refuse(s, 0, "the text begins with a byte order mark (EF BB BF); save it as UTF-8 without one");
        skip_space(s);
        if (s->at == s->n)
                return refuse(s, s->at, "the text is empty; a JSON value is wanted");
        enum code code = scan_value(s);
        if (code)
                return code;
        skip_space(s);
        if (s->at < s->n) {
                char seen[64];
                excerpt(s, s->at, 16, seen);
                return refuse(s, s->at, "\"%s\" stands after the end of the value; remove it", seen);
        }
        return CODE_OK;
}

static int key_order(const void *a, const void *b) { return strcmp(*(const char *const *)a, *(const char *const *)b); }

/* Sorted, not compared pair by pair: a hostile body of 100 000 keys must not cost 10^10 steps. */
static enum code find_duplicate(const cJSON *object, const char *pointer, struct tp_error *err)
{
        size_t n = 0, i = 0;
        for (const cJSON *c = object->child; c; c = c->next)
                n++;
        if (n < 2)
                return CODE_OK;
        const char **keys = malloc(n * sizeof *keys);
        if (!keys)
                return tp_fail_memory(err);
        for (const cJSON *c = object->child; c; c = c->next)
                keys[i++] = c->string;
        qsort(keys, n, sizeof *keys, key_order);
        enum code code = CODE_OK;
        for (i = 1; i < n && !code; i++)
                if (strcmp(keys[i - 1], keys[i]) == 0)
                        code = tp_fail_at(err, CODE_BAD_INPUT, pointer, "JSON, %s: the key \"%.60s\" stands twice in one object; keep one",
                                          pointer[0] ? pointer : "top level", keys[i]);
        free(keys);
        return code;
}

static enum code find_duplicates(const cJSON *json, const char *pointer, struct tp_error *err)
{
        size_t i = 0;
        enum code code = cJSON_IsObject(json) ? find_duplicate(json, pointer, err) : CODE_OK;
        for (const cJSON *c = json->child; c && !code; c = c->next, i++) {
                if (!c->child)
                        continue;
                char deeper[160];
                if (cJSON_IsObject(json))
                        snprintf(deeper, sizeof deeper, "%s/%s", pointer, c->string);
                else
                        snprintf(deeper, sizeof deeper, "%s/%zu", pointer, i);
                code = find_duplicates(c, deeper, err);
        }
        return code;
}

enum code json_read(const char *text, size_t n, unsigned depth_max, cJSON **ret, struct tp_error *err)
{
        if (depth_max == 0)
                depth_max = JSON_DEPTH_MAX;
        struct scan s = {.text = text, .n = n, .depth_max = depth_max < DEPTH_HARD_MAX ? depth_max : DEPTH_HARD_MAX, .err = err};
        enum code code = scan_all(&s);
        if (code)
                return code;
        cJSON *json = cJSON_ParseWithLengthOpts(text, n, NULL, 0);
        if (!json)
                return tp_fail_memory(err); /* the grammar is known to be right */
        code = find_duplicates(json, "", err);
        if (code)
                cJSON_Delete(json);
        else
                *ret = json;
        return code;
}

/* error.c: sentences are formatted into a local buffer first, because an argument may well be the old sentence itself.
   They quote what came from outside, and go to terminals and logs: what is no printable character of UTF-8 becomes a question mark. */
#include "base/error.h"
#include "base/utf8.h"
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* exit: 0 ok, 1 failed, 2 usage or bad input, 3 not found, 4 refused by state, 5 no daemon or link dead, 6 authentication.
   retry: asking again can help, provided that effect_unknown is not set. */
const struct code_row code_rows[CODE_COUNT] = {
        [CODE_OK] = {"ok", 200, 0, false},
        [CODE_BAD_INPUT] = {"bad_input", 422, 2, false},
        [CODE_NOT_FOUND] = {"not_found", 404, 3, false},
        [CODE_STATE] = {"state", 409, 4, false},
        [CODE_INTERLOCK] = {"interlock", 409, 4, false},
        [CODE_FORBIDDEN] = {"forbidden", 403, 6, false},
        [CODE_UNAUTHENTICATED] = {"unauthenticated", 401, 6, false},
        [CODE_TIMED_OUT] = {"timed_out", 504, 1, true},
        [CODE_CANCELLED] = {"cancelled", 503, 1, false},
        [CODE_LINK_DEAD] = {"link_dead", 502, 5, true},
        [CODE_BAD_REPLY] = {"bad_reply", 502, 1, true},
        [CODE_DISK_FULL] = {"disk_full", 507, 1, false},
        [CODE_DISK] = {"disk", 500, 1, false},
        [CODE_DAMAGED] = {"damaged", 500, 1, false},
        [CODE_TOO_NEW] = {"too_new", 409, 4, false},
        [CODE_BUSY] = {"busy", 503, 4, true},
        [CODE_MEMORY] = {"memory", 503, 1, true},
        [CODE_UNRESOLVABLE] = {"unresolvable", 422, 1, false},
        [CODE_BUG] = {"bug", 500, 1, false},
};

static void make_plain(char *text)
{
        size_t n = strlen(text);
        for (size_t i = 0, step; i < n; i += step) {
                uint32_t point = 0;
                step = utf8_step(text + i, n - i, &point);
                if (step && point >= 0x20 && !(point >= 0x7F && point < 0xA0))
                        continue;
                step = step ? step : 1;
                memset(text + i, text[i] == '\n' || text[i] == '\t' ? ' ' : '?', step);
        }
}

/* Copies text into a field of `room` bytes; what does not fit ends with an ellipsis, never in the middle of a character. */
static void put_whole(char *ret, size_t room, const char *text)
{
        static const char dots[] = "\xe2\x80\xa6";
        size_t n = strlen(text);
        if (n < room) {
                memcpy(ret, text, n + 1);
                make_plain(ret);
                return;
        }
        n = room - sizeof dots;
        while (n > 0 && ((unsigned char)text[n] & 0xC0) == 0x80)
                n--;
        memcpy(ret, text, n);
        memcpy(ret + n, dots, sizeof dots);
        make_plain(ret);
}

static void fill(struct tp_error *err, enum code code, int sys, const char *pointer, const char *sentence)
{
        struct tp_error e = {.code = code, .sys = sys};
        put_whole(e.pointer, sizeof e.pointer, pointer);
        put_whole(e.text, sizeof e.text, sentence);
        *err = e;
}

enum code tp_fail(struct tp_error *err, enum code code, const char *fmt, ...)
{
        if (!err)
                return code;
        char sentence[sizeof err->text + 1];
        va_list args;
        va_start(args, fmt);
        vsnprintf(sentence, sizeof sentence, fmt, args);
        va_end(args);
        fill(err, code, 0, "", sentence);
        return code;
}

enum code tp_fail_at(struct tp_error *err, enum code code, const char *pointer, const char *fmt, ...)
{
        if (!err)
                return code;
        char sentence[sizeof err->text + 1], at[sizeof err->pointer + 1];
        snprintf(at, sizeof at, "%s", pointer ? pointer : "");
        va_list args;
        va_start(args, fmt);
        vsnprintf(sentence, sizeof sentence, fmt, args);
        va_end(args);
        fill(err, code, 0, at, sentence);
        return code;
}

enum code tp_fail_sys(struct tp_error *err, enum code code, int sys, const char *fmt, ...)
{
        if (!err)
                return code;
        char sentence[sizeof err->text + 1], why[128], whole[sizeof sentence + sizeof why + 2];
        va_list args;
        va_start(args, fmt);
        vsnprintf(sentence, sizeof sentence, fmt, args);
        va_end(args);
        snprintf(whole, sizeof whole, "%s: %s", sentence, strerror_r(sys, why, sizeof why));
        fill(err, code, sys, "", whole);
        return code;
}

enum code tp_where(struct tp_error *err, const char *fmt, ...)
{
        if (!err)
                return CODE_BUG;
        char words[sizeof err->text + 1], whole[2 * sizeof err->text + 3];
        va_list args;
        va_start(args, fmt);
        vsnprintf(words, sizeof words, fmt, args);
        va_end(args);
        snprintf(whole, sizeof whole, "%s: %s", words, err->text);
        put_whole(err->text, sizeof err->text, whole);
        return err->code;
}

enum code tp_fail_memory(struct tp_error *err)
{
        return tp_fail(err, CODE_MEMORY, "not enough memory; close other programs or raise the memory limit of this one, then try again");
}

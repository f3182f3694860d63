/* touchstone_words.c: lines, comments, words and numbers of a Touchstone text.
 * Idea        Words point into the text; nothing is copied but comments and single numbers, so a line may be as long as it likes.
 * Trap        a comma separates words like a blank (a liberty some writers take), but not in "D2,3" of a mixed-mode order.  strtod() alone
 *             would take "nan", "inf" and "0x1p3". */
#include "formats/touchstone_own.h"
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

bool word_is(struct word w, const char *text) { return w.n == strlen(text) && strncasecmp(w.at, text, w.n) == 0; }

/* One line of comment, printable part only, as long as there is room; then one sentence, once.  Returns how many bytes had none. */
static size_t keep(struct text *to, const char *line, size_t n)
{
        static const char more[] = "(the rest is left out: more than 65536 bytes)\n";
        size_t k = 0;
        if (to->n >= TOUCHSTONE_COMMENT_MAX)
                return n;
        for (; k < n && to->n < TOUCHSTONE_COMMENT_MAX; k++)
                if ((unsigned char)line[k] >= 32 || line[k] == '\t')
                        text_bytes(to, &line[k], 1);
        text_put(to, "\n");
        if (to->n >= TOUCHSTONE_COMMENT_MAX)
                text_put(to, more);
        return n - k;
}

/* [at, at + n) is the next line without its end. */
static bool take_line(struct reader *r, const char **ret_at, size_t *ret_n)
{
        if (r->at >= r->end)
                return false;
        const char *stop = r->at;
        while (stop < r->end && *stop != '\n' && *stop != '\r')
                stop++;
        *ret_at = r->at;
        *ret_n = (size_t)(stop - r->at);
        r->line++;
        r->at = stop < r->end && *stop == '\r' && stop + 1 < r->end && stop[1] == '\n' ? stop + 2 : stop + 1;
        return true;
}

static bool is_blank(char c, bool commas) { return c == ' ' || c == '\t' || (commas && c == ','); }

static enum code split(struct reader *r, const char *at, size_t n)
{
        size_t k = 0;
        bool commas = r->list != LIST_MODES;
        r->word_n = 0;
        r->keyword = (struct word){0};
        while (k < n && is_blank(at[k], false))
                k++;
        if (k < n && at[k] == '[') {
                const char *close = memchr(at + k, ']', n - k);
                if (!close)
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s\" begins a keyword, but there is no ] in the line",
                                       r->line, SHOWN(((struct word){at + k, n - k})));
                r->keyword = (struct word){at + k + 1, (size_t)(close - at) - k - 1};
                k = (size_t)(close - at) + 1;
                commas = false;
        }
        while (k < n) {
                while (k < n && is_blank(at[k], commas))
                        k++;
                size_t first = k;
                while (k < n && !is_blank(at[k], commas))
                        k++;
                if (k == first)
                        break;
                if (r->word_n == TOUCHSTONE_WORDS_MAX)
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more than %d words; break the line", r->line,
                                       TOUCHSTONE_WORDS_MAX);
                r->word[r->word_n++] = (struct word){at + first, k - first};
        }
        return CODE_OK;
}

bool reader_line(struct reader *r, enum code *ret_code)
{
        const char *at;
        size_t n;
        *ret_code = CODE_OK;
        while (take_line(r, &at, &n)) {
                size_t text_n = 0;
                bool blank = true;
                for (; text_n < n && at[text_n] != '!'; text_n++) {
                        unsigned char c = (unsigned char)at[text_n];
                        if (c == 0 || c > 126 || (c < 32 && c != '\t')) {
                                *ret_code = tp_fail(r->err, CODE_BAD_INPUT,
                                                    "line %zu: byte 0x%02x in column %zu is no ASCII text; is this a Touchstone file?",
                                                    r->line, c, text_n + 1);
                                return false;
                        }
                        blank = blank && is_blank((char)c, false);
                }
                if (blank && text_n < n && !r->in_data)
                        r->left_out_bytes += keep(&r->comments, at + text_n + 1, n - text_n - 1);
                if (blank)
                        continue;
                *ret_code = split(r, at, text_n);
                if (*ret_code)
                        return false;
                if (r->word_n > 0 || r->keyword.at)
                        return true;
        }
        return false;
}

enum code reader_information(struct reader *r)
{
        const char *at;
        size_t n, begun = r->line;
        while (take_line(r, &at, &n)) {
                struct word w = {at, n};
                while (w.n && is_blank(*w.at, false))
                        w.at++, w.n--;
                if (w.n >= 17 && strncasecmp(w.at, "[End Information]", 17) == 0)
                        return CODE_OK;
                r->left_out_bytes += keep(&r->information, at, n);
        }
        return tp_fail(r->err, CODE_BAD_INPUT,
                       "line %zu: the text ends within the information block begun in line %zu; [End Information] is missing", r->line,
                       begun);
}

enum code reader_number(struct reader *r, struct word w, double *ret)
{
        char copy[64], *end;
        bool digits = false;
        if (w.n >= sizeof copy)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s…\" is not a number: %zu characters, at most %zu", r->line,
                               SHOWN(w), w.n, sizeof copy - 1);
        for (size_t k = 0; k < w.n; k++) {
                digits = digits || isdigit((unsigned char)w.at[k]);
                if (!isdigit((unsigned char)w.at[k]) && !strchr("+-.eE", w.at[k]))
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s\" is not a number", r->line, SHOWN(w));
        }
        memcpy(copy, w.at, w.n);
        copy[w.n] = '\0';
        *ret = strtod(copy, &end);
        if (!digits || *end || !isfinite(*ret))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s\" is not a finite number", r->line, SHOWN(w));
        return CODE_OK;
}

enum code reader_count(struct reader *r, struct word w, size_t min, size_t max, size_t *ret)
{
        size_t value = 0, k = 0;
        for (; k < w.n && isdigit((unsigned char)w.at[k]) && value <= max; k++)
                value = 10 * value + (size_t)(w.at[k] - '0');
        if (k < w.n || w.n == 0 || value < min || value > max)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s\" after [%.*s]; a whole number from %zu to %zu belongs there",
                               r->line, SHOWN(w), SHOWN(r->keyword), min, max);
        *ret = value;
        return CODE_OK;
}

/* touchstone_keywords.c: the head of a version 2 text (Touchstone File Format Specification 2.0, IBIS Open Forum 2009; 2.1, 2024).
 * Trap        the values of [Reference] and [Mixed-Mode Order] may go on in the next line, or begin there. */
#include "formats/touchstone_own.h"
#include <ctype.h>
#include <string.h>
#include <strings.h>

enum keyword {
        K_VERSION,
        K_PORTS,
        K_ORDER,
        K_FREQUENCIES,
        K_NOISE_FREQUENCIES,
        K_REFERENCE,
        K_MATRIX,
        K_MODES,
        K_INFORMATION,
        K_DATA,
        K_COUNT
};
static const char *const keyword_words[K_COUNT] = {
        "Version",   "Number of Ports", "Two-Port Data Order", "Number of Frequencies", "Number of Noise Frequencies",
        "Reference", "Matrix Format",   "Mixed-Mode Order",    "Begin Information",     "Network Data",
};

static bool seen(const struct reader *r, enum keyword k) { return r->seen & (1u << k); }

static enum code one_word(struct reader *r, const char *what)
{
        return r->word_n == 1 ? CODE_OK
                              : tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %zu words after [%.*s]; %s belongs there", r->line, r->word_n,
                                        SHOWN(r->keyword), what);
}

static enum code version(struct reader *r)
{
        enum code code = one_word(r, "2.0 or 2.1");
        if (code)
                return code;
        if (!word_is(r->word[0], "2.0") && !word_is(r->word[0], "2.1"))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: version \"%.*s\"; 2.0 and 2.1 are read, and 1.x without this line",
                               r->line, SHOWN(r->word[0]));
        if (r->option_seen || r->seen)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [Version] must be the first line that is no comment", r->line);
        r->file->version = word_is(r->word[0], "2.0") ? 20 : 21;
        return CODE_OK;
}

static enum code ports(struct reader *r)
{
        size_t n = 0;
        enum code code = one_word(r, "the number of ports");
        if (!code)
                code = reader_count(r, r->word[0], 1, TOUCHSTONE_PORTS_MAX, &n);
        if (!code && r->file->ports && r->file->ports != n)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [Number of Ports] %zu, but the file's name says %u", r->line, n,
                               r->file->ports);
        if (!code)
                r->file->ports = (unsigned)n;
        return code;
}

/* "D2,3", "C1,4", "S5" */
static enum code mode(struct reader *r, struct word w, struct touchstone_mode *ret)
{
        unsigned number[2] = {0};
        size_t k = 1, n = 0;
        char kind = (char)toupper((unsigned char)w.at[0]);
        for (; n < 2 && k < w.n && isdigit((unsigned char)w.at[k]); n++) {
                for (; k < w.n && isdigit((unsigned char)w.at[k]) && number[n] <= TOUCHSTONE_PORTS_MAX; k++)
                        number[n] = 10 * number[n] + (unsigned)(w.at[k] - '0');
                if (n == 0 && k + 1 < w.n && w.at[k] == ',')
                        k++;
        }
        bool right = k == w.n && number[0] >= 1 && number[0] <= r->file->ports &&
                     (kind == 'S' ? n == 1 : (kind == 'D' || kind == 'C') && n == 2);
        if (right && n == 2)
                right = number[1] >= 1 && number[1] <= r->file->ports && number[1] != number[0];
        if (!right)
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: \"%.*s\" in the mixed-mode order is none of S1, D1,2, C1,2 with ports from 1 to %u", r->line,
                               SHOWN(w), r->file->ports);
        *ret = (struct touchstone_mode){kind, number[0], number[1]};
        return CODE_OK;
}

enum code reader_list_goes_on(struct reader *r)
{
        enum code code = CODE_OK;
        struct touchstone *f = r->file;
        const char *what = r->list == LIST_MODES ? "Mixed-Mode Order" : "Reference";
        for (size_t k = 0; k < r->word_n && !code; k++) {
                if (r->list_n == f->ports)
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s\" is one more value of [%s] than the %u ports", r->line,
                                       SHOWN(r->word[k]), what, f->ports);
                if (r->list == LIST_MODES) {
                        code = mode(r, r->word[k], &r->mode[r->list_n]);
                } else if (memchr(r->word[k].at, 'j', r->word[k].n)) {
                        code = tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: the reference \"%.*s\" is complex; Touchstone knows real ones only: renormalise the data "
                                       "to a real one where they were made",
                                       r->line, SHOWN(r->word[k]));
                } else if (!(code = reader_number(r, r->word[k], &f->r_ohm[r->list_n])) && !(f->r_ohm[r->list_n] > 0)) {
                        code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: a reference resistance of %g ohm; it must be positive", r->line,
                                       f->r_ohm[r->list_n]);
                }
                r->list_n++;
        }
        return code;
}

static enum code list_begin(struct reader *r, enum open_list list)
{
        if (!r->file->ports)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [%.*s] before [Number of Ports]; put it behind", r->line,
                               SHOWN(r->keyword));
        r->list = list;
        r->list_n = 0;
        if (list == LIST_MODES && !(r->mode = arena_take(r->arena, r->file->ports * sizeof *r->mode)))
                return tp_fail_memory(r->err);
        return reader_list_goes_on(r);
}

static enum code list_end(struct reader *r)
{
        if (r->list != LIST_NONE && r->list_n < r->file->ports)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [%s] ends with %zu values; there are %u ports", r->line,
                               r->list == LIST_MODES ? "Mixed-Mode Order" : "Reference", r->list_n, r->file->ports);
        r->list = LIST_NONE;
        return CODE_OK;
}

/* Every port stands once as S, or once as D and once as C of the same pair. */
static enum code modes_check(struct reader *r)
{
        const struct touchstone *f = r->file;
        for (unsigned p = 1; r->mode && p <= f->ports; p++) {
                const struct touchstone_mode *as[3] = {NULL};
                unsigned n = 0;
                for (unsigned k = 0; k < f->ports; k++)
                        if (r->mode[k].port == p || r->mode[k].other == p)
                                as[n < 2 ? n : 2] = &r->mode[k], n++;
                bool right = n == 1 && as[0]->kind == 'S';
                if (n == 2 && as[0]->kind != 'S' && as[1]->kind != 'S' && as[0]->kind != as[1]->kind)
                        right = (as[0]->port == as[1]->port && as[0]->other == as[1]->other) ||
                                (as[0]->port == as[1]->other && as[0]->other == as[1]->port);
                if (!right)
                        return tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: the mixed-mode order has port %u %u times; a port stands once as S, or as D and C of one "
                                       "pair",
                                       r->line, p, n);
        }
        return CODE_OK;
}

/* All that must stand before the data. */
static enum code head_check(struct reader *r)
{
        struct touchstone *f = r->file;
        if (!r->option_seen)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [Network Data] without an option line like \"# Hz S RI R 50\" before it",
                               r->line);
        if (!f->ports)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [Network Data] without [Number of Ports] before it", r->line);
        if (!seen(r, K_FREQUENCIES))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [Network Data] without [Number of Frequencies] before it", r->line);
        if (f->ports == 2 && !seen(r, K_ORDER))
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: [Network Data] of a two-port without [Two-Port Data Order]; say 21_12 or 12_21", r->line);
        if (f->ports != 2 && (seen(r, K_ORDER) || seen(r, K_NOISE_FREQUENCIES) || strchr("GH", f->parameter)))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %s belong to two-ports; this file has %u", r->line,
                               seen(r, K_ORDER)               ? "[Two-Port Data Order]"
                               : seen(r, K_NOISE_FREQUENCIES) ? "noise data"
                                                              : "parameters of kind G and H",
                               f->ports);
        f->mode = r->mode;
        f->matrix = "FLU"[r->matrix];
        f->order_12_21 = f->ports == 2 && !r->order_21_12;
        return modes_check(r);
}

static enum code choose(struct reader *r, enum keyword k)
{
        enum code code = one_word(r, k == K_ORDER ? "21_12 or 12_21" : "Full, Lower or Upper");
        if (code)
                return code;
        struct word w = r->word[0];
        if (k == K_ORDER && (word_is(w, "21_12") || word_is(w, "12_21")))
                r->order_21_12 = word_is(w, "21_12");
        else if (k == K_MATRIX && (word_is(w, "full") || word_is(w, "lower") || word_is(w, "upper")))
                r->matrix = word_is(w, "full") ? MATRIX_FULL : word_is(w, "lower") ? MATRIX_LOWER : MATRIX_UPPER;
        else
                code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [%s] \"%.*s\"; %s belongs there", r->line, keyword_words[k], SHOWN(w),
                               k == K_ORDER ? "21_12 or 12_21" : "Full, Lower or Upper");
        return code;
}

enum code reader_keyword(struct reader *r, bool *ret_data)
{
        size_t k = 0;
        enum code code = list_end(r);
        *ret_data = false;
        while (k < K_COUNT && !word_is(r->keyword, keyword_words[k]))
                k++;
        if (code)
                return code;
        if (k == K_COUNT)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [%.*s] is no keyword of Touchstone 2 that may stand here", r->line,
                               SHOWN(r->keyword));
        if (r->file->version < 20 && k != K_VERSION)
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: keyword [%.*s] without a line \"[Version] 2.0\" before it; only version 2 has keywords", r->line,
                               SHOWN(r->keyword));
        if (seen(r, (enum keyword)k) && k != K_INFORMATION)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [%s] for the second time", r->line, keyword_words[k]);
        switch ((enum keyword)k) {
        case K_VERSION:
                code = version(r);
                break;
        case K_PORTS:
                code = ports(r);
                break;
        case K_ORDER:
        case K_MATRIX:
                code = choose(r, (enum keyword)k);
                break;
        case K_FREQUENCIES:
                if (!(code = one_word(r, "the number of frequencies")))
                        code = reader_count(r, r->word[0], 1, TOUCHSTONE_POINTS_MAX, &r->frequency_n);
                break;
        case K_NOISE_FREQUENCIES:
                if (!(code = one_word(r, "the number of noise frequencies")))
                        code = reader_count(r, r->word[0], 1, TOUCHSTONE_NOISE_MAX, &r->noise_n);
                break;
        case K_REFERENCE:
                code = list_begin(r, LIST_REFERENCE);
                break;
        case K_MODES:
                code = list_begin(r, LIST_MODES);
                break;
        case K_INFORMATION:
                code = reader_information(r);
                break;
        case K_DATA:
                if (r->word_n > 0)
                        code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s\" behind [Network Data]; data begin in the next line",
                                       r->line, SHOWN(r->word[0]));
                else
                        code = head_check(r);
                *ret_data = !code;
                break;
        case K_COUNT:
                break;
        }
        r->seen |= 1u << k;
        return code;
}

/* touchstone_option.c: the line "# GHz S MA R 50": items in any order and case, what is missing has its default. */
#include "formats/touchstone_own.h"
#include <ctype.h>
#include <string.h>

static bool looks_like_a_number(struct word w) { return strchr("+-.0123456789(", w.at[0]) != NULL; }

/* The resistances behind R: one, or (version 1.1) one per port; a version 2 text has them after [Reference]. */
static enum code resistances(struct reader *r, size_t *k)
{
        struct touchstone *f = r->file;
        size_t given = 0, most = f->version >= 20 ? 1 : f->ports;
        while (*k + 1 < r->word_n && looks_like_a_number(r->word[*k + 1])) {
                struct word w = r->word[++*k];
                double ohm;
                if (memchr(w.at, 'j', w.n) || memchr(w.at, 'i', w.n) || w.at[0] == '(')
                        return tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: the reference \"%.*s\" is complex; Touchstone knows real ones only: renormalise the data "
                                       "to a real one where they were made",
                                       r->line, SHOWN(w));
                enum code code = reader_number(r, w, &ohm);
                if (code)
                        return code;
                if (!(ohm > 0))
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: a reference resistance of %g ohm; it must be positive", r->line,
                                       ohm);
                if (given >= most)
                        return f->version >= 20
                                       ? tp_fail(r->err, CODE_BAD_INPUT,
                                                 "line %zu: more than one resistance after R; version 2 has them after [Reference]",
                                                 r->line)
                                       : tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more reference resistances than the %u ports", r->line,
                                                 f->ports);
                f->r_ohm[given++] = ohm;
        }
        if (given != 1 && given != most)
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: %zu reference resistances after R; give one, or one for each of the %u ports", r->line, given,
                               f->ports);
        for (size_t p = given; p < TOUCHSTONE_PORTS_MAX; p++)
                f->r_ohm[p] = f->r_ohm[0];
        r->r_n = given;
        if (given > 1)
                f->version = 11;
        return CODE_OK;
}

static bool unit(struct reader *r, struct word w)
{
        static const struct {
                const char *word;
                double hz;
        } units[] = {{"hz", 1}, {"khz", 1e3}, {"mhz", 1e6}, {"ghz", 1e9}};
        for (size_t u = 0; u < sizeof units / sizeof units[0]; u++)
                if (word_is(w, units[u].word)) {
                        r->unit_hz = units[u].hz;
                        return true;
                }
        return false;
}

static bool form(struct reader *r, struct word w)
{
        if (!word_is(w, "ri") && !word_is(w, "ma") && !word_is(w, "db"))
                return false;
        r->form = word_is(w, "ri") ? FORM_RI : word_is(w, "ma") ? FORM_MA : FORM_DB;
        return true;
}

enum code reader_option(struct reader *r)
{
        struct touchstone *f = r->file;
        enum code code = CODE_OK;
        if (r->option_seen) /* only the first counts */
                return CODE_OK;
        r->option_seen = true;
        r->option_line = r->line;
        size_t k = 1;
        if (r->word[0].n > 1) { /* "#GHz" without a blank is common */
                r->word[0].at++, r->word[0].n--;
                k = 0;
        }
        enum { UNIT, FORM, PARAMETER, RESISTANCE, ITEMS };
        static const char *const items[ITEMS] = {"unit", "form", "parameter", "reference"};
        unsigned said[ITEMS] = {0};
        for (; k < r->word_n; k++) {
                struct word w = r->word[k];
                int item = ITEMS;
                if (unit(r, w))
                        item = UNIT;
                else if (form(r, w))
                        item = FORM;
                else if (w.n == 1 && strchr("sSyYzZgGhH", w.at[0])) {
                        item = PARAMETER;
                        f->parameter = (char)toupper((unsigned char)w.at[0]);
                } else if (word_is(w, "r")) {
                        item = RESISTANCE;
                        code = resistances(r, &k);
                } else
                        code = tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: \"%.*s\" in the option line is none of Hz kHz MHz GHz, S Y Z G H, RI MA DB, R", r->line,
                                       SHOWN(w));
                if (!code && said[item]++)
                        code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: the option line says its %s twice, at last \"%.*s\"; keep one",
                                       r->line, items[item], SHOWN(w));
                if (code)
                        return code;
        }
        return CODE_OK;
}

/* terms_json_columns.c: which columns a model of error terms is made of, and which follow from them (terms_json_own.h). */
#include "formats/terms_json_own.h"

static const char *const full_words[FULL_COUNT] = {"T1_11", "T1_12", "T1_21", "T1_22", "T2_11", "T2_12", "T2_21", "T2_22",
                                                   "T3_11", "T3_12", "T3_21", "T3_22", "T4_11", "T4_12", "T4_21", "T4_22"};
static const enum term one_port[] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR};
static const enum term eight[] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR, TERM_K};
static const enum term twelve[] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR,
                                   TERM_ELF, TERM_ETF, TERM_EXF, TERM_ELR, TERM_ETR, TERM_EXR};

size_t terms_columns_of(const struct terms *t, struct terms_column to[TERMS_COLUMNS_MAX])
{
        const enum term *list = NULL;
        size_t n = 0;
        switch (t->model) {
        case TERMS_ONE_PORT:
                list = one_port;
                n = COUNT_OF(one_port);
                break;
        case TERMS_EIGHT:
                list = eight;
                n = COUNT_OF(eight);
                break;
        case TERMS_TWELVE:
                list = twelve;
                n = COUNT_OF(twelve);
                break;
        case TERMS_SIXTEEN:
                for (int k = 0; k < FULL_COUNT; k++)
                        to[k] = (struct terms_column){full_words[k], t->full_re[k], t->full_im[k], 0};
                return FULL_COUNT;
        case TERMS_UNKNOWN:
        case TERMS_MODEL_COUNT:
                return 0;
        }
        for (size_t k = 0; k < n; k++)
                to[k] = (struct terms_column){term_words[list[k]], t->re[list[k]], t->im[list[k]],
                                              t->model == TERMS_ONE_PORT ? (unsigned)k / 3 + 1 : 0};
        return n;
}

bool terms_follows(enum terms_model model, int term)
{
        bool essential = false;
        for (size_t k = 0; model == TERMS_EIGHT && k < COUNT_OF(eight); k++)
                essential = essential || (int)eight[k] == term;
        for (size_t k = 0; model == TERMS_TWELVE && k < COUNT_OF(twelve); k++)
                essential = essential || (int)twelve[k] == term;
        return model != TERMS_ONE_PORT && !essential;
}

enum code terms_trackings_check(const struct terms *t, struct tp_error *err)
{
        static const enum term divides[] = {TERM_ERF, TERM_ERR, TERM_ETF, TERM_ETR, TERM_K};
        size_t n = t->model == TERMS_ONE_PORT ? 2 : t->model == TERMS_SIXTEEN ? 0 : COUNT_OF(divides);
        for (size_t k = 0; k < n; k++)
                for (size_t i = 0; i < t->axis->n; i++)
                        if (t->re[divides[k]][i] == 0 && t->im[divides[k]][i] == 0)
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "at %.9g Hz %s of these %s terms is 0, and every correction divides by it: %s; measure again",
                                        t->axis->hz[i], term_words[divides[k]], terms_model_words[t->model],
                                        k < 2 ? "a standard's readings were alike" : "the thru did not transmit");
        return CODE_OK;
}

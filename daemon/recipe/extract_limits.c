/* extract_limits.c: the table of limits of numbers taken out of files, and what can be refused without the files (extract_limits.h). */
#include "recipe/extract_limits.h"
#include "recipe/recipe_rows.h"
#include "rf/extract/quantity.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct field limit_fields[] = {
        {.key = "name", .type = FIELD_NAME, TEXT_AT(struct extract_limit, name), .say = "for people"},
        {.key = "quantity",
         .type = FIELD_NAME,
         TEXT_AT(struct extract_limit, quantity),
         .required = true,
         .say = "a word of `tipplane extract --quantities`"},
        {.key = "freq_hz",
         .type = FIELD_REAL,
         AT(struct extract_limit, freq_hz),
         .min = 0,
         .max = 2e12,
         .standard = __builtin_nan(""),
         .unit = "Hz",
         .say = "not for what is found in a sweep: SRF, fT, fmax, Qd_max …"},
        {.key = "low",
         .type = FIELD_REAL,
         AT(struct extract_limit, low),
         .has_offset = offsetof(struct extract_limit, has_low),
         .say = "limit, in the quantity's unit"},
        {.key = "high",
         .type = FIELD_REAL,
         AT(struct extract_limit, high),
         .has_offset = offsetof(struct extract_limit, has_high),
         .say = "limit, in the quantity's unit"},
        {.key = "acceptance",
         .type = FIELD_CHOICE,
         AT(struct extract_limit, acceptance),
         .words = acceptance_words,
         .say = "guarded: pass when the true value lies within the limits with probability 1 - risk, fail when with no more than risk, "
                "else marginal; simple: by the value alone, at a limit a wrong pass is as likely as not"},
        {.key = "risk",
         .type = FIELD_REAL,
         AT(struct extract_limit, risk),
         .min = 1e-6,
         .max = 0.4,
         .standard = 0.05,
         .say = "highest chance of a wrong pass, and of a wrong fail, guarded"},
};
static const struct object limit_object = OBJECT_OF(struct extract_limit, "limit", limit_fields, NULL);
static const struct field fields[] = {
        {.key = "parameters",
         .type = FIELD_LIST,
         LIST_AT(struct extract_limits, parameters, parameter_n),
         .required = true,
         .object = &limit_object,
         .min = 1,
         .max = EXTRACT_LIMITS_MAX},
};
const struct object extract_limits_object =
        OBJECT_OF(struct extract_limits, "limits", fields,
                  "Limits of numbers that `tipplane extract --limits` takes out of files: what a recipe says of its parameters.");

static bool same(double a, double b) { return (isnan(a) && isnan(b)) || !(a < b || a > b); }

static enum code limit_check(const struct extract_limits *all, size_t k, struct tp_error *err)
{
        const struct extract_limit *l = &all->parameters[k];
        enum rf_quantity q = rf_quantity_of(l->quantity);
        bool sweep = q != RF_Q_UNKNOWN && rf_quantities[q].group == RF_GROUP_SWEEP;
        const char *says = NULL, *key = "quantity";
        if (q == RF_Q_UNKNOWN)
                says = "is not known; `tipplane extract --quantities` lists them";
        else if (sweep && !isnan(l->freq_hz))
                says = "is found in a sweep and has no frequency; leave freq_hz out", key = "freq_hz";
        else if (!sweep && isnan(l->freq_hz))
                says = "is read at a frequency; give freq_hz", key = "freq_hz";
        else if (!l->has_low && !l->has_high)
                says = "has no limit; give low, high, or both", key = "low";
        else if (l->has_low && l->has_high && !(l->low < l->high))
                says = "has a low limit that is not below its high one", key = "low";
        for (size_t j = 0; j < k && !says; j++)
                if (strcmp(all->parameters[j].quantity, l->quantity) == 0 && same(all->parameters[j].freq_hz, l->freq_hz))
                        says = "is there twice at this frequency; leave one out";
        if (!says)
                return CODE_OK;
        char pointer[64];
        snprintf(pointer, sizeof pointer, "/parameters/%zu/%s", k, key);
        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s: %s %s", pointer, l->quantity, says);
}

enum code extract_limits_read(const char *text, size_t n, struct arena *arena, struct extract_limits **ret, struct tp_error *err)
{
        struct extract_limits *l = arena_take(arena, sizeof *l);
        if (!l)
                return tp_fail_memory(err);
        enum code code = fields_read_text(&extract_limits_object, text, n, arena, l, err);
        for (size_t k = 0; !code && k < l->parameter_n; k++)
                code = limit_check(l, k, err);
        if (!code)
                *ret = l;
        return code;
}

struct limits extract_limit_of(const struct extract_limit *l) { return (struct limits){l->has_low, l->has_high, l->low, l->high}; }
struct decision_rule extract_rule_of(const struct extract_limit *l)
{
        return (struct decision_rule){(enum acceptance)l->acceptance, l->risk};
}

/* extract_limits.h: limits of numbers taken out of files, in the form that a recipe has for its parameters.  Pure; a document is read into the
   caller's arena. */
#ifndef TIPPLANE_RECIPE_EXTRACT_LIMITS_H
#define TIPPLANE_RECIPE_EXTRACT_LIMITS_H
#include "base/fields.h"
#include "rf/trust/decide_limits.h"

#define EXTRACT_LIMITS_MAX 64

struct extract_limit {
        char name[32];     /* "": none */
        char quantity[32]; /* a word of rf_quantities[] */
        double freq_hz;    /* NaN: of the whole sweep */
        double low, high;
        bool has_low, has_high;
        int32_t acceptance; /* enum acceptance */
        double risk;
};
struct extract_limits {
        struct extract_limit *parameters;
        size_t parameter_n;
};
extern const struct object extract_limits_object;
/* CODE_BAD_INPUT: no JSON of this form; a quantity that there is none of, without limits, or with a low one above the high one; a frequency
   that is missing, or that is given for what is found in a sweep; one parameter twice. */
enum code extract_limits_read(const char *text, size_t n, struct arena *, struct extract_limits **ret, struct tp_error *);
struct limits extract_limit_of(const struct extract_limit *);
struct decision_rule extract_rule_of(const struct extract_limit *);

#endif

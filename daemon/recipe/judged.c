/* judged.c: see judged.h. */
#include "recipe/judged.h"
#include <math.h>
#include <string.h>

bool parameter_judged_by(const struct parameter_plan *p, struct limits *ret_limits, struct decision_rule *ret_rule)
{
        *ret_limits = (struct limits){p->has_low, p->has_high, p->low, p->high};
        *ret_rule = (struct decision_rule){(enum acceptance)p->acceptance, p->risk};
        return p->has_low || p->has_high;
}

const struct parameter_plan *recipe_parameter(const struct recipe *r, const char *device, const char *name)
{
        for (size_t i = 0; i < r->measure_n; i++)
                for (size_t k = 0; strcmp(r->measures[i].device, device) == 0 && k < r->measures[i].parameter_n; k++)
                        if (strcmp(r->measures[i].parameters[k].name, name) == 0)
                                return &r->measures[i].parameters[k];
        return NULL;
}

struct judgement parameter_judgement(const struct parameter_plan *plan, double value, double u95)
{
        struct limits limits;
        struct decision_rule rule;
        if (!plan || !parameter_judged_by(plan, &limits, &rule) || !isfinite(value) || !(u95 >= 0))
                return (struct judgement){NAN, NAN};
        return (struct judgement){limits_conformance(&limits, value, u95 / 2), limits_guard(&limits, &rule, u95 / 2)};
}

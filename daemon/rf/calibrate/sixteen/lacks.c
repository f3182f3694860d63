/* lacks.c: what a set of standards must have, and what it lacks, in words (sixteen.h). */
#include "rf/numbers/columns.h"
#include "rf/calibrate/sixteen/sixteen.h"
#include "rf/calibrate/solve.h"
#include <math.h>
#include <string.h>

enum code sixteen_check(const struct problem *p, struct tp_error *err)
{
        static const char *const entry[4] = {"S11", "S12", "S21", "S22"};
        if (p->standard_n < SIXTEEN_LEAST)
                return tp_fail(err, CODE_BAD_INPUT,
                               "sixteen_term needs %d fully known two-ports and has %zu; measure e.g. a thru, open with short, short with "
                               "open, loads at both ports and open with load",
                               SIXTEEN_LEAST, p->standard_n);
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                if (s->ports == 1 || s->ports == 2)
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "sixteen_term: %s was read at port %u only; with leakage both ports of each standard must be known and "
                                "read in all four ways",
                                standard_name(s), s->ports);
                if (!(s->u_ideal >= 0 && s->u_ideal < 1e3))
                        return tp_fail(err, CODE_BAD_INPUT, "sixteen_term: %s has an uncertainty of %g; give 0 or a small positive number",
                                       standard_name(s), s->u_ideal);
                for (int e = 1; e <= 2; e++) { /* the general check lets reflections come without transmission */
                        const struct net2 *const nets[2] = {s->raw, s->ideal};
                        for (int n = 0; n < 2; n++) {
                                if (column_finite(p->axis->n, nets[n]->re[e]) && column_finite(p->axis->n, nets[n]->im[e]))
                                        continue;
                                size_t i = 0;
                                while (isfinite(nets[n]->re[e][i]) && isfinite(nets[n]->im[e][i]))
                                        i++;
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "sixteen_term: %s of %s (%s) is not a number at %.9g Hz; leakage is read in the transmission of "
                                        "every standard: sweep both directions",
                                        entry[e], standard_name(s), n ? "definition" : "raw", p->axis->hz[i]);
                        }
                }
        }
        return CODE_OK;
}

/* Condition number that these standards alone would give: with a perfect analyzer, M = S.  Any invertible error network maps that system
   onto its own without changing the rank. */
static double condition_of_standards(const struct m2 *ideal, size_t m, void *scratch)
{
        double re[SIXTEEN_M_MAX][4], im[SIXTEEN_M_MAX][4], t_re[FULL_COUNT], t_im[FULL_COUNT], residual[SIXTEEN_M_MAX], condition,
                consistency;
        double *to_re[SIXTEEN_M_MAX][4], *to_im[SIXTEEN_M_MAX][4], *term_re[FULL_COUNT], *term_im[FULL_COUNT];
        struct sixteen_columns in = {.n = 1,
                                     .m = m,
                                     .t_re = term_re,
                                     .t_im = term_im,
                                     .condition = &condition,
                                     .consistency = &consistency,
                                     .residual = residual};
        for (size_t s = 0; s < m; s++) {
                for (int k = 0; k < 4; k++) {
                        re[s][k] = creal(ideal[s].e[k]);
                        im[s][k] = cimag(ideal[s].e[k]);
                        to_re[s][k] = &re[s][k];
                        to_im[s][k] = &im[s][k];
                }
                in.standard[s].raw_re = in.standard[s].s_re = to_re[s];
                in.standard[s].raw_im = in.standard[s].s_im = to_im[s];
                in.standard[s].w = 1;
                in.standard[s].place = s;
        }
        for (int k = 0; k < FULL_COUNT; k++) {
                term_re[k] = &t_re[k];
                term_im[k] = &t_im[k];
        }
        sixteen_run(&in, scratch);
        return isnan(condition) ? INFINITY : condition;
}

static const struct {
        const char *say;
        double s[4];
} candidates[] = {
        {"a thru", {0, 1, 1, 0}},
        {"an open at port 1 with a short at port 2", {1, 0, 0, -1}},
        {"a short at port 1 with an open at port 2", {-1, 0, 0, 1}},
        {"loads at both ports", {0, 0, 0, 0}},
        {"an open at port 1 with a load at port 2", {1, 0, 0, 0}},
        {"a load at port 1 with an open at port 2", {0, 0, 0, 1}},
        {"a short at port 1 with a load at port 2", {-1, 0, 0, 0}},
        {"a load at port 1 with a short at port 2", {0, 0, 0, -1}},
        {"opens at both ports", {1, 0, 0, 1}},
        {"shorts at both ports", {-1, 0, 0, -1}},
};

enum code sixteen_refuse(const struct problem *p, size_t i, double condition, void *scratch, struct tp_error *err)
{
        struct m2 ideal[SIXTEEN_M_MAX];
        struct point at;
        point_load(p, i, &at);
        memcpy(ideal, at.ideal, p->standard_n * sizeof *ideal);
        double alone = condition_of_standards(ideal, p->standard_n, scratch), best = INFINITY;
        if (alone < SIXTEEN_CONDITION_LIMIT)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "sixteen_term: at %.9g Hz the system cannot be solved (condition number %.3g) although the definitions of the "
                        "%zu standards differ enough (%.3g): two of the readings are the same; measure the standards again",
                        p->axis->hz[i], condition, p->standard_n, alone);
        const char *say = NULL;
        for (size_t k = 0; k < sizeof candidates / sizeof candidates[0]; k++) {
                const double *s = candidates[k].s;
                ideal[p->standard_n] = m2_of(s[0], s[1], s[2], s[3]);
                double with = condition_of_standards(ideal, p->standard_n + 1, scratch);
                if (with < best) {
                        best = with;
                        say = candidates[k].say;
                }
        }
        if (say && best < SIXTEEN_CONDITION_LIMIT)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "sixteen_term: at %.9g Hz these %zu standards do not tell all terms apart (condition number %.3g, at most "
                               "%.0g); add %s (then about %.2g)",
                               p->axis->hz[i], p->standard_n, condition, SIXTEEN_CONDITION_REFUSE, say, best);
        return tp_fail(err, CODE_UNRESOLVABLE,
                       "sixteen_term: at %.9g Hz these %zu standards do not tell all terms apart (condition number %.3g, at most %.0g) and "
                       "one more would not be enough; use a thru, open with short, short with open, loads at both ports and open with load",
                       p->axis->hz[i], p->standard_n, condition, SIXTEEN_CONDITION_REFUSE);
}

/* calibration_causes_add.c: the difference of two solutions as a cause's columns (calibration_causes.h). */
#include "recipe/calibration_causes.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#define STILL 1e-11 /* roundings of a solution that does not move; what a step can do is a million times that */

static double largest_change(const double *a_re, const double *a_im, const double *b_re, const double *b_im, size_t n)
{
        double most = 0;
        for (size_t i = 0; i < n; i++) {
                double d = hypot(a_re[i] - b_re[i], a_im[i] - b_im[i]);
                if (d > most) /* a port that is not there is NaN and does not move */
                        most = d;
        }
        return most;
}

static bool difference(struct causes_job *j, const double *a_re, const double *a_im, const double *b_re, const double *b_im, double scale,
                       double **ret_re, double **ret_im)
{
        size_t n = j->solved->axis.n;
        double *re = arena_take(j->arena, n * sizeof *re), *im = arena_take(j->arena, n * sizeof *im);
        for (size_t i = 0; re && im && i < n; i++) {
                re[i] = (a_re[i] - b_re[i]) * scale;
                im[i] = (a_im[i] - b_im[i]) * scale;
        }
        *ret_re = re;
        *ret_im = im;
        return re && im;
}

/* The columns of both sides in one order: terms, full terms, switch terms. */
enum { COLUMNS = TERM_COUNT + FULL_COUNT + 2 };
struct columns {
        const double *re[COLUMNS], *im[COLUMNS];
};
static struct columns columns_of(struct causes_side s)
{
        struct columns c = {{NULL}, {NULL}};
        for (int k = 0; k < TERM_COUNT; k++)
                if (terms_is_made_of(s.terms->model, k))
                        c.re[k] = s.terms->re[k], c.im[k] = s.terms->im[k];
        for (int k = 0; k < FULL_COUNT && s.terms->model == TERMS_SIXTEEN; k++)
                c.re[TERM_COUNT + k] = s.terms->full_re[k], c.im[TERM_COUNT + k] = s.terms->full_im[k];
        if (s.switch_terms && s.terms->switch_removed) {
                c.re[COLUMNS - 2] = s.switch_terms->f_re, c.im[COLUMNS - 2] = s.switch_terms->f_im;
                c.re[COLUMNS - 1] = s.switch_terms->r_re, c.im[COLUMNS - 1] = s.switch_terms->r_im;
        }
        return c;
}

enum code causes_add(struct causes_job *j, enum cause_kind kind, double freedom, struct causes_side up, struct causes_side down,
                     double scale, struct tp_error *err, const char *name, ...)
{
        struct terms_cause c = {.about = {.kind = kind, .freedom = freedom}};
        struct columns a = columns_of(up), b = columns_of(down);
        size_t n = j->solved->axis.n;
        bool moves = false, ok = true;
        char text[CAUSE_NAME_MAX];
        va_list args;
        va_start(args, name);
        vsnprintf(text, sizeof text, name, args);
        va_end(args);
        for (int k = 0; k < COLUMNS && ok; k++) {
                double **re = k < TERM_COUNT     ? &c.re[k]
                              : k >= COLUMNS - 2 ? &c.switch_re[k - COLUMNS + 2]
                                                 : &c.full_re[k - TERM_COUNT],
                       **im = k < TERM_COUNT     ? &c.im[k]
                              : k >= COLUMNS - 2 ? &c.switch_im[k - COLUMNS + 2]
                                                 : &c.full_im[k - TERM_COUNT];
                if (!a.re[k] || !b.re[k] || !(largest_change(a.re[k], a.im[k], b.re[k], b.im[k], n) > STILL))
                        continue;
                moves = true;
                ok = difference(j, a.re[k], a.im[k], b.re[k], b.im[k], scale, re, im);
        }
        if (!moves)
                return CODE_OK;
        if (j->to->n == CAUSES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "more than %d causes, from \"%s\" on; state less of the standards", CAUSES_MAX, text);
        if (!ok || !(c.about.name = arena_text(j->arena, text)))
                return tp_fail_memory(err);
        j->to->of[j->to->n++] = c;
        return CODE_OK;
}

void causes_not_counted(struct causes_job *j, const char *fmt, ...)
{
        char text[CAUSE_NAME_MAX];
        va_list args;
        va_start(args, fmt);
        vsnprintf(text, sizeof text, fmt, args);
        va_end(args);
        const char *own = arena_text(j->arena, text);
        if (own && j->to->not_counted_n < CAUSES_NOT_COUNTED_MAX)
                j->to->not_counted[j->to->not_counted_n++] = own;
}

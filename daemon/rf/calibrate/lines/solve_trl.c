/* solve_trl.c: "trl": a thru, one longer line and a reflect (calibration.h).
 * Sources     Engen & Hoer, IEEE Trans. MTT 27 (1979) 987; finished by the image of port 2 through the thru (own derivation, checked by
 *             tests/reference/rf_calibrations.c).
 * Idea        The pair's eigenvectors are the readings at port 1 of a match and of an open infinity; X^{-1} T_thru is then port 2's box up
 *             to the reflect's number, so the thru is met exactly and only the line leaves a residual.  Here point by point, with every
 *             refusal; one reflect goes by columns first (trl_columns.c). */
#include "rf/calibrate/lines/trl_columns.h"
#include <math.h>

static bool solve_point(const struct point *p, const struct line_set *ln, const struct line_choice *held, double complex g0,
                        double g0_relative, size_t common0, struct line_block *block, struct line_solution *s, double *residual)
{
        (void)g0_relative, (void)common0, (void)block; /* one pair alone: there is nothing to weigh it with */
        struct m2 t[2];
        for (size_t k = 0; k < 2; k++) {
                if (!line_t(p, ln->at[k], &t[k]))
                        return false;
        }
        double dl = p->length_m[ln->at[1]] - p->length_m[ln->at[0]];
        struct line_pair pair = line_pair_of(t[1], t[0]);
        line_pair_orient(&pair, (held ? held->g : g0) * dl);
        double complex x = line_pair_phase(&pair, (held ? held->g : g0) * dl), em = cexp(-x), ep = 1 / em;
        s->g = x / dl;
        s->common = 0;
        s->b1 = pair.box[0];
        s->ca1 = pair.box[1];
        struct m2 n = m2_mul(m2_of(1, -s->b1, -s->ca1, 1), t[0]); /* X^{-1} T_thru up to a factor */
        s->b2 = -n.e[2] / n.e[3];
        s->ca2 = -n.e[1] / n.e[0];
        line_finish(p, ln, held, t[0], s, residual);
        if (!residual)
                return true;
        double e2 = creal(em * conj(em)), n2 = creal((em - ep) * conj(em - ep)); /* as for many lines with the thru in common */
        s->nstd = (sqrt((3 * e2 + 1 / e2) / n2) + sqrt((e2 + 3 / e2) / n2)) / 2;
        s->phase_eff_deg = asin(fmin(1, sqrt(n2) / 2)) * 180 / RF_PI;
        return isfinite(s->nstd);
}

static bool terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        struct line_set ln = lines_of(p->problem);
        const struct line_choice *held = choice;
        struct line_solution s;
        if (!solve_point(p, &ln, held, held->g, 0, 0, NULL, &s, NULL))
                return false;
        line_terms(p->problem, p->hz, &s, t);
        return true;
}

size_t trl_workspace(size_t n, size_t standards)
{
        size_t points = lines_workspace(n, standards), columns = trl_columns_bytes(n) + 64 + n * sizeof(struct line_choice);
        return points > columns ? points : columns;
}

enum code trl_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                    struct tp_error *err)
{
        const struct method *method = rf_method("trl");
        enum code code = problem_check_shape(method, p, err);
        if (code)
                return code;
        struct line_set ln = lines_of(p);
        if (ln.n != 2)
                return tp_fail(err, CODE_BAD_INPUT, "trl: %zu lines given; it takes a thru and one line, multiline_trl takes more", ln.n);
        if ((code = lines_check("trl", p, &ln, err)))
                return code;
        struct trl_columns c;
        if (!trl_columns_begin(p, &ln, workspace, out, d, &c)) /* what is not a number is found by it too, but not said */
                return (code = problem_check_numbers(method, p, err))
                               ? code
                               : lines_solve("trl", solve_point, terms_point, false, p, workspace, out, cov, d, err);
        if ((code = lines_settle_sign("trl", p, c.ratio, c.sign, c.trusted, d, err)))
                return code;
        trl_columns_end(p, &ln, &c, out, d);
        lines_label("trl", p, out);
        if (!cov)
                return CODE_OK;
        struct line_choice *choice = (struct line_choice *)(void *)((char *)workspace + (trl_columns_bytes(p->axis->n) + 63) / 64 * 64);
        for (size_t i = 0; i < p->axis->n; i++)
                choice[i] = trl_columns_choice(&c, i);
        covariance_fill(p, cov, terms_point, choice, sizeof *choice);
        lines_widen(p, &ln, solve_point, choice, cov);
        return CODE_OK;
}

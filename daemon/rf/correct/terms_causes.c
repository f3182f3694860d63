/* terms_causes.c: what a cause of error terms does to corrected S (terms_causes.h).
 * Idea        Columns of terms are derivatives times u already, so a device is corrected twice, with terms moved a little to both sides.
 *             Terms that follow from others are made anew each time; what is not analytic does not occur here. */
#include "rf/correct/terms_causes.h"
#include "rf/correct/convert_terms.h"
#include "rf/correct/correct.h"
#include <math.h>

bool terms_is_made_of(enum terms_model model, int term)
{
        bool port = term <= TERM_ERR;
        return model == TERMS_ONE_PORT ? port
               : model == TERMS_EIGHT  ? term <= TERM_K
               : model == TERMS_TWELVE ? port || term > TERM_K
                                       : false;
}

double reading_noise(const struct reading_u *u, double complex raw) { return hypot(u->noise_floor, u->noise_trace * cabs(raw)); }

/* One point of terms in its own memory. */
struct one {
        double memory[2 * (TERM_COUNT + FULL_COUNT) + 2];
        struct axis axis;
        struct terms terms;
};

static void one_take(const struct terms *t, size_t i, struct one *to)
{
        double *at = to->memory;
        to->axis = (struct axis){.n = 1, .hz = &t->axis->hz[i]};
        to->terms = (struct terms){.axis = &to->axis, .method = t->method, .model = t->model, .switch_removed = t->switch_removed};
        *(to->terms.z_re = at++) = t->z_re[i];
        *(to->terms.z_im = at++) = t->z_im[i];
        for (int k = 0; k < TERM_COUNT; k++) {
                *(to->terms.re[k] = at++) = t->re[k][i];
                *(to->terms.im[k] = at++) = t->im[k][i];
        }
        for (int k = 0; k < FULL_COUNT; k++) {
                *(to->terms.full_re[k] = at++) = t->full_re[k][i];
                *(to->terms.full_im[k] = at++) = t->full_im[k][i];
        }
}

static double largest(const struct terms_cause *c, size_t j)
{
        double size = 0;
        for (int k = 0; k < TERM_COUNT; k++)
                if (c->re[k])
                        size = fmax(size, hypot(c->re[k][j], c->im[k][j]));
        for (int k = 0; k < FULL_COUNT; k++)
                if (c->full_re[k])
                        size = fmax(size, hypot(c->full_re[k][j], c->full_im[k][j]));
        for (int k = 0; k < 2; k++)
                if (c->switch_re[k])
                        size = fmax(size, hypot(c->switch_re[k][j], c->switch_im[k][j]));
        return size;
}

static void one_move(struct one *o, const struct terms_cause *c, size_t j, double by)
{
        for (int k = 0; k < TERM_COUNT; k++)
                if (c->re[k]) {
                        o->terms.re[k][0] += by * c->re[k][j];
                        o->terms.im[k][0] += by * c->im[k][j];
                }
        for (int k = 0; k < FULL_COUNT; k++)
                if (c->full_re[k]) {
                        o->terms.full_re[k][0] += by * c->full_re[k][j];
                        o->terms.full_im[k][0] += by * c->full_im[k][j];
                }
}

static double complex one_port_point(const struct terms *t, size_t i, int port, double complex m)
{
        int k = port == 1 ? TERM_EDF : TERM_EDR; /* ED ES ER follow each other */
        double complex d = m - CMPLX(t->re[k][i], t->im[k][i]);
        return d / (CMPLX(t->re[k + 2][i], t->im[k + 2][i]) + CMPLX(t->re[k + 1][i], t->im[k + 1][i]) * d);
}

/* A port that one-port terms do not have gives 0. */
static struct m2 corrected(const struct terms *t, size_t i, struct m2 raw)
{
        if (t->model != TERMS_ONE_PORT)
                return rf_correct2_point(t, i, raw);
        return m2_diag(isfinite(t->re[TERM_EDF][i]) ? one_port_point(t, i, 1, raw.e[0]) : 0,
                       isfinite(t->re[TERM_EDR][i]) ? one_port_point(t, i, 2, raw.e[3]) : 0);
}

static double complex switch_move(const struct terms_cause *c, int k, size_t j)
{
        return c->switch_re[k] ? CMPLX(c->switch_re[k][j], c->switch_im[k][j]) : 0;
}

struct m2 rf_terms_cause_change(const struct terms *terms, size_t i, const struct terms_cause *cause, size_t j, struct m2 raw,
                                double complex forward, double complex reverse)
{
        double size = largest(cause, j), h = 1e-6 / fmax(size, 1e-300);
        struct m2 side[2];
        if (size == 0)
                return m2_of(0, 0, 0, 0);
        for (int up = 0; up < 2; up++) {
                struct one o;
                one_take(terms, i, &o);
                one_move(&o, cause, j, up ? h : -h);
                if (terms->model != TERMS_ONE_PORT && rf_terms_complete(&o.terms, NULL))
                        return m2_of(NAN, NAN, NAN, NAN);
                double by = up ? h : -h;
                side[up] = rf_corrected_as_read(&o.terms, 0, raw, forward + by * switch_move(cause, 0, j),
                                                reverse + by * switch_move(cause, 1, j));
        }
        return m2_scale(1 / (2 * h), m2_sub(side[1], side[0]));
}

struct m2 rf_corrected_as_read(const struct terms *terms, size_t i, struct m2 raw, double complex forward, double complex reverse)
{
        bool take = terms->switch_removed && (forward != 0 || reverse != 0);
        return corrected(terms, i, take ? rf_switch_remove_point(raw, forward, reverse) : raw);
}

struct m2 rf_read_of(const struct terms *terms, size_t i, struct m2 s, double complex forward, double complex reverse)
{
        if (terms->model == TERMS_ONE_PORT) {
                double complex m[2] = {0, 0};
                for (int port = 0; port < 2; port++) {
                        int k = port == 0 ? TERM_EDF : TERM_EDR;
                        double complex g = s.e[3 * port];
                        if (isfinite(terms->re[k][i]))
                                m[port] = CMPLX(terms->re[k][i], terms->im[k][i]) +
                                          CMPLX(terms->re[k + 2][i], terms->im[k + 2][i]) * g /
                                                  (1 - CMPLX(terms->re[k + 1][i], terms->im[k + 1][i]) * g);
                }
                return m2_diag(m[0], m[1]);
        }
        struct m2 raw = rf_embed2_point(terms, i, s);
        bool put = terms->switch_removed && (forward != 0 || reverse != 0);
        return put ? rf_switch_insert_point(raw, forward, reverse) : raw;
}

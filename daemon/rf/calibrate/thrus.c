/* thrus.c: several thrus of one calibration (thrus.h).
 * SOLT        With port 1's box known, a thru gives two equations, linear in load match EL and tracking ET:
 *                     EL (S12 S21 + S22 g) = g,     EL m21 (ES det S - S22) - ET S21 = -m21 (1 - ES S11),
 *             g what port 1 sees beyond the thru's own S11.  All thrus' equations are solved together, each divided by what an error of
 *             its thru's S makes of it, so that the sum of squares is that of distances of S at the tips (delta method, from the first
 *             thru's own EL and ET), and by u_ideal where every thru has one.
 * Which one   Each thru alone says twice what K is, ETF ETR against (ERR + EDR (ELF - ESR)) (ERF + EDF (ELR - ESF)): a wrong delay or loss
 *             shows there with one thru, and so tells which of two is wrong.  Otherwise the one that lies far beyond the others is named.
 * Reciprocal  r^2 = det N of each thru; of roots with one sign the mean, by weights |S21|^2, since the relative error of a reading goes
 *             with 1/|S21|.  A thru that attenuates both ways alike says nothing wrong of r: that is what the method is for. */
#include "rf/calibrate/thrus.h"
#include "rf/correct/correct.h"
#include "rf/network/convert.h"
#include "rf/numbers/small.h"
#include <math.h>

#define APART_SOLT 0.05       /* of raw readings: said */
#define APART_RECIPROCAL 0.01 /* of half of S21 - S12: no placement makes a thru other than reciprocal */
#define ITSELF_LEAST 0.02     /* of K: a thru that contradicts itself by less is not accused by it */
#define BEYOND 1.5            /* of three thrus a single wrong one lies twice as far from the mean as the others */

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

size_t thrus_n(const struct problem *p)
{
        size_t n = 0;
        for (size_t k = 0; k < p->standard_n; k++)
                n += p->standards[k].kind == RF_THRU;
        return n;
}

static struct m2 turned(struct m2 s) { return m2_of(s.e[3], s.e[2], s.e[1], s.e[0]); }

/* One direction; box: ED ES ER of the driven port. */
static bool direction(const struct point *p, bool reverse, const double complex box[3], double complex *el, double complex *et)
{
        double complex a[4 * RF_STANDARD_MAX], b[2 * RF_STANDARD_MAX], x[2], ed = box[0], es = box[1], er = box[2];
        size_t m = 0;
        bool weigh = true;
        for (size_t k = 0; k < p->n; k++)
                weigh = weigh && (p->problem->standards[k].kind != RF_THRU || p->problem->standards[k].u_ideal > 0);
        for (size_t k = 0; k < p->n; k++) {
                if (p->problem->standards[k].kind != RF_THRU)
                        continue;
                struct m2 s = reverse ? turned(p->ideal[k]) : p->ideal[k], read = reverse ? turned(p->raw[k]) : p->raw[k];
                double complex g = (read.e[0] - ed) / (er + es * (read.e[0] - ed)) - s.e[0], m21 = read.e[2];
                if (m == 0) /* what weighs all, by the first thru */
                        thru_terms(s, read.e[0], m21, ed, es, er, el, et);
                double u = weigh ? p->problem->standards[k].u_ideal : 1;
                double reflected = 1 / (sqrt(abs2(1 - s.e[3] * *el)) * u), sent = 1 / (sqrt(abs2(*et)) * u);
                a[2 * m] = reflected * (s.e[1] * s.e[2] + s.e[3] * g);
                a[2 * m + 1] = 0;
                b[m++] = reflected * g;
                a[2 * m] = sent * m21 * (es * m2_det(s) - s.e[3]);
                a[2 * m + 1] = -sent * s.e[2];
                b[m++] = -sent * m21 * (1 - es * s.e[0]);
        }
        if (!small_least_squares(m, 2, a, b, x, NULL))
                return false;
        *el = x[0];
        *et = x[1];
        return true;
}

bool thrus_solt(const struct point *p, double complex t[TERM_COUNT])
{
        double complex forward[3] = {t[TERM_EDF], t[TERM_ESF], t[TERM_ERF]}, reverse[3] = {t[TERM_EDR], t[TERM_ESR], t[TERM_ERR]};
        return direction(p, false, forward, &t[TERM_ELF], &t[TERM_ETF]) && direction(p, true, reverse, &t[TERM_ELR], &t[TERM_ETR]);
}

void thrus_residual(const struct point *p, const struct terms *out, double *residual)
{
        for (size_t k = 0; k < p->n; k++)
                if (p->problem->standards[k].kind == RF_THRU)
                        residual[k] = m2_distance(rf_embed2_point(out, p->i, p->ideal[k]), p->raw[k]);
}

/* By how much thru k alone contradicts itself, rms over frequencies. */
static double against_itself(const struct problem *p, size_t k, const struct terms *out)
{
        double sum = 0;
        for (size_t i = 0; i < p->axis->n; i++) {
                struct m2 s = net2_get(p->standards[k].ideal, i), m = net2_get(p->standards[k].raw, i);
                double complex t[TERM_COUNT], elf, etf, elr, etr;
                for (int j = 0; j < TERM_COUNT; j++)
                        t[j] = CMPLX(out->re[j][i], out->im[j][i]);
                thru_terms(s, m.e[0], m.e[2], t[TERM_EDF], t[TERM_ESF], t[TERM_ERF], &elf, &etf);
                thru_terms(turned(s), m.e[3], m.e[1], t[TERM_EDR], t[TERM_ESR], t[TERM_ERR], &elr, &etr);
                sum += abs2(
                        etf * etr /
                                ((t[TERM_ERR] + t[TERM_EDR] * (elf - t[TERM_ESR])) * (t[TERM_ERF] + t[TERM_EDF] * (elr - t[TERM_ESF]))) -
                        1);
        }
        return sqrt(sum / (double)p->axis->n);
}

/* The largest of `figure` among the thrus, and what the next one is. */
static size_t largest_of(const struct problem *p, const double *figure, double *ret_next)
{
        size_t at = RF_STANDARD_MAX;
        *ret_next = 0;
        for (size_t k = 0; k < p->standard_n; k++) {
                if (p->standards[k].kind != RF_THRU)
                        continue;
                if (at == RF_STANDARD_MAX || figure[k] > figure[at]) {
                        *ret_next = at == RF_STANDARD_MAX ? 0 : figure[at];
                        at = k;
                } else {
                        *ret_next = fmax(*ret_next, figure[k]);
                }
        }
        return at;
}

/* itself: of each thru, NULL where a thru cannot contradict itself. */
static void say(const struct problem *p, const double *itself, double limit, const char *what, struct diagnosis *d)
{
        double rms[RF_STANDARD_MAX] = {0}, worst[RF_STANDARD_MAX] = {0}, next, next_itself = 0;
        size_t n = thrus_n(p);
        for (size_t k = 0; k < p->standard_n; k++) {
                rms[k] = d->standard[k].rms;
                worst[k] = d->standard[k].worst;
        }
        size_t most = largest_of(p, worst, &next), far = largest_of(p, rms, &next);
        size_t self = itself ? largest_of(p, itself, &next_itself) : 0;
        bool accused = itself && itself[self] > ITSELF_LEAST && itself[self] > 3 * next_itself;
        if (!(worst[most] > (accused ? fmin(limit, ITSELF_LEAST / 2) : limit)))
                return;
        size_t wrong = accused ? self : n > 2 && rms[far] > BEYOND * next ? far : RF_STANDARD_MAX;
        double hz = d->standard[most].worst_hz / 1e9;
        if (wrong < RF_STANDARD_MAX)
                diagnosis_warn(d,
                               "the %zu thrus contradict each other by %.2g in %s at %.6g GHz, and %s is unlike the others: check its "
                               "definition and its contact, or leave it out",
                               n, worst[most], what, hz, standard_name(&p->standards[wrong]));
        else
                diagnosis_warn(d,
                               "the %zu thrus contradict each other by %.2g in %s at %.6g GHz, and nothing says whose fault it is: check "
                               "definitions and contacts%s",
                               n, worst[most], what, hz, n == 2 ? "; a third one would tell" : "");
}

void thrus_say_solt(const struct problem *p, const struct terms *out, struct diagnosis *d)
{
        double itself[RF_STANDARD_MAX] = {0};
        for (size_t k = 0; k < p->standard_n; k++)
                if (p->standards[k].kind == RF_THRU)
                        itself[k] = against_itself(p, k, out);
        say(p, itself, APART_SOLT, "their readings", d);
}

double complex thrus_reciprocal(const struct point *p, struct box x, struct box y, size_t first, double complex r_first, double *residual)
{
        double complex s21[RF_STANDARD_MAX] = {0}, square[RF_STANDARD_MAX] = {0}, sum = 0;
        double weights = 0;
        struct m2 left = m2_inv(box_x(x)), right = m2_inv(box_y(y));
        for (size_t k = 0; k < p->n; k++) {
                if (p->problem->standards[k].kind != RF_THRU || (k != first && !rf_t_exists(point_raw(p, k))))
                        continue;
                struct m2 n = m2_mul(left, m2_mul(rf_t_from_s(point_raw(p, k)), right));
                square[k] = m2_det(n);
                double complex r = k == first ? r_first : csqrt(square[k]);
                if (creal(r * conj(r_first)) < 0)
                        r = -r;
                s21[k] = 1 / n.e[3];
                double weight = abs2(r * s21[k]);
                sum += weight * r;
                weights += weight;
        }
        double complex r = sum / weights;
        for (size_t k = 0; residual && k < p->n; k++)
                if (p->problem->standards[k].kind == RF_THRU)
                        residual[k] = sqrt(abs2(r * s21[k] * (1 - square[k] / (r * r)))) / 2;
        return r;
}

void thrus_say_reciprocal(const struct problem *p, struct diagnosis *d) { say(p, NULL, APART_RECIPROCAL, "half of S21 - S12", d); }

/* follow.c: a two-valued root along frequency (solve.h).
 * Problem     The sign of the reflect (line methods) and of the unknown thru come out of a square root.  Choosing per point by an
 *             estimate flips silently where the estimate is 90 degrees wrong: a forgotten 100 um offset does that above 135 GHz.
 * Idea        The physical root is continuous.  Its sign is settled once, where the estimate is surest, and followed from there; the
 *             estimate is then compared with it everywhere, and a contradiction is reported, never acted on. */
#include "rf/calibrate/solve.h"
#include <math.h>

#define DEG (180 / RF_PI)

/* One step from a neighbour; false when it cannot be followed. */
static bool step(double complex before, double complex *now, signed char *sign)
{
        double complex turn = *now * conj(before);
        double size2 = creal(turn) * creal(turn) + cimag(turn) * cimag(turn);
        if (4 * creal(turn) * creal(turn) < size2 || !(size2 > 0)) { /* more than 60 degrees either way */
                if (creal(*now) < 0) {
                        *now = -*now;
                        *sign = (signed char)-*sign;
                }
                return false;
        }
        if (creal(turn) < 0) {
                *now = -*now;
                *sign = (signed char)-*sign;
        }
        return true;
}

void root_follow(size_t n, const double *hz, size_t start, const bool *trusted, double complex *ratio, signed char *sign,
                 struct followed *ret)
{
        *ret = (struct followed){.all = true, .unfollowed_hz = NAN, .contradiction_hz = NAN, .contradiction_deg = NAN, .worst_hz = NAN};
        for (size_t i = 0; i < n; i++)
                sign[i] = 1;
        if (creal(ratio[start]) < 0) {
                ratio[start] = -ratio[start];
                sign[start] = -1;
        }
        ret->start_angle_deg = fabs(carg(ratio[start])) * DEG;
        for (int down = 0; down < 2; down++) {
                double complex before = ratio[start]; /* of the last point that can be trusted */
                for (size_t k = 1; k <= (down ? start : n - 1 - start); k++) {
                        size_t i = down ? start - k : start + k;
                        bool good = !trusted || trusted[i];
                        if (!step(before, &ratio[i], &sign[i]) && good) {
                                ret->all = false;
                                ret->unfollowed_hz = fmin(ret->unfollowed_hz, hz[i]);
                        }
                        if (good)
                                before = ratio[i];
                }
        }
        double lowest = INFINITY; /* cos |cos| of the widest angle so far: falls as the angle grows */
        size_t widest = n;
        for (size_t i = 0; i < n; i++) {
                double re = creal(ratio[i]), im = cimag(ratio[i]), cosine = re * fabs(re) / (re * re + im * im);
                if (trusted && !trusted[i])
                        continue;
                if (cosine < lowest) {
                        lowest = cosine;
                        widest = i;
                }
                if (re < 0 && (!ret->contradicts || fabs(hz[i] - hz[start]) < fabs(ret->contradiction_hz - hz[start]))) {
                        ret->contradicts = true;
                        ret->contradiction_hz = hz[i];
                        ret->contradiction_deg = fabs(carg(ratio[i])) * DEG;
                }
        }
        if (widest < n) {
                ret->worst_deg = fabs(carg(ratio[widest])) * DEG;
                ret->worst_hz = hz[widest];
        }
}

/* Squared distances from a to either of two.  Their ratio n/f is tan^2 of half the angle, if the two were +-x. */
struct apart {
        double near, far;
};
static struct apart apart(double complex a, double complex near, double complex far)
{
        double complex n = near - a, f = far - a;
        return (struct apart){creal(n) * creal(n) + cimag(n) * cimag(n), creal(f) * creal(f) + cimag(f) * cimag(f)};
}
static int nearer(double complex a, const double complex pair[2])
{
        struct apart d = apart(a, pair[0], pair[1]);
        return d.far < d.near;
}
static double degrees(struct apart d) { return 2 * atan(sqrt(d.near / d.far)) * DEG; }

void branch_begin(struct branch *b, double complex estimate)
{
        *b = (struct branch){.estimate = estimate, .before = estimate};
        b->followed =
                (struct followed){.all = true, .unfollowed_hz = NAN, .contradiction_hz = NAN, .contradiction_deg = NAN, .worst_hz = NAN};
}

int branch_step(struct branch *b, double hz, const double complex pair[2])
{
        struct followed *f = &b->followed;
        int take = nearer(b->before, pair);
        struct apart step = apart(b->before, pair[take], pair[!take]);
        if (b->n > 0 && 3 * step.near > step.far) { /* more than 60 degrees */
                f->all = false;
                f->unfollowed_hz = fmin(f->unfollowed_hz, hz);
                take = nearer(b->estimate, pair);
        }
        b->before = pair[take];
        struct apart off = apart(b->estimate, pair[take], pair[!take]);
        if (b->n++ == 0)
                f->start_angle_deg = degrees(off);
        if (off.near > off.far && !f->contradicts) {
                f->contradicts = true;
                f->contradiction_hz = hz;
                f->contradiction_deg = degrees(off);
        }
        return take;
}

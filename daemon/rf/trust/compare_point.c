/* compare_point.c: what two calibrations may differ by at one frequency, the bound and the truth (compare.h).
 * Derivation  At each tip the two calibrations differ by an adapter: reflections G become (1 + al) G + be - ga G^2 to first order.
 *             Port 2 sends what it gets back with a reflection error of its own, which the forward sweep sees through S12 S21:
 *     dS11 = be1 + al1 S11 - ga1 S11^2 - ga2 S12 S21         dS21 = x21 + S21 (t21 - ga1 S11 - ga2 S22)
 *             and the same with ports exchanged.  t21: what becomes of a vanishing S21 between matched ports, exact.
 * Loads       ef, er: differences of the loads while a port does not drive.  With the waves A at the tips in both directions, B = S A:
 *     dS = S dA A^{-1},  dA = [[0, er b1r], [ef b2f, 0]],  b2f = S21/(1 - S22 L), b1r = S12/(1 - S11 Lr)
 *             with a unit wave from either side; the leading part, dS11 = ef S12 S21 and dS21 = ef S21 S22, joins -ga2.  What the loads
 *             L, Lr themselves add is bounded apart.
 * Odd         transmissions that are read a factor 1 + o/2 too large each send that back from the loads:
 *     dS11 = -o L S12 S21/((1 - S22 L)(1 - loop)),  dS21 = S21 (t21 + o loop/(1 - loop)),  loop = L Lr b1r b2f
 * Bound       with |S11|, |S22| <= x, |S12 S21| <= 1 - x^2 and |S21| <= sqrt(1 - x^2) the sums of moduli have their largest value at a
 *             root of their derivative or at an end: closed form, no steps; with different loads 400 steps.
 * Sixteen     M = (T1 S + T2)(T3 S + T4)^{-1}: both as 4x4 matrices, P = T_two^{-1} T_one, N = P - 1, and to first order
 *     dS = N12 + N11 S - S N22 - S N21 S
 *             entry by entry, moduli summed, the largest over 1000 steps of x.  For eight terms it is the bound above. */
#include "rf/trust/compare.h"
#include "rf/correct/correct.h"
#include "rf/numbers/small.h"
#include <math.h>

/* ---- one calibration at one frequency as twelve terms ------------------------------------------------------------------------------- */
struct twelve_terms {
        double complex ed[2], es[2], er[2], el[2], et[2], ex[2]; /* [0] forward (port 1 drives), [1] reverse; el[0] is port 2's load */
};

static double complex term(const struct terms *t, enum term k, size_t i) { return CMPLX(t->re[k][i], t->im[k][i]); }

static struct twelve_terms twelve_of(const struct terms *t, const struct switch_terms *sw, size_t i)
{
        struct twelve_terms r = {.ed = {term(t, TERM_EDF, i), term(t, TERM_EDR, i)},
                                 .es = {term(t, TERM_ESF, i), term(t, TERM_ESR, i)},
                                 .er = {term(t, TERM_ERF, i), term(t, TERM_ERR, i)},
                                 .el = {term(t, TERM_ELF, i), term(t, TERM_ELR, i)},
                                 .et = {term(t, TERM_ETF, i), term(t, TERM_ETR, i)},
                                 .ex = {term(t, TERM_EXF, i), term(t, TERM_EXR, i)}};
        if (t->model == TERMS_EIGHT) { /* Marks 1997: the switch terms go into load match and tracking */
                double complex gf = sw ? CMPLX(sw->f_re[i], sw->f_im[i]) : 0, gr = sw ? CMPLX(sw->r_re[i], sw->r_im[i]) : 0;
                double complex k = term(t, TERM_K, i), f = 1 / (1 - r.ed[1] * gf), b = 1 / (1 - r.ed[0] * gr);
                r.el[0] = r.es[1] + r.er[1] * gf * f;
                r.et[0] = k * r.er[1] * f;
                r.el[1] = r.es[0] + r.er[0] * gr * b;
                r.et[1] = r.er[0] / k * b;
                r.ex[0] = r.ex[1] = 0;
        }
        return r;
}

static struct m2 embed(const struct twelve_terms *t, struct m2 s)
{
        double complex d = m2_det(s), f = 1 / (1 - t->es[0] * s.e[0] - t->el[0] * s.e[3] + t->es[0] * t->el[0] * d),
                       r = 1 / (1 - t->es[1] * s.e[3] - t->el[1] * s.e[0] + t->es[1] * t->el[1] * d);
        return m2_of(t->ed[0] + t->er[0] * (s.e[0] - t->el[0] * d) * f, t->ex[1] + t->et[1] * s.e[1] * r, t->ex[0] + t->et[0] * s.e[2] * f,
                     t->ed[1] + t->er[1] * (s.e[3] - t->el[1] * d) * r);
}

static struct m2 correct(const struct twelve_terms *t, struct m2 m)
{
        double complex a = (m.e[0] - t->ed[0]) / t->er[0], b = (m.e[3] - t->ed[1]) / t->er[1], c = (m.e[2] - t->ex[0]) / t->et[0],
                       d = (m.e[1] - t->ex[1]) / t->et[1];
        double complex n = 1 / ((1 + a * t->es[0]) * (1 + b * t->es[1]) - c * d * t->el[0] * t->el[1]);
        return m2_of((a * (1 + b * t->es[1]) - t->el[0] * c * d) * n, d * (1 + a * (t->es[0] - t->el[1])) * n,
                     c * (1 + b * (t->es[1] - t->el[0])) * n, (b * (1 + a * t->es[0]) - t->el[1] * c * d) * n);
}

/* ---- the bound ---------------------------------------------------------------------------------------------------------------------- */
/* Largest c0 + c1 x + c2 x^2 over 0 … 1. */
static double parabola_most(double c0, double c1, double c2)
{
        double most = fmax(c0, c0 + c1 + c2), x = -c1 / (2 * c2);
        return c2 < 0 && x > 0 && x < 1 ? fmax(most, c0 + x * (c1 + c2 * x)) : most;
}

/* Largest sqrt(1 - x^2) (t + g x) over 0 … 1, t and g >= 0. */
static double transmission_most(double t, double g)
{
        if (!(g > 1e-12 * t))
                return t;
        double x = (sqrt(t * t + 8 * g * g) - t) / (4 * g);
        return sqrt(1 - x * x) * (t + g * x);
}

/* What the other port does: g = |ga - e| joins the sums; e, e_other the differences of the loads, l, l_other the loads themselves. */
struct loads {
        double g, e, e_other, l, l_other, odd;
};
enum { LOAD_STEPS = 400 };

/* Of dS = S dA A^{-1} beyond its leading part, for unit S12 S21 (reflections) or S21 (transmissions). */
static double loads_more(const struct loads *o, double x, bool transmission)
{
        double near = 1 - x * o->l, far = 1 - x * o->l_other, rest = 1 - x * x, d = 1 - o->l * o->l_other * rest / (near * far);
        double own = o->e * (1 / (near * d) - 1), cross = o->e_other * o->l / (near * far * d);
        return transmission ? own * x + cross * rest + o->odd * (1 - d) / d : own + cross * x + o->odd * o->l / (near * d);
}

static double reflection_most(double be, double al, double ga, const struct loads *o)
{
        double most = parabola_most(be + o->g, al, ga - o->g);
        for (int k = 0; k <= LOAD_STEPS && o->e + o->e_other + o->odd > 1e-13; k++) {
                double x = (double)k / LOAD_STEPS, rest = 1 - x * x;
                most = fmax(most, be + al * x + ga * x * x + rest * (o->g + loads_more(o, x, false)));
        }
        return most;
}

static double through_most(double t, double ga, const struct loads *o)
{
        double most = transmission_most(t, ga + o->g);
        for (int k = 0; k <= LOAD_STEPS && o->e + o->e_other + o->odd > 1e-13; k++) {
                double x = (double)k / LOAD_STEPS;
                most = fmax(most, sqrt(1 - x * x) * (t + (ga + o->g) * x + loads_more(o, x, true)));
        }
        return most;
}

static bool finite_c(double complex z) { return isfinite(creal(z)) && isfinite(cimag(z)); }

static bool compare_twelve(const struct twelve_terms *one, const struct twelve_terms *two, struct rf_comparison_point *ret)
{
        struct rf_comparison_point p;
        double complex load[2];
        for (int k = 0; k < 2; k++) {
                struct m2 a = m2_of(one->er[k] - one->ed[k] * one->es[k], one->ed[k], -one->es[k], 1),
                          b = m2_of(two->er[k] - two->ed[k] * two->es[k], two->ed[k], -two->es[k], 1), d = m2_mul(m2_inv(b), a);
                p.al[k] = d.e[0] / d.e[3] - 1;
                p.be[k] = d.e[1] / d.e[3];
                p.ga[k] = d.e[2] / d.e[3];
        }
        for (int k = 0; k < 2; k++) { /* the load behind the adapter of the other port, less what `two` believes it to be */
                int other = 1 - k;
                double complex through = 1 + p.al[other] - p.be[other] * p.ga[other], g = one->el[k] + p.ga[other];
                load[k] = g / (through + p.be[other] * g) - two->el[k];
        }
        p.load_f = load[0];
        p.load_r = load[1];
        double complex a = (one->ed[0] - two->ed[0]) / two->er[0], b = (one->ed[1] - two->ed[1]) / two->er[1];
        double complex n = (1 + a * two->es[0]) * (1 + b * two->es[1]);
        p.t21 = one->et[0] / two->et[0] * (1 + b * (two->es[1] - two->el[0])) / n - 1;
        p.t12 = one->et[1] / two->et[1] * (1 + a * (two->es[0] - two->el[1])) / n - 1;
        p.leak21 = (one->ex[0] - two->ex[0]) / two->et[0];
        p.leak12 = (one->ex[1] - two->ex[1]) / two->et[1];
        p.odd = (1 + p.t21) * (1 + p.t12) / ((1 + p.al[0] - p.be[0] * p.ga[0]) * (1 + p.al[1] - p.be[1] * p.ga[1])) - 1;
        double g1 = cabs(p.ga[0]), g2 = cabs(p.ga[1]);
        struct loads f = {cabs(p.ga[1] - load[0]), cabs(load[0]), cabs(load[1]), cabs(two->el[0]), cabs(two->el[1]), cabs(p.odd)},
                     r = {cabs(p.ga[0] - load[1]), cabs(load[1]), cabs(load[0]), cabs(two->el[1]), cabs(two->el[0]), cabs(p.odd)};
        p.bound[0] = reflection_most(cabs(p.be[0]), cabs(p.al[0]), g1, &f);
        p.bound[3] = reflection_most(cabs(p.be[1]), cabs(p.al[1]), g2, &r);
        p.bound[2] = through_most(cabs(p.t21), g1, &f);
        p.bound[1] = through_most(cabs(p.t12), g2, &r);
        /* a leak x21 is read as if it came out of the device and were sent back by the load: dS = (x - S l x) A^{-1}.  With m the larger
           load the loop through both is at most l lr (1 - x^2)/((1 - x l)(1 - x lr)) <= l lr/(1 - m^2), and |S|/(1 - x l) at most
           1/sqrt(1 - l^2); the waves at the source are at most (1 + |ES|)(1 + l). */
        double m2 = 1 - fmax(f.l, r.l) * fmax(f.l, r.l), loop = f.l * r.l / m2;
        double q21 = cabs(p.leak21) * (1 + cabs(two->es[0])) * (1 + f.l) / (1 - loop),
               q12 = cabs(p.leak12) * (1 + cabs(two->es[1])) * (1 + r.l) / (1 - loop);
        p.bound[2] += q21 + loop * q12;
        p.bound[1] += q12 + loop * q21;
        p.bound[0] += f.l * (q12 + q21) / sqrt(m2);
        p.bound[3] += r.l * (q12 + q21) / sqrt(m2);
        *ret = p;
        for (int k = 0; k < 4; k++)
                if (!isfinite(p.bound[k]))
                        return false;
        return finite_c(p.t21) && finite_c(p.t12);
}

/* ---- sixteen terms ------------------------------------------------------------------------------------------------------------------ */
enum { FULL_STEPS = 1000 };

/* [[T1, T2], [T3, T4]], row-major 4x4; eight terms have only diagonals. */
static void blocks_of(const struct terms *t, size_t i, double complex m[16])
{
        for (int k = 0; k < 16; k++)
                m[k] = 0;
        if (t->model == TERMS_SIXTEEN) {
                static const int first[4] = {FULL_T1, FULL_T2, FULL_T3, FULL_T4};
                for (int b = 0; b < 4; b++)
                        for (int e = 0; e < 4; e++)
                                m[(b / 2 * 2 + e / 2) * 4 + b % 2 * 2 + e % 2] =
                                        CMPLX(t->full_re[first[b] + e][i], t->full_im[first[b] + e][i]);
                return;
        }
        double complex k = term(t, TERM_K, i), edf = term(t, TERM_EDF, i), esf = term(t, TERM_ESF, i), edr = term(t, TERM_EDR, i),
                       esr = term(t, TERM_ESR, i);
        m[0] = term(t, TERM_ERF, i) - edf * esf;
        m[5] = k * (term(t, TERM_ERR, i) - edr * esr);
        m[2] = edf;
        m[7] = k * edr;
        m[8] = -esf;
        m[13] = -k * esr;
        m[10] = 1;
        m[15] = k;
}

static bool compare_full(const struct terms *one, const struct terms *two, size_t i, struct rf_comparison_point *ret)
{
        double complex a[16], b[16], p[16], column[4], x[4];
        blocks_of(one, i, a);
        blocks_of(two, i, b);
        for (int c = 0; c < 4; c++) {
                for (int r = 0; r < 4; r++)
                        column[r] = a[r * 4 + c];
                if (!small_solve(4, b, column, x))
                        return false;
                for (int r = 0; r < 4; r++)
                        p[r * 4 + c] = x[r];
        }
        double complex scale = 2 / (p[10] + p[15]); /* a common factor changes nothing: the lower right block is 1 on the average */
        for (int k = 0; k < 16; k++)
                p[k] = scale * p[k] - (k % 5 == 0 ? 1 : 0);
        *ret = (struct rf_comparison_point){.al = {p[0] - p[10], p[5] - p[15]},
                                            .be = {p[2], p[7]},
                                            .ga = {p[8], p[13]},
                                            .t21 = p[5] - p[10],
                                            .t12 = p[0] - p[15],
                                            .leak21 = p[6],
                                            .leak12 = p[3]};
        for (int r = 0; r < 2; r++)
                for (int c = 0; c < 2; c++) {
                        double most = 0;
                        for (int step = 0; step <= FULL_STEPS; step++) {
                                double at = (double)step / FULL_STEPS, through = sqrt(1 - at * at);
                                double size[4] = {at, through, through, at}; /* |S11| |S12| |S21| |S22| of a lossless device */
                                /* N11 S - S N22: the diagonal parts act on one entry and are taken together */
                                double sum = cabs(p[r * 4 + 2 + c]) + cabs(p[r * 4 + r] - p[(2 + c) * 4 + 2 + c]) * size[r * 2 + c];
                                sum += cabs(p[r * 4 + 1 - r]) * size[(1 - r) * 2 + c] + cabs(p[(3 - c) * 4 + 2 + c]) * size[r * 2 + 1 - c];
                                for (int k = 0; k < 2; k++)
                                        for (int l = 0; l < 2; l++)
                                                sum += size[r * 2 + k] * cabs(p[(2 + k) * 4 + l]) * size[l * 2 + c];
                                most = fmax(most, sum);
                                if (isnan(sum))
                                        return false;
                        }
                        ret->bound[r * 2 + c] = most;
                }
        return isfinite(ret->bound[0] + ret->bound[1] + ret->bound[2] + ret->bound[3]);
}

static bool full(const struct terms *one, const struct terms *two) { return one->model == TERMS_SIXTEEN || two->model == TERMS_SIXTEEN; }

bool rf_compare_point(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two,
                      const struct switch_terms *sw_two, size_t i, struct rf_comparison_point *ret)
{
        if (full(one, two))
                return compare_full(one, two, i, ret);
        struct twelve_terms a = twelve_of(one, sw_one, i), b = twelve_of(two, sw_two, i);
        return compare_twelve(&a, &b, ret);
}

struct m2 rf_compare_device(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two,
                            const struct switch_terms *sw_two, size_t i, struct m2 s)
{
        if (full(one, two))
                return rf_correct2_point(two, i, rf_embed2_point(one, i, s));
        struct twelve_terms a = twelve_of(one, sw_one, i), b = twelve_of(two, sw_two, i);
        return correct(&b, embed(&a, s));
}

/* ---- the truth ---------------------------------------------------------------------------------------------------------------------- */
static struct m2 lossless(const double x[4])
{
        double complex turn = cexp(CMPLX(0, x[3]));
        double c = cos(x[0]), s = sin(x[0]);
        return m2_of(turn * c * cexp(CMPLX(0, x[1])), turn * s * cexp(CMPLX(0, x[2])), -turn * s * cexp(CMPLX(0, -x[2])),
                     turn * c * cexp(CMPLX(0, -x[1])));
}

/* Both calibrations of one frequency. */
struct both {
        const struct terms *one, *two;
        size_t i;
        struct twelve_terms a, b; /* unless one has sixteen */
};

static double moved(const struct both *q, int entry, const double x[4])
{
        struct m2 s = lossless(x);
        struct m2 got =
                full(q->one, q->two) ? rf_correct2_point(q->two, q->i, rf_embed2_point(q->one, q->i, s)) : correct(&q->b, embed(&q->a, s));
        return cabs(got.e[entry] - s.e[entry]);
}

void rf_compare_exact(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two,
                      const struct switch_terms *sw_two, size_t i, double ret_largest[4])
{
        struct both q = {one, two, i, twelve_of(one, sw_one, i), twelve_of(two, sw_two, i)};
        for (int entry = 0; entry < 4; entry++) {
                double best = 0;
                for (int start = 0; start < 24; start++) {
                        /* starts spread by the fractional parts of multiples of four irrationals */
                        double x[4] = {fmod(0.5 + 0.7548776662466927 * start, 1) * RF_PI / 2,
                                       fmod(0.5698402909980532 * start, 1) * RF_TWO_PI, fmod(0.4301597090019468 * start, 1) * RF_TWO_PI,
                                       fmod(0.3247179572447460 * start, 1) * RF_TWO_PI};
                        double here = moved(&q, entry, x);
                        for (double step = 0.5; step > 1e-3; step *= 0.5)
                                for (int again = 0, better = 1; better && again < 6; again++) {
                                        better = 0;
                                        for (int k = 0; k < 4; k++)
                                                for (int sign = -1; sign <= 1; sign += 2) {
                                                        double keep = x[k];
                                                        x[k] += sign * step;
                                                        double there = moved(&q, entry, x);
                                                        if (there > here) {
                                                                here = there;
                                                                better = 1;
                                                        } else {
                                                                x[k] = keep;
                                                        }
                                                }
                                }
                        if (!(here <= best)) /* NaN wins */
                                best = here;
                }
                ret_largest[entry] = best;
        }
}

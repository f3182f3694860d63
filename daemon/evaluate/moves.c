/* moves.c: what one small physical cause does to the corrected S of a two-port at the tips, to first order.
 * Problem     An uncertainty is honest only if each cause goes through the whole chain as what it is: a series resistance, a shift of the
 *             plane, a wrong ideal.
 * Idea        All of these act at the tip plane.  An error of the ideals of a one-port calibration is a small Moebius map D with D(G_i) =
 *             G_i + dG_i, whatever the boxes behind it; so neither raw standards nor boxes are needed to say what it does.  Written D =
 *             [[1 + al, be], [ga, 1]]: dG = be + al G - ga G^2, the quadratic through the three dG_i (Lagrange).  For a two-port between
 *             two such maps, with k fixed by a reciprocal thru (det T = 1), to first order
 *                 dS11 = be1 + al1 S11 - ga1 S11^2 - ga2 S12 S21
 *                 dS21 = S21 (t - ga1 S11 - ga2 S22),  t = (al1 + al2)/2
 *             and alike with 1, 2 exchanged.  A known thru ("solt") fixes
 *             load match and tracking instead: there the virtual analyzer at the tips is calibrated anew with the moved ideals and the
 *             device corrected with it.
 * Sources     series branch: S = (Z - z)(Z + z)^-1, hence dS = (I - S) dZ (I - S)/(2z); twelve terms: Marks, 50th ARFTG, 1997, 115.
 * Sign        of no interest: causes are independent, and each move is used squared or as one vector through device, open and short
 *             alike. */
#include "evaluate/inside.h"
#include "rf/trust/modes.h"
#include <math.h>

struct m2 move_series(struct m2 s, int port, double complex dz_ohm, double z) { return rf_move_series(s, port, dz_ohm, z); }
struct m2 move_shift(struct m2 s, int port, double complex theta) { return rf_move_shift(s, port, theta); }
/* S = (1 - zY)(1 + zY)^-1, hence dS = -z/2 (1 + S) dY (1 + S). */
struct m2 move_shunt(struct m2 s, int port, double complex dy_s, double z)
{
        struct m2 half = m2_add(m2_one(), s), at = port == 0 ? m2_diag(dy_s, 0) : m2_diag(0, dy_s);
        return m2_scale(-z / 2, m2_mul(half, m2_mul(at, half)));
}
struct m2 move_tracking(const struct calibration *c, size_t i, struct m2 s, int port, double complex eps)
{
        return rf_move_tracking(&c->terms, i, s, port, eps);
}

/* dG = be + al G - ga G^2 through three points. */
static void quadratic_through(const double complex g[3], const double complex d[3], double complex *al, double complex *be,
                              double complex *ga)
{
        *al = *be = *ga = 0;
        for (int i = 0; i < 3; i++) {
                double complex p = g[(i + 1) % 3], q = g[(i + 2) % 3], k = d[i] / ((g[i] - p) * (g[i] - q));
                *be += k * p * q;
                *al -= k * (p + q);
                *ga -= k;
        }
}

struct match {
        double complex elf, etf, elr, etr;
};

/* Load match and tracking that a thru believed to be `model` gives, read as m by an analyzer whose port-1 map is (al, be, ga); one
 * direction. */
static void thru_side(struct m2 model, double complex m11, double complex m21, double complex al, double complex be, double complex ga,
                      double complex *el, double complex *et)
{
        double complex b = -be, c = -ga, er = (1 - al) - b * c, es = -c;
        double complex g = (m11 - b) / (er + es * (m11 - b)) - model.e[0];
        *el = g / (model.e[1] * model.e[2] + model.e[3] * g);
        *et = m21 * (1 - es * model.e[0] - *el * model.e[3] + es * *el * m2_det(model)) / model.e[2];
}

static struct m2 reading(struct m2 s, double complex elf, double complex elr)
{
        double complex f = 1 / (1 - s.e[3] * elf), r = 1 / (1 - s.e[0] * elr), t = s.e[1] * s.e[2];
        return m2_of(s.e[0] + t * elf * f, s.e[1] * r, s.e[2] * f, s.e[3] + t * elr * r);
}

static struct m2 move_known_thru(double complex elf, double complex elr, struct m2 s, const double complex q1[3],
                                 const double complex q2[3], struct m2 thru, struct m2 believed)
{
        struct m2 m = reading(thru, elf, elr), raw = reading(s, elf, elr);
        struct match t;
        thru_side(believed, m.e[0], m.e[2], q1[0], q1[1], q1[2], &t.elf, &t.etf);
        thru_side(m2_of(believed.e[3], believed.e[2], believed.e[1], believed.e[0]), m.e[3], m.e[1], q2[0], q2[1], q2[2], &t.elr, &t.etr);
        double complex edf = -q1[1], esf = q1[2], erf = 1 - q1[0] - q1[1] * q1[2], edr = -q2[1], esr = q2[2],
                       err = 1 - q2[0] - q2[1] * q2[2];
        double complex a = (raw.e[0] - edf) / erf, b = (raw.e[3] - edr) / err, c = raw.e[2] / t.etf, d = raw.e[1] / t.etr;
        double complex n = (1 + a * esf) * (1 + b * esr) - c * d * t.elf * t.elr;
        return m2_of((a * (1 + b * esr) - t.elf * c * d) / n, d * (1 + a * (esf - t.elr)) / n, c * (1 + b * (esr - t.elf)) / n,
                     (b * (1 + a * esf) - t.elr * c * d) / n);
}

struct m2 move_ideals(const struct calibration *c, size_t i, struct m2 s, int port, const double complex gamma[3],
                      const double complex d_gamma[3], struct m2 thru, struct m2 d_thru)
{
        double complex q[2][3] = {{0}};
        quadratic_through(gamma, d_gamma, &q[port][0], &q[port][1], &q[port][2]);
        if (c->terms.model == TERMS_TWELVE) {
                double complex elf = CMPLX(c->terms.re[TERM_ELF][i], c->terms.im[TERM_ELF][i]),
                               elr = CMPLX(c->terms.re[TERM_ELR][i], c->terms.im[TERM_ELR][i]);
                const double h = 1e-4; /* the causes are small already; smaller still makes the difference a derivative */
                double complex small[2][3];
                for (int p = 0; p < 2; p++)
                        for (int k = 0; k < 3; k++)
                                small[p][k] = h * q[p][k];
                return m2_scale(1 / h,
                                m2_sub(move_known_thru(elf, elr, s, small[0], small[1], thru, m2_add(thru, m2_scale(h, d_thru))), s));
        }
        double complex t = (q[0][0] + q[1][0]) / 2, loop = s.e[1] * s.e[2], through = t - q[0][2] * s.e[0] - q[1][2] * s.e[3];
        return m2_of(q[0][1] + q[0][0] * s.e[0] - q[0][2] * s.e[0] * s.e[0] - q[1][2] * loop, s.e[1] * through, s.e[2] * through,
                     q[1][1] + q[1][0] * s.e[3] - q[1][2] * s.e[3] * s.e[3] - q[0][2] * loop);
}

/* convert.c: between the matrices of a two-port (convert.h).
 * Idea        The wave definitions of one port are three numbers F, G, H; S = F (Z - H)(Z + G)^{-1} F^{-1} and its inverse follow, and a
 *             change of reference is a Moebius map of S itself, so that nothing needs Z of a thru to exist.
 * Rejected    the closed tables of Frickey (IEEE Trans. MTT 42 (1994) 205): they are power-wave tables and wrong for pseudo-waves. */
#include "rf/network/convert.h"
#include <math.h>

struct fgh {
        double complex f, g, h;
};

static struct fgh wave_fgh(double complex z, enum wave kind)
{
        switch (kind) {
        case WAVE_PSEUDO:
                return (struct fgh){sqrt(creal(z)) / (2 * cabs(z)), z, z};
        case WAVE_POWER:
                return (struct fgh){1 / (2 * sqrt(creal(z))), z, conj(z)};
        case WAVE_TRAVEL:
                return (struct fgh){1 / (2 * csqrt(z)), z, z};
        }
        return (struct fgh){NAN, z, z};
}

struct m2 rf_s_from_z(struct m2 z, const double complex z_ref[2], enum wave kind)
{
        struct fgh p = wave_fgh(z_ref[0], kind), q = wave_fgh(z_ref[1], kind);
        struct m2 s = m2_mul(m2_sub(z, m2_diag(p.h, q.h)), m2_inv(m2_add(z, m2_diag(p.g, q.g))));
        s.e[1] *= p.f / q.f;
        s.e[2] *= q.f / p.f;
        return s;
}

struct m2 rf_z_from_s(struct m2 s, const double complex z_ref[2], enum wave kind)
{
        struct fgh p = wave_fgh(z_ref[0], kind), q = wave_fgh(z_ref[1], kind);
        struct m2 f = m2_diag(p.f, q.f), sf = m2_mul(s, f);
        struct m2 right = m2_add(m2_diag(p.f * p.h, q.f * q.h), m2_mul(sf, m2_diag(p.g, q.g)));
        return m2_mul(m2_inv(m2_sub(f, sf)), right);
}

struct m2 rf_s_from_y(struct m2 y, double z_ref)
{
        struct m2 n = m2_scale(z_ref, y);
        return m2_mul(m2_sub(m2_one(), n), m2_inv(m2_add(m2_one(), n)));
}

struct m2 rf_y_from_s(struct m2 s, double z_ref) { return m2_scale(1 / z_ref, m2_mul(m2_inv(m2_add(m2_one(), s)), m2_sub(m2_one(), s))); }

struct m2 rf_z50(struct m2 s, double z_ref) { return m2_scale(z_ref, m2_mul(m2_inv(m2_sub(m2_one(), s)), m2_add(m2_one(), s))); }

struct m2 rf_s_from_z50(struct m2 z, double z_ref)
{
        struct m2 n = m2_scale(1 / z_ref, z);
        return m2_mul(m2_sub(n, m2_one()), m2_inv(m2_add(n, m2_one())));
}

struct m2 rf_renormalise(struct m2 s, const double complex z_from[2], enum wave kind_from, const double complex z_to[2], enum wave kind_to)
{
        struct fgh o[2], t[2];
        double complex d[2];
        for (int p = 0; p < 2; p++) {
                o[p] = wave_fgh(z_from[p], kind_from);
                t[p] = wave_fgh(z_to[p], kind_to);
                d[p] = t[p].f / (o[p].f * (o[p].g + o[p].h));
        }
        /* a', b' as linear forms of a, b, with the common scale of each port left out (it comes back as d) */
        struct m2 b = m2_add(m2_diag(o[0].h - t[0].h, o[1].h - t[1].h), m2_mul(m2_diag(o[0].g + t[0].h, o[1].g + t[1].h), s));
        struct m2 a = m2_add(m2_diag(o[0].h + t[0].g, o[1].h + t[1].g), m2_mul(m2_diag(o[0].g - t[0].g, o[1].g - t[1].g), s));
        struct m2 r = m2_mul(b, m2_inv(a));
        r.e[1] *= d[0] / d[1];
        r.e[2] *= d[1] / d[0];
        return r;
}

struct m2 rf_renormalise_equal(struct m2 s, double complex z_from, double complex z_to)
{
        double complex r = (z_to - z_from) / (z_to + z_from);
        return m2_mul(m2_sub(s, m2_diag(r, r)), m2_inv(m2_sub(m2_one(), m2_scale(r, s))));
}

double complex rf_renormalise_reflection(double complex gamma, double complex z_from, double complex z_to)
{
        double complex r = (z_to - z_from) / (z_to + z_from);
        return (gamma - r) / (1 - r * gamma);
}

bool rf_t_exists(struct m2 s) { return creal(s.e[2]) * creal(s.e[2]) + cimag(s.e[2]) * cimag(s.e[2]) > 1e-24; }

struct m2 rf_t_from_s(struct m2 s) { return m2_scale(1 / s.e[2], m2_of(-m2_det(s), s.e[0], -s.e[3], 1)); }

struct m2 rf_s_from_t(struct m2 t) { return m2_scale(1 / t.e[3], m2_of(t.e[1], m2_det(t), 1, -t.e[2])); }

struct m2 rf_abcd_from_s(struct m2 s, double complex z)
{
        double complex a = s.e[0], d = s.e[3], bc = s.e[1] * s.e[2];
        return m2_scale(1 / (2 * s.e[2]),
                        m2_of((1 + a) * (1 - d) + bc, z * ((1 + a) * (1 + d) - bc), ((1 - a) * (1 - d) - bc) / z, (1 - a) * (1 + d) + bc));
}

struct m2 rf_s_from_abcd(struct m2 m, double complex z)
{
        double complex a = m.e[0], b = m.e[1] / z, c = m.e[2] * z, d = m.e[3];
        return m2_scale(1 / (a + b + c + d), m2_of(a + b - c - d, 2 * m2_det(m), 2, -a + b - c + d));
}

struct m2 rf_h_from_y(struct m2 y) { return m2_scale(1 / y.e[0], m2_of(1, -y.e[1], y.e[2], m2_det(y))); }

/* With v = V/sqrt z = a + b and i = I sqrt z = a - b at each port, rows and columns are sums and differences of waves: a + s b = X (a - s
   b) with s = 1 where the row is a voltage, -1 where it is a current; so S = s (1 + X)^{-1} (X - 1), for Z and Y too (own derivation). */
static struct m2 s_from_hybrid(struct m2 x, double s1, double s2)
{
        return m2_mul(m2_diag(s1, s2), m2_mul(m2_inv(m2_add(x, m2_one())), m2_sub(x, m2_one())));
}

struct m2 rf_s_from_h(struct m2 h, const double z_ref[2])
{
        double cross = sqrt(z_ref[1] / z_ref[0]);
        return s_from_hybrid(m2_of(h.e[0] / z_ref[0], h.e[1] * cross, h.e[2] * cross, h.e[3] * z_ref[1]), 1, -1);
}

struct m2 rf_s_from_g(struct m2 g, const double z_ref[2])
{
        double cross = sqrt(z_ref[0] / z_ref[1]);
        return s_from_hybrid(m2_of(g.e[0] * z_ref[0], g.e[1] * cross, g.e[2] * cross, g.e[3] / z_ref[1]), -1, 1);
}

/* det Y written by the two admittances to ground: they nearly cancel in a floating device, and in det Y as it stands. */
double complex rf_z_differential_from_y(struct m2 y)
{
        double complex y1 = y.e[0] + y.e[1], y2 = y.e[3] + y.e[2];
        return (y1 + y2) / (y1 * y2 - y1 * y.e[2] - y2 * y.e[1]);
}

struct m2 rf_mixed_mode(struct m2 s)
{
        double complex a = s.e[0], b = s.e[1], c = s.e[2], d = s.e[3];
        return m2_scale(0.5, m2_of(a - b - c + d, a + b - c - d, a - b + c - d, a + b + c + d));
}

enum code rf_renormalise_net(struct net2 *net, double complex z_to, struct tp_error *err)
{
        for (size_t i = 0; i < net->axis->n; i++)
                if (!(net->z_re[i] > 0))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "the reference impedance at %.9g Hz is not known (it is the line's own); give the line's "
                                       "capacitance or impedance "
                                       "before asking for %.6g ohm",
                                       net->axis->hz[i], creal(z_to));
        for (size_t i = 0; i < net->axis->n; i++)
                net2_put(net, i, rf_renormalise_equal(net2_get(net, i), CMPLX(net->z_re[i], net->z_im[i]), z_to));
        net2_set_z(net, creal(z_to), cimag(z_to));
        return CODE_OK;
}

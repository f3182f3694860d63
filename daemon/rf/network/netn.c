/* netn.c: networks of one to four ports (netn.h).
 * Sources     waves: Marks & Williams, J. Res. NIST 97 (1992) 533; Kurokawa, IEEE Trans. MTT 13 (1965) 194.  Renormalisation: with
 *             a = F (V + G I), b = F (V - H I) at each port before and after,
 *             S' = D [(H - H') + (G + H') S][(H + G') + (G - G') S]^{-1} D^{-1},  D = F'/(F (G + H)) (own derivation; conversions.csv). */
#include "rf/network/netn.h"
#include <math.h>
#include <string.h>

size_t netn_bytes(size_t n, unsigned ports) { return (2 * (size_t)ports * ports + 2 * (size_t)ports) * net2_stride(n) * sizeof(double); }

struct netn netn_at(void *memory_64, const struct axis *axis, unsigned ports, enum plane plane)
{
        size_t stride = net2_stride(axis->n);
        double *column = memory_64;
        struct netn net = {.axis = axis, .ports = ports, .plane = plane};
        memset(memory_64, 0, netn_bytes(axis->n, ports));
        for (unsigned k = 0; k < ports * ports; k++, column += 2 * stride) {
                net.re[k] = column;
                net.im[k] = column + stride;
        }
        for (unsigned p = 0; p < ports; p++, column += 2 * stride) {
                net.z_re[p] = column;
                net.z_im[p] = column + stride;
                netn_set_z(&net, p, 50);
        }
        return net;
}

void netn_get(const struct netn *net, size_t i, double complex *s)
{
        for (unsigned k = 0; k < net->ports * net->ports; k++)
                s[k] = CMPLX(net->re[k][i], net->im[k][i]);
}
void netn_put(struct netn *net, size_t i, const double complex *s)
{
        for (unsigned k = 0; k < net->ports * net->ports; k++) {
                net->re[k][i] = creal(s[k]);
                net->im[k][i] = cimag(s[k]);
        }
}
void netn_z(const struct netn *net, size_t i, double complex *z)
{
        for (unsigned p = 0; p < net->ports; p++)
                z[p] = CMPLX(net->z_re[p][i], net->z_im[p][i]);
}
struct netn netn_of_two(const struct net2 *net)
{
        struct netn to = {.axis = net->axis, .ports = 2, .plane = net->plane};
        for (int p = 0; p < 2; p++) {
                to.z_re[p] = net->z_re;
                to.z_im[p] = net->z_im;
        }
        for (int k = 0; k < 4; k++) {
                to.re[k] = net->re[k];
                to.im[k] = net->im[k];
        }
        return to;
}

void netn_set_z(struct netn *net, unsigned port, double complex z)
{
        for (size_t i = 0; i < net->axis->n; i++) {
                net->z_re[port][i] = creal(z);
                net->z_im[port][i] = cimag(z);
        }
}

/* ---- small algebra ------------------------------------------------------------------------------------------------------------------ */

static bool nothing(unsigned n, double complex *x)
{
        for (unsigned k = 0; k < n * n; k++)
                x[k] = CMPLX(NAN, NAN);
        return false;
}

bool rfn_divide_left(unsigned n, const double complex *a, const double complex *b, double complex *x)
{
        double complex m[RF_PORTS_MAX][2 * RF_PORTS_MAX];
        for (unsigned i = 0; i < n; i++)
                for (unsigned j = 0; j < n; j++) {
                        m[i][j] = a[i * n + j];
                        m[i][n + j] = b[i * n + j];
                }
        for (unsigned k = 0; k < n; k++) {
                unsigned p = k;
                for (unsigned i = k + 1; i < n; i++)
                        if (cabs(m[i][k]) > cabs(m[p][k]))
                                p = i;
                if (!(cabs(m[p][k]) > 0 && cabs(m[p][k]) < INFINITY))
                        return nothing(n, x);
                for (unsigned j = k; j < 2 * n && p != k; j++) {
                        double complex t = m[k][j];
                        m[k][j] = m[p][j];
                        m[p][j] = t;
                }
                for (unsigned i = k + 1; i < n; i++) {
                        double complex f = m[i][k] / m[k][k];
                        for (unsigned j = k; j < 2 * n; j++)
                                m[i][j] -= f * m[k][j];
                }
        }
        for (unsigned c = 0; c < n; c++)
                for (unsigned k = n; k-- > 0;) {
                        double complex sum = m[k][n + c];
                        for (unsigned j = k + 1; j < n; j++)
                                sum -= m[k][j] * x[j * n + c];
                        x[k * n + c] = sum / m[k][k];
                }
        return true;
}

static void transpose(unsigned n, const double complex *a, double complex *t)
{
        for (unsigned i = 0; i < n; i++)
                for (unsigned j = 0; j < n; j++)
                        t[j * n + i] = a[i * n + j];
}

bool rfn_divide_right(unsigned n, const double complex *b, const double complex *a, double complex *x)
{
        double complex at[RF_ENTRIES_MAX] = {0}, bt[RF_ENTRIES_MAX] = {0}, xt[RF_ENTRIES_MAX];
        transpose(n, a, at);
        transpose(n, b, bt);
        bool good = rfn_divide_left(n, at, bt, xt);
        transpose(n, xt, x);
        return good;
}

void rfn_multiply(unsigned n, const double complex *a, const double complex *b, double complex *x)
{
        double complex r[RF_ENTRIES_MAX] = {0};
        for (unsigned i = 0; i < n; i++)
                for (unsigned j = 0; j < n; j++) {
                        r[i * n + j] = 0;
                        for (unsigned k = 0; k < n; k++)
                                r[i * n + j] += a[i * n + k] * b[k * n + j];
                }
        memcpy(x, r, n * n * sizeof *x);
}

/* ---- S, Z, Y ------------------------------------------------------------------------------------------------------------------------ */

struct waves {
        double complex f, g, h;
};
static struct waves waves_of(double complex z, enum wave kind)
{
        switch (kind) {
        case WAVE_POWER:
                return (struct waves){1 / (2 * sqrt(creal(z))), z, conj(z)};
        case WAVE_TRAVEL:
                return (struct waves){1 / (2 * csqrt(z)), z, z};
        case WAVE_PSEUDO:
                break;
        }
        return (struct waves){sqrt(creal(z)) / (2 * cabs(z)), z, z};
}

bool rfn_s_from_z(unsigned n, const double complex *z, const double complex *z_ref, enum wave kind, double complex *s)
{
        double complex up[RF_ENTRIES_MAX] = {0}, down[RF_ENTRIES_MAX] = {0};
        struct waves w[RF_PORTS_MAX];
        memcpy(up, z, n * n * sizeof *z);
        memcpy(down, z, n * n * sizeof *z);
        for (unsigned i = 0; i < n; i++) {
                w[i] = waves_of(z_ref[i], kind);
                up[i * n + i] -= w[i].h;
                down[i * n + i] += w[i].g;
        }
        bool good = rfn_divide_right(n, up, down, s);
        for (unsigned k = 0; k < n * n; k++)
                s[k] *= w[k / n].f / w[k % n].f;
        return good;
}

/* b = S a:  F (V - H I) = S F (V + G I), so (F - S F) V = (F H + S F G) I */
static void voltage_current(unsigned n, const double complex *s, const double complex *z_ref, enum wave kind, double complex *of_v,
                            double complex *of_i)
{
        for (unsigned k = 0; k < n * n; k++) {
                struct waves w = waves_of(z_ref[k % n], kind);
                double complex one = k / n == k % n, t = s[k] * w.f;
                of_v[k] = one * w.f - t;
                of_i[k] = one * w.f * w.h + t * w.g;
        }
}
bool rfn_z_from_s(unsigned n, const double complex *s, const double complex *z_ref, enum wave kind, double complex *z)
{
        double complex of_v[RF_ENTRIES_MAX] = {0}, of_i[RF_ENTRIES_MAX] = {0};
        voltage_current(n, s, z_ref, kind, of_v, of_i);
        return rfn_divide_left(n, of_v, of_i, z);
}
bool rfn_y_from_s(unsigned n, const double complex *s, const double complex *z_ref, enum wave kind, double complex *y)
{
        double complex of_v[RF_ENTRIES_MAX] = {0}, of_i[RF_ENTRIES_MAX] = {0};
        voltage_current(n, s, z_ref, kind, of_v, of_i);
        return rfn_divide_left(n, of_i, of_v, y);
}

/* a = F (1 + G Y) V, b = F (1 - H Y) V */
bool rfn_s_from_y(unsigned n, const double complex *y, const double complex *z_ref, enum wave kind, double complex *s)
{
        double complex up[RF_ENTRIES_MAX] = {0}, down[RF_ENTRIES_MAX] = {0};
        for (unsigned k = 0; k < n * n; k++) {
                struct waves w = waves_of(z_ref[k / n], kind);
                double complex one = k / n == k % n;
                up[k] = w.f * (one - w.h * y[k]);
                down[k] = w.f * (one + w.g * y[k]);
        }
        return rfn_divide_right(n, up, down, s);
}

bool rfn_renormalise(unsigned n, const double complex *s, const double complex *z_from, enum wave kind_from, const double complex *z_to,
                     enum wave kind_to, double complex *ret)
{
        double complex up[RF_ENTRIES_MAX] = {0}, down[RF_ENTRIES_MAX] = {0}, d[RF_PORTS_MAX];
        for (unsigned i = 0; i < n; i++) {
                struct waves o = waves_of(z_from[i], kind_from), t = waves_of(z_to[i], kind_to);
                d[i] = t.f / (o.f * (o.g + o.h));
                for (unsigned j = 0; j < n; j++) {
                        up[i * n + j] = (o.g + t.h) * s[i * n + j];
                        down[i * n + j] = (o.g - t.g) * s[i * n + j];
                }
                up[i * n + i] += o.h - t.h;
                down[i * n + i] += o.h + t.g;
        }
        bool good = rfn_divide_right(n, up, down, ret);
        for (unsigned k = 0; k < n * n; k++)
                ret[k] *= d[k / n] / d[k % n];
        return good;
}

enum code rfn_renormalise_net(struct netn *net, double complex z_to, struct tp_error *err)
{
        double complex to[RF_PORTS_MAX];
        if (!(creal(z_to) > 0 && isfinite(creal(z_to)) && isfinite(cimag(z_to))))
                return tp_fail(err, CODE_BAD_INPUT, "a reference impedance of %.6g%+.6gj ohm is none; its real part must be positive",
                               creal(z_to), cimag(z_to));
        for (unsigned p = 0; p < net->ports; p++) {
                to[p] = z_to;
                for (size_t i = 0; i < net->axis->n; i++)
                        if (!(net->z_re[p][i] > 0))
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "the reference impedance of port %u at %.9g Hz is not known (it is the line's own); give the "
                                        "line's capacitance or impedance before asking for %.6g ohm",
                                        p + 1, net->axis->hz[i], creal(z_to));
        }
        for (size_t i = 0; i < net->axis->n; i++) {
                double complex s[RF_ENTRIES_MAX], from[RF_PORTS_MAX];
                bool number = true;
                netn_get(net, i, s);
                netn_z(net, i, from);
                for (unsigned k = 0; k < net->ports * net->ports; k++)
                        number = number && isfinite(cabs(s[k]));
                if (!rfn_renormalise(net->ports, s, from, WAVE_PSEUDO, to, WAVE_PSEUDO, s) && number)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "at %.9g Hz the network has no waves of %.6g%+.6gj ohm: it answers without being driven",
                                       net->axis->hz[i], creal(z_to), cimag(z_to));
                netn_put(net, i, s);
        }
        for (unsigned p = 0; p < net->ports; p++)
                netn_set_z(net, p, z_to);
        return CODE_OK;
}

/* ---- mixed modes -------------------------------------------------------------------------------------------------------------------- */

enum code rfn_modes_check(unsigned n, const struct mode *modes, struct tp_error *err)
{
        unsigned seen[RF_PORTS_MAX][3] = {{0}}; /* per port: alone, in a difference, in a sum */
        if (n < 1 || n > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a network of %u ports; mixed modes are made of 1 to %d", n, RF_PORTS_MAX);
        for (unsigned k = 0; k < n; k++) {
                const struct mode *m = &modes[k];
                if (m->p >= n || (m->kind != MODE_SINGLE && (m->q >= n || m->q == m->p)))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "mode %u of %u names ports %u and %u; there are ports 1 to %u, and a pair has two", k + 1, n,
                                       m->p + 1, m->q + 1, n);
                seen[m->p][m->kind]++;
                if (m->kind != MODE_SINGLE)
                        seen[m->q][m->kind]++;
        }
        for (unsigned p = 0; p < n; p++)
                if (!(seen[p][0] == 1 && !seen[p][1] && !seen[p][2]) && !(seen[p][0] == 0 && seen[p][1] == 1 && seen[p][2] == 1))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "port %u must stand alone once, or in one difference and one sum; it stands in %u, %u and %u", p + 1,
                                       seen[p][0], seen[p][1], seen[p][2]);
        for (unsigned k = 0; k < n; k++)
                for (unsigned j = 0; j < n; j++) { /* the sum is of the ports that are differenced */
                        bool shares = modes[j].p == modes[k].p || modes[j].p == modes[k].q || modes[j].q == modes[k].p ||
                                      modes[j].q == modes[k].q;
                        bool same = (modes[j].p == modes[k].p && modes[j].q == modes[k].q) ||
                                    (modes[j].p == modes[k].q && modes[j].q == modes[k].p);
                        if (modes[k].kind == MODE_DIFFERENTIAL && modes[j].kind == MODE_COMMON && shares && !same)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "mode %u takes the sum of ports %u and %u, but mode %u the difference of %u and %u", j + 1,
                                               modes[j].p + 1, modes[j].q + 1, k + 1, modes[k].p + 1, modes[k].q + 1);
                }
        return CODE_OK;
}

/* Rows of the orthonormal mixing matrix. */
static void mixing(unsigned n, const struct mode *modes, double complex *m)
{
        const double half = 0.70710678118654752440; /* sqrt(1/2) */
        for (unsigned k = 0; k < n * n; k++)
                m[k] = 0;
        for (unsigned k = 0; k < n; k++) {
                m[k * n + modes[k].p] = modes[k].kind == MODE_SINGLE ? 1 : half;
                if (modes[k].kind != MODE_SINGLE)
                        m[k * n + modes[k].q] = modes[k].kind == MODE_COMMON ? half : -half;
        }
}
void rfn_mixed_mode(unsigned n, const double complex *s, const struct mode *modes, double complex *ret)
{
        double complex m[RF_ENTRIES_MAX], t[RF_ENTRIES_MAX];
        mixing(n, modes, m);
        transpose(n, m, t);
        rfn_multiply(n, m, s, ret);
        rfn_multiply(n, ret, t, ret);
}
void rfn_single_ended(unsigned n, const double complex *mixed, const struct mode *modes, double complex *ret)
{
        double complex m[RF_ENTRIES_MAX], t[RF_ENTRIES_MAX];
        mixing(n, modes, m);
        transpose(n, m, t);
        rfn_multiply(n, t, mixed, ret);
        rfn_multiply(n, ret, m, ret);
}

enum code rfn_mixed_mode_net(const struct netn *in, const struct mode *modes, struct netn *out, struct tp_error *err)
{
        enum code code = rfn_modes_check(in->ports, modes, err);
        if (code)
                return code;
        if (out->ports != in->ports || !axis_equal(out->axis, in->axis))
                return tp_fail(err, CODE_BUG, "mixed modes: the result has %u ports, the network %u, or another axis", out->ports,
                               in->ports);
        for (size_t i = 0; i < in->axis->n; i++)
                for (unsigned k = 0; k < in->ports; k++) {
                        unsigned p = modes[k].p, q = modes[k].q;
                        if (modes[k].kind != MODE_SINGLE && !(in->z_re[p][i] == in->z_re[q][i] && in->z_im[p][i] == in->z_im[q][i]))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "ports %u and %u refer to %.6g%+.6gj and %.6g%+.6gj ohm at %.9g Hz; a pair needs one known "
                                               "reference: renormalise first",
                                               p + 1, q + 1, in->z_re[p][i], in->z_im[p][i], in->z_re[q][i], in->z_im[q][i],
                                               in->axis->hz[i]);
                }
        for (size_t i = 0; i < in->axis->n; i++) {
                double complex s[RF_ENTRIES_MAX], z[RF_PORTS_MAX];
                netn_get(in, i, s);
                netn_z(in, i, z);
                rfn_mixed_mode(in->ports, s, modes, s);
                netn_put(out, i, s);
                for (unsigned k = 0; k < in->ports; k++) {
                        double complex zk = z[modes[k].p] * (modes[k].kind == MODE_DIFFERENTIAL ? 2
                                                             : modes[k].kind == MODE_COMMON     ? 0.5
                                                                                                : 1);
                        out->z_re[k][i] = creal(zk);
                        out->z_im[k][i] = cimag(zk);
                }
        }
        out->plane = in->plane;
        return CODE_OK;
}

/* multiport.c: three and four ports by two-port steps (multiport.h).
 * Not here    leakage between ports (sixteen terms exist for two ports only); terminations that differ from one measurement to the next of
 * the same port: the equations are then bilinear, and a switch matrix does not do that. */
#include "rf/calibrate/multiport.h"
#include <math.h>
#include <string.h>

static bool is_number(double complex x) { return isfinite(creal(x)) && isfinite(cimag(x)); }

/* ---- joining ------------------------------------------------------------------------------------------------------------------------ */

static enum code pairs_check(const struct port_pair *pairs, size_t pair_n, const struct terminations *t, const struct netn *out,
                             struct tp_error *err)
{
        unsigned n = out->ports;
        bool seen[RF_PORTS_MAX][RF_PORTS_MAX] = {{false}};
        if (n < 2 || n > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a network of %u ports cannot be joined; 2 to %d can", n, RF_PORTS_MAX);
        for (size_t k = 0; k < pair_n; k++) {
                const struct port_pair *p = &pairs[k];
                const struct net2 *first = pairs[0].net;
                if (p->p >= n || p->q >= n || p->p == p->q)
                        return tp_fail(err, CODE_BAD_INPUT, "measurement %zu is of ports %u and %u; a pair of ports 1 to %u is needed",
                                       k + 1, p->p + 1, p->q + 1, n);
                if (!p->net || !axis_equal(p->net->axis, out->axis))
                        return tp_fail(err, CODE_BAD_INPUT, "measurement %zu (ports %u and %u) is missing or has other frequencies", k + 1,
                                       p->p + 1, p->q + 1);
                if (p->net->plane != first->plane || p->net->plane == PLANE_RECEIVER)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "measurement %zu (ports %u and %u) lies in plane %s, the first one in %s; correct all with the same "
                                       "kind of calibration first",
                                       k + 1, p->p + 1, p->q + 1, plane_words[p->net->plane], plane_words[first->plane]);
                for (size_t i = 0; i < out->axis->n; i++) {
                        struct m2 s = net2_get(p->net, i);
                        if (!(p->net->z_re[i] == first->z_re[i] && p->net->z_im[i] == first->z_im[i]))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "measurement %zu (ports %u and %u) refers to %.6g%+.6gj ohm at %.9g Hz, the first one to "
                                               "%.6g%+.6gj: all need one known reference; renormalise first",
                                               k + 1, p->p + 1, p->q + 1, p->net->z_re[i], p->net->z_im[i], out->axis->hz[i],
                                               first->z_re[i], first->z_im[i]);
                        for (int e = 0; e < 4; e++)
                                if (!is_number(s.e[e]))
                                        return tp_fail(err, CODE_BAD_INPUT,
                                                       "measurement %zu (ports %u and %u) is not a number at %.9g Hz; measure it again",
                                                       k + 1, p->p + 1, p->q + 1, out->axis->hz[i]);
                }
                seen[p->p][p->q] = seen[p->q][p->p] = true;
        }
        for (unsigned p = 0; p < n; p++) {
                for (unsigned q = p + 1; q < n; q++)
                        if (!seen[p][q])
                                return tp_fail(err, CODE_BAD_INPUT, "ports %u and %u were not measured together; all %u pairs are needed",
                                               p + 1, q + 1, n * (n - 1) / 2);
                for (size_t i = 0; i < out->axis->n; i++)
                        if (!is_number(CMPLX(t->re[p][i], t->im[p][i])))
                                return tp_fail(err, CODE_BAD_INPUT, "the termination of port %u is not a number at %.9g Hz", p + 1,
                                               out->axis->hz[i]);
        }
        return CODE_OK;
}

enum code rf_multiport_join(const struct port_pair *pairs, size_t pair_n, const struct terminations *t, struct netn *out,
                            double *ret_disagreement, struct tp_error *err)
{
        enum code code = pairs_check(pairs, pair_n, t, out, err);
        if (code)
                return code;
        unsigned n = out->ports;
        for (size_t i = 0; i < out->axis->n; i++) {
                double complex sum[RF_ENTRIES_MAX] = {0}, s[RF_ENTRIES_MAX], left[RF_ENTRIES_MAX];
                double count[RF_ENTRIES_MAX] = {0}, worst = 0;
                for (int round = 0; round < 2; round++) /* mean, then distance from it */
                        for (size_t k = 0; k < pair_n; k++) {
                                unsigned port[2] = {pairs[k].p, pairs[k].q};
                                struct m2 m = net2_get(pairs[k].net, i), a = m2_one();
                                for (int e = 0; e < 4; e++)
                                        a.e[e] -= CMPLX(t->re[port[e / 2]][i], t->im[port[e / 2]][i]) * m.e[e];
                                m = m2_mul(m, m2_inv(a));
                                for (int e = 0; e < 4; e++) {
                                        unsigned at = port[e / 2] * n + port[e % 2];
                                        if (!is_number(m.e[e]))
                                                return tp_fail(
                                                        err, CODE_UNRESOLVABLE,
                                                        "at %.9g Hz ports %u and %u resonate with their terminations; terminate them "
                                                        "with something that absorbs",
                                                        out->axis->hz[i], port[0] + 1, port[1] + 1);
                                        if (round == 0) {
                                                sum[at] += m.e[e];
                                                count[at]++;
                                        } else
                                                worst = fmax(worst, cabs(m.e[e] - sum[at] / count[at]));
                                }
                        }
                for (unsigned k = 0; k < n * n; k++) {
                        s[k] = sum[k] / count[k];
                        left[k] = (k / n == k % n) + s[k] * CMPLX(t->re[k % n][i], t->im[k % n][i]);
                }
                if (!rfn_divide_left(n, left, s, s) || !is_number(s[0]))
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "at %.9g Hz the device resonates with its terminations; terminate the ports with something that absorbs",
                                out->axis->hz[i]);
                netn_put(out, i, s);
                if (ret_disagreement)
                        ret_disagreement[i] = worst;
                for (unsigned p = 0; p < n; p++) {
                        out->z_re[p][i] = pairs[0].net->z_re[i];
                        out->z_im[p][i] = pairs[0].net->z_im[i];
                }
        }
        out->plane = pairs[0].net->plane;
        return CODE_OK;
}

/* ---- terms of N ports --------------------------------------------------------------------------------------------------------------- */

size_t multiport_terms_bytes(size_t n, unsigned ports) { return (2 + 8 * (size_t)ports) * net2_stride(n) * sizeof(double); }

struct multiport_terms multiport_terms_at(void *memory_64, const struct axis *axis, unsigned ports)
{
        size_t stride = net2_stride(axis->n);
        double *column = memory_64;
        struct multiport_terms t = {.axis = axis, .ports = ports};
        for (size_t i = 0; i < (2 + 8 * (size_t)ports) * stride; i++)
                column[i] = NAN;
        t.z_re = column;
        t.z_im = column + stride;
        column += 2 * stride;
        for (unsigned p = 0; p < ports; p++) {
                double **const of[8] = {&t.port[p].ed_re, &t.port[p].ed_im, &t.port[p].es_re, &t.port[p].es_im,
                                        &t.port[p].er_re, &t.port[p].er_im, &t.port[p].k_re,  &t.port[p].k_im};
                for (int k = 0; k < 8; k++, column += stride)
                        *of[k] = column;
        }
        return t;
}

static enum code pair_terms_check(const struct pair_terms *pairs, size_t pair_n, const struct multiport_terms *out, struct tp_error *err)
{
        unsigned n = out->ports, group[RF_PORTS_MAX];
        if (n < 2 || n > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "an analyzer of %u ports is not calibrated here; 2 to %d ports are", n, RF_PORTS_MAX);
        for (unsigned p = 0; p < n; p++)
                group[p] = p;
        for (size_t k = 0; k < pair_n; k++) {
                const struct pair_terms *p = &pairs[k];
                const struct terms *t = p->terms, *first = pairs[0].terms;
                if (p->p >= n || p->q >= n || p->p == p->q)
                        return tp_fail(err, CODE_BAD_INPUT, "calibration %zu is of ports %u and %u; a pair of ports 1 to %u is needed",
                                       k + 1, p->p + 1, p->q + 1, n);
                if (!t || t->model != TERMS_EIGHT)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "calibration %zu (ports %u and %u) has %s terms; ports are joined from eight: convert them first",
                                       k + 1, p->p + 1, p->q + 1, t ? terms_model_words[t->model] : "no");
                if (!axis_equal(t->axis, out->axis) || t->plane != first->plane || t->switch_removed != first->switch_removed)
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "calibration %zu (ports %u and %u) differs from the first one in frequencies, plane (%s) or in whether "
                                "switch terms were removed; calibrate all pairs alike",
                                k + 1, p->p + 1, p->q + 1, plane_words[t->plane]);
                for (size_t i = 0; i < out->axis->n; i++)
                        if (!(t->z_re[i] == first->z_re[i] && t->z_im[i] == first->z_im[i]))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "calibration %zu (ports %u and %u) refers to %.6g%+.6gj ohm at %.9g Hz, the first one to "
                                               "%.6g%+.6gj: all need one known reference",
                                               k + 1, p->p + 1, p->q + 1, t->z_re[i], t->z_im[i], out->axis->hz[i], first->z_re[i],
                                               first->z_im[i]);
                for (unsigned r = 0, from = group[p->q], to = group[p->p]; r < n; r++)
                        group[r] = group[r] == from ? to : group[r];
        }
        for (unsigned p = 1; p < n; p++)
                if (group[p] != group[0])
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "no chain of calibrated pairs leads from port 1 to port %u; calibrate a thru to it from any other port",
                                p + 1);
        return CODE_OK;
}

static double complex term(const struct terms *t, enum term k, size_t i) { return CMPLX(t->re[k][i], t->im[k][i]); }

/* K_p, K_1 = 1, from the ratios K_q/K_p of the pairs: a tree first, then least squares of the logarithms of what is left. */
static void ratios(const struct pair_terms *pairs, size_t pair_n, unsigned n, size_t i, double complex k[RF_PORTS_MAX])
{
        bool known[RF_PORTS_MAX] = {true};
        k[0] = 1;
        for (unsigned round = 0; round < n; round++)
                for (size_t e = 0; e < pair_n; e++) {
                        double complex r = term(pairs[e].terms, TERM_K, i);
                        if (known[pairs[e].p] && !known[pairs[e].q]) {
                                k[pairs[e].q] = k[pairs[e].p] * r;
                                known[pairs[e].q] = true;
                        } else if (known[pairs[e].q] && !known[pairs[e].p]) {
                                k[pairs[e].p] = k[pairs[e].q] / r;
                                known[pairs[e].p] = true;
                        }
                }
        if (pair_n < n)
                return; /* a tree: nothing to balance */
        /* Laplacian of the pairs; port 1 is held by its own row */
        double complex a[RF_ENTRIES_MAX] = {0}, b[RF_ENTRIES_MAX] = {0};
        a[0] = 1;
        for (size_t e = 0; e < pair_n; e++) {
                unsigned p = pairs[e].p, q = pairs[e].q;
                double complex off = clog(term(pairs[e].terms, TERM_K, i) * k[p] / k[q]); /* x_q - x_p; near 0: no branch to choose */
                a[p * n + p] += 1;
                a[q * n + q] += 1;
                a[p * n + q] -= 1;
                a[q * n + p] -= 1;
                b[p * n] -= off;
                b[q * n] += off;
        }
        rfn_divide_left(n, a, b, b);
        for (unsigned p = 1; p < n; p++)
                k[p] *= cexp(b[p * n] - b[0]);
}

enum code rf_multiport_terms(const struct pair_terms *pairs, size_t pair_n, struct multiport_terms *out,
                             const struct multiport_diagnosis *diag, struct tp_error *err)
{
        static const enum term of_port[2][3] = {{TERM_EDF, TERM_ESF, TERM_ERF}, {TERM_EDR, TERM_ESR, TERM_ERR}};
        enum code code = pair_terms_check(pairs, pair_n, out, err);
        if (code)
                return code;
        unsigned n = out->ports;
        for (size_t i = 0; i < out->axis->n; i++) {
                double complex mean[RF_PORTS_MAX][3] = {{0}}, k[RF_PORTS_MAX] = {0};
                double count[RF_PORTS_MAX] = {0}, box = 0, worst = 0;
                for (size_t e = 0; e < pair_n; e++)
                        for (int side = 0; side < 2; side++) {
                                unsigned p = side ? pairs[e].q : pairs[e].p;
                                count[p]++;
                                for (int j = 0; j < 3; j++)
                                        mean[p][j] += term(pairs[e].terms, of_port[side][j], i);
                        }
                for (unsigned p = 0; p < n; p++)
                        for (int j = 0; j < 3; j++)
                                mean[p][j] /= count[p];
                for (size_t e = 0; e < pair_n; e++)
                        for (int side = 0; side < 2; side++) {
                                unsigned p = side ? pairs[e].q : pairs[e].p;
                                for (int j = 0; j < 3; j++) {
                                        double off = cabs(term(pairs[e].terms, of_port[side][j], i) - mean[p][j]);
                                        off /= j == 2 ? cabs(mean[p][2]) : 1;
                                        box = off <= box ? box : off; /* NaN wins */
                                }
                        }
                ratios(pairs, pair_n, n, i, k);
                for (size_t e = 0; e < pair_n; e++) {
                        double off = cabs(term(pairs[e].terms, TERM_K, i) * k[pairs[e].p] / k[pairs[e].q] - 1);
                        worst = off <= worst ? worst : off;
                }
                for (unsigned p = 0; p < n; p++) {
                        out->port[p].ed_re[i] = creal(mean[p][0]);
                        out->port[p].ed_im[i] = cimag(mean[p][0]);
                        out->port[p].es_re[i] = creal(mean[p][1]);
                        out->port[p].es_im[i] = cimag(mean[p][1]);
                        out->port[p].er_re[i] = creal(mean[p][2]);
                        out->port[p].er_im[i] = cimag(mean[p][2]);
                        out->port[p].k_re[i] = creal(k[p]);
                        out->port[p].k_im[i] = cimag(k[p]);
                }
                if (diag && diag->box_difference)
                        diag->box_difference[i] = box;
                if (diag && diag->k_disagreement)
                        diag->k_disagreement[i] = worst;
                out->z_re[i] = pairs[0].terms->z_re[i];
                out->z_im[i] = pairs[0].terms->z_im[i];
        }
        out->plane = pairs[0].terms->plane;
        out->switch_removed = pairs[0].terms->switch_removed;
        return CODE_OK;
}

/* ---- correction --------------------------------------------------------------------------------------------------------------------- */

bool rf_multiport_switch_remove_point(unsigned n, const double complex *raw, const double complex *g, double complex *ret)
{
        double complex a[RF_ENTRIES_MAX];
        for (unsigned k = 0; k < n * n; k++)
                a[k] = k / n == k % n ? 1 : g[k / n] * raw[k];
        return rfn_divide_right(n, raw, a, ret);
}

bool rf_multiport_switch_insert_point(unsigned n, const double complex *m, const double complex *g, double complex *ret)
{
        /* source at j: b = M (e_j + G_j b), G_j without port j: (1 - M G_j) b = M e_j */
        double complex out[RF_ENTRIES_MAX] = {0};
        bool good = true;
        for (unsigned j = 0; j < n; j++) {
                double complex a[RF_ENTRIES_MAX], b[RF_ENTRIES_MAX];
                for (unsigned k = 0; k < n * n; k++)
                        a[k] = (k / n == k % n) - (k % n == j ? 0 : m[k] * g[k % n]);
                good = rfn_divide_left(n, a, m, b) && good;
                for (unsigned i = 0; i < n; i++)
                        out[i * n + j] = b[i * n + j];
        }
        memcpy(ret, out, n * n * sizeof *ret);
        return good;
}

static enum code nets_check(const struct multiport_terms *t, const struct netn *in, const struct netn *out, struct tp_error *err)
{
        if (in->ports != t->ports || !axis_equal(in->axis, t->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the sweep has %u ports and %zu frequencies, the calibration %u and %zu; both must be alike", in->ports,
                               in->axis->n, t->ports, t->axis->n);
        if (out->ports != t->ports || !axis_equal(out->axis, t->axis))
                return tp_fail(err, CODE_BUG, "multiport correction: the result's ports or axis are not the sweep's");
        return CODE_OK;
}

struct blocks {
        double complex t1[RF_PORTS_MAX], t2[RF_PORTS_MAX], t3[RF_PORTS_MAX], t4[RF_PORTS_MAX];
};
static struct blocks blocks_of(const struct multiport_terms *t, size_t i)
{
        struct blocks b = {0};
        for (unsigned p = 0; p < t->ports; p++) {
                double complex ed = CMPLX(t->port[p].ed_re[i], t->port[p].ed_im[i]), es = CMPLX(t->port[p].es_re[i], t->port[p].es_im[i]),
                               er = CMPLX(t->port[p].er_re[i], t->port[p].er_im[i]), k = CMPLX(t->port[p].k_re[i], t->port[p].k_im[i]);
                b.t1[p] = k * (er - ed * es);
                b.t2[p] = k * ed;
                b.t3[p] = -k * es;
                b.t4[p] = k;
        }
        return b;
}

enum code rf_multiport_correct(const struct multiport_terms *t, const struct netn *raw, const struct port_switch *sw, struct netn *out,
                               struct tp_error *err)
{
        enum code code = nets_check(t, raw, out, err);
        if (code)
                return code;
        if (raw->plane != PLANE_RECEIVER)
                return tp_fail(err, CODE_BAD_INPUT, "only raw data can be corrected; this network lies in plane %s",
                               plane_words[raw->plane]);
        if (t->switch_removed && !sw)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the calibration was solved with switch terms removed and the sweep comes without switch terms; measure them, or "
                        "recalibrate without");
        unsigned n = t->ports;
        for (size_t i = 0; i < raw->axis->n; i++) {
                double complex m[RF_ENTRIES_MAX], g[RF_PORTS_MAX], left[RF_ENTRIES_MAX], right[RF_ENTRIES_MAX];
                struct blocks b = blocks_of(t, i);
                netn_get(raw, i, m);
                for (unsigned p = 0; p < n; p++)
                        g[p] = sw ? CMPLX(sw->re[p][i], sw->im[p][i]) : 0;
                rf_multiport_switch_remove_point(n, m, g, m);
                for (unsigned k = 0; k < n * n; k++) {
                        bool one = k / n == k % n;
                        left[k] = (one ? b.t1[k / n] : 0) - m[k] * b.t3[k % n];
                        right[k] = m[k] * b.t4[k % n] - (one ? b.t2[k / n] : 0);
                }
                rfn_divide_left(n, left, right, m); /* NaN where it does not exist: it passes on */
                netn_put(out, i, m);
                for (unsigned p = 0; p < n; p++) {
                        out->z_re[p][i] = t->z_re[i];
                        out->z_im[p][i] = t->z_im[i];
                }
        }
        out->plane = t->plane;
        return CODE_OK;
}

enum code rf_multiport_embed(const struct multiport_terms *t, const struct netn *s, const struct port_switch *sw, struct netn *out,
                             struct tp_error *err)
{
        enum code code = nets_check(t, s, out, err);
        if (code)
                return code;
        unsigned n = t->ports;
        for (size_t i = 0; i < s->axis->n; i++) {
                double complex d[RF_ENTRIES_MAX], g[RF_PORTS_MAX], up[RF_ENTRIES_MAX], down[RF_ENTRIES_MAX];
                struct blocks b = blocks_of(t, i);
                netn_get(s, i, d);
                for (unsigned k = 0; k < n * n; k++) {
                        bool one = k / n == k % n;
                        up[k] = b.t1[k / n] * d[k] + (one ? b.t2[k / n] : 0);
                        down[k] = b.t3[k / n] * d[k] + (one ? b.t4[k / n] : 0);
                }
                rfn_divide_right(n, up, down, d);
                for (unsigned p = 0; p < n; p++)
                        g[p] = sw ? CMPLX(sw->re[p][i], sw->im[p][i]) : 0;
                rf_multiport_switch_insert_point(n, d, g, d);
                netn_put(out, i, d);
        }
        out->plane = PLANE_RECEIVER;
        return CODE_OK;
}

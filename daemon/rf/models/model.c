/* model.c: from measured S to a passive rational model with its error; causality by fit (model.h). */
#include "rf/models/model_own.h"
#include "rf/numbers/small.h"
#include <math.h>
#include <string.h>

struct model_data model_data_of(const struct net2 *net)
{
        struct model_data d = {.axis = net->axis, .ports = 2, .z_ohm = net2_z_real(net)};
        for (int k = 0; k < 4; k++) {
                d.re[k] = net->re[k];
                d.im[k] = net->im[k];
        }
        return d;
}

static const double band_ends_hz[RF_ERROR_BANDS - 1] = {0.1e9, 1e9, 10e9, 54e9, 110e9, 220e9};

void model_error_begin(struct model_error *e) { memset(e, 0, sizeof *e); }
void model_error_add(struct model_error *e, double hz, size_t n, const double complex *s, const double complex *data)
{
        size_t b = 0;
        while (b < RF_ERROR_BANDS - 1 && hz > band_ends_hz[b])
                b++;
        if (e->band[b].n++ == 0)
                e->band[b].hz_lo = hz;
        e->band[b].hz_hi = hz;
        for (size_t q = 0; q < n; q++) {
                double d = cabs(s[q] - data[q]);
                e->rms += d * d;
                e->band[b].rms += d * d;
                if (!(d <= e->band[b].worst))
                        e->band[b].worst = d;
                if (!(d <= e->worst)) {
                        e->worst = d;
                        e->worst_hz = hz;
                        e->worst_element = q;
                }
        }
}
void model_error_end(struct model_error *e, size_t elements)
{
        size_t points = 0;
        for (size_t b = 0; b < RF_ERROR_BANDS; b++) {
                if (e->band[b].n == 0)
                        continue;
                points += e->band[b].n;
                e->band[b].rms = sqrt(e->band[b].rms / (double)(e->band[b].n * elements));
                e->band[e->band_n++] = e->band[b];
        }
        e->rms = points ? sqrt(e->rms / (double)(points * elements)) : NAN;
}

double rf_noise_by_differences(size_t n, const double *re, const double *im)
{
        /* blocks of 16 third differences; the variance of one is 20 times that of a sample (1 + 9 + 9 + 1) */
        double level[64];
        size_t count = n > 3 ? n - 3 : 0, blocks = count / 16 < 1 ? (count > 0) : count / 16 > 64 ? 64 : count / 16;
        for (size_t b = 0; b < blocks; b++) {
                size_t from = count * b / blocks, to = count * (b + 1) / blocks;
                double sum = 0;
                for (size_t i = from; i < to; i++) {
                        double x = re[i + 3] - 3 * re[i + 2] + 3 * re[i + 1] - re[i], y = im[i + 3] - 3 * im[i + 2] + 3 * im[i + 1] - im[i];
                        sum += x * x + y * y;
                }
                level[b] = sum / (20 * (double)(to - from));
                for (size_t i = b; i > 0 && level[i] < level[i - 1]; i--) {
                        double t = level[i];
                        level[i] = level[i - 1];
                        level[i - 1] = t;
                }
        }
        return blocks ? sqrt(level[blocks / 2]) : NAN;
}

/* ---- the fit of all elements -------------------------------------------------------------------------------------------------------- */
struct room {
        double *columns; /* elements x 2 x n */
        void *rest;
};
static size_t larger(size_t a, size_t b) { return a > b ? a : b; }
size_t rf_fit_vector_bytes(size_t n, size_t ports, size_t order_max)
{
        size_t e = ports * ports, order = order_max ? order_max : RF_FIT_ORDER_MAX;
        size_t column = net2_stride(n) * sizeof(double);
        return 2 * e * column + larger(rf_vector_fit_bytes(n, e, order), rf_model_enforce_bytes(ports, order)) + 64;
}

static enum code check(const struct model_data *d, struct tp_error *err)
{
        if (d->ports < 1 || d->ports > RF_MODEL_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a model has 1 to %d ports, the data have %zu", RF_MODEL_PORTS_MAX, d->ports);
        if (!(d->z_ohm > 0 && isfinite(d->z_ohm)))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the data's reference impedance is not one real value; renormalise them to 50 ohm first");
        for (size_t q = 0; q < d->ports * d->ports; q++)
                for (size_t i = 0; i < d->axis->n; i++)
                        if (!(isfinite(d->re[q][i]) && isfinite(d->im[q][i])))
                                return tp_fail(err, CODE_BAD_INPUT, "S%zu%zu is not a number at %.9g Hz; leave that point out",
                                               q / d->ports + 1, q % d->ports + 1, d->axis->hz[i]);
        return CODE_OK;
}

static bool seen_reciprocal(const struct model_data *d, double noise)
{
        double sum = 0;
        size_t pairs = 0;
        for (size_t i = 0; i < d->ports; i++)
                for (size_t j = i + 1; j < d->ports; j++, pairs++)
                        for (size_t k = 0; k < d->axis->n; k++) {
                                size_t a = i * d->ports + j, b = j * d->ports + i;
                                double x = d->re[a][k] - d->re[b][k], y = d->im[a][k] - d->im[b][k];
                                sum += x * x + y * y;
                        }
        return pairs == 0 || sqrt(sum / (double)(pairs * d->axis->n)) <= 1e-6 + 3 * noise;
}

/* Columns to fit: S or Y, the mean of ij and ji when reciprocal (upper triangle only). */
static enum code columns(const struct model_data *d, enum model_kind kind, bool reciprocal, double *memory, struct fit_data *ret,
                         struct tp_error *err)
{
        size_t p = d->ports, n = d->axis->n, stride = net2_stride(n);
        *ret = (struct fit_data){.n = n, .hz = d->axis->hz};
        double *re[RF_FIT_ELEMENTS_MAX], *im[RF_FIT_ELEMENTS_MAX];
        size_t place[RF_FIT_ELEMENTS_MAX] = {0};
        for (size_t i = 0; i < p; i++)
                for (size_t j = 0; j < p; j++) {
                        if (reciprocal && j < i)
                                continue;
                        place[ret->element_n] = i * p + j;
                        re[ret->element_n] = memory + 2 * ret->element_n * stride;
                        im[ret->element_n] = re[ret->element_n] + stride;
                        ret->re[ret->element_n] = re[ret->element_n];
                        ret->im[ret->element_n] = im[ret->element_n];
                        ret->element_n++;
                }
        for (size_t k = 0; k < n; k++) {
                double complex m[RF_FIT_ELEMENTS_MAX], y[RF_FIT_ELEMENTS_MAX] = {0};
                for (size_t q = 0; q < p * p; q++)
                        m[q] = CMPLX(d->re[q][k], d->im[q][k]);
                if (kind == MODEL_Y) {
                        double complex plus[RF_FIT_ELEMENTS_MAX]; /* (I + S) Y = (I - S)/z; both factors commute */
                        for (size_t q = 0; q < p * p; q++)
                                plus[q] = m[q] + (q % (p + 1) == 0);
                        bool good = true;
                        for (size_t j = 0; j < p && good; j++) {
                                double complex b[RF_MODEL_PORTS_MAX], x[RF_MODEL_PORTS_MAX];
                                for (size_t i = 0; i < p; i++)
                                        b[i] = ((double)(i == j) - m[i * p + j]) / d->z_ohm;
                                good = small_solve(p, plus, b, x);
                                for (size_t i = 0; i < p && good; i++) {
                                        y[i * p + j] = x[i];
                                        good = cabs(x[i]) * d->z_ohm < 1e9;
                                }
                        }
                        if (!good)
                                return tp_fail(err, CODE_UNRESOLVABLE,
                                               "Y does not exist at %.9g Hz (a short, or a thru without impedance); fit S instead",
                                               d->axis->hz[k]);
                        memcpy(m, y, p * p * sizeof *m);
                }
                for (size_t q = 0; q < ret->element_n; q++) {
                        size_t i = place[q] / p, j = place[q] % p;
                        double complex z = reciprocal ? (m[i * p + j] + m[j * p + i]) / 2 : m[place[q]];
                        re[q][k] = creal(z);
                        im[q][k] = cimag(z);
                }
        }
        return CODE_OK;
}

/* The upper triangle becomes the whole matrix. */
static void spread(size_t ports, struct rational *r)
{
        for (size_t i = ports; i-- > 0;)
                for (size_t j = ports; j-- > i;) {
                        size_t from = i * ports - i * (i + 1) / 2 + j; /* place in the triangle by rows */
                        size_t to = i * ports + j;
                        if (from != to) {
                                memcpy(r->residue[to], r->residue[from], sizeof r->residue[to]);
                                r->d[to] = r->d[from];
                                r->e[to] = r->e[from];
                        }
                }
        for (size_t i = 0; i < ports; i++)
                for (size_t j = 0; j < i; j++) {
                        size_t from = j * ports + i, to = i * ports + j;
                        memcpy(r->residue[to], r->residue[from], sizeof r->residue[to]);
                        r->d[to] = r->d[from];
                        r->e[to] = r->e[from];
                }
        r->element_n = ports * ports;
}

static void measure(const struct model_data *d, const struct model *m, struct model_report *r)
{
        size_t e = d->ports * d->ports;
        model_error_begin(&r->error);
        r->data_worst = 0;
        for (size_t k = 0; k < d->axis->n; k++) {
                double complex s[RF_FIT_ELEMENTS_MAX], data[RF_FIT_ELEMENTS_MAX], v[RF_FIT_ELEMENTS_MAX];
                double value[RF_MODEL_PORTS_MAX];
                for (size_t q = 0; q < e; q++)
                        data[q] = CMPLX(d->re[q][k], d->im[q][k]);
                model_s_at(m, d->axis->hz[k], s);
                model_error_add(&r->error, d->axis->hz[k], e, s, data);
                model_spectrum(MODEL_S, d->ports, data, value, v);
                if (value[0] > r->data_worst) {
                        r->data_worst = value[0];
                        r->data_worst_hz = d->axis->hz[k];
                }
        }
        model_error_end(&r->error, e);
}

/* One order (0: grown): fit, passivity, enforcement, error. */
static enum code attempt(const struct model_data *d, const struct fit_data *f, const struct fit_options *o, bool keep_active, void *rest,
                         struct model *ret, struct model_report *r, struct tp_error *err)
{
        enum code code = rf_vector_fit(f, o, rest, &ret->fit, &r->fit, err);
        if (code)
                return code;
        if (ret->reciprocal)
                spread(d->ports, &ret->fit);
        code = rf_model_passivity(ret, rest, &r->before, err);
        if (code)
                return code;
        r->after = r->before;
        measure(d, ret, r);
        r->error_before = r->error;
        if (!r->before.passive && !keep_active) {
                code = rf_model_enforce(ret, rest, &r->enforcement, err);
                if (!code)
                        code = rf_model_passivity(ret, rest, &r->after, err);
                measure(d, ret, r);
        }
        return code;
}

enum code rf_fit_vector(const struct model_data *d, const struct model_options *o, void *workspace, struct model *ret,
                        struct model_report *report, struct tp_error *err)
{
        enum code code = check(d, err);
        if (code)
                return code;
        struct model_report own = {0}, *r = report ? report : &own;
        memset(r, 0, sizeof *r);
        enum model_kind kind = o->kind == MODEL_Y ? MODEL_Y : MODEL_S;
        bool reciprocal =
                o->reciprocity == MODEL_RECIPROCAL || (o->reciprocity == MODEL_RECIPROCAL_IF_SEEN && seen_reciprocal(d, o->fit.noise));
        size_t n = d->axis->n, stride = net2_stride(n);
        double *memory = workspace;
        void *rest = memory + 2 * d->ports * d->ports * stride;
        struct fit_data f;
        code = columns(d, kind, reciprocal, memory, &f, err);
        if (code)
                return code;
        struct fit_options fo = o->fit;
        double dc[RF_FIT_ELEMENTS_MAX];
        if (fo.weight != FIT_WEIGHT_GIVEN)
                fo.weight = kind == MODEL_Y ? FIT_WEIGHT_INVERSE : FIT_WEIGHT_ONE;
        if (kind == MODEL_S)
                fo.proportional = false;
        else
                fo.noise = 0;      /* of S; what it is in Y, in parts of |Y|, changes along the sweep */
        if (fo.dc && reciprocal) { /* row-major values given; the triangle is fitted */
                for (size_t i = 0, q = 0; i < d->ports; i++)
                        for (size_t j = i; j < d->ports; j++)
                                dc[q++] = (fo.dc[i * d->ports + j] + fo.dc[j * d->ports + i]) / 2;
                fo.dc = dc;
        }
        if (kind == MODEL_Y && !(fo.floor > 0))
                fo.floor = 1e-3 / d->z_ohm; /* Y comes from S, whose digits end somewhere */
        *ret = (struct model){.kind = kind,
                              .ports = d->ports,
                              .z_ohm = d->z_ohm,
                              .reciprocal = reciprocal,
                              .hz_lo = d->axis->hz[0],
                              .hz_hi = d->axis->hz[n - 1]};
        code = attempt(d, &f, &fo, o->keep_active, rest, ret, r, err);
        if (o->keep_active || r->before.passive || (code && code != CODE_UNRESOLVABLE))
                return code;
        /* Poles just above the band, or a D above 1, may cost more to make passive than they were worth: without D (S: it then goes to 0
           far above the band), and other orders near this one. */
        static const struct {
                int more;
                bool no_constant;
        } others[] = {{0, true},   {1, true},   {2, true},  {2, false},  {1, false}, {-1, true},
                      {-1, false}, {-2, false}, {-2, true}, {-3, false}, {-4, false}};
        double enough = 1.3 * r->error_before.rms;
        size_t order = fo.order ? fo.order : r->fit.order;
        for (size_t k = 0; k < sizeof others / sizeof others[0]; k++) {
                if (!code && r->error.rms <= enough)
                        break;
                long now = (long)order + others[k].more;
                if ((fo.order && others[k].more) || now < 1 || now > RF_FIT_ORDER_MAX ||
                    (o->fit.order_max && now > (long)o->fit.order_max) || (others[k].no_constant && (kind != MODEL_S || fo.hold_dc)))
                        continue;
                struct model m = *ret;
                struct model_report t = {0};
                struct fit_options other = fo;
                other.order = (size_t)now;
                other.no_constant = fo.no_constant || others[k].no_constant;
                if (attempt(d, &f, &other, false, rest, &m, &t, NULL) || !(code || t.error.rms < r->error.rms))
                        continue;
                t.fit.stop = r->fit.stop;
                t.fit.order_tried = r->fit.order_tried > t.fit.order_tried ? r->fit.order_tried : t.fit.order_tried;
                *ret = m;
                *r = t;
                code = CODE_OK;
        }
        return code;
}

/* passivity.c: where a rational model would give out energy (model.h).
 * Idea        Crossings are the eigenvalues of one matrix (passivity_matrix.c); between two of them the model keeps the rule or breaks it.
 * Y with D singular: the test needs D^{-1}; D is lifted by 1e-7 of |Y|, S with a singular D - 1 is tested against 1 + 1e-7, and what hides
 * below that is looked for on a grid. */
#include "rf/numbers/eigen.h"
#include "rf/models/model_own.h"
#include "rf/models/passivity_matrix.h"
#include "rf/numbers/small.h"
#include <math.h>
#include <string.h>

const char *const model_kind_words[MODEL_COUNT + 1] = {"unknown", "s", "y", NULL};

#define SINGULAR_LIFT 1e-7
#define LIMIT_LIFT 1e-7
#define PASSIVE_S 1e-9 /* what a singular value may stand above 1: rounding of the fit */
#define PASSIVE_Y 1e-9 /* what an eigenvalue may lie below 0, in parts of |Y| + 1/z */

void model_at(const struct model *m, double hz, double complex *ret)
{
        const struct rational *r = &m->fit;
        double complex s = CMPLX(0, RF_TWO_PI * hz), u[RF_FIT_ORDER_MAX], v[RF_FIT_ORDER_MAX];
        for (size_t i = 0; i < r->pole_n; i++) {
                u[i] = 1 / (s - r->pole[i]);
                v[i] = cimag(r->pole[i]) > 0 ? 1 / (s - conj(r->pole[i])) : 0;
        }
        for (size_t q = 0; q < r->element_n; q++) {
                double complex sum = r->d[q] + s * r->e[q];
                for (size_t i = 0; i < r->pole_n; i++)
                        sum += r->residue[q][i] * u[i] + conj(r->residue[q][i]) * v[i];
                ret[q] = sum;
        }
}

bool model_s_from_y(size_t ports, double z_ohm, const double complex *y, double complex *s)
{
        /* (I + zY) S = I - zY, column by column */
        double complex a[RF_MODEL_PORTS_MAX * RF_MODEL_PORTS_MAX];
        for (size_t i = 0; i < ports * ports; i++)
                a[i] = z_ohm * y[i] + (i % (ports + 1) == 0);
        for (size_t j = 0; j < ports; j++) {
                double complex b[RF_MODEL_PORTS_MAX], x[RF_MODEL_PORTS_MAX];
                for (size_t i = 0; i < ports; i++)
                        b[i] = (i == j) - z_ohm * y[i * ports + j];
                if (!small_solve(ports, a, b, x))
                        return false;
                for (size_t i = 0; i < ports; i++)
                        s[i * ports + j] = x[i];
        }
        return true;
}

void model_s_at(const struct model *m, double hz, double complex *ret)
{
        double complex y[RF_FIT_ELEMENTS_MAX];
        model_at(m, hz, y);
        if (m->kind != MODEL_Y)
                memcpy(ret, y, m->ports * m->ports * sizeof *y);
        else if (!model_s_from_y(m->ports, m->z_ohm, y, ret))
                for (size_t i = 0; i < m->ports * m->ports; i++)
                        ret[i] = NAN;
}

double model_size(size_t ports, const double complex *m)
{
        double sum = 0;
        for (size_t i = 0; i < ports * ports; i++)
                sum += creal(m[i] * conj(m[i]));
        return sqrt(sum);
}

void model_spectrum(enum model_kind kind, size_t n, const double complex *m, double *value, double complex *vector)
{
        double complex h[RF_MODEL_PORTS_MAX * RF_MODEL_PORTS_MAX] = {0};
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++) {
                        double complex sum = 0;
                        if (kind == MODEL_Y)
                                sum = (m[i * n + j] + conj(m[j * n + i])) / 2;
                        else
                                for (size_t k = 0; k < n; k++)
                                        sum += conj(m[k * n + i]) * m[k * n + j];
                        h[i * n + j] = sum;
                }
        rf_hermitian(n, h, value, vector);
        if (kind != MODEL_Y)
                for (size_t i = 0; i < n; i++)
                        value[i] = sqrt(fmax(value[i], 0));
}

/* By how much the model breaks the rule at hz: sigma_max - 1, or -lambda_min / (|Y| + 1/z); *ret_value as struct passivity has it. */
static double excess(const struct model *m, double hz, double *ret_value)
{
        double complex at[RF_FIT_ELEMENTS_MAX], vector[RF_FIT_ELEMENTS_MAX];
        double value[RF_MODEL_PORTS_MAX];
        model_at(m, hz, at);
        model_spectrum(m->kind, m->ports, at, value, vector);
        double x = value[0];
        if (m->kind == MODEL_Y) {
                x = value[m->ports - 1] / (model_size(m->ports, at) + 1 / m->z_ohm);
        }
        if (ret_value)
                *ret_value = x;
        return m->kind == MODEL_Y ? -x : x - 1;
}

size_t rf_model_passivity_bytes(size_t ports, size_t order)
{
        size_t n = ports * order;
        return (n * n * 9 + 2 * n * ports + 4 * n + 64) * sizeof(double);
}

/* The value nearest to the limit, minus the limit: changes sign where a crossing is. */
static double nearest_to_limit(const struct model *m, double hz, double lift, double limit)
{
        double complex at[RF_FIT_ELEMENTS_MAX], vector[RF_FIT_ELEMENTS_MAX];
        double value[RF_MODEL_PORTS_MAX], near = INFINITY;
        model_at(m, hz, at);
        model_spectrum(m->kind, m->ports, at, value, vector);
        for (size_t i = 0; i < m->ports; i++) {
                double x = m->kind == MODEL_Y ? (value[i] + lift) / (model_size(m->ports, at) + 1 / m->z_ohm) : value[i] - limit;
                if (fabs(x) < fabs(near))
                        near = x;
        }
        return near;
}

static void insert(struct passivity *p, double hz)
{
        if (p->crossing_n >= RF_CROSSINGS_MAX) {
                p->crossing_n++;
                return;
        }
        size_t i = p->crossing_n++;
        for (; i > 0 && p->crossing_hz[i - 1] > hz; i--)
                p->crossing_hz[i] = p->crossing_hz[i - 1];
        p->crossing_hz[i] = hz;
}

/* A few secant steps: what is left of the eigenvalue's rounding; refused when no value is near its limit there (a pair of eigenvalues
   beside the axis). */
static bool settle_crossing(const struct model *m, double *hz, double lift, double limit)
{
        double a = *hz, fa = nearest_to_limit(m, a, lift, limit), b = a * (1 + 1e-7), fb = nearest_to_limit(m, b, lift, limit);
        if (!(fabs(fa) < 1e-4))
                return false;
        for (int i = 0; i < 6 && fb != fa; i++) {
                double c = b - fb * (b - a) / (fb - fa);
                if (!(fabs(c / *hz - 1) < 1e-5))
                        break;
                a = b;
                fa = fb;
                b = c;
                fb = nearest_to_limit(m, b, lift, limit);
        }
        if (fabs(fb) < fabs(fa))
                a = b;
        if (fabs(nearest_to_limit(m, a, lift, limit)) <= fabs(nearest_to_limit(m, *hz, lift, limit)))
                *hz = a;
        return true;
}

/* Peak of the excess between two frequencies: a scan, then golden section. */
static void peak(const struct model *m, double from, double to, double *ret_value, double *ret_hz)
{
        double best = -INFINITY, at = from, step = (to - from) / 32, value;
        for (int i = 0; i <= 32; i++) {
                double hz = from + step * i, x = excess(m, hz, NULL);
                if (x > best) {
                        best = x;
                        at = hz;
                }
        }
        double lo = fmax(from, at - step), hi = fmin(to, at + step), g = 0.6180339887498949;
        for (int i = 0; i < 40; i++) {
                double a = hi - g * (hi - lo), b = lo + g * (hi - lo);
                if (excess(m, a, NULL) > excess(m, b, NULL))
                        hi = b;
                else
                        lo = a;
        }
        at = excess(m, (lo + hi) / 2, NULL) >= best ? (lo + hi) / 2 : at;
        excess(m, at, &value);
        *ret_value = value;
        *ret_hz = at;
}

size_t model_grid(const struct model *m, double *hz)
{
        size_t n = 0;
        double top = 3 * m->hz_hi, low = fmin(fmax(m->hz_lo, 1e-7 * m->hz_hi), m->hz_hi / 30);
        hz[n++] = 0;
        for (size_t i = 0; i < MODEL_GRID_LOG; i++)
                hz[n++] = low * pow(m->hz_hi / 30 / low, (double)i / MODEL_GRID_LOG);
        for (size_t i = 0; i <= MODEL_GRID_LINEAR; i++)
                hz[n++] = m->hz_hi / 30 + (top - m->hz_hi / 30) * (double)i / MODEL_GRID_LINEAR;
        for (size_t i = 1; i <= MODEL_GRID_ABOVE; i++)
                hz[n++] = top * pow(30, (double)i / MODEL_GRID_ABOVE);
        return n;
}

static void add_band(struct passivity *p, const struct model *m, double from, double to)
{
        double value, at;
        peak(m, from, isfinite(to) ? to : fmax(10 * from, 10 * m->hz_hi), &value, &at);
        if (p->band_n > 0 && p->band[p->band_n - 1].to_hz >= from) {
                size_t i = p->band_n - 1;
                p->band[i].to_hz = to;
                if (m->kind == MODEL_Y ? value < p->band[i].worst : value > p->band[i].worst) {
                        p->band[i].worst = value;
                        p->band[i].worst_hz = at;
                }
        } else if (p->band_n < RF_CROSSINGS_MAX) {
                p->band[p->band_n].from_hz = from;
                p->band[p->band_n].to_hz = to;
                p->band[p->band_n].worst = value;
                p->band[p->band_n++].worst_hz = at;
        }
}

enum code rf_model_passivity(const struct model *m, void *workspace, struct passivity *ret, struct tp_error *err)
{
        memset(ret, 0, sizeof *ret);
        struct state_space s = {.n = m->ports * rational_order(&m->fit), .ports = m->ports};
        size_t n = s.n;
        double w0 = RF_TWO_PI * m->hz_hi, *memory = workspace, *matrix, *spare, *re, *im, hz[MODEL_GRID_MAX];
        s.a = memory;
        s.b = s.a + n * n;
        s.c = s.b + n * m->ports;
        matrix = s.c + n * m->ports;
        spare = matrix + 4 * n * n;
        re = spare + 4 * n * n;
        im = re + 2 * n;
        double complex at[RF_FIT_ELEMENTS_MAX], vector[RF_FIT_ELEMENTS_MAX];
        double value[RF_MODEL_PORTS_MAX], lift = 0, limit = 1;
        if (m->kind == MODEL_Y) {
                double size = 0;
                for (int i = 1; i <= 3; i++) {
                        model_at(m, m->hz_hi * i / 3, at);
                        size = fmax(size, model_size(m->ports, at));
                }
                lift = SINGULAR_LIFT * size;
        }
        for (size_t i = 0; i < m->ports * m->ports; i++)
                at[i] = m->fit.d[i];
        model_spectrum(m->kind, m->ports, at, value, vector);
        ret->at_infinity = m->kind == MODEL_Y ? value[m->ports - 1] : value[0];
        for (size_t i = 0; i < m->ports && m->kind != MODEL_Y; i++)
                if (fabs(value[i] - 1) < LIMIT_LIFT / 10) /* capacitors to ground: S goes to -1, and D - 1 has no inverse */
                        limit = 1 + LIMIT_LIFT;
        size_t found = 0;
        if (n > 0) {
                state_space_of(m, w0, &s);
                bool solved = m->reciprocal ? state_space_half_matrix(m, &s, lift, limit, spare, matrix)
                                            : state_space_full_matrix(m, &s, lift, limit, matrix);
                found = m->reciprocal ? n : 2 * n;
                if (!solved || !rf_eigenvalues(found, matrix, re, im))
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "the passivity of this model cannot be tested: its value at infinite frequency reflects everything, or its "
                                "eigenvalues do not settle; fit fewer poles");
        }
        for (size_t i = 0; i < found; i++) {
                double w = 0;
                if (m->reciprocal && (re[i] < 0) == (m->kind == MODEL_S) && re[i] != 0 && fabs(im[i]) < 1e-6 * hypot(re[i], im[i]))
                        w = sqrt(fabs(re[i])); /* S: the eigenvalue is -w^2; Y: w^2 */
                if (!m->reciprocal && im[i] > 0 && fabs(re[i]) < 1e-6 * hypot(re[i], im[i]))
                        w = im[i];
                double at_hz = w * m->hz_hi;
                if (w > 0 && settle_crossing(m, &at_hz, lift, limit))
                        insert(ret, at_hz);
        }
        /* bands between crossings */
        size_t crossings = ret->crossing_n < RF_CROSSINGS_MAX ? ret->crossing_n : RF_CROSSINGS_MAX;
        double may = m->kind == MODEL_Y ? PASSIVE_Y : PASSIVE_S;
        for (size_t i = 0; i <= crossings; i++) {
                double from = i ? ret->crossing_hz[i - 1] : 0, to = i < crossings ? ret->crossing_hz[i] : INFINITY;
                double middle = isfinite(to) ? (from + to) / 2 : fmax(2 * from, 2 * m->hz_hi);
                if (excess(m, middle, NULL) > may)
                        add_band(ret, m, from, to);
        }
        /* the worst over a grid, which also sees what the lift of a singular D hides */
        size_t grid_n = model_grid(m, hz), worst_i = 0;
        double worst = -INFINITY;
        for (size_t i = 0; i < grid_n; i++) {
                double x = excess(m, hz[i], NULL);
                if (x > worst) {
                        worst = x;
                        worst_i = i;
                }
        }
        peak(m, worst_i ? hz[worst_i - 1] : 0, worst_i + 1 < grid_n ? hz[worst_i + 1] : hz[worst_i], &ret->worst, &ret->worst_hz);
        for (size_t i = 0; i < ret->band_n; i++)
                if (m->kind == MODEL_Y ? ret->band[i].worst < ret->worst : ret->band[i].worst > ret->worst) {
                        ret->worst = ret->band[i].worst;
                        ret->worst_hz = ret->band[i].worst_hz;
                }
        if (ret->band_n == 0 && excess(m, ret->worst_hz, NULL) > may)
                add_band(ret, m, worst_i ? hz[worst_i - 1] : 0, worst_i + 1 < grid_n ? hz[worst_i + 1] : hz[worst_i]);
        double e_least = 0;
        if (m->kind == MODEL_Y) {
                for (size_t i = 0; i < m->ports * m->ports; i++)
                        at[i] = m->fit.e[i];
                model_spectrum(m->kind, m->ports, at, value, vector);
                e_least = value[m->ports - 1] + PASSIVE_Y * lift / SINGULAR_LIFT / w0; /* rounding of a fit that found none */
        }
        bool infinity = m->kind == MODEL_Y ? ret->at_infinity >= -lift && e_least >= 0 : ret->at_infinity <= 1 + PASSIVE_S;
        ret->passive = ret->band_n == 0 && infinity;
        return CODE_OK;
}

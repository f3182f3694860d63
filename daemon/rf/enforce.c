/* enforce.c: a model that gives out energy is changed until it does not (model.h).
 * Idea        What stands above the limit on a grid up to far above the band is taken as a response of its own, fitted with the model's
 *             own poles, and taken off, somewhat more than fully; again until the eigenvalues know no crossing.  Own derivation, common
 *             practice; after the residue perturbation of Gustavsen & Semlyen, IEEE Trans. PWRD 16 (2001) 97.
 * Margin      The limit aimed at lies under 1 by a part of the worst violation: a low-loss line whose fit stands 1e-4 above 1 in one place
 *             must not lose 1 % everywhere.
 * 0 Hz        held by a heavy row. */
#include "rf/fit_own.h"
#include "rf/model_own.h"
#include <math.h>
#include <string.h>

#define ROUNDS_MAX 100
#define STEP 1.5
#define DC_MOVES_MAX 1e-4
#define IMAG_WEIGHT 0.05 /* Y: the imaginary part has no part in passivity; it only must not run away */

struct task {
        const struct model *start;
        struct model now;
        size_t order, columns, grid_n; /* columns: basis, for Y also D */
        double hz[MODEL_GRID_MAX], weight[MODEL_GRID_MAX];
        double *basis;                 /* columns x grid x 2 (re, im), unweighted, frequency scaled by the top of the band */
        double *r, *block, *right, *x; /* triangle; rows coming in; J^T b and the change, columns x elements */
        void *rest;
};

size_t rf_model_enforce_bytes(size_t ports, size_t order)
{
        size_t c = order + 1;
        return sizeof(struct task) + 64 + (c * 2 * MODEL_GRID_MAX + c * c + c * FIT_ROWS + 2 * c * ports * ports) * sizeof(double) +
               rf_model_passivity_bytes(ports, order);
}

static void make_basis(struct task *t)
{
        const struct rational *r = &t->now.fit;
        for (size_t k = 0; k < t->grid_n; k++) {
                size_t c = 0;
                double complex s = CMPLX(0, t->hz[k] / t->now.hz_hi), z[2];
                for (size_t i = 0; i <= r->pole_n; i++) {
                        size_t n = 1;
                        if (i == r->pole_n) {
                                z[0] = 1;
                        } else {
                                double complex p = r->pole[i] / (RF_TWO_PI * t->now.hz_hi), u = 1 / (s - p), v = 1 / (s - conj(p));
                                z[0] = u;
                                if (cimag(p) > 0) {
                                        z[0] = u + v;
                                        z[1] = CMPLX(0, 1) * (u - v);
                                        n = 2;
                                }
                        }
                        for (size_t j = 0; j < n && c < t->columns; j++, c++) {
                                t->basis[(2 * c) * t->grid_n + k] = creal(z[j]);
                                t->basis[(2 * c + 1) * t->grid_n + k] = cimag(z[j]);
                        }
                }
        }
}

static double dc_weight(const struct task *t) { return 5 * sqrt((double)t->grid_n) * t->weight[0]; }

/* The triangle of the weighted basis, the row of 0 Hz, and a little of every column by itself. */
static void make_triangle(struct task *t)
{
        size_t n = t->columns;
        double imag = t->now.kind == MODEL_Y ? IMAG_WEIGHT : 1;
        memset(t->r, 0, n * n * sizeof *t->r);
        for (size_t first = 0; first < t->grid_n; first += FIT_BLOCK) {
                for (size_t c = 0; c < n; c++)
                        for (size_t k = 0; k < FIT_BLOCK; k++) {
                                bool in = first + k < t->grid_n;
                                double w = in ? t->weight[first + k] : 0, *to = t->block + c * FIT_ROWS;
                                to[k] = in ? w * t->basis[2 * c * t->grid_n + first + k] : 0;
                                to[FIT_BLOCK + k] = in ? imag * w * t->basis[(2 * c + 1) * t->grid_n + first + k] : 0;
                        }
                fit_absorb(n, t->r, 0, NULL, t->block, FIT_ROWS, FIT_ROWS);
        }
        memset(t->block, 0, n * FIT_ROWS * sizeof *t->block);
        for (size_t c = 0; c < n; c++) {
                double size = 0;
                for (size_t i = 0; i <= c; i++)
                        size += t->r[i * n + c] * t->r[i * n + c];
                t->block[c * FIT_ROWS] = dc_weight(t) * t->basis[2 * c * t->grid_n];
                t->block[c * FIT_ROWS + 1 + c] = 1e-6 * sqrt(size);
        }
        fit_absorb(n, t->r, 0, NULL, t->block, FIT_ROWS, FIT_ROWS);
}

/* Adds the J^T b of one point's response `b` (row-major, complex). */
static void add_right(struct task *t, size_t k, const double complex *b)
{
        double w2 = t->weight[k] * t->weight[k], imag = t->now.kind == MODEL_Y ? 0 : 1; /* Y: the imaginary target is 0 */
        size_t elements = t->now.fit.element_n;
        for (size_t c = 0; c < t->columns; c++)
                for (size_t q = 0; q < elements; q++)
                        t->right[c * elements + q] += w2 * (t->basis[2 * c * t->grid_n + k] * creal(b[q]) +
                                                            imag * t->basis[(2 * c + 1) * t->grid_n + k] * cimag(b[q]));
}

/* x = (R^T R)^{-1} right; taken off the model times `step`. */
static void take_off(struct task *t, double step)
{
        size_t n = t->columns, e = t->now.fit.element_n, ports = t->now.ports;
        struct rational *r = &t->now.fit;
        for (size_t q = 0; q < e; q++) {
                for (size_t c = 0; c < n; c++) {
                        double sum = t->right[c * e + q];
                        for (size_t i = 0; i < c; i++)
                                sum -= t->r[i * n + c] * t->x[i * e + q];
                        t->x[c * e + q] = t->r[c * n + c] != 0 ? sum / t->r[c * n + c] : 0;
                }
                for (size_t c = n; c-- > 0;) {
                        double sum = t->x[c * e + q];
                        for (size_t j = c + 1; j < n; j++)
                                sum -= t->r[c * n + j] * t->x[j * e + q];
                        t->x[c * e + q] = t->r[c * n + c] != 0 ? sum / t->r[c * n + c] : 0;
                }
        }
        double w0 = RF_TWO_PI * t->now.hz_hi;
        for (size_t i = 0; i < ports; i++)
                for (size_t j = 0; j < ports; j++) {
                        size_t q = i * ports + j, other = j * ports + i, c = 0;
#define CHANGE(column) (step * (t->now.reciprocal ? (t->x[(column)*e + q] + t->x[(column)*e + other]) / 2 : t->x[(column)*e + q]))
                        for (size_t p = 0; p < r->pole_n; p++) {
                                bool pair = cimag(r->pole[p]) > 0;
                                r->residue[q][p] -= CMPLX(CHANGE(c), pair ? CHANGE(c + 1) : 0) * w0;
                                c += pair ? 2 : 1;
                        }
                        if (c < n)
                                r->d[q] -= CHANGE(c);
#undef CHANGE
                }
}

/* What stands beyond the limit at one grid point; false: nothing. */
static bool beyond(const struct task *t, size_t k, double margin, double complex *ret)
{
        size_t n = t->now.ports;
        double complex at[RF_FIT_ELEMENTS_MAX], v[RF_FIT_ELEMENTS_MAX];
        double value[RF_MODEL_PORTS_MAX], over[RF_MODEL_PORTS_MAX];
        bool any = false, y = t->now.kind == MODEL_Y;
        model_at(&t->now, t->hz[k], at);
        model_spectrum(t->now.kind, n, at, value, v);
        double size = model_size(n, at);
        for (size_t i = 0; i < n; i++) {
                over[i] = y ? fmin(value[i] - margin * size, 0) : fmax(value[i] - (1 - margin), 0) / value[i];
                any = any || (value[i] != 0 && over[i] != 0);
        }
        if (!any)
                return false;
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++) {
                        double complex sum = 0;
                        for (size_t l = 0; l < n; l++) {
                                double complex left = v[i * n + l]; /* Y: v diag v^H; S: S v diag v^H, since S v = u sigma */
                                if (!y) {
                                        left = 0;
                                        for (size_t u = 0; u < n; u++)
                                                left += at[i * n + u] * v[u * n + l];
                                }
                                if (over[l] != 0)
                                        sum += left * over[l] * conj(v[j * n + l]);
                        }
                        ret[i * n + j] = sum;
                }
        return true;
}

/* D and E to what passivity allows at infinite frequency. */
static void clip(struct task *t, double margin)
{
        size_t n = t->now.ports;
        for (int which = 0; which < 2; which++) {
                double *to = which ? t->now.fit.e : t->now.fit.d, value[RF_MODEL_PORTS_MAX];
                double complex at[RF_FIT_ELEMENTS_MAX], v[RF_FIT_ELEMENTS_MAX];
                bool y = t->now.kind == MODEL_Y;
                if (which && !y)
                        break;
                for (size_t i = 0; i < n * n; i++)
                        at[i] = to[i];
                model_spectrum(t->now.kind, n, at, value, v);
                for (size_t i = 0; i < n * n; i++) {
                        double complex sum = 0;
                        for (size_t l = 0; l < n; l++) {
                                double factor = y ? fmax(value[l], 0) : value[l] > 1 - margin ? (1 - margin) / value[l] : 1;
                                double complex left = v[(i / n) * n + l];
                                if (!y) {
                                        left = 0;
                                        for (size_t u = 0; u < n; u++)
                                                left += at[(i / n) * n + u] * v[u * n + l];
                                }
                                sum += left * factor * conj(v[(i % n) * n + l]);
                        }
                        to[i] = creal(sum);
                }
        }
}

static void compare(const struct task *t, struct enforcement *ret)
{
        size_t e = t->now.fit.element_n, n = 0;
        double sum = 0;
        for (size_t k = 0; k < t->grid_n; k++) {
                double complex a[RF_FIT_ELEMENTS_MAX], b[RF_FIT_ELEMENTS_MAX];
                model_s_at(t->start, t->hz[k], a);
                model_s_at(&t->now, t->hz[k], b);
                bool in = t->hz[k] >= t->now.hz_lo && t->hz[k] <= t->now.hz_hi;
                n += in;
                for (size_t q = 0; q < e; q++) {
                        double d = cabs(a[q] - b[q]);
                        if (k == 0)
                                ret->dc = fmax(ret->dc, d);
                        if (!in)
                                continue;
                        sum += d * d;
                        if (d > ret->worst) {
                                ret->worst = d;
                                ret->worst_hz = t->hz[k];
                        }
                }
        }
        ret->rms = n ? sqrt(sum / (double)(n * e)) : 0;
}

enum code rf_model_enforce(struct model *m, void *workspace, struct enforcement *ret, struct tp_error *err)
{
        memset(ret, 0, sizeof *ret);
        struct task *t = workspace;
        size_t order = rational_order(&m->fit);
        t->start = m;
        t->now = *m;
        t->order = order;
        t->columns = order + (m->kind == MODEL_Y);
        t->grid_n = model_grid(m, t->hz);
        t->basis = (double *)workspace + (sizeof *t + 63) / 64 * 8;
        t->r = t->basis + t->columns * 2 * t->grid_n;
        t->block = t->r + t->columns * t->columns;
        if ((t->block - (double *)workspace) % 2) /* blocks are read by twos */
                t->block++;
        t->right = t->block + t->columns * FIT_ROWS;
        t->x = t->right + t->columns * m->fit.element_n;
        t->rest = t->x + t->columns * m->fit.element_n;
        struct passivity p;
        enum code code = rf_model_passivity(&t->now, t->rest, &p, err);
        if (code || p.passive)
                return code;
        double first = m->kind == MODEL_Y ? -p.worst : p.worst - 1, margin = fmin(fmax(0.3 * first, 1e-6), 0.01), first_hz = p.worst_hz;
        double complex at[RF_FIT_ELEMENTS_MAX];
        for (size_t k = 0; k < t->grid_n; k++) {
                model_at(m, t->hz[k], at);
                double size = model_size(m->ports, at);
                t->weight[k] = m->kind == MODEL_Y && size > 0 ? 1 / size : 1;
        }
        make_basis(t);
        make_triangle(t);
        for (; !p.passive && ret->rounds < ROUNDS_MAX; ret->rounds++) {
                if (ret->rounds > 0 && ret->rounds % 15 == 0)
                        margin = fmin(3 * margin, 0.03);
                struct rational was = t->now.fit;
                clip(t, margin);
                memset(t->right, 0, t->columns * m->fit.element_n * sizeof *t->right);
                for (size_t k = 0; k < t->grid_n; k++) {
                        if (beyond(t, k, margin, at))
                                add_right(t, k, at);
                        if (t->hz[k] > m->hz_hi)
                                continue;
                        for (size_t q = 0; q < m->fit.element_n; q++) /* what clipping took off within the band is put back */
                                at[q] = (t->now.fit.d[q] - was.d[q]) / STEP;
                        add_right(t, k, at);
                }
                take_off(t, STEP);
                code = rf_model_passivity(&t->now, t->rest, &p, err);
                if (code)
                        return code;
        }
        compare(t, ret);
        if (!p.passive)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "the model of %zu poles is not passive: %s at %.4g GHz, and %u rounds of correction did not help; fit fewer "
                               "poles, or "
                               "leave out the frequencies where the data themselves are not passive",
                               order, m->kind == MODEL_Y ? "its conductance is negative" : "it reflects and transmits more than it gets",
                               first_hz / 1e9, ret->rounds);
        if (!(ret->dc <= DC_MOVES_MAX))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "the model of %zu poles becomes passive only if S at 0 Hz moves by %.2g (allowed: %.0e); fit fewer poles, "
                               "or look at "
                               "the data's lowest frequencies",
                               order, ret->dc, DC_MOVES_MAX);
        *m = t->now;
        return CODE_OK;
}

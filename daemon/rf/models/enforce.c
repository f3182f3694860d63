/* enforce.c: a model that gives out energy is changed until it does not (model.h).
 *
 * Idea        Residues and D change by x, as little as possible in the band: min x^T G x, subject to sigma + Re(u^H dS v) <= 1 at each peak
 * of a singular value that stands above its limit or near it, and again until the eigenvalues know no violation: the residue perturbation
 * of Gustavsen & Semlyen, IEEE Trans. PWRD 16 (2001) 97, and Gustavsen, PWRD 23 (2008) 2278.  Y: eigenvalues of the Hermitian part
 * likewise.
 *
 * Programme   Few inequalities, many unknowns, G block diagonal: solved in the dual by coordinate descent, each multiplier at least 0.
 *
 * 0 Hz        A heavy row of G holds it.  If S there is itself above 1, by what the noise of the lowest frequencies did to it, exactly that
 * is taken off.
 *
 * Rejected    Fitting what stands above the limit by the model's own poles and taking it off: far above the band it does not converge, and
 * it pulls down low-loss lines everywhere. */
#include "rf/models/fit_own.h"
#include "rf/models/model_own.h"
#include <math.h>
#include <string.h>

#define ROUNDS_MAX 60
#define DC_MOVES_MAX 1e-4
#define PEAKS_MAX 128
#define NEAR 0.1     /* peaks that lie lower need no watching */
#define OUTSIDE 1e-3 /* weight of G outside the band of the data */
#define SPREAD 12    /* points at which what stands above its limit is watched, maximum or not */
#define SWEEPS 400

struct peak {
        double hz;  /* infinite: D alone */
        double gap; /* limit minus value: negative is a violation */
        double complex u[RF_MODEL_PORTS_MAX], v[RF_MODEL_PORTS_MAX];
};
struct task {
        const struct model *start;
        struct model now;
        size_t columns, unknowns, grid_n;                                        /* columns: basis and 1, of each element */
        size_t element_n, row[RF_FIT_ELEMENTS_MAX], column[RF_FIT_ELEMENTS_MAX]; /* the free elements: the upper triangle when reciprocal */
        double hz[MODEL_GRID_MAX], weight[MODEL_GRID_MAX];
        double *triangle, *block, *a, *ga, *h; /* of G; rows coming in; constraints and G^{-1} of them; their products */
        size_t peak_n, held_n;                 /* the first held_n, of 0 Hz and infinity, are never given up for others */
        struct peak peak[PEAKS_MAX];
        double multiplier[PEAKS_MAX];
        struct passivity p;
        void *rest;
};

size_t rf_model_enforce_bytes(size_t ports, size_t order)
{
        size_t c = order + 1, unknowns = c * ports * ports;
        return sizeof(struct task) + 128 + (c * c + c * FIT_ROWS + 2 * PEAKS_MAX * unknowns + PEAKS_MAX * PEAKS_MAX) * sizeof(double) +
               rf_model_passivity_bytes(ports, order);
}

/* The basis at one frequency (1 included): what one unit of each unknown of an element adds to it. */
static void basis_at(const struct task *t, double hz, double complex *to)
{
        const struct rational *r = &t->now.fit;
        size_t c = 0;
        double complex s = CMPLX(0, hz / t->now.hz_hi);
        for (size_t i = 0; i < r->pole_n; i++) {
                bool pair = cimag(r->pole[i]) > 0;
                double complex p = r->pole[i] / (RF_TWO_PI * t->now.hz_hi), u = isfinite(hz) ? 1 / (s - p) : 0,
                               v = isfinite(hz) ? 1 / (s - conj(p)) : 0;
                to[c++] = pair ? u + v : u;
                if (pair)
                        to[c++] = CMPLX(0, 1) * (u - v);
        }
        to[c] = 1;
}

/* The triangle of the weighted basis, the row of 0 Hz, and a little of every column by itself. */
static void make_triangle(struct task *t)
{
        size_t n = t->columns;
        double complex z[FIT_OWN_MAX];
        double dc[FIT_OWN_MAX] = {0};
        memset(t->triangle, 0, n * n * sizeof *t->triangle);
        for (size_t first = 0; first < t->grid_n; first += FIT_BLOCK) {
                for (size_t k = 0; k < FIT_BLOCK; k++) {
                        bool in = first + k < t->grid_n;
                        double w = in ? t->weight[first + k] : 0;
                        if (in)
                                basis_at(t, t->hz[first + k], z);
                        for (size_t c = 0; c < n; c++) {
                                t->block[c * FIT_ROWS + k] = in ? w * creal(z[c]) : 0;
                                t->block[c * FIT_ROWS + FIT_BLOCK + k] = in ? w * cimag(z[c]) : 0;
                        }
                }
                squares_absorb(n, t->triangle, 0, NULL, t->block, FIT_ROWS, FIT_ROWS);
        }
        basis_at(t, 0, z);
        for (size_t c = 0; c < n; c++)
                dc[c] = 300 * sqrt((double)t->grid_n) * t->weight[0] * creal(z[c]);
        memset(t->block, 0, n * FIT_ROWS * sizeof *t->block);
        for (size_t c = 0; c < n; c++) {
                double size = 0;
                for (size_t i = 0; i <= c; i++)
                        size += t->triangle[i * n + c] * t->triangle[i * n + c];
                t->block[c * FIT_ROWS] = dc[c];
                t->block[c * FIT_ROWS + 1 + c] = 1e-7 * sqrt(size);
        }
        squares_absorb(n, t->triangle, 0, NULL, t->block, FIT_ROWS, FIT_ROWS);
}

/* x := (R^T R)^{-1} x */
static void solve(const struct task *t, double *x)
{
        size_t n = t->columns;
        for (size_t c = 0; c < n; c++) {
                for (size_t i = 0; i < c; i++)
                        x[c] -= t->triangle[i * n + c] * x[i];
                x[c] = t->triangle[c * n + c] != 0 ? x[c] / t->triangle[c * n + c] : 0;
        }
        for (size_t c = n; c-- > 0;) {
                for (size_t j = c + 1; j < n; j++)
                        x[c] -= t->triangle[c * n + j] * x[j];
                x[c] = t->triangle[c * n + c] != 0 ? x[c] / t->triangle[c * n + c] : 0;
        }
}

/* Values (falling) and both vectors of the model at hz; infinite: D.  Y: values are minus the eigenvalues over |Y| + 1/z, falling. */
static size_t spectrum(const struct task *t, double hz, double *value, struct peak *to)
{
        size_t n = t->now.ports;
        double complex at[RF_FIT_ELEMENTS_MAX], v[RF_FIT_ELEMENTS_MAX];
        if (isfinite(hz))
                model_at(&t->now, hz, at);
        else
                for (size_t i = 0; i < n * n; i++)
                        at[i] = t->now.fit.d[i];
        double raw[RF_MODEL_PORTS_MAX];
        model_spectrum(t->now.kind, n, at, raw, v);
        double size = model_size(n, at) + 1 / t->now.z_ohm;
        for (size_t k = 0; k < n; k++) {
                size_t i = t->now.kind == MODEL_Y ? n - 1 - k : k;
                value[k] = t->now.kind == MODEL_Y ? -raw[i] / size : raw[i];
                if (!to)
                        continue;
                to[k].hz = hz;
                for (size_t row = 0; row < n; row++) {
                        double complex sum = 0;
                        for (size_t j = 0; j < n; j++)
                                sum += at[row * n + j] * v[j * n + i];
                        to[k].v[row] = v[row * n + i];
                        to[k].u[row] = t->now.kind == MODEL_Y ? -v[row * n + i] / size : raw[i] > 0 ? sum / raw[i] : 0;
                }
        }
        return n;
}

static double limit_of(const struct task *t) { return t->now.kind == MODEL_Y ? 0 : 1; }

/* Keeps the PEAKS_MAX with the least gap, and those that are held. */
static void keep(struct task *t, const struct peak *p)
{
        size_t i = t->peak_n;
        if (i == PEAKS_MAX && !(p->gap < t->peak[i - 1].gap))
                return;
        i = i < PEAKS_MAX ? t->peak_n++ : i - 1;
        for (; i > t->held_n && t->peak[i - 1].gap > p->gap; i--)
                t->peak[i] = t->peak[i - 1];
        t->peak[i] = *p;
}
static void watch(struct task *t, double hz, size_t which)
{
        double value[RF_MODEL_PORTS_MAX];
        struct peak at[RF_MODEL_PORTS_MAX];
        size_t n = spectrum(t, hz, value, at);
        for (size_t i = 0; i < n; i++) {
                at[i].gap = limit_of(t) - value[i];
                if ((which == i || which >= n) && at[i].gap < (t->now.kind == MODEL_Y ? 1e-3 : NEAR))
                        keep(t, &at[i]);
        }
}

/* Local maxima of each value along the grid, the worst of each band of the eigenvalue test, 0 Hz and infinity.  A value that stands above
   its limit all along has no maxima but those of rounding, and each of them is watched somewhere else in every round: so it is watched at
   points spread over the grid too. */
static void find_peaks(struct task *t)
{
        double was[2][RF_MODEL_PORTS_MAX] = {{0}}, now[RF_MODEL_PORTS_MAX];
        size_t n = t->now.ports, every = t->grid_n / SPREAD + 1;
        t->peak_n = t->held_n = 0;
        watch(t, 0, n);
        watch(t, INFINITY, n);
        t->held_n = t->peak_n;
        for (size_t i = 0; i < t->p.band_n; i++)
                watch(t, t->p.band[i].worst_hz, n);
        for (size_t k = 0; k < t->grid_n; k++) {
                spectrum(t, t->hz[k], now, NULL);
                for (size_t i = 0; i < n; i++) {
                        double step = 1e-9 * fabs(was[1][i]);
                        if (k > 1 && was[1][i] >= was[0][i] && was[1][i] > now[i] && was[1][i] > fmin(was[0][i], now[i]) + step)
                                watch(t, t->hz[k - 1], i);
                        if (k % every == 0 && now[i] > limit_of(t))
                                watch(t, t->hz[k], i);
                }
                memcpy(was[0], was[1], sizeof was[0]);
                memcpy(was[1], now, sizeof was[1]);
        }
}

/* Rows of the constraints, G^{-1} of them, and their products. */
static void make_programme(struct task *t)
{
        size_t m = t->peak_n, c = t->columns;
        double complex z[FIT_OWN_MAX];
        for (size_t k = 0; k < m; k++) {
                const struct peak *p = &t->peak[k];
                basis_at(t, p->hz, z);
                for (size_t q = 0; q < t->element_n; q++) {
                        size_t i = t->row[q], j = t->column[q];
                        bool twice = t->now.reciprocal && i != j;
                        double complex uv = conj(p->u[i]) * p->v[j] + (twice ? conj(p->u[j]) * p->v[i] : 0);
                        double *a = t->a + k * t->unknowns + q * c, *g = t->ga + k * t->unknowns + q * c;
                        for (size_t n = 0; n < c; n++)
                                g[n] = a[n] = creal(uv * z[n]);
                        solve(t, g);
                        for (size_t n = 0; n < c && twice; n++) /* it counts twice in G */
                                g[n] /= 2;
                }
        }
        for (size_t k = 0; k < m; k++)
                for (size_t l = 0; l <= k; l++) {
                        double sum = 0;
                        for (size_t n = 0; n < t->unknowns; n++)
                                sum += t->a[k * t->unknowns + n] * t->ga[l * t->unknowns + n];
                        t->h[k * PEAKS_MAX + l] = t->h[l * PEAKS_MAX + k] = sum;
                }
}

static void solve_programme(struct task *t)
{
        size_t m = t->peak_n;
        memset(t->multiplier, 0, sizeof t->multiplier);
        for (int sweep = 0; sweep < SWEEPS; sweep++) {
                double moved = 0, size = 0;
                for (size_t k = 0; k < m; k++) {
                        double gap = t->peak[k].gap, must = gap < 0 ? -gap + fmin(1e-6, -0.1 * gap) : -gap, sum = 0,
                               diagonal = t->h[k * PEAKS_MAX + k];
                        if (!(diagonal > 0))
                                continue;
                        for (size_t l = 0; l < m; l++)
                                sum += t->h[k * PEAKS_MAX + l] * t->multiplier[l];
                        double is = fmax(0, t->multiplier[k] + (must - sum) / diagonal);
                        moved = fmax(moved, fabs(is - t->multiplier[k]) * diagonal);
                        size = fmax(size, fabs(must));
                        t->multiplier[k] = is;
                }
                if (moved < 1e-12 * size)
                        break;
        }
}

static void apply(struct task *t)
{
        struct rational *r = &t->now.fit;
        size_t ports = t->now.ports, c = t->columns;
        double w0 = RF_TWO_PI * t->now.hz_hi;
        for (size_t q = 0; q < t->element_n; q++) {
                double x[FIT_OWN_MAX] = {0};
                for (size_t k = 0; k < t->peak_n; k++)
                        if (t->multiplier[k] > 0)
                                for (size_t n = 0; n < c; n++)
                                        x[n] -= t->multiplier[k] * t->ga[k * t->unknowns + q * c + n];
                size_t here = t->row[q] * ports + t->column[q], there = t->now.reciprocal ? t->column[q] * ports + t->row[q] : here, n = 0;
                for (size_t p = 0; p < r->pole_n; p++) {
                        bool pair = cimag(r->pole[p]) > 0;
                        r->residue[here][p] += CMPLX(x[n], pair ? x[n + 1] : 0) * w0;
                        r->residue[there][p] = r->residue[here][p];
                        n += pair ? 2 : 1;
                }
                r->d[here] += x[n];
                r->d[there] = r->d[here];
        }
}

/* Y: E to what passivity allows at infinite frequency: its negative eigenvalues to 0. */
static void clip_e(struct task *t)
{
        size_t n = t->now.ports;
        double value[RF_MODEL_PORTS_MAX];
        double complex at[RF_FIT_ELEMENTS_MAX], v[RF_FIT_ELEMENTS_MAX];
        for (size_t i = 0; i < n * n; i++)
                at[i] = t->now.fit.e[i];
        model_spectrum(MODEL_Y, n, at, value, v);
        if (t->now.kind != MODEL_Y || value[n - 1] >= 0)
                return;
        for (size_t i = 0; i < n * n; i++) {
                double complex sum = 0;
                for (size_t l = 0; l < n; l++)
                        sum += v[(i / n) * n + l] * fmax(value[l], 0) * conj(v[(i % n) * n + l]);
                t->now.fit.e[i] = creal(sum);
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

static void lay_out(struct task *t, struct model *m, void *workspace)
{
        t->start = m;
        t->now = *m;
        t->columns = rational_order(&m->fit) + 1;
        t->element_n = 0;
        for (size_t i = 0; i < m->ports; i++)
                for (size_t j = m->reciprocal ? i : 0; j < m->ports; j++) {
                        t->row[t->element_n] = i;
                        t->column[t->element_n++] = j;
                }
        t->unknowns = t->columns * t->element_n;
        t->block = (double *)workspace + (sizeof *t + 63) / 64 * 8; /* read by twos: first, where it is aligned */
        t->triangle = t->block + t->columns * FIT_ROWS;
        t->a = t->triangle + t->columns * t->columns;
        t->ga = t->a + PEAKS_MAX * t->unknowns;
        t->h = t->ga + PEAKS_MAX * t->unknowns;
        t->rest = t->h + PEAKS_MAX * PEAKS_MAX;
        t->grid_n = model_grid(m, t->hz);
        for (size_t k = 0; k < t->grid_n; k++) {
                double complex at[RF_FIT_ELEMENTS_MAX];
                model_at(m, t->hz[k], at);
                double size = m->kind == MODEL_Y ? model_size(m->ports, at) + 1e-3 / m->z_ohm : 1;
                t->weight[k] = (t->hz[k] <= m->hz_hi ? 1 : OUTSIDE) / size;
        }
}

enum code rf_model_enforce(struct model *m, void *workspace, struct enforcement *ret, struct tp_error *err)
{
        memset(ret, 0, sizeof *ret);
        struct task *t = workspace;
        lay_out(t, m, workspace);
        enum code code = rf_model_passivity(&t->now, t->rest, &t->p, err);
        if (code || t->p.passive)
                return code;
        double first_hz = t->p.worst_hz, value[RF_MODEL_PORTS_MAX];
        spectrum(t, 0, value, NULL);
        double dc_must = fmax(0, value[0] - limit_of(t)); /* S moves by as much; Y: by about twice */
        make_triangle(t);
        clip_e(t);
        for (; !t->p.passive && ret->rounds < ROUNDS_MAX; ret->rounds++) {
                find_peaks(t);
                make_programme(t);
                solve_programme(t);
                apply(t);
                code = rf_model_passivity(&t->now, t->rest, &t->p, err);
                if (code)
                        return code;
        }
        compare(t, ret);
        if (!t->p.passive)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "the model of %zu poles is not passive: %s at %.4g GHz, and %u rounds of correction did not help; fit fewer "
                               "poles, leave "
                               "out where the data themselves are not passive, or say that the device is active",
                               t->columns - 1, m->kind == MODEL_Y ? "its conductance is negative" : "it gives out more than it gets",
                               first_hz / 1e9, ret->rounds);
        if (!(ret->dc <= DC_MOVES_MAX + 2 * dc_must))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "the model of %zu poles becomes passive only if S at 0 Hz moves by %.2g (allowed: %.0e); fit fewer poles, "
                               "or look at "
                               "the data's lowest frequencies",
                               t->columns - 1, ret->dc, DC_MOVES_MAX);
        *m = t->now;
        return CODE_OK;
}

/* passivity_matrix.c: a model as a state space, and the matrix of the Hamiltonian test (passivity_matrix.h).
 * Sources     Hamiltonian test: Boyd, Balakrishnan & Kabamba, Math. Control Signals Syst. 2 (1989) 207; half size for symmetric models:
 *             Gustavsen & Semlyen, IEEE Trans. MTT 57 (2009).
 * State space A block diagonal, one copy of each pole per input column; a pair is [[re, im], [-im, re]] with b = [2, 0], c = [Re r, Im r];
 *             time scaled by the top of the band. */
#include "rf/models/passivity_matrix.h"
#include "rf/numbers/small.h"
#include <string.h>

void state_space_of(const struct model *m, double w0, struct state_space *s)
{
        const struct rational *r = &m->fit;
        size_t n = s->n, k = 0, p = m->ports;
        memset(s->a, 0, n * n * sizeof *s->a);
        memset(s->b, 0, n * p * sizeof *s->b);
        memset(s->c, 0, n * p * sizeof *s->c);
        for (size_t i = 0; i < r->pole_n; i++)
                for (size_t j = 0; j < p; j++) {
                        double re = creal(r->pole[i]) / w0, im = cimag(r->pole[i]) / w0;
                        bool pair = im > 0;
                        s->a[k * n + k] = re;
                        s->b[k * p + j] = pair ? 2 : 1;
                        for (size_t row = 0; row < p; row++)
                                s->c[row * n + k] = creal(r->residue[row * p + j][i]) / w0;
                        if (pair) {
                                s->a[k * n + k + 1] = im;
                                s->a[(k + 1) * n + k] = -im;
                                s->a[(k + 1) * n + k + 1] = re;
                                for (size_t row = 0; row < p; row++)
                                        s->c[row * n + k + 1] = cimag(r->residue[row * p + j][i]) / w0;
                                k++;
                        }
                        k++;
                }
        memcpy(s->d, r->d, p * p * sizeof *s->d);
}

/* inverse of a real p x p matrix; false: singular. */
static bool invert(size_t p, const double *a, double *ret)
{
        double complex m[RF_FIT_ELEMENTS_MAX], b[RF_MODEL_PORTS_MAX], x[RF_MODEL_PORTS_MAX];
        for (size_t i = 0; i < p * p; i++)
                m[i] = a[i];
        for (size_t j = 0; j < p; j++) {
                for (size_t i = 0; i < p; i++)
                        b[i] = i == j;
                if (!small_solve(p, m, b, x))
                        return false;
                for (size_t i = 0; i < p; i++)
                        ret[i * p + j] = creal(x[i]);
        }
        return true;
}

/* to (n x n, row stride ld) += sign * L K R, L: n x p or transposed (p x n), K: p x p, R: p x n or transposed (n x p) */
static void add_product(size_t n, size_t p, double sign, const double *l, bool l_t, const double *k, const double *r, bool r_t, double *to,
                        size_t ld)
{
        for (size_t i = 0; i < n; i++) {
                double row[RF_MODEL_PORTS_MAX] = {0};
                for (size_t u = 0; u < p; u++)
                        for (size_t v = 0; v < p; v++)
                                row[v] += (l_t ? l[u * n + i] : l[i * p + u]) * k[u * p + v];
                for (size_t j = 0; j < n; j++) {
                        double sum = 0;
                        for (size_t v = 0; v < p; v++)
                                sum += row[v] * (r_t ? r[j * p + v] : r[v * n + j]);
                        to[i * ld + j] += sign * sum;
                }
        }
}

bool state_space_half_matrix(const struct model *m, const struct state_space *s, double lift, double limit, double *spare, double *to)
{
        size_t n = s->n, p = s->ports;
        double k[RF_FIT_ELEMENTS_MAX], inv[RF_FIT_ELEMENTS_MAX], *left = spare, *right = spare + n * n;
        if (m->kind == MODEL_Y) { /* (B D^{-1} C - A) A */
                for (size_t i = 0; i < p * p; i++)
                        k[i] = s->d[i] + (i % (p + 1) == 0 ? lift : 0);
                if (!invert(p, k, inv))
                        return false;
                for (size_t i = 0; i < n * n; i++)
                        left[i] = -s->a[i];
                add_product(n, p, 1, s->b, false, inv, s->c, false, left, n);
                memcpy(right, s->a, n * n * sizeof *right);
        } else { /* (A - B (D - limit)^{-1} C)(A - B (D + limit)^{-1} C), limit: 1 */
                for (int side = 0; side < 2; side++) {
                        double *f = side ? right : left;
                        for (size_t i = 0; i < p * p; i++)
                                k[i] = s->d[i] + (i % (p + 1) == 0 ? (side ? limit : -limit) : 0);
                        if (!invert(p, k, inv))
                                return false;
                        memcpy(f, s->a, n * n * sizeof *f);
                        add_product(n, p, -1, s->b, false, inv, s->c, false, f, n);
                }
        }
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++) {
                        double sum = 0;
                        for (size_t v = 0; v < n; v++)
                                sum += left[i * n + v] * right[v * n + j];
                        to[i * n + j] = sum;
                }
        return true;
}

bool state_space_full_matrix(const struct model *m, const struct state_space *s, double lift, double limit, double *to)
{
        size_t n = s->n, p = s->ports, ld = 2 * n;
        double r[RF_FIT_ELEMENTS_MAX], q[RF_FIT_ELEMENTS_MAX], ri[RF_FIT_ELEMENTS_MAX], qi[RF_FIT_ELEMENTS_MAX], rd[RF_FIT_ELEMENTS_MAX],
                dr[RF_FIT_ELEMENTS_MAX];
        memset(to, 0, ld * ld * sizeof *to);
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++) {
                        to[i * ld + j] = s->a[i * n + j];
                        to[(n + i) * ld + n + j] = -s->a[j * n + i];
                }
        for (size_t i = 0; i < p; i++)
                for (size_t j = 0; j < p; j++) {
                        double x = i == j ? -limit * limit : 0, y = x;
                        for (size_t k = 0; k < p; k++) {
                                x += s->d[k * p + i] * s->d[k * p + j];
                                y += s->d[i * p + k] * s->d[j * p + k];
                        }
                        r[i * p + j] = m->kind == MODEL_Y ? s->d[i * p + j] + s->d[j * p + i] + (i == j ? 2 * lift : 0) : x;
                        q[i * p + j] = y;
                }
        if (!invert(p, r, ri) || (m->kind != MODEL_Y && !invert(p, q, qi)))
                return false;
        if (m->kind == MODEL_Y) {
                add_product(n, p, -1, s->b, false, ri, s->c, false, to, ld);
                add_product(n, p, -1, s->b, false, ri, s->b, true, to + n, ld);
                add_product(n, p, 1, s->c, true, ri, s->c, false, to + n * ld, ld);
                add_product(n, p, 1, s->c, true, ri, s->b, true, to + n * ld + n, ld);
                return true;
        }
        for (size_t i = 0; i < p; i++)
                for (size_t j = 0; j < p; j++) {
                        rd[i * p + j] = dr[i * p + j] = 0;
                        for (size_t k = 0; k < p; k++) {
                                rd[i * p + j] += ri[i * p + k] * s->d[j * p + k]; /* R^{-1} D^T */
                                dr[i * p + j] += s->d[i * p + k] * ri[k * p + j]; /* D R^{-1} */
                        }
                }
        add_product(n, p, -1, s->b, false, rd, s->c, false, to, ld);
        add_product(n, p, -1, s->b, false, ri, s->b, true, to + n, ld);
        add_product(n, p, limit * limit, s->c, true, qi, s->c, false, to + n * ld, ld);
        add_product(n, p, 1, s->c, true, dr, s->b, true, to + n * ld + n, ld);
        return true;
}

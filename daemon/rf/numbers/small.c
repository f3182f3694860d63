/* small.c: elimination, Householder least squares, 2x2 eigenproblem (small.h). */
#include "rf/numbers/small.h"
#include <math.h>

bool small_solve(size_t n, const double complex *a, const double complex *b, double complex *x)
{
        double complex m[SMALL_MAX][SMALL_MAX + 1];
        if (n == 0 || n > SMALL_MAX)
                return false;
        for (size_t i = 0; i < n; i++) {
                for (size_t j = 0; j < n; j++)
                        m[i][j] = a[i * n + j];
                m[i][n] = b[i];
        }
        for (size_t k = 0; k < n; k++) {
                size_t p = k;
                for (size_t i = k + 1; i < n; i++)
                        if (cabs(m[i][k]) > cabs(m[p][k]))
                                p = i;
                if (!(cabs(m[p][k]) > 0))
                        return false;
                for (size_t j = k; j <= n && p != k; j++) {
                        double complex t = m[k][j];
                        m[k][j] = m[p][j];
                        m[p][j] = t;
                }
                for (size_t i = k + 1; i < n; i++) {
                        double complex f = m[i][k] / m[k][k];
                        for (size_t j = k; j <= n; j++)
                                m[i][j] -= f * m[k][j];
                }
        }
        for (size_t k = n; k-- > 0;) {
                double complex sum = m[k][n];
                for (size_t j = k + 1; j < n; j++)
                        sum -= m[k][j] * x[j];
                x[k] = sum / m[k][k];
        }
        return true;
}

/* |R|_F |R^{-1}|_F of the upper triangle. */
static double triangle_condition(size_t n, double complex r[][SMALL_MAX + 1])
{
        double size = 0, inverse = 0;
        for (size_t c = 0; c < n; c++) {
                double complex x[SMALL_MAX]; /* column c of R^{-1} */
                for (size_t i = c + 1; i-- > 0;) {
                        double complex sum = i == c;
                        for (size_t j = i + 1; j <= c; j++)
                                sum -= r[i][j] * x[j];
                        x[i] = sum / r[i][i];
                        inverse += creal(x[i] * conj(x[i]));
                        size += creal(r[i][c] * conj(r[i][c]));
                }
        }
        return sqrt(size) * sqrt(inverse);
}

bool small_least_squares(size_t m, size_t n, const double complex *a, const double complex *b, double complex *x, double *ret_condition)
{
        double complex r[4 * SMALL_MAX][SMALL_MAX + 1];
        if (n == 0 || n > SMALL_MAX || m < n || m > 4 * SMALL_MAX)
                return false;
        for (size_t i = 0; i < m; i++) {
                for (size_t j = 0; j < n; j++)
                        r[i][j] = a[i * n + j];
                r[i][n] = b[i];
        }
        for (size_t k = 0; k < n; k++) {
                double norm2 = 0;
                for (size_t i = k; i < m; i++)
                        norm2 += creal(r[i][k] * conj(r[i][k]));
                double norm = sqrt(norm2), head = cabs(r[k][k]);
                if (!(norm > 0))
                        return false;
                if (k + 1 == m) /* one row left: nothing to reflect */
                        break;
                /* v = x + phase(x_k) |x| e_k; H = 1 - 2 v v^H / |v|^2 */
                double complex phase = head > 0 ? r[k][k] / head : 1, v[4 * SMALL_MAX];
                for (size_t i = k; i < m; i++)
                        v[i] = r[i][k];
                v[k] += phase * norm;
                double v2 = 2 * (norm2 + head * norm);
                for (size_t j = k; j <= n; j++) {
                        double complex dot = 0;
                        for (size_t i = k; i < m; i++)
                                dot += conj(v[i]) * r[i][j];
                        dot *= 2 / v2;
                        for (size_t i = k; i < m; i++)
                                r[i][j] -= dot * v[i];
                }
        }
        for (size_t k = 0; k < n; k++)
                if (!(cabs(r[k][k]) > 0))
                        return false;
        for (size_t k = n; k-- > 0;) {
                double complex sum = r[k][n];
                for (size_t j = k + 1; j < n; j++)
                        sum -= r[k][j] * x[j];
                x[k] = sum / r[k][k];
        }
        if (ret_condition)
                *ret_condition = triangle_condition(n, r);
        return true;
}

void small_eigen2(struct m2 a, double complex lambda[2], double complex vector[2][2])
{
        /* lambda = mean +- root; the mean is split off so that nearly equal eigenvalues keep their difference. */
        double complex half = (a.e[0] - a.e[3]) / 2, mean = (a.e[0] + a.e[3]) / 2, root = csqrt(half * half + a.e[1] * a.e[2]);
        for (int k = 0; k < 2; k++) {
                double complex d = k ? -root : root; /* (half - d, a12; a21, -half - d) v = 0: take the larger row */
                lambda[k] = mean + d;
                double complex p = half - d, q = -half - d;
                if (cabs(p) + cabs(a.e[1]) >= cabs(q) + cabs(a.e[2])) {
                        vector[k][0] = a.e[1];
                        vector[k][1] = -p;
                } else {
                        vector[k][0] = -q;
                        vector[k][1] = a.e[2];
                }
        }
}

/* eigen.c: the QR algorithm for real matrices, Jacobi's for small Hermitian ones (eigen.h). */
#include "rf/numbers/eigen.h"
#include <float.h>
#include <math.h>

/* Scales rows against columns by powers of two until they are alike: exact, and small eigenvalues keep their digits. */
static void balance(size_t n, double *a)
{
        for (bool again = true; again;) {
                again = false;
                for (size_t i = 0; i < n; i++) {
                        double row = 0, column = 0, f = 1;
                        for (size_t j = 0; j < n; j++)
                                if (j != i) {
                                        column += fabs(a[j * n + i]);
                                        row += fabs(a[i * n + j]);
                                }
                        if (!(column > 0 && row > 0))
                                continue;
                        double sum = column + row, c = column;
                        for (; c < row / 2 && f < 0x1p500; c *= 4)
                                f *= 2;
                        for (; c >= row * 2 && f > 0x1p-500; c /= 4)
                                f /= 2;
                        if ((c + row) / f >= 0.95 * sum)
                                continue;
                        again = true;
                        for (size_t j = 0; j < n; j++)
                                a[i * n + j] /= f;
                        for (size_t j = 0; j < n; j++)
                                a[j * n + i] *= f;
                }
        }
}

/* a := H a H with H = I - v v^T 2/|v|^2 that clears column k below the subdiagonal; v is kept in that column while in use. */
static void hessenberg(size_t n, double *a)
{
        for (size_t k = 0; k + 2 < n; k++) {
                double norm2 = 0, tail = 0;
                for (size_t i = k + 1; i < n; i++) {
                        norm2 += a[i * n + k] * a[i * n + k];
                        if (i > k + 1)
                                tail += fabs(a[i * n + k]);
                }
                if (!(tail > 0))
                        continue;
                double head = a[(k + 1) * n + k], norm = copysign(sqrt(norm2), head), v0 = head + norm, scale = 1 / (norm * v0);
                a[(k + 1) * n + k] = v0;
                for (size_t j = k + 1; j < n; j++) {
                        double dot = 0;
                        for (size_t i = k + 1; i < n; i++)
                                dot += a[i * n + k] * a[i * n + j];
                        dot *= scale;
                        for (size_t i = k + 1; i < n; i++)
                                a[i * n + j] -= dot * a[i * n + k];
                }
                for (size_t i = 0; i < n; i++) {
                        double dot = 0;
                        for (size_t j = k + 1; j < n; j++)
                                dot += a[i * n + j] * a[j * n + k];
                        dot *= scale;
                        for (size_t j = k + 1; j < n; j++)
                                a[i * n + j] -= dot * a[j * n + k];
                }
                a[(k + 1) * n + k] = -norm;
                for (size_t i = k + 2; i < n; i++)
                        a[i * n + k] = 0;
        }
}

/* One double-shifted step on rows and columns low … high; x + y and x y - w are sum and product of the shifts' 2x2 block. */
static void francis_step(size_t n, double *a, size_t low, size_t high, double x, double y, double w)
{
#define A(i, j) a[(i)*n + (j)]
        double p = 0, q = 0, r = 0;
        size_t m = high - 2;
        for (;; m--) { /* where two small subdiagonals follow each other the step may begin */
                double z = A(m, m), dx = x - z, dy = y - z;
                p = (dx * dy - w) / A(m + 1, m) + A(m, m + 1);
                q = A(m + 1, m + 1) - z - dx - dy;
                r = A(m + 2, m + 1);
                double size = fabs(p) + fabs(q) + fabs(r);
                if (size > 0) {
                        p /= size;
                        q /= size;
                        r /= size;
                }
                if (m == low)
                        break;
                double left = fabs(A(m, m - 1)) * (fabs(q) + fabs(r));
                double right = fabs(p) * (fabs(A(m - 1, m - 1)) + fabs(z) + fabs(A(m + 1, m + 1)));
                if (left <= DBL_EPSILON * right)
                        break;
        }
        for (size_t i = m + 2; i <= high; i++) {
                A(i, i - 2) = 0;
                if (i > m + 2)
                        A(i, i - 3) = 0;
        }
        for (size_t k = m; k < high; k++) { /* the bulge is chased down, one reflection of three (at the end two) rows at a time */
                bool three = k + 1 < high;
                double size = 1;
                if (k > m) {
                        p = A(k, k - 1);
                        q = A(k + 1, k - 1);
                        r = three ? A(k + 2, k - 1) : 0;
                        size = fabs(p) + fabs(q) + fabs(r);
                        if (!(size > 0))
                                continue;
                        p /= size;
                        q /= size;
                        r /= size;
                }
                double s = copysign(sqrt(p * p + q * q + r * r), p);
                if (!(fabs(s) > 0))
                        continue;
                if (k > m)
                        A(k, k - 1) = -s * size;
                else if (m > low)
                        A(k, k - 1) = -A(k, k - 1);
                p += s;
                double u0 = p / s, u1 = q / s, u2 = r / s, v1 = q / p, v2 = r / p;
                for (size_t j = k; j <= high; j++) {
                        double dot = A(k, j) + v1 * A(k + 1, j) + (three ? v2 * A(k + 2, j) : 0);
                        A(k, j) -= dot * u0;
                        A(k + 1, j) -= dot * u1;
                        if (three)
                                A(k + 2, j) -= dot * u2;
                }
                size_t last = k + 3 < high ? k + 3 : high;
                for (size_t i = low; i <= last; i++) {
                        double dot = u0 * A(i, k) + u1 * A(i, k + 1) + (three ? u2 * A(i, k + 2) : 0);
                        A(i, k) -= dot;
                        A(i, k + 1) -= dot * v1;
                        if (three)
                                A(i, k + 2) -= dot * v2;
                }
        }
}

bool rf_eigenvalues(size_t n, double *a, double *re, double *im)
{
        double size = 0;
        for (size_t i = 0; i < n * n; i++)
                size += fabs(a[i]);
        if (!isfinite(size))
                return false;
        balance(n, a);
        hessenberg(n, a);
        double shift = 0;
        for (size_t end = n, steps = 0; end > 0;) {
                size_t high = end - 1, low = high;
                for (; low > 0; low--) {
                        double near = fabs(A(low - 1, low - 1)) + fabs(A(low, low));
                        if (fabs(A(low, low - 1)) <= DBL_EPSILON * (near > 0 ? near : size))
                                break;
                }
                double x = A(high, high);
                if (low == high) {
                        re[high] = x + shift;
                        im[high] = 0;
                        end--;
                        steps = 0;
                        continue;
                }
                double y = A(high - 1, high - 1), w = A(high, high - 1) * A(high - 1, high);
                if (low + 1 == high) {
                        double p = (y - x) / 2, q = p * p + w, z = sqrt(fabs(q));
                        x += shift;
                        if (q >= 0) {
                                z = p + copysign(z, p);
                                re[high - 1] = x + z;
                                re[high] = z != 0 ? x - w / z : x;
                                im[high - 1] = im[high] = 0;
                        } else {
                                re[high - 1] = re[high] = x + p;
                                im[high - 1] = z;
                                im[high] = -z;
                        }
                        end -= 2;
                        steps = 0;
                        continue;
                }
                if (steps == 60)
                        return false;
                if (steps % 10 == 9) { /* a shift out of order breaks cycles */
                        shift += x;
                        for (size_t i = 0; i <= high; i++)
                                A(i, i) -= x;
                        double s = fabs(A(high, high - 1)) + fabs(A(high - 1, high - 2));
                        x = y = 0.75 * s;
                        w = -0.4375 * s * s;
                }
                steps++;
                francis_step(n, a, low, high, x, y, w);
        }
        return true;
#undef A
}

void rf_hermitian(size_t n, const double complex *a, double *value, double complex *vector)
{
        double complex m[RF_HERMITIAN_MAX][RF_HERMITIAN_MAX];
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++) {
                        m[i][j] = (a[i * n + j] + conj(a[j * n + i])) / 2;
                        vector[i * n + j] = i == j;
                }
        for (int sweep = 0; sweep < 12; sweep++) {
                double off = 0, all = 0;
                for (size_t i = 0; i < n; i++)
                        for (size_t j = 0; j < n; j++) {
                                double z = creal(m[i][j] * conj(m[i][j]));
                                all += z;
                                off += i == j ? 0 : z;
                        }
                if (!(off > 1e-33 * all))
                        break;
                for (size_t p = 0; p < n; p++)
                        for (size_t q = p + 1; q < n; q++) {
                                double size = cabs(m[p][q]);
                                if (!(size > 0))
                                        continue;
                                double complex phase = m[p][q] / size; /* m_pq = size phase */
                                double theta = creal(m[q][q] - m[p][p]) / (2 * size);
                                double t = copysign(1, theta) / (fabs(theta) + sqrt(theta * theta + 1));
                                double c = 1 / sqrt(t * t + 1), s = t * c;
                                for (size_t k = 0; k < n; k++) { /* columns: m := m R */
                                        double complex kp = m[k][p], kq = m[k][q] * conj(phase);
                                        m[k][p] = c * kp - s * kq;
                                        m[k][q] = s * kp + c * kq;
                                        kp = vector[k * n + p];
                                        kq = vector[k * n + q] * conj(phase);
                                        vector[k * n + p] = c * kp - s * kq;
                                        vector[k * n + q] = s * kp + c * kq;
                                }
                                for (size_t k = 0; k < n; k++) { /* rows: m := R^H m */
                                        double complex pk = m[p][k], qk = m[q][k] * phase;
                                        m[p][k] = c * pk - s * qk;
                                        m[q][k] = s * pk + c * qk;
                                }
                        }
        }
        for (size_t i = 0; i < n; i++)
                value[i] = creal(m[i][i]);
        for (size_t i = 0; i < n; i++)
                for (size_t j = i + 1; j < n; j++)
                        if (value[j] > value[i]) {
                                double v = value[i];
                                value[i] = value[j];
                                value[j] = v;
                                for (size_t k = 0; k < n; k++) {
                                        double complex z = vector[k * n + i];
                                        vector[k * n + i] = vector[k * n + j];
                                        vector[k * n + j] = z;
                                }
                        }
}

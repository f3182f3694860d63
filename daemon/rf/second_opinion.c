/* second_opinion.c: the boxes of a line calibration once more, from all lines at once (lines.h).
 * Source      Hatab, Gadringer & Boesch, "Improving the reliability of the multiline TRL calibration algorithm", 98th ARFTG 2022: one
 *             weighted 4x4 eigenproblem F v = lambda v.  Column k of M is vec(T_k) = (T11, T21, T12, T22), R_k = vec(T_k)^T P Q / det T_k =
 *             (T22, -T12, -T21, T11)/det T_k, W_km = conj(z_m/z_k - z_k/z_m), F = M W R with eigenvalues -lambda, 0, 0, lambda and
 *             lambda = sum |W_km|^2 / 2.
 * Idea        lambda is known, so F (F + lambda) is, up to noise, the projector on +lambda: its largest column, sharpened by inverse
 *             iteration, is the eigenvector; no general eigenproblem is needed (own derivation, checked by tests/unit/rf_lines.c).  The
 *             eigenvectors, as 2x2 matrices, are nearly of rank one: x y^T.
 * Why second  In noise the method of record is a little better at the ends of the band; this one weighs all pairs differently, so that both
 *             agree when the boxes were the same for all lines and differ when a probe moved between them. */
#include "rf/lines.h"
#include "rf/small.h"
#include <math.h>

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

static double norm2(const double complex v[4]) { return abs2(v[0]) + abs2(v[1]) + abs2(v[2]) + abs2(v[3]); }

/* Eigenvector of f near mu (one of +-lambda). */
static bool eigenvector(const double complex f[16], double mu, double complex v[4])
{
        double best = 0;
        for (int c = 0; c < 4; c++) { /* columns of f (f + mu) */
                double complex col[4];
                for (int i = 0; i < 4; i++) {
                        double complex sum = mu * f[i * 4 + c];
                        for (int j = 0; j < 4; j++)
                                sum += f[i * 4 + j] * f[j * 4 + c];
                        col[i] = sum;
                }
                if (norm2(col) > best) {
                        best = norm2(col);
                        for (int i = 0; i < 4; i++)
                                v[i] = col[i];
                }
        }
        if (!(best > 0))
                return false;
        for (int round = 0; round < 2; round++) {
                double complex a[16], rayleigh = 0, next[4];
                double scale = 1 / sqrt(norm2(v));
                for (int i = 0; i < 4; i++)
                        v[i] *= scale;
                for (int i = 0; i < 4; i++)
                        for (int j = 0; j < 4; j++)
                                rayleigh += conj(v[i]) * f[i * 4 + j] * v[j];
                for (int i = 0; i < 16; i++)
                        a[i] = f[i] - (i % 5 == 0 ? rayleigh : 0);
                if (!small_solve(4, a, v, next) || !isfinite(norm2(next))) /* met exactly */
                        break;
                for (int i = 0; i < 4; i++)
                        v[i] = next[i];
        }
        return true;
}

/* v = vec(V) in column order, V nearly x y^T: the dominant singular vectors to second order in what is not rank one. */
static void rank_one(const double complex v[4], double complex x[2], double complex y[2])
{
        const double complex *c = abs2(v[0]) + abs2(v[1]) >= abs2(v[2]) + abs2(v[3]) ? v : v + 2;
        double complex p = conj(v[0]) * c[0] + conj(v[1]) * c[1], q = conj(v[2]) * c[0] + conj(v[3]) * c[1]; /* V^H c */
        x[0] = v[0] * p + v[2] * q;
        x[1] = v[1] * p + v[3] * q;
        y[0] = v[0] * conj(x[0]) + v[1] * conj(x[1]);
        y[1] = v[2] * conj(x[0]) + v[3] * conj(x[1]);
}

bool lines_second_opinion(size_t n, const struct m2 *t, const double complex *z, double complex ret[4])
{
        double complex f[16] = {0}, v[4], x[2], y[2];
        double lambda = 0;
        for (size_t m = 0; m < n; m++) {
                double complex column[4] = {0}, k = 1 / m2_det(t[m]); /* sum_k M_k W_km */
                for (size_t j = 0; j < n; j++) {
                        double complex w = conj(z[m] / z[j] - z[j] / z[m]);
                        lambda += abs2(w) / 2;
                        column[0] += w * t[j].e[0];
                        column[1] += w * t[j].e[2];
                        column[2] += w * t[j].e[1];
                        column[3] += w * t[j].e[3];
                }
                double complex row[4] = {k * t[m].e[3], -k * t[m].e[1], -k * t[m].e[2], k * t[m].e[0]};
                for (int i = 0; i < 4; i++)
                        for (int j = 0; j < 4; j++)
                                f[i * 4 + j] += column[i] * row[j];
        }
        if (!(lambda > 0) || !eigenvector(f, -lambda, v))
                return false;
        rank_one(v, x, y);
        ret[1] = x[1] / x[0];
        ret[3] = -y[1] / y[0];
        if (!eigenvector(f, lambda, v))
                return false;
        rank_one(v, x, y);
        ret[0] = x[0] / x[1];
        ret[2] = -y[0] / y[1];
        return isfinite(norm2(ret));
}

/* second_opinion.c: the boxes of a line calibration once more, from all lines at once (lines.h).
 * Source      Hatab, Gadringer & Boesch, "Improving the reliability of the multiline TRL calibration algorithm", 98th ARFTG 2022: one
 *             weighted 4x4 eigenproblem F v = lambda v.  Column k of M is vec(T_k) = (T11, T21, T12, T22), R_k = vec(T_k)^T P Q / det T_k =
 *             (T22, -T12, -T21, T11)/det T_k, W_km = conj(z_m/z_k - z_k/z_m), F = M W R with eigenvalues -lambda, 0, 0, lambda and
 *             lambda = sum |W_km|^2 / 2.
 * Idea        lambda is known, so F (F + lambda) is, up to noise, the projector on +lambda; applied three times to the first opinion's
 * vector it gives the eigenvector, and no general eigenproblem is needed (own derivation, checked by tests/unit/rf_weak_spots.c).  The
 *             eigenvectors, as 2x2 matrices, are nearly of rank one: x y^T.
 * Why second  In noise the method of record is a little better at the ends of the band; this one weighs all pairs differently, so that both
 *             agree when the boxes were the same for all lines and differ when a probe moved between them. */
#include "rf/calibrate/lines.h"
#include <math.h>

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

static double norm2(const double complex v[4]) { return abs2(v[0]) + abs2(v[1]) + abs2(v[2]) + abs2(v[3]); }

/* v <- F (F + mu) v / (2 mu^2), three times.  F has the eigenvalues -lambda, 0, 0, lambda up to noise; with mu = +-lambda one application
   keeps the eigenvector of mu and shrinks what belongs to the others by noise/lambda. */
static void eigenvector(const double complex f[16], double mu, double complex v[4])
{
        double k = 1 / (2 * mu * mu);
        for (int round = 0; round < 3; round++) {
                double complex u[4], w[4];
                for (int i = 0; i < 4; i++)
                        u[i] = f[i * 4] * v[0] + f[i * 4 + 1] * v[1] + f[i * 4 + 2] * v[2] + f[i * 4 + 3] * v[3] + mu * v[i];
                for (int i = 0; i < 4; i++)
                        w[i] = k * (f[i * 4] * u[0] + f[i * 4 + 1] * u[1] + f[i * 4 + 2] * u[2] + f[i * 4 + 3] * u[3]);
                for (int i = 0; i < 4; i++)
                        v[i] = w[i];
        }
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

bool lines_second_opinion(size_t n, const struct m2 *t, const double complex *z, const double complex *inverse_z,
                          const double complex first[4], double complex ret[4])
{
        double complex f[16] = {0}, x[2], y[2];
        double lambda = 0;
        for (size_t m = 0; m < n; m++) {
                double complex column[4] = {0}, k = 1 / m2_det(t[m]); /* sum_k M_k W_km */
                for (size_t j = 0; j < n; j++) {
                        if (j == m)
                                continue;
                        double complex w = conj(inverse_z[j] * z[m] - z[j] * inverse_z[m]);
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
        if (!(lambda > 0))
                return false;
        /* begin with the first opinion's vectors: (1, ca1) (1, -ca2)^T and (b1, 1) (-b2, 1)^T */
        double complex v[4] = {1, first[1], -first[3], -first[1] * first[3]};
        eigenvector(f, -lambda, v);
        rank_one(v, x, y);
        ret[1] = x[1] / x[0];
        ret[3] = -y[1] / y[0];
        double complex u[4] = {-first[0] * first[2], -first[2], first[0], 1};
        eigenvector(f, lambda, u);
        rank_one(u, x, y);
        ret[0] = x[0] / x[1];
        ret[2] = -y[0] / y[1];
        return isfinite(norm2(ret));
}

/* passivity_matrix.h: a rational model as a state space, and the matrix whose eigenvalues tell where a singular value crosses `limit` (S) or
   an eigenvalue of the Hermitian part crosses -lift (Y).  Shared with passivity.c.  Pure, all memory is the caller's. */
#ifndef TIPPLANE_RF_PASSIVITY_MATRIX_H
#define TIPPLANE_RF_PASSIVITY_MATRIX_H
#include "rf/models/model.h"

struct state_space {
        size_t n, ports;   /* n: ports times the order of the model */
        double *a, *b, *c; /* n x n, n x ports, ports x n */
        double d[RF_FIT_ELEMENTS_MAX];
};
/* Fills *s, whose sizes and memory are set; frequencies in units of w0, 1/s. */
void state_space_of(const struct model *m, double w0, struct state_space *s);
/* For a reciprocal model, n x n: eigenvalues -w^2 (S) or w^2 (Y) at a crossing.  spare: 2 n^2.  false: a matrix that has no inverse. */
bool state_space_half_matrix(const struct model *m, const struct state_space *s, double lift, double limit, double *spare, double *to);
/* For any model, 2n x 2n: eigenvalues jw at a crossing. */
bool state_space_full_matrix(const struct model *m, const struct state_space *s, double lift, double limit, double *to);

#endif

/* model_own.h: shared by passivity.c, enforce.c, model.c. */
#ifndef TIPPLANE_RF_MODEL_OWN_H
#define TIPPLANE_RF_MODEL_OWN_H
#include "rf/models/model.h"

#define MODEL_GRID_LOG 300
#define MODEL_GRID_LINEAR 900
#define MODEL_GRID_ABOVE 60
#define MODEL_GRID_MAX (1 + MODEL_GRID_LOG + MODEL_GRID_LINEAR + 1 + MODEL_GRID_ABOVE)
/* 0, by logarithm up to 1/30 of the band, evenly up to three times the band, by logarithm to 90 times; returns the count. */
size_t model_grid(const struct model *m, double *hz);
/* Singular values (S) or eigenvalues of the Hermitian part (Y), falling; right singular vectors or eigenvectors in the columns. */
void model_spectrum(enum model_kind kind, size_t ports, const double complex *matrix, double *value, double complex *vector);
double model_size(size_t ports, const double complex *matrix); /* Frobenius */
bool model_s_from_y(size_t ports, double z_ohm, const double complex *y, double complex *s);

#endif

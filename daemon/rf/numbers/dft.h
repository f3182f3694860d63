/* dft.h: the discrete Fourier transform of any length.  Pure; memory is the caller's.
   x[k] -> sum_m x[m] exp(-+ 2 pi j k m / n), minus forward, plus inverse (not divided by n).  In place. */
#ifndef TIPPLANE_RF_DFT_H
#define TIPPLANE_RF_DFT_H
#include "rf/numbers/m2.h"

size_t dft_workspace(size_t n); /* bytes; 64-byte aligned memory */
void dft(size_t n, double complex *x, bool inverse, void *workspace);

#endif

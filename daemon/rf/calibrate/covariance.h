/* covariance.h: how error terms, and what is corrected with them, move with every input of a calibration. */
#ifndef TIPPLANE_RF_COVARIANCE_H
#define TIPPLANE_RF_COVARIANCE_H
#include "rf/correct/terms.h"

/* How the terms move when one input number moves: all root choices held, the map from inputs to terms is analytic, so one complex number
   per (input, term, frequency) is enough. */
enum column_kind { COLUMN_UNKNOWN, COLUMN_RAW, COLUMN_IDEAL, COLUMN_LENGTH };
struct column {
        enum column_kind kind;
        unsigned standard; /* index into problem.standards */
        unsigned entry;    /* 0 … 3: S11 S12 S21 S22; COLUMN_LENGTH: 0, per metre */
};
#define RF_COLUMN_MAX 128
struct covariance {
        size_t point_n;
        const size_t *points; /* indices into the axis, the caller's */
        size_t column_n;      /* filled by solve */
        struct column columns[RF_COLUMN_MAX];
        double complex *d_terms; /* [point_n][column_n][TERM_COUNT], TERMS_SIXTEEN [FULL_COUNT]; covariance_bytes() */
};
size_t covariance_bytes(size_t point_n, size_t standard_n);
struct covariance covariance_at(void *memory_64, size_t point_n, const size_t *points);
/* d(corrected S)/d(column) of one raw point of a device, at covariance point p: ret_d_s[column_n][4].
   raw: with switch terms removed for TERMS_EIGHT and TERMS_SIXTEEN, as read for TERMS_TWELVE. */
void rf_sensitivity(const struct covariance *cov, size_t p, const struct terms *terms, struct m2 raw, double complex (*ret_d_s)[4]);

#endif

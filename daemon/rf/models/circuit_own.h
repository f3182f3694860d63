/* circuit_own.h: what the files of circuits share.  Not for other rooms. */
#ifndef TIPPLANE_RF_CIRCUIT_OWN_H
#define TIPPLANE_RF_CIRCUIT_OWN_H
#include "rf/models/circuit.h"

/* Elements in the order of each shape. */
enum { IND_LS, IND_RS, IND_CP, IND_COX1, IND_RSUB1, IND_CSUB1, IND_COX2, IND_RSUB2, IND_CSUB2, IND_SKIN };
enum { CAP_C, CAP_RS, CAP_LS, CAP_COX1, CAP_RSUB1, CAP_COX2, CAP_RSUB2 };
enum { RES_R, RES_L, RES_C, RES_CG1, RES_CG2, RES_SKIN };
enum { LINE_R, LINE_L, LINE_G, LINE_C, LINE_SKIN };

struct shape {
        size_t n;
        struct {
                const char *name, *unit;
                int leave; /* which leaves first when undetermined: 1 before 2 …; 0: never */
        } element[RF_CIRCUIT_ELEMENTS_MAX];
};
const struct shape *circuit_shape(enum circuit_kind kind); /* NULL: no such kind */

/* The data as the start values want them. */
struct seen {
        const struct model_data *data;
};
void seen_s(const struct seen *s, size_t i, double complex *ret);
void seen_y(const struct seen *s, size_t i, double complex *ret); /* Inf or NaN where it does not exist */

void circuit_y(enum circuit_kind kind, const double *v, size_t ports, bool differential, double length_m, double hz, double complex *ret);
void circuit_s(enum circuit_kind kind, const double *v, size_t ports, bool differential, double length_m, double hz, double z_ohm,
               double complex *ret);
void circuit_line_s(const double *v, size_t ports, double length_m, double hz, double z_ohm, double complex *s);
void circuit_start(enum circuit_kind kind, const struct seen *s, double length_m, double *v);

#endif

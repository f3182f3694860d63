/* proof.h: the coded resistor ladder that proves where on the wafer the probes stand.
   A ladder device has a resistor from each port's signal pad to ground; the ratio R1/R2 names (row, column mod `columns`), so that one
   pitch off in any direction reads another code, and sheet resistance cancels.  code = row_index * columns + column mod columns; ratio =
   LADDER_STEP ^ (code - code_middle). */
#ifndef TIPPLANE_WAFER_PROOF_H
#define TIPPLANE_WAFER_PROOF_H
#include "wafer/layout.h"

#define LADDER_STEP 1.12     /* between neighbouring codes; read to 1 % it cannot be mistaken */
#define LADDER_OHM 400.0     /* geometric mean of both resistors */
#define LADDER_CODES_MAX 100 /* 1.12^50: 23 ohm to 7 kohm, above contact resistance and below leakage */
int ladder_codes(const struct layout *, const struct die *dies, size_t die_n); /* how many there are on this wafer */
/* Any die of the grid has a code by design, whole or not; beyond the whole rows it lies outside 0 … codes-1.  Rows count from the lowest
 * whole one. */
int ladder_code(const struct layout *, const struct die *dies, size_t die_n, int die_x, int die_y);
/* The two resistors by design, ohm. */
void ladder_design_ohm(const struct layout *, const struct die *dies, size_t die_n, int die_x, int die_y, double *ret_r1, double *ret_r2);
/* Which code a reading is: *ret_code, and how far from it in units of one step (0…0.5).  CODE_BAD_REPLY when either is not a positive
 * finite number. */
enum code ladder_read(const struct layout *, const struct die *dies, size_t die_n, double r1_ohm, double r2_ohm, int *ret_code,
                      double *ret_off, struct tp_error *);

#endif

/* compare.h: what does one calibration report for a device that another one calls S?
   Uses        the beginning against the end of a night, a tip calibration against on-wafer lines, two sets of contacts.
   Idea        the difference of two calibrations is a small two-port at each tip.  To first order in it, and over all passive devices,
               each |dS_ij| has a largest value that four numbers per port give: one bound per frequency instead of any device's S.
   Source      the idea of a bound over passive devices: Williams, Marks & Davidson, 38th ARFTG, 1991; the expressions: own derivation,
               checked by tests/reference/trust.json.
   First order the bound exceeds or falls short of the truth by a few per cent when it is 0.1; rf_compare_exact() does without.
   Pure, any thread, no allocation. */
#ifndef TIPPLANE_RF_COMPARE_H
#define TIPPLANE_RF_COMPARE_H
#include "rf/calibrate/calibration.h"

/* Common practice, no source: below GOOD two calibrations are one, above LOOK somebody must look. */
#define RF_COMPARE_GOOD 0.02
#define RF_COMPARE_USABLE 0.05
#define RF_COMPARE_LOOK 0.1

/* One frequency.  Port p: D = inverse(box of two) * box of one, as maps of reflections, scaled to D22 = 1:
   D = [[1 + al, be], [ga, 1]].  load_f: by how much the load that port 2 is while port 1 drives is not what `two` believes, seen in the
   frame of `two`; load_r: port 1 while port 2 drives.  Both vanish where the switch terms do not differ.  leak: difference of isolation,
   in S21 and S12.  odd: by what the transmissions say more than the reflections allow ((1 + t21)(1 + t12) against (1 + al1)(1 + al2)), as
   where a thru or the switch terms were wrong; 0 for eight terms without switch terms. */
struct rf_comparison_point {
        double complex al[2], be[2], ga[2], t21, t12, load_f, load_r, odd, leak21, leak12;
        double bound[4]; /* of |dS11|, |dS12|, |dS21|, |dS22| */
};

struct rf_comparison {
        const struct axis *axis;
        double *bound[4]; /* per frequency; NaN where either calibration has no terms */
        double *worst;    /* the largest of the four */
        size_t point_n;   /* frequencies with a bound */
        double worst_all, worst_hz, median;
        int worst_entry;    /* 0 … 3: S11 S12 S21 S22 */
        char sentence[240]; /* "these two calibrations differ by at most 0.031 …" */
};
size_t rf_comparison_bytes(size_t n);
struct rf_comparison rf_comparison_at(void *memory_64, const struct axis *axis);

/* one, two: two-port terms (with sixteen on one side no twelve on the other, and the same switch terms) on one axis, in one plane and one
   real reference impedance; else CODE_BAD_INPUT says which differs: the bound would measure the shift of the plane.  sw_one, sw_two: the
   switch terms that each corrects with; both NULL: taken as equal. CODE_UNRESOLVABLE: no frequency at which both have terms. */
enum code rf_compare(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two, const struct switch_terms *sw_two,
                     struct rf_comparison *ret, struct tp_error *err);
/* The same of one frequency; the caller has checked what rf_compare() checks.  false: a term is NaN or a box is singular. */
bool rf_compare_point(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two,
                      const struct switch_terms *sw_two, size_t i, struct rf_comparison_point *ret);
/* What `two` reports for the device that `one` calls s; exact. */
struct m2 rf_compare_device(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two,
                            const struct switch_terms *sw_two, size_t i, struct m2 s);
/* The largest |dS_ij| itself, by search.  dS is analytic in S, so its largest modulus over all passive devices lies on lossless ones
   (maximum principle; the unitary matrices are the Shilov boundary of the ball of contractions): four angles, climbed from 24 fixed
   starts.  About 20 000 corrections: for single frequencies.  Not below what any device shows by more than 1 %, as far as tests saw. */
void rf_compare_exact(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two,
                      const struct switch_terms *sw_two, size_t i, double ret_largest[4]);

#endif

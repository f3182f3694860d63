/* virtual.h: how corrected data move when a standard of the calibration is not what it is believed to be, for every method.  Pure; memory
 * from the arena given. */
#ifndef TIPPLANE_EVALUATE_VIRTUAL_H
#define TIPPLANE_EVALUATE_VIRTUAL_H
#include "base/arena.h"
#include "recipe/recipe.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct.h"

enum { VIRTUAL_PARTS = 12, VIRTUAL_COLUMNS = 96 };
struct virtual_column {
        unsigned standard, entry;
        bool imaginary;
        struct m2 d_s[VIRTUAL_PARTS]; /* of each device, per unit of the entry's real or imaginary part */
};
struct virtual
{
        double hz;
        size_t n; /* standards, as the band uses them */
        const struct standard *of[RF_STANDARD_MAX];
        struct m2 s[RF_STANDARD_MAX]; /* as believed, 50 ohm */
        bool transmits[RF_STANDARD_MAX];
        bool by_ideal[RF_STANDARD_MAX]; /* the method takes what it is from its definition */
        double line_m[RF_STANDARD_MAX]; /* of lines: what lies between the planes; else NaN */
        double complex gamma_m, line_z;
        double reflect_offset_m; /* lines: of the reflect beyond the plane that is asked for */
        size_t column_n;
        struct virtual_column columns[VIRTUAL_COLUMNS];
};
struct virtual_how {
        bool match_fixed;       /* a match's definition is taken instead of being found */
        bool of_lines;          /* the band's method is one of lines, which have … */
        double complex gamma_m; /* … this propagation constant, 1/m */
};
/* The method of the band at hz, of lines or not, and its plan; NULL: there is none. */
const struct method *virtual_method(const struct recipe *, double hz, bool of_lines, const struct band_plan **ret_band,
                                    struct band_plan *one);
/* s[s_n]: devices at the tips, s_n <= VIRTUAL_PARTS.  false: the method
 * has no solution of this frequency by itself. */
bool virtual_calibrate(const struct recipe *, double hz, struct virtual_how, const struct m2 *s, size_t s_n, struct arena *,
                       struct virtual *ret);
/* How a line of the calibration reads otherwise when it is longer by by_m than believed: to be given to virtual_change(). */
struct m2 virtual_longer(const struct virtual *, size_t k, double by_m);
/* Change of device `part` when standard k is d_standard away from what it is believed to be. */
struct m2 virtual_change(const struct virtual *, size_t k, struct m2 d_standard, size_t part);

#endif

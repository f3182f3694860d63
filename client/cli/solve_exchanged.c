/* solve_exchanged.c: open and short exchanged, where no verifying standard tells (solve.h).
 * Cannot      S of -S11, S21, S12, -S22 is J S J with J = diag(i, -i), and J goes into the error boxes whole: of reflections of +1, -1 and 0 and a
 *             thru every reading stays the same with open and short exchanged.  So no residual, passivity or reciprocity of such a
 *             calibration knows.
 * Can         what a reflection is multiplied by on its way through the analyzer (ERF, ERR) comes out with the other sign.  Towards DC the way
 *             through cables is +1, as the thru's S21 and S12 show of the same receivers; so -1 there at both ports is the exchange.  Where
 *             the phase at DC cannot be told (metres of cable between points, couplers that fade), nothing is said. */
#include "cli/solve.h"
#include "rf/trust/orientation.h"
#include <string.h>

static const struct offline_reading *first_of(const struct offline_reading *readings, size_t n, int32_t kind)
{
        for (size_t k = 0; k < n; k++)
                if (readings[k].standard->kind == kind && readings[k].ports == 3)
                        return &readings[k];
        return NULL;
}

void solve_exchanged(struct solve_job *j, const struct offline_solved *solved, const struct offline_reading *readings, size_t n)
{
        const struct terms *t = &solved->solved->terms;
        const struct offline_reading *open = first_of(readings, n, STANDARD_OPEN), *shorted = first_of(readings, n, STANDARD_SHORT),
                                     *thru = first_of(readings, n, STANDARD_THRU);
        if (!open || !shorted || !thru || (t->model != TERMS_TWELVE && t->model != TERMS_EIGHT))
                return;
        for (int e = 1; e <= 2; e++)
                if (rf_sign_at_dc(thru->raw.axis, thru->raw.re[e], thru->raw.im[e]) != 1)
                        return;
        if (rf_sign_at_dc(t->axis, t->re[TERM_ERF], t->im[TERM_ERF]) == -1 &&
            rf_sign_at_dc(t->axis, t->re[TERM_ERR], t->im[TERM_ERR]) == -1)
                cli_note(
                        j->c,
                        "%s and %s look exchanged: a reflection's way through the analyzer comes out as -1 towards DC at both ports, where "
                        "the way through %s is +1, and would be +1 with their files exchanged",
                        open->standard->standard.name, shorted->standard->standard.name, thru->standard->standard.name);
}

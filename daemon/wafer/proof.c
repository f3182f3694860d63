/* proof.c: the ladder's code by design and by reading.
 * A code is row * columns + (column mod columns), rows counted from the lowest whole one.  All eight neighbours of a die differ in row or
 * in column mod columns (columns >= 2, three when left and right must differ too), so one pitch off in any direction reads another code.
 * Both resistors keep their geometric mean, so the ratio alone carries the code and sheet resistance cancels. */
#include "wafer/proof.h"
#include <math.h>

static int row_lowest(const struct die *dies, size_t n)
{
        int lowest = n ? dies[0].y : 0;
        for (size_t i = 1; i < n; i++)
                lowest = dies[i].y < lowest ? dies[i].y : lowest;
        return lowest;
}

static int row_count(const struct die *dies, size_t n)
{
        int lowest = row_lowest(dies, n), highest = lowest;
        for (size_t i = 0; i < n; i++)
                highest = dies[i].y > highest ? dies[i].y : highest;
        return highest - lowest + 1;
}

int ladder_codes(const struct layout *l, const struct die *dies, size_t n) { return row_count(dies, n) * l->ladder_columns; }

static double code_middle(const struct layout *l, const struct die *dies, size_t n) { return (ladder_codes(l, dies, n) - 1) / 2.0; }

int ladder_code(const struct layout *l, const struct die *dies, size_t n, int die_x, int die_y)
{
        int columns = l->ladder_columns,
            column = ((die_x % columns) + columns) % columns; /* C's % keeps the sign; die -1 is column columns-1 */
        return (die_y - row_lowest(dies, n)) * columns + column;
}

void ladder_design_ohm(const struct layout *l, const struct die *dies, size_t n, int die_x, int die_y, double *ret_r1, double *ret_r2)
{
        double half = (ladder_code(l, dies, n, die_x, die_y) - code_middle(l, dies, n)) / 2;
        *ret_r1 = LADDER_OHM * pow(LADDER_STEP, half);
        *ret_r2 = LADDER_OHM * pow(LADDER_STEP, -half);
}

enum code ladder_read(const struct layout *l, const struct die *dies, size_t n, double r1_ohm, double r2_ohm, int *ret_code,
                      double *ret_off, struct tp_error *err)
{
        if (!(r1_ohm > 0 && r1_ohm < HUGE_VAL && r2_ohm > 0 && r2_ohm < HUGE_VAL))
                return tp_fail(
                        err, CODE_BAD_REPLY,
                        "the ladder reads %.6g ohm and %.6g ohm; both must be positive: check contact and that a ladder stands there",
                        r1_ohm, r2_ohm);
        double steps = (log(r1_ohm) - log(r2_ohm)) / log(LADDER_STEP) + code_middle(l, dies, n), nearest = floor(steps + 0.5);
        *ret_code = (int)nearest; /* |log of a double| < 745, so it fits */
        *ret_off = fabs(steps - nearest);
        return CODE_OK;
}

/* touchstone_scale.c: what version 1 normalises to R (Touchstone File Format Specification 1.1 and 2.1: Z, Y, H and G, not S).
 * Idea        with v = V/sqrt R and i = I sqrt R at each port, a matrix of v and i is the normalised one.  So an element is multiplied by
 *             R of its row where the row is a voltage and divided where it is a current, by R of its column the other way round, under a
 *             root: with one R, H11 is H11/R, H22 is H22 R, H12 and H21 stay.
 * Trap        R R under a root is R again to the last bit, 1/(R R) is not 1/R: hence the quotient of what multiplies and what divides. */
#include "formats/touchstone_own.h"
#include <math.h>

/* Does row (or column) `port` of the matrix stand for a voltage? */
static bool row_is_voltage(char parameter, size_t port)
{
        return parameter == 'Z' || (parameter == 'H' && port == 0) || (parameter == 'G' && port == 1);
}

/* value times sqrt(up/down), or divided by it */
static double scaled(const struct touchstone *f, size_t row, size_t column, double value, bool to_physical)
{
        double up = 1, down = 1;
        if (f->parameter == 'S' || f->version >= 20)
                return value;
        *(row_is_voltage(f->parameter, row) ? &up : &down) *= f->r_ohm[row];
        *(row_is_voltage(f->parameter, column) ? &up : &down) *= f->r_ohm[column];
        if (!to_physical) {
                double swap = up;
                up = down;
                down = swap;
        }
        return up >= down ? value * sqrt(up / down) : value / sqrt(down / up);
}

double touchstone_physical(const struct touchstone *f, size_t row, size_t column, double value)
{
        return scaled(f, row, column, value, true);
}
double touchstone_normalised(const struct touchstone *f, size_t row, size_t column, double value)
{
        return scaled(f, row, column, value, false);
}

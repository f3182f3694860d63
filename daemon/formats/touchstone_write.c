/* touchstone_write.c: one- and two-ports as Touchstone 1.0 into a text (touchstone.h): Hz, S, RI, 17 significant digits, so that what is
 * read back is what was written. */
#include "formats/touchstone_own.h"
#include <math.h>
#include <string.h>

void touchstone_comments(struct text *to, const char *comments)
{
        while (comments && *comments) {
                size_t n = strcspn(comments, "\n");
                text_put(to, "! ");
                for (size_t k = 0; k < n; k++) { /* Touchstone is ASCII */
                        unsigned char c = (unsigned char)comments[k];
                        text_put(to, c >= 32 && c < 127 ? (char[]){(char)c, '\0'} : c < 0x80 || c >= 0xc0 ? "?" : "");
                }
                text_put(to, "\n");
                comments += n + (comments[n] == '\n');
        }
}

static enum code check_finite(const struct axis *axis, size_t i, int row, int column, double re, double im, struct tp_error *err)
{
        if (isfinite(re) && isfinite(im))
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT, "S%d%d is %g%+gj at %.9g Hz; Touchstone has no word for that, so nothing was written", row,
                       column, re, im, axis->hz[i]);
}

enum code touchstone_write2(const struct net2 *net, const struct touchstone_write *how, struct text *to, struct tp_error *err)
{
        static const int order[4] = {0, 2, 1, 3}; /* S11 S21 S12 S22 */
        double z = net2_z_real(net);
        bool unknown = true;
        for (size_t i = 0; i < net->axis->n; i++)
                unknown = unknown && isnan(net->z_re[i]);
        if (unknown && !(how && how->line_reference))
                return tp_fail(err, CODE_BAD_INPUT,
                               "these data refer to the impedance of the line, which is not known in ohm; a file would claim otherwise: "
                               "give the line's capacitance or impedance, or ask for a file that says so");
        if (!unknown && !(z > 0))
                return tp_fail(err, CODE_BAD_INPUT,
                               "these data have a complex or changing reference impedance (%.6g%+.6gj ohm at %.9g Hz); Touchstone has only "
                               "one real number: renormalise first",
                               net->z_re[0], net->z_im[0], net->axis->hz[0]);
        for (size_t i = 0; i < net->axis->n; i++)
                for (int k = 0; k < 4; k++) {
                        enum code code = check_finite(net->axis, i, k / 2 + 1, k % 2 + 1, net->re[k][i], net->im[k][i], err);
                        if (code)
                                return code;
                }
        touchstone_comments(to, how ? how->comments : NULL);
        text_f(to, "! reference plane: %s\n", plane_words[net->plane]);
        if (unknown)
                text_put(to, "! " TOUCHSTONE_LINE_REFERENCE ", its value in ohm is not known; R 1 stands for it\n");
        text_f(to, "# Hz S RI R %.17g\n! f S11 S21 S12 S22\n", unknown ? 1 : z);
        for (size_t i = 0; i < net->axis->n; i++) {
                text_f(to, "%.17g", net->axis->hz[i]);
                for (int k = 0; k < 4; k++)
                        text_f(to, " %.17g %.17g", net->re[order[k]][i], net->im[order[k]][i]);
                text_put(to, "\n");
        }
        return text_ok(to) ? CODE_OK : tp_fail_memory(err);
}

enum code touchstone_write1(const struct axis *axis, const double *re, const double *im, double r_ohm, const struct touchstone_write *how,
                            struct text *to, struct tp_error *err)
{
        if (!(r_ohm > 0 && isfinite(r_ohm)))
                return tp_fail(err, CODE_BAD_INPUT, "a reference resistance of %g ohm cannot be written; it must be positive", r_ohm);
        for (size_t i = 0; i < axis->n; i++) {
                enum code code = check_finite(axis, i, 1, 1, re[i], im[i], err);
                if (code)
                        return code;
        }
        touchstone_comments(to, how ? how->comments : NULL);
        text_f(to, "# Hz S RI R %.17g\n", r_ohm);
        for (size_t i = 0; i < axis->n; i++)
                text_f(to, "%.17g %.17g %.17g\n", axis->hz[i], re[i], im[i]);
        return text_ok(to) ? CODE_OK : tp_fail_memory(err);
}

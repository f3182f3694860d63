/* touchstone_write_all.c: any number of ports, any version (touchstone.h).
 * Trap        in version 1 a row of more than four pairs goes on in further lines; Z, Y, H and G are normalised to R; a two-port is
 *             f S11 S21 S12 S22. */
#include "formats/touchstone_own.h"
#include <math.h>
#include <string.h>

static enum code check(const struct touchstone *f, char matrix, struct tp_error *err)
{
        size_t n = f->ports;
        if (n < 1 || n > TOUCHSTONE_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a Touchstone file of %zu ports cannot be written; 1 to %d can", n,
                               TOUCHSTONE_PORTS_MAX);
        for (size_t p = 0; p < n; p++) {
                if (!(f->r_ohm[p] > 0 && isfinite(f->r_ohm[p])))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "a reference resistance of %g ohm at port %zu cannot be written; it must be positive", f->r_ohm[p],
                                       p + 1);
                if (f->version == 10 && f->r_ohm[p] != f->r_ohm[0])
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "%g ohm at port 1 and %g ohm at port %zu: version 1.0 has one reference; write version 1.1 or 2.0",
                                       f->r_ohm[0], f->r_ohm[p], p + 1);
        }
        if (f->version < 20 && f->mode)
                return tp_fail(err, CODE_BAD_INPUT, "mixed modes cannot be written as version 1; write version 2.0");
        if (f->noise_n && n != 2)
                return tp_fail(err, CODE_BAD_INPUT, "noise data of %zu ports cannot be written; they belong to two-ports", n);
        if (strchr("GH", f->parameter) && n != 2)
                return tp_fail(err, CODE_BAD_INPUT, "parameters of kind %c of %zu ports cannot be written; they belong to two-ports",
                               f->parameter, n);
        for (size_t i = 0; i < f->noise_n; i++) {
                const struct touchstone_noise *v = &f->noise[i];
                if (!isfinite(v->hz) || !isfinite(v->fmin_db) || !isfinite(v->opt_mag) || !isfinite(v->opt_deg) || !isfinite(v->rn_ohm))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "the noise data at %.9g Hz hold a value that is not finite; nothing was written", v->hz);
        }
        if (f->noise_n && f->version < 20 && f->axis.n && !(f->noise[0].hz <= f->axis.hz[f->axis.n - 1]))
                return tp_fail(err, CODE_BAD_INPUT,
                               "noise begins at %.9g Hz, above the last frequency of %.9g Hz; version 1 cannot tell it from data: write "
                               "version 2.0",
                               f->noise[0].hz, f->axis.hz[f->axis.n - 1]);
        for (size_t i = 0; i < f->axis.n; i++)
                for (size_t k = 0; k < n * n; k++) {
                        size_t mirror = k % n * n + k / n;
                        if (!isfinite(f->re[k][i]) || !isfinite(f->im[k][i]))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "%c%zu,%zu is %g%+gj at %.9g Hz; Touchstone has no word for that, so nothing was written",
                                               f->parameter, k / n + 1, k % n + 1, f->re[k][i], f->im[k][i], f->axis.hz[i]);
                        if (matrix != 'F' && (f->re[k][i] != f->re[mirror][i] || f->im[k][i] != f->im[mirror][i]))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "%c%zu,%zu and %c%zu,%zu differ at %.9g Hz; half a matrix cannot hold them: write it full",
                                               f->parameter, k / n + 1, k % n + 1, f->parameter, k % n + 1, k / n + 1, f->axis.hz[i]);
                }
        return CODE_OK;
}

static void head(const struct touchstone *f, char matrix, struct text *to)
{
        bool v2 = f->version >= 20, one = true;
        for (unsigned p = 1; p < f->ports; p++)
                one = one && !(f->r_ohm[p] < f->r_ohm[0] || f->r_ohm[p] > f->r_ohm[0]);
        if (v2)
                text_f(to, "[Version] %s\n", f->version == 20 ? "2.0" : "2.1");
        text_f(to, "# Hz %c RI R %.17g", f->parameter, f->r_ohm[0]);
        for (unsigned p = 1; p < f->ports && !v2 && !one; p++)
                text_f(to, " %.17g", f->r_ohm[p]);
        text_put(to, "\n");
        if (!v2)
                return;
        text_f(to, "[Number of Ports] %u\n", f->ports);
        if (f->ports == 2)
                text_f(to, "[Two-Port Data Order] %s\n", f->order_12_21 ? "12_21" : "21_12");
        text_f(to, "[Number of Frequencies] %zu\n", f->axis.n);
        if (f->noise_n)
                text_f(to, "[Number of Noise Frequencies] %zu\n", f->noise_n);
        if (!one) {
                text_put(to, "[Reference]");
                for (unsigned p = 0; p < f->ports; p++)
                        text_f(to, "%s%.17g", p % 8 ? " " : "\n", f->r_ohm[p]);
                text_put(to, "\n");
        }
        text_f(to, "[Matrix Format] %s\n", matrix == 'F' ? "Full" : matrix == 'L' ? "Lower" : "Upper");
        if (f->mode) {
                text_put(to, "[Mixed-Mode Order]");
                for (unsigned p = 0; p < f->ports; p++)
                        if (f->mode[p].kind == 'S')
                                text_f(to, " S%u", f->mode[p].port);
                        else
                                text_f(to, " %c%u,%u", f->mode[p].kind, f->mode[p].port, f->mode[p].other);
                text_put(to, "\n");
        }
        if (f->information && *f->information)
                text_f(to, "[Begin Information]\n%s%s[End Information]\n", f->information,
                       f->information[strlen(f->information) - 1] == '\n' ? "" : "\n");
        text_put(to, "[Network Data]\n");
}

static void element(const struct touchstone *f, size_t row, size_t column, size_t i, struct text *to)
{
        size_t k = row * f->ports + column;
        text_f(to, " %.17g %.17g", touchstone_normalised(f, row, column, f->re[k][i]), touchstone_normalised(f, row, column, f->im[k][i]));
}

static void point(const struct touchstone *f, char matrix, size_t i, struct text *to)
{
        size_t n = f->ports;
        text_f(to, "%.17g", f->axis.hz[i]);
        if (n == 2 && matrix == 'F') {
                bool rows = f->order_12_21 && f->version >= 20;
                for (size_t k = 0; k < 4; k++)
                        element(f, rows ? k / 2 : k % 2, rows ? k % 2 : k / 2, i, to);
                text_put(to, "\n");
                return;
        }
        for (size_t row = 0; row < n; row++) {
                size_t first = matrix == 'U' ? row : 0, end = matrix == 'L' ? row + 1 : n;
                for (size_t column = first; column < end; column++) {
                        if (column > first && (column - first) % 4 == 0)
                                text_put(to, "\n");
                        element(f, row, column, i, to);
                }
                if (n > 2 || row == n - 1) /* a two-port stays on one line in every format */
                        text_put(to, "\n");
        }
}

enum code touchstone_write(const struct touchstone *file, const struct touchstone_write *how, struct text *to, struct tp_error *err)
{
        char matrix = file->version < 20 ? 'F' : how && how->matrix ? how->matrix : file->matrix ? file->matrix : 'F';
        enum code code = check(file, matrix, err);
        if (code)
                return code;
        touchstone_comments(to, how ? how->comments : NULL);
        if (file->version < 20)
                touchstone_comments(to, file->information); /* version 1 has no other place for it */
        head(file, matrix, to);
        for (size_t i = 0; i < file->axis.n; i++)
                point(file, matrix, i, to);
        if (file->noise_n && file->version >= 20)
                text_put(to, "[Noise Data]\n");
        for (size_t i = 0; i < file->noise_n; i++) {
                const struct touchstone_noise *v = &file->noise[i];
                text_f(to, "%.17g %.17g %.17g %.17g %.17g\n", v->hz, v->fmin_db, v->opt_mag, v->opt_deg,
                       file->version < 20 ? v->rn_ohm / file->r_ohm[0] : v->rn_ohm);
        }
        if (file->version >= 20)
                text_put(to, "[End]\n");
        return text_ok(to) ? CODE_OK : tp_fail_memory(err);
}

/* touchstone_network.c: what a Touchstone file holds as a network of single-ended S (touchstone.h).
 * Idea        the file's own references are kept: a mixed-mode pair of z ohm has waves of 2 z and z/2 (specification 2.0, appendix A), in
 * which Z, Y, H and G of modes become S of modes, and those S of ports by the orthonormal mixing of netn.h. */
#include "formats/touchstone_own.h"
#include "rf/network/netn.h"
#include <math.h>
#include <string.h>

/* What follows `key` in a comment line that begins with it; NULL: no such line. */
static const char *comment_of(const struct touchstone *file, const char *key)
{
        size_t n = strlen(key);
        for (const char *line = file->comments; line && *line; line = strchr(line, '\n') ? strchr(line, '\n') + 1 : NULL) {
                const char *at = line + strspn(line, " ");
                if (strncmp(at, key, n) == 0)
                        return at + n;
        }
        return NULL;
}

enum plane touchstone_plane(const struct touchstone *file)
{
        const char *said = comment_of(file, "reference plane: ");
        for (int k = 1; said && k < PLANE_COUNT; k++) {
                size_t n = strlen(plane_words[k]);
                if (strncmp(said, plane_words[k], n) == 0 && (said[n] == '\n' || said[n] == '\0'))
                        return (enum plane)k;
        }
        return PLANE_UNKNOWN;
}

static bool line_reference(const struct touchstone *f) { return f->r_ohm[0] == 1 && comment_of(f, TOUCHSTONE_LINE_REFERENCE); }

enum code touchstone_net2(const struct touchstone *file, enum plane plane, struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        if (file->mode)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the file holds mixed modes (its order begins with %c%u); single-ended S of 2 ports is needed here: write the "
                        "file without [Mixed-Mode Order]",
                        file->mode[0].kind, file->mode[0].port);
        if (file->ports != 2 || file->parameter != 'S')
                return tp_fail(err, CODE_BAD_INPUT, "the file holds %c of %u ports; S of 2 ports is needed here", file->parameter,
                               file->ports);
        if (file->r_ohm[0] != file->r_ohm[1])
                return tp_fail(err, CODE_BAD_INPUT, "the file has reference %g ohm at port 1 and %g ohm at port 2; both must be equal here",
                               file->r_ohm[0], file->r_ohm[1]);
        struct axis *axis = arena_take(arena, sizeof *axis);
        void *memory = arena_take(arena, net2_bytes(file->axis.n));
        if (!axis || !memory)
                return tp_fail_memory(err);
        *axis = file->axis;
        *ret = net2_at(memory, axis, plane);
        for (int k = 0; k < 4; k++) {
                memcpy(ret->re[k], file->re[k], axis->n * sizeof(double));
                memcpy(ret->im[k], file->im[k], axis->n * sizeof(double));
        }
        bool line = line_reference(file);
        net2_set_z(ret, line ? NAN : file->r_ohm[0], line ? NAN : 0);
        return CODE_OK;
}

/* The modes with ports from 0, and the reference of each. */
static enum code modes_of(const struct touchstone *f, struct mode modes[RF_PORTS_MAX], double complex z[RF_PORTS_MAX], struct tp_error *err)
{
        for (unsigned k = 0; k < f->ports; k++) {
                z[k] = f->r_ohm[k];
                if (!f->mode)
                        continue;
                const struct touchstone_mode *m = &f->mode[k];
                double of = f->r_ohm[m->port - 1];
                modes[k] = (struct mode){.p = m->port - 1};
                z[k] = of;
                if (m->kind == 'S')
                        continue;
                if (of != f->r_ohm[m->other - 1])
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "ports %u and %u make a mixed-mode pair and have %g and %g ohm; such modes have no reference: write "
                                       "the file single-ended where it was made",
                                       m->port, m->other, of, f->r_ohm[m->other - 1]);
                modes[k].kind = m->kind == 'D' ? MODE_DIFFERENTIAL : MODE_COMMON;
                modes[k].q = m->other - 1;
                z[k] *= m->kind == 'D' ? 2 : 0.5;
        }
        return f->mode ? rfn_modes_check(f->ports, modes, err) : CODE_OK;
}

/* Any kind of parameters to S in the references z. */
static void to_s(const struct touchstone *f, const double complex *x, const double complex *z, double complex *s)
{
        unsigned n = f->ports;
        const double real[2] = {creal(z[0]), n > 1 ? creal(z[1]) : 0};
        struct m2 two = n == 2 ? m2_of(x[0], x[1], x[2], x[3]) : m2_one();
        switch (f->parameter) {
        case 'Z':
                rfn_s_from_z(n, x, z, WAVE_PSEUDO, s);
                break;
        case 'Y':
                rfn_s_from_y(n, x, z, WAVE_PSEUDO, s);
                break;
        case 'H':
        case 'G':
                two = f->parameter == 'H' ? rf_s_from_h(two, real) : rf_s_from_g(two, real);
                memcpy(s, two.e, sizeof two.e);
                break;
        default:
                memcpy(s, x, n * n * sizeof *s);
        }
}

enum code touchstone_netn(const struct touchstone *f, enum plane plane, struct arena *arena, struct netn *ret, struct tp_error *err)
{
        struct mode modes[RF_PORTS_MAX] = {{0}};
        double complex z[RF_PORTS_MAX] = {0};
        unsigned n = f->ports;
        if (n > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "the file holds %c of %u ports; up to %d can be used here", f->parameter, n,
                               RF_PORTS_MAX);
        enum code code = modes_of(f, modes, z, err);
        struct axis *axis = arena_take(arena, sizeof *axis);
        void *memory = arena_take(arena, netn_bytes(f->axis.n, n));
        if (code || !axis || !memory)
                return code ? code : tp_fail_memory(err);
        *axis = f->axis;
        *ret = netn_at(memory, axis, n, plane);
        for (size_t i = 0; i < axis->n; i++) {
                double complex x[RF_ENTRIES_MAX], s[RF_ENTRIES_MAX];
                for (unsigned k = 0; k < n * n; k++)
                        x[k] = CMPLX(f->re[k][i], f->im[k][i]);
                to_s(f, x, z, s);
                if (f->mode)
                        rfn_single_ended(n, s, modes, s);
                for (unsigned k = 0; k < n * n; k++)
                        if (!isfinite(creal(s[k])) || !isfinite(cimag(s[k])))
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "at %.9g Hz these %c have no S in the file's reference of %g ohm: the network answers without "
                                        "being driven; write S where the file was made",
                                        axis->hz[i], f->parameter, f->r_ohm[0]);
                netn_put(ret, i, s);
        }
        for (unsigned p = 0; p < n; p++)
                netn_set_z(ret, p, line_reference(f) ? CMPLX(NAN, NAN) : f->r_ohm[p]);
        return CODE_OK;
}

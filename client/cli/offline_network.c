/* offline_network.c: files as networks (offline.h).
 * Idea        A file may hold any parameters in any references; a command works on single-ended S in one.  What is converted is noted.  Raw
 *             ratios have no reference: they are taken as they stand. */
#include "cli/offline.h"
#include "formats/multiport_json.h"
#include "rf/trust/outliers.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum code offline_touchstone(struct cli *c, const char *path, struct touchstone *ret, struct tp_error *err)
{
        unsigned ports;
        const char *bytes;
        size_t n;
        if (!touchstone_name(path, &ports))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: a Touchstone file's name ends in .s1p to .s%dp, which says its ports, or in .ts (version 2)", path,
                               TOUCHSTONE_PORTS_MAX);
        enum code code = offline_bytes(c, path, &bytes, &n, err);
        if (!code && (code = touchstone_read(bytes, n, ports, c->arena, ret, err)))
                tp_where(err, "%s", path);
        if (!code && ret->left_out_bytes) {
                char why[200];
                snprintf(why, sizeof why,
                         "%zu bytes of its comments are left out: %d are kept; what they say (a plane, a reference) is not looked at",
                         ret->left_out_bytes, TOUCHSTONE_COMMENT_MAX);
                offline_note_once(c, path, why);
        }
        return code;
}

/* The file and its plane; a raw one where a corrected one is wanted is refused, and the other way round. */
static enum code read_file(struct cli *c, const char *path, enum plane want, struct touchstone *ret, enum plane *ret_plane,
                           struct tp_error *err)
{
        enum code code = offline_touchstone(c, path, ret, err);
        if (code)
                return code;
        enum plane said = touchstone_plane(ret);
        *ret_plane = said ? said : want;
        if (said && (said == PLANE_RECEIVER) != (want == PLANE_RECEIVER))
                return tp_fail(err, CODE_BAD_INPUT, "%s: the file says its reference plane is %s; %s are needed here", path,
                               plane_words[said], want == PLANE_RECEIVER ? "raw ratios (receiver)" : "corrected data");
        return CODE_OK;
}

static bool one_reference(const struct touchstone *f)
{
        for (unsigned p = 1; p < f->ports; p++)
                if (f->r_ohm[p] < f->r_ohm[0] || f->r_ohm[p] > f->r_ohm[0])
                        return false;
        return true;
}

static enum code converted(struct cli *c, const char *path, const struct touchstone *f, enum plane plane, struct netn *ret,
                           struct tp_error *err)
{
        enum code code = touchstone_netn(f, plane, c->arena, ret, err);
        if (code)
                return tp_where(err, "%s", path);
        if (plane != PLANE_RECEIVER && (code = rf_values_check(ret->axis, ret->ports, ret->re, ret->im, false, err)))
                return tp_where(err, "%s", path);
        if (f->mode || f->parameter != 'S')
                cli_note(c, "%s: %c%s converted to single-ended S", path, f->parameter, f->mode ? " in mixed modes" : " parameters");
        if (one_reference(f))
                return CODE_OK;
        if (plane == PLANE_RECEIVER) {
                cli_note(c, "%s: its references differ from port to port, which means nothing for raw ratios", path);
                return CODE_OK;
        }
        code = rfn_renormalise_net(ret, 50, err);
        if (!code)
                cli_note(c, "%s: references of %g ohm at port 1 to %g ohm at port %u brought to 50 ohm", path, f->r_ohm[0],
                         f->r_ohm[f->ports - 1], f->ports);
        return code ? tp_where(err, "%s", path) : CODE_OK;
}

enum code offline_netn(struct cli *c, const char *path, enum plane want, struct netn *ret, struct tp_error *err)
{
        struct touchstone *f = arena_take(c->arena, sizeof *f);
        enum plane plane;
        enum code code = f ? read_file(c, path, want, f, &plane, err) : tp_fail_memory(err);
        return code ? code : converted(c, path, f, plane, ret, err);
}

enum code offline_net2(struct cli *c, const char *path, enum plane want, struct net2 *ret, struct tp_error *err)
{
        struct touchstone *f = arena_take(c->arena, sizeof *f);
        struct netn net;
        enum plane plane;
        enum code code = f ? read_file(c, path, want, f, &plane, err) : tp_fail_memory(err);
        if (code)
                return code;
        if (!cli_has(c, "modes") && f->ports == 2 && f->parameter == 'S' && !f->mode && one_reference(f)) {
                code = touchstone_net2(f, plane, c->arena, ret, err);
                if (!code && plane != PLANE_RECEIVER)
                        code = rf_values_check(ret->axis, 2, ret->re, ret->im, false, err);
                return code ? tp_where(err, "%s", path) : CODE_OK;
        }
        if (!cli_has(c, "modes") && f->ports != 2)
                return tp_fail(err, CODE_BAD_INPUT, "%s: the file holds %c of %u ports; a two-port is needed here%s", path, f->parameter,
                               f->ports, cli_takes(c, "modes") ? ": say with --modes which two, e.g. D1,2:D3,4 or S1:S3" : "");
        if ((code = converted(c, path, f, plane, &net, err)))
                return code;
        if (cli_has(c, "modes"))
                return offline_modes(c, path, &net, ret, err);
        return offline_two_of(c, &net, 0, 1, ret, err);
}

enum code offline_two_of(struct cli *c, const struct netn *net, unsigned p, unsigned q, struct net2 *ret, struct tp_error *err)
{
        const unsigned from[4] = {p * net->ports + p, p * net->ports + q, q * net->ports + p, q * net->ports + q};
        if (!offline_net2_new(c, net->axis, ret))
                return tp_fail_memory(err);
        ret->plane = net->plane;
        for (int k = 0; k < 4; k++) {
                memcpy(ret->re[k], net->re[from[k]], net->axis->n * sizeof(double));
                memcpy(ret->im[k], net->im[from[k]], net->axis->n * sizeof(double));
        }
        memcpy(ret->z_re, net->z_re[p], net->axis->n * sizeof(double));
        memcpy(ret->z_im, net->z_im[p], net->axis->n * sizeof(double));
        return CODE_OK;
}

enum code offline_reference(struct cli *c, const char *path, struct net2 *net, double z_ohm, struct tp_error *err)
{
        double from = net2_z_real(net);
        if (from == z_ohm || (isnan(from) && isnan(z_ohm)))
                return CODE_OK;
        if (isnan(z_ohm) || isnan(from))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s: one file is in the line's own impedance, which has no ohms, and another one is in %g ohm; give the line's "
                        "capacitance or impedance where the calibration is solved",
                        path, isnan(from) ? z_ohm : from);
        enum code code = rf_renormalise_net(net, z_ohm, err);
        if (code)
                return tp_where(err, "%s", path);
        cli_note(c, "%s: its reference of %g ohm brought to %g ohm", path, from, z_ohm);
        return CODE_OK;
}

bool offline_net2_new(struct cli *c, const struct axis *axis, struct net2 *ret)
{
        void *memory = arena_take(c->arena, net2_bytes(axis->n));
        if (memory)
                *ret = net2_at(memory, axis, PLANE_UNKNOWN);
        return memory != NULL;
}

static enum code one_port(struct cli *c, const char *path, struct netn *ret, struct tp_error *err)
{
        enum code code = offline_netn(c, path, PLANE_RECEIVER, ret, err);
        if (!code && ret->ports != 1)
                code = tp_fail(err, CODE_BAD_INPUT, "%s: the file holds S of %u ports; one port (.s1p) is needed here", path, ret->ports);
        return code;
}

static enum code axes_check(const char *a, const struct axis *x, const char *b, const struct axis *y, struct tp_error *err)
{
        return axis_equal(x, y)
                       ? CODE_OK
                       : tp_fail(err, CODE_BAD_INPUT,
                                 "%s has %zu frequencies from %.9g to %.9g Hz, %s has %zu from %.9g to %.9g Hz; both must have the same "
                                 "list",
                                 b, y->n, y->hz[0], y->hz[y->n - 1], a, x->n, x->hz[0], x->hz[x->n - 1]);
}

enum code offline_reflections(struct cli *c, const char *port_1, const char *port_2, struct net2 *ret, struct tp_error *err)
{
        const char *paths[2] = {port_1, port_2};
        struct netn files[2];
        enum code code = CODE_OK;
        for (int k = 0; k < 2 && !code; k++)
                if (paths[k])
                        code = one_port(c, paths[k], &files[k], err);
        if (!code && port_1 && port_2)
                code = axes_check(port_1, files[0].axis, port_2, files[1].axis, err);
        if (!code && !offline_net2_new(c, files[port_1 ? 0 : 1].axis, ret))
                code = tp_fail_memory(err);
        if (code)
                return code;
        ret->plane = PLANE_RECEIVER;
        for (int k = 0; k < 2; k++)
                if (paths[k]) {
                        memcpy(ret->re[3 * k], files[k].re[0], ret->axis->n * sizeof(double));
                        memcpy(ret->im[3 * k], files[k].im[0], ret->axis->n * sizeof(double));
                }
        return CODE_OK;
}

enum code offline_switch_terms(struct cli *c, const char *file, const char *reverse, struct switch_terms *ret, struct tp_error *err)
{
        struct net2 both;
        int f = 2, r = 1;
        enum code code;
        if (reverse) {
                code = offline_reflections(c, file, reverse, &both, err);
                f = 0;
                r = 3;
        } else {
                code = offline_net2(c, file, PLANE_RECEIVER, &both, err);
        }
        void *memory = code ? NULL : arena_take(c->arena, switch_terms_bytes(both.axis->n));
        if (code || !memory)
                return code ? code : tp_fail_memory(err);
        *ret = switch_terms_at(memory, both.axis);
        for (size_t i = 0; i < both.axis->n; i++) {
                ret->f_re[i] = both.re[f][i];
                ret->f_im[i] = both.im[f][i];
                ret->r_re[i] = both.re[r][i];
                ret->r_im[i] = both.im[r][i];
        }
        return CODE_OK;
}

enum code offline_terms(struct cli *c, const char *path, struct terms_json **ret, struct tp_error *err)
{
        const char *bytes;
        size_t n;
        enum code code = offline_bytes(c, path, &bytes, &n, err);
        if (!code && multiport_json_is(bytes, n))
                return tp_fail(err, CODE_BAD_INPUT, "%s: it holds error terms of several ports; those of two are needed here", path);
        if (!code && (code = terms_json_read(bytes, n, c->arena, ret, err)))
                tp_where(err, "%s", path);
        return code;
}

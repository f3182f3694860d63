/* offline_grid.c: networks on different lists of frequencies brought to one (offline.h). */
#include "cli/number.h"
#include "cli/offline.h"
#include "rf/extract/extract.h"
#include <math.h>
#include <string.h>

/* Index of hz in the axis, from `from` on; SIZE_MAX: it is not there. */
static size_t index_of(const struct axis *a, double hz, size_t from)
{
        while (from < a->n && a->hz[from] < hz * (1 - 1e-9))
                from++;
        return from < a->n && fabs(a->hz[from] - hz) <= 1e-9 * hz ? from : SIZE_MAX;
}

enum code offline_calibrated(struct cli *c, const char *name, const struct axis *raw, const struct axis *terms, struct offline_picked *ret,
                             struct tp_error *err)
{
        double *hz = arena_take(c->arena, raw->n * sizeof *hz);
        size_t n = 0;
        ret->raw_at = arena_take(c->arena, raw->n * sizeof *ret->raw_at);
        ret->terms_at = arena_take(c->arena, raw->n * sizeof *ret->terms_at);
        double first = NAN;
        if (!hz || !ret->raw_at || !ret->terms_at)
                return tp_fail_memory(err);
        for (size_t i = 0, at = 0; i < raw->n; i++) {
                size_t j = index_of(terms, raw->hz[i], at);
                if (j == SIZE_MAX) {
                        first = isnan(first) ? raw->hz[i] : first;
                        continue;
                }
                hz[n] = raw->hz[i];
                ret->raw_at[n] = i;
                ret->terms_at[n++] = at = j;
        }
        if (n == 0 || (n < raw->n && !cli_has(c, "common")))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s: %zu of its %zu frequencies were not calibrated, the first %.9g Hz (the terms have %zu from %.9g to %.9g Hz); "
                        "sweep the calibrated list%s",
                        name, raw->n - n, raw->n, first, terms->n, terms->hz[0], terms->hz[terms->n - 1],
                        n ? ", or leave them out with --common" : "");
        if (n < raw->n)
                cli_note(c, "%s: %zu of its %zu frequencies are left out, the first %.9g Hz: they were not calibrated", name, raw->n - n,
                         raw->n, first);
        else if (n < terms->n)
                cli_note(c, "%s: %zu of the %zu calibrated frequencies are used, from %.9g to %.9g Hz", name, n, terms->n, hz[0],
                         hz[n - 1]);
        return axis_of(n, hz, &ret->axis, err);
}

static bool within(const struct axis *a, double hz) { return hz >= a->hz[0] && hz <= a->hz[a->n - 1]; }

/* Frequencies of the first that all others have, or span. */
static size_t common(const struct net2 *nets, size_t n, bool interpolate, double *ret_hz)
{
        size_t kept = 0;
        for (size_t i = 0; i < nets[0].axis->n; i++) {
                double hz = nets[0].axis->hz[i];
                bool all = true;
                for (size_t k = 1; k < n && all; k++) {
                        size_t near = axis_nearest(nets[k].axis, hz);
                        all = index_of(nets[k].axis, hz, near ? near - 1 : 0) != SIZE_MAX || (interpolate && within(nets[k].axis, hz));
                }
                if (all)
                        ret_hz[kept++] = hz;
        }
        return kept;
}

static enum code brought(struct cli *c, const char *name, const struct axis *to, struct net2 *net, struct tp_error *err)
{
        struct net2 new;
        size_t used = 0, made = 0;
        if (!offline_net2_new(c, to, &new))
                return tp_fail_memory(err);
        new.plane = net->plane;
        for (size_t i = 0, at = 0; i < to->n; i++) {
                struct m2 s;
                size_t j = index_of(net->axis, to->hz[i], at);
                enum code code = CODE_OK;
                if (j != SIZE_MAX) {
                        s = net2_get(net, at = j);
                        used++;
                } else {
                        j = axis_nearest(net->axis, to->hz[i]);
                        code = rf_interpolate(net, to->hz[i], &s, err);
                        made++;
                }
                if (code)
                        return tp_where(err, "%s", name);
                net2_put(&new, i, s);
                new.z_re[i] = net->z_re[j];
                new.z_im[i] = net->z_im[j];
        }
        if (made)
                cli_note(c, "%s: interpolated at %zu of %zu frequencies, between its %zu from %.9g to %.9g Hz", name, made, to->n,
                         net->axis->n, net->axis->hz[0], net->axis->hz[net->axis->n - 1]);
        else if (used < net->axis->n)
                cli_note(c, "%s: %zu of its %zu frequencies are used, from %.9g to %.9g Hz; the others are not in all files", name, used,
                         net->axis->n, to->hz[0], to->hz[to->n - 1]);
        *net = new;
        return CODE_OK;
}

enum code offline_common(struct cli *c, const char *const *names, struct net2 *nets, size_t n, bool interpolate, struct tp_error *err)
{
        bool same = true;
        for (size_t k = 1; k < n; k++)
                same = same && axis_equal(nets[0].axis, nets[k].axis);
        if (same)
                return CODE_OK;
        double *hz = arena_take(c->arena, nets[0].axis->n * sizeof *hz);
        struct axis *axis = arena_take(c->arena, sizeof *axis);
        if (!hz || !axis)
                return tp_fail_memory(err);
        size_t kept = common(nets, n, interpolate, hz);
        for (size_t k = 1; k < n && kept == 0; k++) {
                const struct axis *a = nets[0].axis, *b = nets[k].axis;
                if (k + 1 == n || !common(&(struct net2[2]){nets[0], nets[k]}[0], 2, interpolate, hz))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "no frequency is in both: %s has %zu from %.9g to %.9g Hz, %s has %zu from %.9g to %.9g Hz%s",
                                       names[0], a->n, a->hz[0], a->hz[a->n - 1], names[k], b->n, b->hz[0], b->hz[b->n - 1],
                                       interpolate ? "" : "; --interpolate takes what lies between");
        }
        enum code code = axis_of(kept, hz, axis, err);
        for (size_t k = 0; k < n && !code; k++)
                code = brought(c, names[k], axis, &nets[k], err);
        return code;
}

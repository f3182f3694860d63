/* insert.c: see insert.h. */
#include "rf/extract/insert.h"
#include "rf/extract/extract.h"
#include <math.h>
#include <string.h>

/* Index of hz in the n values, or SIZE_MAX. */
static size_t find(const double *values, size_t n, double hz)
{
        for (size_t i = 0; i < n; i++)
                if (fabs(values[i] - hz) <= 1e-9 * hz)
                        return i;
        return SIZE_MAX;
}

/* net's list and those of hz that it lacks, sorted; at most net->axis->n + n. */
static size_t merge(const struct axis *axis, const double *hz, size_t n, double *to)
{
        size_t all = axis->n;
        memcpy(to, axis->hz, axis->n * sizeof *to);
        for (size_t k = 0; k < n; k++) {
                size_t i = all;
                if (find(to, all, hz[k]) != SIZE_MAX)
                        continue;
                for (; i > 0 && to[i - 1] > hz[k]; i--)
                        to[i] = to[i - 1];
                to[i] = hz[k];
                all++;
        }
        return all;
}

enum code rf_net2_insert(const struct net2 *net, const double *hz, size_t n, struct arena *arena, struct net2 *ret, size_t *ret_at,
                         struct tp_error *err)
{
        double *list = arena_take(arena, (net->axis->n + n) * sizeof *list);
        struct axis *axis = arena_take(arena, sizeof *axis);
        if (!list || !axis)
                return tp_fail_memory(err);
        for (size_t k = 0; k < n; k++)
                if (!(hz[k] > 0 && hz[k] <= 1e15))
                        return tp_fail(err, CODE_BAD_INPUT, "frequency %zu asked for is %.9g Hz; it must lie above 0", k + 1, hz[k]);
        size_t all = merge(net->axis, hz, n, list);
        enum code code = axis_of(all, list, axis, err);
        void *memory = code ? NULL : arena_take(arena, net2_bytes(all));
        if (code || !memory)
                return code ? code : tp_fail_memory(err);
        *ret = net2_at(memory, axis, net->plane);
        for (size_t i = 0, j = 0; i < all; i++) {
                struct m2 s;
                size_t near = j < net->axis->n ? j : net->axis->n - 1;
                if (j < net->axis->n && list[i] == net->axis->hz[j])
                        s = net2_get(net, j++);
                else if ((code = rf_interpolate(net, list[i], &s, err)))
                        return code;
                net2_put(ret, i, s);
                ret->z_re[i] = net->z_re[near];
                ret->z_im[i] = net->z_im[near];
        }
        for (size_t k = 0; k < n; k++)
                ret_at[k] = find(list, all, hz[k]);
        return CODE_OK;
}

/* network.c: axes and two-ports in the caller's memory (network.h). */
#include "rf/network/network.h"
#include "base/hash.h"
#include "rf/numbers/columns.h"
#include <math.h>
#include <string.h>

const char *const plane_words[PLANE_COUNT + 1] = {"unknown", "receiver", "tip", "line_middle", "device", NULL};

enum code axis_of(size_t n, const double *hz, struct axis *ret, struct tp_error *err)
{
        if (n == 0)
                return tp_fail(err, CODE_BAD_INPUT, "the frequency list is empty; give at least one frequency");
        for (size_t i = 0; i < n; i++) {
                if (!(hz[i] >= 0 && hz[i] <= 1e15))
                        return tp_fail(err, CODE_BAD_INPUT, "frequency %zu of %zu is %.17g Hz; it must lie between 0 and 1e15 Hz", i + 1, n,
                                       hz[i]);
                if (i > 0 && !(hz[i] > hz[i - 1]))
                        return tp_fail(err, CODE_BAD_INPUT, "frequency %zu of %zu is %.17g Hz after %.17g Hz; frequencies must rise", i + 1,
                                       n, hz[i], hz[i - 1]);
        }
        *ret = (struct axis){.n = n, .hz = hz, .hash = hash64(hz, n * sizeof *hz)};
        return CODE_OK;
}

bool axis_equal(const struct axis *a, const struct axis *b)
{
        if (a == b)
                return true;
        if (!a || !b || a->n != b->n || a->hash != b->hash)
                return false;
        return a->hz == b->hz || memcmp(a->hz, b->hz, a->n * sizeof *a->hz) == 0;
}

size_t axis_nearest(const struct axis *a, double hz)
{
        size_t lo = 0, hi = a->n - 1;
        while (hi - lo > 1) {
                size_t mid = lo + (hi - lo) / 2;
                if (a->hz[mid] <= hz)
                        lo = mid;
                else
                        hi = mid;
        }
        return fabs(hz - a->hz[lo]) <= fabs(hz - a->hz[hi]) ? lo : hi;
}

size_t net2_stride(size_t n) { return (n + 7) & ~(size_t)7; }
size_t net2_bytes(size_t n) { return 10 * net2_stride(n) * sizeof(double); }

struct net2 net2_at(void *memory_64, const struct axis *axis, enum plane plane)
{
        size_t stride = net2_stride(axis->n);
        double *column = memory_64;
        struct net2 net = {.axis = axis, .plane = plane};
        memset(memory_64, 0, net2_bytes(axis->n));
        for (int k = 0; k < 4; k++, column += 2 * stride) {
                net.re[k] = column;
                net.im[k] = column + stride;
        }
        net.z_re = column;
        net.z_im = column + stride;
        net2_set_z(&net, 50, 0);
        return net;
}

void net2_copy(struct net2 *to, const struct net2 *from)
{
        size_t bytes = from->axis->n * sizeof(double);
        for (int k = 0; k < 4; k++) {
                memmove(to->re[k], from->re[k], bytes);
                memmove(to->im[k], from->im[k], bytes);
        }
        memmove(to->z_re, from->z_re, bytes);
        memmove(to->z_im, from->z_im, bytes);
        to->plane = from->plane;
}

void net2_set_z(struct net2 *net, double z_re, double z_im)
{
        column_fill(net->axis->n, net->z_re, z_re);
        column_fill(net->axis->n, net->z_im, z_im);
}

double net2_z_real(const struct net2 *net)
{
        bool one = column_is(net->axis->n, net->z_im, 0) && column_is(net->axis->n, net->z_re, net->z_re[0]);
        return one ? net->z_re[0] : NAN;
}

size_t switch_terms_bytes(size_t n) { return 4 * net2_stride(n) * sizeof(double); }

struct switch_terms switch_terms_at(void *memory_64, const struct axis *axis)
{
        size_t stride = net2_stride(axis->n);
        double *column = memory_64;
        memset(memory_64, 0, switch_terms_bytes(axis->n));
        return (struct switch_terms){
                .axis = axis, .f_re = column, .f_im = column + stride, .r_re = column + 2 * stride, .r_im = column + 3 * stride};
}

bool net2_finite(const struct net2 *net)
{
        for (int k = 0; k < 4; k++)
                if (!column_finite(net->axis->n, net->re[k]) || !column_finite(net->axis->n, net->im[k]))
                        return false;
        return true;
}

/* raw.c: traces as the instrument gave them become columns of doubles.
 * Traces      S11 S12 S21 S22 are the ratios as formed; GF = a2/b2 with the source at port 1, GR = a1/b1 with the source at port 2.
 * Types       c64 is two 32-bit floats per point, c128 two 64-bit ones, each little (le) or big (be) endian.
 * Refused     a trace of another length or type, one that is missing or comes twice, one switch term without the other, NaN and infinities.
 */
#include "evaluate/inside.h"
#include <math.h>
#include <string.h>

static const char *const trace_words[] = {"S11", "S12", "S21", "S22", "GF", "GR"};
enum { TRACES = 6, S_TRACES = 4 };

static int trace_index(const char *name)
{
        for (int k = 0; k < TRACES; k++)
                if (!strcmp(name, trace_words[k]))
                        return k;
        return -1;
}

static double real_at(const uint8_t *at, size_t size, bool big)
{
        uint64_t bits = 0;
        for (size_t b = 0; b < size; b++)
                bits = bits << 8 | at[big ? b : size - 1 - b];
        if (size == 8) {
                double d;
                memcpy(&d, &bits, sizeof d);
                return d;
        }
        uint32_t half = (uint32_t)bits;
        float f;
        memcpy(&f, &half, sizeof f);
        return (double)f;
}

static enum code trace_read(const struct raw_trace *t, size_t n, const double *hz, double *re, double *im, struct tp_error *err)
{
        size_t size;
        bool big;
        if (!strcmp(t->dtype, "c64le") || !strcmp(t->dtype, "c64be"))
                size = 4;
        else if (!strcmp(t->dtype, "c128le") || !strcmp(t->dtype, "c128be"))
                size = 8;
        else
                return tp_fail(err, CODE_BAD_INPUT, "trace %s has type \"%s\"; known are c64le, c64be, c128le, c128be", t->name, t->dtype);
        big = t->dtype[strlen(t->dtype) - 2] == 'b';
        if (t->byte_n != n * 2 * size)
                return tp_fail(err, CODE_BAD_INPUT, "trace %s has %zu bytes, %zu points of %s need %zu; sweep again", t->name, t->byte_n, n,
                               t->dtype, n * 2 * size);
        const uint8_t *at = t->bytes;
        for (size_t i = 0; i < n; i++, at += 2 * size) {
                re[i] = real_at(at, size, big);
                im[i] = real_at(at + size, size, big);
                if (!isfinite(re[i]) || !isfinite(im[i]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "trace %s point %zu (%.9g Hz) is %g%+gi; sweep again, and look at the receiver when it comes back",
                                       t->name, i, hz[i], re[i], im[i]);
        }
        return CODE_OK;
}

enum code raw_from_traces(const struct raw_trace *traces, size_t trace_n, const double *hz, size_t n, struct arena *arena,
                          struct raw_sweep *ret, struct tp_error *err)
{
        if (n == 0)
                return tp_fail(err, CODE_BAD_INPUT, "the sweep has no points");
        struct raw_sweep raw = {.n = n, .hz = hz};
        double *columns[TRACES][2] = {{NULL}};
        for (size_t t = 0; t < trace_n; t++) {
                int k = trace_index(traces[t].name);
                if (k < 0)
                        return tp_fail(err, CODE_BAD_INPUT, "trace \"%s\" is not known; a sweep has S11 S12 S21 S22 and may have GF GR",
                                       traces[t].name);
                if (columns[k][0])
                        return tp_fail(err, CODE_BAD_INPUT, "trace %s comes twice", traces[t].name);
                for (int part = 0; part < 2; part++)
                        if (!(columns[k][part] = arena_take(arena, net2_stride(n) * sizeof(double))))
                                return tp_fail_memory(err);
                enum code code = trace_read(&traces[t], n, hz, columns[k][0], columns[k][1], err);
                if (code)
                        return code;
        }
        for (int k = 0; k < S_TRACES; k++) {
                if (!columns[k][0])
                        return tp_fail(err, CODE_BAD_INPUT, "trace %s is missing; a sweep has S11 S12 S21 S22", trace_words[k]);
                raw.re[k] = columns[k][0];
                raw.im[k] = columns[k][1];
        }
        if (!columns[4][0] != !columns[5][0])
                return tp_fail(err, CODE_BAD_INPUT, "trace %s is missing while %s is there; switch terms come in pairs",
                               trace_words[columns[4][0] ? 5 : 4], trace_words[columns[4][0] ? 4 : 5]);
        raw.gf_re = columns[4][0];
        raw.gf_im = columns[4][1];
        raw.gr_re = columns[5][0];
        raw.gr_im = columns[5][1];
        *ret = raw;
        return CODE_OK;
}

/* calibration.c: a calibration in memory and as bytes.
 * The bytes   all little-endian, version 1:
 *               0  "TPCALIB1"                          8 bytes
 *               8  version u32 = 1, model u32 (enum terms_model), plane u32 (enum plane), flags u32 (1 switch terms kept, 2 terms want them
 * removed) 24  points n u64 32  method, 32 bytes, zero-padded 64  z_ref f64 (ohm, NaN: the line's own), length of the first line f64 (m, 0:
 * no line method) 80  columns of n f64: hz; z_re z_im; 13 terms, each re then im, in the order EDF ESF ERF EDR ESR ERR K ELF ETF EXF ELR
 * ETR EXR; switch terms f_re f_im r_re r_im (0 when not kept); gamma_re gamma_im (1/m, NaN without lines) end  CRC-32C u32 of all before
 *             Doubles are kept bit for bit, so that a calibration read back corrects exactly as the one that was solved.
 * Threads     immutable once made. */
#include "base/hash.h"
#include "evaluate/inside.h"
#include <math.h>
#include <string.h>

#define MAGIC "TPCALIB1"
enum { VERSION = 1, HEAD_BYTES = 80, COLUMNS = 1 + 2 + 2 * TERM_COUNT + 4 + 2, FLAG_SWITCH = 1, FLAG_REMOVED = 2 };

enum code calibration_new(size_t n, const double *hz, struct arena *arena, struct calibration **ret, struct tp_error *err)
{
        struct calibration *c = arena_take(arena, sizeof *c);
        size_t stride = net2_stride(n) * sizeof(double);
        double *axis = arena_take(arena, stride);
        void *terms = arena_take(arena, terms_bytes(n)), *sw = arena_take(arena, switch_terms_bytes(n));
        double *columns = arena_take(arena, 2 * stride);
        if (!c || !axis || !terms || !sw || !columns)
                return tp_fail_memory(err);
        memcpy(axis, hz, n * sizeof *hz);
        enum code code = axis_of(n, axis, &c->axis, err);
        if (code)
                return code;
        c->terms = terms_at(terms, &c->axis);
        c->sw = switch_terms_at(sw, &c->axis);
        c->gamma_re = columns;
        c->gamma_im = columns + net2_stride(n);
        for (size_t i = 0; i < n; i++)
                c->gamma_re[i] = c->gamma_im[i] = NAN;
        c->z_ref = 50;
        *ret = c;
        return CODE_OK;
}

const double *calibration_axis(const struct calibration *c, size_t *ret_n)
{
        *ret_n = c->axis.n;
        return c->axis.hz;
}
double calibration_z_ref(const struct calibration *c)
{
        return c->z_ref > 0 ? c->z_ref : 0;
} /* 0: the line's own, a database holds no NaN */
const char *calibration_plane(const struct calibration *c) { return plane_words[c->terms.plane]; }

/* Every column in the order of the bytes; the same list writes and reads. */
static void columns_of(const struct calibration *c, double *to[COLUMNS])
{
        size_t k = 0;
        to[k++] = NULL; /* hz: the axis is const */
        to[k++] = c->terms.z_re;
        to[k++] = c->terms.z_im;
        for (int t = 0; t < TERM_COUNT; t++) {
                to[k++] = c->terms.re[t];
                to[k++] = c->terms.im[t];
        }
        to[k++] = c->sw.f_re;
        to[k++] = c->sw.f_im;
        to[k++] = c->sw.r_re;
        to[k++] = c->sw.r_im;
        to[k++] = c->gamma_re;
        to[k++] = c->gamma_im;
}

static void put(struct text *to, uint64_t bits, size_t size)
{
        uint8_t b[8];
        for (size_t k = 0; k < size; k++)
                b[k] = (uint8_t)(bits >> (8 * k));
        text_bytes(to, b, size);
}
static void put_real(struct text *to, double d)
{
        uint64_t bits;
        memcpy(&bits, &d, sizeof bits);
        put(to, bits, 8);
}
static uint64_t get(const uint8_t *at, size_t size)
{
        uint64_t bits = 0;
        for (size_t k = size; k-- > 0;)
                bits = bits << 8 | at[k];
        return bits;
}
static double get_real(const uint8_t *at)
{
        uint64_t bits = get(at, 8);
        double d;
        memcpy(&d, &bits, sizeof d);
        return d;
}

void calibration_bytes(const struct calibration *c, struct text *to)
{
        size_t before = to->n;
        double *columns[COLUMNS];
        text_bytes(to, MAGIC, 8);
        put(to, VERSION, 4);
        put(to, (uint64_t)c->terms.model, 4);
        put(to, (uint64_t)c->terms.plane, 4);
        put(to, (c->has_switch ? FLAG_SWITCH : 0u) | (c->terms.switch_removed ? FLAG_REMOVED : 0u), 4);
        put(to, c->axis.n, 8);
        text_bytes(to, c->method, sizeof c->method);
        put_real(to, c->z_ref);
        put_real(to, c->thru_m);
        columns_of(c, columns);
        for (size_t k = 0; k < COLUMNS; k++)
                for (size_t i = 0; i < c->axis.n; i++)
                        put_real(to, k == 0 ? c->axis.hz[i] : columns[k][i]);
        if (text_ok(to))
                put(to, crc32c(0, to->at + before, to->n - before), 4);
}

enum code calibration_read(const void *bytes, size_t size, struct arena *arena, struct calibration **ret, struct tp_error *err)
{
        const uint8_t *at = bytes;
        if (size < HEAD_BYTES + 4 || memcmp(at, MAGIC, 8) != 0)
                return tp_fail(err, CODE_DAMAGED, "these %zu bytes are no calibration: they do not begin with \"" MAGIC "\"", size);
        uint64_t version = get(at + 8, 4), model = get(at + 12, 4), plane = get(at + 16, 4), flags = get(at + 20, 4), n = get(at + 24, 8);
        if (version != VERSION)
                return tp_fail(err, CODE_TOO_NEW, "the calibration has version %llu and this program reads %d; update the program",
                               (unsigned long long)version, VERSION);
        if (n == 0 || n > (size - HEAD_BYTES) / (COLUMNS * 8) || size != HEAD_BYTES + COLUMNS * 8 * n + 4)
                return tp_fail(err, CODE_DAMAGED, "the calibration says %llu points and has %zu bytes; it was cut or changed",
                               (unsigned long long)n, size);
        if (crc32c(0, at, size - 4) != (uint32_t)get(at + size - 4, 4))
                return tp_fail(err, CODE_DAMAGED,
                               "the calibration's check sum does not fit its %zu bytes; take the copy in the sealed run file", size);
        if (model > TERMS_TWELVE || plane >= PLANE_COUNT || !memchr(at + 32, 0, 32))
                return tp_fail(err, CODE_DAMAGED, "the calibration's head makes no sense (model %llu, plane %llu)",
                               (unsigned long long)model, (unsigned long long)plane);
        double *hz = arena_take(arena, (size_t)n * sizeof *hz), *columns[COLUMNS];
        struct calibration *c;
        if (!hz)
                return tp_fail_memory(err);
        const uint8_t *from = at + HEAD_BYTES;
        for (size_t i = 0; i < n; i++, from += 8)
                hz[i] = get_real(from);
        enum code code = calibration_new((size_t)n, hz, arena, &c, err);
        if (code)
                return tp_where(err, "calibration");
        columns_of(c, columns);
        for (size_t k = 1; k < COLUMNS; k++)
                for (size_t i = 0; i < n; i++, from += 8)
                        columns[k][i] = get_real(from);
        memcpy(c->method, at + 32, sizeof c->method);
        const struct method *method = rf_method(c->method);
        bool joined = strcmp(c->method, rf_joined_word) == 0;
        if (!method && !joined)
                return tp_fail(err, CODE_TOO_NEW,
                               "the calibration was made by the method \"%s\", which this program does not know; update it", c->method);
        c->terms.method = joined ? rf_joined_word : method->word;
        c->terms.model = (enum terms_model)model;
        c->terms.plane = (enum plane)plane;
        c->has_switch = flags & FLAG_SWITCH;
        c->terms.switch_removed = flags & FLAG_REMOVED;
        c->z_ref = get_real(at + 64);
        c->thru_m = get_real(at + 72);
        *ret = c;
        return CODE_OK;
}

/* calibration.c: a calibration in memory and as bytes.
 * The bytes   all little-endian, version 1:
 *               0  "TPCALIB1", 8 bytes
 *               8  version u32 = 1, model u32 (enum terms_model), plane u32 (enum plane), flags u32 (1 switch terms kept, 2 terms want them
 *                  removed)
 *              24  points n u64
 *              32  method, 32 bytes, zero-padded
 *              64  z_ref f64 (ohm, NaN: the line's own), length of the first line f64 (m, 0: no line method)
 *              80  columns of n f64: hz; z_re z_im; 13 terms, each re then im, in the order EDF ESF ERF EDR ESR ERR K ELF ETF EXF ELR ETR
 *                  EXR; switch terms f_re f_im r_re r_im (0 when not kept); gamma_re gamma_im (1/m, NaN without lines)
 *             end  CRC-32C u32 of all before
 *             Version 2, where there is more to say (a domain, sixteen terms, bands joined): after the columns of version 1 the weight of
 *             line methods, n f64, and for sixteen terms 16 column pairs of the full model (T1 T2 T3 T4, row-major, each re then im); then
 *             the domain: setup, 32 bytes, zero-padded, and f64 from_hz, to_hz, spacing_um, temperature_c, temperature_k, power_dbm low,
 *             high, power_db, attenuator_db of port 1, 2 (NaN: not told); then the CRC.
 *             Version 3, where loads were trimmed by their DC readings: after the domain the number of loads u64, and for each its name, 32
 *             bytes, zero-padded, and f64 temperature_c, ohm of port 1, 2, its standard uncertainty at port 1, 2, the shorts' mean at port
 *             1, 2 (NaN: no load at that port); then the CRC.
 *             Version 4, where the calibration finds its match: after the columns of version 2 the weight of each frequency in finding it, n
 *             f64 (NaN: it was not found); after the domain the loads of version 3, of which there may be none; then the CRC.
 *             Doubles are kept bit for bit, so that a calibration read back corrects exactly as the one that was solved.
 * Threads     immutable once made. */
#include "base/hash.h"
#include "evaluate/inside.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define MAGIC "TPCALIB1"
enum { HEAD_BYTES = 80, FLAG_SWITCH = 1, FLAG_REMOVED = 2, DOMAIN_REALS = 10, DOMAIN_BYTES = 32 + 8 * DOMAIN_REALS };
enum { LOAD_REALS = 7, LOAD_BYTES = 32 + 8 * LOAD_REALS };
enum { COLUMNS_1 = 1 + 2 + 2 * TERM_COUNT + 4 + 2, COLUMNS_2 = COLUMNS_1 + 1, COLUMNS = COLUMNS_2 + 2 * FULL_COUNT + 1 };

enum code calibration_new(size_t n, const double *hz, struct arena *arena, struct calibration **ret, struct tp_error *err)
{
        struct calibration *c = arena_take(arena, sizeof *c);
        size_t stride = net2_stride(n) * sizeof(double);
        double *axis = arena_take(arena, stride);
        void *terms = arena_take(arena, terms_bytes(n)), *sw = arena_take(arena, switch_terms_bytes(n));
        double *columns = arena_take(arena, 4 * stride);
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
        c->line_share = columns + 2 * net2_stride(n);
        c->match_weight = columns + 3 * net2_stride(n);
        c->domain = domain_unknown();
        for (size_t i = 0; i < n; i++)
                c->gamma_re[i] = c->gamma_im[i] = c->match_weight[i] = NAN;
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

void calibration_domain_json(const struct calibration *c, struct text *to)
{
        const struct domain *d = &c->domain;
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_text(&o, "setup", d->setup);
        json_real(&o, "spacing_um", d->spacing_um);
        json_real(&o, "temperature_c", d->temperature_c);
        json_real(&o, "temperature_k", d->temperature_k);
        json_real(&o, "from_hz", d->from_hz);
        json_real(&o, "to_hz", d->to_hz);
        json_real(&o, "power_dbm_low", d->power_dbm[0]);
        json_real(&o, "power_dbm_high", d->power_dbm[1]);
        json_real(&o, "power_db", d->power_db);
        json_close(&o, '}');
}

enum code domain_holds(const struct calibration *c, const struct recipe *r, const struct sweep_plan *plan, const struct raw_sweep *raw,
                       struct tp_error *err)
{
        if (isnan(c->domain.from_hz)) /* made before domains were kept: its frequencies are all that is known */
                return CODE_OK;
        struct domain_sweep s = recipe_domain_sweep(r, plan, raw->hz[0], raw->hz[raw->n - 1]);
        if (raw->has_chuck)
                s.temperature_c = raw->chuck_c;
        enum code code = settings_of_sweep(raw, plan, &s, err);
        return code ? code : domain_contains(&c->domain, &s, err);
}

/* Version 1 says all that it can say; then its bytes stay what they were. */
static unsigned version_of(const struct calibration *c)
{
        if (c->version)
                return c->version;
        if (c->match_sought)
                return 4;
        if (c->load_n)
                return 3;
        bool lines = c->thru_m > 0 || isfinite(c->gamma_im[0]);
        bool plain = c->terms.model != TERMS_SIXTEEN && isnan(c->domain.from_hz);
        for (size_t i = 0; i < c->axis.n && plain; i++)
                plain = c->line_share[i] == (lines ? 1 : 0);
        return plain ? 1 : 2;
}

/* Every column in the order of the bytes; the same list writes and reads.  Returns how many. */
static size_t columns_of(const struct calibration *c, unsigned version, enum terms_model model, double *to[COLUMNS])
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
        if (version < 2)
                return k;
        to[k++] = c->line_share;
        for (int t = 0; t < FULL_COUNT && model == TERMS_SIXTEEN; t++) {
                to[k++] = c->terms.full_re[t];
                to[k++] = c->terms.full_im[t];
        }
        if (version >= 4)
                to[k++] = c->match_weight;
        return k;
}

static void domain_reals(struct domain *d, double *to[DOMAIN_REALS])
{
        double *all[DOMAIN_REALS] = {&d->from_hz,      &d->to_hz,        &d->spacing_um, &d->temperature_c,    &d->temperature_k,
                                     &d->power_dbm[0], &d->power_dbm[1], &d->power_db,   &d->attenuator_db[0], &d->attenuator_db[1]};
        memcpy(to, all, sizeof all);
}

static void load_reals(struct load_trim *l, double *to[LOAD_REALS])
{
        double *all[LOAD_REALS] = {&l->t_c, &l->ohm[0], &l->ohm[1], &l->u_ohm[0], &l->u_ohm[1], &l->short_ohm[0], &l->short_ohm[1]};
        memcpy(to, all, sizeof all);
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
        unsigned version = version_of(c);
        double *columns[COLUMNS];
        text_bytes(to, MAGIC, 8);
        put(to, version, 4);
        put(to, (uint64_t)c->terms.model, 4);
        put(to, (uint64_t)c->terms.plane, 4);
        put(to, (c->has_switch ? FLAG_SWITCH : 0u) | (c->terms.switch_removed ? FLAG_REMOVED : 0u), 4);
        put(to, c->axis.n, 8);
        text_bytes(to, c->method, sizeof c->method);
        put_real(to, c->z_ref);
        put_real(to, c->thru_m);
        size_t column_n = columns_of(c, version, c->terms.model, columns);
        for (size_t k = 0; k < column_n; k++)
                for (size_t i = 0; i < c->axis.n; i++)
                        put_real(to, k == 0 ? c->axis.hz[i] : columns[k][i]);
        if (version >= 2) {
                struct domain d = c->domain;
                double *reals[DOMAIN_REALS];
                domain_reals(&d, reals);
                text_bytes(to, d.setup, sizeof d.setup);
                for (size_t k = 0; k < DOMAIN_REALS; k++)
                        put_real(to, *reals[k]);
        }
        if (version >= 3)
                put(to, c->load_n, 8);
        for (size_t i = 0; i < c->load_n && version >= 3; i++) {
                struct load_trim l = c->loads[i];
                double *reals[LOAD_REALS];
                load_reals(&l, reals);
                text_bytes(to, l.standard, sizeof l.standard);
                for (size_t k = 0; k < LOAD_REALS; k++)
                        put_real(to, *reals[k]);
        }
        if (text_ok(to))
                put(to, crc32c(0, to->at + before, to->n - before), 4);
}

/* The loads of version 3, `least` and more, from `from` to the end less the CRC; the check sum holds, so what does not fit was written so. */
static enum code loads_read(struct calibration *c, const uint8_t *from, size_t size, uint64_t least, struct arena *arena,
                            struct tp_error *err)
{
        uint64_t n = size >= 8 ? get(from, 8) : 0;
        if (size < 8 || n < least || n > (size - 8) / LOAD_BYTES || size != 8 + LOAD_BYTES * n)
                return tp_fail(err, CODE_DAMAGED, "the calibration says %llu trimmed loads in %zu bytes; it was cut or changed",
                               (unsigned long long)n, size);
        if (n > 0 && !(c->loads = arena_take(arena, (size_t)n * sizeof *c->loads)))
                return tp_fail_memory(err);
        c->load_n = (size_t)n;
        from += 8;
        for (size_t i = 0; i < c->load_n; i++) {
                double *reals[LOAD_REALS];
                if (!memchr(from, 0, sizeof c->loads[i].standard))
                        return tp_fail(err, CODE_DAMAGED, "the name of the calibration's trimmed load %zu has no end", i);
                load_reals(&c->loads[i], reals);
                memcpy(c->loads[i].standard, from, sizeof c->loads[i].standard);
                from += sizeof c->loads[i].standard;
                for (size_t k = 0; k < LOAD_REALS; k++, from += 8)
                        *reals[k] = get_real(from);
        }
        return CODE_OK;
}

enum code calibration_read(const void *bytes, size_t size, struct arena *arena, struct calibration **ret, struct tp_error *err)
{
        const uint8_t *at = bytes;
        if (size < HEAD_BYTES + 4 || memcmp(at, MAGIC, 8) != 0)
                return tp_fail(err, CODE_DAMAGED, "these %zu bytes are no calibration: they do not begin with \"" MAGIC "\"", size);
        uint64_t version = get(at + 8, 4), model = get(at + 12, 4), plane = get(at + 16, 4), flags = get(at + 20, 4), n = get(at + 24, 8);
        if (version < 1 || version > 4)
                return tp_fail(err, CODE_TOO_NEW, "the calibration has version %llu and this program reads 1 to 4; update the program",
                               (unsigned long long)version);
        size_t column_n = version == 1 ? (size_t)COLUMNS_1
                                       : (size_t)COLUMNS_2 + (model == TERMS_SIXTEEN ? 2 * FULL_COUNT : 0) + (version >= 4 ? 1 : 0),
               more = version == 1 ? 0 : DOMAIN_BYTES;
        size_t least = HEAD_BYTES + column_n * 8 * n + more + 4;
        if (n == 0 || n > (size - HEAD_BYTES) / (column_n * 8) || size < least || (version < 3 && size != least))
                return tp_fail(err, CODE_DAMAGED, "the calibration says %llu points and has %zu bytes; it was cut or changed",
                               (unsigned long long)n, size);
        if (crc32c(0, at, size - 4) != (uint32_t)get(at + size - 4, 4))
                return tp_fail(err, CODE_DAMAGED,
                               "the calibration's check sum does not fit its %zu bytes; take the copy in the sealed run file", size);
        if (model >= TERMS_MODEL_COUNT || (model == TERMS_SIXTEEN && version < 2) || plane >= PLANE_COUNT || !memchr(at + 32, 0, 32) ||
            (version >= 2 && !memchr(at + least - 4 - DOMAIN_BYTES, 0, 32)))
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
        columns_of(c, (unsigned)version, (enum terms_model)model, columns);
        for (size_t k = 1; k < column_n; k++)
                for (size_t i = 0; i < n; i++, from += 8)
                        columns[k][i] = get_real(from);
        if (version >= 2) {
                double *reals[DOMAIN_REALS];
                domain_reals(&c->domain, reals);
                memcpy(c->domain.setup, from, sizeof c->domain.setup);
                from += sizeof c->domain.setup;
                for (size_t k = 0; k < DOMAIN_REALS; k++, from += 8)
                        *reals[k] = get_real(from);
        }
        if (version >= 3 && (code = loads_read(c, from, size - least, version == 3, arena, err)))
                return code;
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
        c->version = (unsigned)version;
        c->match_sought = version >= 4;
        for (size_t i = 0; i < n && version == 1; i++)
                c->line_share[i] = c->thru_m > 0 || isfinite(c->gamma_im[0]) ? 1 : 0;
        *ret = c;
        return CODE_OK;
}

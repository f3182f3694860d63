/* stdf_read.c: the reader of stdf.h.  Every length is looked at before what it covers, and a record is read whole or not at all. */
#include "formats/stdf.h"
#include <ctype.h>
#include <stdio.h>
#include <string.h>

#define HEAD_BYTES 4

static size_t u2_at(const struct stdf_reader *s, size_t at)
{
        const unsigned char *b = s->bytes + at;
        return s->is_big_endian ? (size_t)b[0] << 8 | b[1] : (size_t)b[1] << 8 | b[0];
}

enum code stdf_open(const void *bytes, size_t n, struct stdf_reader *ret, struct tp_error *err)
{
        const unsigned char *b = bytes;
        if (n < 6 || b[2] != 0 || b[3] != 10 || b[0] + b[1] != 2 || b[0] * b[1] != 0)
                return tp_fail(err, CODE_BAD_INPUT, "STDF: a file begins with FAR, a record of 2 bytes; this one of %zu bytes does not", n);
        bool big = b[1] == 2;
        if (b[5] != 4)
                return tp_fail(err, b[5] > 4 ? CODE_TOO_NEW : CODE_BAD_INPUT, "STDF: FAR says version %d; version 4 is known", b[5]);
        if (b[4] != (big ? 1 : 2))
                return tp_fail(err, CODE_BAD_INPUT,
                               "STDF: FAR says CPU_TYPE %d in a file whose lengths are %s-endian; known are 1 (big-endian) and 2 "
                               "(little-endian), both with IEEE numbers",
                               b[4], big ? "big" : "little");
        *ret = (struct stdf_reader){.bytes = b, .n = n, .is_big_endian = big};
        return CODE_OK;
}

static enum stdf_kind kind_of(unsigned typ, unsigned sub)
{
        for (int k = 1; k < STDF_KINDS; k++)
                if (stdf_layouts[k].typ == typ && stdf_layouts[k].sub == sub)
                        return (enum stdf_kind)k;
        return STDF_UNKNOWN;
}

/* FAR, ATR …, MIR, anything but those, MRR, nothing. */
static const char *out_of_place(enum stdf_kind last, enum stdf_kind kind)
{
        bool begins = last == STDF_UNKNOWN || last == STDF_FAR || last == STDF_ATR;
        if (last == STDF_MRR)
                return "stands behind MRR, which is the last";
        if ((kind == STDF_FAR) != (last == STDF_UNKNOWN))
                return "is out of place: FAR comes first, and once";
        if (kind == STDF_ATR && !begins)
                return "is out of place: ATR comes between FAR and MIR";
        if (kind == STDF_MIR && !begins)
                return "is the second MIR";
        if (kind != STDF_FAR && kind != STDF_ATR && kind != STDF_MIR && begins)
                return "stands before MIR, which follows FAR and ATR";
        return NULL;
}

static const char *upper(const char *name, char ret[16])
{
        size_t i = 0;
        for (; i < 15 && name[i]; i++)
                ret[i] = (char)toupper((unsigned char)name[i]);
        ret[i] = '\0';
        return ret;
}

/* The field at `at` of `end`; *ret_n bytes. */
static enum code field_read(const struct stdf_reader *s, const struct stdf_field *f, size_t at, size_t end, struct stdf_record *r,
                            size_t *ret_n, struct tp_error *err)
{
        const unsigned char *b = s->bytes + at;
        size_t n = stdf_type_bytes(f->type), left = end - at;
        unsigned char *to = (unsigned char *)r + f->offset;
        char name[16];
        if (n > left)
                return tp_fail(err, CODE_BAD_INPUT, "ends within %s, which has %zu bytes: %zu are left", upper(f->name, name), n, left);
        if (n == 0 && b[0] > left - 1)
                return tp_fail(err, CODE_BAD_INPUT, "%s says %d bytes, %zu are left", upper(f->name, name), b[0], left - 1);
        for (size_t i = 0; i < n; i++)
                to[i] = b[s->is_big_endian ? n - 1 - i : i];
        if (n == 0)
                *(struct stdf_bytes *)(void *)to = (struct stdf_bytes){(const char *)b + 1, b[0]};
        *ret_n = n ? n : 1 + (size_t)b[0];
        return CODE_OK;
}

static enum code fields_of(const struct stdf_reader *s, size_t at, size_t end, struct stdf_record *r, struct tp_error *err)
{
        const struct stdf_layout *l = &stdf_layouts[r->kind];
        enum code code = CODE_OK;
        char name[16];
        for (; !code && at < end && r->field_n < l->field_n; r->field_n += !code) {
                size_t n = 0;
                code = field_read(s, &l->fields[r->field_n], at, end, r, &n, err);
                at += n;
        }
        if (!code && r->field_n < l->need)
                code = tp_fail(err, CODE_BAD_INPUT, "ends before %s, which it must have", upper(l->fields[r->field_n].name, name));
        if (!code && at < end)
                code = tp_fail(err, CODE_BAD_INPUT, "has %zu bytes behind its last field", end - at);
        return code;
}

enum code stdf_next(struct stdf_reader *s, struct stdf_record *ret, bool *ret_has, struct tp_error *err)
{
        *ret_has = false;
        for (;;) {
                size_t at = s->at, left = s->n - at;
                if (left == 0 && s->last == STDF_MRR)
                        return CODE_OK;
                if (left < HEAD_BYTES)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "STDF: the file is cut off at offset %zu: %zu bytes are left and no MRR was seen", at, left);
                size_t n = u2_at(s, at);
                enum stdf_kind kind = kind_of(s->bytes[at + 2], s->bytes[at + 3]);
                char name[40];
                if (kind)
                        snprintf(name, sizeof name, "%s", stdf_layouts[kind].name);
                else
                        snprintf(name, sizeof name, "record (%d, %d)", s->bytes[at + 2], s->bytes[at + 3]);
                if (n > left - HEAD_BYTES)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "STDF: %s at offset %zu says %zu bytes, %zu are left: cut off, or not its length", name, at, n,
                                       left - HEAD_BYTES);
                const char *wrong = out_of_place(s->last, kind);
                if (wrong)
                        return tp_fail(err, CODE_BAD_INPUT, "STDF: %s at offset %zu %s", name, at, wrong);
                if (kind) {
                        struct stdf_record r = stdf_blank(kind);
                        if (fields_of(s, at + HEAD_BYTES, at + HEAD_BYTES + n, &r, err))
                                return tp_where(err, "STDF: %s at offset %zu", name, at);
                        *ret = r;
                }
                s->at = at + HEAD_BYTES + n;
                s->last = kind ? kind : s->last;
                s->record_n++;
                s->unknown_n += !kind;
                if (kind) {
                        *ret_has = true;
                        return CODE_OK;
                }
        }
}

/* stdf.c: the tables of stdf_records.h, and the writer; see stdf.h.
 * Idea        A record is a row of fields, so one loop writes all of them and one (stdf_read.c) reads them.
 * Not here    which records a run needs, and what its verdicts are called (client/cli/export_stdf.c). */
#include "formats/stdf.h"
#include <string.h>
#include "base/utf8.h"

#define STDF_FIELDS_MAX 40

/* clang-format off */
#define ROW(record, type, name, missing) \
        {#name, STDF_TYPE_##type, offsetof(struct stdf_record, of.record.name), missing},
#define TABLE(name, NAME, typ, sub, need) \
        static const struct stdf_field name##_fields[] = {STDF_FIELDS_##NAME(ROW, name)};
#define LAYOUT(name, NAME, typ, sub, need) \
        [STDF_##NAME] = {#NAME, typ, sub, need, sizeof name##_fields / sizeof name##_fields[0], name##_fields},
#define FITS(name, NAME, typ, sub, need) \
        _Static_assert(sizeof name##_fields / sizeof name##_fields[0] <= STDF_FIELDS_MAX, "the writer has room for them");
STDF_RECORDS(TABLE)
STDF_RECORDS(FITS)
const struct stdf_layout stdf_layouts[STDF_KINDS] = {STDF_RECORDS(LAYOUT)};
/* clang-format on */

size_t stdf_type_bytes(enum stdf_type type)
{
        switch (type) {
        case STDF_TYPE_U1:
        case STDF_TYPE_I1:
        case STDF_TYPE_C1:
        case STDF_TYPE_B1:
                return 1;
        case STDF_TYPE_U2:
        case STDF_TYPE_I2:
                return 2;
        case STDF_TYPE_U4:
        case STDF_TYPE_R4:
                return 4;
        case STDF_TYPE_Cn:
        case STDF_TYPE_Bn:
                return 0;
        }
        return 0;
}

/* The field as the bytes of a file, at most 256; the machine is little-endian, as all that run the daemon are. */
static size_t bytes_of(const struct stdf_record *r, const struct stdf_field *f, unsigned char ret[256])
{
        const void *at = (const char *)r + f->offset;
        size_t n = stdf_type_bytes(f->type);
        if (n) {
                memcpy(ret, at, n);
                return n;
        }
        const struct stdf_bytes *text = at;
        ret[0] = text->n;
        if (text->n)
                memcpy(ret + 1, text->at, text->n);
        return 1 + (size_t)text->n;
}

static void put_missing(struct stdf_record *r, const struct stdf_field *f)
{
        void *at = (char *)r + f->offset;
        uint32_t bits = (uint32_t)(int64_t)f->missing; /* no number's "missing" is a fraction, and that of R4 is 0 */
        if (stdf_type_bytes(f->type))
                memcpy(at, &bits, stdf_type_bytes(f->type));
        else
                *(struct stdf_bytes *)at = (struct stdf_bytes){"", 0};
}

struct stdf_record stdf_blank(enum stdf_kind kind)
{
        struct stdf_record r = {.kind = kind};
        for (size_t i = 0; i < stdf_layouts[kind].field_n; i++)
                put_missing(&r, &stdf_layouts[kind].fields[i]);
        return r;
}

struct stdf_bytes stdf_text(const char *text)
{
        size_t n = text ? strlen(text) : 0, fits = 0;
        for (size_t step = 1; fits < n && step; fits += step) {
                uint32_t point;
                step = utf8_step(text + fits, n - fits, &point);
                if (fits + step > 255)
                        break;
        }
        return (struct stdf_bytes){text ? text : "", (uint8_t)fits};
}

/* Up to the last field that says something. */
static size_t needed_of(const struct stdf_record *r, const struct stdf_layout *l)
{
        const struct stdf_record blank = stdf_blank(r->kind);
        unsigned char one[256], none[256];
        for (size_t i = l->field_n; i > l->need; i--) {
                size_t n = bytes_of(r, &l->fields[i - 1], one);
                if (n != bytes_of(&blank, &l->fields[i - 1], none) || memcmp(one, none, n) != 0)
                        return i;
        }
        return l->need;
}

enum code stdf_write(const struct stdf_record *r, struct text *to, struct tp_error *err)
{
        if (r->kind <= STDF_UNKNOWN || r->kind >= STDF_KINDS)
                return tp_fail(err, CODE_BAD_INPUT, "STDF: a record of kind %d; there are 1 to %d", (int)r->kind, STDF_KINDS - 1);
        const struct stdf_layout *l = &stdf_layouts[r->kind];
        size_t fields = r->field_n ? r->field_n : needed_of(r, l), n = 0;
        unsigned char body[STDF_FIELDS_MAX * 256];
        if (fields < l->need || fields > l->field_n)
                return tp_fail(err, CODE_BAD_INPUT, "STDF: %s of %zu fields; it has %zu to %zu", l->name, fields, l->need, l->field_n);
        for (size_t i = 0; i < fields; i++)
                n += bytes_of(r, &l->fields[i], body + n); /* at most 256 bytes */
        const unsigned char head[4] = {(unsigned char)(n & 0xff), (unsigned char)(n >> 8), l->typ, l->sub};
        text_bytes(to, head, sizeof head);
        text_bytes(to, body, n);
        return CODE_OK;
}

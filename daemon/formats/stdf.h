/* stdf.h: STDF V4 (Standard Test Data Format, published specification), the records of a wafer of parametric tests: read and written.
   File        FAR, then ATRs, then MIR; MRR last.  A wafer is WIR … WRR, a part PIR, PTRs, PRR.
   Record      REC_LEN U2 (bytes behind the header of 4), REC_TYP U1, REC_SUB U1, fields; the last fields may be left out.
   Numbers     IEEE, little-endian as written here; either order is read.  Times are seconds since 1970; the specification's text means
               local time there, so say in USER_TXT when they are UTC.
   Pure, any thread, no allocation but the text that is written to. */
#ifndef TIPPLANE_FORMATS_STDF_H
#define TIPPLANE_FORMATS_STDF_H
#include "base/error.h"
#include "base/text.h"
#include "formats/stdf_records.h"

/* Bytes with their count before them: Cn characters, Bn flags.  Not NUL-terminated, and not the record's own. */
struct stdf_bytes {
        const char *at;
        uint8_t n;
};
typedef uint8_t stdf_U1, stdf_B1;
typedef uint16_t stdf_U2;
typedef uint32_t stdf_U4;
typedef int8_t stdf_I1;
typedef int16_t stdf_I2;
typedef float stdf_R4;
typedef char stdf_C1;
typedef struct stdf_bytes stdf_Cn, stdf_Bn;

#define STDF_KIND(name, NAME, typ, sub, need) STDF_##NAME,
enum stdf_kind { STDF_UNKNOWN, STDF_RECORDS(STDF_KIND) STDF_KINDS };

#define STDF_MEMBER(record, type, name, missing) stdf_##type name;
#define STDF_STRUCT(name, NAME, typ, sub, need)       \
        struct {                                      \
                STDF_FIELDS_##NAME(STDF_MEMBER, name) \
        } name;
struct stdf_record {
        enum stdf_kind kind;
        size_t field_n; /* how many fields the file has; to be written: 0 leaves out the last ones that say "missing" */
        union {
                STDF_RECORDS(STDF_STRUCT)
        } of;
};

/* What a record is made of, for those who walk over all of them. */
enum stdf_type {
        STDF_TYPE_U1,
        STDF_TYPE_U2,
        STDF_TYPE_U4,
        STDF_TYPE_I1,
        STDF_TYPE_I2,
        STDF_TYPE_R4,
        STDF_TYPE_C1,
        STDF_TYPE_B1,
        STDF_TYPE_Cn,
        STDF_TYPE_Bn
};
struct stdf_field {
        const char *name; /* "result" */
        enum stdf_type type;
        size_t offset; /* in struct stdf_record */
        double missing;
};
struct stdf_layout {
        const char *name; /* "PTR" */
        uint8_t typ, sub;
        size_t need; /* fields that must be there */
        size_t field_n;
        const struct stdf_field *fields;
};
extern const struct stdf_layout stdf_layouts[STDF_KINDS]; /* [0] is empty */
size_t stdf_type_bytes(enum stdf_type type);              /* 0: Cn and Bn, by their count */

/* Bits of TEST_FLG, PARM_FLG, OPT_FLAG of PTR, PART_FLG. */
enum {
        STDF_TEST_INVALID = 0x02,
        STDF_TEST_UNRELIABLE = 0x04,
        STDF_TEST_NOT_DONE = 0x10,
        STDF_TEST_NO_VERDICT = 0x40,
        STDF_TEST_FAILED = 0x80
};
enum { STDF_PARM_ABOVE = 0x08, STDF_PARM_BELOW = 0x10, STDF_PARM_LOW_PASSES = 0x40, STDF_PARM_HIGH_PASSES = 0x80 };
enum { STDF_OPT_RESERVED = 0x02, STDF_OPT_NO_LO_SPEC = 0x04, STDF_OPT_NO_HI_SPEC = 0x08, STDF_OPT_NO_LOW = 0x40, STDF_OPT_NO_HIGH = 0x80 };
enum { STDF_SYNOPSIS_NO_VALUES = 0x33, STDF_SYNOPSIS_NO_TIME = 0x04, STDF_SYNOPSIS_RESERVED = 0xC8 }; /* TSR.OPT_FLAG */
enum { STDF_PART_FAILED = 0x08, STDF_PART_NO_VERDICT = 0x10 };
#define STDF_ALL_HEADS 255

/* A record of this kind with every field missing. */
struct stdf_record stdf_blank(enum stdf_kind kind);
/* The text as a Cn: cut at 255 bytes, never within a character.  NULL: empty. */
struct stdf_bytes stdf_text(const char *text);

/* Appends it.  CODE_BAD_INPUT: fewer fields than it must have, more than it can have, or an unknown kind. */
enum code stdf_write(const struct stdf_record *record, struct text *to, struct tp_error *err);

struct stdf_reader {
        const unsigned char *bytes;
        size_t n, at;               /* at: offset of the next record */
        size_t record_n, unknown_n; /* so far; unknown_n of others were skipped */
        bool is_big_endian;
        enum stdf_kind last;
};
/* Looks at FAR.  `bytes` stay the caller's and must outlive reader and records.  CODE_BAD_INPUT: this is no STDF of version 4, or its
   numbers are not IEEE; CODE_TOO_NEW: another version. */
enum code stdf_open(const void *bytes, size_t n, struct stdf_reader *ret, struct tp_error *err);
/* The next record that is known; fields that the file leaves out are missing.  *ret_has false: MRR was the last one, and nothing followed.
   CODE_BAD_INPUT names record and offset: cut off, a length that its fields do not fill, a record where it may not stand. */
enum code stdf_next(struct stdf_reader *reader, struct stdf_record *ret, bool *ret_has, struct tp_error *err);

#endif

/* stdf.hex: a file of STDF V4 laid out by hand, field by field, from the published specification; its last line has its SHA-256.  Every line
   of it is one field with its name, so what is read is compared with the file's own bytes, and the big-endian copy is made from the lines
   too, not by the program.  Beyond it: what was written is read again, over random records of all kinds. */
#include "rf_check.h"
#include "base/hash.h"
#include "formats/stdf.h"

struct line {
        char name[16];       /* "REC_LEN", "LOT_ID"; the record's typ and sub: "REC_TYP" */
        unsigned char b[64]; /* the field's bytes */
        size_t n, at;        /* at: offset in the file */
};
struct hex {
        struct line line[128];
        size_t line_n, n;
        unsigned char bytes[1024];
        char sha256[65];
};

static void hex_read_file(struct hex *h)
{
        char *text = check_file("stdf.hex", NULL), *save = NULL;
        memset(h, 0, sizeof *h);
        for (char *at = strtok_r(text, "\n", &save); at; at = strtok_r(NULL, "\n", &save)) {
                sscanf(at, "# total %*d bytes, SHA-256 %64s", h->sha256);
                if (at[0] == '#')
                        continue;
                struct line *l = &h->line[h->line_n++];
                l->at = h->n;
                for (unsigned byte; sscanf(at, " %2x", &byte) == 1 && *at != '#'; at += 3)
                        h->bytes[h->n++] = l->b[l->n++] = (unsigned char)byte;
                assert_int_equal(sscanf(strchr(at, '#'), "# %15s", l->name), 1);
        }
        free(text);
        assert_int_equal(h->n, 269);
}

static bool is_text(const char *name)
{
        static const char *const texts[] = {"LOT_ID",   "PART_TYP", "NODE_NAM", "TSTR_TYP", "JOB_NAM",  "JOB_REV",
                                            "SBLOT_ID", "OPER_NAM", "EXEC_TYP", "EXEC_VER", "WAFER_ID", "TEST_TXT",
                                            "ALARM_ID", "UNITS",    "C_RESFMT", "C_LLMFMT", "C_HLMFMT", "PART_ID"};
        for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
                if (!strcmp(name, texts[i]))
                        return true;
        return false;
}

/* The same file as a big-endian machine writes it. */
static void turned(const struct hex *h, unsigned char *ret)
{
        memcpy(ret, h->bytes, h->n);
        for (size_t i = 0; i < h->line_n; i++) {
                const struct line *l = &h->line[i];
                if (!strcmp(l->name, "CPU_TYPE"))
                        ret[l->at] = 1;
                else if (!is_text(l->name) && strcmp(l->name, "REC_TYP") != 0)
                        for (size_t k = 0; k < l->n; k++)
                                ret[l->at + k] = l->b[l->n - 1 - k];
        }
}

static struct stdf_record next(struct stdf_reader *s)
{
        struct stdf_record r;
        struct tp_error err = {0};
        bool has = false;
        if (stdf_next(s, &r, &has, &err))
                fail_msg("%s", err.text);
        assert_true(has);
        return r;
}

#define TEXT(s) stdf_text(s)
static void written(enum stdf_kind kind, struct stdf_record r, const char *last, struct text *to)
{
        const struct stdf_layout *l = &stdf_layouts[kind];
        struct tp_error err = {0};
        r.kind = kind;
        for (r.field_n = 0; strcmp(l->fields[r.field_n++].name, last) != 0;)
                assert_true(r.field_n < l->field_n);
        if (stdf_write(&r, to, &err))
                fail_msg("%s", err.text);
}

static void the_writer_makes_the_check_file(void **state)
{
        (void)state;
        struct hex h;
        struct text t;
        char hex[65];
        uint8_t digest[32];
        hex_read_file(&h);
        text_init(&t, 0);
        written(STDF_FAR, (struct stdf_record){.of.far = {2, 4}}, "stdf_ver", &t);
        written(STDF_MIR,
                (struct stdf_record){.of.mir = {.setup_t = 1767225600,
                                                .start_t = 1767225660,
                                                .stat_num = 1,
                                                .mode_cod = 'P',
                                                .rtst_cod = ' ',
                                                .prot_cod = ' ',
                                                .burn_tim = 65535,
                                                .cmod_cod = ' ',
                                                .lot_id = TEXT("LOT7"),
                                                .part_typ = TEXT("spiral"),
                                                .node_nam = TEXT("station1"),
                                                .tstr_typ = TEXT("probe station"),
                                                .job_nam = TEXT("night"),
                                                .job_rev = TEXT("1"),
                                                .exec_typ = TEXT("tipplaned"),
                                                .exec_ver = TEXT("1.0")}},
                "exec_ver", &t);
        written(STDF_WIR, (struct stdf_record){.of.wir = {1, 255, 1767225720, TEXT("W03")}}, "wafer_id", &t);
        written(STDF_PIR, (struct stdf_record){.of.pir = {1, 1}}, "site_num", &t);
        written(STDF_PTR,
                (struct stdf_record){.of.ptr = {.test_num = 1001,
                                                .head_num = 1,
                                                .site_num = 1,
                                                .parm_flg = STDF_PARM_LOW_PASSES | STDF_PARM_HIGH_PASSES,
                                                .result = 1.0125e-9f,
                                                .test_txt = TEXT("L @ 5 GHz"),
                                                .opt_flag = STDF_OPT_RESERVED | STDF_OPT_NO_LO_SPEC | STDF_OPT_NO_HI_SPEC,
                                                .res_scal = 9,
                                                .llm_scal = 9,
                                                .hlm_scal = 9,
                                                .lo_limit = 0.98e-9f,
                                                .hi_limit = 1.02e-9f,
                                                .units = TEXT("H"),
                                                .c_resfmt = TEXT("%7.4f"),
                                                .c_llmfmt = TEXT("%7.4f"),
                                                .c_hlmfmt = TEXT("%7.4f")}},
                "c_hlmfmt", &t);
        written(STDF_PTR,
                (struct stdf_record){
                        .of.ptr = {.test_num = 1002,
                                   .head_num = 1,
                                   .site_num = 1,
                                   .test_flg = STDF_TEST_FAILED,
                                   .parm_flg = STDF_PARM_LOW_PASSES | STDF_PARM_HIGH_PASSES | STDF_PARM_BELOW,
                                   .result = 12.8f,
                                   .test_txt = TEXT("Q @ 5 GHz"),
                                   .opt_flag = STDF_OPT_RESERVED | STDF_OPT_NO_LO_SPEC | STDF_OPT_NO_HI_SPEC | STDF_OPT_NO_HIGH,
                                   .lo_limit = 13.5f}},
                "units", &t);
        written(STDF_PRR, (struct stdf_record){.of.prr = {1, 1, STDF_PART_FAILED, 2, 2, 2, -3, 4, 8123, TEXT("1"), TEXT(""), TEXT("")}},
                "part_id", &t);
        written(STDF_WRR, (struct stdf_record){.of.wrr = {1, 255, 1767225840, 1, 0, 0, 0, STDF_NO_U4, TEXT("W03")}}, "wafer_id", &t);
        written(STDF_MRR, (struct stdf_record){.of.mrr = {1767225900, ' '}}, "disp_cod", &t);
        assert_true(text_ok(&t));
        assert_int_equal(t.n, h.n);
        for (size_t i = 0; i < h.n; i++)
                if ((unsigned char)t.at[i] != h.bytes[i])
                        fail_msg("offset %zu: %02x, the file has %02x", i, (unsigned char)t.at[i], h.bytes[i]);
        sha256_of(t.at, t.n, digest);
        hex_of(digest, 32, hex);
        assert_string_equal(hex, h.sha256);
        text_done(&t);
}

/* Is this field what the line's bytes say?  By the line, not by the reader. */
static void like_line(const struct stdf_record *r, const struct stdf_field *f, const struct line *l)
{
        char name[16];
        size_t i = 0;
        for (; f->name[i]; i++)
                name[i] = (char)(f->name[i] >= 'a' && f->name[i] <= 'z' ? f->name[i] - 32 : f->name[i]);
        name[i] = '\0';
        assert_string_equal(name, l->name);
        const void *at = (const char *)r + f->offset;
        const struct stdf_bytes *text = at;
        if (is_text(l->name)) {
                assert_int_equal(text->n + 1, l->n);
                assert_memory_equal(text->at, l->b + 1, text->n);
        } else {
                assert_int_equal(stdf_type_bytes(f->type), l->n);
                assert_memory_equal(at, l->b, l->n);
        }
}

static void the_reader_reads_it_in_both_byte_orders(void **state)
{
        (void)state;
        struct hex h;
        unsigned char big[1024];
        hex_read_file(&h);
        turned(&h, big);
        assert_memory_not_equal(big, h.bytes, h.n);
        for (int order = 0; order < 2; order++) {
                struct stdf_reader s;
                struct stdf_record r;
                bool has;
                assert_int_equal(stdf_open(order ? big : h.bytes, h.n, &s, NULL), CODE_OK);
                assert_int_equal(s.is_big_endian, order);
                for (size_t i = 0, records = 0; i < h.line_n; records++) {
                        assert_string_equal(h.line[i].name, "REC_LEN");
                        i += 2;
                        r = next(&s);
                        for (size_t k = 0; k < r.field_n; k++, i++) {
                                struct line l = h.line[i];
                                if (order && !strcmp(l.name, "CPU_TYPE"))
                                        l.b[0] = 1;
                                like_line(&r, &stdf_layouts[r.kind].fields[k], &l);
                        }
                }
                assert_int_equal(stdf_next(&s, &r, &has, NULL), CODE_OK);
                assert_true(!has && s.record_n == 9 && s.unknown_n == 0);
        }
}

static void a_cut_anywhere_is_said_with_its_place(void **state)
{
        (void)state;
        struct hex h;
        hex_read_file(&h);
        for (size_t n = 0; n < h.n; n++) {
                struct stdf_reader s;
                struct stdf_record r;
                struct tp_error err = {0};
                bool has = true;
                enum code code = stdf_open(h.bytes, n, &s, &err);
                size_t at = 0;
                while (!code && has) {
                        at = s.at;
                        code = stdf_next(&s, &r, &has, &err);
                }
                char place[32];
                snprintf(place, sizeof place, "offset %zu", at);
                assert_int_equal(code, CODE_BAD_INPUT);
                if (n >= 6 && !strstr(err.text, place))
                        fail_msg("cut at %zu: %s", n, err.text);
                if (n >= at + 4 && at > 0 &&
                    !strstr(err.text, stdf_layouts[at == 6     ? STDF_MIR
                                                   : at == 84  ? STDF_WIR
                                                   : at == 98  ? STDF_PIR
                                                   : at == 203 ? STDF_PRR
                                                   : at == 226 ? STDF_WRR
                                                   : at == 260 ? STDF_MRR
                                                               : STDF_PTR]
                                              .name))
                        fail_msg("cut at %zu: %s", n, err.text);
        }
}

static void what_is_wrong_is_one_sentence(void **state)
{
        (void)state;
        static const struct {
                const char *bytes; /* behind FAR, and MIR where it begins with + */
                size_t n;
                const char *say;
        } bad[] = {
                {"\0\0\1\24", 4, "MRR at offset 6 stands before MIR"},
                {"\2\0\0\12\2\4", 6, "FAR at offset 6 is out of place"},
                {"+\2\0\0\12\2\4", 7, "FAR at offset 30 is out of place"},
                {"+\6\0\0\24\0\0\0\0\1x", 11, "ATR at offset 30 is out of place"},
                {"+\3\0\17\12abc", 8, "PTR at offset 30: ends within TEST_NUM, which has 4 bytes: 3 are left"},
                {"+\6\0\17\12abcd\1\1", 11, "PTR at offset 30: ends before TEST_FLG, which it must have"},
                {"+\15\0\17\12abcd\1\1\0\0\0\0\0\0\5", 18, "PTR at offset 30: TEST_TXT says 5 bytes, 0 are left"},
                {"+\3\0\5\12\1\1\1", 8, "PIR at offset 30: has 1 bytes behind its last field"},
                {"+\377\377\5\12\1\1", 7, "PIR at offset 30 says 65535 bytes, 2 are left"},
                {"+\377\377\62\12\1\1", 7, "record (50, 10) at offset 30 says 65535 bytes, 2 are left"},
                {"+\4\0\1\24abcd\2\0\5\12\1\1", 15, "PIR at offset 38 stands behind MRR"},
                {"+\4\0\1\24abcdx", 10, "cut off at offset 38: 1 bytes are left"},
        };
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
                struct text t;
                struct stdf_reader s;
                struct stdf_record r = stdf_blank(STDF_MIR);
                struct tp_error err = {0};
                bool has = true, whole = bad[i].bytes[0] == '+';
                text_init(&t, 0);
                text_bytes(&t, "\2\0\0\12\2\4", 6);
                if (whole)
                        assert_int_equal(stdf_write(&r, &t, NULL), CODE_OK);
                text_bytes(&t, bad[i].bytes + whole, bad[i].n - whole);
                assert_int_equal(stdf_open(t.at, t.n, &s, &err), CODE_OK);
                enum code code = CODE_OK;
                while (!code && has)
                        code = stdf_next(&s, &r, &has, &err);
                assert_int_equal(code, CODE_BAD_INPUT);
                if (!strstr(err.text, bad[i].say))
                        fail_msg("\"%s\", wanted \"%s\"", err.text, bad[i].say);
                text_done(&t);
        }
        static const struct {
                const char *far;
                enum code code;
                const char *say;
        } fars[] = {{"\2\0\0\12\2\5", CODE_TOO_NEW, "version 5"},         {"\2\0\0\12\2\3", CODE_BAD_INPUT, "version 3"},
                    {"\0\2\0\12\2\4", CODE_BAD_INPUT, "big-endian"},      {"\2\0\0\12\0\4", CODE_BAD_INPUT, "CPU_TYPE 0"},
                    {"\2\0\0\13\2\4", CODE_BAD_INPUT, "begins with FAR"}, {"\1\1\0\12\2\4", CODE_BAD_INPUT, "begins with FAR"}};
        for (size_t i = 0; i < sizeof fars / sizeof fars[0]; i++) {
                struct stdf_reader s;
                struct tp_error err = {0};
                assert_int_equal(stdf_open(fars[i].far, 6, &s, &err), fars[i].code);
                assert_non_null(strstr(err.text, fars[i].say));
        }
        struct tp_error err = {0};
        struct text t;
        text_init(&t, 0);
        assert_int_equal(stdf_write(&(struct stdf_record){.kind = STDF_UNKNOWN}, &t, &err), CODE_BAD_INPUT);
        assert_int_equal(stdf_write(&(struct stdf_record){.kind = STDF_PTR, .field_n = 3}, &t, &err), CODE_BAD_INPUT);
        assert_int_equal(stdf_write(&(struct stdf_record){.kind = STDF_PIR, .field_n = 3}, &t, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "PIR of 3 fields; it has 2 to 2"));
        assert_int_equal(t.n, 0);
        text_done(&t);
}

/* ---- random records ----------------------------------------------------------------------------------------------------------------- */

static uint64_t dice(uint64_t *seed) { return (*seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407)) >> 33; }

static struct stdf_record drawn(enum stdf_kind kind, const char *letters, uint64_t *seed)
{
        const struct stdf_layout *l = &stdf_layouts[kind];
        struct stdf_record r = stdf_blank(kind);
        r.field_n = l->need + dice(seed) % (l->field_n - l->need + 1);
        for (size_t i = 0; i < r.field_n; i++) {
                void *at = (char *)&r + l->fields[i].offset;
                uint32_t bits = (uint32_t)(dice(seed) ^ dice(seed) << 16);
                size_t n = stdf_type_bytes(l->fields[i].type);
                if (n)
                        memcpy(at, &bits, n);
                else
                        *(struct stdf_bytes *)at =
                                (struct stdf_bytes){letters + bits % 700, (uint8_t)(dice(seed) % 4 ? bits % 9 : bits % 256)};
        }
        if (kind == STDF_FAR)
                r.of.far.cpu_type = 2, r.of.far.stdf_ver = 4;
        return r;
}

static void like_each_other(const struct stdf_record *a, const struct stdf_record *b)
{
        assert_int_equal(a->kind, b->kind);
        assert_int_equal(a->field_n, b->field_n);
        for (size_t i = 0; i < stdf_layouts[a->kind].field_n; i++) { /* what is left out is missing on both sides */
                const struct stdf_field *f = &stdf_layouts[a->kind].fields[i];
                const void *p = (const char *)a + f->offset, *q = (const char *)b + f->offset;
                const struct stdf_bytes *s = p, *t = q;
                size_t n = stdf_type_bytes(f->type);
                if (n) {
                        assert_memory_equal(p, q, n);
                } else {
                        assert_int_equal(s->n, t->n);
                        if (s->n)
                                assert_memory_equal(s->at, t->at, s->n);
                }
        }
}

/* Turns a written record round in place, header and numbers, by the types of its fields. */
static void turn(char *bytes, const struct stdf_record *r)
{
        char swap = bytes[0];
        bytes[0] = bytes[1];
        bytes[1] = swap;
        bytes += 4;
        for (size_t i = 0; i < r->field_n; i++) {
                size_t n = stdf_type_bytes(stdf_layouts[r->kind].fields[i].type);
                for (size_t k = 0; k < n / 2; k++) {
                        swap = bytes[k];
                        bytes[k] = bytes[n - 1 - k];
                        bytes[n - 1 - k] = swap;
                }
                bytes += n ? n : 1 + (size_t)(unsigned char)bytes[0];
        }
}

static void what_is_written_is_read_again(void **state)
{
        (void)state;
        char letters[1024];
        size_t seen[STDF_KINDS] = {0}, unknown = 0;
        uint64_t seed = 1;
        for (size_t i = 0; i < sizeof letters; i++)
                letters[i] = (char)dice(&seed);
        for (int round = 0; round < 2000; round++) {
                enum { MOST = 12 };
                struct stdf_record r[MOST], got;
                size_t n = 3 + dice(&seed) % (MOST - 3), strangers = 0;
                bool big = round % 2, has;
                struct text t;
                struct tp_error err = {0};
                text_init(&t, 0);
                for (size_t i = 0; i < n; i++) {
                        enum stdf_kind kind = i == 0 ? STDF_FAR : i == 1 ? STDF_MIR : i + 1 == n ? STDF_MRR : STDF_UNKNOWN;
                        while (kind == STDF_UNKNOWN || (i > 1 && i + 1 < n && kind <= STDF_MRR))
                                kind = (enum stdf_kind)(1 + dice(&seed) % (STDF_KINDS - 1));
                        r[i] = drawn(kind, letters, &seed);
                        seen[kind]++;
                        if (big && kind == STDF_FAR)
                                r[i].of.far.cpu_type = 1;
                        size_t at = t.n;
                        assert_int_equal(stdf_write(&r[i], &t, &err), CODE_OK);
                        if (big)
                                turn(t.at + at, &r[i]);
                        if (i > 1 && i + 1 < n && dice(&seed) % 4 == 0) { /* a record that nobody here knows */
                                text_bytes(&t, big ? "\0\3\62\36abc" : "\3\0\62\36abc", 7);
                                strangers++;
                        }
                }
                struct stdf_reader s;
                assert_int_equal(stdf_open(t.at, t.n, &s, &err), CODE_OK);
                for (size_t i = 0; i < n; i++) {
                        got = next(&s);
                        like_each_other(&got, &r[i]);
                }
                assert_int_equal(stdf_next(&s, &got, &has, &err), CODE_OK);
                assert_true(!has && s.unknown_n == strangers && s.record_n == n + strangers);
                unknown += strangers;
                text_done(&t);
        }
        for (int k = 1; k < STDF_KINDS; k++)
                assert_true(k == STDF_ATR || seen[k] > 100); /* ATR stands before MIR only: the check of cuts has it */
        assert_true(unknown > 100);
}

/* With field_n 0 the last missing fields are left out, and reading gives them back as missing. */
static void missing_ends_are_left_out(void **state)
{
        (void)state;
        struct text t;
        text_init(&t, 0);
        for (int k = 1; k < STDF_KINDS; k++) {
                struct stdf_record r = stdf_blank((enum stdf_kind)k);
                text_clear(&t);
                assert_int_equal(stdf_write(&r, &t, NULL), CODE_OK);
                size_t least = 4;
                for (size_t i = 0; i < stdf_layouts[k].need; i++) {
                        size_t n = stdf_type_bytes(stdf_layouts[k].fields[i].type);
                        least += n ? n : 1;
                }
                assert_int_equal(t.n, least);
        }
        struct stdf_record r = stdf_blank(STDF_PRR);
        assert_true(r.of.prr.soft_bin == 65535 && r.of.prr.x_coord == -32768 && r.of.prr.part_id.n == 0);
        assert_true(stdf_blank(STDF_WRR).of.wrr.good_cnt == 4294967295u && stdf_blank(STDF_MIR).of.mir.mode_cod == ' ');
        r.of.prr.x_coord = -3;
        text_clear(&t);
        assert_int_equal(stdf_write(&r, &t, NULL), CODE_OK);
        assert_int_equal(t.n, 4 + 1 + 1 + 1 + 2 + 2 + 2 + 2); /* up to X_COORD, SOFT_BIN 65535 before it */
        char text[400];
        memset(text, 'x', 399);
        text[399] = '\0';
        assert_int_equal(stdf_text(text).n, 255);
        memcpy(text + 254, "\xc2\xb5", 2); /* a character of two bytes is not cut */
        assert_int_equal(stdf_text(text).n, 254);
        assert_true(stdf_text(NULL).n == 0 && stdf_text("").n == 0);
        text_done(&t);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_writer_makes_the_check_file),       cmocka_unit_test(the_reader_reads_it_in_both_byte_orders),
                cmocka_unit_test(a_cut_anywhere_is_said_with_its_place), cmocka_unit_test(what_is_wrong_is_one_sentence),
                cmocka_unit_test(what_is_written_is_read_again),         cmocka_unit_test(missing_ends_are_left_out)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

/* cmd_stdf.c: an STDF file looked at without a daemon: whole or where it is wrong, how many parts are good, and each test with its limits. */
#include "cli/number.h"
#include "cli/offline.h"
#include "cli/show.h"
#include "formats/stdf.h"
#include <math.h>
#include <string.h>

struct test_seen {
        uint32_t number;
        const char *name, *unit;
        double low, high, least, most; /* NaN: none */
        size_t n, values, failed, unreliable;
};
struct seen {
        struct arena *arena;
        size_t of_kind[STDF_KINDS], good, failed;
        const char *lot, *wafer;
        struct test_seen *test;
        size_t test_n, test_room;
        bool broken; /* no memory */
};

/* Printable letters alone; everything else is '?'. */
static const char *word_of(struct seen *s, struct stdf_bytes text)
{
        char *word = arena_take(s->arena, (size_t)text.n + 1);
        s->broken |= !word;
        if (!word)
                return "";
        for (size_t i = 0; i < text.n; i++)
                word[i] = text.at[i] >= ' ' && text.at[i] <= '~' ? text.at[i] : '?';
        word[text.n] = '\0';
        return word;
}

/* A new one takes name, unit and limits from its first PTR; NULL: no memory. */
static struct test_seen *test_of(struct seen *s, uint32_t number)
{
        for (size_t i = 0; i < s->test_n; i++)
                if (s->test[i].number == number)
                        return &s->test[i];
        if (s->test_n == s->test_room) {
                size_t room = s->test_room ? 2 * s->test_room : 64;
                struct test_seen *more = arena_take(s->arena, room * sizeof *more);
                if (!more)
                        return NULL;
                if (s->test_n)
                        memcpy(more, s->test, s->test_n * sizeof *more);
                s->test = more;
                s->test_room = room;
        }
        s->test[s->test_n] =
                (struct test_seen){.number = number, .name = "", .unit = "", .low = NAN, .high = NAN, .least = NAN, .most = NAN};
        return &s->test[s->test_n++];
}

static void take_test(struct seen *s, const struct stdf_record *r)
{
        enum { THROUGH_HIGH = 14, THROUGH_UNITS = 15, NO_LOW = 0x50, NO_HIGH = 0xA0 }; /* fields; bits 4 to 7: use the first PTR's, none */
        struct test_seen *t = test_of(s, r->of.ptr.test_num);
        bool flawed = (r->of.ptr.test_flg & (STDF_TEST_INVALID | STDF_TEST_NOT_DONE)) != 0;
        double x = (double)r->of.ptr.result;
        s->broken |= !t;
        if (!t)
                return;
        if (t->n++ == 0) {
                t->name = word_of(s, r->of.ptr.test_txt);
                t->unit = r->field_n >= THROUGH_UNITS ? word_of(s, r->of.ptr.units) : "";
                if (r->field_n >= THROUGH_HIGH && !(r->of.ptr.opt_flag & NO_LOW))
                        t->low = (double)r->of.ptr.lo_limit;
                if (r->field_n >= THROUGH_HIGH && !(r->of.ptr.opt_flag & NO_HIGH))
                        t->high = (double)r->of.ptr.hi_limit;
        }
        t->failed += (r->of.ptr.test_flg & (STDF_TEST_FAILED | STDF_TEST_NO_VERDICT)) == STDF_TEST_FAILED;
        t->unreliable += (r->of.ptr.test_flg & STDF_TEST_UNRELIABLE) != 0;
        if (flawed || !isfinite(x))
                return;
        t->values++;
        t->least = fmin(t->least, x);
        t->most = fmax(t->most, x);
}

static void take(struct seen *s, const struct stdf_record *r)
{
        s->of_kind[r->kind]++;
        switch (r->kind) {
        case STDF_MIR:
                s->lot = word_of(s, r->of.mir.lot_id);
                break;
        case STDF_WIR:
                s->wafer = s->of_kind[STDF_WIR] == 1 ? word_of(s, r->of.wir.wafer_id) : s->wafer;
                break;
        case STDF_PTR:
                take_test(s, r);
                break;
        case STDF_PRR:
                s->failed += (r->of.prr.part_flg & (STDF_PART_FAILED | STDF_PART_NO_VERDICT)) == STDF_PART_FAILED;
                s->good += (r->of.prr.part_flg & (STDF_PART_FAILED | STDF_PART_NO_VERDICT)) == 0;
                break;
        case STDF_UNKNOWN:
        case STDF_FAR:
        case STDF_ATR:
        case STDF_MRR:
        case STDF_PCR:
        case STDF_HBR:
        case STDF_SBR:
        case STDF_WRR:
        case STDF_WCR:
        case STDF_PIR:
        case STDF_TSR:
        case STDF_KINDS:
                break;
        }
}

static void put_words(struct cli *c, const struct seen *s, const struct stdf_reader *f)
{
        struct table t = table_of(c->arena, "rlrrrrrrr");
        const char *const heads[] = {"TEST", "NAME", "N", "VALUES", "FAILED", "LEAST", "MOST", "LOW", "HIGH"};
        text_f(&c->out, "%s: STDF V4, %s-endian, ", c->args[0], f->is_big_endian ? "big" : "little");
        put_count(&c->out, (long long)f->record_n, "record", "records");
        if (f->unknown_n)
                text_f(&c->out, " (%zu of kinds that are passed over)", f->unknown_n);
        text_f(&c->out, "; lot %s, ", s->lot);
        if (s->of_kind[STDF_WIR] == 1)
                text_f(&c->out, "wafer %s", s->wafer);
        else
                put_count(&c->out, (long long)s->of_kind[STDF_WIR], "wafer", "wafers");
        text_put(&c->out, "; ");
        put_count(&c->out, (long long)s->of_kind[STDF_PRR], "part", "parts");
        text_f(&c->out, ": %zu good, %zu failed, %zu neither\n", s->good, s->failed, s->of_kind[STDF_PRR] - s->good - s->failed);
        for (size_t i = 0; i < 9; i++)
                table_cell(&t, "%s", heads[i]);
        for (size_t i = 0; i < s->test_n; i++) {
                const struct test_seen *q = &s->test[i];
                const double numbers[] = {q->least, q->most, q->low, q->high};
                table_cell(&t, "%lu", (unsigned long)q->number);
                table_cell(&t, "%s", q->name);
                table_cell(&t, "%zu", q->n);
                table_cell(&t, "%zu", q->values);
                table_cell(&t, q->failed ? "%zu" : "", q->failed);
                for (size_t k = 0; k < 4; k++) {
                        struct text number;
                        text_init(&number, 0);
                        if (isfinite(numbers[k]))
                                put_quantity(&number, numbers[k], NAN, q->unit[0] ? q->unit : "1");
                        table_cell(&t, "%s", text_of(&number));
                        text_done(&number);
                }
        }
        if (s->test_n)
                table_put(&t, &c->out);
}

static void put_json(struct cli *c, const struct seen *s, const struct stdf_reader *f)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "byte_order", f->is_big_endian ? "big" : "little");
        json_open(&o, "records", '{');
        for (int k = 1; k < STDF_KINDS; k++)
                if (s->of_kind[k])
                        json_int(&o, stdf_layouts[k].name, (int64_t)s->of_kind[k]);
        json_close(&o, '}');
        json_int(&o, "passed_over", (int64_t)f->unknown_n);
        json_text(&o, "lot", s->lot);
        json_text(&o, "wafer", s->of_kind[STDF_WIR] == 1 ? s->wafer : NULL);
        json_int(&o, "parts", (int64_t)s->of_kind[STDF_PRR]);
        json_int(&o, "good", (int64_t)s->good);
        json_int(&o, "failed", (int64_t)s->failed);
        json_open(&o, "tests", '[');
        for (size_t i = 0; i < s->test_n; i++) {
                const struct test_seen *q = &s->test[i];
                json_open(&o, NULL, '{');
                json_int(&o, "number", q->number);
                json_text(&o, "name", q->name);
                json_text(&o, "unit", q->unit);
                json_int(&o, "n", (int64_t)q->n);
                json_int(&o, "values", (int64_t)q->values);
                json_int(&o, "failed", (int64_t)q->failed);
                json_int(&o, "unreliable", (int64_t)q->unreliable);
                json_real(&o, "least", q->least);
                json_real(&o, "most", q->most);
                json_real(&o, "low", q->low);
                json_real(&o, "high", q->high);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

enum code do_stdf(struct cli *c, struct tp_error *err)
{
        struct seen s = {.arena = c->arena, .lot = "", .wafer = ""};
        struct stdf_reader f;
        struct stdf_record r;
        const char *bytes;
        size_t n;
        bool has = true;
        enum code code = offline_bytes(c, c->args[0], &bytes, &n, err);
        if (code)
                return code;
        code = stdf_open(bytes, n, &f, err);
        while (!code && has) {
                code = stdf_next(&f, &r, &has, err);
                if (!code && has)
                        take(&s, &r);
        }
        if (code)
                return tp_where(err, "%s", c->args[0]);
        if (s.broken)
                return tp_fail_memory(err);
        if (cli_json(c))
                put_json(c, &s, &f);
        else
                put_words(c, &s, &f);
        return CODE_OK;
}

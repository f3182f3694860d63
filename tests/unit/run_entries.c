/* run_entries.c: journal bodies survive their text, bit for bit. */
#include "tests/unit/run_bench.h"
#include <float.h>
#include <math.h>

static double any_double(struct dice *d)
{
        static const double edges[] = {0.0, -0.0, 1.0, -1.0, DBL_MAX, -DBL_MAX, DBL_MIN, 0x1p-1074, 0.1, 1e22, 9007199254740993.0, 1.0 / 3};
        union {
                uint64_t u;
                double x;
        } bits;
        if (dice_is(d, 0.2))
                return edges[dice_n(d, (int)(sizeof edges / sizeof edges[0]))];
        do
                bits.u = dice_u64(d);
        while (!isfinite(bits.x));
        return bits.x;
}
static void any_text(struct dice *d, char *to, size_t size)
{
        static const char *const parts[] = {"contact", " ", "\"quoted\"", "back\\slash", "\xC3\xA9", "\xE2\x82\xAC", "0", "/", "%s"};
        size_t n = 0;
        while (dice_is(d, 0.8)) {
                const char *part = parts[dice_n(d, (int)(sizeof parts / sizeof parts[0]))];
                if (n + strlen(part) >= size)
                        break;
                memcpy(to + n, part, strlen(part));
                n += strlen(part);
        }
}
static void any_state(struct dice *d, struct state_read *s)
{
        s->separated = dice_n(d, 3);
        s->axes = dice_n(d, 3);
        s->bias_off = dice_n(d, 3);
        s->in_contact = dice_is(d, 0.5);
        s->latched = dice_is(d, 0.5);
        s->x_um = any_double(d);
        s->y_um = any_double(d);
        s->z_um = any_double(d);
        s->volt_max = any_double(d);
        s->place = dice_n(d, PLACE_COUNT);
}
static void any_modes(struct dice *d, struct port_modes *m)
{
        m->delay_fs = any_double(d);
        m->loss_db = any_double(d);
        m->contact_ohm = any_double(d);
        m->contact_h = any_double(d);
        m->position_um = any_double(d);
}
static void any_args(struct dice *d, struct step_args *a)
{
        a->place = dice_n(d, PLACE_COUNT);
        a->target = (int32_t)dice_u64(d);
        a->use = dice_n(d, USE_WITNESS + 1);
        a->x_um = any_double(d);
        a->y_um = any_double(d);
        a->overtravel_um = any_double(d);
        a->sweep = dice_n(d, 9) - 1;
        a->condition = dice_n(d, 9) - 1;
        a->channel = dice_n(d, 9);
        a->volt = any_double(d);
        a->limit_a = any_double(d);
        a->gate_channel = dice_n(d, 9);
        a->gate_volt = any_double(d);
        a->gate_limit_a = any_double(d);
        a->gate_by_current = dice_is(d, 0.5);
        a->open_v = any_double(d);
        a->wait_s = any_double(d);
        a->lamp = dice_is(d, 0.5);
        a->attempt = dice_n(d, 9);
        a->calibration = dice_n(d, 9);
        a->purpose = dice_n(d, PURPOSE_REMEASURE + 1);
}
static void any_outcome(struct dice *d, struct outcome *o)
{
        any_state(d, &o->state);
        o->station_ns = (int64_t)(dice_u64(d) >> 11);
        o->station_boot = (uint32_t)dice_u64(d);
        o->temperature_c = any_double(d);
        o->contact = dice_n(d, CONTACT_ABSENT + 1);
        any_text(d, o->reason, sizeof o->reason);
        for (int i = 0; i < 3; i++)
                o->dc_ohm[i] = any_double(d);
        o->flags = (uint32_t)dice_u64(d);
        o->accepted = dice_is(d, 0.5);
        o->cause = dice_n(d, CAUSE_BAD_TOUCH + 1);
        any_modes(d, &o->modes[0]);
        any_modes(d, &o->modes[1]);
        o->transmission_fs = any_double(d);
        o->worst = any_double(d);
        o->code_seen = (int32_t)dice_u64(d);
        o->code_want = (int32_t)dice_u64(d);
}
static void any_note(struct dice *d, struct note *n)
{
        n->note = dice_n(d, NOTE_KIND_COUNT);
        n->die_x = (int32_t)dice_u64(d);
        n->die_y = (int32_t)dice_u64(d);
        any_text(d, n->who, sizeof n->who);
        any_text(d, n->why, sizeof n->why);
        n->of_step = dice_u64(d) >> 11; /* a run's number below 2^21, then the seq */
        any_state(d, &n->state);
        n->has_state = dice_is(d, 0.5);
        n->station_boot = (uint32_t)dice_u64(d);
}

static void bodies_survive_their_text_bit_for_bit(void **state)
{
        (void)state;
        for (uint64_t seed = seed_first(1); seed <= seed_last(4000); seed++) {
                struct dice d = dice_new(seed);
                struct entry e, read;
                struct text text;
                struct tp_error err = {0};
                memset(&e, 0, sizeof e);
                e.phase = (enum entry_phase)(1 + dice_n(&d, 3));
                if (e.phase == PHASE_INTEND)
                        any_args(&d, &e.body.args);
                else if (e.phase == PHASE_OUTCOME)
                        any_outcome(&d, &e.body.outcome);
                else
                        any_note(&d, &e.body.note);
                text_init(&text, 0);
                entry_body_write(&e, &text);
                memset(&read, 0xFF, sizeof read);
                memset(&read, 0, offsetof(struct entry, body));
                read.phase = e.phase;
                if (!text_ok(&text) || entry_body_read(&read, text_of(&text), text.n, &err))
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": %s: %s", seed, err.text, text_of(&text));
                if (memcmp(&e.body, &read.body, sizeof e.body) != 0)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": another body came back from %s", seed, text_of(&text));
                text_done(&text);
        }
}

static void what_is_no_number_and_no_text_stays_readable(void **state)
{
        (void)state;
        struct entry e, read;
        struct text text;
        struct tp_error err = {0};
        memset(&e, 0, sizeof e);
        e.phase = PHASE_OUTCOME;
        e.body.outcome.dc_ohm[0] = (double)NAN;
        e.body.outcome.worst = (double)INFINITY;
        e.body.outcome.modes[1].delay_fs = (double)-INFINITY;
        memset(e.body.outcome.reason, 'x', sizeof e.body.outcome.reason - 1);
        memcpy(e.body.outcome.reason, "a\nb\x01", 4);
        e.body.outcome.reason[78] = (char)0xE2; /* a character cut in two by the size of the field */
        text_init(&text, 0);
        entry_body_write(&e, &text);
        memset(&read, 0, sizeof read);
        read.phase = PHASE_OUTCOME;
        if (entry_body_read(&read, text_of(&text), text.n, &err))
                fail_msg("%s: %s", err.text, text_of(&text));
        assert_true(isnan(read.body.outcome.dc_ohm[0]));
        assert_true(read.body.outcome.worst == DBL_MAX);
        assert_true(read.body.outcome.modes[1].delay_fs == -DBL_MAX);
        assert_memory_equal(read.body.outcome.reason, "a?b?xxx", 7);
        assert_int_equal(read.body.outcome.reason[78], '?');
        text_done(&text);
}

static void bad_bodies_are_refused_with_their_place(void **state)
{
        (void)state;
        static const struct {
                enum entry_phase phase;
                const char *json, *says;
        } bad[] = {
                {PHASE_OUTCOME, "{\"contact\":\"fine\"}", "fine"},
                {PHASE_OUTCOME, "{\"worst\":null}", "worst"},
                {PHASE_NOTE, "{\"note\":\"boot\",\"station\":1}", "nearest"},
                {PHASE_INTEND, "{\"target\":1.5}", "1.5"},
                {PHASE_INTEND, "{\"target\":1", "JSON"},
                {PHASE_UNKNOWN, "{}", "phase"},
        };
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
                struct entry e;
                struct tp_error err = {0};
                memset(&e, 0, sizeof e);
                e.seq = 41;
                e.phase = bad[i].phase;
                assert_int_not_equal(entry_body_read(&e, bad[i].json, strlen(bad[i].json), &err), CODE_OK);
                if (!strstr(err.text, bad[i].says) || !strstr(err.text, "41"))
                        fail_msg("\"%s\" does not name %s", err.text, bad[i].says);
        }
}

static void each_step_row_is_whole(void **state)
{
        (void)state;
        for (int k = STEP_NONE + 1; k < STEP_KIND_COUNT; k++) {
                assert_string_equal(step_rows[k].word, step_words[k]);
                assert_true(step_rows[k].deadline_ns > 0);
                assert_true(!step_rows[k].sideways || step_rows[k].wants_separated);
                assert_true(!step_rows[k].hazardous || step_rows[k].by_station);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(bodies_survive_their_text_bit_for_bit),
                cmocka_unit_test(what_is_no_number_and_no_text_stays_readable),
                cmocka_unit_test(bad_bodies_are_refused_with_their_place),
                cmocka_unit_test(each_step_row_is_whole),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

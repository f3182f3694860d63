/* run_bench.h: a small plan made by hand, and a station that is not there: it knows the physical truth (up, biased, referenced, where), can
   fail in every way, and notes when it is asked for something that would break probes or wafer.  Shared by tests/unit/run_*.c. */
#ifndef TIPPLANE_TESTS_RUN_BENCH_H
#define TIPPLANE_TESTS_RUN_BENCH_H
#include <inttypes.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>
#include "base/hash.h"
#include "run/decide.h"
#include "run/laws.h"
#include "run/trust.h"

#define UNUSED __attribute__((unused))

/* xoshiro256** (Blackman, Vigna 2018), seeded by splitmix64 */
struct dice {
        uint64_t s[4];
};
static inline uint64_t dice_u64(struct dice *d)
{
        uint64_t r = d->s[1] * 5, t = d->s[1] << 17;
        r = (r << 7 | r >> 57) * 9;
        d->s[2] ^= d->s[0];
        d->s[3] ^= d->s[1];
        d->s[1] ^= d->s[2];
        d->s[0] ^= d->s[3];
        d->s[2] ^= t;
        d->s[3] = d->s[3] << 45 | d->s[3] >> 19;
        return r;
}
static inline struct dice dice_new(uint64_t seed)
{
        struct dice d;
        for (int i = 0; i < 4; i++) {
                uint64_t z = seed += UINT64_C(0x9E3779B97F4A7C15);
                z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
                z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
                d.s[i] = z ^ z >> 31;
        }
        return d;
}
static inline double dice_share(struct dice *d) { return (double)(dice_u64(d) >> 11) * 0x1p-53; }
static inline bool dice_is(struct dice *d, double share) { return dice_share(d) < share; }
static inline int dice_n(struct dice *d, int n) { return (int)(dice_u64(d) % (uint64_t)n); }

/* ---- the plan ---- */
struct bench_options {
        int dies, devices, conditions, pad_budget, copy_budget, tip_budget, every_dies, retouch_max, recalibrate_max, tries_max, ladders;
        bool no_checks, replayed, remeasure, rescue, proof_required;
};
static UNUSED const struct bench_options bench_standard = {.dies = 8,
                                                           .devices = 3,
                                                           .conditions = 2,
                                                           .pad_budget = 3,
                                                           .copy_budget = 30,
                                                           .tip_budget = 5000,
                                                           .every_dies = 3,
                                                           .retouch_max = 1,
                                                           .recalibrate_max = 2,
                                                           .tries_max = 2,
                                                           .ladders = 3,
                                                           .remeasure = true,
                                                           .proof_required = true};
enum { BENCH_STANDARDS = 5, BENCH_DIES_MAX = 80, BENCH_DEVICES_MAX = 12 };
struct bench {
        struct recipe recipe;
        struct plan plan;
        struct sweep_plan sweeps[1];
        struct segment segments[1];
        struct standard standards[BENCH_STANDARDS];
        struct measure measures[BENCH_DEVICES_MAX];
        struct condition conditions[3];
        struct die dies[BENCH_DIES_MAX];
        struct target targets[BENCH_STANDARDS + 8 + BENCH_DIES_MAX * BENCH_DEVICES_MAX];
        struct plan_thing things[2 + BENCH_STANDARDS + 8 + BENCH_DIES_MAX * BENCH_DEVICES_MAX];
        int32_t prove[8], calibrate[4], verify[1], check[3], visits[BENCH_DIES_MAX * BENCH_DEVICES_MAX], visit_die[BENCH_DIES_MAX],
                visit_begin[BENCH_DIES_MAX + 1];
};

static inline int32_t bench_thing(struct bench *b, const char *kind, int budget)
{
        struct plan_thing *t = &b->things[b->plan.thing_n];
        snprintf(t->kind, sizeof t->kind, "%s", kind);
        t->budget = budget;
        return (int32_t)b->plan.thing_n++;
}
static inline int32_t bench_target(struct bench *b, int32_t kind, int32_t place, int32_t die, int32_t item, bool raised, int32_t thing)
{
        struct target *t = &b->targets[b->plan.target_n];
        *t = (struct target){.kind = kind,
                             .place = place,
                             .die = die,
                             .item = item,
                             .x_um = 10.0 * (double)b->plan.target_n,
                             .raised = raised,
                             .seconds = raised ? 2 : 4};
        if (!raised) {
                t->things[0] = 0;
                t->things[1] = 1;
                t->things[2] = thing;
                t->thing_n = 3;
        }
        return (int32_t)b->plan.target_n++;
}

/* Standards: raised open, short, load, thru to calibrate; a line to verify; short, thru and the raised open to check. */
static inline struct bench *bench_new(const struct bench_options *o)
{
        struct bench *b = calloc(1, sizeof *b);
        struct plan *p = &b->plan;
        struct recipe *r = &b->recipe;
        assert_non_null(b);
        b->segments[0] = (struct segment){.start_hz = 1e9, .stop_hz = 2e9, .points = 21, .ifbw_hz = 1000, .averages = 1};
        b->sweeps[0] = (struct sweep_plan){.name = "fast", .segments = b->segments, .segment_n = 1};
        r->sweeps = b->sweeps;
        r->sweep_n = 1;
        snprintf(r->calibration.sweep, sizeof r->calibration.sweep, "fast");
        r->calibration.tries_max = o->tries_max;
        r->setup.overtravel_um = 30;
        r->max_volt = 20;
        r->mandate = (struct mandate){.retouch_max = o->retouch_max,
                                      .recalibrate_max = o->recalibrate_max,
                                      .remeasure_suspects = o->remeasure,
                                      .rescue_suspects = o->rescue};
        r->check.every_dies = o->every_dies;
        r->proof.required = o->proof_required;
        r->standards = b->standards;
        r->standard_n = BENCH_STANDARDS;
        r->measures = b->measures;
        r->measure_n = (size_t)o->devices;
        for (int k = 0; k < o->conditions; k++)
                b->conditions[k] = (struct condition){.volt = k == 0 ? 0 : 5.0 * k, .channel = k ? 1 : 0, .limit_a = 0.01, .settle_s = 0.5};
        for (int k = 0; k < o->devices; k++) {
                snprintf(b->measures[k].sweep, sizeof b->measures[k].sweep, "fast");
                b->measures[k].conditions = b->conditions;
                b->measures[k].condition_n = (size_t)(k % 2 ? 1 : o->conditions);
        }
        p->recipe = r;
        p->dies = b->dies;
        p->targets = b->targets;
        p->things = b->things;
        p->prove = b->prove;
        p->calibrate = b->calibrate;
        p->verify = b->verify;
        p->check = b->check;
        p->visits = b->visits;
        p->visit_die = b->visit_die;
        p->visit_begin = b->visit_begin;
        p->replayed = o->replayed;
        bench_thing(b, "tip", o->tip_budget);
        bench_thing(b, "tip", o->tip_budget);
        for (int i = 0; i < BENCH_STANDARDS; i++) {
                b->standards[i].raised = i == 0;
                bench_target(b, TARGET_STANDARD, PLACE_SUBSTRATE, -1, i, i == 0, i ? bench_thing(b, "copy", o->copy_budget) : 0);
        }
        for (int32_t i = 0; i < 4; i++)
                p->calibrate[p->calibrate_n++] = i;
        p->verify[p->verify_n++] = 4;
        if (!o->no_checks) {
                p->check[p->check_n++] = 1;
                p->check[p->check_n++] = 3;
                p->check[p->check_n++] = 0;
        }
        for (int i = 0; i < o->dies; i++) {
                b->dies[i] = (struct die){.x = (int16_t)(i % 4), .y = (int16_t)(i / 4)};
                p->visit_die[p->visit_die_n] = i;
                p->visit_begin[p->visit_die_n++] = (int32_t)p->visit_n;
                for (int k = 0; k < o->devices; k++)
                        p->visits[p->visit_n++] =
                                bench_target(b, TARGET_DEVICE, PLACE_WAFER, i, k, false, bench_thing(b, "pad", o->pad_budget));
        }
        p->die_n = (size_t)o->dies;
        p->visit_begin[p->visit_die_n] = (int32_t)p->visit_n;
        for (int i = 0; i < o->ladders; i++)
                p->prove[p->prove_n++] = bench_target(b, TARGET_LADDER, PLACE_WAFER, i, 0, false, bench_thing(b, "pad", 8));
        sha256_of(o, sizeof *o, p->digest);
        return b;
}

/* ---- the fold, and its shadow through the journal's text ---- */
struct fold {
        const struct plan *plan;
        struct evidence *e, *shadow, *copy;
        uint64_t seed, seq;
        int64_t now_ns;
        uint32_t boot;
        size_t entries;
        struct entry *kept; /* the whole journal, where `keeps` asks for it */
        size_t kept_room;
        bool keeps;
};
static inline struct evidence *fold_block(const struct plan *p)
{
        struct evidence *e = malloc(evidence_bytes(p));
        assert_non_null(e);
        memset(e, 0xA5, evidence_bytes(p));
        evidence_init(e, p);
        return e;
}
static inline void fold_begin(struct fold *f, const struct plan *p, uint64_t seed)
{
        *f = (struct fold){.plan = p,
                           .e = fold_block(p),
                           .shadow = fold_block(p),
                           .copy = fold_block(p),
                           .seed = seed,
                           .boot = 1,
                           .now_ns = INT64_C(1000000000)};
}
static inline void fold_end(struct fold *f)
{
        free(f->e);
        free(f->shadow);
        free(f->copy);
        free(f->kept);
}
static inline void fold_trust_holds(struct fold *f)
{
        for (uint32_t i = 0; i < f->e->touch_n; i++) {
                const struct touch_seen *t = &evidence_touches(f->e)[i];
                enum trust trust;
                enum trust_why why;
                trust_of(f->plan, f->e, t, &trust, &why);
                if ((int32_t)trust != t->trust || (int32_t)why != t->trust_why)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ", entry %" PRIu64 ": touch %u is %s (%s) by the fold, %s (%s) anew", f->seed,
                                 f->seq, i, trust_words[t->trust], trust_why_words[t->trust_why], trust_words[trust], trust_why_words[why]);
        }
}
/* Live and through encode and decode: both must be the same, bit for bit. */
static inline void fold_put(struct fold *f, struct entry *entry)
{
        struct tp_error err = {0};
        struct text body;
        struct entry read;
        entry->seq = ++f->seq;
        entry->boot = f->boot;
        entry->boot_ns = f->now_ns;
        if (evidence_apply(f->e, f->plan, entry, &err))
                fail_msg("TIPPLANE_SEED=%" PRIu64 ": %s", f->seed, err.text);
        text_init(&body, 0);
        entry_body_write(entry, &body);
        memset(&read, 0, sizeof read);
        read.seq = entry->seq;
        read.step = entry->step;
        read.phase = entry->phase;
        read.kind = entry->kind;
        read.rule = entry->rule;
        read.code = entry->code;
        read.boot = entry->boot;
        read.boot_ns = entry->boot_ns;
        if (!text_ok(&body) || entry_body_read(&read, text_of(&body), body.n, &err) || evidence_apply(f->shadow, f->plan, &read, &err))
                fail_msg("TIPPLANE_SEED=%" PRIu64 ": %s: %s", f->seed, err.text, text_of(&body));
        text_done(&body);
        if (memcmp(f->e, f->shadow, f->e->bytes) != 0)
                fail_msg("TIPPLANE_SEED=%" PRIu64 ", entry %" PRIu64 ": the fold of the journal differs from the live evidence", f->seed,
                         f->seq);
        if (f->keeps && f->entries == f->kept_room) {
                f->kept_room = 2 * f->kept_room + 256;
                f->kept = realloc(f->kept, f->kept_room * sizeof *f->kept);
                assert_non_null(f->kept);
        }
        if (f->keeps)
                f->kept[f->entries] = *entry;
        if (f->entries++ % 64 == 0)
                fold_trust_holds(f);
}
static inline void fold_note(struct fold *f, enum note_kind kind)
{
        struct entry entry = {.phase = PHASE_NOTE};
        entry.body.note.note = kind;
        fold_put(f, &entry);
}
static inline uint64_t fold_intend(struct fold *f, const struct step *s)
{
        struct entry entry = {
                .phase = PHASE_INTEND, .kind = s->kind, .rule = s->rule, .step = (UINT64_C(7) << 32) + f->seq + 1, .body.args = s->args};
        fold_put(f, &entry);
        return entry.step;
}

/* Random words may stand anywhere, but a bool holds 0 or 1: anything else is undefined in C, not in the evidence. */
static inline void bools_tidy(struct evidence *e)
{
        unsigned char *at[] = {(unsigned char *)&e->state.in_contact, (unsigned char *)&e->state.latched,
                               (unsigned char *)&e->open_args.lamp};
        for (size_t i = 0; i < sizeof at / sizeof at[0]; i++)
                *at[i] = *at[i] != 0;
}

/* ---- the station that is not there ---- */
struct fake {
        struct dice dice;
        bool up, biased, referenced, latched, blind /* a driver is lost: nothing can be read */;
        int at, boot;
        int32_t *touched; /* physical touches per thing */
        double drift, share_doubtful, share_absent, share_flagged, share_fail, share_check_fails, share_refused, share_place_wrong;
        int faults_left, fails_next; /* so many steps in a row fail */
        const char *broken;          /* what would have been broken, NULL: nothing */
};
static inline struct state_read fake_state(const struct fake *k)
{
        struct state_read s;
        memset(&s, 0, sizeof s);
        if (k->blind)
                return s;
        s.separated = k->up ? KNOW_KNOWN : KNOW_UNKNOWN;
        s.in_contact = !k->up;
        s.axes = k->referenced ? KNOW_KNOWN : KNOW_UNKNOWN;
        s.bias_off = k->biased ? KNOW_UNKNOWN : KNOW_KNOWN;
        s.volt_max = k->biased ? 5 : 0.01;
        s.latched = k->latched;
        s.x_um = k->at / 3.0;
        return s;
}
static inline void fake_break(struct fake *k, const char *what)
{
        if (!k->broken)
                k->broken = what;
}
static inline int32_t fake_grade(struct fake *k)
{
        double x = dice_share(&k->dice);
        return x < k->share_absent ? CONTACT_ABSENT : x < k->share_absent + k->share_doubtful ? CONTACT_DOUBTFUL : CONTACT_GOOD;
}
/* Does it; returns the outcome's code.  What would break probes, pads or devices is noted in k->broken. */
static inline enum code fake_do(struct fake *k, const struct plan *p, const struct step *s, struct outcome *o)
{
        const struct target *t = s->args.target >= 0 ? &p->targets[s->args.target] : NULL;
        bool fails = k->faults_left > 0 && dice_is(&k->dice, k->share_fail);
        k->faults_left -= fails;
        if (k->fails_next > 0 && step_rows[s->kind].by_station) {
                k->fails_next--;
                fails = true;
        }
        if (k->latched && step_rows[s->kind].hazardous)
                fake_break(k, "a latched station was moved");
        switch (s->kind) {
        case STEP_MOVE:
        case STEP_HOME:
        case STEP_ALIGN:
        case STEP_PARK:
                if (!k->up)
                        fake_break(k, "sideways in contact");
                if (k->biased)
                        fake_break(k, "sideways with bias on");
                if (s->kind != STEP_HOME && !k->referenced)
                        fake_break(k, "moved without reference");
                k->at = s->kind == STEP_MOVE && !fails ? s->args.target : -1;
                if (s->kind == STEP_HOME && !fails)
                        k->referenced = true;
                break;
        case STEP_LOWER:
                if (!k->up || k->biased)
                        fake_break(k, "lowered while down or biased");
                if (k->at != s->args.target)
                        fake_break(k, "lowered elsewhere");
                for (int32_t i = 0; i < t->thing_n; i++)
                        if (++k->touched[t->things[i]] > p->things[t->things[i]].budget)
                                fake_break(k, "a thing was touched beyond its budget");
                k->up = fails && dice_is(&k->dice, 0.5);
                o->contact = fake_grade(k);
                break;
        case STEP_SEPARATE:
                if (k->biased)
                        fake_break(k, "separated with bias on");
                k->up = !fails || dice_is(&k->dice, 0.5);
                break;
        case STEP_BIAS_ON:
                if (k->up || k->biased)
                        fake_break(k, "bias without contact, or over another");
                k->biased = true;
                break;
        case STEP_BIAS_OFF:
                k->biased = fails;
                break;
        case STEP_SAFE:
                k->blind = false;
                k->latched = fails;
                if (!fails) {
                        k->biased = false;
                        k->up = true;
                }
                break;
        case STEP_INVENTORY:
                k->blind = fails;
                break;
        case STEP_SWEEP:
                if (t->raised || s->args.use == USE_WITNESS ? !k->up : k->up)
                        fake_break(k, "swept up in the air, or a raised standard in contact");
                o->contact = t->raised ? CONTACT_UNKNOWN : fake_grade(k);
                o->flags = dice_is(&k->dice, k->share_flagged) ? 2 : 0;
                break;
        case STEP_READ_DC:
                if (k->up)
                        fake_break(k, "a ladder was read in the air");
                o->code_want = s->args.target;
                o->code_seen = s->args.target + dice_is(&k->dice, k->share_place_wrong);
                break;
        case STEP_SOLVE:
        case STEP_VERIFY:
                o->accepted = !dice_is(&k->dice, k->share_refused);
                break;
        case STEP_CHECK:
                o->accepted = k->drift < 1 && !dice_is(&k->dice, k->share_check_fails);
                o->cause = o->accepted ? CAUSE_NONE : dice_is(&k->dice, 0.2) ? CAUSE_BAD_TOUCH : CAUSE_DELAY;
                break;
        case STEP_JUDGE_PLACE:
                o->accepted = true;
                break;
        case STEP_FINISH:
                if (!k->up || k->biased || k->latched)
                        fake_break(k, "the run ended without being safe");
                break;
        case STEP_NONE:
        case STEP_LAMP:
        case STEP_WAIT:
        case STEP_UNLOAD:
        case STEP_KIND_COUNT:
                break;
        }
        if (fails && step_rows[s->kind].by_station && !k->fails_next && dice_is(&k->dice, 0.2))
                k->blind = true;
        o->state = fake_state(k);
        return fails ? (step_rows[s->kind].by_station ? CODE_TIMED_OUT : CODE_CANCELLED) : CODE_OK;
}
/* One whole step as it should go: intention, motion, outcome. */
static inline enum code fold_step(struct fold *f, struct fake *k, const struct step *s)
{
        struct entry entry = {.phase = PHASE_OUTCOME, .kind = s->kind, .rule = s->rule};
        entry.step = fold_intend(f, s);
        f->now_ns += INT64_C(1000000000);
        entry.code = fake_do(k, f->plan, s, &entry.body.outcome);
        entry.body.outcome.station_boot = step_rows[s->kind].by_station ? (uint32_t)k->boot : 0;
        entry.body.outcome.station_ns = f->now_ns;
        fold_put(f, &entry);
        return entry.code;
}
static inline struct fake fake_new(const struct plan *p, uint64_t seed)
{
        struct fake k = {.dice = dice_new(seed), .up = true, .at = -1, .boot = 1, .touched = calloc(p->thing_n, sizeof(int32_t))};
        assert_non_null(k.touched);
        return k;
}

static inline uint64_t seed_first(uint64_t standard)
{
        const char *text = getenv("TIPPLANE_SEED");
        return text ? strtoull(text, NULL, 10) : standard;
}
static inline uint64_t seed_last(uint64_t standard)
{
        const char *text = getenv("TIPPLANE_SEED");
        return text ? strtoull(text, NULL, 10) : standard;
}

#endif

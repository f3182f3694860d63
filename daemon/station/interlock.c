/* interlock.c: may this operation begin, what is true while it runs, what is known afterwards.
 * Laws        no sideways motion unless separation is known · contact changes only with bias read below 0.5 V · no bias unless in
 *             contact, within the station's own ceiling, and above 60 V DC (IEC 61010-1, hazardous live) only with the key · no
 *             overtravel beyond the limit · nothing that lowers, moves or raises bias with the interlock loop open · a latched station
 *             does nothing but what makes it safe.
 * Invariants  only a reading makes anything KNOWN; an operation leaves at most a belief, a failure leaves UNKNOWN; unknown counts as in
 *             contact and biased.
 * Exception   one: the ladder may separate with bias unknown when the station's file says so and it has waited as long as that file says.
 * Not here    who asks (serve), which way out (ladder.c), the calls themselves (serve_act.c). */
#include "station/interlock.h"
#include "recipe/recipe.h"
#include <math.h>
#include <string.h>

const struct op_row op_rows[OP_KIND_COUNT] = {
        [OP_NONE] = {.word = "none"},
        [OP_STOP] = {.word = "stop", .makes_safe = true},
        [OP_HOME] = {.word = "home", .sideways = true, .moves = true, .wants_separated = true, .wants_bias_off = true},
        [OP_ALIGN] =
                {.word = "align", .sideways = true, .moves = true, .wants_axes = true, .wants_separated = true, .wants_bias_off = true},
        [OP_MOVE] = {.word = "move", .sideways = true, .moves = true, .wants_axes = true, .wants_separated = true},
        [OP_LOWER] = {.word = "lower",
                      .contact_changes = true,
                      .moves = true,
                      .wants_axes = true,
                      .wants_separated = true,
                      .wants_bias_off = true},
        [OP_SEPARATE] = {.word = "separate", .makes_safe = true, .contact_changes = true, .moves = true, .wants_bias_off = true},
        [OP_BIAS_SET] = {.word = "set bias", .sets_bias = true, .wants_contact = true},
        [OP_BIAS_ZERO] = {.word = "bias to zero", .makes_safe = true, .sets_bias = true},
        [OP_READ_BIAS] = {.word = "read bias", .makes_safe = true},
        [OP_WHERE] = {.word = "read position", .makes_safe = true},
        [OP_SWEEP] = {.word = "sweep"},
        [OP_METER] = {.word = "read DC meter", .wants_bias_off = true},
        [OP_LAMP] = {.word = "lamp"},
        [OP_UNLOAD] = {.word = "unload", .sideways = true, .wants_separated = true, .wants_bias_off = true},
        [OP_SPACING] = {.word = "set spacing", .sideways = true, .moves = true, .wants_separated = true, .wants_bias_off = true},
        [OP_READ_SPACING] = {.word = "read spacing", .makes_safe = true},
        [OP_PROVEN] = {.word = "proven safe", .makes_safe = true},
        [OP_LATCH] = {.word = "latch", .makes_safe = true},
        [OP_WAIT] = {.word = "wait", .makes_safe = true},
};

static const char *know_word(enum know k)
{
        switch (k) {
        case KNOW_UNKNOWN:
                return "unknown";
        case KNOW_BELIEVED:
                return "believed, not read back";
        case KNOW_KNOWN:
                return "known";
        }
        return "unknown";
}

void hazard_init(struct hazard *h, int64_t now_ns)
{
        memset(h, 0, sizeof *h);
        h->unknown_since_ns = now_ns;
}

bool hazard_separated(const struct limits *limits, const struct hazard *h)
{
        if (h->separated != KNOW_KNOWN || h->in_contact == KNOW_KNOWN)
                return false;
        return h->axes != KNOW_KNOWN ||
               h->z_um >= limits->separation_um_min; /* unreferenced, a height means nothing: the stage's own switch counts */
}

bool hazard_bias_off(const struct hazard *h) { return h->bias_off == KNOW_KNOWN && !h->bias_moving; }

bool hazard_safe(const struct limits *limits, const struct hazard *h)
{
        return hazard_separated(limits, h) && hazard_bias_off(h) && !h->moving;
}

static bool ladder_may_separate(const struct limits *limits, const struct hazard *h, int64_t now_ns)
{
        return h->rung > 0 && limits->separate_when_bias_unknown && now_ns - h->unknown_since_ns >= limits->bias_unknown_wait_ns;
}

static enum code refuse_separated(const struct limits *limits, const struct hazard *h, const char *word, struct tp_error *err)
{
        if (h->separated == KNOW_KNOWN && h->in_contact != KNOW_KNOWN)
                return tp_fail(err, CODE_INTERLOCK,
                               "%s: the probes stand at %.0f um, the station asks for %.0f um of separation; separate first", word, h->z_um,
                               limits->separation_um_min);
        return tp_fail(err, CODE_INTERLOCK, "%s: separation is %s, which counts as in contact; separate and read back first", word,
                       know_word(h->in_contact == KNOW_KNOWN ? KNOW_UNKNOWN : h->separated));
}

static enum code refuse_bias(const struct hazard *h, const char *word, struct tp_error *err)
{
        return tp_fail(err, CODE_INTERLOCK,
                       "%s: bias off is %s (last reading %.2f V), which counts as biased; bring it to zero and read it below %.1f V first",
                       word, know_word(h->bias_moving ? KNOW_UNKNOWN : h->bias_off), h->volt_max, VOLT_OFF);
}

/* What the state forbids, whatever the numbers of the operation. */
static enum code admit_state(const struct limits *limits, const struct hazard *h, const struct op *op, int64_t now_ns, struct tp_error *err)
{
        const struct op_row *row = &op_rows[op->kind];
        if (h->latched && !row->makes_safe)
                return tp_fail(err, CODE_INTERLOCK, "%s: the station is latched not proven safe; look at it, then clear the latch by name",
                               row->word);
        if (!h->loop_closed && !row->makes_safe)
                return tp_fail(err, CODE_INTERLOCK, "%s: the interlock loop is open; close door and loop first", row->word);
        if (h->moving && (row->moves || row->wants_contact || row->wants_separated) && !row->makes_safe)
                return tp_fail(err, CODE_INTERLOCK, "%s: the stage may still be moving; stop it and read its position first", row->word);
        if (row->wants_separated && !hazard_separated(limits, h))
                return refuse_separated(limits, h, row->word, err);
        if (row->wants_contact && (h->in_contact != KNOW_KNOWN || h->separated == KNOW_KNOWN))
                return tp_fail(err, CODE_INTERLOCK, "%s: contact is %s; lower and read back first", row->word,
                               h->separated == KNOW_KNOWN ? "absent, the probes are separated" : know_word(h->in_contact));
        if (row->wants_bias_off && !hazard_bias_off(h) && !(op->kind == OP_SEPARATE && ladder_may_separate(limits, h, now_ns)))
                return refuse_bias(h, row->word, err);
        if (row->wants_axes && h->axes != KNOW_KNOWN)
                return tp_fail(err, CODE_INTERLOCK, "%s: the axes are %s; home first", row->word,
                               h->axes == KNOW_BELIEVED ? "only believed" : "not referenced");
        return CODE_OK;
}

/* Heat and vacuum bar what loads the wafer. */
static enum code admit_chuck(const struct limits *limits, const struct hazard *h, const char *word, struct tp_error *err)
{
        if (!(h->temperature_c <= limits->temperature_c_max))
                return tp_fail(err, CODE_INTERLOCK, "%s: the chuck is at %.1f degC, the station's limit is %.1f degC; let it cool", word,
                               h->temperature_c, limits->temperature_c_max);
        if (!h->vacuum)
                return tp_fail(err, CODE_INTERLOCK, "%s: the chuck's vacuum does not hold; look at wafer and pump", word);
        return CODE_OK;
}

static enum code admit_lower(const struct limits *limits, const struct hazard *h, const struct op *op, struct tp_error *err)
{
        if (!(op->overtravel_um > 0 && op->overtravel_um <= limits->overtravel_um_max))
                return tp_fail(err, CODE_INTERLOCK, "lower: overtravel %g um is outside 0 to %g um, the limit now in force",
                               op->overtravel_um, limits->overtravel_um_max);
        return admit_chuck(limits, h, "lower", err);
}

static enum code admit_bias(const struct limits *limits, const struct hazard *h, const struct op *op, struct tp_error *err)
{
        double volt = fabs(op->volt);
        if (op->channel >= limits->channels)
                return tp_fail(err, CODE_INTERLOCK, "set bias: channel %u; the station has %u, counted from 0", op->channel,
                               limits->channels);
        if (!(volt <= limits->volt_max))
                return tp_fail(err, CODE_INTERLOCK, "set bias: %g V is above %g V, the limit now in force", op->volt, limits->volt_max);
        if (!(volt <= limits->volt_max_unarmed) && !limits->armed)
                return tp_fail(err, CODE_INTERLOCK,
                               "set bias: %g V is above %g V and the station is not armed; only its own file can arm it", op->volt,
                               limits->volt_max_unarmed);
        if (op->by_current && !(isfinite(op->limit_a) && op->volt > 0))
                return tp_fail(err, CODE_INTERLOCK, "set bias: %g A held up to %g V; a held current needs a voltage limit above 0",
                               op->limit_a, op->volt);
        if (!op->by_current && !(op->limit_a > 0 && isfinite(op->limit_a)))
                return tp_fail(err, CODE_INTERLOCK, "set bias: current limit %g A; give one above 0", op->limit_a);
        return admit_chuck(limits, h, "set bias", err);
}

static enum code admit_place(const struct op *op, struct tp_error *err)
{
        const char *word = op_rows[op->kind].word;
        if (op->place <= PLACE_UNKNOWN || op->place >= PLACE_COUNT)
                return tp_fail(err, CODE_INTERLOCK, "%s: place %d is none of the station's places", word, (int)op->place);
        if (!isfinite(op->x_um) || !isfinite(op->y_um))
                return tp_fail(err, CODE_INTERLOCK, "%s: position %g, %g um is no position", word, op->x_um, op->y_um);
        return CODE_OK;
}

static enum code admit_numbers(const struct limits *limits, const struct hazard *h, const struct op *op, struct tp_error *err)
{
        switch (op->kind) {
        case OP_ALIGN:
        case OP_MOVE:
                return admit_place(op, err);
        case OP_LOWER:
                return admit_lower(limits, h, op, err);
        case OP_BIAS_SET:
                return admit_bias(limits, h, op, err);
        case OP_SPACING:
                if (!(op->spacing_um > 0 && isfinite(op->spacing_um)))
                        return tp_fail(err, CODE_INTERLOCK, "set spacing: %g um is no spacing", op->spacing_um);
                return CODE_OK;
        case OP_NONE:
                return tp_fail(err, CODE_INTERLOCK, "no operation was named; nothing is done");
        case OP_STOP:
        case OP_HOME:
        case OP_SEPARATE:
        case OP_BIAS_ZERO:
        case OP_READ_BIAS:
        case OP_WHERE:
        case OP_SWEEP:
        case OP_METER:
        case OP_LAMP:
        case OP_UNLOAD:
        case OP_READ_SPACING:
        case OP_PROVEN:
        case OP_LATCH:
        case OP_WAIT:
        case OP_KIND_COUNT:
                return CODE_OK;
        }
        return CODE_OK;
}

enum code interlock_admit(const struct limits *limits, const struct hazard *now, const struct op *op, int64_t now_ns,
                          struct hazard *ret_during, struct tp_error *err)
{
        if ((int)op->kind < 0 || op->kind >= OP_KIND_COUNT)
                return tp_fail(err, CODE_INTERLOCK, "operation %d is not known; nothing is done", (int)op->kind);
        enum code code = admit_state(limits, now, op, now_ns, err);
        if (!code)
                code = admit_numbers(limits, now, op, err);
        if (code)
                return code;
        struct hazard h = *now;
        const struct op_row *row = &op_rows[op->kind];
        if (row->moves) {
                h.moving = true;
                h.separated = h.in_contact = KNOW_UNKNOWN;
                h.place = PLACE_UNKNOWN;
        }
        if (op->kind == OP_HOME)
                h.axes = KNOW_UNKNOWN;
        if (row->sets_bias) {
                h.bias_moving = true;
                h.bias_off = KNOW_UNKNOWN;
        }
        *ret_during = h;
        return CODE_OK;
}

static void settle_position(struct hazard *h, enum code code, const struct readback *rb)
{
        if (code || !rb || !rb->has_position || !isfinite(rb->z_um) || (rb->in_contact && rb->separated)) { /* both at once is no reading */
                h->separated = h->in_contact = KNOW_UNKNOWN;
                h->place = PLACE_UNKNOWN;
                h->axes = KNOW_UNKNOWN;
                return;
        }
        h->separated = rb->separated ? KNOW_KNOWN : KNOW_UNKNOWN;
        h->in_contact = rb->in_contact ? KNOW_KNOWN : KNOW_UNKNOWN;
        h->axes = rb->axes ? KNOW_KNOWN : KNOW_UNKNOWN;
        h->z_um = rb->z_um;
        h->place = rb->axes ? rb->place : PLACE_UNKNOWN;
}

static void settle_volt(struct hazard *h, enum code code, const struct readback *rb)
{
        if (code || !rb || !rb->has_volt || !isfinite(rb->volt_max)) {
                h->bias_off = KNOW_UNKNOWN;
                return;
        }
        h->volt_max = fabs(rb->volt_max);
        h->bias_off = !h->bias_moving && h->volt_max < VOLT_OFF ? KNOW_KNOWN : KNOW_UNKNOWN; /* a reading during a ramp proves nothing */
}

/* A role that answers is no longer lost; one whose line is dead, or that lets a deadline pass, is. */
static void settle_lost(struct hazard *h, enum op_kind kind, enum code code)
{
        bool lost = code == CODE_LINK_DEAD || code == CODE_TIMED_OUT;
        if (op_rows[kind].moves || kind == OP_STOP || kind == OP_WHERE)
                h->driver_lost_stage = lost || (h->driver_lost_stage && code);
        if (op_rows[kind].sets_bias || kind == OP_READ_BIAS)
                h->driver_lost_bias = lost || (h->driver_lost_bias && code);
}

void interlock_settle(struct hazard *h, const struct op *op, enum code code, const struct readback *rb, int64_t now_ns)
{
        bool was_off = hazard_bias_off(h);
        if ((int)op->kind < 0 || op->kind >= OP_KIND_COUNT)
                return;
        const struct op_row *row = &op_rows[op->kind];
        settle_lost(h, op->kind, code);
        if (row->moves) { /* a failed motion may still go on: only a stop ends it */
                h->moving = code != CODE_OK;
                h->separated = !code && (op->kind == OP_SEPARATE || row->sideways) ? KNOW_BELIEVED : KNOW_UNKNOWN;
                h->in_contact = !code && op->kind == OP_LOWER ? KNOW_BELIEVED : KNOW_UNKNOWN;
                h->place = PLACE_UNKNOWN;
                if (op->kind == OP_HOME)
                        h->axes = code ? KNOW_UNKNOWN : KNOW_BELIEVED;
        }
        if (row->sets_bias) {
                h->bias_moving = code != CODE_OK;
                h->bias_off = !code && op->kind == OP_BIAS_ZERO ? KNOW_BELIEVED : KNOW_UNKNOWN;
        }
        if (op->kind == OP_STOP)
                h->moving = code != CODE_OK;
        if (op->kind == OP_WHERE)
                settle_position(h, code, rb);
        if (op->kind == OP_READ_BIAS)
                settle_volt(h, code, rb);
        if (op->kind == OP_LATCH)
                h->latched = true;
        if (was_off && !hazard_bias_off(h))
                h->unknown_since_ns = now_ns;
}

void hazard_to_state(const struct hazard *h, struct state_read *ret)
{
        *ret = (struct state_read){
                .separated = (int32_t)(h->moving ? KNOW_UNKNOWN : h->separated),
                .axes = (int32_t)h->axes,
                .bias_off = (int32_t)(h->bias_moving ? KNOW_UNKNOWN : h->bias_off),
                .in_contact = h->in_contact == KNOW_KNOWN && !h->moving,
                .latched = h->latched,
                .z_um = isfinite(h->z_um) ? h->z_um : 0,
                .volt_max = isfinite(h->volt_max) ? h->volt_max : 0,
                .place = h->place,
        };
}

/* state.c: keeping the physical world: one JSON document, written whole, at most once per operation.
   A write that fails is no reason for the world to stop: it goes on in memory and is written with the next operation. */
#include "simulators/bench.h"
#include <stdio.h>
#include <string.h>

#define S struct bench_state
#define I64(m)                                                         \
        {                                                              \
                .key = #m, .type = FIELD_I64, .offset = offsetof(S, m) \
        }
#define I32(m)                                                         \
        {                                                              \
                .key = #m, .type = FIELD_I32, .offset = offsetof(S, m) \
        }
#define REAL(m)                                                         \
        {                                                               \
                .key = #m, .type = FIELD_REAL, .offset = offsetof(S, m) \
        }
#define REALS(m)                                                                                    \
        {                                                                                           \
                .key = #m, .type = FIELD_REALS, .offset = offsetof(S, m), .size = sizeof((S *)0)->m \
        }
#define BOOL(m)                                                         \
        {                                                               \
                .key = #m, .type = FIELD_BOOL, .offset = offsetof(S, m) \
        }
static const struct field state_fields[] = {
        I64(seed),    I64(targets),     I64(now_ns),       I64(epoch_ns),    I64(power_on_ns), REAL(x_um),   REAL(y_um),
        REAL(z_um),   REAL(spacing_um), I64(flex_n),       I64(flex_ns),     I32(place),       BOOL(axes),   BOOL(in_contact),
        BOOL(lamp),   I32(aligned),     REALS(off_x_um),   REALS(off_y_um),  I32(target),      I32(touch),   I64(contact_ns),
        REALS(volt),  REALS(limit_a),   REALS(ampere),     I32(held),        I64(home_n),      I64(align_n), I64(align_wafer_n),
        I64(sweep_n), I64(trigger_n),   I64(lower_n),      I64(bias_read_n), I64(meter_n),     I64(chuck_n), I64(touch_n),
        I64(mains_n), I64(told),        BOOL(vacuum_lost),
};
static const struct object state_object = {.name = "physical_state",
                                           .say = "The physical world of a simulated station.",
                                           .bytes = sizeof(S),
                                           .fields = state_fields,
                                           .field_n = sizeof state_fields / sizeof state_fields[0]};

static void touches_write(const struct bench *b, struct json_out *o)
{
        struct text hex;
        text_init(&hex, 0);
        for (size_t i = 0; i < b->target_n; i++)
                text_f(&hex, "%04x", b->touches[i]);
        json_text(o, "touches", text_of(&hex));
        text_done(&hex);
}

static enum code touches_read(struct bench *b, const cJSON *json, struct tp_error *err)
{
        const char *hex = cJSON_GetStringValue(json);
        if (!hex || strlen(hex) != 4 * b->target_n)
                return tp_fail(err, CODE_DAMAGED,
                               "the list of touches is not %zu numbers long; remove the state file to begin with an untouched wafer",
                               b->target_n);
        for (size_t i = 0; i < b->target_n; i++) {
                unsigned n = 0;
                if (sscanf(hex + 4 * i, "%4x", &n) != 1)
                        return tp_fail(err, CODE_DAMAGED,
                                       "touch count %zu is no hex number; remove the state file to begin with an untouched wafer", i);
                b->touches[i] = (uint16_t)n;
        }
        return CODE_OK;
}

void bench_save(struct bench *b)
{
        struct text t;
        if (!b->kept && !b->scenario.state_file[0])
                return;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        fields_write(&state_object, &b->state, &o, "state");
        touches_write(b, &o);
        json_close(&o, '}');
        if (!text_ok(&t)) {
                text_done(&t);
        } else if (b->kept) {
                text_done(&b->kept->bytes);
                b->kept->bytes = t;
        } else {
                b->world->file->write(b->world, b->scenario.state_file, text_of(&t), t.n, 0600, NULL);
                text_done(&t);
        }
}

enum code state_load(struct bench *b, bool *ret_found, struct tp_error *err)
{
        struct text t;
        struct bench_state s = {0};
        cJSON *json = NULL;
        enum code code = CODE_OK;
        *ret_found = false;
        text_init(&t, 0);
        if (b->kept)
                text_bytes(&t, text_of(&b->kept->bytes), b->kept->bytes.n);
        else if (b->scenario.state_file[0])
                code = b->world->file->read(b->world, b->scenario.state_file, 16u << 20, &t, err);
        if (code == CODE_NOT_FOUND || (!code && t.n == 0)) {
                text_done(&t);
                return CODE_OK;
        }
        if (!code)
                code = json_read(text_of(&t), t.n, 8, &json, err);
        if (!code)
                code = fields_read(&state_object, cJSON_GetObjectItemCaseSensitive(json, "state"), NULL, &s, err);
        if (!code && (s.seed != b->scenario.seed || s.targets != (int64_t)b->target_n))
                code = tp_fail(
                        err, CODE_STATE,
                        "it belongs to seed %lld with %lld targets, not to this scenario (%lld, %zu); name another state file or remove it",
                        (long long)s.seed, (long long)s.targets, (long long)b->scenario.seed, b->target_n);
        if (!code && !(s.place > 0 && s.place < SIM_PLACES && s.target >= -1 && s.target < (int32_t)b->target_n))
                code = tp_fail(err, CODE_DAMAGED, "place %d or target %d does not exist; remove the state file to begin anew", (int)s.place,
                               (int)s.target);
        if (!code)
                code = touches_read(b, cJSON_GetObjectItemCaseSensitive(json, "touches"), err);
        if (!code) {
                b->state = s;
                *ret_found = true;
        }
        cJSON_Delete(json);
        text_done(&t);
        return code ? tp_where(err, "state file %s", b->scenario.state_file) : CODE_OK;
}

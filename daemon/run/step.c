/* step.c: the kinds of step, once, for daemon and station, and the field table of their arguments. */
#include "run/step.h"
#include "base/world.h"
#include "recipe/recipe.h"
#include <math.h>

#define SECONDS(n) ((int64_t)(n)*1000000000)

const struct step_row step_rows[STEP_KIND_COUNT] = {
        /* Longest time one such step may take before it counts as failed; sweeps add their own computed time (decide.c). */
        [STEP_NONE] = {.word = "none"},
        [STEP_INVENTORY] = {.word = "inventory", .by_station = true, .deadline_ns = SECONDS(30)},
        [STEP_SAFE] = {.word = "safe", .by_station = true, .deadline_ns = SECONDS(120)},
        [STEP_HOME] = {.word = "home",
                       .by_station = true,
                       .sideways = true,
                       .wants_separated = true,
                       .hazardous = true,
                       .deadline_ns = SECONDS(180)},
        [STEP_ALIGN] = {.word = "align",
                        .by_station = true,
                        .sideways = true,
                        .wants_separated = true,
                        .hazardous = true,
                        .deadline_ns = SECONDS(600)},
        [STEP_MOVE] = {.word = "move",
                       .by_station = true,
                       .sideways = true,
                       .wants_separated = true,
                       .hazardous = true,
                       .deadline_ns = SECONDS(60)},
        [STEP_LOWER] = {.word = "lower",
                        .by_station = true,
                        .durable = true,
                        .contact_changes = true,
                        .wants_separated = true,
                        .hazardous = true,
                        .deadline_ns = SECONDS(30)},
        [STEP_READ_DC] = {.word = "read_dc", .by_station = true, .wants_contact = true, .deadline_ns = SECONDS(30)},
        [STEP_BIAS_ON] = {.word = "bias_on",
                          .by_station = true,
                          .durable = true,
                          .wants_contact = true,
                          .hazardous = true,
                          .deadline_ns = SECONDS(60)},
        [STEP_BIAS_OFF] = {.word = "bias_off", .by_station = true, .deadline_ns = SECONDS(60)},
        [STEP_SWEEP] = {.word = "sweep", .by_station = true, .deadline_ns = SECONDS(30)},
        [STEP_SEPARATE] = {.word = "separate", .by_station = true, .contact_changes = true, .hazardous = true, .deadline_ns = SECONDS(30)},
        [STEP_LAMP] = {.word = "lamp", .by_station = true, .deadline_ns = SECONDS(10)},
        [STEP_WAIT] = {.word = "wait", .by_station = true, .deadline_ns = SECONDS(10)},
        [STEP_PARK] = {.word = "park",
                       .by_station = true,
                       .sideways = true,
                       .wants_separated = true,
                       .hazardous = true,
                       .deadline_ns = SECONDS(120)},
        [STEP_UNLOAD] = {.word = "unload",
                         .by_station = true,
                         .durable = true,
                         .sideways = true,
                         .wants_separated = true,
                         .hazardous = true,
                         .deadline_ns = SECONDS(300)},
        [STEP_SOLVE] = {.word = "solve", .deadline_ns = SECONDS(120)},
        [STEP_VERIFY] = {.word = "verify", .durable = true, .deadline_ns = SECONDS(120)},
        [STEP_CHECK] = {.word = "check", .deadline_ns = SECONDS(120)},
        [STEP_JUDGE_PLACE] = {.word = "judge_place", .deadline_ns = SECONDS(30)},
        [STEP_FINISH] = {.word = "finish", .deadline_ns = SECONDS(120)},
};
const char *const step_words[] = {"none",    "inventory", "safe",  "home",        "align",  "move", "lower", "read_dc",
                                  "bias_on", "bias_off",  "sweep", "separate",    "lamp",   "wait", "park",  "unload",
                                  "solve",   "verify",    "check", "judge_place", "finish", NULL};
const char *const sweep_use_words[] = {"unknown", "device", "standard", "check", "witness", NULL};
const char *const purpose_words[] = {"unknown", "place", "calibrate", "verify", "check", "device", "remeasure", NULL};
_Static_assert(sizeof step_words / sizeof step_words[0] == STEP_KIND_COUNT + 1, "each kind of step has a word");
_Static_assert(sizeof sweep_use_words / sizeof sweep_use_words[0] == USE_WITNESS + 2, "each use has a word");
_Static_assert(sizeof purpose_words / sizeof purpose_words[0] == PURPOSE_REMEASURE + 2, "each purpose has a word");

#define AT(member) offsetof(struct step_args, member)
#define REAL(name, member, u)                                                                             \
        {                                                                                                 \
                .key = name, .type = FIELD_REAL, .offset = AT(member), .standard = (double)NAN, .unit = u \
        }
#define INT(name, member, absent)                                                        \
        {                                                                                \
                .key = name, .type = FIELD_I32, .offset = AT(member), .standard = absent \
        }
static const struct field step_args_fields[] = {
        {.key = "place", .type = FIELD_CHOICE, .offset = AT(place), .words = place_words, .say = "where the probes stand or go"},
        INT("target", target, -1),
        {.key = "use", .type = FIELD_CHOICE, .offset = AT(use), .words = sweep_use_words, .say = "what the sweep is for"},
        REAL("x_um", x_um, "um"),
        REAL("y_um", y_um, "um"),
        REAL("overtravel_um", overtravel_um, "um"),
        REAL("spacing_um", spacing_um, "um"),
        INT("sweep", sweep, -1),
        INT("condition", condition, -1),
        INT("channel", channel, 0),
        REAL("volt", volt, "V"),
        REAL("limit_a", limit_a, "A"),
        INT("gate_channel", gate_channel, 0),
        REAL("gate_volt", gate_volt, "V"),
        REAL("gate_limit_a", gate_limit_a, "A"),
        {.key = "gate_by_current", .type = FIELD_BOOL, .offset = AT(gate_by_current)},
        REAL("open_v", open_v, "V"),
        REAL("wait_s", wait_s, "s"),
        {.key = "lamp", .type = FIELD_BOOL, .offset = AT(lamp)},
        INT("attempt", attempt, 0),
        INT("calibration", calibration, 0),
        {.key = "purpose",
         .type = FIELD_CHOICE,
         .offset = AT(purpose),
         .words = purpose_words,
         .say = "which part of the night the step belongs to"},
};
const struct object step_args_object = {.name = "step_args",
                                        .say = "What one step is told.",
                                        .bytes = sizeof(struct step_args),
                                        .fields = step_args_fields,
                                        .field_n = sizeof step_args_fields / sizeof step_args_fields[0]};

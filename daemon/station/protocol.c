/* protocol.c: the field tables of the frames' bodies; both programs read and write them by these and by nothing else. */
#include "station/protocol.h"
#include "base/fields_rows.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define TABLE(o, title, s, fields_, text) \
        const struct object o = {.name = title, .say = text, .bytes = sizeof(s), .fields = fields_, .field_n = COUNT(fields_)}

const char *const code_words[CODE_COUNT + 1] = {[CODE_OK] = "ok",
                                                [CODE_BAD_INPUT] = "bad_input",
                                                [CODE_NOT_FOUND] = "not_found",
                                                [CODE_STATE] = "state",
                                                [CODE_INTERLOCK] = "interlock",
                                                [CODE_FORBIDDEN] = "forbidden",
                                                [CODE_UNAUTHENTICATED] = "unauthenticated",
                                                [CODE_TIMED_OUT] = "timed_out",
                                                [CODE_CANCELLED] = "cancelled",
                                                [CODE_LINK_DEAD] = "link_dead",
                                                [CODE_BAD_REPLY] = "bad_reply",
                                                [CODE_DISK_FULL] = "disk_full",
                                                [CODE_DISK] = "disk",
                                                [CODE_DAMAGED] = "damaged",
                                                [CODE_TOO_NEW] = "too_new",
                                                [CODE_BUSY] = "busy",
                                                [CODE_MEMORY] = "memory",
                                                [CODE_UNRESOLVABLE] = "unresolvable",
                                                [CODE_BUG] = "bug"};

typedef struct state_read state;
static const struct field state_fields[] = {
        WORD(state, "separated", separated, know_words),
        WORD(state, "axes", axes, know_words),
        WORD(state, "bias_off", bias_off, know_words),
        BOOL(state, "in_contact", in_contact),
        BOOL(state, "latched", latched),
        REAL(state, "x_um", x_um, "um"),
        REAL(state, "y_um", y_um, "um"),
        REAL(state, "z_um", z_um, "um"),
        REAL(state, "volt_max", volt_max, "V"),
        WORD(state, "place", place, place_words),
};
static TABLE(state_object, "station_state", state, state_fields, "What is known of the station, read back.");

typedef struct analyzer_settings settings;
static const struct field settings_fields[] = {
        BOOL(settings, "has_attenuator", has_attenuator),
        BOOL(settings, "has_power", has_power),
        BOOL(settings, "has_ifbw", has_ifbw),
        REAL(settings, "attenuator_1_db", attenuator_db[0], "dB"),
        REAL(settings, "attenuator_2_db", attenuator_db[1], "dB"),
        REAL(settings, "power_low_dbm", power_dbm[0], "dBm"),
        REAL(settings, "power_high_dbm", power_dbm[1], "dBm"),
        REAL(settings, "ifbw_low_hz", ifbw_hz[0], "Hz"),
        REAL(settings, "ifbw_high_hz", ifbw_hz[1], "Hz"),
};
static TABLE(settings_object, "analyzer_settings", settings, settings_fields, "How the analyzer stood in a sweep, read back.");

typedef struct result result;
static const struct field result_fields[] = {
        WORD(result, "kind", kind, step_words),
        WORD(result, "code", code, code_words),
        TEXT(result, "text", text),
        BOOL(result, "effect_unknown", effect_unknown),
        LONG(result, "station_ns", station_ns),
        INT(result, "station_boot", station_boot),
        OBJECT(result, "state", state, state_object),
        REAL(result, "temperature_c", temperature_c, "degC"),
        REAL(result, "seconds", seconds, "s"),
        REAL(result, "dc_12_ohm", dc_ohm[0], "ohm"),
        REAL(result, "dc_1_ohm", dc_ohm[1], "ohm"),
        REAL(result, "dc_2_ohm", dc_ohm[2], "ohm"),
        REAL(result, "volt", volt, "V"),
        REAL(result, "ampere", ampere, "A"),
        INT(result, "flags", flags),
        INT(result, "trigger_count", trigger_count),
        OBJECT(result, "settings", settings, settings_object),
        INT(result, "traces", traces),
};
TABLE(result_object, "result", result, result_fields, "How one step ended.");

typedef struct station_event event;
static const struct field event_fields[] = {
        TEXT(event, "what", what),
        TEXT(event, "text", text),
        OBJECT(event, "state", state, state_object),
        LONG(event, "station_ns", station_ns),
        LONG(event, "step", step),
        BOOL(event, "proven_safe", proven_safe),
        REAL(event, "walk_s", walk_s, "s"),
        LONG(event, "walks", walks),
};
TABLE(station_event_object, "station_event", event, event_fields, "What happened at the station besides the steps.");

typedef struct welcome welcome;
static const struct field welcome_fields[] = {
        TEXT(welcome, "build", build),
        TEXT(welcome, "station", station),
        INT(welcome, "epoch", epoch),
        BOOL(welcome, "granted", granted),
        INT(welcome, "boot_count", boot_count),
        {.key = "boot", .type = FIELD_HEX, .offset = offsetof(welcome, boot), .size = 16},
        LONG(welcome, "station_ns", station_ns),
        BOOL(welcome, "simulated", simulated),
        BOOL(welcome, "replayed", replayed),
        OBJECT(welcome, "state", state, state_object),
        OBJECT(welcome, "last", last, station_event_object),
        LONG(welcome, "walks", walks),
        LONG(welcome, "open_step", open_step),
        TEXT(welcome, "open_state", open_state),
};
TABLE(welcome_object, "welcome", welcome, welcome_fields, "What a station says to a daemon that greets it.");

struct number {
        double value;
};
_Static_assert(sizeof(struct number) == sizeof(double), "a list of numbers is an array of doubles");
static const struct field number_fields[] = {{.key = "v", .type = FIELD_REAL, .offset = 0, .required = true}};
static TABLE(number_object, "number", struct number, number_fields, "One number of a list.");

typedef struct capability_set can;
static const struct field can_fields[] = {
        BOOL(can, "analyzer", analyzer),
        BOOL(can, "stage", stage),
        BOOL(can, "bias", bias),
        BOOL(can, "meter", meter),
        BOOL(can, "chuck", chuck),
        BOOL(can, "signal", signal),
        BOOL(can, "interlock", interlock),
        BOOL(can, "switch_terms", switch_terms),
        BOOL(can, "bias_current", bias_current),
        REAL(can, "freq_hz_min", freq_hz_min, "Hz"),
        REAL(can, "freq_hz_max", freq_hz_max, "Hz"),
        INT(can, "points_max", points_max),
        REAL(can, "volt_max", volt_max, "V"),
        REAL(can, "spacing_um", spacing_um, "um"),
        REAL(can, "spacing_um_min", spacing_um_min, "um"),
        REAL(can, "spacing_um_max", spacing_um_max, "um"),
        {.key = "spacings_um",
         .type = FIELD_LIST,
         .offset = offsetof(can, spacings_um),
         .count_offset = offsetof(can, spacing_n),
         .object = &number_object},
        BOOL(can, "replayed", replayed),
        {.key = "axis_hz",
         .type = FIELD_LIST,
         .offset = offsetof(can, axis_hz),
         .count_offset = offsetof(can, axis_n),
         .object = &number_object},
};
TABLE(capability_object, "capability", can, can_fields, "What a station can do.");

typedef struct welcome_body body;
static const struct field body_fields[] = {OBJECT(body, "welcome", welcome, welcome_object), OBJECT(body, "can", can, capability_object)};
TABLE(welcome_body_object, "welcome_body", body, body_fields, "The body of WELCOME.");

typedef struct hello hello;
static const struct field hello_fields[] = {
        TEXT(hello, "build", build),
        {.key = "epoch", .type = FIELD_I32, .offset = offsetof(hello, epoch), .required = true, .min = 1, .max = 2147483647}};
TABLE(hello_object, "hello", hello, hello_fields, "A daemon asks for the lease.");

typedef struct refusal refusal;
static const struct field refusal_fields[] = {WORD(refusal, "code", code, code_words), TEXT(refusal, "text", text)};
TABLE(refusal_object, "refusal", refusal, refusal_fields, "Why a frame was not obeyed.");

typedef struct did did;
static const struct field did_fields[] = {TEXT(did, "state", state)};
TABLE(did_object, "did", did, did_fields, "What became of a step.");

typedef struct clear clear;
static const struct field clear_fields[] = {{.key = "who", .type = FIELD_TEXT, .offset = 0, .size = sizeof(clear), .required = true}};
TABLE(clear_object, "clear", clear, clear_fields, "Who clears a latch.");

/* entry.c: the body of a journal row as JSON, and back, by one table.
 * Invariants  decode(encode(e)) == e, all bits of the doubles included: 17 significant digits identify a binary64 (IEEE 754-2019, 5.12.2).
 *             A NaN is left out and comes back as NaN; an infinity is written as the largest number of its sign, what is no text as "?":
 *             no row can become unreadable.
 * Not here    phase, kind, rule, times: columns of the journal (store/). */
#include "run/entry.h"
#include "base/fields_rows.h"
#include "base/utf8.h"
#include "recipe/recipe.h"
#include <float.h>
#include <math.h>
#include <string.h>

const char *const contact_words[] = {"unknown", "good", "doubtful", "absent", NULL};
const char *const know_words[] = {"unknown", "believed", "known", NULL};
const char *const note_words[] = {"none",       "run_started",  "boot",    "station_boot",   "station_event",
                                  "compensate", "pause",        "resume",  "finish_early",   "skip_die",
                                  "stop",       "intervention", "cleared", "rescue_offered", NULL};
const char *const cause_words[] = {"unknown", "none", "delay", "loss", "contact", "placement", "wear", "bad_touch", NULL};
_Static_assert(sizeof note_words / sizeof note_words[0] == NOTE_KIND_COUNT + 1, "each kind of note has a word");
_Static_assert(sizeof contact_words / sizeof contact_words[0] == CONTACT_ABSENT + 2, "each grade has a word");
_Static_assert(sizeof know_words / sizeof know_words[0] == KNOW_KNOWN + 2, "each degree of knowledge has a word");
_Static_assert(sizeof cause_words / sizeof cause_words[0] == CAUSE_BAD_TOUCH + 2, "each cause has a word");

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

typedef struct state_read state_read;
static const struct field state_fields[] = {
        WORD(state_read, "separated", separated, know_words),
        WORD(state_read, "axes", axes, know_words),
        WORD(state_read, "bias_off", bias_off, know_words),
        BOOL(state_read, "in_contact", in_contact),
        BOOL(state_read, "latched", latched),
        REAL(state_read, "x_um", x_um, "um"),
        REAL(state_read, "y_um", y_um, "um"),
        REAL(state_read, "z_um", z_um, "um"),
        REAL(state_read, "volt_max", volt_max, "V"),
        WORD(state_read, "place", place, place_words),
};
static const struct object state_object = {.name = "state_read",
                                           .say = "What is known of the station, read back.",
                                           .bytes = sizeof(state_read),
                                           .fields = state_fields,
                                           .field_n = COUNT(state_fields)};
typedef struct port_modes port_modes;
static const struct field modes_fields[] = {
        REAL(port_modes, "delay_fs", delay_fs, "fs"),        REAL(port_modes, "loss_db", loss_db, "dB"),
        REAL(port_modes, "contact_ohm", contact_ohm, "ohm"), REAL(port_modes, "contact_h", contact_h, "H"),
        REAL(port_modes, "position_um", position_um, "um"),  REAL(port_modes, "delay_u_fs", delay_u_fs, "fs"),
        REAL(port_modes, "loss_u_db", loss_u_db, "dB"),
};
static const struct object modes_object = {.name = "port_modes",
                                           .say = "How one port moved since its baseline.",
                                           .bytes = sizeof(port_modes),
                                           .fields = modes_fields,
                                           .field_n = COUNT(modes_fields)};
typedef struct outcome outcome;
static const struct field outcome_fields[] = {
        OBJECT(outcome, "state", state, state_object),
        LONG(outcome, "station_ns", station_ns),
        INT(outcome, "station_boot", station_boot),
        REAL(outcome, "temperature_c", temperature_c, "degC"),
        WORD(outcome, "contact", contact, contact_words),
        TEXT(outcome, "reason", reason),
        REAL(outcome, "dc_12_ohm", dc_ohm[0], "ohm"),
        REAL(outcome, "dc_1_ohm", dc_ohm[1], "ohm"),
        REAL(outcome, "dc_2_ohm", dc_ohm[2], "ohm"),
        INT(outcome, "flags", flags),
        BOOL(outcome, "accepted", accepted),
        WORD(outcome, "cause", cause, cause_words),
        OBJECT(outcome, "port_1", modes[0], modes_object),
        OBJECT(outcome, "port_2", modes[1], modes_object),
        REAL(outcome, "transmission_fs", transmission_fs, "fs"),
        REAL(outcome, "worst", worst, "1"),
        INT(outcome, "code_seen", code_seen),
        INT(outcome, "code_want", code_want),
};
const struct object outcome_object = {.name = "outcome",
                                      .say = "How one step ended.",
                                      .bytes = sizeof(outcome),
                                      .fields = outcome_fields,
                                      .field_n = COUNT(outcome_fields)};

typedef struct note note;
static const struct field note_fields[] = {
        WORD(note, "note", note, note_words),
        INT(note, "die_x", die_x),
        INT(note, "die_y", die_y),
        TEXT(note, "who", who),
        TEXT(note, "why", why),
        LONG(note, "of_step", of_step),
        OBJECT(note, "state", state, state_object),
        BOOL(note, "has_state", has_state),
        INT(note, "station_boot", station_boot),
};
const struct object note_object = {.name = "note",
                                   .say = "What happened besides the steps.",
                                   .bytes = sizeof(note),
                                   .fields = note_fields,
                                   .field_n = COUNT(note_fields)};

static const struct object *object_of(enum entry_phase phase)
{
        switch (phase) {
        case PHASE_INTEND:
                return &step_args_object;
        case PHASE_OUTCOME:
                return &outcome_object;
        case PHASE_NOTE:
                return &note_object;
        case PHASE_UNKNOWN:
                return NULL;
        }
        return NULL;
}

/* What the reader would refuse becomes "?", byte for byte: a text cut in the middle of a character, a control character from an instrument.
 */
static void make_printable(char *text, size_t size)
{
        size_t n = strnlen(text, size - 1);
        for (size_t i = 0, step; i < n; i += step) {
                uint32_t c = 0;
                step = utf8_step(text + i, n - i, &c);
                bool is_bad = !step || c < 0x20 || (c >= 0x7F && c < 0xA0) || c == 0x2028 || c == 0x2029 || (c >= 0x202A && c <= 0x202E) ||
                              (c >= 0x2066 && c <= 0x2069);
                step = step ? step : 1;
                if (is_bad)
                        memset(text + i, '?', step);
        }
        memset(text + n, 0, size - n);
}

/* Infinities become the largest number of their sign, texts printable, as deep as the table goes. */
static void make_readable(const struct object *o, char *base)
{
        for (size_t i = 0; i < o->field_n; i++) {
                char *at = base + o->fields[i].offset;
                if (o->fields[i].type == FIELD_OBJECT)
                        make_readable(o->fields[i].object, at);
                else if (o->fields[i].type == FIELD_TEXT)
                        make_printable(at, o->fields[i].size);
                else if (o->fields[i].type == FIELD_REAL && isinf(*(double *)(void *)at))
                        *(double *)(void *)at = *(double *)(void *)at > 0 ? DBL_MAX : -DBL_MAX;
        }
}

void entry_body_write(const struct entry *e, struct text *to)
{
        const struct object *o = object_of(e->phase);
        struct json_out out = json_to(to);
        if (!o) {
                to->broken = true;
                return;
        }
        struct entry copy;
        memcpy(&copy, e, sizeof copy);
        make_readable(o, (char *)&copy.body);
        fields_write(o, &copy.body, &out, NULL);
}

enum code entry_body_read(struct entry *e, const char *json, size_t n, struct tp_error *err)
{
        const struct object *o = object_of(e->phase);
        if (!o)
                return tp_fail(err, CODE_DAMAGED, "journal entry %llu has the phase %d, which is none of intend, outcome, note",
                               (unsigned long long)e->seq, (int)e->phase);
        memset(&e->body, 0, sizeof e->body);
        if (fields_read_text(o, json, n, NULL, &e->body, err))
                return tp_where(err, "journal entry %llu", (unsigned long long)e->seq);
        return CODE_OK;
}

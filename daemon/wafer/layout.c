/* layout.c: the layout's field table, and the checks a table cannot make.
 * A layout that passes has unique device names, every tip of every footprint on its die, a whole reference die, and a ladder (if any) whose
 * codes can be told apart by a DC meter. */
#include "wafer/layout.h"
#include "wafer/proof.h"
#include "wafer/refuse.h"
#include <math.h>
#include <string.h>

const char *const device_kind_words[] = {"unknown", "inductor", "capacitor", "resistor",   "line",        "open",       "short",
                                         "ladder",  "pad",      "thru",      "short_left", "short_right", "transistor", NULL};
_Static_assert(sizeof device_kind_words / sizeof device_kind_words[0] == DEVICE_KIND_COUNT + 1, "each kind has its word");
const char *const orientation_words[] = {"unknown", "east_west", "north_south", NULL};

/* clang-format off: a table reads better with one row per field */
#define COUNT_OF(a) (sizeof(a) / sizeof(a)[0])

static const struct field footprint_fields[] = {
        {.key = "order",
         .type = FIELD_NAME,
         .offset = offsetof(struct footprint, order),
         .size = 8,
         .standard_text = "GSG",
         .say = "ground and signal tips of one probe, from one side to the other"},
        {.key = "pitch_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct footprint, pitch_um),
         .required = true,
         .min = 10,
         .max = 1000,
         .unit = "um",
         .say = "between neighbouring tips of one probe"},
        {.key = "spacing_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct footprint, spacing_um),
         .required = true,
         .min = 0,
         .max = 50000,
         .unit = "um",
         .say = "between the two probes' signal tips"},
        {.key = "ports", .type = FIELD_I32, .offset = offsetof(struct footprint, ports), .min = 1, .max = 4, .standard = 2},
        {.key = "orientation",
         .type = FIELD_CHOICE,
         .offset = offsetof(struct footprint, orientation),
         .words = orientation_words,
         .standard = ORIENTATION_EAST_WEST,
         .say = "from where the two probes come"},
        {.key = "overtravel_um_max",
         .type = FIELD_REAL,
         .offset = offsetof(struct footprint, overtravel_um_max),
         .required = true,
         .min = 0,
         .max = 200,
         .unit = "um",
         .say = "deepest overtravel these pads stand"},
};
static const struct object footprint_object = {
        .name = "footprint", .bytes = sizeof(struct footprint), .fields = footprint_fields, .field_n = COUNT_OF(footprint_fields)};

static const struct field device_fields[] = {
        {.key = "name", .type = FIELD_NAME, .offset = offsetof(struct device, name), .size = 32, .required = true},
        {.key = "kind", .type = FIELD_CHOICE, .offset = offsetof(struct device, kind), .required = true, .words = device_kind_words},
        {.key = "x_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct device, x_um),
         .required = true,
         .min = -150000,
         .max = 150000,
         .unit = "um",
         .say = "the probes' centre from the die's centre, to the right"},
        {.key = "y_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct device, y_um),
         .required = true,
         .min = -150000,
         .max = 150000,
         .unit = "um",
         .say = "the probes' centre from the die's centre, upwards"},
        {.key = "footprint",
         .type = FIELD_OBJECT,
         .offset = offsetof(struct device, footprint),
         .required = true,
         .object = &footprint_object},
        {.key = "touches_max",
         .type = FIELD_I32,
         .offset = offsetof(struct device, touches_max),
         .required = true,
         .min = 1,
         .max = 1000,
         .say = "budget of its pads, over all runs"},
        {.key = "length_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct device, length_um),
         .min = 0,
         .max = 100000,
         .unit = "um",
         .say = "lines: metal between the pads' inner edges"},
};
static const struct object device_object = {
        .name = "device", .bytes = sizeof(struct device), .fields = device_fields, .field_n = COUNT_OF(device_fields)};

static const struct field die_at_fields[] = {
        {.key = "x", .type = FIELD_I32, .offset = offsetof(struct die_at, x), .required = true, .min = -10000, .max = 10000},
        {.key = "y", .type = FIELD_I32, .offset = offsetof(struct die_at, y), .required = true, .min = -10000, .max = 10000},
        {.key = "reason", .type = FIELD_TEXT, .offset = offsetof(struct die_at, reason), .size = 48, .say = "why this die is named here"},
};
const struct object die_at_object = {
        .name = "die", .bytes = sizeof(struct die_at), .fields = die_at_fields, .field_n = COUNT_OF(die_at_fields)};

#define REFERENCE_AT(member) offsetof(struct layout, reference_die.member) - offsetof(struct layout, reference_die)
static const struct field reference_fields[] = {
        {.key = "x", .type = FIELD_I32, .offset = REFERENCE_AT(x), .required = true, .min = -10000, .max = 10000},
        {.key = "y", .type = FIELD_I32, .offset = REFERENCE_AT(y), .required = true, .min = -10000, .max = 10000},
};
static const struct object reference_object = {.name = "reference_die",
                                               .bytes = sizeof(((struct layout *)0)->reference_die),
                                               .fields = reference_fields,
                                               .field_n = COUNT_OF(reference_fields)};

static const struct field layout_fields[] = {
        {.key = "name", .type = FIELD_TEXT, .offset = offsetof(struct layout, name), .size = 64, .required = true},
        {.key = "diameter_mm",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, diameter_mm),
         .required = true,
         .min = 10,
         .max = 450,
         .unit = "mm"},
        {.key = "notch_deg",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, notch_deg),
         .required = true,
         .min = 0,
         .max = 359.999,
         .unit = "deg",
         .say = "where the notch is, counter-clockwise from +x, seen from above: 270 is at the bottom"},
        {.key = "edge_exclusion_mm",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, edge_exclusion_mm),
         .required = true,
         .min = 0,
         .max = 50,
         .unit = "mm",
         .say = "a die with a corner nearer to the edge is not whole"},
        {.key = "pitch_x_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, pitch_x_um),
         .required = true,
         .min = 100,
         .max = 400000,
         .unit = "um"},
        {.key = "pitch_y_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, pitch_y_um),
         .required = true,
         .min = 100,
         .max = 400000,
         .unit = "um"},
        {.key = "street_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, street_um),
         .min = 0,
         .max = 5000,
         .unit = "um",
         .say = "part of the pitch, not of the die"},
        {.key = "offset_x_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, offset_x_um),
         .min = -400000,
         .max = 400000,
         .unit = "um",
         .say = "centre of die (0,0) from the wafer's centre"},
        {.key = "offset_y_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct layout, offset_y_um),
         .min = -400000,
         .max = 400000,
         .unit = "um"},
        {.key = "reference_die",
         .type = FIELD_OBJECT,
         .offset = offsetof(struct layout, reference_die),
         .required = true,
         .object = &reference_object},
        {.key = "excluded",
         .type = FIELD_LIST,
         .offset = offsetof(struct layout, excluded),
         .object = &die_at_object,
         .count_offset = offsetof(struct layout, excluded_n),
         .min = 0,
         .max = 10000,
         .say = "test inserts, inked dies: never measured"},
        {.key = "devices",
         .type = FIELD_LIST,
         .offset = offsetof(struct layout, devices),
         .required = true,
         .object = &device_object,
         .count_offset = offsetof(struct layout, device_n),
         .min = 1,
         .max = 500},
        {.key = "ladder_columns",
         .type = FIELD_I32,
         .offset = offsetof(struct layout, ladder_columns),
         .min = 2,
         .max = 16,
         .standard = 3,
         .say = "the resistor ladder's code repeats after this many dies of a row"},
};
const struct object layout_object = {.name = "layout",
                                     .say = "The die grid of a wafer and the devices in each die.",
                                     .bytes = sizeof(struct layout),
                                     .fields = layout_fields,
                                     .field_n = COUNT_OF(layout_fields)};

/* clang-format on */

/* The tips reach from the probes' centre: along the line between the signal tips half their spacing, across it the outer grounds. */
static enum code check_inside(const struct layout *l, const struct device *d, struct pointer at, struct tp_error *err)
{
        bool upright = d->footprint.orientation == ORIENTATION_NORTH_SOUTH;
        double along = d->footprint.spacing_um / 2, across = d->footprint.pitch_um * (double)(strlen(d->footprint.order) - 1) / 2;
        double reach_x = fabs(d->x_um) + (upright ? across : along), reach_y = fabs(d->y_um) + (upright ? along : across);
        double half_x = (l->pitch_x_um - l->street_um) / 2, half_y = (l->pitch_y_um - l->street_um) / 2;
        if (!(reach_x <= half_x))
                return refuse_at(
                        err, pointer_at("%s/x_um", at.at),
                        "device %s at %.6g um puts a tip %.6g um from the die's centre, the die ends at %.6g um; move the device inwards",
                        d->name, d->x_um, reach_x, half_x);
        if (!(reach_y <= half_y))
                return refuse_at(
                        err, pointer_at("%s/y_um", at.at),
                        "device %s at %.6g um puts a tip %.6g um from the die's centre, the die ends at %.6g um; move the device inwards",
                        d->name, d->y_um, reach_y, half_y);
        return CODE_OK;
}

static enum code check_device(const struct layout *l, size_t i, const char *prefix, struct tp_error *err)
{
        const struct device *d = &l->devices[i];
        struct pointer at = pointer_at("%s/devices/%zu", prefix, i);
        if (d->kind == DEVICE_UNKNOWN)
                return refuse_at(err, pointer_at("%s/kind", at.at), "\"unknown\" is no kind that can be measured; name what device %s is",
                                 d->name);
        if (d->footprint.orientation == ORIENTATION_UNKNOWN)
                return refuse_at(err, pointer_at("%s/footprint/orientation", at.at),
                                 "\"unknown\" for device %s; say east_west or north_south", d->name);
        if (d->footprint.ports != 2)
                return refuse_at(err, pointer_at("%s/footprint/ports", at.at),
                                 "device %s has %d ports; only two-port devices are measured so far", d->name, d->footprint.ports);
        if (d->kind == DEVICE_LINE && !(d->length_um > 0))
                return refuse_at(err, pointer_at("%s/length_um", at.at),
                                 "line %s has a length of %.6g um; give the metal between its pads' inner edges", d->name, d->length_um);
        for (size_t k = 0; k < i; k++) {
                if (strcmp(l->devices[k].name, d->name) == 0)
                        return refuse_at(err, pointer_at("%s/name", at.at), "\"%s\" is already the name of device %zu; names are unique",
                                         d->name, k);
                if (l->devices[k].x_um == d->x_um && l->devices[k].y_um == d->y_um)
                        return refuse_at(err, at, "device %s stands at %.6g, %.6g um, where %s stands already; move one of them", d->name,
                                         d->x_um, d->y_um, l->devices[k].name);
        }
        return check_inside(l, d, at, err);
}

static const struct die *find(const struct die *dies, size_t n, int x, int y)
{
        for (size_t i = 0; i < n; i++)
                if (dies[i].x == x && dies[i].y == y)
                        return &dies[i];
        return NULL;
}

static enum code check_dies(const struct layout *l, const char *prefix, const struct die *dies, size_t n, struct tp_error *err)
{
        const struct die *reference = find(dies, n, l->reference_die.x, l->reference_die.y);
        if (!reference)
                return refuse_at(err, pointer_at("%s/reference_die", prefix),
                                 "die %d,%d is not a whole die of this wafer; choose one that is", l->reference_die.x, l->reference_die.y);
        for (size_t i = 0; i < l->excluded_n; i++) {
                const struct die_at *e = &l->excluded[i];
                if (!find(dies, n, e->x, e->y))
                        return refuse_at(
                                err, pointer_at("%s/excluded/%zu", prefix, i),
                                "die %d,%d is not a whole die of this wafer, so there is nothing to exclude; correct it or leave it out",
                                e->x, e->y);
                if (e->x == l->reference_die.x && e->y == l->reference_die.y)
                        return refuse_at(err, pointer_at("%s/excluded/%zu", prefix, i),
                                         "die %d,%d is the reference die; choose another reference", e->x, e->y);
        }
        for (size_t i = 0; i < l->device_n; i++) {
                int codes = ladder_codes(l, dies, n);
                if (l->devices[i].kind == DEVICE_LADDER && codes > LADDER_CODES_MAX)
                        return refuse_at(
                                err, pointer_at("%s/ladder_columns", prefix),
                                "%d columns make %d ladder codes on this wafer; a DC meter tells at most %d apart: use fewer columns",
                                l->ladder_columns, codes, LADDER_CODES_MAX);
        }
        return CODE_OK;
}

enum code layout_check(const struct layout *l, const char *prefix, struct tp_error *err)
{
        struct die *dies = NULL;
        size_t n = 0;
        if (!(l->street_um < l->pitch_x_um && l->street_um < l->pitch_y_um))
                return refuse_at(err, pointer_at("%s/street_um", prefix), "a street of %.6g um leaves nothing of a pitch of %.6g x %.6g um",
                                 l->street_um, l->pitch_x_um, l->pitch_y_um);
        if (!(2 * l->edge_exclusion_mm < l->diameter_mm))
                return refuse_at(err, pointer_at("%s/edge_exclusion_mm", prefix), "%.6g mm leaves nothing of a wafer of %.6g mm",
                                 l->edge_exclusion_mm, l->diameter_mm);
        for (size_t i = 0; i < l->device_n; i++) {
                enum code code = check_device(l, i, prefix, err);
                if (code)
                        return code;
        }
        struct arena *scratch = arena_new(0);
        if (!scratch)
                return tp_fail_memory(err);
        enum code code = layout_dies(l, scratch, &dies, &n, err);
        if (code == CODE_BAD_INPUT) /* the sentence has its value already; here it gets its place */
                code = refuse_at(err, pointer_at("%s/pitch_x_um", prefix), "%.6g um (pitch_y_um %.6g um) on a wafer of %.6g mm: %s",
                                 l->pitch_x_um, l->pitch_y_um, l->diameter_mm,
                                 n > 0 ? "more than 20000 dies; no probe station visits so many"
                                       : "not one whole die lies inside the edge exclusion; check pitch and diameter");
        if (!code)
                code = check_dies(l, prefix, dies, n, err);
        arena_free(scratch);
        return code;
}

enum code layout_read(const cJSON *json, struct arena *arena, struct layout *ret, struct tp_error *err)
{
        struct layout l;
        enum code code = fields_read(&layout_object, json, arena, &l, err);
        if (!code)
                code = layout_check(&l, "", err);
        if (!code)
                *ret = l;
        return code;
}

int layout_device(const struct layout *l, const char *name)
{
        for (size_t i = 0; i < l->device_n; i++)
                if (strcmp(l->devices[i].name, name) == 0)
                        return (int)i;
        return -1;
}

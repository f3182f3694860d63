/* wafer/: geometry of dies and places, the order in which they are visited, and what became of them.  Pure.  May use: base/; results and yield also
   rf/numbers/, the others not, for the simulated physics stands on them.  Read layout.h first, then order.h, frame.h; results.h, then yield.h.

   layout.h: the die grid of a wafer and the devices in each die.
   Wafer frame: micrometres, origin at the wafer's centre, x to the right and y up when the wafer is seen from above with the layout's
   notch_deg as drawn; angles counter-clockwise, 0 = +x, so a notch at the bottom is 270.  Die (0,0) has its centre at (offset_x_um,
   offset_y_um); die x grows with +x, y with +y. Device positions are those of the probes' centre relative to the die's centre. */
#ifndef TIPPLANE_WAFER_LAYOUT_H
#define TIPPLANE_WAFER_LAYOUT_H
#include "base/fields.h"

enum device_kind {
        DEVICE_UNKNOWN,
        DEVICE_INDUCTOR,
        DEVICE_CAPACITOR,
        DEVICE_RESISTOR,
        DEVICE_LINE,
        DEVICE_OPEN,
        DEVICE_SHORT,
        DEVICE_LADDER,
        DEVICE_PAD,
        DEVICE_THRU,
        DEVICE_SHORT_LEFT,
        DEVICE_SHORT_RIGHT,
        DEVICE_TRANSISTOR,
        DEVICE_KIND_COUNT
};
extern const char *const device_kind_words[]; /* "unknown", "inductor", … NULL */
enum orientation { ORIENTATION_UNKNOWN, ORIENTATION_EAST_WEST, ORIENTATION_NORTH_SOUTH };

struct footprint {           /* what must stand on the pads */
        char order[8];       /* "GSG" */
        double pitch_um;     /* between neighbouring tips of one probe */
        double spacing_um;   /* between the two probes' signal tips */
        int32_t ports;       /* 2 */
        int32_t orientation; /* enum orientation */
        double overtravel_um_max;
};
struct device {
        char name[32];
        int32_t kind; /* enum device_kind */
        double x_um, y_um;
        struct footprint footprint;
        int32_t touches_max; /* budget of its pads, over all runs */
        double length_um;    /* lines: metal between the pads' inner edges; else 0 */
};
struct die_at {
        int32_t x, y;
        char reason[48];
};
struct layout {
        char name[64];
        double diameter_mm, notch_deg, edge_exclusion_mm;
        double pitch_x_um, pitch_y_um, street_um; /* streets are part of the pitch, not of the die */
        double offset_x_um, offset_y_um;
        struct {
                int32_t x, y;
        } reference_die;
        struct die_at *excluded;
        size_t excluded_n; /* test inserts, inked dies: never measured */
        struct device *devices;
        size_t device_n;
        int32_t ladder_columns; /* the ladder's code is code_of(row, column mod this): see proof.h */
};
extern const struct object layout_object;     /* field table: parser, writer, schema */
extern const struct object die_at_object;     /* the recipe names dies too */
extern const char *const orientation_words[]; /* "unknown", "east_west", "north_south", NULL */

/* Parses and checks: names unique, devices inside the die, reference die whole, at least one whole die. */
enum code layout_read(const cJSON *, struct arena *, struct layout *ret, struct tp_error *);

/* The same checks on a layout inside another document; `prefix` is its JSON pointer ("" at the top). */
enum code layout_check(const struct layout *, const char *prefix, struct tp_error *);

struct die {
        int16_t x, y;
        double x_um, y_um; /* centre */
        bool excluded;
};
/* All whole dies (four corners of the die inside radius - edge exclusion), row by row from the top, left to right; excluded ones included
   and marked. The array comes from `arena`.  CODE_BAD_INPUT: none, or more than 20000 (*ret_n then tells which). */
enum code layout_dies(const struct layout *, struct arena *, struct die **ret, size_t *ret_n, struct tp_error *);
int layout_device(const struct layout *, const char *name); /* index or -1 */

#endif

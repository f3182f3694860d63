/* station/: holds the instruments and outlives the daemon.  Knows no SQL, no HTTP, no wafer: only roles, limits and the ladder to safety.
   Read roles.h, then interlock.h, ladder.h, serve.h.

   roles.h: each role is a table of blocking functions.  Units in the names: micrometre, volt, ampere, hertz, degree Celsius, ohm.
   Calls run on the driver's own task; the deadline is absolute on the boot clock; any task may raise `cancel`.  On failure outputs are
   untouched; err->effect_unknown is set when the command may have happened.  z grows upwards; z = 0 is first contact on the place's own
   height model, so overtravel o is z = -o. */
#ifndef TIPPLANE_STATION_ROLES_H
#define TIPPLANE_STATION_ROLES_H
#include "base/world.h"
#include "recipe/recipe.h"
#include "run/entry.h"

struct cancel; /* station/cancel.h: raised by the ladder and by the lease; drivers ask cancel_raised() between pieces of work */
bool cancel_raised(const struct cancel *);
struct call {
        int64_t deadline_ns;
        struct cancel *cancel;
        uint64_t step;
        struct tp_error *err;
};

struct identity {
        char idn[128], serial[64], firmware[64];
};
enum dtype { DTYPE_UNKNOWN, C64_LE, C64_BE, C128_LE, C128_BE };
extern const char *const dtype_words[]; /* "unknown", "c64le", "c64be", "c128le", "c128be" */
struct block {
        char trace[16]; /* "S11" "S12" "S21" "S22" ratios as formed; "GF" "GR" switch terms */
        enum dtype dtype;
        uint32_t points;
};
/* Data go through a sink: begin() may refuse before a byte is read; nothing is visible before end(). */
struct sink {
        void *ctx;
        enum code (*begin)(void *ctx, const struct block *, struct tp_error *);
        enum code (*chunk)(void *ctx, const void *bytes, size_t n, struct tp_error *);
        enum code (*end)(void *ctx, struct tp_error *);
};

struct device_ops { /* every role has these */
        enum code (*identify)(void *me, struct identity *ret, struct call *);
        enum code (*settings)(void *me, struct text *ret_json, struct call *); /* everything that matters, read back, canonical order */
        enum code (*resync)(void *me, uint8_t nonce, struct call *);
        void (*close)(void *me);
};
struct sweep_ask {
        const struct sweep_plan *plan;
        const double *hz;
        size_t n;
};
struct sweep_facts {
        uint32_t trigger_count;
        double seconds;
        uint32_t flags;
        struct analyzer_settings settings; /* as read back after the sweep, never as asked */
};
struct position {
        double x_um, y_um, z_um;
        int32_t place;
        enum know axes, separated;
        bool in_contact;
};

struct analyzer_ops {
        struct device_ops base;
        enum code (*sweep)(void *me, const struct sweep_ask *, const struct sink *, struct sweep_facts *ret, struct call *);
};
struct stage_ops {
        struct device_ops base;
        enum code (*where)(void *me, struct position *ret, struct call *);
        enum code (*home)(void *me, struct call *);
        enum code (*align)(void *me, int32_t place, struct call *); /* edge, marks, height of that place */
        enum code (*move_xy_um)(void *me, int32_t place, double x_um, double y_um, struct call *);
        enum code (*lower_um)(void *me, double overtravel_um, double speed_um_s, struct call *);
        enum code (*separate)(void *me, struct position *ret_proof, struct call *);
        enum code (*stop)(void *me, struct call *);
};
struct bias_ops {
        struct device_ops base;
        unsigned channels;
        enum code (*set)(void *me, unsigned channel, double volt, double limit_a, struct call *); /* ramps itself at <= 50 mV/ms */
        enum code (*read)(void *me, unsigned channel, double *ret_volt, double *ret_a, struct call *);
        /* Holds a current instead of a voltage, 0 A as well (an open terminal), up to limit_v either way; set() ends it.  NULL: it cannot. */
        enum code (*force)(void *me, unsigned channel, double ampere, double limit_v, struct call *);
};
struct meter_ops {
        struct device_ops base;
        enum code (*read_ohm)(void *me, double ret_ohm[3], struct call *);
}; /* port1-port2, port1-ground, port2-ground; > 1e9: open */
struct chuck_ops {
        struct device_ops base;
        enum code (*read_c)(void *me, double *ret_c, struct call *);
        enum code (*vacuum)(void *me, bool *ret_held, struct call *);
};
struct signal_ops {
        struct device_ops base; /* lamp, door, interlock loop */
        enum code (*lamp)(void *me, bool on, struct call *);
        enum code (*loop)(void *me, bool *ret_closed, struct call *); /* interlock loop: closed = safe to act */
        enum code (*watch)(void *me, struct call *);
};

struct positioner_ops { /* moves the probes apart, each as far; blocks until they stand */
        struct device_ops base;
        enum code (*set_spacing_um)(void *me, double spacing_um, struct call *);
        enum code (*read_spacing_um)(void *me, double *ret_um, struct call *); /* between the signal tips */
};

/* What a station can hold.  A missing role is a NULL table.  `tick` (may be NULL) is the stepped clock of a simulated station: nanoseconds,
 * advances by what it is asked to do. */
struct roles {
        const struct analyzer_ops *analyzer;
        void *analyzer_me;
        const struct stage_ops *stage;
        void *stage_me;
        const struct bias_ops *bias;
        void *bias_me;
        const struct meter_ops *meter;
        void *meter_me;
        const struct chuck_ops *chuck;
        void *chuck_me;
        const struct signal_ops *signal;
        void *signal_me;
        const struct positioner_ops *positioner;
        void *positioner_me;
        int64_t (*tick)(void *tick_me);
        void (*wait)(void *tick_me, int64_t ns);
        void *tick_me;
        struct capability_set *can; /* recipe/plan.h; owned by the driver */
        void (*close)(struct roles *);
};
/* One driver = one file and one row. */
struct driver_row {
        const char *word; /* "simulated", "replay" */
        enum code (*open)(const struct world *, const char *config_json, size_t n, const char *base_dir, struct roles *ret,
                          struct tp_error *);
};
extern const struct driver_row driver_rows[];
extern const size_t driver_row_n;

#endif

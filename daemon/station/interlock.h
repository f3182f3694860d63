/* interlock.h: what is allowed, asked below everything that an API can reach; pure, and cannot be forced.
   Every hazardous call goes admit -> (state := during) -> driver -> settle, in the station process only.  One lock covers admit with the
   state change, and settle; never the driver call, so that the ladder can cancel and act.  Unknown counts as in contact and biased. */
#ifndef TIPPLANE_STATION_INTERLOCK_H
#define TIPPLANE_STATION_INTERLOCK_H
#include "run/entry.h"

struct limits { /* from the station's own file, which no API can write */
        double volt_max, volt_max_unarmed /* 60 V DC at most without a key */, overtravel_um_max, separation_um_min, temperature_c_max;
        unsigned channels;
        bool armed;
        int64_t bias_unknown_wait_ns;    /* from unknown: how long to wait for a reading before separating anyway */
        bool separate_when_bias_unknown; /* false: latch in place */
};
struct hazard {               /* what is known now */
        enum know separated;  /* KNOW_KNOWN: read back that the probes are up */
        enum know in_contact; /* KNOW_KNOWN: read back that they are down */
        enum know bias_off;   /* KNOW_KNOWN: every channel read below 0.5 V */
        enum know axes;       /* referenced */
        double volt_max;      /* last reading, valid while bias is known */
        double z_um;
        int32_t place;
        bool loop_closed, vacuum;
        double temperature_c;
        bool moving, bias_moving, driver_lost_stage, driver_lost_bias;
        bool latched;
        int64_t unknown_since_ns;
        int32_t rung;
};
enum op_kind {
        OP_NONE,
        OP_STOP,
        OP_HOME,
        OP_ALIGN,
        OP_MOVE,
        OP_LOWER,
        OP_SEPARATE,
        OP_BIAS_SET,
        OP_BIAS_ZERO,
        OP_READ_BIAS,
        OP_WHERE,
        OP_SWEEP,
        OP_METER,
        OP_LAMP,
        OP_UNLOAD,
        OP_SPACING, /* the probes apart or together */
        OP_READ_SPACING,
        OP_PROVEN /* ladder: done */,
        OP_LATCH /* ladder: cannot be proven */,
        OP_WAIT,
        OP_KIND_COUNT
};
struct op {
        enum op_kind kind;
        double x_um, y_um, overtravel_um, volt, limit_a, spacing_um;
        bool by_current; /* set bias: limit_a is held, 0 as well, and volt is the limit */
        unsigned channel;
        int32_t place;
        int64_t wait_ns;
        const char *why;
        int32_t rung; /* ladder: what hazard.rung becomes before the operation is admitted; 0 outside a ladder */
};
struct op_row {               /* one table says what an operation touches; the laws are written over it */
        const char *word;     /* "lower" */
        bool makes_safe;      /* allowed while latched and with the loop open: the way out is never barred */
        bool sideways;        /* only separated */
        bool contact_changes; /* only with bias known off */
        bool moves;           /* the stage: position and contact are unknown from admit until read back */
        bool sets_bias;       /* bias is unknown from admit until read back */
        bool wants_axes;      /* only with referenced axes */
        bool wants_separated, wants_contact, wants_bias_off;
};
extern const struct op_row op_rows[OP_KIND_COUNT];
#define VOLT_OFF 0.5 /* below this, read at every channel, bias is off */
struct readback {
        bool has_position;
        double x_um, y_um, z_um;
        int32_t place;
        bool in_contact, separated, axes;
        bool has_volt;
        double volt_max;
};
enum code interlock_admit(const struct limits *, const struct hazard *now, const struct op *, int64_t now_ns, struct hazard *ret_during,
                          struct tp_error *);
void interlock_settle(struct hazard *, const struct op *, enum code, const struct readback *,
                      int64_t now_ns); /* failure leaves UNKNOWN, never the old state */
/* Read back that the probes are up, and high enough once the axes are referenced. */
bool hazard_separated(const struct limits *, const struct hazard *);
bool hazard_bias_off(const struct hazard *);
bool hazard_safe(const struct limits *, const struct hazard *); /* separated, bias off, nothing moving: all read back */
void hazard_init(struct hazard *, int64_t now_ns);              /* everything unknown */
void hazard_to_state(const struct hazard *, struct state_read *ret);

#endif

/* run/: what happens next, why, and what is known.  decide.c, laws.c, evidence.c, trust.c, forecast.c, step.c and entry.c are pure; act.c
   and journal.c act. step.h: the kinds of step, once, for daemon and station: what each touches, spends, and whether its intention must be
   on disk first. */
#ifndef TIPPLANE_RUN_STEP_H
#define TIPPLANE_RUN_STEP_H
#include "base/fields.h"

enum step_kind {
        STEP_NONE,
        /* done by the station */
        STEP_INVENTORY, /* read back every role: axes, height, bias, settings; nothing moves */
        STEP_SAFE,      /* the ladder to proven safe */
        STEP_HOME,      /* reference the axes (only separated) */
        STEP_ALIGN,     /* edge, marks and height of args.place */
        STEP_MOVE,      /* separated, to args.place, x_um, y_um */
        STEP_LOWER,     /* contact with args.overtravel_um; outcome holds DC evidence at start */
        STEP_READ_DC,   /* DC meter, in contact: ohm port1-port2, port1-ground, port2-ground */
        STEP_BIAS_ON,
        STEP_BIAS_OFF,
        STEP_SWEEP, /* at args.sweep; raw ratios and switch terms come back as traces */
        STEP_SEPARATE,
        STEP_LAMP,
        STEP_WAIT,
        STEP_PARK /* separated, bias off, lamp off, in the park position */,
        STEP_UNLOAD,
        /* done by the daemon */
        STEP_SOLVE,       /* the calibration from its standards' sweeps: proposed */
        STEP_VERIFY,      /* judge the verification sweeps: accepted or refused; accepted takes baselines */
        STEP_CHECK,       /* fit the check's modes: passed or failed, cause; closes the interval and opens the next */
        STEP_JUDGE_PLACE, /* compare the ladders' codes */
        STEP_FINISH,      /* write off what is left, seal the run */
        STEP_KIND_COUNT
};
struct step_row {
        const char *word; /* "lower": journal, protocol, screens */
        bool by_station;
        bool durable; /* the intention is on disk before the step begins */
        bool contact_changes, sideways, wants_contact, wants_separated, hazardous;
        int64_t deadline_ns; /* default for one such step */
};
extern const struct step_row step_rows[STEP_KIND_COUNT];
extern const char *const step_words[]; /* for field tables; NULL-terminated */

/* One flat struct for all kinds, so that one field table encodes them; what a kind does not use stays 0 (indexes: -1). */
struct step_args {
        int32_t place, target, use; /* enum place; index into plan->targets; enum sweep_use */
        double x_um, y_um, overtravel_um;
        double spacing_um; /* between the signal tips at the target, set before a move, read back before lowering; 0: as they are */
        int32_t sweep;     /* index into recipe->sweeps */
        int32_t condition; /* index into the measure's conditions */
        int32_t channel;
        double volt, limit_a;
        int32_t gate_channel; /* on before channel; gate_limit_a 0: there is none */
        double gate_volt, gate_limit_a;
        bool gate_by_current; /* a base: gate_limit_a is held and gate_volt is the limit, after channel */
        double open_v;        /* above 0: channel holds no current, up to this voltage: an open collector */
        double wait_s;
        bool lamp;
        int32_t attempt;     /* 1 first touch, 2 retouch */
        int32_t calibration; /* number of the calibration in this run, from 1 */
        int32_t purpose;     /* enum purpose */
};
enum sweep_use { USE_UNKNOWN, USE_DEVICE, USE_STANDARD, USE_CHECK, USE_WITNESS };
extern const char *const sweep_use_words[];
enum purpose { PURPOSE_UNKNOWN, PURPOSE_PLACE, PURPOSE_CALIBRATE, PURPOSE_VERIFY, PURPOSE_CHECK, PURPOSE_DEVICE, PURPOSE_REMEASURE };
extern const char *const purpose_words[];
extern const struct object step_args_object;

#define STEP_SPENDS 8
struct spend {
        uint32_t thing;
        uint16_t touches;
}; /* thing: index into plan->things */
struct step {
        uint64_t id; /* catalogue number of the run << 32 | journal seq of the intention; 0 until intended */
        enum step_kind kind;
        uint16_t rule; /* index into rules[]: name and reason are static text */
        struct step_args args;
        struct spend spend[STEP_SPENDS];
        uint8_t spend_n;
        int64_t not_before_ns, deadline_ns;
        uint64_t
                walks; /* the station's last walk of the ladder that whoever decided this step had heard of; after a later one it is refused */
};

#endif

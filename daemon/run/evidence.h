/* evidence.h: what is known, as a fold of the journal.  evidence_apply() is the only way it changes, live and after a crash.

   One flat block: this struct, then four arrays behind it (targets, touches, intervals, things), reached by the functions below.  No
   pointers, no padding that is not zero: it can be copied with memcpy, compared with memcmp and hashed.  Indexes that may be absent are
   stored plus one.

   Zero is never a permission: a field that is wiped makes the daemon wait, look again, check or leave out, never touch.  Counters
   therefore count what is left, flags say what is allowed (tests/unit/run_mutation.c wipes every word of it). */
#ifndef TIPPLANE_RUN_EVIDENCE_H
#define TIPPLANE_RUN_EVIDENCE_H
#include "recipe/plan.h"
#include "run/entry.h"

enum target_outcome {
        TARGET_OUTCOME_UNKNOWN,
        TARGET_WAITS,      /* planned, nothing final yet */
        TARGET_MEASURED,   /* each condition swept under one touch with good contact (trust says more) */
        TARGET_DOUBTFUL,   /* swept, but the contact was doubtful and no retouch is left: never proven */
        TARGET_NO_CONTACT, /* absent, and no retouch is left */
        TARGET_SKIPPED,    /* by a person, by a budget, by interruptions */
        TARGET_WRITTEN_OFF /* the run ended before it */
};
extern const char *const target_outcome_words[];
enum why_not {
        WHY_NONE,
        WHY_CONTACT_ABSENT,
        WHY_CONTACT_DOUBTFUL,
        WHY_PADS_SPENT,
        WHY_INTERRUPTED,
        WHY_BY_PERSON,
        WHY_FINISHED_EARLY,
        WHY_NO_CALIBRATION,
        WHY_PLACE_UNPROVEN,
        WHY_THINGS_SPENT,
        WHY_SWEEP_FAILED,
        WHY_NO_CHECK,
        WHY_COMPLIANCE,
        WHY_COUNT
};
extern const char *const why_not_words[]; /* whole words for the map and the morning sheet */

struct target_seen {        /* one per plan->targets */
        int32_t outcome;    /* enum target_outcome: devices */
        int32_t why;        /* enum why_not, when not measured */
        int32_t tries_left; /* touches still allowed in this round: 1 + the mandate's retouches at first, fewer with each touch that was
                               graded */
        int32_t interrupts_left; /* touches that may still be cut off and repeated in this round */
        int32_t remeasures_left; /* rounds: 1 when the mandate lets suspects be measured again */
        int32_t attempt;         /* attempt of the last touch, 0 none in this round */
        int32_t grade;           /* enum contact_grade of the last touch, worst of its evidence */
        int32_t touch;           /* 1 + index into touches of the last touch, 0 none */
        int32_t good;            /* standards, ladders: swept or read with good contact in this round (calibration try, check, proof) */
        int32_t code_seen, code_want; /* ladders */
        int32_t unused;
        uint64_t sweep_seq;    /* standards: journal seq of the intention of the good sweep of this round: what SOLVE, VERIFY, CHECK read */
        uint64_t baseline_seq; /* check standards: the same of the check that took the baseline of the calibration in force */
};
enum trust { TRUST_UNKNOWN, TRUST_PROVEN, TRUST_OPEN, TRUST_SUSPECT, TRUST_RESCUED };
extern const char *const trust_words[];
enum trust_why {
        TRUST_WHY_UNKNOWN,
        TRUST_WHY_ALL_PROOFS,
        TRUST_WHY_IN_HAND,
        TRUST_WHY_REPLAYED,
        TRUST_WHY_PLACE,
        TRUST_WHY_CONTACT_ABSENT,
        TRUST_WHY_CONTACT_DOUBTFUL,
        TRUST_WHY_CONTACT_UNKNOWN,
        TRUST_WHY_INTERRUPTED,
        TRUST_WHY_CALIBRATION,
        TRUST_WHY_NO_CHECKS,
        TRUST_WHY_INTERVAL_OPEN,
        TRUST_WHY_CHECK_FAILED,
        TRUST_WHY_WRITTEN_OFF,
        TRUST_WHY_FLAGS,
        TRUST_WHY_UNVERIFIED,
        TRUST_WHY_COUNT
};
extern const char *const trust_why_words[];
#define TOUCH_DISTURBED 0x80000000u  /* an intervention fell into this touch */
#define TOUCH_COMPLIANCE 0x40000000u /* the device drew the bias into its limit: it will again, so it is not touched for it once more */
struct touch_seen {                  /* one per touch of a device in this run, in order */
        uint64_t seq;                /* of the LOWER's intention = id of the touchdown */
        int32_t target;              /* 1 + index into plan->targets */
        int32_t attempt, purpose;
        int32_t calibration;              /* number in force */
        int32_t interval;                 /* 1 + index into intervals, 0 none open */
        int32_t place_proven;             /* the wafer's place was proven when it began */
        int32_t start, first, end, after; /* enum contact_grade: LOWER, first and last SWEEP, SEPARATE */
        uint32_t swept;                   /* bit per condition */
        uint32_t flags;                   /* of all its sweeps, and TOUCH_DISTURBED */
        int32_t ended;                    /* 0 in hand, 1 ended by SEPARATE, 2 cut off, 3 never happened (compensated) */
        int32_t trust, trust_why;         /* enums above, as the entries so far say */
        int32_t previous;                 /* 1 + index of this target's touch before, 0 none */
        uint64_t trust_seq;               /* entry at which trust or reason changed last */
};
struct thing_seen {
        int32_t left;  /* touches still in its budget */
        int32_t spent; /* in this run */
};
enum interval_verdict { INTERVAL_UNKNOWN, INTERVAL_OPEN, INTERVAL_PASSED, INTERVAL_FAILED, INTERVAL_WRITTEN_OFF };
extern const char *const interval_verdict_words[];
enum interval_end { END_UNKNOWN, END_EVERY_DIES, END_INTERVENTION, END_CLOSING };
extern const char *const interval_end_words[];
struct interval_seen {
        uint64_t opened_seq, closed_seq;  /* seq of the outcome of the opening and of the closing CHECK; 0: still open */
        uint64_t first_touch, last_touch; /* seq of the first and last device touch inside; 0 none */
        int32_t calibration, verdict, touches, cause, ended_by, unused;
};
enum place_state { PLACE_STATE_UNKNOWN, PLACE_STATE_PROVEN, PLACE_STATE_REFUSED };
enum calibration_state {
        CALIBRATION_UNKNOWN /* none yet, or a try in progress */,
        CALIBRATION_SOLVED /* proposed */,
        CALIBRATION_ACCEPTED,
        CALIBRATION_REFUSED,
        CALIBRATION_EXPIRED /* a check failed */
};

struct evidence {
        uint64_t bytes, plan_key; /* size of the block; first 8 bytes of the plan's digest */
        uint32_t target_n, touch_room, touch_n, thing_n, interval_room, interval_n;
        uint64_t seq;                /* last entry */
        uint32_t boot, station_boot; /* daemon's boot row; station's boot as last reported */
        int64_t boot_ns, station_ns; /* clocks of the last entry, of the last outcome */
        int64_t failed_ns;           /* boot clock of the last failed outcome */
        /* permission of the run as a whole */
        int32_t started;     /* NOTE_RUN_STARTED seen */
        int32_t may_go;      /* 0: paused */
        int32_t may_measure; /* 0: finish early */
        int32_t may_stay;    /* 0: the daemon was asked to stop */
        int32_t finished;
        int32_t hands_free; /* 1: no step is open */
        /* the open step: intention without outcome */
        uint64_t open_step, open_seq;
        int32_t open_kind, open_rule;
        struct step_args open_args;
        uint64_t last_step;  /* the step that was closed last; its touch may still be given back by NOTE_COMPENSATE … */
        int32_t last_target; /* … if it spent one: 1 + target */
        int32_t offered;     /* NOTE_RESCUE_OFFERED seen */
        /* the station */
        struct state_read state;
        int32_t not_latched; /* 1: the last state read says so */
        int32_t inventory;   /* 1: state was read since the last boot of daemon or station */
        int32_t at;          /* 1 + target the last MOVE reached, 0 unknown */
        int32_t parked;
        int32_t aligned[PLACE_COUNT]; /* since reference was lost last */
        int32_t biased;               /* we switched bias on for touch_condition */
        int32_t retries_left;         /* failed steps in a row that may still be repeated before a person is needed */
        double temperature_c;
        /* proof of place */
        int32_t place; /* enum place_state */
        int32_t place_tries_left;
        /* calibration */
        int32_t calibration;       /* number of the latest try, 0 before the first */
        int32_t calibration_state; /* enum calibration_state */
        int32_t in_force;          /* number of the accepted calibration, 0 none */
        int32_t tries_left;        /* tries of this effort */
        int32_t efforts_left;      /* recalibrations the mandate still allows, plus the first calibration */
        int32_t refused;           /* tries refused in this run */
        /* check and interval */
        int32_t interval;          /* 1 + index of the open one, 0 none */
        int32_t undisturbed;       /* 1: no intervention since the interval opened */
        int32_t dies_left;         /* new dies until the next check */
        int32_t check_rounds_left; /* a check whose own touches were bad may be made once more */
        int32_t check_passed;      /* 1: the last check passed, 2: failed, 0 none yet */
        int32_t check_cause;
        int32_t last_die;    /* 1 + die of the last device touch of this interval */
        int32_t witness_die; /* 1 + die whose witness was taken in this interval */
        /* the touch in hand (devices, standards, ladders) */
        int32_t touch;       /* 1 + target, 0 none; from the LOWER's intention until known separation */
        int32_t touch_works; /* 1: the LOWER succeeded */
        int32_t touch_purpose, touch_attempt, touch_grade;
        int32_t touch_read;        /* ladders: READ_DC done; standards: swept */
        int32_t touch_sweeps_left; /* sweeps of one condition that may still be tried under this touch */
        uint32_t touch_swept;      /* bit per condition */
        int32_t touch_condition;   /* 1 + condition that bias is on for */
        /* counters, for people */
        int32_t interventions, retouches, recalibrations, remeasures, checks, checks_failed, station_deaths, daemon_boots;
        int32_t touches_good, touches_doubtful, touches_absent, touches_cut;
        uint64_t sweeps;
        /* behind: struct target_seen[target_n], touch_seen[touch_room], thing_seen[thing_n], interval_seen[interval_room] */
};

size_t evidence_bytes(const struct plan *);
/* `e` has evidence_bytes(plan) bytes, 8-byte aligned. */
void evidence_init(struct evidence *e, const struct plan *);
/* Order that recovery keeps: NOTE_COMPENSATE of an open step comes before its outcome (a late one gives back the ledger's touches, not the
   try). A failed outcome whose state says nothing at all (all zero) asks for an inventory; it does not mean that the axes are lost.
   Refuses, and leaves e untouched: an entry out of order, an outcome without its intention, an index outside the plan.  CODE_DAMAGED, the
   sentence names the entry. No allocation. */
enum code evidence_apply(struct evidence *e, const struct plan *, const struct entry *, struct tp_error *err);

/* ---- plain access ------------------------------------------------------------------------------------------------------------------- */
static inline struct target_seen *evidence_targets(const struct evidence *e)
{
        return (struct target_seen *)(void *)((char *)(uintptr_t)e + sizeof *e);
}
static inline struct touch_seen *evidence_touches(const struct evidence *e)
{
        return (struct touch_seen *)(void *)(evidence_targets(e) + e->target_n);
}
static inline struct interval_seen *evidence_intervals(const struct evidence *e)
{
        return (struct interval_seen *)(void *)(evidence_touches(e) + e->touch_room);
}
static inline struct thing_seen *evidence_things(const struct evidence *e)
{
        return (struct thing_seen *)(void *)(evidence_intervals(e) + e->interval_room);
}

/* ---- questions (evidence_query.c) --------------------------------------------------------------------------------------------------- */
bool evidence_is_safe(const struct evidence *); /* known separated, bias read off, not latched */
/* May this target be touched once more, by the budget of everything that touch spends? */
bool evidence_can_touch(const struct evidence *, const struct plan *, int target);
/* Could each of these targets be touched once more (raised ones cost nothing)? */
bool evidence_can_touch_all(const struct evidence *, const struct plan *, const int32_t *targets, size_t n);
/* Next device in visit order that waits and can be touched; then suspects that may be measured again (ret_purpose).  -1: none. */
int evidence_next_device(const struct evidence *, const struct plan *, enum purpose *ret_purpose);
bool evidence_is_remeasurable(const struct evidence *, const struct plan *, int target);
/* Devices whose last touch is suspect because the interval that closed last failed by drift, while the mandate lets them be rescued: what a
   new calibration would still be good for.  */
bool evidence_rescue_waits(const struct evidence *, const struct plan *);
bool interval_has_drifted(const struct interval_seen *); /* failed by a port's delay or loss, and no intervention ended it */
struct evidence_counts {
        size_t waits, measured, doubtful, no_contact, skipped, written_off, proven, open, suspect;
};
struct evidence_counts evidence_count(const struct evidence *, const struct plan *); /* devices, each by its last touch */
const struct touch_seen *evidence_touch(const struct evidence *, int target);        /* its last touch, NULL none */
uint64_t evidence_hash(const struct evidence *);
/* What one step of this kind with these arguments spends: the target's things for LOWER, else nothing. */
void step_spends(const struct plan *, struct step *);

#endif

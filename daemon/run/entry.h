/* entry.h: one row of the journal.  Entries are facts of fixed size; the text of a rule may change, a stored entry never.
   Encoded to JSON by one table and decoded by the same. */
#ifndef TIPPLANE_RUN_ENTRY_H
#define TIPPLANE_RUN_ENTRY_H
#include "run/step.h"

enum entry_phase { PHASE_UNKNOWN, PHASE_INTEND, PHASE_OUTCOME, PHASE_NOTE };
enum know { KNOW_UNKNOWN, KNOW_BELIEVED, KNOW_KNOWN };
enum contact_grade { CONTACT_UNKNOWN, CONTACT_GOOD, CONTACT_DOUBTFUL, CONTACT_ABSENT };
extern const char *const contact_words[], *const know_words[];
enum note_kind {
        NOTE_NONE,
        NOTE_RUN_STARTED,
        NOTE_BOOT /* a daemon started and took the run over */,
        NOTE_STATION_BOOT /* the station is another than before */,
        NOTE_STATION_EVENT /* interlock, ladder, latch */,
        NOTE_COMPENSATE,
        NOTE_PAUSE,
        NOTE_RESUME,
        NOTE_FINISH_EARLY,
        NOTE_SKIP_DIE,
        NOTE_STOP /* daemon asked to stop: park */,
        NOTE_INTERVENTION,
        NOTE_CLEARED /* a person cleared a latch */,
        NOTE_RESCUE_OFFERED /* suspects could be evaluated between two calibrations, which the mandate does not grant; once */,
        NOTE_KIND_COUNT
};
extern const char *const note_words[];

/* What is known of the station after an outcome: read back, never assumed. */
struct state_read {
        int32_t separated, axes, bias_off; /* enum know of "is separated", "axes are referenced", "bias was read below 0.5 V" */
        bool in_contact;                   /* known to be in contact */
        bool latched;                      /* not proven safe, only a person clears it */
        double x_um, y_um, z_um, volt_max;
        int32_t place;
};
struct port_modes {
        double delay_fs, loss_db, contact_ohm, contact_h, position_um;
        double delay_u_fs, loss_u_db; /* standard uncertainties by the check's own fit */
};
enum check_cause { CAUSE_UNKNOWN, CAUSE_NONE, CAUSE_DELAY, CAUSE_LOSS, CAUSE_CONTACT, CAUSE_PLACEMENT, CAUSE_WEAR, CAUSE_BAD_TOUCH };
extern const char *const cause_words[];

struct outcome { /* body of PHASE_OUTCOME */
        struct state_read state;
        int64_t station_ns;    /* the station's clock at the end of the step */
        uint32_t station_boot; /* counts the station's boots as this run saw them; 0: done by the daemon */
        double temperature_c;
        int32_t contact;  /* enum contact_grade: LOWER (start) and SWEEP/SEPARATE (end) */
        char reason[160]; /* why doubtful or absent, why refused: plain words */
        double dc_ohm[3]; /* port1-port2, port1-ground, port2-ground; negative: not read */
        uint32_t flags;   /* sweep flags: 1 overload, 2 unlocked, 4 stale, 8 seam, 16 not reciprocal, 32 not passive */
        bool accepted;    /* SOLVE, VERIFY, CHECK, JUDGE_PLACE */
        int32_t cause;    /* enum check_cause */
        struct port_modes modes[2];
        double transmission_fs;       /* CHECK */
        double worst;                 /* VERIFY: worst |S - model|; CHECK: worst share of a limit; JUDGE_PLACE: worst distance in steps */
        int32_t code_seen, code_want; /* READ_DC on a ladder */
};
struct note {         /* body of PHASE_NOTE */
        int32_t note; /* enum note_kind */
        int32_t die_x, die_y;
        char who[40], why[120];
        uint64_t of_step; /* compensate: the step; station event: the step it met */
        struct state_read state;
        bool has_state;
        uint32_t station_boot;
};
struct entry {
        uint64_t seq, step;
        enum entry_phase phase;
        enum step_kind kind; /* STEP_NONE for notes */
        uint16_t rule;
        enum code code; /* outcomes: CODE_OK or why it failed */
        uint32_t boot;  /* row of the run file's boot table */
        int64_t boot_ns, wall_us;
        union {
                struct step_args args;
                struct outcome outcome;
                struct note note;
        } body;
};
extern const struct object outcome_object, note_object;
/* The body as JSON, and back.  Decode(encode(e)) == e bit for bit. */
void entry_body_write(const struct entry *, struct text *to);
enum code entry_body_read(struct entry *e /* phase set */, const char *json, size_t n, struct tp_error *);

#endif

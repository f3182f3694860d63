/* protocol.h: what the frames between tipplaned and tipplane-station mean.  Bodies are JSON by the field tables named here, but for TRACE.
   The daemon's side is link.h, the station's serve.h. */
#ifndef TIPPLANE_STATION_PROTOCOL_H
#define TIPPLANE_STATION_PROTOCOL_H
#include "base/frame.h"
#include "recipe/plan.h"
#include "run/entry.h"

#define LEASE_NS (INT64_C(2500) * NS_PER_MS)
enum frame_kind {
        FRAME_NONE,
        /* daemon to station */
        FRAME_HELLO, /* {"build","epoch"}: epoch = 1 + the catalogue's; the station answers WELCOME or REFUSED */
        FRAME_RENEW, /* lease; empty body */
        FRAME_SETUP, /* the run's recipe: {"recipe": the document as one text}; its limits and sweep plans hold from the next step on */
        FRAME_STEP, /* step_args_object plus "kind" and "walks", the last walk its sender has heard of: after a later walk nothing moves by a
                          step that was decided before.  One at a time */
        FRAME_DID,  /* header's step: what became of it? */
        FRAME_ACK,  /* header's step is committed: forget the result */
        FRAME_RELEASE, /* orderly end: the lease is given back; the station stays as it is if proven safe, else walks the ladder */
        FRAME_CLEAR,   /* a person (named in the body) clears a latch after looking */
        /* anybody in the operators' group */
        FRAME_SAFE, /* walk the ladder now; the answer is SAFE_DONE with proof */
        /* station to daemon */
        FRAME_WELCOME,   /* welcome_body_object: {"welcome","can"} */
        FRAME_REFUSED,   /* {"code","text"}: old epoch, wrong user, busy */
        FRAME_TRACE,     /* one block: 16 B name, u32 dtype, u32 points, then raw bytes; header's step; before its RESULT */
        FRAME_RESULT,    /* result_object: the step is finished; kept until ACK */
        FRAME_DID_REPLY, /* {"state":"never"|"doing"|"done"|"interrupted"} ; done and interrupted are followed by TRACEs and RESULT again */
        FRAME_EVENT,     /* event_object: interlock opened, lease ran out, latch, role lost */
        FRAME_SAFE_DONE, /* event_object */
        FRAME_STATUS     /* state_read + clock, after each RENEW, at most 4 a second */
};
struct result {
        int32_t kind; /* enum step_kind */
        int32_t code;
        char text[440]; /* enum code by its word, and the sentence */
        bool effect_unknown;
        int64_t station_ns;
        uint32_t station_boot;
        struct state_read state;
        double temperature_c, seconds; /* station time the step took */
        double dc_ohm[3];
        double volt, ampere;
        uint32_t flags, trigger_count;
        struct analyzer_settings settings; /* of a sweep */
        int32_t traces;                    /* how many TRACE frames came before */
};
extern const struct object result_object;
struct station_event {
        char what[32]; /* "lease", "interlock", "safe", "asked" (past the daemon), "latched", "role lost", "boot" */
        char text[200];
        struct state_read state;
        int64_t station_ns;
        uint64_t step;
        bool proven_safe;
        double walk_s;  /* what the ladder took, in the station's time */
        uint64_t walks; /* the number of this walk, or of the last one before: grows with each, over boots too */
};
extern const struct object station_event_object;
struct welcome {
        char build[64], station[64]; /* name of the station */
        uint32_t epoch;              /* the one now in force */
        bool granted;                /* it is the greeter's; false: greet again with a greater one than `epoch` */
        uint32_t boot_count;         /* of the station process, from its own log */
        uint8_t boot[16];            /* changes with each start */
        int64_t station_ns;
        bool simulated, replayed;
        struct state_read state;
        struct station_event last; /* what happened meanwhile (what "" if nothing) */
        uint64_t walks;            /* the last walk that is told of, here or in an event before */
        uint64_t open_step;
        char open_state[16]; /* step in hand or held result: "doing", "done", "interrupted", "" */
};
extern const struct object welcome_object;
extern const struct object capability_object; /* struct capability_set of recipe/plan.h */
extern const char *const code_words[];        /* code_rows[].word, as a list for field tables */
struct welcome_body {
        struct welcome welcome;
        struct capability_set can;
};
struct hello {
        char build[64];
        int32_t epoch;
};
struct refusal {
        int32_t code;
        char text[440];
};
struct did {
        char state[16];
};
struct clear {
        char who[40];
};
extern const struct object welcome_body_object, hello_object, refusal_object, did_object, clear_object;
#define TRACE_HEAD_BYTES 24 /* 16 B name, u32 dtype, u32 points, little endian; then the bytes as the instrument gave them */
#define TRACES_MAX 8

/* ---- the daemon's side: link*.c.  One task reads frames and posts messages to the loop's inbox; all functions on the loop's task. ---- */
struct link;
enum link_message { LINK_UP = 100, LINK_DOWN, LINK_RESULT, LINK_DID, LINK_EVENT, LINK_STATUS, LINK_REFUSED, LINK_SAFE_DONE };
struct link_trace {
        char name[16];
        uint32_t dtype, points;
        uint8_t *bytes;
        size_t byte_n;
};
struct link_note { /* what is posted; freed with message.free */
        struct message message;
        uint64_t step;
        struct welcome welcome;
        struct capability_set can;
        struct arena *can_arena; /* LINK_UP */
        struct result result;
        struct link_trace traces[TRACES_MAX];
        size_t trace_n;             /* LINK_RESULT (also after a DID that is done) */
        char did[16];               /* LINK_DID */
        struct station_event event; /* LINK_EVENT, LINK_SAFE_DONE, LINK_STATUS (state, station_ns) */
        struct tp_error why;        /* LINK_DOWN, LINK_REFUSED */
};
/* Connects and reconnects by itself (0.2 s … 2 s); renews the lease every 500 ms while `healthy(ctx)` says so (called on the link's task:
 * only atomics in there). */
struct link *link_open(const struct world *, const char *address, const char *build, uint32_t epoch_of_catalogue, struct inbox *loop,
                       bool (*healthy)(void *ctx), void *ctx, struct tp_error *);
enum code link_setup(struct link *, const struct recipe *, const char *recipe_json, size_t n, struct tp_error *);
enum code link_step(struct link *, const struct step *, struct tp_error *);
enum code link_did(struct link *, uint64_t step, struct tp_error *);
enum code link_ack(struct link *, uint64_t step, struct tp_error *);
enum code link_safe(struct link *, struct tp_error *);
enum code link_clear(struct link *, const char *who, struct tp_error *);
uint32_t link_epoch(const struct link *);
void link_close(struct link *, bool release); /* orderly: RELEASE first; NULL is fine */

#endif

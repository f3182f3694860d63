/* link_own.h: what the files of the daemon's side of the link share.  Two tasks: one reads and reconnects, one writes and renews the lease.
   Notes belong to the loop's inbox once posted. */
#ifndef TIPPLANE_STATION_LINK_OWN_H
#define TIPPLANE_STATION_LINK_OWN_H
#include "station/protocol.h"
#include <stdatomic.h>

enum { LINK_WRITE_S = 2 };
enum { OUT_FRAME = 1, OUT_QUIT };

struct link {
        const struct world *w;
        char *address, build[64];
        struct inbox *loop, *out;
        bool (*healthy)(void *ctx);
        void *ctx;
        struct task *reader, *writer;
        atomic_bool closing, up;
        atomic_uint epoch;       /* in force, or the last one that was */
        struct lock *conn_lock;  /* held by whoever uses or changes conn */
        struct lock *short_lock; /* guards `waking`: the connection that link_close() may cut */
        struct conn *conn, *waking;
        uint32_t ask;             /* the reader's own: the epoch to ask for */
        struct link_note *traces; /* the reader's own: TRACE frames before their RESULT */
};

/* link_hear.c: frames of the station become notes for the loop. */
void link_note_free(struct message *m);
struct link_note *link_note_new(struct link *l, enum link_message kind, uint64_t step); /* NULL: the link closes */
void link_note_post(struct link *l, struct link_note *n); /* what cannot be posted is posted again until the link closes */
void link_note_why(struct link *l, enum link_message kind, uint64_t step, const struct tp_error *why);
enum code link_refusal(const struct frame *f, struct tp_error *ret); /* *ret: why the station refused */
enum code link_obey(struct link *l, const struct frame *f, struct tp_error *err);

/* link_read.c and link_write.c: the tasks. */
void link_read_run(void *link);
void link_write_run(void *link);
/* To the writer; never waits.  take: the body, taken over in every case; NULL: none.  CODE_LINK_DEAD, CODE_BUSY. */
enum code link_ask(struct link *l, int message_kind, enum frame_kind kind, uint64_t step, struct text *take, struct tp_error *err);
enum { LINK_OUT_LIMIT = 1024 };

#endif

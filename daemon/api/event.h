/* event.h: hints as server-sent events.  Events live in the index, so a stream's whole memory is one number: the last event it has. */
#ifndef TIPPLANE_API_EVENT_H
#define TIPPLANE_API_EVENT_H
#include "api/api.h"

#define STREAMS_MAX 64
#define EVENT_PAGE 256
struct event_place {
        uint64_t seq;
        uint32_t epoch;
};
/* The newest event; {0, this epoch} when there is none.  Readers only. */
enum code event_newest(struct api *, struct event_place *ret, struct tp_error *);
/* Up to EVENT_PAGE events after *at, as event-stream text; *at moves on.  *ret_more: ask again. */
enum code event_page(struct api *, struct event_place *at, struct text *to, bool *ret_more, struct tp_error *);
/* "EPOCH.SEQ".  false: it is not. */
bool event_id_read(const char *text, struct event_place *ret);
/* What a new stream begins with. */
void event_greet(struct text *to, const struct event_place *, bool reset);
/* Station, run and map have changed: a hint without an id. */
void event_hint(struct text *to, const struct snapshot *);

#endif

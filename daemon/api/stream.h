/* stream.h: the open event streams and the one task that feeds them.  Knows nothing of HTTP: a stream is a place, some bytes not yet sent,
   and a way to wake the sender. Lock order: the list's lock is the only one taken here; wake() is called under it, so that "nothing to
   send" and going to sleep cannot be torn apart. */
#ifndef TIPPLANE_API_STREAM_H
#define TIPPLANE_API_STREAM_H
#include "api/event.h"

struct streams;
struct stream;
/* The caller owns *ret. */
enum code streams_open(struct api *, struct streams **ret, struct tp_error *);
/* All streams end after what they hold; new ones are refused. */
void streams_end(struct streams *);
void streams_close(struct streams *); /* after the last stream_free; NULL is fine */
/* NULL: too many, closing, or memory.  `wake(ctx)` is called once for each sleep. */
struct stream *stream_new(struct streams *, const struct reply *, void (*wake)(void *ctx), void *ctx);
void stream_free(struct stream *);
enum stream_state { STREAM_BYTES, STREAM_SLEEPS /* `sleep` was called */, STREAM_ENDED };
/* Up to n bytes; with nothing to send calls sleep(ctx) under the lock, and a wake will follow. */
enum stream_state stream_read(struct stream *, char *ret, size_t n, size_t *ret_n, void (*sleep)(void *ctx));

#endif

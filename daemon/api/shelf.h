/* shelf.h: maps of sealed runs as bytes beside their entity tags, so that asking again needs no disk.  A sealed run changes no more, so a
   copy is good until the store says that what it knows of sealed runs may have changed (store_sealed_version). Any task; the lock is its
   own and held for one copy of one map at the most. */
#ifndef TIPPLANE_API_SHELF_H
#define TIPPLANE_API_SHELF_H
#include "api/api.h"

#define SHELF_PLACES 32
#define SHELF_BYTES ((size_t)8 << 20) /* of all maps together; what has not been asked for longest goes first */
struct shelf;
struct shelf *shelf_new(const struct world *); /* NULL: memory */
void shelf_free(struct shelf *);               /* NULL is fine */
/* The complete reply, 200 or 304, when this run's map is there and of this version. */
bool shelf_answer(struct shelf *, const char *run, uint64_t version, const struct request *, struct reply *);
/* Keeps a copy, in place of what it had of this run.  `version` is read before the store is asked.  Without memory nothing is kept. */
void shelf_keep(struct shelf *, const char *run, uint64_t version, const char *etag, const void *bytes, size_t n);

#endif

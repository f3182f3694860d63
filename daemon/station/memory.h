/* memory.h: the station's own small log, and what it remembers of it: boots, the epoch, which steps began, a latch, the last proof.
   An append-only NDJSON file, 32 MiB at the most, one older one beside it (NAME.1).  A line that a power cut tore is skipped.
   Threads: any.  Only memory_begin() waits for the disk; everything else is written behind, so that a stuck disk never holds up the ladder.
 */
#ifndef TIPPLANE_STATION_MEMORY_H
#define TIPPLANE_STATION_MEMORY_H
#include "base/log.h"
#include "base/world.h"
#include "station/protocol.h"

struct memory;
enum fate { FATE_NEVER, FATE_BEGUN, FATE_DONE, FATE_ACKED };
struct memory_start {               /* what the log of earlier starts says */
        uint32_t boot_count, epoch; /* this start counted in */
        bool latched;
        struct station_event last; /* what "" if none */
        uint64_t unfinished[64];
        size_t unfinished_n; /* begun or done, never acknowledged: newest last */
};
enum code memory_open(const struct world *, const char *path, const char *build, const struct log *, struct memory **ret,
                      struct memory_start *, struct tp_error *);
void memory_close(struct memory *); /* writes what waits; NULL is fine */
/* On disk before it returns: a step that was begun is never forgotten.  `reply`: an inbox only the caller takes from. */
enum code memory_begin(struct memory *, uint64_t step, enum step_kind, struct inbox *reply, struct tp_error *);
void memory_done(struct memory *, uint64_t step, enum code);
void memory_ack(struct memory *, uint64_t step);
void memory_epoch(struct memory *, uint32_t epoch);
void memory_event(struct memory *, const struct station_event *);
void memory_latch(struct memory *, bool latched, const char *who_or_why);
enum fate memory_fate(struct memory *, uint64_t step);

#endif

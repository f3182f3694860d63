/* held.h: the step in hand and the finished ones that the daemon has not yet acknowledged.  Not thread-safe: under the station's lock. */
#ifndef TIPPLANE_STATION_HELD_H
#define TIPPLANE_STATION_HELD_H
#include "station/protocol.h"
#include "station/roles.h"

enum { HELD_STEPS_MAX = 64 };
enum held_state { HELD_DOING, HELD_DONE, HELD_INTERRUPTED };
struct held_trace {
        char name[16];
        uint32_t dtype, points;
        uint8_t *bytes;
        size_t byte_n, room;
};
struct held {
        uint64_t step;
        enum held_state state;
        uint32_t epoch; /* in force when it began */
        struct result result;
        struct held_trace traces[TRACES_MAX];
        size_t trace_n;
        struct held *next;
};
struct held *held_new(uint64_t step, uint32_t epoch);
void held_free(struct held *); /* NULL is fine */
struct held *held_find(struct held *list, uint64_t step);
void held_add(struct held **list, struct held *take); /* at the end */
void held_forget(struct held **list, uint64_t step);
/* A full list loses its oldest finished step of an older epoch; false: every one is still wanted. */
bool held_make_room(struct held **list, uint32_t epoch, uint64_t *ret_dropped);
void held_clear(struct held **list);
const char *held_word(const struct held *);

#endif

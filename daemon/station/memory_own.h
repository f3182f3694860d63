/* memory_own.h: what the files of the station's memory share. */
#ifndef TIPPLANE_STATION_MEMORY_OWN_H
#define TIPPLANE_STATION_MEMORY_OWN_H
#include "station/memory.h"

enum { FATES = 4096, LINE_MAX_BYTES = 2048, FILE_BYTES_MAX = 32 << 20 };
enum { MEMORY_LINE = 1, MEMORY_QUIT, MEMORY_WRITTEN };

/* The answer to whoever waits for a line. */
struct written {
        struct message message;
        uint64_t token;
        enum code code;
        struct tp_error err;
};
struct step_fate {
        uint64_t step;
        enum fate fate;
};

struct memory {
        const struct world *w;
        const struct log *log;
        char *path;
        struct inbox *in;
        struct task *task;
        struct lock *lock;
        struct step_fate fates[FATES];
        size_t fate_n; /* ever put; the place is fate_n % FATES */
        uint64_t token;
        int64_t bytes;
        struct text owed; /* the writing task's own, once it runs */
        bool torn;        /* the last write failed: the file may end inside a line */
        uint32_t boot_count, epoch;
        bool latched;
};

/* memory.c; the caller holds m->lock, or is alone. */
struct step_fate *memory_fate_find(struct memory *m, uint64_t step);
void memory_fate_put(struct memory *m, uint64_t step, enum fate fate);
/* A line is begun, gets its fields, is closed by the caller with json_close and posted. */
void memory_line_begin(struct text *t, struct json_out *o, const struct memory *m);

/* memory_write.c */
bool memory_line_post(struct memory *m, struct text *text, bool urgent, struct inbox *reply, uint64_t token); /* text is taken over */
void memory_write_run(void *memory);
/* At once, before the task runs: what is owed. */
enum code memory_write_owed(struct memory *m, struct tp_error *err);

#endif

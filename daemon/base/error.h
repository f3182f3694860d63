/* base/: what every room needs and no room's trade: errors, the world, memory, text, JSON, hashes, frames.
   May use: libc, cJSON.  Must not use: threads, sockets, files, the clock (all of that comes through world.h).

   error.h: a code for programs, one sentence for people.  The caller owns the storage; reporting allocates nothing and cannot fail.
   The sentence says what, where, which value, and what to do. */
#ifndef TIPPLANE_BASE_ERROR_H
#define TIPPLANE_BASE_ERROR_H
#include <stdbool.h>
#include <stddef.h>

enum code {
        CODE_OK,
        CODE_BAD_INPUT,
        CODE_NOT_FOUND,
        CODE_STATE,
        CODE_INTERLOCK,
        CODE_FORBIDDEN,
        CODE_UNAUTHENTICATED,
        CODE_TIMED_OUT,
        CODE_CANCELLED,
        CODE_LINK_DEAD,
        CODE_BAD_REPLY,
        CODE_DISK_FULL,
        CODE_DISK,
        CODE_DAMAGED,
        CODE_TOO_NEW,
        CODE_BUSY,
        CODE_MEMORY,
        CODE_UNRESOLVABLE,
        CODE_BUG,
        CODE_COUNT
};

struct tp_error {
        enum code code;
        bool effect_unknown; /* the command may have happened: look, never repeat blindly */
        int sys;             /* errno, or 0 */
        char pointer[64];    /* JSON pointer or command, "" if none */
        char text[440];
};

/* Stores the sentence and returns `code`.  `err` may be NULL. */
enum code tp_fail(struct tp_error *err, enum code code, const char *fmt, ...) __attribute__((format(printf, 3, 4)));
/* As tp_fail, with a JSON pointer. */
enum code tp_fail_at(struct tp_error *err, enum code code, const char *pointer, const char *fmt, ...) __attribute__((format(printf, 4, 5)));
/* As tp_fail, and adds strerror(sys). */
enum code tp_fail_sys(struct tp_error *err, enum code code, int sys, const char *fmt, ...) __attribute__((format(printf, 4, 5)));
/* Prepends "die 4,-3: " (the format gives the words before the colon); returns err->code, or CODE_BUG when err is NULL. */
enum code tp_where(struct tp_error *err, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
enum code tp_fail_memory(struct tp_error *err);

/* One table for the API (http), the command line (exit) and act (retry). */
struct code_row {
        const char *word; /* "bad_input": stable, part of the API */
        int http, exit;
        bool retry;
};
extern const struct code_row code_rows[CODE_COUNT];

#endif

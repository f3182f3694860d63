/* child.h: programs started by a program (`tipplane up`).  A child is watched through a pidfd: its number cannot be reused under our hands.
   Each child gets its own process group (a Ctrl-C at the terminal goes to us, who stop them in order), no signal mask, no open files but 0,
   1, 2. Threads: one owner; child_signal() may come from any task while the child is not yet freed. */
#ifndef TIPPLANE_HOST_CHILD_H
#define TIPPLANE_HOST_CHILD_H
#include "base/world.h"

struct child;
struct child_plan {
        const char *const *argv; /* NULL-terminated; argv[0] is searched in PATH unless it has a slash */
        const char *const *env;  /* "KEY=value", NULL-terminated, in addition to ours and before it; NULL: ours */
        const char *output;      /* file that stdout and stderr are appended to; NULL: ours */
};
struct child_end {
        bool by_signal;
        int number; /* exit status, or signal */
};
/* The caller owns *ret (child_free).  stdin is /dev/null. */
enum code child_start(const struct child_plan *plan, struct child **ret, struct tp_error *err);
int64_t child_pid(const struct child *c);
/* CODE_TIMED_OUT while it runs.  After CODE_OK the child is reaped; asking again gives the same end. */
enum code child_wait(const struct world *w, struct child *c, int64_t deadline_ns, struct child_end *ret, struct tp_error *err);
/* CODE_NOT_FOUND when it has ended. */
enum code child_signal(struct child *c, int signal, struct tp_error *err);
/* Forgets the child; one that still runs goes on without us.  NULL is fine. */
void child_free(struct child *c);

#endif

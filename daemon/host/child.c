#include "host/child.h"
#include "host/host_own.h"
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdlib.h>
#include <string.h>
#include <sys/pidfd.h>
#include <sys/wait.h>
#include <unistd.h>

enum { LOOK_MS = 10 };

struct child {
        pid_t pid;
        int fd; /* pidfd; -1 where the kernel (or Valgrind) has none: then the end is looked for every LOOK_MS */
        bool is_reaped;
        struct child_end end;
};

static bool same_key(const char *a, const char *b)
{
        size_t n = strcspn(a, "=");
        return strncmp(a, b, n) == 0 && b[n] == '=';
}

/* The plan's variables, then ours that it does not name.  The strings are borrowed, the array is the caller's. */
static char **environment(const char *const *more)
{
        size_t n = 0, m = 0, o = 0;
        while (environ && environ[n])
                n++;
        while (more && more[m])
                m++;
        char **all = calloc(n + m + 1, sizeof *all);
        if (!all)
                return NULL;
        for (; o < m; o++)
                all[o] = (char *)(uintptr_t)more[o]; /* posix_spawn() wants no const and writes nothing */
        for (size_t i = 0; i < n; i++) {
                bool is_named = false;
                for (size_t j = 0; j < m && !is_named; j++)
                        is_named = same_key(more[j], environ[i]);
                if (!is_named)
                        all[o++] = environ[i];
        }
        return all;
}

static int put_files(posix_spawn_file_actions_t *files, const char *output)
{
        int sys = posix_spawn_file_actions_addopen(files, 0, "/dev/null", O_RDONLY, 0);
        if (!sys && output)
                sys = posix_spawn_file_actions_addopen(files, 1, output, O_WRONLY | O_CREAT | O_APPEND, 0640);
        if (!sys && output)
                sys = posix_spawn_file_actions_adddup2(files, 1, 2);
        if (!sys)
                sys = posix_spawn_file_actions_addclosefrom_np(files, 3);
        return sys;
}

static int put_attributes(posix_spawnattr_t *attr)
{
        static const int usual[] = {SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGPIPE, SIGCHLD, SIGUSR1, SIGUSR2};
        sigset_t none, some; /* handlers end with exec() anyway; what was ignored, as SIGPIPE is here, would stay so */
        sigemptyset(&none);
        sigemptyset(&some);
        for (size_t i = 0; i < sizeof usual / sizeof usual[0]; i++)
                sigaddset(&some, usual[i]);
        int sys = posix_spawnattr_setsigmask(attr, &none);
        if (!sys)
                sys = posix_spawnattr_setsigdefault(attr, &some);
        if (!sys)
                sys = posix_spawnattr_setpgroup(attr, 0);
        return sys ? sys : posix_spawnattr_setflags(attr, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF | POSIX_SPAWN_SETPGROUP);
}

static int spawn(const struct child_plan *plan, pid_t *ret)
{
        posix_spawn_file_actions_t files;
        posix_spawnattr_t attr;
        char **env = environment(plan->env);
        int sys = env ? posix_spawn_file_actions_init(&files) : ENOMEM;
        if (sys)
                goto no_files;
        sys = posix_spawnattr_init(&attr);
        if (sys)
                goto no_attr;
        sys = put_files(&files, plan->output);
        if (!sys)
                sys = put_attributes(&attr);
        if (!sys)
                sys = posix_spawnp(ret, plan->argv[0], &files, &attr, (char *const *)(uintptr_t)plan->argv, env);
        posix_spawnattr_destroy(&attr);
no_attr:
        posix_spawn_file_actions_destroy(&files);
no_files:
        free(env);
        return sys;
}

enum code child_start(const struct child_plan *plan, struct child **ret, struct tp_error *err)
{
        struct child *c = calloc(1, sizeof *c);
        if (!c)
                return tp_fail_memory(err);
        int sys = spawn(plan, &c->pid);
        if (sys) {
                free(c);
                return tp_fail_sys(err,
                                   sys == ENOENT   ? CODE_NOT_FOUND
                                   : sys == EACCES ? CODE_FORBIDDEN
                                                   : CODE_BUSY,
                                   sys, "cannot start %s", plan->argv[0]);
        }
        c->fd = pidfd_open(c->pid, 0);
        if (c->fd < 0 && errno != ENOSYS) { /* a child we could not watch must not run */
                sys = errno;
                kill(c->pid, SIGKILL);
                waitpid(c->pid, NULL, 0);
                free(c);
                return tp_fail_sys(err, CODE_BUSY, sys, "cannot watch %s; it was stopped again", plan->argv[0]);
        }
        *ret = c;
        return CODE_OK;
}

int64_t child_pid(const struct child *c) { return c->pid; }

enum code child_wait(const struct world *w, struct child *c, int64_t deadline_ns, struct child_end *ret, struct tp_error *err)
{
        while (!c->is_reaped) {
                siginfo_t info = {0};
                struct pollfd p = {.fd = c->fd, .events = POLLIN};
                if (waitid(P_PID, (id_t)c->pid, &info, WEXITED | WNOHANG) && errno != EINTR)
                        return tp_fail_sys(err, CODE_BUG, errno, "cannot wait for process %ld", (long)c->pid);
                if (info.si_pid == c->pid) {
                        c->is_reaped = true;
                        c->end = (struct child_end){.by_signal = info.si_code != CLD_EXITED, .number = info.si_status};
                        break;
                }
                if (deadline_ns != INT64_MAX && world_boot_ns(w) >= deadline_ns)
                        return tp_fail(err, CODE_TIMED_OUT, "process %ld still runs", (long)c->pid);
                int slice_ms = host_slice_ms(deadline_ns);
                poll(&p, 1, c->fd < 0 && (slice_ms < 0 || slice_ms > LOOK_MS) ? LOOK_MS : slice_ms); /* a negative fd is passed over */
        }
        *ret = c->end;
        return CODE_OK;
}

enum code child_signal(struct child *c, int signal, struct tp_error *err)
{
        bool is_sent = c->fd >= 0     ? pidfd_send_signal(c->fd, signal, NULL, 0) == 0
                       : c->is_reaped ? (errno = ESRCH, false)
                                      : kill(c->pid, signal) == 0; /* ours and not reaped: the number is still its own */
        if (is_sent)
                return CODE_OK;
        return tp_fail_sys(err, errno == ESRCH ? CODE_NOT_FOUND : CODE_FORBIDDEN, errno, "cannot send signal %d to process %ld", signal,
                           (long)c->pid);
}

void child_free(struct child *c)
{
        if (!c)
                return;
        if (c->fd >= 0)
                close(c->fd);
        free(c);
}

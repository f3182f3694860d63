/* signals.c: a thread of its own reads a signalfd.  A full inbox does not lose a signal: it is offered again until there is room. */
#include "host/signals.h"
#include "host/host_own.h"
#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <sys/signalfd.h>
#include <unistd.h>

enum { AGAIN_MS = 50 };

struct signals {
        const struct world *world;
        struct inbox *to;
        int kind, fd, stop_fd;
        pthread_t thread;
        sigset_t before;
};

static void message_free(struct message *m) { free(m); }

/* Waits for a signal or the end; 0: the end. */
static int next_signal(struct signals *s)
{
        for (;;) {
                struct signalfd_siginfo info;
                struct pollfd p[2] = {{.fd = s->stop_fd, .events = POLLIN}, {.fd = s->fd, .events = POLLIN}};
                poll(p, 2, -1);
                if (p[0].revents)
                        return 0;
                if (read(s->fd, &info, sizeof info) == sizeof info)
                        return (int)info.ssi_signo;
        }
}

/* False at the end. */
static bool wait_a_little(struct signals *s)
{
        struct pollfd stop = {.fd = s->stop_fd, .events = POLLIN};
        return poll(&stop, 1, AGAIN_MS) == 0;
}

static void *signals_run(void *arg)
{
        struct signals *s = arg;
        struct signal_message *m = NULL;
        pthread_setname_np(pthread_self(), "signals");
        for (int number; (number = next_signal(s)) != 0;) {
                while (!m && !(m = calloc(1, sizeof *m)))
                        if (!wait_a_little(s))
                                return NULL;
                *m = (struct signal_message){.message = {.kind = s->kind, .free = message_free}, .signal = number};
                while (!s->world->task->post(s->world, s->to, &m->message))
                        if (!wait_a_little(s))
                                goto done;
                m = NULL;
        }
done:
        free(m);
        return NULL;
}

enum code signals_start(const struct world *w, struct inbox *to, int kind, struct signals **ret, struct tp_error *err)
{
        sigset_t three;
        struct signals *s = calloc(1, sizeof *s);
        if (!s)
                return tp_fail_memory(err);
        *s = (struct signals){.world = w, .to = to, .kind = kind};
        sigemptyset(&three);
        sigaddset(&three, SIGTERM);
        sigaddset(&three, SIGINT);
        sigaddset(&three, SIGHUP);
        pthread_sigmask(SIG_BLOCK, &three, &s->before);
        s->fd = signalfd(-1, &three, SFD_CLOEXEC | SFD_NONBLOCK);
        s->stop_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
        int sys = s->fd < 0 || s->stop_fd < 0 ? errno : host_thread(&s->thread, signals_run, s);
        if (!sys) {
                *ret = s;
                return CODE_OK;
        }
        if (s->fd >= 0)
                close(s->fd);
        if (s->stop_fd >= 0)
                close(s->stop_fd);
        pthread_sigmask(SIG_SETMASK, &s->before, NULL);
        free(s);
        return tp_fail_sys(err, CODE_BUSY, sys, "cannot watch for SIGTERM");
}

void signals_stop(struct signals *s)
{
        if (!s)
                return;
        eventfd_write(s->stop_fd, 1);
        pthread_join(s->thread, NULL);
        close(s->fd);
        close(s->stop_fd);
        pthread_sigmask(SIG_SETMASK, &s->before, NULL);
        free(s);
}

/* listen.c: listeners.
 * Ownership   close_listener() may come while another task waits in accept, or is just about to call it.  So the descriptors are closed by
 * the last one inside, and the small struct itself lives on the world's list until the world ends: a late accept finds "closed", not freed
 * memory. */
#include "host/host.h"
#include "host/host_own.h"
#include "host/net_own.h"
#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/stat.h>
#include <unistd.h>

enum { BACKLOG = 64 };

struct listener {
        struct listener *next;
        pthread_mutex_t mutex;
        int fd, wake_fd; /* -1 once closed */
        bool is_closed;
        unsigned inside; /* tasks waiting in accept */
        struct address address;
        char name[120];
        dev_t device; /* of the socket file, so that only our own is removed */
        ino_t inode;
};

/* A socket file nobody listens at is left over from a program that died; one with somebody behind it is not ours to take. */
static enum code clear_stale(const struct address *a, const char *name, struct tp_error *err)
{
        struct stat st;
        const char *path = a->at.local.sun_path;
        if (lstat(path, &st))
                return CODE_OK;
        if (!S_ISSOCK(st.st_mode))
                return tp_fail(err, CODE_BAD_INPUT, "%s: a file that is no socket is in the way; move it, or choose another path", name);
        int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
        if (fd < 0)
                return tp_fail_sys(err, CODE_LINK_DEAD, errno, "no socket for %s", name);
        int sys = connect(fd, &a->at.any, a->n) ? errno : 0;
        close(fd);
        if (sys == ECONNREFUSED)
                return unlink(path) && errno != ENOENT ? tp_fail_sys(err, CODE_FORBIDDEN, errno, "%s: cannot remove the stale socket", name)
                                                       : CODE_OK;
        if (sys == ENOENT)
                return CODE_OK;
        return tp_fail(err, CODE_BUSY, "another program listens at %s already; stop it first", name);
}

static enum code bind_there(int fd, struct listener *l, struct tp_error *err)
{
        struct stat st;
        int one = 1;
        const char *path = l->address.at.local.sun_path;
        enum code code = l->address.is_local ? clear_stale(&l->address, l->name, err) : CODE_OK;
        if (code)
                return code;
        if (l->address.is_local)
                fchmod(fd, 0660); /* the file is born with at most this, whatever the umask */
        else
                setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
        if (bind(fd, &l->address.at.any, l->address.n))
                return tp_fail_sys(err,
                                   errno == EADDRINUSE ? CODE_BUSY
                                   : errno == ENOENT   ? CODE_NOT_FOUND
                                                       : CODE_FORBIDDEN,
                                   errno, "cannot listen at %s", l->name);
        if (l->address.is_local) {
                if (chmod(path, 0660) || stat(path, &st))
                        return tp_fail_sys(err, CODE_FORBIDDEN, errno, "%s: cannot set its mode to 0660", l->name);
                l->device = st.st_dev;
                l->inode = st.st_ino;
        }
        if (listen(fd, BACKLOG))
                return tp_fail_sys(err, CODE_BUSY, errno, "cannot listen at %s", l->name);
        return CODE_OK;
}

static void close_both(struct listener *l)
{
        if (l->fd >= 0)
                close(l->fd);
        if (l->wake_fd >= 0)
                close(l->wake_fd);
        l->fd = l->wake_fd = -1;
}

enum code listener_open(const struct world *w, const char *address, struct listener **ret, struct tp_error *err)
{
        struct host *h = w->ctx;
        struct listener *l = calloc(1, sizeof *l);
        if (!l)
                return tp_fail_memory(err);
        l->fd = l->wake_fd = -1;
        snprintf(l->name, sizeof l->name, "%s", address);
        enum code code = address_read(address, &l->address, err);
        if (!code && !l->address.is_local && !l->address.is_loopback)
                code = tp_fail(err, CODE_FORBIDDEN, "%s is not a loopback address, and this stream is not encrypted; listen at 127.0.0.1",
                               address);
        if (code || pthread_mutex_init(&l->mutex, NULL)) {
                free(l);
                return code ? code : tp_fail_memory(err);
        }
        l->fd = socket(l->address.at.any.sa_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
        l->wake_fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
        code = l->fd < 0 || l->wake_fd < 0 ? tp_fail_sys(err, CODE_BUSY, errno, "no socket for %s", address) : bind_there(l->fd, l, err);
        if (code) {
                close_both(l);
                pthread_mutex_destroy(&l->mutex);
                free(l);
                return code;
        }
        pthread_mutex_lock(&h->mutex);
        l->next = h->listeners;
        h->listeners = l;
        pthread_mutex_unlock(&h->mutex);
        *ret = l;
        return CODE_OK;
}

/* Steps inside: false when the listener is closed. */
static bool enter(struct listener *l)
{
        pthread_mutex_lock(&l->mutex);
        bool is_open = !l->is_closed;
        l->inside += is_open;
        pthread_mutex_unlock(&l->mutex);
        return is_open;
}

static void leave(struct listener *l)
{
        pthread_mutex_lock(&l->mutex);
        if (--l->inside == 0 && l->is_closed)
                close_both(l);
        pthread_mutex_unlock(&l->mutex);
}

static bool is_closed(struct listener *l)
{
        pthread_mutex_lock(&l->mutex);
        bool closed = l->is_closed;
        pthread_mutex_unlock(&l->mutex);
        return closed;
}

static enum code accept_inside(struct listener *l, int64_t deadline_ns, struct conn **ret, struct tp_error *err)
{
        while (!is_closed(l)) {
                int fd = accept4(l->fd, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC);
                if (fd >= 0) {
                        *ret = conn_new(fd, l->address.is_local, l->name);
                        if (*ret)
                                return CODE_OK;
                        close(fd);
                        return tp_fail_memory(err);
                }
                /* descriptors or kernel memory run out: they come back when others close, so wait a little, never spin */
                bool is_short = errno == EMFILE || errno == ENFILE || errno == ENOBUFS || errno == ENOMEM;
                if (!is_short && errno != EAGAIN && errno != EINTR && errno != ECONNABORTED)
                        return tp_fail_sys(err, CODE_LINK_DEAD, errno, "accepting at %s failed", l->name);
                if (deadline_ns != INT64_MAX && host_boot_ns(NULL) >= deadline_ns)
                        return tp_fail(err, CODE_TIMED_OUT, "nobody connected to %s before the deadline", l->name);
                struct pollfd p[2] = {{.fd = l->wake_fd, .events = POLLIN}, {.fd = l->fd, .events = POLLIN}};
                int wait_ms = host_slice_ms(deadline_ns);
                poll(p, is_short ? 1 : 2, is_short && (wait_ms < 0 || wait_ms > 100) ? 100 : wait_ms);
        }
        return tp_fail(err, CODE_CANCELLED, "%s was closed", l->name);
}

enum code listener_accept(const struct world *w, struct listener *l, int64_t deadline_ns, struct conn **ret, struct tp_error *err)
{
        (void)w;
        if (!enter(l))
                return tp_fail(err, CODE_CANCELLED, "%s was closed", l->name);
        enum code code = accept_inside(l, deadline_ns, ret, err);
        leave(l);
        return code;
}

void listener_close(const struct world *w, struct listener *l)
{
        struct stat st;
        (void)w;
        if (!l)
                return;
        pthread_mutex_lock(&l->mutex);
        if (!l->is_closed) {
                const char *path = l->address.at.local.sun_path;
                l->is_closed = true;
                if (l->address.is_local && stat(path, &st) == 0 && st.st_dev == l->device && st.st_ino == l->inode)
                        unlink(path);
                eventfd_write(l->wake_fd, 1);
                if (l->inside == 0)
                        close_both(l);
        }
        pthread_mutex_unlock(&l->mutex);
}

void listeners_free(struct listener *first)
{
        for (struct listener *next, *l = first; l; l = next) {
                next = l->next;
                listener_close(NULL, l);
                pthread_mutex_destroy(&l->mutex);
                free(l);
        }
}

unsigned host_listener_port(const struct listener *l)
{
        struct address got = {.n = sizeof got.at};
        if (l->fd < 0 || getsockname(l->fd, &got.at.any, &got.n))
                return 0;
        return got.at.any.sa_family == AF_INET    ? ntohs(got.at.v4.sin_port)
               : got.at.any.sa_family == AF_INET6 ? ntohs(got.at.v6.sin6_port)
                                                  : 0;
}

/* net.c: byte streams over non-blocking sockets and poll(); each wait takes what is left of an absolute deadline.
 * Cancelling  shutdown() may come from any task: a flag first, then the kernel's shutdown, which wakes poll().  The descriptor stays open
 * until the owner's close(), so it can never be another connection's by then. */
#include "host/host_own.h"
#include "host/net_own.h"
#include <errno.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Waits until `fd` is ready for `events`.  Returns with CODE_OK also at the end of a slice: the caller tries again and comes back. */
static enum code wait_for(int fd, short events, int64_t deadline_ns, struct tp_error *err)
{
        struct pollfd p = {.fd = fd, .events = events};
        if (poll(&p, 1, host_slice_ms(deadline_ns)) < 0 && errno != EINTR)
                return tp_fail_sys(err, CODE_LINK_DEAD, errno, "cannot wait for the connection");
        return CODE_OK;
}

static bool is_past(int64_t deadline_ns) { return deadline_ns != INT64_MAX && host_boot_ns(NULL) >= deadline_ns; }

struct conn *conn_new(int fd, bool is_local, const char *address)
{
        struct conn *c = calloc(1, sizeof *c);
        int one = 1;
        if (!c)
                return NULL;
        c->fd = fd;
        c->is_local = is_local;
        snprintf(c->address, sizeof c->address, "%s", address);
        if (!is_local) {
                setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
                setsockopt(fd, SOL_SOCKET, SO_KEEPALIVE, &one, sizeof one);
        }
        return c;
}

static enum code net_read(const struct world *w, struct conn *c, void *ret, size_t n, int64_t deadline_ns, size_t *ret_n,
                          struct tp_error *err)
{
        (void)w;
        for (;;) {
                if (atomic_load(&c->is_cancelled))
                        return tp_fail(err, CODE_CANCELLED, "reading from %s was cancelled", c->address);
                if (is_past(deadline_ns)) /* before the read: a peer that dribbles must not hold us for ever */
                        return tp_fail(err, CODE_TIMED_OUT, "%s sent nothing more before the deadline", c->address);
                ssize_t got = recv(c->fd, ret, n, MSG_DONTWAIT);
                if (got > 0) {
                        *ret_n = (size_t)got;
                        return CODE_OK;
                }
                if (atomic_load(&c->is_cancelled))
                        continue;
                if (got == 0)
                        return tp_fail(err, CODE_LINK_DEAD, "%s closed the connection", c->address);
                if (errno != EAGAIN && errno != EINTR)
                        return tp_fail_sys(err, CODE_LINK_DEAD, errno, "reading from %s failed", c->address);
                enum code code = errno == EINTR ? CODE_OK : wait_for(c->fd, POLLIN, deadline_ns, err);
                if (code)
                        return code;
        }
}

/* What has left may have arrived and been acted on. */
static enum code write_failed(size_t done, enum code code, struct tp_error *err)
{
        if (err)
                err->effect_unknown = done > 0;
        return code;
}

static enum code net_write(const struct world *w, struct conn *c, const void *bytes, size_t n, int64_t deadline_ns, struct tp_error *err)
{
        size_t done = 0;
        (void)w;
        while (done < n) {
                if (atomic_load(&c->is_cancelled))
                        return write_failed(done, tp_fail(err, CODE_CANCELLED, "writing to %s was cancelled", c->address), err);
                if (is_past(deadline_ns))
                        return write_failed(
                                done, tp_fail(err, CODE_TIMED_OUT, "%s took %zu of %zu bytes before the deadline", c->address, done, n),
                                err);
                ssize_t put = send(c->fd, (const char *)bytes + done, n - done, MSG_DONTWAIT | MSG_NOSIGNAL);
                if (put >= 0) {
                        done += (size_t)put;
                        continue;
                }
                if (atomic_load(&c->is_cancelled) || errno == EINTR)
                        continue;
                if (errno != EAGAIN)
                        return write_failed(done, tp_fail_sys(err, CODE_LINK_DEAD, errno, "writing to %s failed", c->address), err);
                enum code code = wait_for(c->fd, POLLOUT, deadline_ns, err);
                if (code)
                        return write_failed(done, code, err);
        }
        return CODE_OK;
}

static void net_shutdown(const struct world *w, struct conn *c)
{
        (void)w;
        atomic_store(&c->is_cancelled, true);
        shutdown(c->fd, SHUT_RDWR);
}

static void net_close(const struct world *w, struct conn *c)
{
        (void)w;
        if (!c)
                return;
        close(c->fd);
        free(c);
}

static int64_t peer_uid(const struct world *w, struct conn *c)
{
        struct ucred who;
        socklen_t n = sizeof who;
        (void)w;
        if (!c->is_local || getsockopt(c->fd, SOL_SOCKET, SO_PEERCRED, &who, &n))
                return -1;
        return who.uid;
}

/* One try; 0, or errno.  A full queue of a Unix listener is EAGAIN: there is nothing to poll for, so the caller comes back later. */
static int try_connect(int fd, const struct address *to, int64_t deadline_ns)
{
        int sys = 0;
        socklen_t n = sizeof sys;
        if (connect(fd, &to->at.any, to->n) == 0)
                return 0;
        if (errno != EINPROGRESS && errno != EINTR)
                return errno;
        for (;;) {
                struct pollfd p = {.fd = fd, .events = POLLOUT};
                int ready = poll(&p, 1, host_slice_ms(deadline_ns));
                if (ready > 0)
                        return getsockopt(fd, SOL_SOCKET, SO_ERROR, &sys, &n) ? errno : sys;
                if (is_past(deadline_ns))
                        return ETIMEDOUT;
        }
}

static enum code net_connect(const struct world *w, const char *address, int64_t deadline_ns, struct conn **ret, struct tp_error *err)
{
        struct address to;
        enum code code = address_read(address, &to, err);
        if (code)
                return code;
        int fd = socket(to.at.any.sa_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
        if (fd < 0)
                return tp_fail_sys(err, CODE_LINK_DEAD, errno, "no socket for %s", address);
        int sys;
        while ((sys = try_connect(fd, &to, deadline_ns)) == EAGAIN && !is_past(deadline_ns))
                w->task->sleep_until(w, host_boot_ns(w) + 10 * NS_PER_MS);
        struct conn *c = sys ? NULL : conn_new(fd, to.is_local, address);
        if (c) {
                *ret = c;
                return CODE_OK;
        }
        close(fd);
        if (sys == ETIMEDOUT || sys == EAGAIN)
                return tp_fail(err, CODE_TIMED_OUT, "%s did not answer before the deadline", address);
        if (sys == EACCES || sys == EPERM)
                return tp_fail_sys(err, CODE_FORBIDDEN, sys, "%s may not be opened by this user", address);
        if (sys == ENOENT || sys == ECONNREFUSED)
                return tp_fail_sys(err, CODE_LINK_DEAD, sys, "nobody listens at %s; is the program started?", address);
        return sys ? tp_fail_sys(err, CODE_LINK_DEAD, sys, "cannot connect to %s", address) : tp_fail_memory(err);
}

const struct net_ops host_net = {
        .listen = listener_open,
        .accept = listener_accept,
        .close_listener = listener_close,
        .connect = net_connect,
        .read = net_read,
        .write = net_write,
        .shutdown = net_shutdown,
        .close = net_close,
        .peer_uid = peer_uid,
};

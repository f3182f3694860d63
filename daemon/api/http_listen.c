/* http_listen.c: where the interface listens: loopback, and nothing else (http_own.h). */
#include "api/http_own.h"
#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

static enum code read_listen(const char *text, struct sockaddr_storage *ret, socklen_t *ret_n, struct tp_error *err)
{
        char host[64] = "";
        const char *colon = strrchr(text, ':');
        size_t n = colon ? (size_t)(colon - text) : 0, digits = colon ? strlen(colon + 1) : 0;
        struct sockaddr_in *v4 = (struct sockaddr_in *)(void *)ret;
        struct sockaddr_in6 *v6 = (struct sockaddr_in6 *)(void *)ret;
        memset(ret, 0, sizeof *ret);
        long port = digits > 0 && digits <= 5 && strspn(colon + 1, "0123456789") == digits ? strtol(colon + 1, NULL, 10) : -1;
        if (port < 0 || port > 65535 || n == 0 || n >= sizeof host)
                return tp_fail(err, CODE_BAD_INPUT, "--listen %.80s: it must be an address and a port; write 127.0.0.1:8080 or [::1]:8080",
                               text);
        bool six = text[0] == '[' && text[n - 1] == ']';
        memcpy(host, text + six, n - 2 * (size_t)six);
        if (six && inet_pton(AF_INET6, host, &v6->sin6_addr) == 1 && IN6_IS_ADDR_LOOPBACK(&v6->sin6_addr)) {
                v6->sin6_family = AF_INET6;
                v6->sin6_port = htons((uint16_t)port);
                *ret_n = sizeof *v6;
                return CODE_OK;
        }
        if (!six && inet_pton(AF_INET, host, &v4->sin_addr) == 1 && ntohl(v4->sin_addr.s_addr) >> 24 == 127) {
                v4->sin_family = AF_INET;
                v4->sin_port = htons((uint16_t)port);
                *ret_n = sizeof *v4;
                return CODE_OK;
        }
        return tp_fail(err, CODE_BAD_INPUT,
                       "--listen %.80s: only loopback addresses are possible, since nothing here is encrypted; listen on 127.0.0.1 and "
                       "reach it by an ssh tunnel",
                       text);
}

enum code http_listen(struct http *h, const char *listen_at, struct tp_error *err)
{
        struct sockaddr_storage at;
        socklen_t n = 0;
        int one = 1;
        const char *pid = getenv("LISTEN_PID"), *fds = getenv("LISTEN_FDS");
        if (pid && fds && strtol(pid, NULL, 10) == (long)getpid() && strcmp(fds, "1") == 0) {
                h->fd = 3;
        } else {
                enum code code = read_listen(listen_at, &at, &n, err);
                if (code)
                        return code;
                h->fd = socket(at.ss_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
                if (h->fd < 0)
                        return tp_fail_sys(err, CODE_LINK_DEAD, errno, "no socket for %s", listen_at);
                setsockopt(h->fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
                if (bind(h->fd, (struct sockaddr *)&at, n) || listen(h->fd, 128))
                        return tp_fail_sys(err, CODE_BUSY, errno,
                                           "--listen %s cannot be used; stop the program that has it, or choose another port", listen_at);
        }
        n = sizeof at;
        if (getsockname(h->fd, (struct sockaddr *)&at, &n) == 0)
                h->port = ntohs(at.ss_family == AF_INET6 ? ((struct sockaddr_in6 *)(void *)&at)->sin6_port
                                                         : ((struct sockaddr_in *)(void *)&at)->sin_port);
        return CODE_OK;
}

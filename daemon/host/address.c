#include "host/address.h"
#include <arpa/inet.h>
#include <stdlib.h>
#include <string.h>

static enum code unix_read(const char *path, const char *text, struct address *ret, struct tp_error *err)
{
        size_t n = strlen(path);
        if (path[0] != '/')
                return tp_fail(err, CODE_BAD_INPUT, "the address \"%s\" needs a whole path, such as unix:/run/tipplane/station.sock", text);
        if (n >= sizeof ret->at.local.sun_path)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the path in \"%s\" has %zu bytes; a socket's path has at most %zu; use a shorter directory", text, n,
                               sizeof ret->at.local.sun_path - 1);
        ret->is_local = true;
        ret->at.local.sun_family = AF_UNIX;
        memcpy(ret->at.local.sun_path, path, n + 1);
        ret->n = sizeof ret->at.local;
        return CODE_OK;
}

static enum code tcp_read(const char *rest, const char *text, struct address *ret, struct tp_error *err)
{
        char host[64], *end = NULL;
        const char *colon = strrchr(rest, ':');
        size_t n = colon ? (size_t)(colon - rest) : 0;
        bool is_v6 = n > 2 && rest[0] == '[' && rest[n - 1] == ']';
        if (n == 0 || n >= sizeof host)
                return tp_fail(err, CODE_BAD_INPUT, "the address \"%s\" is not tcp:NUMBERS:PORT, such as tcp:127.0.0.1:5025", text);
        memcpy(host, rest + is_v6, n - 2 * is_v6);
        host[n - 2 * is_v6] = 0;
        unsigned long port = strtoul(colon + 1, &end, 10);
        if (colon[1] < '0' || colon[1] > '9' || *end || port > 65535)
                return tp_fail(err, CODE_BAD_INPUT, "the port \"%s\" of \"%s\" is not 0 to 65535", colon + 1, text);
        if (is_v6 && inet_pton(AF_INET6, host, &ret->at.v6.sin6_addr) == 1) {
                ret->at.v6.sin6_family = AF_INET6;
                ret->at.v6.sin6_port = htons((uint16_t)port);
                ret->n = sizeof ret->at.v6;
                ret->is_loopback = IN6_IS_ADDR_LOOPBACK(&ret->at.v6.sin6_addr);
                return CODE_OK;
        }
        if (!is_v6 && inet_pton(AF_INET, host, &ret->at.v4.sin_addr) == 1) {
                ret->at.v4.sin_family = AF_INET;
                ret->at.v4.sin_port = htons((uint16_t)port);
                ret->n = sizeof ret->at.v4;
                ret->is_loopback = ntohl(ret->at.v4.sin_addr.s_addr) >> 24 == 127;
                return CODE_OK;
        }
        return tp_fail(err, CODE_BAD_INPUT, "\"%s\" in \"%s\" is no address in numbers; write 127.0.0.1 or [::1], names are not looked up",
                       host, text);
}

enum code address_read(const char *text, struct address *ret, struct tp_error *err)
{
        struct address a;
        memset(&a, 0, sizeof a);
        enum code code = strncmp(text, "unix:", 5) == 0 ? unix_read(text + 5, text, &a, err)
                         : strncmp(text, "tcp:", 4) == 0
                                 ? tcp_read(text + 4, text, &a, err)
                                 : tp_fail(err, CODE_BAD_INPUT, "the address \"%s\" begins neither with unix: nor with tcp:", text);
        if (!code)
                *ret = a;
        return code;
}

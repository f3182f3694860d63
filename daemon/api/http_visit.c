/* http_visit.c: a visit from its first line to the end of its header (http_own.h). */
#include "api/http_own.h"
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

void visit_free(struct visit *v)
{
        struct http *h = v->http;
        stream_free(v->stream);
        reply_done(&v->reply);
        text_done(&v->body);
        arena_free(v->request.arena);
        free(v);
        http_lock(h);
        h->visits--;
        http_unlock(h);
}

struct visit *visit_new(struct http *h, struct MHD_Connection *c)
{
        struct visit *v = calloc(1, sizeof *v);
        if (!v)
                return NULL;
        v->http = h;
        v->connection = c;
        v->begun_ns = world_boot_ns(h->world);
        v->request.arena = arena_new(0);
        reply_init(&v->reply);
        text_init(&v->body, 0);
        http_lock(h);
        h->visits++;
        http_unlock(h);
        if (!v->request.arena) {
                visit_free(v);
                return NULL;
        }
        return v;
}

/* Two Hosts, two lengths, a length beside an encoding, another encoding than chunked, or a folded line (which shows as part of a name)
 * smuggle requests past proxies. */
static enum MHD_Result look_at_header(void *cls, enum MHD_ValueKind kind, const char *name, const char *value)
{
        struct visit *v = cls;
        static const char *const watched[] = {"Host", "Content-Length", "Transfer-Encoding"};
        (void)kind;
        v->hosts += strcasecmp(name, "Host") == 0;
        v->lengths += strcasecmp(name, "Content-Length") == 0 || strcasecmp(name, "Transfer-Encoding") == 0;
        for (size_t i = 0; i < 3; i++)
                if (strncasecmp(name, watched[i], strlen(watched[i])) == 0 && strcasecmp(name, watched[i]) != 0)
                        snprintf(v->fault, sizeof v->fault, "the header field '%.60s' looks like %s and is not; write it plainly", name,
                                 watched[i]);
        if (strcasecmp(name, "Transfer-Encoding") == 0 && value && strcasecmp(value, "chunked") != 0)
                snprintf(v->fault, sizeof v->fault, "Transfer-Encoding: %.40s is not taken; send chunked or a Content-Length", value);
        return MHD_YES;
}

static const char *header(struct visit *v, const char *name)
{
        const char *value = MHD_lookup_connection_value(v->connection, MHD_HEADER_KIND, name);
        return value ? arena_text(v->request.arena, value) : NULL;
}

static bool is_loopback(struct MHD_Connection *c)
{
        const union MHD_ConnectionInfo *info = MHD_get_connection_info(c, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
        if (!info || !info->client_addr)
                return false;
        if (info->client_addr->sa_family == AF_INET)
                return ntohl(((const struct sockaddr_in *)(const void *)info->client_addr)->sin_addr.s_addr) >> 24 == 127;
        return info->client_addr->sa_family == AF_INET6 &&
               IN6_IS_ADDR_LOOPBACK(&((const struct sockaddr_in6 *)(const void *)info->client_addr)->sin6_addr);
}

void visit_read_header(struct visit *v, const char *target, const char *method)
{
        struct request *q = &v->request;
        q->api = &v->http->api;
        q->method = arena_text(q->arena, method);
        q->target = arena_text(q->arena, target);
        q->host = header(v, "Host");
        q->origin = header(v, "Origin");
        q->fetch_site = header(v, "Sec-Fetch-Site");
        q->authorization = header(v, "Authorization");
        q->content_type = header(v, "Content-Type");
        q->content_length = header(v, "Content-Length");
        q->if_none_match = header(v, "If-None-Match");
        q->idempotency_key = header(v, "Idempotency-Key");
        q->last_event_id = header(v, "Last-Event-ID");
        q->from_loopback = is_loopback(v->connection);
        MHD_get_connection_values(v->connection, MHD_HEADER_KIND, look_at_header, v);
        if (v->hosts > 1 || v->lengths > 1)
                snprintf(v->fault, sizeof v->fault,
                         "there are %u Host fields and %u that give the body's length; send one of each at the most", v->hosts, v->lengths);
        q->faulty = v->fault[0] ? v->fault : NULL;
}

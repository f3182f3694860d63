/* auth.c: see auth.h.  A digest of 32 random bytes is compared, not the secret: how long memcmp takes tells nothing about a token. */
#include "api/auth.h"
#include "base/hash.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

const char *const role_words[] = {"none", "watch", "operate", "engineer", "safety", NULL};
const char *const cost_words[] = {"snapshot", "reader", "command", "stream", "file", NULL};

int role_of_word(const char *word)
{
        for (int i = 0; role_words[i]; i++)
                if (strcmp(role_words[i], word) == 0)
                        return i;
        return -1;
}

/* "127.0.0.1:8080", "localhost", "[::1]:80": any port, since a tunnel may have changed it. */
static bool is_loopback_name(const char *host)
{
        static const char *const names[] = {"127.0.0.1", "localhost", "[::1]"};
        for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
                size_t n = strlen(names[i]);
                if (strncasecmp(host, names[i], n) != 0)
                        continue;
                const char *rest = host + n;
                if (!*rest || (*rest == ':' && rest[1] && strlen(rest) <= 6 && strspn(rest + 1, "0123456789") == strlen(rest + 1)))
                        return true;
        }
        return false;
}

enum code auth_place(const struct request *q, bool changes, struct tp_error *err)
{
        if (!q->host)
                return tp_fail(err, CODE_BAD_INPUT, "the request has no Host; send Host: 127.0.0.1 with the port");
        if (!is_loopback_name(q->host))
                return tp_fail(err, CODE_FORBIDDEN, "Host: %.80s is not a name of this daemon; ask for 127.0.0.1, localhost or [::1]",
                               q->host);
        if (!changes)
                return CODE_OK;
        if (q->origin && (strncmp(q->origin, "http://", 7) != 0 || strcasecmp(q->origin + 7, q->host) != 0))
                return tp_fail(err, CODE_FORBIDDEN, "Origin: %.80s may change nothing here; use the daemon's own page or the command line",
                               q->origin);
        if (q->fetch_site && strcmp(q->fetch_site, "same-origin") != 0 && strcmp(q->fetch_site, "none") != 0)
                return tp_fail(err, CODE_FORBIDDEN,
                               "Sec-Fetch-Site: %.40s: a page from elsewhere may change nothing here; use the daemon's own page or the "
                               "command line",
                               q->fetch_site);
        return CODE_OK;
}

static bool find(struct api *api, const uint8_t digest[32], struct key *ret)
{
        bool found = false;
        api->world->task->lock(api->world, api->lock);
        for (size_t i = 0; i < api->key_n && !found; i++)
                if (memcmp(api->keys[i].digest, digest, 32) == 0) {
                        *ret = api->keys[i];
                        found = true;
                }
        api->world->task->unlock(api->world, api->lock);
        return found;
}

enum code auth_role(struct request *q, enum role least, bool changes, struct tp_error *err)
{
        uint8_t digest[32];
        memset(&q->who, 0, sizeof q->who);
        if (least == ROLE_NONE)
                return CODE_OK;
        if (!q->authorization) {
                q->who.role = q->from_loopback && !changes ? ROLE_WATCH : ROLE_NONE;
                if (q->who.role < least)
                        return tp_fail(err, CODE_UNAUTHENTICATED,
                                       "%s %.100s needs a token of role %s and none was sent; send Authorization: Bearer TOKEN", q->method,
                                       q->path, role_words[least]);
                return CODE_OK;
        }
        if (strncasecmp(q->authorization, "Bearer ", 7) != 0)
                return tp_fail(err, CODE_UNAUTHENTICATED,
                               "Authorization of the kind '%.12s' is not known here; send Authorization: Bearer TOKEN", q->authorization);
        const char *token = q->authorization + 7;
        sha256_of(token, strlen(token), digest);
        if (!find(q->api, digest, &q->who))
                return tp_fail(err, CODE_UNAUTHENTICATED,
                               "the token beginning with '%.8s' is not one of this daemon's; take the one in the data directory's file "
                               "token, or ask for a new one",
                               token);
        if (q->who.role < least)
                return tp_fail(err, CODE_FORBIDDEN, "%s %.100s needs the role %s and %s has the role %s; use a token of role %s", q->method,
                               q->path, role_words[least], q->who.person, role_words[q->who.role], role_words[least]);
        return CODE_OK;
}

enum code auth_add(struct api *api, const struct key *key, struct tp_error *err)
{
        api->world->task->lock(api->world, api->lock);
        struct key *more = realloc(api->keys, (api->key_n + 1) * sizeof *more);
        if (more) {
                api->keys = more;
                api->keys[api->key_n++] = *key;
        }
        api->world->task->unlock(api->world, api->lock);
        return more ? CODE_OK : tp_fail_memory(err);
}

enum code auth_load(struct api *api, struct tp_error *err)
{
        struct token_row *rows = NULL;
        uint8_t(*digests)[32] = NULL;
        size_t n = 0;
        struct arena *arena = arena_new(0);
        struct view *view = arena ? view_open(api->store, NULL, INT64_MAX, err) : NULL;
        enum code code = !arena ? tp_fail_memory(err) : !view ? CODE_DISK : view_tokens(view, arena, &rows, &digests, &n, err);
        for (size_t i = 0; !code && i < n; i++) {
                struct key key = {.role = ROLE_NONE};
                int role = role_of_word(rows[i].role);
                memcpy(key.digest, digests[i], 32);
                memcpy(key.id, rows[i].id, sizeof key.id);
                memcpy(key.person, rows[i].person, sizeof key.person);
                key.role = role > 0 ? (enum role)role : ROLE_NONE;
                code = auth_add(api, &key, err);
        }
        view_close(view);
        arena_free(arena);
        return code ? tp_where(err, "tokens") : CODE_OK;
}

/* shelf.c: a handful of places, looked through from end to end; the least recently asked one is given up. */
#include "api/shelf.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct kept_map {
        char run[27], etag[80];
        char *bytes; /* NULL: free */
        size_t n;
        uint64_t version, asked; /* asked: the shelf's count of answers then */
};
struct shelf {
        const struct world *w;
        struct lock *lock;
        struct kept_map places[SHELF_PLACES];
        size_t bytes;
        uint64_t answers;
};

struct shelf *shelf_new(const struct world *w)
{
        struct shelf *s = calloc(1, sizeof *s);
        if (!s)
                return NULL;
        s->w = w;
        s->lock = w->task->lock_new(w);
        if (!s->lock) {
                free(s);
                return NULL;
        }
        return s;
}

static void clear(struct shelf *s, struct kept_map *p)
{
        s->bytes -= p->n;
        free(p->bytes);
        *p = (struct kept_map){.bytes = NULL};
}

void shelf_free(struct shelf *s)
{
        if (!s)
                return;
        for (size_t i = 0; i < SHELF_PLACES; i++)
                clear(s, &s->places[i]);
        s->w->task->lock_free(s->w, s->lock);
        free(s);
}

static struct kept_map *find(struct shelf *s, const char *run)
{
        for (size_t i = 0; i < SHELF_PLACES; i++)
                if (s->places[i].bytes && strcmp(s->places[i].run, run) == 0)
                        return &s->places[i];
        return NULL;
}

bool shelf_answer(struct shelf *s, const char *run, uint64_t version, const struct request *q, struct reply *r)
{
        s->w->task->lock(s->w, s->lock);
        struct kept_map *p = find(s, run);
        if (p && p->version != version) {
                clear(s, p);
                p = NULL;
        }
        if (p) {
                p->asked = ++s->answers;
                if (!reply_unchanged(q, r, p->etag)) {
                        text_bytes(&r->body, p->bytes, p->n);
                        reply_json(r, 200);
                }
        }
        s->w->task->unlock(s->w, s->lock);
        return p != NULL;
}

/* The place to give up next: a free one, else the one not asked for longest. */
static struct kept_map *oldest(struct shelf *s, bool in_use)
{
        struct kept_map *ret = NULL;
        for (size_t i = 0; i < SHELF_PLACES; i++) {
                struct kept_map *p = &s->places[i];
                if ((p->bytes || !in_use) && (!ret || p->asked < ret->asked))
                        ret = p;
        }
        return ret;
}

void shelf_keep(struct shelf *s, const char *run, uint64_t version, const char *etag, const void *bytes, size_t n)
{
        char *copy = n && n <= SHELF_BYTES ? malloc(n) : NULL;
        if (!copy)
                return;
        memcpy(copy, bytes, n);
        s->w->task->lock(s->w, s->lock);
        struct kept_map *p = find(s, run);
        if (p)
                clear(s, p);
        while (s->bytes + n > SHELF_BYTES)
                clear(s, oldest(s, true));
        p = oldest(s, false);
        clear(s, p);
        *p = (struct kept_map){.bytes = copy, .n = n, .version = version, .asked = ++s->answers};
        snprintf(p->run, sizeof p->run, "%s", run);
        snprintf(p->etag, sizeof p->etag, "%s", etag);
        s->bytes += n;
        s->w->task->unlock(s->w, s->lock);
}

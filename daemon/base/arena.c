/* arena.c: a chain of blocks that only grows.  arena_reset() keeps the blocks, so that a steady load soon allocates nothing.
   Under AddressSanitizer free room is poisoned: touching what a reset has forgotten is found at once. */
#include "base/arena.h"
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#ifdef __SANITIZE_ADDRESS__
#include <sanitizer/asan_interface.h>
#define POISON(at, n) __asan_poison_memory_region((at), (n))
#define UNPOISON(at, n) __asan_unpoison_memory_region((at), (n))
#else
#define POISON(at, n) ((void)(at), (void)(n))
#define UNPOISON(at, n) ((void)(at), (void)(n))
#endif

enum { ALIGN = 64, BLOCK_BYTES = 64 * 1024 };

struct block {
        struct block *next;
        unsigned char *memory;
        size_t room, used;
};
struct arena {
        struct block *first, *current; /* blocks after `current` are empty, left by a reset */
        size_t used, max;              /* bytes asked for, without padding */
};

struct arena *arena_new(size_t bytes_max)
{
        struct arena *a = calloc(1, sizeof *a);
        if (a)
                a->max = bytes_max;
        return a;
}

static struct block *block_new(size_t bytes)
{
        struct block *b = calloc(1, sizeof *b);
        if (!b)
                return NULL;
        b->room = bytes < BLOCK_BYTES ? BLOCK_BYTES : bytes;
        b->memory = aligned_alloc(ALIGN, b->room);
        if (!b->memory) {
                free(b);
                return NULL;
        }
        POISON(b->memory, b->room);
        return b;
}

/* A block with `bytes` free: the current one, one left by a reset, or a new one put behind the current one. */
static struct block *block_with(struct arena *a, size_t bytes)
{
        struct block *b = a->current;
        if (b && b->room - b->used >= bytes)
                return b;
        struct block **where = b ? &b->next : &a->first;
        for (struct block **p = where; *p; p = &(*p)->next) {
                if ((*p)->room < bytes)
                        continue;
                struct block *fits = *p; /* moved to the front of the empty ones, so that the smaller ones stay usable */
                *p = fits->next;
                fits->next = *where;
                *where = fits;
                return a->current = fits;
        }
        struct block *made = block_new(bytes);
        if (!made)
                return NULL;
        made->next = *where;
        *where = made;
        return a->current = made;
}

void *arena_take(struct arena *a, size_t bytes)
{
        if (bytes > SIZE_MAX / 2 || (a->max && bytes > a->max - a->used))
                return NULL;
        size_t padded = bytes ? (bytes + ALIGN - 1) / ALIGN * ALIGN : ALIGN;
        struct block *b = block_with(a, padded);
        if (!b)
                return NULL;
        unsigned char *at = b->memory + b->used;
        b->used += padded;
        a->used += bytes;
        UNPOISON(at, bytes);
        memset(at, 0, bytes);
        return at;
}

char *arena_text(struct arena *a, const char *text)
{
        size_t n = strlen(text) + 1;
        char *copy = arena_take(a, n);
        return copy ? memcpy(copy, text, n) : NULL;
}

void arena_reset(struct arena *a)
{
        for (struct block *b = a->first; b; b = b->next) {
                b->used = 0;
                POISON(b->memory, b->room);
        }
        a->current = a->first;
        a->used = 0;
}

size_t arena_used(const struct arena *a) { return a->used; }

void arena_free(struct arena *a)
{
        if (!a)
                return;
        for (struct block *next, *b = a->first; b; b = next) {
                next = b->next;
                UNPOISON(b->memory, b->room);
                free(b->memory);
                free(b);
        }
        free(a);
}

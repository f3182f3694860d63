/* arena.h: memory that dies together.  One sweep's evaluation, one parsed recipe, one request lives in one arena.
   Not thread-safe: one owner at a time. */
#ifndef TIPPLANE_BASE_ARENA_H
#define TIPPLANE_BASE_ARENA_H
#include <stddef.h>

struct arena;
/* `bytes_max` is the most this arena will ever hand out (0: no limit); NULL when memory is short. */
struct arena *arena_new(size_t bytes_max);
/* Zeroed, 64-byte aligned; NULL when over the limit or memory is short. */
void *arena_take(struct arena *a, size_t bytes);
char *arena_text(struct arena *a, const char *text);
void arena_reset(struct arena *a); /* keeps the blocks, forgets what is in them */
size_t arena_used(const struct arena *a);
void arena_free(struct arena *a); /* NULL is fine */

#endif

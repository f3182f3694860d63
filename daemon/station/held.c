/* held.c: see held.h. */
#include "station/held.h"
#include <stdlib.h>

struct held *held_new(uint64_t step, uint32_t epoch)
{
        struct held *h = calloc(1, sizeof *h);
        if (h) {
                h->step = step;
                h->epoch = epoch;
        }
        return h;
}

void held_free(struct held *h)
{
        if (!h)
                return;
        for (size_t i = 0; i < TRACES_MAX; i++)
                free(h->traces[i].bytes);
        free(h);
}

struct held *held_find(struct held *list, uint64_t step)
{
        while (list && list->step != step)
                list = list->next;
        return list;
}

void held_add(struct held **list, struct held *take)
{
        while (*list)
                list = &(*list)->next;
        take->next = NULL;
        *list = take;
}

void held_forget(struct held **list, uint64_t step)
{
        for (; *list; list = &(*list)->next) {
                if ((*list)->step != step)
                        continue;
                struct held *gone = *list;
                *list = gone->next;
                held_free(gone);
                return;
        }
}

bool held_make_room(struct held **list, uint32_t epoch, uint64_t *ret_dropped)
{
        size_t n = 0;
        struct held *oldest = NULL;
        *ret_dropped = 0;
        for (struct held *h = *list; h; h = h->next, n++)
                if (!oldest && h->state != HELD_DOING && h->epoch < epoch)
                        oldest = h;
        if (n < HELD_STEPS_MAX)
                return true;
        if (!oldest)
                return false;
        *ret_dropped = oldest->step;
        held_forget(list, oldest->step);
        return true;
}

void held_clear(struct held **list)
{
        while (*list)
                held_forget(list, (*list)->step);
}

const char *held_word(const struct held *h)
{
        switch (h->state) {
        case HELD_DOING:
                return "doing";
        case HELD_DONE:
                return "done";
        case HELD_INTERRUPTED:
                return "interrupted";
        }
        return "";
}

/* budget_json.c: the shares of u squared as they are stored beside a value, in per cent:
 *             {"scopes":{"touch":81.2,"reading":0.4,"shared":18.4},"touch":{"contact L":44, …},"shared":{"load R":15, …},"not_counted":["temperature"]}
 * Scopes      whose a cause is (enum cause_scope): all of it, over every cause.  Below them, by scope, the six largest causes that come to a
 *             half per cent; a scope that has none of them is left out.
 * Not counted what the recipe does not state.
 * Room        what does not fit is left out whole, the sums never: they stand first. */
#include "evaluate/inside.h"
#include <stdio.h>
#include <string.h>

enum { SHOWN = 6, SCOPES = SCOPE_READING + 1 };
#define LEAST_PERCENT 0.5
static const char *const scope_words[SCOPES] = {[SCOPE_SHARED] = "shared", [SCOPE_TOUCH] = "touch", [SCOPE_READING] = "reading"};
static const enum cause_scope order[SCOPES] = {SCOPE_TOUCH, SCOPE_READING, SCOPE_SHARED};

struct share {
        const char *name;
        enum cause_scope scope;
        double percent;
        bool shown;
};

/* Entries of one name and scope are one share. */
static size_t shares_of(const struct cause_list *list, double squares, struct share share[CAUSE_LIST_MAX], double of_scope[SCOPES])
{
        size_t n = 0;
        for (size_t k = 0; k < list->n; k++) {
                double percent = 100 * list->dq[k] * list->dq[k] / squares;
                size_t j = 0;
                while (j < n && (strcmp(share[j].name, list->name[k]) != 0 || share[j].scope != list->scope[k]))
                        j++;
                if (j == n)
                        share[n++] = (struct share){.name = list->name[k], .scope = list->scope[k]};
                share[j].percent += percent;
                of_scope[list->scope[k]] += percent;
        }
        return n;
}

static bool is_as_seen(const char *name)
{
        const char tail[] = ", as seen";
        size_t n = strlen(name), m = sizeof tail - 1;
        return n > m && strcmp(name + n - m, tail) == 0;
}

static struct share *largest(struct share *share, size_t n, bool shown, enum cause_scope scope)
{
        struct share *best = NULL;
        for (size_t j = 0; j < n; j++)
                if (share[j].shown == shown && (!shown || share[j].scope == scope) && (!best || share[j].percent > best->percent))
                        best = &share[j];
        return best;
}

/* Drift that counts as two checks saw it is named even where it is nothing: the reader, and a daemon that takes a run over, must see that it
   is no longer what a check lets pass. */
static void choose(struct share *share, size_t n)
{
        struct share *best, *seen = NULL;
        for (int rank = 0; rank < SHOWN && (best = largest(share, n, false, SCOPE_SHARED)) && best->percent >= LEAST_PERCENT; rank++)
                best->shown = true;
        for (size_t j = 0; j < n; j++)
                if (is_as_seen(share[j].name)) {
                        if (share[j].shown)
                                return;
                        seen = &share[j];
                }
        if (seen)
                seen->shown = true;
}

struct to {
        char *json;
        size_t used;
};
/* One piece more, if it fits with `close` and the last brace behind it. */
static bool put(struct to *to, const char *piece, size_t close)
{
        size_t n = strlen(piece);
        if (to->used + n + close + 2 > BUDGET_ROOM)
                return false;
        memcpy(to->json + to->used, piece, n + 1);
        to->used += n;
        return true;
}

static void put_scope(struct to *to, struct share *share, size_t n, enum cause_scope scope)
{
        char piece[120];
        bool any = false;
        struct share *s;
        while ((s = largest(share, n, true, scope)) != NULL) {
                snprintf(piece, sizeof piece, "%s%s%s\"%.64s\":%.0f", any ? "," : ",\"", any ? "" : scope_words[scope], any ? "" : "\":{",
                         s->name, s->percent);
                any |= put(to, piece, 1);
                s->shown = false;
        }
        if (any)
                put(to, "}", 0);
}

void budget_json(const struct cause_list *list, double squares, char json[BUDGET_ROOM])
{
        struct share share[CAUSE_LIST_MAX];
        double of_scope[SCOPES] = {0};
        size_t n = shares_of(list, squares, share, of_scope);
        struct to to = {.json = json};
        char piece[120];
        bool any = false;
        choose(share, n);
        snprintf(piece, sizeof piece, "{\"scopes\":{\"touch\":%.1f,\"reading\":%.1f,\"shared\":%.1f}", of_scope[SCOPE_TOUCH],
                 of_scope[SCOPE_READING], of_scope[SCOPE_SHARED]);
        put(&to, piece, 0);
        for (int k = 0; k < SCOPES; k++)
                put_scope(&to, share, n, order[k]);
        for (size_t k = 0; k < list->not_counted_n; k++) {
                snprintf(piece, sizeof piece, "%s\"%.64s\"", any ? "," : ",\"not_counted\":[", list->not_counted[k]);
                any |= put(&to, piece, 1);
        }
        if (any)
                put(&to, "]", 0);
        snprintf(json + to.used, BUDGET_ROOM - to.used, "}");
}

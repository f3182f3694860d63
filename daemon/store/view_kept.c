/* view_kept.c: views of sealed runs stay open between two questions, with what SQLite has read of their schema and the statements it has
 * prepared: opening anew costs more than most answers.  A few at the most, of some 2 MB of pages each.
 * Invariants  A kept view belongs to nobody and stands in `kept`, the one used last at the end; whoever takes it out owns it.  It holds the
 *             run's file alone, no transaction, no catalogue.  It is used again only while the file's name leads to the very file that was
 *             opened, unchanged.  A view that met a fault is never kept.
 * Not here    live runs: their files are opened for each view, so that the writer can empty their logs and seal them. */
#include "store/view_own.h"
#include <string.h>

static void lock(struct store *s) { s->w->task->lock(s->w, s->mutex); }
static void unlock(struct store *s) { s->w->task->unlock(s->w, s->mutex); }

/* Of this run, the last one used; run NULL: the one unused for longest.  NULL: none. */
static struct view *take_out(struct store *s, const char *run)
{
        struct view *ret = NULL;
        lock(s);
        int at = run ? s->kept_n - 1 : 0;
        while (run && at >= 0 && strcmp(s->kept[at]->run, run) != 0)
                at--;
        if (at >= 0 && at < s->kept_n) {
                ret = s->kept[at];
                s->kept_n--;
                memmove(&s->kept[at], &s->kept[at + 1], (size_t)(s->kept_n - at) * sizeof s->kept[0]);
        }
        unlock(s);
        return ret;
}

static void put_in(struct store *s, struct view *v)
{
        struct view *out = NULL;
        lock(s);
        if (s->kept_n == VIEWS_KEPT) {
                out = s->kept[0];
                s->kept_n--;
                memmove(&s->kept[0], &s->kept[1], (size_t)s->kept_n * sizeof s->kept[0]);
        }
        s->kept[s->kept_n++] = v;
        unlock(s);
        view_free(out);
}

static bool is_the_same_file(const struct view *v)
{
        struct file_identity now;
        return v->s->w->file->identity(v->s->w, v->file.path, &now, NULL) == CODE_OK && file_is(&now, &v->identity);
}

struct view *kept_take(struct store *s, const char *run, int64_t deadline_ns)
{
        struct view *v = take_out(s, run);
        if (!v)
                return NULL;
        v->deadline_ns = v->file.deadline_ns = deadline_ns;
        v->file.too_late = false;
        if (is_the_same_file(v) && db_run(&v->file, NULL, "BEGIN", "") == CODE_OK)
                return v;
        view_free(v);
        return NULL;
}

bool kept_give(struct view *v)
{
        if (!v->is_sealed || v->file.faulty)
                return false;
        v->file.deadline_ns = INT64_MAX;
        if (db_run(&v->file, NULL, "COMMIT", ""))
                return false;
        v->used_ns = world_boot_ns(v->s->w);
        put_in(v->s, v);
        return true;
}

void store_tidy(struct store *s, int64_t unused_ns)
{
        int64_t now = world_boot_ns(s->w);
        lock(s);
        int n = s->kept_n;
        unlock(s);
        for (; n > 0; n--) { /* each once around, so that they keep their order */
                struct view *v = take_out(s, NULL);
                if (v && now - v->used_ns < unused_ns && is_the_same_file(v))
                        put_in(s, v);
                else
                        view_free(v);
        }
}

/* memory_write.c: one task appends the lines in batches (memory_own.h).
 * Full disk  what could not be written is owed, and goes before the next line; a line that somebody waits for is answered instead. */
#include "station/memory_own.h"
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { BATCH_BYTES = 64 * 1024, GATHER_MS = 200, OWED_RETRY_S = 1, OWED_BYTES_MAX = 256 * 1024 };

struct line {
        struct message message;
        bool urgent;
        struct inbox *reply;
        uint64_t token;
        char *text;
};

static void line_free(struct message *message)
{
        struct line *l = (struct line *)message;
        free(l->text);
        free(l);
}

static void written_free(struct message *m) { free(m); }

bool memory_line_post(struct memory *m, struct text *text, bool urgent, struct inbox *reply, uint64_t token)
{
        struct line *l = calloc(1, sizeof *l);
        text_put(text, "\n");
        if (l && text_ok(text))
                *l = (struct line){.message = {.kind = MEMORY_LINE, .free = line_free},
                                   .urgent = urgent,
                                   .reply = reply,
                                   .token = token,
                                   .text = text_take(text, NULL)};
        bool posted = l && l->text && m->w->task->post(m->w, m->in, &l->message);
        if (!posted && l)
                line_free(&l->message);
        text_done(text);
        if (!posted)
                log_event(m->log, LOG_ERROR, "log.full", "msg=\"a line of the station's log could not be queued; it is lost\"");
        return posted;
}

static void answer(struct memory *m, struct line *l, enum code code, const struct tp_error *err)
{
        struct written *a = l->reply ? calloc(1, sizeof *a) : NULL;
        if (!a)
                return;
        *a = (struct written){.message = {.kind = MEMORY_WRITTEN, .free = written_free}, .token = l->token, .code = code, .err = *err};
        if (!m->w->task->post(m->w, l->reply, &a->message))
                free(a);
}

/* A fresh file begins with what must not be forgotten. */
static void rotate(struct memory *m)
{
        struct tp_error err = {0};
        struct text old, head;
        text_init(&old, 0);
        text_init(&head, 0);
        text_f(&old, "%s.1", m->path);
        m->w->task->lock(m->w, m->lock);
        struct json_out o = json_to(&head);
        json_open(&o, NULL, '{');
        json_int(&o, "boot", m->boot_count);
        json_int(&o, "epoch", m->epoch);
        json_bool(&o, "latched", m->latched);
        json_close(&o, '}');
        text_put(&head, "\n");
        size_t n = m->fate_n < FATES ? m->fate_n : FATES;
        for (size_t i = n; i-- > 0;) { /* oldest first, as they were begun */
                const struct step_fate *f = &m->fates[(m->fate_n - 1 - i) % FATES];
                text_f(&head, "{\"%s\":\"%" PRIu64 "\"}\n",
                       f->fate == FATE_ACKED  ? "ack"
                       : f->fate == FATE_DONE ? "done"
                                              : "begin",
                       f->step);
        }
        m->w->task->unlock(m->w, m->lock);
        if (m->w->file->rename(m->w, m->path, text_of(&old), &err) || m->w->file->append(m->w, m->path, text_of(&head), head.n, &err))
                log_event(m->log, LOG_ERROR, "log.rotate", "msg=\"%s\"", err.text);
        else
                m->bytes = (int64_t)head.n;
        text_done(&old);
        text_done(&head);
}

/* A line that somebody waited for is answered, not owed: its step does not begin. */
static void owe(struct memory *m, const struct line *first)
{
        for (const struct line *l = first; l; l = (const struct line *)l->message.next)
                if (!l->reply && m->owed.n + strlen(l->text) <= OWED_BYTES_MAX)
                        text_put(&m->owed, l->text);
}

static enum code memory_append(struct memory *m, const struct line *first, struct tp_error *err)
{
        struct text batch;
        text_init(&batch, 0);
        text_put(&batch, m->torn ? "\n" : "");
        text_put(&batch, text_of(&m->owed));
        for (const struct line *l = first; l; l = (const struct line *)l->message.next)
                text_put(&batch, l->text);
        enum code code = text_ok(&batch) ? m->w->file->append(m->w, m->path, text_of(&batch), batch.n, err) : tp_fail_memory(err);
        m->torn = code != CODE_OK;
        if (!code) {
                m->bytes += (int64_t)batch.n;
                text_clear(&m->owed);
        }
        text_done(&batch);
        return code;
}

static void write_batch(struct memory *m, struct line *first)
{
        struct tp_error err = {0};
        bool was_torn = m->torn;
        enum code code = memory_append(m, first, &err);
        if (code && !was_torn)
                log_event(m->log, LOG_ERROR, "log.write", "msg=\"%s; no step begins until it can be written\"", err.text);
        if (code)
                owe(m, first);
        for (struct line *next, *l = first; l; l = next) {
                next = (struct line *)l->message.next;
                answer(m, l, code, &err);
                line_free(&l->message);
        }
        if (m->bytes > FILE_BYTES_MAX)
                rotate(m);
}

void memory_write_run(void *arg)
{
        struct memory *m = arg;
        for (bool quit = false; !quit;) {
                struct line *first = NULL, **last = &first;
                size_t bytes = 0;
                int64_t deadline = INT64_MAX, retry = m->owed.n ? world_boot_ns(m->w) + OWED_RETRY_S * NS_PER_S : INT64_MAX;
                for (bool more = true; more && bytes < BATCH_BYTES;) {
                        struct message *got = m->w->task->take(m->w, m->in, first ? deadline : retry);
                        if (!got)
                                break;
                        if (got->kind == MEMORY_QUIT) {
                                quit = true;
                                free(got);
                                break;
                        }
                        struct line *l = (struct line *)got;
                        l->message.next = NULL;
                        *last = l;
                        last = (struct line **)&l->message.next;
                        bytes += strlen(l->text);
                        if (deadline == INT64_MAX)
                                deadline = world_boot_ns(m->w) + GATHER_MS * NS_PER_MS;
                        if (l->urgent)
                                more = m->w->task->waiting(m->w, m->in) > 0; /* what waits already comes along */
                }
                if (first || m->owed.n)
                        write_batch(m, first);
        }
}

enum code memory_write_owed(struct memory *m, struct tp_error *err) { return memory_append(m, NULL, err); }

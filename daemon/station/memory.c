/* memory.c: see memory.h.
 * Idea        lines are posted to one task that appends them in batches; the fate of the last 4096 steps is kept in memory beside it.
 * Full disk   never keeps the station from starting or from making safe: what could not be written is owed, and goes before the next line;
 * only the beginning of a step is refused then. Invariants  `lock` guards the fates and is never held while the disk is asked. */
#include "station/memory.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
        FATES = 4096,
        LINE_MAX_BYTES = 2048,
        BATCH_BYTES = 64 * 1024,
        GATHER_MS = 200,
        BEGIN_WAIT_S = 5,
        OWED_RETRY_S = 1,
        OWED_BYTES_MAX = 256 * 1024
};
enum { FILE_BYTES_MAX = 32 << 20 };
enum { MEMORY_LINE = 1, MEMORY_QUIT, MEMORY_WRITTEN };

struct line {
        struct message message;
        bool urgent;
        struct inbox *reply;
        uint64_t token;
        char *text;
};
struct written {
        struct message message;
        uint64_t token;
        enum code code;
        struct tp_error err;
};
struct step_fate {
        uint64_t step;
        enum fate fate;
};

struct memory {
        const struct world *w;
        const struct log *log;
        char *path;
        struct inbox *in;
        struct task *task;
        struct lock *lock;
        struct step_fate fates[FATES];
        size_t fate_n; /* ever put; the place is fate_n % FATES */
        uint64_t token;
        int64_t bytes;
        struct text owed; /* the writing task's own, once it runs */
        bool torn;        /* the last write failed: the file may end inside a line */
        uint32_t boot_count, epoch;
        bool latched;
};

/* ---- fates ---- */

static struct step_fate *fate_find(struct memory *m, uint64_t step)
{
        size_t n = m->fate_n < FATES ? m->fate_n : FATES;
        for (size_t i = 0; i < n; i++) {
                struct step_fate *f = &m->fates[(m->fate_n - 1 - i) % FATES]; /* newest first: it is nearly always the last */
                if (f->step == step)
                        return f;
        }
        return NULL;
}

static void fate_put(struct memory *m, uint64_t step, enum fate fate)
{
        struct step_fate *f = fate_find(m, step);
        if (!f)
                f = &m->fates[m->fate_n++ % FATES];
        *f = (struct step_fate){step, fate};
}

enum fate memory_fate(struct memory *m, uint64_t step)
{
        m->w->task->lock(m->w, m->lock);
        struct step_fate *f = fate_find(m, step);
        enum fate fate = f ? f->fate : FATE_NEVER;
        m->w->task->unlock(m->w, m->lock);
        return fate;
}

static void fate_set(struct memory *m, uint64_t step, enum fate fate)
{
        m->w->task->lock(m->w, m->lock);
        fate_put(m, step, fate);
        m->w->task->unlock(m->w, m->lock);
}

/* ---- writing ---- */

static void line_free(struct message *message)
{
        struct line *l = (struct line *)message;
        free(l->text);
        free(l);
}

static void written_free(struct message *m) { free(m); }

static bool line_post(struct memory *m, struct text *text, bool urgent, struct inbox *reply, uint64_t token)
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

static enum code append(struct memory *m, const struct line *first, struct tp_error *err)
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
        enum code code = append(m, first, &err);
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

static void memory_run(void *arg)
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

/* ---- what is remembered ---- */

static void line_begin(struct text *t, struct json_out *o, const struct memory *m)
{
        text_init(t, LINE_MAX_BYTES);
        *o = json_to(t);
        json_open(o, NULL, '{');
        json_int(o, "wall_us", world_wall_us(m->w));
}

static void put_id(struct json_out *o, const char *key, uint64_t step)
{
        char id[24];
        snprintf(id, sizeof id, "%" PRIu64, step);
        json_text(o, key, id);
}

enum code memory_begin(struct memory *m, uint64_t step, enum step_kind kind, struct inbox *reply, struct tp_error *err)
{
        struct text t;
        struct json_out o;
        line_begin(&t, &o, m);
        put_id(&o, "begin", step);
        json_text(&o, "kind", step_rows[kind].word);
        json_close(&o, '}');
        m->w->task->lock(m->w, m->lock);
        uint64_t token = ++m->token;
        fate_put(m, step, FATE_BEGUN);
        m->w->task->unlock(m->w, m->lock);
        if (!line_post(m, &t, true, reply, token))
                return tp_fail(err, CODE_BUSY, "the station's log takes no more lines; look at its disk");
        int64_t until = world_boot_ns(m->w) + BEGIN_WAIT_S * NS_PER_S;
        for (struct message *got; (got = m->w->task->take(m->w, reply, until));) {
                struct written *a = (struct written *)got;
                bool mine = got->kind == MEMORY_WRITTEN && a->token == token;
                enum code code = mine ? a->code : CODE_OK;
                if (mine && code)
                        tp_fail(err, code, "%s", a->err.text);
                got->free(got);
                if (mine)
                        return code;
        }
        return tp_fail(err, CODE_DISK, "the station's log %s did not take a line within %d s; look at its disk", m->path, BEGIN_WAIT_S);
}

void memory_done(struct memory *m, uint64_t step, enum code code)
{
        struct text t;
        struct json_out o;
        fate_set(m, step, FATE_DONE);
        line_begin(&t, &o, m);
        put_id(&o, "done", step);
        json_text(&o, "code", code_rows[code].word);
        json_close(&o, '}');
        line_post(m, &t, false, NULL, 0);
}

void memory_ack(struct memory *m, uint64_t step)
{
        struct text t;
        struct json_out o;
        fate_set(m, step, FATE_ACKED);
        line_begin(&t, &o, m);
        put_id(&o, "ack", step);
        json_close(&o, '}');
        line_post(m, &t, false, NULL, 0);
}

void memory_epoch(struct memory *m, uint32_t epoch)
{
        struct text t;
        struct json_out o;
        m->w->task->lock(m->w, m->lock);
        m->epoch = epoch;
        m->w->task->unlock(m->w, m->lock);
        line_begin(&t, &o, m);
        json_int(&o, "epoch", epoch);
        json_close(&o, '}');
        line_post(m, &t, true, NULL, 0);
}

void memory_event(struct memory *m, const struct station_event *e)
{
        struct text t;
        struct json_out o;
        line_begin(&t, &o, m);
        fields_write(&station_event_object, e, &o, "event");
        json_close(&o, '}');
        line_post(m, &t, true, NULL, 0);
}

void memory_latch(struct memory *m, bool latched, const char *who_or_why)
{
        struct text t;
        struct json_out o;
        m->w->task->lock(m->w, m->lock);
        m->latched = latched;
        m->w->task->unlock(m->w, m->lock);
        line_begin(&t, &o, m);
        json_bool(&o, "latched", latched);
        json_text(&o, latched ? "why" : "who", who_or_why);
        json_close(&o, '}');
        line_post(m, &t, true, NULL, 0);
}

/* ---- reading at start ---- */

static bool get_id(const cJSON *json, const char *key, uint64_t *ret)
{
        const cJSON *v = cJSON_GetObjectItemCaseSensitive(json, key);
        if (!cJSON_IsString(v))
                return false;
        *ret = strtoull(v->valuestring, NULL, 10);
        return true;
}

static void remember(struct memory *m, const cJSON *json, struct memory_start *start)
{
        uint64_t step;
        const cJSON *v;
        if (get_id(json, "begin", &step))
                fate_put(m, step, FATE_BEGUN);
        if (get_id(json, "done", &step))
                fate_put(m, step, FATE_DONE);
        if (get_id(json, "ack", &step))
                fate_put(m, step, FATE_ACKED);
        if (cJSON_IsNumber(v = cJSON_GetObjectItemCaseSensitive(json, "epoch")) && v->valuedouble > m->epoch &&
            v->valuedouble < 2147483647.0)
                m->epoch = (uint32_t)v->valuedouble;
        if (cJSON_IsNumber(v = cJSON_GetObjectItemCaseSensitive(json, "boot")) && v->valuedouble > m->boot_count &&
            v->valuedouble < 2147483647.0)
                m->boot_count = (uint32_t)v->valuedouble;
        if (cJSON_IsBool(v = cJSON_GetObjectItemCaseSensitive(json, "latched")))
                m->latched = cJSON_IsTrue(v);
        struct station_event event;
        if (cJSON_IsObject(v = cJSON_GetObjectItemCaseSensitive(json, "event")) &&
            !fields_read(&station_event_object, v, NULL, &event, NULL))
                start->last = event;
}

static void read_lines(struct memory *m, const char *at, size_t n, struct memory_start *start)
{
        for (const char *end = at + n; at < end;) {
                const char *line_end = memchr(at, '\n', (size_t)(end - at));
                size_t bytes = (size_t)((line_end ? line_end : end) - at);
                cJSON *json = NULL;
                if (bytes && !json_read(at, bytes, JSON_DEPTH_MAX, &json, NULL))
                        remember(m, json, start);
                cJSON_Delete(json);
                at += bytes + 1;
        }
}

static enum code read_file(struct memory *m, struct memory_start *start, struct tp_error *err)
{
        struct text whole;
        text_init(&whole, 2 * (size_t)FILE_BYTES_MAX);
        enum code code = m->w->file->read(m->w, m->path, 2 * (size_t)FILE_BYTES_MAX, &whole, err);
        if (code == CODE_NOT_FOUND)
                code = CODE_OK;
        else if (!code) {
                read_lines(m, text_of(&whole), whole.n, start);
                m->bytes = (int64_t)whole.n;
                m->torn = whole.n && whole.at[whole.n - 1] != '\n'; /* what follows must not be glued to it */
        }
        text_done(&whole);
        return code;
}

static void unfinished(struct memory *m, struct memory_start *start)
{
        size_t n = m->fate_n < FATES ? m->fate_n : FATES, room = sizeof start->unfinished / sizeof *start->unfinished;
        for (size_t i = n; i-- > 0;) {
                struct step_fate *f = &m->fates[(m->fate_n - 1 - i) % FATES];
                if (f->fate != FATE_BEGUN && f->fate != FATE_DONE)
                        continue;
                if (start->unfinished_n == room)
                        memmove(start->unfinished, start->unfinished + 1, --start->unfinished_n * sizeof *start->unfinished);
                start->unfinished[start->unfinished_n++] = f->step;
        }
}

/* The first write of a start: a path that cannot be is said now, a disk that is full or broken is only owed. */
static enum code boot_line(struct memory *m, const char *build, struct tp_error *err)
{
        struct text t;
        struct json_out o;
        line_begin(&t, &o, m);
        json_int(&o, "boot", m->boot_count);
        json_text(&o, "build", build);
        json_close(&o, '}');
        text_put(&t, "\n");
        text_put(&m->owed, text_of(&t));
        text_done(&t);
        struct tp_error mine = {0};
        enum code code = append(m, NULL, &mine);
        if (code == CODE_OK)
                return code;
        if (code != CODE_DISK_FULL && code != CODE_DISK)
                return tp_fail(err, code, "%s", mine.text);
        log_event(m->log, LOG_ERROR, "log.write",
                  "msg=\"%s; the station makes safe what it finds, no step begins until its log can be written\"", mine.text);
        return CODE_OK;
}

enum code memory_open(const struct world *w, const char *path, const char *build, const struct log *log, struct memory **ret,
                      struct memory_start *ret_start, struct tp_error *err)
{
        struct memory *m = calloc(1, sizeof *m);
        enum code code = CODE_OK;
        *ret_start = (struct memory_start){0};
        if (!m)
                return tp_fail_memory(err);
        m->w = w;
        m->log = log;
        m->path = strdup(path);
        text_init(&m->owed, 0);
        m->in = w->task->inbox_new(w, 4096);
        m->lock = w->task->lock_new(w);
        if (!m->path || !m->in || !m->lock)
                code = tp_fail_memory(err);
        if (!code)
                code = read_file(m, ret_start, err);
        m->boot_count++;
        if (!code)
                code = boot_line(m, build, err);
        if (!code && !(m->task = w->task->start(w, "station-log", memory_run, m)))
                code = tp_fail(err, CODE_MEMORY, "the task that writes the log could not be started");
        if (code) {
                memory_close(m);
                return tp_where(err, "station log %s", path);
        }
        ret_start->boot_count = m->boot_count;
        ret_start->epoch = m->epoch;
        ret_start->latched = m->latched;
        unfinished(m, ret_start);
        *ret = m;
        return CODE_OK;
}

void memory_close(struct memory *m)
{
        if (!m)
                return;
        if (m->task) {
                struct message *quit;
                while (!(quit = calloc(1, sizeof *quit)))
                        m->w->task->sleep_until(m->w, world_boot_ns(m->w) + 10 * NS_PER_MS);
                quit->kind = MEMORY_QUIT;
                quit->free = written_free;
                while (!m->w->task->post(m->w, m->in, quit))
                        m->w->task->sleep_until(m->w, world_boot_ns(m->w) + 10 * NS_PER_MS);
                m->w->task->join(m->w, m->task);
        }
        if (m->in)
                m->w->task->inbox_free(m->w, m->in);
        if (m->lock)
                m->w->task->lock_free(m->w, m->lock);
        text_done(&m->owed);
        free(m->path);
        free(m);
}

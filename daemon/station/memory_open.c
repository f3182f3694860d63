/* memory_open.c: what an earlier start wrote is read back; opening and closing (memory.h). */
#include "station/memory_own.h"
#include <stdlib.h>
#include <string.h>

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
                memory_fate_put(m, step, FATE_BEGUN);
        if (get_id(json, "done", &step))
                memory_fate_put(m, step, FATE_DONE);
        if (get_id(json, "ack", &step))
                memory_fate_put(m, step, FATE_ACKED);
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
        memory_line_begin(&t, &o, m);
        json_int(&o, "boot", m->boot_count);
        json_text(&o, "build", build);
        json_close(&o, '}');
        text_put(&t, "\n");
        text_put(&m->owed, text_of(&t));
        text_done(&t);
        struct tp_error mine = {0};
        enum code code = memory_write_owed(m, &mine);
        if (code == CODE_OK)
                return code;
        if (code != CODE_DISK_FULL && code != CODE_DISK)
                return tp_fail(err, code, "%s", mine.text);
        log_event(m->log, LOG_ERROR, "log.write",
                  "msg=\"%s; the station makes safe what it finds, no step begins until its log can be written\"", mine.text);
        return CODE_OK;
}

static void quit_free(struct message *m) { free(m); }

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
        if (!code && !(m->task = w->task->start(w, "station-log", memory_write_run, m)))
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
                quit->free = quit_free;
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

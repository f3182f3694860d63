/* memory.c: the fate of the last 4096 steps, kept in memory beside the lines that tell it (memory.h).
 * Idea        lines are posted to one task that appends them in batches (memory_write.c).
 * Full disk   never keeps the station from starting or from making safe; only the beginning of a step is refused then.
 * Invariants  `lock` guards the fates and is never held while the disk is asked. */
#include "station/memory_own.h"
#include <inttypes.h>
#include <stdio.h>

enum { BEGIN_WAIT_S = 5 };

struct step_fate *memory_fate_find(struct memory *m, uint64_t step)
{
        size_t n = m->fate_n < FATES ? m->fate_n : FATES;
        for (size_t i = 0; i < n; i++) {
                struct step_fate *f = &m->fates[(m->fate_n - 1 - i) % FATES]; /* newest first: it is nearly always the last */
                if (f->step == step)
                        return f;
        }
        return NULL;
}

void memory_fate_put(struct memory *m, uint64_t step, enum fate fate)
{
        struct step_fate *f = memory_fate_find(m, step);
        if (!f)
                f = &m->fates[m->fate_n++ % FATES];
        *f = (struct step_fate){step, fate};
}

enum fate memory_fate(struct memory *m, uint64_t step)
{
        m->w->task->lock(m->w, m->lock);
        struct step_fate *f = memory_fate_find(m, step);
        enum fate fate = f ? f->fate : FATE_NEVER;
        m->w->task->unlock(m->w, m->lock);
        return fate;
}

static void fate_set(struct memory *m, uint64_t step, enum fate fate)
{
        m->w->task->lock(m->w, m->lock);
        memory_fate_put(m, step, fate);
        m->w->task->unlock(m->w, m->lock);
}

void memory_line_begin(struct text *t, struct json_out *o, const struct memory *m)
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
        memory_line_begin(&t, &o, m);
        put_id(&o, "begin", step);
        json_text(&o, "kind", step_rows[kind].word);
        json_close(&o, '}');
        m->w->task->lock(m->w, m->lock);
        uint64_t token = ++m->token;
        memory_fate_put(m, step, FATE_BEGUN);
        m->w->task->unlock(m->w, m->lock);
        if (!memory_line_post(m, &t, true, reply, token))
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
        memory_line_begin(&t, &o, m);
        put_id(&o, "done", step);
        json_text(&o, "code", code_rows[code].word);
        json_close(&o, '}');
        memory_line_post(m, &t, false, NULL, 0);
}

void memory_ack(struct memory *m, uint64_t step)
{
        struct text t;
        struct json_out o;
        fate_set(m, step, FATE_ACKED);
        memory_line_begin(&t, &o, m);
        put_id(&o, "ack", step);
        json_close(&o, '}');
        memory_line_post(m, &t, false, NULL, 0);
}

void memory_epoch(struct memory *m, uint32_t epoch)
{
        struct text t;
        struct json_out o;
        m->w->task->lock(m->w, m->lock);
        m->epoch = epoch;
        m->w->task->unlock(m->w, m->lock);
        memory_line_begin(&t, &o, m);
        json_int(&o, "epoch", epoch);
        json_close(&o, '}');
        memory_line_post(m, &t, true, NULL, 0);
}

void memory_event(struct memory *m, const struct station_event *e)
{
        struct text t;
        struct json_out o;
        memory_line_begin(&t, &o, m);
        fields_write(&station_event_object, e, &o, "event");
        json_close(&o, '}');
        memory_line_post(m, &t, true, NULL, 0);
}

void memory_latch(struct memory *m, bool latched, const char *who_or_why)
{
        struct text t;
        struct json_out o;
        m->w->task->lock(m->w, m->lock);
        m->latched = latched;
        m->w->task->unlock(m->w, m->lock);
        memory_line_begin(&t, &o, m);
        json_bool(&o, "latched", latched);
        json_text(&o, latched ? "why" : "who", who_or_why);
        json_close(&o, '}');
        memory_line_post(m, &t, true, NULL, 0);
}

/* link.c: the daemon's side, for the loop: nothing here waits; what is to be sent is posted to the writer. */
#include "station/link_own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum code link_setup(struct link *l, const struct recipe *recipe, const char *recipe_json, size_t n, struct tp_error *err)
{
        struct text t;
        (void)recipe; /* the station reads the document itself: its limits and sweep plans are those of the bytes that name it */
        char *whole = strndup(recipe_json, n);
        if (!whole)
                return tp_fail_memory(err);
        text_init(&t, FRAME_BODY_MAX);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_text(&o, "recipe", whole);
        json_close(&o, '}');
        free(whole);
        return link_ask(l, OUT_FRAME, FRAME_SETUP, 0, &t, err);
}

enum code link_step(struct link *l, const struct step *step, struct tp_error *err)
{
        struct text args, t;
        struct json_out o;
        text_init(&args, FRAME_BODY_MAX);
        text_init(&t, FRAME_BODY_MAX);
        o = json_to(&args);
        fields_write(&step_args_object, &step->args, &o, NULL);
        text_f(&t, "{\"kind\":\"%s\",\"walks\":%llu%s%s", step_rows[step->kind].word, (unsigned long long)step->walks,
               args.n > 2 ? "," : "", args.n ? args.at + 1 : "}");
        if (!text_ok(&args))
                t.broken = true;
        text_done(&args);
        return link_ask(l, OUT_FRAME, FRAME_STEP, step->id, &t, err);
}

enum code link_did(struct link *l, uint64_t step, struct tp_error *err) { return link_ask(l, OUT_FRAME, FRAME_DID, step, NULL, err); }
enum code link_ack(struct link *l, uint64_t step, struct tp_error *err) { return link_ask(l, OUT_FRAME, FRAME_ACK, step, NULL, err); }
enum code link_safe(struct link *l, struct tp_error *err) { return link_ask(l, OUT_FRAME, FRAME_SAFE, 0, NULL, err); }

enum code link_clear(struct link *l, const char *who, struct tp_error *err)
{
        struct clear clear = {{0}};
        struct text t;
        snprintf(clear.who, sizeof clear.who, "%s", who);
        text_init(&t, 1024);
        struct json_out o = json_to(&t);
        fields_write(&clear_object, &clear, &o, NULL);
        return link_ask(l, OUT_FRAME, FRAME_CLEAR, 0, &t, err);
}

uint32_t link_epoch(const struct link *l) { return (uint32_t)atomic_load(&l->epoch); }

struct link *link_open(const struct world *w, const char *address, const char *build, uint32_t epoch_of_catalogue, struct inbox *loop,
                       bool (*healthy)(void *ctx), void *ctx, struct tp_error *err)
{
        struct link *l = calloc(1, sizeof *l);
        if (!l) {
                tp_fail_memory(err);
                return NULL;
        }
        l->w = w;
        l->loop = loop;
        l->healthy = healthy;
        l->ctx = ctx;
        l->ask = epoch_of_catalogue + 1;
        atomic_init(&l->closing, false);
        atomic_init(&l->up, false);
        atomic_init(&l->epoch, epoch_of_catalogue);
        snprintf(l->build, sizeof l->build, "%s", build);
        l->address = strdup(address);
        l->out = w->task->inbox_new(w, LINK_OUT_LIMIT);
        l->conn_lock = w->task->lock_new(w);
        l->short_lock = w->task->lock_new(w);
        if (l->address && l->out && l->conn_lock && l->short_lock && (l->writer = w->task->start(w, "link-write", link_write_run, l)) &&
            (l->reader = w->task->start(w, "link-read", link_read_run, l)))
                return l;
        tp_fail(err, CODE_MEMORY, "the link to the station at %s could not be started", address);
        link_close(l, false);
        return NULL;
}

void link_close(struct link *l, bool release)
{
        if (!l)
                return;
        const struct task_ops *t = l->w->task;
        if (l->writer) {
                if (release)
                        link_ask(l, OUT_FRAME, FRAME_RELEASE, 0, NULL, NULL);
                while (link_ask(l, OUT_QUIT, FRAME_NONE, 0, NULL, NULL))
                        t->sleep_until(l->w, world_boot_ns(l->w) + 10 * NS_PER_MS);
                t->join(l->w, l->writer);
        }
        atomic_store(&l->closing, true);
        if (l->short_lock) {
                t->lock(l->w, l->short_lock);
                if (l->waking)
                        l->w->net->shutdown(l->w, l->waking);
                t->unlock(l->w, l->short_lock);
        }
        if (l->reader)
                t->join(l->w, l->reader);
        if (l->out)
                t->inbox_free(l->w, l->out);
        if (l->conn_lock)
                t->lock_free(l->w, l->conn_lock);
        if (l->short_lock)
                t->lock_free(l->w, l->short_lock);
        free(l->address);
        free(l);
}

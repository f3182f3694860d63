/* metrics.c: is the daemon alive, is it ready, and its numbers in Prometheus text 0.0.4.  Base units; no die, run or lot as a label. */
#include "api/problem.h"
#include "api/route.h"
#include <inttypes.h>
#include <stdio.h>

bool healthz_now(struct request *q, struct reply *r)
{
        if (q->api->healthy && !q->api->healthy(q->api->healthy_ctx)) {
                struct tp_error err;
                tp_fail(&err, CODE_BUSY,
                        "the loop lags, a durable write is stuck, or the run needs a person; the station makes itself safe when the lease "
                        "ends; read the daemon's log");
                problem_of_error(q, r, &err);
                return true;
        }
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_bool(&o, "alive", true);
        json_text(&o, "build", q->api->build);
        json_int(&o, "epoch", store_epoch(q->api->store));
        json_close(&o, '}');
        reply_json(r, 200);
        return true;
}

bool readyz_now(struct request *q, struct reply *r)
{
        struct snapshot *s = snapshot_get(q->api->slot);
        bool ready = s && s->ready && !atomic_load(&q->api->refusing);
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_bool(&o, "ready", ready);
        json_text(&o, "why",
                  ready                 ? NULL
                  : !s                  ? "the loop has not said anything yet"
                  : s->not_ready_why[0] ? s->not_ready_why
                                        : "the daemon is stopping");
        json_close(&o, '}');
        reply_json(r, ready ? 200 : 503);
        snapshot_put(s);
        return true;
}

static void head(struct text *t, const char *name, const char *type, const char *help)
{
        text_f(t, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, type);
}

static void one(struct text *t, const char *name, const char *type, const char *help, double value)
{
        head(t, name, type, help);
        text_f(t, "%s %.17g\n", name, value);
}

static void run_metrics(struct text *t, const struct snapshot *s)
{
        one(t, "tipplane_ready", "gauge", "1 when a run could be started now.", s->ready);
        one(t, "tipplane_run_in_hand", "gauge", "1 while a run goes on.", s->in_hand);
        one(t, "tipplane_run_station_seconds", "gauge", "Station time of the run in hand.", s->night_seconds);
        one(t, "tipplane_wait_for_daemon_seconds", "gauge", "Station time that instruments waited for the daemon in the run in hand.",
            s->waited_seconds);
        one(t, "tipplane_steps_total", "counter", "Steps decided in the run in hand.", (double)s->steps);
        one(t, "tipplane_sweeps_total", "counter", "Sweeps stored in the run in hand.", (double)s->sweeps);
        head(t, "tipplane_touchdowns_total", "counter", "Touchdowns of the run in hand by contact.");
        text_f(t, "tipplane_touchdowns_total{contact=\"good\"} %" PRIu64 "\n", s->touches_good);
        text_f(t, "tipplane_touchdowns_total{contact=\"doubtful\"} %" PRIu64 "\n", s->touches_doubtful);
        text_f(t, "tipplane_touchdowns_total{contact=\"absent\"} %" PRIu64 "\n", s->touches_absent);
        one(t, "tipplane_loop_lag_seconds", "gauge", "How late the loop last turned.", s->loop_lag_s);
}

static void store_metrics(struct text *t, const struct store_health *h)
{
        one(t, "tipplane_store_oldest_waiting_seconds", "gauge", "Age of the oldest durable write without an answer.",
            (double)h->oldest_waiting_ns * 1e-9);
        one(t, "tipplane_store_queued_bytes", "gauge", "Bytes waiting to be written.", (double)h->queued_bytes);
        one(t, "tipplane_store_free_bytes", "gauge", "Free bytes on the disk of the data directory.", (double)h->free_bytes);
        one(t, "tipplane_store_wal_bytes", "gauge", "Bytes in write-ahead logs.", (double)h->wal_bytes);
        one(t, "tipplane_store_last_sync_seconds", "gauge", "Time of the last durable commit.", (double)h->last_sync_us * 1e-6);
        one(t, "tipplane_store_reserve_held", "gauge", "1 while the reserve for a full disk is untouched.", h->reserve_held);
        one(t, "tipplane_store_commits_total", "counter", "Commits since the start.", (double)h->commits);
}

bool metrics_now(struct request *q, struct reply *r)
{
        struct api *api = q->api;
        struct text *t = &r->body;
        struct store_health health = store_health(api->store);
        struct snapshot *s = snapshot_get(api->slot);
        uint64_t by_cost[5], by_class[6];
        unsigned streams;
        api->world->task->lock(api->world, api->lock);
        for (size_t i = 0; i < 5; i++)
                by_cost[i] = api->asked.by_cost[i];
        for (size_t i = 0; i < 6; i++)
                by_class[i] = api->asked.by_class[i];
        streams = api->streams;
        api->world->task->unlock(api->world, api->lock);
        head(t, "tipplane_build_info", "gauge", "Build of the daemon.");
        text_f(t, "tipplane_build_info{build=\"%s\"} 1\n", api->build);
        if (s)
                run_metrics(t, s);
        snapshot_put(s);
        store_metrics(t, &health);
        head(t, "tipplane_http_requests_total", "counter", "Requests by cost.");
        for (size_t i = 0; i < 5; i++)
                text_f(t, "tipplane_http_requests_total{cost=\"%s\"} %" PRIu64 "\n", cost_words[i], by_cost[i]);
        head(t, "tipplane_http_replies_total", "counter", "Replies by class of status.");
        for (size_t i = 1; i < 6; i++)
                text_f(t, "tipplane_http_replies_total{class=\"%zuxx\"} %" PRIu64 "\n", i, by_class[i]);
        one(t, "tipplane_http_streams", "gauge", "Event streams now open.", streams);
        reply_text(r, "text/plain; version=0.0.4; charset=utf-8");
        return true;
}

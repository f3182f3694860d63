/* act_link.c: the station's messages: it is there, it is gone, a step ended, something happened by itself. */
#include "run/runner_own.h"
#include <stdio.h>
#include <string.h>

/* What the station did by itself; anything but a lapsed lease may have touched the measuring system, so a check follows. */
static void note_event(struct runner *r, struct note *n, const struct station_event *event)
{
        snprintf(n->why, sizeof n->why, "%.20s: %.90s", event->what, event->text);
        runner_note(r, n);
        if (strcmp(event->what, "lease") == 0)
                return;
        n->note = NOTE_INTERVENTION;
        n->has_state = false;
        runner_note(r, n);
        if (strcmp(event->what, "asked") != 0)
                return;
        n->note = NOTE_PAUSE; /* whoever asked the station itself had a reason; nothing moves until a person says so */
        snprintf(n->why, sizeof n->why, "the station was asked for safety past this daemon: resume the run when it may go on");
        runner_note(r, n);
}

static void on_link_up(struct runner *r, struct link_note *note)
{
        bool other = r->welcome.boot_count && r->welcome.boot_count != note->welcome.boot_count;
        r->link_up = true;
        r->setup_sent = false;
        r->welcome = note->welcome;
        r->state = note->welcome.state;
        r->walks = note->welcome.walks;
        r->station_ns = note->welcome.station_ns;
        arena_free(r->can_arena);
        r->can_arena = note->can_arena;
        r->can = note->can;
        note->can_arena = NULL;
        r->changed = true;
        if (r->welcome.epoch != store_epoch(r->store)) { /* the station has seen younger daemons than this catalogue knows of */
                struct work *work = work_new(NULL);
                struct fact *f = work ? work_add(work, FACT_EPOCH) : NULL;
                if (f) {
                        f->of.epoch.epoch = r->welcome.epoch;
                        f->of.epoch.station = r->welcome.station;
                }
                if (work && !store_submit(r->store, work, LAZY))
                        work_free(work);
        }
        log_event(r->log, LOG_INFO, "link.up", "station=%s boot=%u epoch=%u simulated=%d", r->welcome.station, r->welcome.boot_count,
                  r->welcome.epoch, r->welcome.simulated);
        if (!r->active)
                return;
        struct note n = {.note = NOTE_NONE, .station_boot = r->welcome.boot_count, .has_state = true, .state = r->welcome.state};
        if (other || (r->e && r->e->station_boot && r->e->station_boot != r->welcome.boot_count)) {
                n.note = NOTE_STATION_BOOT;
                snprintf(n.why, sizeof n.why, "the station restarted");
                runner_note(r, &n);
        } else if (r->welcome.last.what[0] && strcmp(r->welcome.last.what, "boot") != 0) {
                n.note = NOTE_STATION_EVENT;
                n.of_step = r->welcome.last.step;
                note_event(r, &n, &r->welcome.last);
        }
        if (r->doing == DOING_SEND)
                act_send(r);
}

static void on_station_event(struct runner *r, const struct link_note *note)
{
        r->state = note->event.state;
        r->walks = note->event.walks;
        r->station_ns = note->event.station_ns;
        r->changed = true;
        log_event(r->log, LOG_WARN, "station.event", "what=\"%s\" msg=\"%s\"", note->event.what, note->event.text);
        if (!r->active)
                return;
        struct note n = {.note = NOTE_STATION_EVENT,
                         .of_step = note->event.step,
                         .has_state = true,
                         .state = note->event.state,
                         .station_boot = r->welcome.boot_count};
        note_event(r, &n, &note->event);
}

void act_link_note(struct runner *r, struct link_note *note)
{
        bool taken = false;
        switch ((enum link_message)note->message.kind) {
        case LINK_UP:
                on_link_up(r, note);
                break;
        case LINK_REFUSED:
                log_event(r->log, LOG_WARN, "link.refused", "step=%llu msg=\"%s\"", (unsigned long long)note->step, note->why.text);
                r->setup_sent = false;
                if (r->active && note->step && note->step == r->step.id && (r->doing == DOING_STATION || r->doing == DOING_ASK))
                        act_refused(r, &note->why);
                break;
        case LINK_DOWN:
                r->link_up = false;
                r->changed = true;
                log_event(r->log, LOG_WARN, "link.down", "msg=\"%s\"", note->why.text);
                if (r->doing == DOING_STATION || r->doing == DOING_ASK) {
                        r->doing = DOING_SEND;
                        r->fresh = false;
                }
                break;
        case LINK_RESULT:
                r->station_ns = note->result.station_ns;
                r->state = note->result.state;
                if (r->active && note->step == r->step.id && (r->doing == DOING_STATION || r->doing == DOING_ASK)) {
                        r->result_ns = world_boot_ns(r->world);
                        act_result(r, note);
                        taken = true;
                } else if (r->active && r->doing != DOING_OUTCOME && r->doing != DOING_JOB && r->doing != DOING_SEND) {
                        link_ack(r->link, note->step, NULL); /* committed before: a duplicate */
                }
                break;
        case LINK_DID:
                if (r->active && note->step == r->step.id && r->doing == DOING_ASK && strcmp(note->did, "done") != 0 &&
                    strcmp(note->did, "interrupted") != 0)
                        act_not_done(r, note->did);
                break;
        case LINK_EVENT:
                on_station_event(r, note);
                break;
        case LINK_STATUS:
                r->state = note->event.state;
                r->station_ns = note->event.station_ns;
                break;
        case LINK_SAFE_DONE: /* what the walk did came as an event before: here is only the answer to who asked */
                r->state = note->event.state;
                r->station_ns = note->event.station_ns;
                r->changed = true;
                act_safe_done(r, note);
                break;
        }
        if (!taken)
                note->message.free(&note->message);
}

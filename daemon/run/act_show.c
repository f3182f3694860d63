/* act_show.c: the loop's state for people, serialised once and shared: at most four times a second. */
#include "run/runner_own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHOW_NS (INT64_C(250) * NS_PER_MS)

static void show_state(struct json_out *o, const struct runner *r)
{
        const struct state_read *s = &r->state;
        json_open(o, NULL, '{');
        json_text(o, "name", r->station_name);
        json_bool(o, "connected", r->link_up);
        json_bool(o, "simulated", r->welcome.simulated);
        json_bool(o, "replayed", r->welcome.replayed);
        json_text(o, "separated", know_words[s->separated]);
        json_text(o, "bias_off", know_words[s->bias_off]);
        json_text(o, "axes", know_words[s->axes]);
        json_bool(o, "in_contact", s->in_contact);
        json_bool(o, "latched", s->latched);
        json_text(o, "place", place_words[s->place]);
        json_real(o, "x_um", s->x_um);
        json_real(o, "y_um", s->y_um);
        json_real(o, "z_um", s->z_um);
        json_real(o, "volt_max", s->volt_max);
        json_int(o, "station_ns", r->station_ns);
        json_int(o, "boot_count", r->welcome.boot_count);
        json_int(o, "epoch", r->link ? link_epoch(r->link) : 0);
        json_close(o, '}');
}

struct tally {
        size_t dies_done, verdicts[4];
        double seconds_left;
        struct evidence_counts counts;
        size_t rescued, offered;
};

static struct tally tally_of(const struct runner *r)
{
        struct tally t = {.counts = evidence_count(r->e, r->plan), .rescued = rescue_count(r), .offered = rescue_offered(r)};
        for (size_t d = 0; d < r->plan->visit_die_n; d++) {
                bool done = true;
                for (int32_t v = r->plan->visit_begin[d]; v < r->plan->visit_begin[d + 1]; v++) {
                        int target = r->plan->visits[v];
                        bool waits = evidence_targets(r->e)[target].outcome <= TARGET_WAITS;
                        done &= !waits;
                        if (waits)
                                t.seconds_left += r->plan->targets[target].seconds;
                        t.verdicts[r->verdict[target]]++;
                }
                t.dies_done += done;
        }
        return t;
}

static const char *state_word(const struct runner *r)
{
        if (r->doing == DOING_STUCK)
                return "stuck";
        if (r->e->finished)
                return "finished";
        if (!r->e->may_stay)
                return "stopping";
        if (!r->e->may_go)
                return "paused";
        if (r->why_wait[0])
                return "waiting";
        return r->e->may_measure ? "running" : "finishing";
}

static void sentence(const struct runner *r, const struct tally *t, char *ret, size_t room)
{
        const char *what = step_words[r->step.kind];
        char rescued[40] = "";
        if (t->rescued)
                snprintf(rescued, sizeof rescued, "%zu rescued, ", t->rescued);
        int n = snprintf(ret, room, "Die %zu of %zu. %zu devices measured, %zu proven, %s%zu suspect, %zu without contact. ", t->dies_done,
                         r->plan->visit_die_n, t->counts.measured + t->counts.doubtful, t->counts.proven, rescued,
                         t->counts.suspect - t->rescued, t->counts.no_contact);
        if (n < 0 || (size_t)n >= room)
                return;
        if (r->e->finished && t->counts.measured + t->counts.doubtful == 0)
                snprintf(ret + n, room - (size_t)n,
                         "The run has ended, the station is parked, and nothing was measured%s%.160s. Look before the next run starts.",
                         r->why_refused[0] ? ": " : "", r->why_refused);
        else if (r->e->finished)
                snprintf(ret + n, room - (size_t)n, "The run has ended, the station is parked. %s",
                         t->offered ? "Suspects of a drifted interval can be rescued: tipplane evaluate. Nothing else needs you."
                                    : "Nothing needs you.");
        else if (r->why_wait[0])
                snprintf(ret + n, room - (size_t)n, "%s%s", r->needs_person ? "Needs a person: " : "Waits: ", r->why_wait);
        else
                snprintf(ret + n, room - (size_t)n, "Now: %s. About %.0f min of station time left. Nothing needs you.", what,
                         t->seconds_left / 60);
}

static void show_counts(struct json_out *o, const struct runner *r, const struct tally *t)
{
        json_open(o, "counts", '{');
        json_int(o, "devices", (int64_t)r->plan->visit_n);
        json_int(o, "waits", (int64_t)t->counts.waits);
        json_int(o, "measured", (int64_t)t->counts.measured);
        json_int(o, "doubtful", (int64_t)t->counts.doubtful);
        json_int(o, "no_contact", (int64_t)t->counts.no_contact);
        json_int(o, "skipped", (int64_t)t->counts.skipped);
        json_int(o, "written_off", (int64_t)t->counts.written_off);
        json_int(o, "proven", (int64_t)t->counts.proven);
        json_int(o, "open", (int64_t)t->counts.open);
        json_int(o, "suspect", (int64_t)(t->counts.suspect - t->rescued));
        json_int(o, "rescued", (int64_t)t->rescued);
        json_int(o, "rescue_offered", (int64_t)t->offered);
        json_int(o, "pass", (int64_t)t->verdicts[VERDICT_PASS]);
        json_int(o, "marginal", (int64_t)t->verdicts[VERDICT_MARGINAL]);
        json_int(o, "fail", (int64_t)t->verdicts[VERDICT_FAIL]);
        json_int(o, "touches_good", r->e->touches_good);
        json_int(o, "touches_doubtful", r->e->touches_doubtful);
        json_int(o, "touches_absent", r->e->touches_absent);
        json_int(o, "touches_cut", r->e->touches_cut);
        json_int(o, "retouches", r->e->retouches);
        json_int(o, "checks", r->e->checks);
        json_int(o, "checks_failed", r->e->checks_failed);
        json_int(o, "recalibrations", r->e->recalibrations);
        json_int(o, "interventions", r->e->interventions);
        json_int(o, "daemon_starts", r->e->daemon_boots);
        json_int(o, "station_deaths", r->e->station_deaths);
        json_close(o, '}');
}

static void show_run(struct json_out *o, const struct runner *r, double *ret_seconds)
{
        char words[400] = "";
        json_open(o, NULL, '{');
        json_text(o, "id", r->run[0] ? r->run : NULL);
        if (!r->active || !r->e) {
                json_text(o, "state", r->run[0] ? "ended" : "none");
                json_text(o, "sentence", r->run[0] ? "The run has ended; its file is sealed." : "No run is in hand.");
                json_close(o, '}');
                return;
        }
        struct tally t = tally_of(r);
        *ret_seconds = r->begun_station_ns ? (double)(r->station_ns - r->begun_station_ns) * 1e-9 : 0;
        sentence(r, &t, words, sizeof words);
        json_text(o, "wafer", r->wafer);
        json_text(o, "lot", r->lot);
        json_text(o, "recipe", r->recipe_name);
        json_text(o, "state", state_word(r));
        json_text(o, "sentence", words);
        json_text(o, "waiting_for", r->why_wait[0] ? r->why_wait : NULL);
        json_bool(o, "needs_person", r->needs_person);
        json_text(o, "why_refused", r->why_refused[0] ? r->why_refused : NULL);
        json_int(o, "seq", (int64_t)r->seq);
        json_int(o, "dies", (int64_t)r->plan->visit_die_n);
        json_int(o, "dies_done", (int64_t)t.dies_done);
        json_real(o, "station_seconds", *ret_seconds);
        json_real(o, "seconds_left", t.seconds_left);
        json_real(o, "seconds_planned", r->plan->seconds_total);
        json_real(o, "waited_seconds", r->waited_s);
        json_open(o, "calibration", '{');
        json_int(o, "in_force", r->e->in_force);
        json_int(o, "tries", r->e->calibration);
        json_close(o, '}');
        json_open(o, "place", '{');
        json_bool(o, "proven", r->e->place == PLACE_STATE_PROVEN);
        json_close(o, '}');
        show_counts(o, r, &t);
        json_close(o, '}');
}

static const char *trust_worst(const char *a, const char *b)
{
        static const char *const order[] = {"suspect", "open", "rescued", "proven"};
        for (size_t i = 0; i < 4; i++)
                if (strcmp(a, order[i]) == 0 || strcmp(b, order[i]) == 0)
                        return order[i];
        return a[0] ? a : b;
}

static void show_die(struct json_out *o, const struct runner *r, size_t d)
{
        const struct die *die = &r->plan->dies[r->plan->visit_die[d]];
        uint8_t verdict = VERDICT_NONE;
        const char *trust = "";
        size_t waits = 0, contactless = 0;
        json_open(o, NULL, '{');
        json_int(o, "x", die->x);
        json_int(o, "y", die->y);
        json_open(o, "devices", '[');
        for (int32_t v = r->plan->visit_begin[d]; v < r->plan->visit_begin[d + 1]; v++) {
                int t = r->plan->visits[v];
                const struct target_seen *seen = &evidence_targets(r->e)[t];
                const struct touch_seen *touch = evidence_touch(r->e, t);
                const char *word = r->rescued[t] ? trust_words[TRUST_RESCUED] : touch ? trust_words[touch->trust] : "unknown";
                waits += seen->outcome <= TARGET_WAITS;
                contactless += seen->outcome == TARGET_NO_CONTACT;
                if (r->verdict[t] > verdict)
                        verdict = r->verdict[t];
                if (touch && touch->trust)
                        trust = trust_worst(trust, word);
                json_open(o, NULL, '{');
                json_text(o, "name", r->recipe->measures[r->plan->targets[t].item].device);
                json_text(o, "outcome", target_outcome_words[seen->outcome]);
                json_text(o, "verdict", verdict_words[r->verdict[t]]);
                json_text(o, "trust", word);
                if (seen->why)
                        json_text(o, "why", why_not_words[seen->why]);
                if (touch && touch->trust != TRUST_PROVEN)
                        json_text(o, "reason", r->rescued[t] ? r->rescued[t] : trust_why_words[touch->trust_why]);
                if (r->device_sweep[t][0])
                        json_int(o, "sweep", r->device_sweep[t][0]);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_int(o, "waits", (int64_t)waits);
        json_int(o, "no_contact", (int64_t)contactless);
        json_text(o, "verdict", verdict_words[verdict]);
        json_text(o, "trust", trust[0] ? trust : "unknown");
        json_close(o, '}');
}

static void show_map(struct json_out *o, const struct runner *r)
{
        json_open(o, NULL, '{');
        json_text(o, "run", r->run[0] ? r->run : NULL);
        if (r->active && r->e) {
                const struct layout *l = &r->recipe->layout;
                json_text(o, "wafer", r->wafer);
                json_real(o, "diameter_mm", l->diameter_mm);
                json_real(o, "notch_deg", l->notch_deg);
                json_real(o, "pitch_x_um", l->pitch_x_um);
                json_real(o, "pitch_y_um", l->pitch_y_um);
                json_real(o, "offset_x_um", l->offset_x_um);
                json_real(o, "offset_y_um", l->offset_y_um);
                json_open(o, "dies", '[');
                for (size_t d = 0; d < r->plan->visit_die_n; d++)
                        show_die(o, r, d);
                json_close(o, ']');
        }
        json_close(o, '}');
}

void show(struct runner *r, bool now)
{
        int64_t at = world_boot_ns(r->world);
        if (!now && (!r->changed || at - r->shown_ns < SHOW_NS))
                return;
        struct snapshot *s = calloc(1, sizeof *s);
        struct text station, run;
        text_init(&station, 0);
        text_init(&run, 0);
        struct json_out so = json_to(&station), ro = json_to(&run);
        double seconds = 0;
        show_state(&so, r);
        show_run(&ro, r, &seconds);
        if (r->map_changed || now) {
                text_clear(&r->map);
                struct json_out mo = json_to(&r->map);
                show_map(&mo, r);
                r->map_changed = false;
        }
        char *map = strdup(text_of(&r->map));
        if (!s || !map || !text_ok(&station) || !text_ok(&run) || !text_ok(&r->map)) {
                text_done(&station);
                text_done(&run);
                free(map);
                free(s);
                return; /* the old snapshot stays */
        }
        if (r->can_arena) {
                struct text can;
                text_init(&can, 0);
                struct json_out co = json_to(&can);
                fields_write(&capability_object, &r->can, &co, NULL);
                s->can_json = text_take(&can, NULL);
                text_done(&can);
        }
        s->in_hand = r->active && r->e;
        s->version = ++r->version;
        s->epoch = store_epoch(r->store);
        snprintf(s->run, sizeof s->run, "%s", r->run);
        s->station_json = text_take(&station, NULL);
        s->run_json = text_take(&run, NULL);
        s->map_json = map;
        s->ready = r->link_up && !r->active && r->doing != DOING_STUCK && !r->stop_asked;
        if (!s->ready)
                snprintf(s->not_ready_why, sizeof s->not_ready_why, "%.159s",
                         r->stop_asked             ? "the daemon is stopping"
                         : !r->link_up             ? "the station does not answer"
                         : r->doing == DOING_STUCK ? r->why_wait
                                                   : "a run is in hand");
        s->night_seconds = seconds;
        s->waited_seconds = r->waited_s;
        s->steps = r->steps;
        s->commits = store_health(r->store).commits;
        if (r->active && r->e) {
                s->touches_good = (uint64_t)r->e->touches_good;
                s->touches_doubtful = (uint64_t)r->e->touches_doubtful;
                s->touches_absent = (uint64_t)r->e->touches_absent;
                s->sweeps = r->e->sweeps;
        }
        snapshot_set(r->slot, s);
        r->shown_ns = at;
        r->changed = false;
}

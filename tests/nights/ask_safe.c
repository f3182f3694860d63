/* ask_safe.c: a person asks the daemon for safety in mid-night.  Once the proof is there, nothing moves and no bias is on until a person says
 * that the run may go on, whatever was intended, on its way or in hand when it was asked for. */
#include "run/command.h"
#include "tests/nights/night_own.h"
#include <stdio.h>
#include <stdlib.h>

static void on_safe(void *ctx, enum code code, const char *json, const struct tp_error *err)
{
        struct night *n = ctx;
        (void)json;
        (void)err;
        n->safe_answered = true;
        n->safe_code = code;
}

static bool post(struct night *n, enum command_kind what)
{
        struct command *c = n->house ? calloc(1, sizeof *c) : NULL;
        if (!c)
                return false;
        c->what = what;
        snprintf(c->person, sizeof c->person, "night");
        if (what == COMMAND_SAFE) {
                c->done = on_safe;
                c->ctx = n;
        }
        if (command_post(sim_process_world(n->daemon_process), house_inbox(n->house), c))
                return true;
        free(c);
        return false;
}

static void watch_it_stand(struct night *n, int64_t until_ns)
{
        while (n->station && world_boot_ns(n->w) < until_ns) {
                struct state_read s = {0};
                bool safe = false;
                station_state(n->station, &s, &safe);
                if (!safe || s.in_contact) {
                        night_fail(n,
                                   "%.3f s after it was proven safe, and before anybody resumed, the station stands at z = %.0f um with "
                                   "%.2f V",
                                   (double)(world_boot_ns(n->w) - n->safe_ns) * 1e-9, s.z_um, s.volt_max);
                        return;
                }
                n->w->task->sleep_until(n->w, world_boot_ns(n->w) + 20 * NS_PER_MS);
        }
}

void night_ask_safe(struct night *n)
{
        n->safe_answered = false;
        n->safe_code = CODE_BUG;
        if (sim_random(n->sim) & 1) { /* a slow disk: an intention is on its way to it while the ladder is walked */
                sim_disk(n->sim)->sync_hangs_at = 1;
                sim_disk(n->sim)->hang_ns = (int64_t)(sim_random(n->sim) % 3000) * NS_PER_MS;
                n->w->task->sleep_until(n->w, world_boot_ns(n->w) + (int64_t)(sim_random(n->sim) % 500) * NS_PER_MS);
        }
        if (!post(n, COMMAND_SAFE))
                return;
        for (int64_t until = world_boot_ns(n->w) + 200 * NS_PER_S; !n->safe_answered && world_boot_ns(n->w) < until;)
                n->w->task->sleep_until(n->w, world_boot_ns(n->w) + NS_PER_MS);
        if (!n->safe_answered) {
                night_fail(n, "who asked for safety had no answer in 200 s");
                return;
        }
        if (n->safe_code == CODE_OK) {
                n->safe_ns = world_boot_ns(n->w);
                n->end->safes++;
                watch_it_stand(n, n->safe_ns + 4 * NS_PER_S);
        }
        post(n, COMMAND_RESUME);
}

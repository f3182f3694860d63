/* act_command.c: what people ask of the run in hand becomes a note in its journal, or a sentence that says why not. */
#include "run/runner_own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void act_command(struct runner *r, struct command *c)
{
        struct tp_error err = {0};
        struct note n = {.note = NOTE_NONE, .die_x = c->die_x, .die_y = c->die_y};
        enum code code = CODE_OK;
        snprintf(n.who, sizeof n.who, "%s", c->person);
        snprintf(n.why, sizeof n.why, "%s", c->why);
        switch (c->what) {
        case COMMAND_START:
                act_start(r, c);
                return;
        case COMMAND_SAFE:
                if (!r->link_up) {
                        code = tp_fail(&err, CODE_LINK_DEAD,
                                       "the station does not answer this daemon; run `tipplane safe` on the station's own machine, or use "
                                       "its hardware stop");
                        break;
                }
                code = link_safe(r->link, &err);
                if (!code && r->active) { /* and nothing moves again until a person says so */
                        n.note = NOTE_PAUSE;
                        runner_note(r, &n);
                        n.note = NOTE_NONE;
                }
                if (!code && !r->safe_asked) {
                        r->safe_asked = c;
                        return;
                }
                break;
        case COMMAND_CLEAR:
                code = r->link_up ? link_clear(r->link, c->person, &err)
                                  : tp_fail(&err, CODE_LINK_DEAD, "the station does not answer; start it, then clear the latch");
                n.note = NOTE_CLEARED;
                break;
        case COMMAND_STOP:
                r->stop_asked = true;
                n.note = NOTE_STOP;
                break;
        case COMMAND_PAUSE:
                n.note = NOTE_PAUSE;
                break;
        case COMMAND_RESUME:
                n.note = NOTE_RESUME;
                break;
        case COMMAND_FINISH:
                n.note = NOTE_FINISH_EARLY;
                break;
        case COMMAND_SKIP_DIE:
                n.note = NOTE_SKIP_DIE;
                break;
        case COMMAND_NONE:
                code = tp_fail(&err, CODE_BAD_INPUT, "an empty command reached the loop");
                break;
        }
        bool for_run = c->what == COMMAND_PAUSE || c->what == COMMAND_RESUME || c->what == COMMAND_FINISH || c->what == COMMAND_SKIP_DIE;
        if (!code && for_run && (!r->active || (c->run[0] && strcmp(c->run, r->run) != 0)))
                code = tp_fail(&err, CODE_STATE, "run %s is not in hand%s%s; only the run in hand takes commands", c->run,
                               r->active ? "; in hand is " : "", r->active ? r->run : "");
        if (!code && c->what == COMMAND_SKIP_DIE) {
                bool found = false;
                for (size_t i = 0; i < r->plan->die_n; i++)
                        found |= r->plan->dies[i].x == c->die_x && r->plan->dies[i].y == c->die_y;
                if (!found)
                        code = tp_fail(&err, CODE_NOT_FOUND, "there is no whole die (%d, %d) on this wafer; the map lists the dies",
                                       c->die_x, c->die_y);
        }
        if (!code && n.note != NOTE_NONE && r->active)
                runner_note(r, &n);
        if (c->done)
                c->done(c->ctx, code, code ? NULL : "{\"accepted\":true}", &err);
        free(c);
}

void act_safe_done(struct runner *r, const struct link_note *note)
{
        if (!r->safe_asked)
                return;
        struct text t;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        fields_write(&station_event_object, &note->event, &o, NULL);
        r->safe_asked->done(r->safe_asked->ctx, CODE_OK, text_of(&t), NULL);
        text_done(&t);
        free(r->safe_asked);
        r->safe_asked = NULL;
}

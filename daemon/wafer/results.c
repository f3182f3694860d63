/* results.c: see results.h. */
#include "wafer/results.h"
#include "rf/numbers/probability.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* "gm_10GHz"; of a device with several conditions "gm_10GHz at on", or "at 1" where the condition has no name. */
static const char *label_of(const char *name, const cJSON *conditions, int condition, struct arena *arena)
{
        const char *word = have_text(cJSON_GetArrayItem(conditions, condition), "name");
        size_t room = strlen(name) + strlen(word) + 20;
        char *label = cJSON_GetArraySize(conditions) > 1 ? arena_take(arena, room) : NULL;
        if (!label)
                return name;
        if (word[0])
                snprintf(label, room, "%s at %s", name, word);
        else
                snprintf(label, room, "%s at %d", name, condition);
        return label;
}

const char *asked_label(const cJSON *devices, const char *device, const char *name, int condition, struct arena *arena)
{
        const cJSON *d;
        cJSON_ArrayForEach(d, have(devices, "devices")) if (strcmp(have_text(d, "name"), device) ==
                                                            0) return label_of(name, have(d, "conditions"), condition, arena);
        return name;
}

/* Every parameter is asked for under every condition of its device. */
static enum code asked_read(const cJSON *devices, struct arena *arena, struct results *r, struct tp_error *err)
{
        const cJSON *d, *p;
        size_t n = 0;
        unsigned device = 0;
        cJSON_ArrayForEach(d, have(devices, "devices")) n +=
                (size_t)cJSON_GetArraySize(have(d, "parameters")) * (1 + (size_t)cJSON_GetArraySize(have(d, "conditions")));
        r->asked = n ? arena_take(arena, n * sizeof *r->asked) : NULL;
        if (n && !r->asked)
                return tp_fail_memory(err);
        cJSON_ArrayForEach(d, have(devices, "devices"))
        {
                const cJSON *conditions = have(d, "conditions");
                int condition_n = cJSON_GetArraySize(conditions) > 1 ? cJSON_GetArraySize(conditions) : 1;
                device++;
                for (int c = 0; c < condition_n; c++) {
                        unsigned place = 0;
                        cJSON_ArrayForEach(p, have(d, "parameters")) r->asked[r->asked_n++] =
                                (struct asked){.device = have_text(d, "name"),
                                               .name = have_text(p, "name"),
                                               .label = label_of(have_text(p, "name"), conditions, c, arena),
                                               .unit = have_text(p, "unit"),
                                               .low = have_real(p, "low"),
                                               .high = have_real(p, "high"),
                                               .is_simple = strcmp(have_text(p, "acceptance"), "simple") == 0,
                                               .risk = have_real(p, "risk") > 0 ? have_real(p, "risk") : 0,
                                               .condition = c,
                                               .number = 10000 * device + 100 * (unsigned)c + ++place};
                }
        }
        return CODE_OK;
}

/* By the budget's scopes: what is of this die's touches and readings.  NaN: its causes were stored before they had scopes. */
static double own_of(const struct result_row *row)
{
        const cJSON *scopes = have(row->budget, "scopes");
        if (!scopes && cJSON_GetArraySize(row->budget) > 0)
                return NAN;
        double percent = scopes ? have_real(scopes, "touch") + have_real(scopes, "reading") : 0;
        return row->u95 / normal_quantile(0.975) * sqrt(percent / 100);
}

static enum result_state state_of(const char *verdict)
{
        return strcmp(verdict, "pass") == 0       ? RESULT_PASS
               : strcmp(verdict, "marginal") == 0 ? RESULT_MARGINAL
               : strcmp(verdict, "fail") == 0     ? RESULT_FAIL
                                                  : RESULT_NO_VERDICT;
}

static bool is_trusted(const char *trust) { return strcmp(trust, "proven") == 0 || strcmp(trust, "rescued") == 0; }

/* A later touch takes the place of an earlier one. */
static void take_row(const struct result_row *row, struct found *to)
{
        enum result_state state = state_of(row->verdict), first = row->attempt <= 1 ? state : to->first;
        *to = (struct found){.state = state,
                             .value = row->value,
                             .u95 = row->u95,
                             .u_own = own_of(row),
                             .is_suspect = !is_trusted(row->trust),
                             .first = first};
}

static bool is_asked(const struct asked *a, const struct result_row *row)
{
        return a->condition == row->condition && strcmp(a->name, row->quantity) == 0 && strcmp(a->device, row->device) == 0;
}

/* Rows of a die and a device stand together: each is looked for on from where the last one was. */
enum code results_add(struct results *r, const struct result_row *row, struct tp_error *err)
{
        size_t d = r->at_die, a = r->at_asked, dies = 0, asked = 0;
        for (; dies < r->die_n && (r->die[d].x != row->x || r->die[d].y != row->y); dies++)
                d = (d + 1) % r->die_n;
        for (; asked < r->asked_n && !is_asked(&r->asked[a], row); asked++)
                a = (a + 1) % r->asked_n;
        if (dies == r->die_n || asked == r->asked_n)
                return tp_fail(err, CODE_BAD_REPLY,
                               "die %d,%d %.40s %.40s: there is a value of it that the run's map or its devices do not name", row->x,
                               row->y, row->device, row->quantity);
        r->at_die = d;
        r->at_asked = a;
        take_row(row, &r->of[d * r->asked_n + a]);
        return CODE_OK;
}

/* Contact and trust of a device's numbers; *die takes part of it when the device has a limit. */
struct die_tally {
        bool fails, no_contact, not_measured, marginal, passes, suspect, first_bad;
};
static void device_read(const cJSON *device, const struct results *r, struct found *of, struct die_tally *die)
{
        const char *name = have_text(device, "name"), *outcome = have_text(device, "outcome");
        bool touched = strcmp(outcome, "measured") == 0 || strcmp(outcome, "doubtful") == 0, absent = strcmp(outcome, "no_contact") == 0;
        bool judged = false, first_passes = false, first_else = false;
        for (size_t a = 0; a < r->asked_n; a++) {
                if (strcmp(r->asked[a].device, name) != 0)
                        continue;
                if (!touched)
                        of[a] = (struct found){.state = absent ? RESULT_NO_CONTACT : RESULT_NOT_MEASURED,
                                               .value = NAN,
                                               .u95 = NAN,
                                               .u_own = NAN,
                                               .first = of[a].first};
                judged |= asked_has_limit(&r->asked[a]);
                first_passes |= of[a].first == RESULT_PASS;
                first_else |= of[a].first == RESULT_FAIL || of[a].first == RESULT_MARGINAL;
        }
        if (!judged)
                return;
        enum result_state state = state_of(have_text(device, "verdict"));
        die->no_contact |= absent;
        die->not_measured |= !touched && !absent;
        die->fails |= touched && state == RESULT_FAIL;
        die->marginal |= touched && state == RESULT_MARGINAL;
        die->passes |= touched && state == RESULT_PASS;
        die->suspect |= touched && !is_trusted(have_text(device, "trust"));
        die->first_bad |= first_else || !first_passes;
}

enum code results_open(const cJSON *map, const cJSON *devices, struct arena *arena, struct results *ret, struct tp_error *err)
{
        const cJSON *dies = have(map, "dies"), *die;
        struct results r = {0};
        enum code code = asked_read(devices, arena, &r, err);
        size_t n = (size_t)cJSON_GetArraySize(dies), all = n * r.asked_n;
        r.die = n ? arena_take(arena, n * sizeof *r.die) : NULL;
        r.of = all ? arena_take(arena, all * sizeof *r.of) : NULL;
        if (!code && ((n && !r.die) || (all && !r.of)))
                code = tp_fail_memory(err);
        if (code)
                return code;
        cJSON_ArrayForEach(die, dies) r.die[r.die_n++] = (struct result_die){.x = (int)have_int(die, "x"), .y = (int)have_int(die, "y")};
        for (size_t i = 0; i < all; i++)
                r.of[i] = (struct found){.state = RESULT_NOT_MEASURED, .value = NAN, .u95 = NAN, .u_own = NAN, .first = RESULT_NO_CONTACT};
        *ret = r;
        return CODE_OK;
}

void results_close(struct results *r, const cJSON *map)
{
        const cJSON *die, *device;
        size_t d = 0;
        cJSON_ArrayForEach(die, have(map, "dies"))
        {
                struct die_tally t = {0};
                cJSON_ArrayForEach(device, have(die, "devices")) device_read(device, r, r->of + d * r->asked_n, &t);
                r->die[d].state = t.fails          ? RESULT_FAIL
                                  : t.no_contact   ? RESULT_NO_CONTACT
                                  : t.not_measured ? RESULT_NOT_MEASURED
                                  : t.marginal     ? RESULT_MARGINAL
                                  : t.passes       ? RESULT_PASS
                                                   : RESULT_NO_VERDICT;
                r->die[d].is_suspect = t.suspect;
                r->die[d].is_first_good = r->die[d].state <= RESULT_FAIL && !t.first_bad;
                d++;
        }
}

enum code results_read(const cJSON *map, const cJSON *devices, const cJSON *parameters, struct arena *arena, struct results *ret,
                       struct tp_error *err)
{
        const cJSON *p;
        enum code code = results_open(map, devices, arena, ret, err);
        cJSON_ArrayForEach(p, have(parameters, "parameters"))
        {
                const struct result_row row = {.x = (int)have_int(have(p, "die"), "x"),
                                               .y = (int)have_int(have(p, "die"), "y"),
                                               .condition = (int)have_int(p, "condition"),
                                               .attempt = (int)have_int(p, "attempt"),
                                               .device = have_text(p, "device"),
                                               .quantity = have_text(p, "quantity"),
                                               .verdict = have_text(p, "verdict"),
                                               .trust = have_text(p, "trust"),
                                               .value = have_real(p, "value"),
                                               .u95 = have_real(p, "u95"),
                                               .budget = have(p, "budget")};
                if (code || (code = results_add(ret, &row, err)))
                        break;
        }
        if (!code)
                results_close(ret, map);
        return code;
}

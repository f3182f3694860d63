/* truth_judge.c: truth-judge TRUTH PARAMETERS.csv|RUN [--contacts TOUCHDOWNS.csv] [--trust WORD] [--json] [--demand]
   --trust: judge the parameters of another trust than proven; of a run file those of any evaluation, whatever the first one says.
   How far a run's proven parameters lie from the sealed truth, whether bad touches were found, which touches a drift step spoiled.  A
   program of its own: the daemon never opens the truth.  --demand: exit 1 when under 93 % lie within their stated 95 % uncertainty, or any
   lies more than 3 times it away. */
#include "simulators/judge/judge.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS                                                                                                                 \
        "SELECT m.*, p.lo_hz, p.hi_hz FROM v_map m JOIN v_parameter p ON p.evaluation=m.evaluation AND p.sweep=m.sweep AND " \
        "p.quantity=m.quantity AND p.freq_hz=m.freq_hz"
enum { WORST_N = 8 };
struct verdict {
        struct parameters_judged p;
        struct contacts_judged c;
        struct drift_judged d;
        size_t crash_n;
        bool has_contacts, has_drift;
        const char *trust;
};

static double share(size_t part, size_t all) { return all ? 100.0 * (double)part / (double)all : 0; }

static void worst_of(const struct parameters_judged *p, size_t ret[WORST_N], size_t *ret_n)
{
        *ret_n = 0;
        for (size_t i = 0; i < p->n; i++) {
                size_t at = *ret_n < WORST_N ? (*ret_n)++ : WORST_N;
                if (at == WORST_N && p->rows[i].ratio <= p->rows[ret[WORST_N - 1]].ratio)
                        continue;
                at = at == WORST_N ? WORST_N - 1 : at;
                while (at > 0 && p->rows[i].ratio > p->rows[ret[at - 1]].ratio) {
                        ret[at] = ret[at - 1];
                        at--;
                }
                ret[at] = i;
        }
}

static void say(const struct verdict *v)
{
        size_t worst[WORST_N], n;
        const struct parameters_judged *p = &v->p;
        printf("%s parameters: %zu; within u95: %zu (%.1f %%); within 3 u95: %zu (%.1f %%)\n", v->trust, p->n, p->within_n,
               share(p->within_n, p->n), p->n - p->far_n, share(p->n - p->far_n, p->n));
        if (p->without_value_n || p->unknown_n)
                printf("  not compared: %zu without a value, %zu of which the truth knows nothing\n", p->without_value_n, p->unknown_n);
        for (size_t i = 0; i < p->group_n; i++)
                printf("  %-20s %4zu  median |error|/u95 %.2f  worst %.2f\n", p->groups[i].name, p->groups[i].n, p->groups[i].median,
                       p->groups[i].worst);
        worst_of(p, worst, &n);
        for (size_t i = 0; i < n; i++) {
                const struct judged *j = &p->rows[worst[i]];
                if (j->ratio > 1)
                        printf("  off by %.2f u95: die %d,%d %s %s = %.6g, u95 %.2g, truth %.6g\n", j->ratio, j->die_x, j->die_y, j->device,
                               j->name, j->value, j->u95, j->truth);
        }
        if (v->has_contacts) {
                printf("contacts: lost ground found %zu of %zu; open contact found %zu of %zu; missed and trusted %zu; false alarms %zu of "
                       "%zu (%.2f %%)\n",
                       v->c.lost_found_n, v->c.lost_n, v->c.open_found_n, v->c.open_n, v->c.missed_trusted_n, v->c.false_n, v->c.sound_n,
                       share(v->c.false_n, v->c.sound_n));
                for (size_t i = 0; i < v->c.missed_n; i++)
                        printf("  missed: %s\n", v->c.missed[i]);
                if (v->c.not_touched_n)
                        printf("  never touched: %zu of the injected\n", v->c.not_touched_n);
        }
        if (v->has_drift && v->d.stepped)
                printf("drift step after touch %zu: %zu touches in its interval (from %s), %zu of them not suspect; suspect elsewhere "
                       "%zu\n",
                       v->d.touches, v->d.affected_n, v->d.from, v->d.missed_n, v->d.extra_n);
        if (v->crash_n)
                printf("CRASH: the stage moved sideways in contact %zu times\n", v->crash_n);
}

static void say_json(const struct verdict *v)
{
        size_t worst[WORST_N], n;
        struct text t;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_int(&o, v->trust, (int64_t)v->p.n);
        json_int(&o, "within_u95", (int64_t)v->p.within_n);
        json_int(&o, "beyond_3_u95", (int64_t)v->p.far_n);
        json_real(&o, "share_within", share(v->p.within_n, v->p.n) / 100);
        json_int(&o, "without_value", (int64_t)v->p.without_value_n);
        json_int(&o, "unknown", (int64_t)v->p.unknown_n);
        json_open(&o, "parameters", '[');
        for (size_t i = 0; i < v->p.group_n; i++) {
                json_open(&o, NULL, '{');
                json_text(&o, "name", v->p.groups[i].name);
                json_int(&o, "n", (int64_t)v->p.groups[i].n);
                json_real(&o, "median", v->p.groups[i].median);
                json_real(&o, "worst", v->p.groups[i].worst);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        worst_of(&v->p, worst, &n);
        json_open(&o, "worst", '[');
        for (size_t i = 0; i < n; i++) {
                const struct judged *j = &v->p.rows[worst[i]];
                json_open(&o, NULL, '{');
                json_int(&o, "die_x", j->die_x);
                json_int(&o, "die_y", j->die_y);
                json_text(&o, "device", j->device);
                json_text(&o, "parameter", j->name);
                json_real(&o, "value", j->value);
                json_real(&o, "u95", j->u95);
                json_real(&o, "truth", j->truth);
                json_real(&o, "ratio", j->ratio);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        if (v->has_contacts) {
                json_open(&o, "contacts", '{');
                json_int(&o, "lost_ground", (int64_t)v->c.lost_n);
                json_int(&o, "lost_ground_found", (int64_t)v->c.lost_found_n);
                json_int(&o, "open_contact", (int64_t)v->c.open_n);
                json_int(&o, "open_contact_found", (int64_t)v->c.open_found_n);
                json_int(&o, "missed_and_trusted", (int64_t)v->c.missed_trusted_n);
                json_int(&o, "sound", (int64_t)v->c.sound_n);
                json_int(&o, "false_alarms", (int64_t)v->c.false_n);
                json_int(&o, "never_touched", (int64_t)v->c.not_touched_n);
                json_close(&o, '}');
        }
        if (v->has_drift && v->d.stepped) {
                json_open(&o, "drift_step", '{');
                json_int(&o, "after_touch", (int64_t)v->d.touches);
                json_int(&o, "in_interval", (int64_t)v->d.affected_n);
                json_int(&o, "not_suspect", (int64_t)v->d.missed_n);
                json_int(&o, "suspect_elsewhere", (int64_t)v->d.extra_n);
                json_close(&o, '}');
        }
        json_int(&o, "crashes", (int64_t)v->crash_n);
        json_close(&o, '}');
        puts(text_of(&t));
        text_done(&t);
}

static enum code judge(const char *truth_path, const char *parameters, const char *contacts, struct arena *arena, struct verdict *v,
                       struct tp_error *err)
{
        struct truth truth = {0};
        struct table rows = {0}, touches = {0};
        bool run_file = table_is_run_file(parameters);
        enum code code = truth_read(truth_path, arena, &truth, err);
        if (!code)
                code = run_file
                               ? table_read_sql(parameters,
                                                strcmp(v->trust, "proven") == 0 ? ROWS " WHERE m.evaluation=(SELECT min(n) FROM evaluation)"
                                                                                : ROWS,
                                                arena, &rows, err)
                               : table_read_csv(parameters, arena, &rows, err);
        if (!code)
                code = parameters_judge(&truth, &rows, v->trust, arena, &v->p, err);
        if (!code && (contacts || run_file)) {
                code = contacts ? table_read_csv(contacts, arena, &touches, err)
                                : table_read_sql(parameters, "SELECT * FROM v_touchdown ORDER BY id", arena, &touches, err);
                if (!code)
                        code = contacts_judge(&truth, &touches, arena, &v->c, err);
                v->has_contacts = true;
        }
        if (!code && run_file) {
                code = drift_judge(&truth, parameters, arena, &v->d, err);
                v->has_drift = true;
        }
        for (size_t i = 0; i < truth.event_n && !code; i++)
                v->crash_n += strcmp(truth.events[i].what, "crash") == 0;
        return code;
}

int main(int argc, char **argv)
{
        const char *paths[2] = {NULL, NULL}, *contacts = NULL;
        bool json = false, demand = false, wrong = false;
        int path_n = 0;
        struct tp_error err = {0};
        struct verdict v = {.trust = "proven"};
        for (int i = 1; i < argc; i++) {
                if (strcmp(argv[i], "--json") == 0)
                        json = true;
                else if (strcmp(argv[i], "--demand") == 0)
                        demand = true;
                else if (strcmp(argv[i], "--contacts") == 0 && i + 1 < argc)
                        contacts = argv[++i];
                else if (strcmp(argv[i], "--trust") == 0 && i + 1 < argc)
                        v.trust = argv[++i];
                else if (argv[i][0] != '-' && path_n < 2)
                        paths[path_n++] = argv[i];
                else
                        wrong = true;
        }
        if (wrong || path_n != 2) {
                fprintf(stderr,
                        "usage: truth-judge TRUTH PARAMETERS.csv|RUN [--contacts TOUCHDOWNS.csv] [--trust WORD] [--json] [--demand]\n");
                return 2;
        }
        struct arena *arena = arena_new(0);
        enum code code = arena ? judge(paths[0], paths[1], contacts, arena, &v, &err) : tp_fail_memory(&err);
        if (code)
                fprintf(stderr, "truth-judge: %s\n", err.text);
        else if (json)
                say_json(&v);
        else
                say(&v);
        arena_free(arena);
        if (code)
                return 2;
        return demand && (v.p.n == 0 || share(v.p.within_n, v.p.n) < 93 || v.p.far_n > 0) ? 1 : 0;
}

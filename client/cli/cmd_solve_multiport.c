/* cmd_solve_multiport.c: three and four ports by two-port steps: each step a plan or terms of two ports, joined by
 * rf/calibrate/multiport.h. */
#include "cli/number.h"
#include "cli/solve.h"
#include "formats/multiport_json.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct step {
        const struct offline_step *of;
        const char *path;              /* of its plan or terms */
        struct offline_solved *solved; /* of a plan; NULL: terms */
        struct multiport_step own;     /* as it was solved */
        struct terms terms;            /* eight */
        struct switch_terms sw;
        bool has_sw;
};
struct figure {
        const char *key, *say;
        double *values;
};
struct multiport_job {
        struct solve_job *job;
        struct step step[OFFLINE_STEPS_MAX];
        size_t step_n;
        struct pair_terms pair[OFFLINE_STEPS_MAX];
        const struct switch_terms *sw[OFFLINE_STEPS_MAX];
        struct multiport_terms terms;
        struct multiport_causes *causes; /* NULL: nothing is said of uncertainty */
        struct port_switch port_switch;
        bool has_sw, accepted;
        struct figure figure[3];
};

/* ---- the steps --------------------------------------------------------------------------------------------------------------------------
 */

static enum code read_step(struct multiport_job *m, const struct offline_step *of, struct tp_error *err)
{
        struct solve_job *job = m->job,
                         sub = {.c = job->c, .path = job->path, .notes = job->notes, .with_causes = !cli_has(job->c, "no-causes")};
        struct step *s = &m->step[m->step_n++];
        struct terms_json *file = NULL;
        char name[48];
        *s = (struct step){.of = of};
        snprintf(name, sizeof name, "ports %d and %d", (int)of->port_1, (int)of->port_2);
        s->path = offline_beside(job->c, job->path, of->plan[0] ? of->plan : of->terms);
        enum code code = s->path ? CODE_OK : tp_fail_memory(err);
        if (!code && of->plan[0]) {
                code = solve_plan_read(&sub, s->path, name, err);
                if (!code && sub.plan->step_n)
                        code = tp_fail(err, CODE_BAD_INPUT, "%s: it has steps itself; a step is a plan of two ports", s->path);
                if (!code && (code = solve_files(&sub, &s->solved, err)))
                        tp_where(err, "%s", s->path);
        } else if (!code && !(code = solve_note_file(job, name, s->path, err))) {
                code = offline_terms(job->c, s->path, &file, err);
        }
        if (!code) {
                const struct solved_calibration *c = s->solved ? s->solved->solved : NULL;
                const struct switch_terms *file_sw = !c && file->has_sw ? &file->sw : NULL;
                s->own = (struct multiport_step){.p = (unsigned)of->port_1 - 1,
                                                 .q = (unsigned)of->port_2 - 1,
                                                 .terms = c ? &c->terms : &file->terms,
                                                 .sw = !c              ? file_sw
                                                       : c->has_switch ? &c->switch_terms
                                                                       : NULL,
                                                 .causes = s->solved ? s->solved->causes : file->causes};
                if ((code = multiport_step_eight(&s->own, job->c->arena, &s->terms, &s->sw, &s->has_sw, err)))
                        tp_where(err, "%s", s->path);
        }
        return code ? tp_where(err, "step %zu (%s)", m->step_n, name) : CODE_OK;
}

/* ---- the whole --------------------------------------------------------------------------------------------------------------------------
 */

static enum code room(struct multiport_job *m, const struct axis *axis, struct tp_error *err)
{
        static const struct figure figures[3] = {
                {"box_difference", "one port in several steps", NULL},
                {"k_disagreement", "transmission around closed loops", NULL},
                {"switch_difference", "switch term of one port in several steps", NULL},
        };
        struct arena *arena = m->job->c->arena;
        unsigned ports = (unsigned)m->job->plan->ports;
        void *memory = arena_take(arena, multiport_terms_bytes(axis->n, ports));
        if (!memory)
                return tp_fail_memory(err);
        m->terms = multiport_terms_at(memory, axis, ports);
        for (int k = 0; k < 3; k++) {
                m->figure[k] = figures[k];
                if (!(m->figure[k].values = arena_take(arena, axis->n * sizeof(double))))
                        return tp_fail_memory(err);
        }
        for (unsigned p = 0; p < ports; p++)
                if (!(m->port_switch.re[p] = arena_take(arena, axis->n * sizeof(double))) ||
                    !(m->port_switch.im[p] = arena_take(arena, axis->n * sizeof(double))))
                        return tp_fail_memory(err);
        return CODE_OK;
}

static enum code join(struct multiport_job *m, struct tp_error *err)
{
        size_t with = 0;
        m->accepted = true;
        for (size_t k = 0; k < m->step_n; k++) {
                struct step *s = &m->step[k];
                m->pair[k] = (struct pair_terms){(unsigned)s->of->port_1 - 1, (unsigned)s->of->port_2 - 1, &s->terms};
                m->sw[k] = s->has_sw ? &s->sw : NULL;
                with += s->has_sw;
                m->accepted = m->accepted && (!s->solved || s->solved->accepted);
        }
        enum code code = room(m, m->step[0].terms.axis, err);
        if (!code)
                code = rf_multiport_terms(m->pair, m->step_n, &m->terms,
                                          &(struct multiport_diagnosis){m->figure[0].values, m->figure[1].values}, err);
        m->has_sw = m->terms.switch_removed || with == m->step_n;
        if (!code && m->has_sw)
                code = rf_multiport_switch(m->pair, m->sw, m->step_n, m->terms.ports, &m->port_switch, m->figure[2].values, err);
        return code;
}

/* What the steps state of uncertainty, carried into the whole; one of which nobody states anything counts as exact, which is noted. */
static enum code causes_of(struct multiport_job *m, struct tp_error *err)
{
        struct cli *c = m->job->c;
        struct multiport_step steps[OFFLINE_STEPS_MAX];
        size_t with = 0;
        if (cli_has(c, "no-causes"))
                return CODE_OK;
        for (size_t k = 0; k < m->step_n; k++) {
                steps[k] = m->step[k].own;
                with += steps[k].causes != NULL;
        }
        if (with == 0)
                return CODE_OK;
        for (size_t k = 0; k < m->step_n; k++)
                if (!steps[k].causes)
                        cli_note(c, "step %zu (%s): nothing says how well it is known; it counts as exact", k + 1, m->step[k].path);
        if (!(m->causes = arena_take(c->arena, sizeof *m->causes)))
                return tp_fail_memory(err);
        enum code code = rf_multiport_moves(steps, m->step_n, m->terms.ports, m->has_sw, c->arena, m->causes, err);
        size_t columns = 0;
        for (size_t k = 0; k < m->causes->n && !code; k++)
                for (unsigned p = 0; p < m->terms.ports; p++) {
                        for (int t = 0; t < MULTIPORT_TERM_COUNT; t++)
                                columns += m->causes->of[k].re[p][t] != NULL;
                        columns += m->causes->of[k].switch_re[p] != NULL;
                }
        return code ? code : offline_columns_check(columns, m->terms.axis->n, "no-causes", err);
}

static double worst_of(const struct figure *f, const struct axis *axis, double *ret_hz)
{
        size_t at = 0;
        for (size_t i = 1; i < axis->n; i++)
                if (!(f->values[i] <= f->values[at]))
                        at = i;
        *ret_hz = axis->hz[at];
        return f->values[at];
}

#define APART_MOST 0.2 /* of one port in two steps, of a loop from 1: a touch or a drifted cable does a tenth of it */

/* Steps that contradict each other: would one of them fit with its ports the other way round?  false: they fit. */
static bool steps_apart(struct multiport_job *m)
{
        struct cli *c = m->job->c;
        const struct axis *axis = m->terms.axis;
        double hz, worst = 0, least = INFINITY, *trial = arena_take(c->arena, axis->n * sizeof *trial);
        void *memory = arena_take(c->arena, multiport_terms_bytes(axis->n, m->terms.ports));
        size_t turned = 0, what = 0;
        for (size_t k = 0; k < (m->has_sw ? 3u : 2u); k++)
                if (worst_of(&m->figure[k], axis, &hz) > worst) {
                        worst = worst_of(&m->figure[k], axis, &hz);
                        what = k;
                }
        if (!(worst > APART_MOST) || !trial || !memory)
                return false;
        worst_of(&m->figure[what], axis, &hz);
        for (size_t k = 0; k < m->step_n; k++) {
                struct pair_terms pair[OFFLINE_STEPS_MAX];
                struct multiport_terms scratch = multiport_terms_at(memory, axis, m->terms.ports);
                memcpy(pair, m->pair, sizeof pair);
                pair[k].p = m->pair[k].q;
                pair[k].q = m->pair[k].p;
                double at_hz;
                if (rf_multiport_terms(pair, m->step_n, &scratch, &(struct multiport_diagnosis){trial, NULL}, NULL))
                        continue;
                double here = worst_of(&(struct figure){NULL, NULL, trial}, axis, &at_hz);
                if (here < least) {
                        least = here;
                        turned = k;
                }
        }
        double now = worst_of(&m->figure[0], axis, &hz);
        if (now > APART_MOST && least < now / 3)
                cli_say("one port differs by %.3g from step to step (at %.9g Hz, limit %g): with ports %d and %d of step %zu exchanged by "
                        "only "
                        "%.2g; is it \"port_1\": %d, \"port_2\": %d?",
                        now, hz, APART_MOST, (int)m->step[turned].of->port_1, (int)m->step[turned].of->port_2, turned + 1, least,
                        (int)m->step[turned].of->port_2, (int)m->step[turned].of->port_1);
        else
                cli_say("the steps contradict each other: %s %.3g, at %.9g Hz (limit %g); a step is of other ports than it says, or "
                        "something "
                        "moved between steps",
                        m->figure[what].say, worst, hz, APART_MOST);
        return true;
}

/* ---- what it is worth
 * -------------------------------------------------------------------------------------------------------------------- */

static void diagnosis_json(const struct multiport_job *m, struct json_out *o)
{
        json_open(o, NULL, '{');
        json_int(o, "ports", m->terms.ports);
        json_text(o, "plane", plane_words[m->terms.plane]);
        json_real(o, "z_ref_ohm", m->terms.z_re[0]);
        json_bool(o, "switch_terms", m->has_sw);
        json_open(o, "freq_hz", '[');
        for (size_t i = 0; i < m->terms.axis->n; i++)
                json_real(o, NULL, m->terms.axis->hz[i]);
        json_close(o, ']');
        json_open(o, "figures", '{');
        for (int k = 0; k < (m->has_sw ? 3 : 2); k++) {
                double hz, worst = worst_of(&m->figure[k], m->terms.axis, &hz);
                json_open(o, m->figure[k].key, '{');
                json_real(o, "largest", worst);
                json_real(o, "at_hz", hz);
                json_open(o, "values", '[');
                for (size_t i = 0; i < m->terms.axis->n; i++)
                        json_real(o, NULL, m->figure[k].values[i]);
                json_close(o, ']');
                json_close(o, '}');
        }
        json_close(o, '}');
        json_open(o, "steps", '[');
        for (size_t k = 0; k < m->step_n; k++) {
                const struct step *s = &m->step[k];
                json_open(o, NULL, '{');
                json_int(o, "port_1", s->of->port_1);
                json_int(o, "port_2", s->of->port_2);
                json_text(o, "method", s->terms.method);
                if (s->solved)
                        offline_diagnosis_json(s->solved, o, "diagnosis");
                json_close(o, '}');
        }
        json_close(o, ']');
        json_bool(o, "accepted", m->accepted);
        json_close(o, '}');
}

static void diagnosis_words(const struct multiport_job *m, struct text *to)
{
        for (size_t k = 0; k < m->step_n; k++) {
                const struct step *s = &m->step[k];
                text_f(to, "ports %d and %d: %s\n", (int)s->of->port_1, (int)s->of->port_2, s->path);
                if (s->solved)
                        offline_diagnosis_words(s->solved, to);
        }
        text_f(to, "%u ports by %zu steps, %zu points from ", m->terms.ports, m->step_n, m->terms.axis->n);
        put_hz(to, m->terms.axis->hz[0]);
        text_put(to, " to ");
        put_hz(to, m->terms.axis->hz[m->terms.axis->n - 1]);
        text_put(to, "\n");
        for (int k = 0; k < (m->has_sw ? 3 : 2); k++) {
                double hz, worst = worst_of(&m->figure[k], m->terms.axis, &hz);
                text_f(to, "  %-48s %10.3g at ", m->figure[k].say, worst);
                put_hz(to, hz);
                text_put(to, "\n");
        }
        text_f(to, "result: %u ports, plane %s", m->terms.ports, plane_words[m->terms.plane]);
        if (isfinite(m->terms.z_re[0]))
                text_f(to, ", %.6g ohm", m->terms.z_re[0]);
        else
                text_put(to, ", the line's own impedance");
        text_put(to, m->has_sw ? ", switch terms removed\n" : "\n");
}

enum code solve_multiport(struct solve_job *job, struct tp_error *err)
{
        struct multiport_job *m = arena_take(job->c->arena, sizeof *m);
        struct text terms, words, json;
        if (!m)
                return tp_fail_memory(err);
        m->job = job;
        enum code code = CODE_OK;
        bool apart = false;
        for (size_t k = 0; k < job->plan->step_n && !code; k++)
                code = read_step(m, &job->plan->steps[k], err);
        if (!code)
                code = join(m, err);
        if (!code)
                code = causes_of(m, err);
        text_init(&terms, FILE_BYTES_MAX);
        text_init(&words, 0);
        text_init(&json, FILE_BYTES_MAX);
        if (!code)
                code = multiport_json_write(&m->terms, m->has_sw ? &m->port_switch : NULL, job->notes->note, job->notes->n, m->causes,
                                            &terms, err);
        if (code) {
                tp_where(err, "%s", job->path);
        } else {
                struct json_out o = json_to(&json);
                apart = steps_apart(m);
                m->accepted = m->accepted && !apart;
                diagnosis_json(m, &o);
                diagnosis_words(m, &words);
                code = solve_put(job->c, &terms, text_of(&json), &words, err);
        }
        if (!code && apart)
                job->c->status = EXIT_ENDED_WITH_FAILS;
        if (!code && !m->accepted && !apart) {
                cli_say("a verification of a step lies beyond its limit; measure its standard and the step again");
                job->c->status = EXIT_ENDED_WITH_FAILS;
        }
        text_done(&terms);
        text_done(&words);
        text_done(&json);
        return code;
}

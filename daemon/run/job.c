/* job.c: see job.h. */
#include "run/job.h"
#include "station/roles.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define JOB_DEADLINE_NS (INT64_C(20) * NS_PER_S)
#define RESCUE_DEADLINE_NS (INT64_C(300) * NS_PER_S) /* a whole wafer, and terms for each sweep of it */
static const char *const trace_names[] = {"S11", "S12", "S21", "S22", "GF", "GR"};

static void job_message_free(struct message *m) { job_free((struct job *)(void *)m); }

struct job *job_new(const struct world *world, struct store *store, struct inbox *loop, enum job_kind kind, const char *run)
{
        struct job *job = calloc(1, sizeof *job);
        if (!job)
                return NULL;
        job->message.kind = LOOP_JOB;
        job->message.free = job_message_free;
        job->kind = kind;
        job->world = world;
        job->store = store;
        job->loop = loop;
        job->arena = arena_new(0);
        snprintf(job->run, sizeof job->run, "%s", run);
        text_init(&job->terms, 0);
        text_init(&job->diagnosis, 0);
        if (!job->arena) {
                free(job);
                return NULL;
        }
        return job;
}

void job_free(struct job *job)
{
        if (!job)
                return;
        if (job->note && job->note->message.free)
                job->note->message.free(&job->note->message);
        text_done(&job->terms);
        text_done(&job->diagnosis);
        arena_free(job->arena);
        free(job);
}

static bool pair_read(const cJSON *of, const char *key, double ret[2])
{
        const cJSON *pair = cJSON_GetObjectItemCaseSensitive(of, key), *low = cJSON_GetArrayItem(pair, 0),
                    *high = cJSON_GetArrayItem(pair, 1);
        if (!cJSON_IsNumber(low) || !cJSON_IsNumber(high))
                return false;
        ret[0] = low->valuedouble;
        ret[1] = high->valuedouble;
        return true;
}
/* What chuck, DC meter and analyzer read back, kept beside the sweep; null or left out where there is nothing. */
static enum code beside_read(struct view *view, int64_t sweep, struct arena *arena, struct raw_sweep *to, struct tp_error *err)
{
        struct sweep_row row;
        cJSON *temps = NULL, *bias = NULL;
        enum code code = view_sweep(view, sweep, arena, &row, err);
        if (!code)
                code = json_read(row.temps_json, strlen(row.temps_json), JSON_DEPTH_MAX, &temps, err);
        if (!code)
                code = json_read(row.bias_json, strlen(row.bias_json), JSON_DEPTH_MAX, &bias, err);
        const cJSON *chuck = cJSON_GetObjectItemCaseSensitive(temps, "chuck_c");
        to->has_chuck = cJSON_IsNumber(chuck);
        to->chuck_c = to->has_chuck ? chuck->valuedouble : 0;
        const cJSON *dc = cJSON_GetObjectItemCaseSensitive(bias, "dc_ohm");
        to->has_dc = cJSON_GetArraySize(dc) == 3;
        for (int i = 0; i < 3; i++) {
                const cJSON *one = cJSON_GetArrayItem(dc, i);
                to->has_dc = to->has_dc && cJSON_IsNumber(one);
                to->dc_ohm[i] = cJSON_IsNumber(one) ? one->valuedouble : -1;
        }
        const cJSON *analyzer = cJSON_GetObjectItemCaseSensitive(bias, "analyzer");
        to->settings.has_attenuator = pair_read(analyzer, "attenuator_db", to->settings.attenuator_db);
        to->settings.has_power = pair_read(analyzer, "power_dbm", to->settings.power_dbm);
        to->settings.has_ifbw = pair_read(analyzer, "ifbw_hz", to->settings.ifbw_hz);
        cJSON_Delete(bias);
        cJSON_Delete(temps);
        return code;
}

enum code sweep_load(struct view *view, int64_t sweep, const double *hz, size_t n, struct arena *arena, struct raw_sweep *ret,
                     struct tp_error *err)
{
        struct raw_trace traces[6];
        char dtypes[6][8];
        size_t trace_n = 0;
        for (size_t i = 0; i < 6; i++) {
                enum code code = view_trace(view, sweep, trace_names[i], arena, dtypes[trace_n], &traces[trace_n].bytes,
                                            &traces[trace_n].byte_n, err);
                if (code == CODE_NOT_FOUND && i >= 4)
                        continue; /* no switch terms: the analyzer does not give them */
                if (code)
                        return tp_where(err, "sweep %lld, trace %s", (long long)sweep, trace_names[i]);
                traces[trace_n].name = trace_names[i];
                traces[trace_n].dtype = dtypes[trace_n];
                trace_n++;
        }
        enum code code = raw_from_traces(traces, trace_n, hz, n, arena, ret, err);
        if (!code)
                code = beside_read(view, sweep, arena, ret, err);
        return code ? tp_where(err, "sweep %lld", (long long)sweep) : CODE_OK;
}

static enum code load_list(struct job *job, struct view *view, const struct job_sweep *list, size_t n, struct standard_sweep **ret)
{
        struct standard_sweep *sweeps = arena_take(job->arena, (n + 1) * sizeof *sweeps);
        struct raw_sweep *raws = arena_take(job->arena, (n + 1) * sizeof *raws);
        if (!sweeps || !raws)
                return tp_fail_memory(&job->err);
        for (size_t i = 0; i < n; i++) {
                enum code code = sweep_load(view, list[i].sweep, job->hz, job->hz_n, job->arena, &raws[i], &job->err);
                if (code)
                        return code;
                sweeps[i] = (struct standard_sweep){.standard = list[i].item, .raw = &raws[i]};
        }
        *ret = sweeps;
        return CODE_OK;
}

static enum code run_judge(struct job *job)
{
        const struct link_note *note = job->note;
        struct raw_trace traces[8];
        for (size_t i = 0; i < note->trace_n; i++)
                traces[i] = (struct raw_trace){note->traces[i].name, dtype_words[note->traces[i].dtype < 5 ? note->traces[i].dtype : 0],
                                               note->traces[i].bytes, note->traces[i].byte_n};
        enum code code = raw_from_traces(traces, note->trace_n, job->hz, job->hz_n, job->arena, &job->raw, &job->err);
        if (code)
                return code;
        job->question.raw = &job->raw;
        if (job->question.measure || job->question.standard)
                contact_judge(&job->question, job->arena, &job->contact);
        return CODE_OK;
}

/* A sweep that cannot be evaluated says why in the place of each of its parameters: nobody has to guess why a number is missing. */
static enum code no_values(struct job *job, const struct measure *measure, struct job_answer_row *row)
{
        row->rows = arena_take(job->arena, (measure->parameter_n + 1) * sizeof *row->rows);
        if (!row->rows)
                return tp_fail_memory(&job->err);
        row->n = measure->parameter_n;
        for (size_t i = 0; i < row->n; i++) {
                row->rows[i] = (struct parameter_answer){.plan = &measure->parameters[i], .verdict = "none", .plane = "device"};
                snprintf(row->rows[i].reason, sizeof row->rows[i].reason, "%.119s", job->err.text);
        }
        return CODE_OK;
}

/* All sweeps of the touch that sweep i belongs to, by condition. */
struct states {
        int32_t target; /* whose they are; -1: nobody's */
        struct raw_sweep raw[RESCUE_CONDITIONS];
        const struct raw_sweep *at[RESCUE_CONDITIONS];
        struct leads_of_touch leads;
};
static enum code states_load(struct job *job, struct view *view, size_t i, struct states *to)
{
        enum code code = CODE_OK;
        if (to->target == job->sweeps[i].touchdown_die)
                return CODE_OK;
        *to = (struct states){.target = job->sweeps[i].touchdown_die};
        for (size_t s = 0; s < job->sweep_n && !code; s++) {
                int32_t c = job->sweeps[s].condition;
                if (job->sweeps[s].touchdown_die != to->target)
                        continue;
                code = sweep_load(view, job->sweeps[s].sweep, job->hz, job->hz_n, job->arena, &to->raw[c], &job->err);
                to->at[c] = &to->raw[c];
        }
        return code;
}

static enum code run_evaluate(struct job *job, struct view *view)
{
        struct states states = {.target = -1};
        struct raw_sweep dummies[RF_DUMMY_COUNT], opens[8];
        struct chain_question ask = {.recipe = job->recipe, .replayed = job->replayed};
        enum code code = CODE_OK;
        for (int k = 1; k < RF_DUMMY_COUNT && !code; k++)
                if (job->has_dummy[k]) {
                        code = sweep_load(view, job->dummies[k].sweep, job->hz, job->hz_n, job->arena, &dummies[k], &job->err);
                        ask.dummies[k] = &dummies[k];
                        ask.dummy_elsewhere[k] = job->dummies[k].touchdown_die != job->die;
                }
        for (size_t i = 0; !code && i < job->open_n; i++) {
                code = sweep_load(view, job->opens[i].sweep, job->hz, job->hz_n, job->arena, &opens[i], &job->err);
                ask.opens[ask.open_n++] = &opens[i];
        }
        job->answers = arena_take(job->arena, (job->sweep_n + 1) * sizeof *job->answers);
        if (!code && !job->answers)
                code = tp_fail_memory(&job->err);
        for (size_t i = 0; !code && i < job->sweep_n; i++) {
                struct raw_sweep raw;
                struct job_answer_row *row = &job->answers[job->answer_n];
                code = sweep_load(view, job->sweeps[i].sweep, job->hz, job->hz_n, job->arena, &raw, &job->err);
                if (code)
                        break;
                ask.raw = &raw;
                ask.measure = &job->recipe->measures[job->sweeps[i].item];
                ask.states = states.at;
                ask.state_n = RESCUE_CONDITIONS;
                ask.leads = &states.leads;
                ask.condition = job->sweeps[i].condition;
                if (ask.measure->has_extrinsic && (code = states_load(job, view, i, &states)))
                        break;
                ask.calibration = job->sweeps[i].calibration;
                ask.drift = job->sweeps[i].drift;
                *row = (struct job_answer_row){
                        .item = job->sweeps[i].item, .sweep = job->sweeps[i].sweep, .as_seen = job->sweeps[i].drift != NULL};
                code = chain_run(&ask, job->arena, &row->rows, &row->n, &row->flags, &job->err);
                if (code && code != CODE_MEMORY)
                        code = no_values(job, ask.measure, row);
                if (!code)
                        job->answer_n++;
        }
        return code;
}

static enum code run_with_view(struct job *job, struct view *view)
{
        struct standard_sweep *now = NULL, *baseline = NULL;
        enum code code = CODE_OK;
        if (job->kind == JOB_EVALUATE)
                return run_evaluate(job, view);
        if (job->kind == JOB_RESCUE) {
                code = view_keeps_evaluation_trust(view, &job->rescue_has_place, &job->err);
                return code ? code : rescue_run(view, job->recipe, job->plan, job->arena, &job->rescued, &job->err);
        }
        code = load_list(job, view, job->sweeps, job->sweep_n, &now);
        if (!code && job->baseline_n)
                code = load_list(job, view, job->baseline, job->baseline_n, &baseline);
        if (code)
                return code;
        if (job->kind == JOB_SOLVE) {
                code = calibration_solve(job->recipe, now, job->sweep_n, job->arena, &job->solved, &job->diagnosis, &job->err);
                if (!code)
                        calibration_bytes(job->solved, &job->terms);
        } else if (job->kind == JOB_VERIFY) {
                code = calibration_verify(job->recipe, job->calibration, now, job->sweep_n, job->arena, &job->accepted, &job->worst,
                                          job->sentence, &job->err);
        } else {
                code = check_fit(job->recipe, job->calibration, baseline ? baseline : now, now, job->sweep_n, job->arena, &job->check,
                                 &job->err);
        }
        return code;
}

static void job_run(void *arg)
{
        struct job *job = arg;
        if (job->kind == JOB_JUDGE) {
                job->code = run_judge(job);
        } else {
                int64_t ns = job->kind == JOB_RESCUE ? RESCUE_DEADLINE_NS : JOB_DEADLINE_NS;
                struct view *view = view_open(job->store, job->run, world_boot_ns(job->world) + ns, &job->err);
                job->code = view ? run_with_view(job, view) : job->err.code;
                view_close(view);
        }
        /* The loop makes room for every job before it starts one, so the answer is never refused. */
        if (!job->world->task->post(job->world, job->loop, &job->message))
                job_free(job);
}

bool job_start(struct job *job) { return job->world->task->work(job->world, job_run, job); }

struct fact *parameter_facts(struct work *work, int64_t evaluation, int64_t sweep, const struct parameter_answer *rows, size_t n)
{
        struct parameter_fact *facts = arena_take(work->arena, (n + 1) * sizeof *facts);
        for (size_t i = 0; facts && i < n; i++) {
                const struct parameter_answer *a = &rows[i];
                struct parameter_fact *f = &facts[i];
                *f = (struct parameter_fact){.sweep = sweep,
                                             .freq_hz = a->plan->freq_hz,
                                             .value = a->value,
                                             .u95 = a->u95,
                                             .lo_hz = a->lo_hz,
                                             .hi_hz = a->hi_hz,
                                             .has_value = a->has_value,
                                             .has_range = a->has_range,
                                             .verdict = a->verdict};
                snprintf(f->quantity, sizeof f->quantity, "%s", a->plan->name);
                snprintf(f->unit, sizeof f->unit, "%s", quantity_units[a->plan->quantity]);
                snprintf(f->plane, sizeof f->plane, "%s", a->plane);
                snprintf(f->reason, sizeof f->reason, "%s", a->reason);
                snprintf(f->budget, sizeof f->budget, "%s", a->budget);
        }
        struct fact *fact = facts ? work_add(work, FACT_PARAMETER) : NULL;
        if (fact) {
                fact->of.parameter.evaluation = evaluation;
                fact->of.parameter.rows = facts;
                fact->of.parameter.n = n;
        }
        return fact;
}

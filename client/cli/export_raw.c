/* export_raw.c: what the analyzer read, as raw .s2p files, and a plan with which `tipplane solve` makes the night's error terms again.
 * Idea        A run keeps raw ratios, never overwritten.  The recipe says which standard lies where and what it is, so the plan is the
 *             recipe's calibration with files in the place of places.
 * Choice      Of a standard that was swept more than once the last sweep counts, as the last calibration does.  Switch terms are the mean
 *             over the transmitting standards of the solution, as the daemon takes it. */
#include "cli/export.h"
#include "cli/http.h"
#include "cli/offline.h"
#include "recipe/offline_plan.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct raw_job {
        struct cli *c;
        const char *run, *dir; /* dir: …/raw */
        struct recipe *recipe;
        struct axis axis; /* of the calibration's sweep */
        struct switch_terms sw;
        size_t sw_n; /* how many sweeps were added to it */
};

static double number_at(const unsigned char *at, bool small, bool big)
{
        unsigned char own[8] = {0};
        size_t n = small ? 4 : 8;
        for (size_t k = 0; k < n; k++)
                own[k] = at[big ? n - 1 - k : k]; /* this machine is little-endian, as all that run the daemon are */
        float f;
        double d;
        memcpy(&f, own, sizeof f);
        memcpy(&d, own, sizeof d);
        return small ? (double)f : d;
}

/* One trace as two columns.  *ret_has false: the sweep has none of that name. */
static enum code trace(struct raw_job *j, long long sweep, const char *name, size_t n, double *re, double *im, bool *ret_has,
                       struct tp_error *err)
{
        char path[160];
        struct answer a;
        answer_init(&a);
        snprintf(path, sizeof path, "/api/v1/runs/%s/sweeps/%lld/traces/%s", j->run, sweep, name);
        enum code code = http_ask(j->c, &(struct ask){.method = "GET", .path = path}, &a, err);
        *ret_has = !code;
        bool small = strncmp(a.dtype, "c64", 3) == 0, big = strstr(a.dtype, "be") != NULL;
        size_t each = small ? 8 : 16;
        if (code && a.status == 404)
                code = CODE_OK;
        else if (!code && (strncmp(a.dtype, "c64", 3) != 0 && strncmp(a.dtype, "c128", 4) != 0))
                code = tp_fail(err, CODE_BAD_REPLY, "sweep %lld, trace %s: the daemon calls its numbers \"%s\"; c64 and c128 are known",
                               sweep, name, a.dtype);
        else if (!code && a.body.n != n * each)
                code = tp_fail(err, CODE_BAD_REPLY, "sweep %lld, trace %s: %zu bytes for %zu frequencies", sweep, name, a.body.n, n);
        for (size_t i = 0; i < n && !code && *ret_has; i++) {
                const unsigned char *at = (const unsigned char *)text_of(&a.body) + i * each;
                re[i] = number_at(at, small, big);
                im[i] = number_at(at + each / 2, small, big);
        }
        answer_done(&a);
        return code;
}

static enum code raw_net(struct raw_job *j, long long sweep, const struct axis *axis, struct net2 *ret, struct tp_error *err)
{
        static const char *const names[4] = {"S11", "S12", "S21", "S22"};
        enum code code = offline_net2_new(j->c, axis, ret) ? CODE_OK : tp_fail_memory(err);
        for (int k = 0; k < 4 && !code; k++) {
                bool has;
                code = trace(j, sweep, names[k], axis->n, ret->re[k], ret->im[k], &has, err);
                if (!code && !has)
                        code = tp_fail(err, CODE_BAD_REPLY, "sweep %lld has no trace %s", sweep, names[k]);
        }
        ret->plane = PLANE_RECEIVER;
        return code;
}

static enum code write_raw(struct raw_job *j, const char *name, const struct net2 *net, const char *comment, struct tp_error *err)
{
        char path[1200];
        struct text text;
        text_init(&text, FILE_BYTES_MAX);
        snprintf(path, sizeof path, "%s/%s", j->dir, name);
        enum code code = touchstone_write2(net, &(struct touchstone_write){.comments = comment}, &text, err);
        if (!code)
                code = j->c->world->file->write(j->c->world, path, text_of(&text), text.n, 0644, err);
        text_done(&text);
        return code;
}

/* Gives the mean of GF and GR its share of this sweep, where it has them. */
static enum code add_switch(struct raw_job *j, long long sweep, struct tp_error *err)
{
        bool f = false, r = false;
        struct net2 own;
        if (!offline_net2_new(j->c, &j->axis, &own))
                return tp_fail_memory(err);
        enum code code = trace(j, sweep, "GF", j->axis.n, own.re[2], own.im[2], &f, err);
        if (!code)
                code = trace(j, sweep, "GR", j->axis.n, own.re[1], own.im[1], &r, err);
        if (code || !f || !r)
                return code;
        double n = (double)++j->sw_n;
        for (size_t i = 0; i < j->axis.n; i++) {
                j->sw.f_re[i] += (own.re[2][i] - j->sw.f_re[i]) / n;
                j->sw.f_im[i] += (own.im[2][i] - j->sw.f_im[i]) / n;
                j->sw.r_re[i] += (own.re[1][i] - j->sw.r_re[i]) / n;
                j->sw.r_im[i] += (own.im[1][i] - j->sw.r_im[i]) / n;
        }
        return CODE_OK;
}

/* The last sweep of a standard: by its place, or, of a raised one, by that no probe was down. */
static long long sweep_of(const cJSON *sweeps, const struct standard *s)
{
        const cJSON *one;
        long long n = 0;
        cJSON_ArrayForEach(one, sweeps)
        {
                bool lifted = have_int(one, "touchdown") == 0;
                bool here = fabs(have_real(one, "x_um") - s->x_um) < 0.5 && fabs(have_real(one, "y_um") - s->y_um) < 0.5;
                if (lifted == s->raised && (here || lifted))
                        n = (long long)have_int(one, "n");
        }
        return n;
}

static bool is_used(const struct recipe *r, const char *name)
{
        struct offline_plan plan = {.calibration = r->calibration};
        return offline_plan_uses(&plan, name);
}

static bool is_verified(const struct recipe *r, const char *name)
{
        for (size_t k = 0; k < r->calibration.verify_n; k++)
                if (strcmp(r->calibration.verify[k].standard, name) == 0)
                        return true;
        return false;
}

static enum code write_plan(struct raw_job *j, struct offline_plan *plan, struct tp_error *err)
{
        struct offline_plan_tables tables;
        struct text text;
        char path[1200];
        text_init(&text, 0);
        snprintf(path, sizeof path, "%s/plan.json", j->dir);
        struct json_out o = json_to(&text);
        fields_write(offline_plan_object(&tables), plan, &o, NULL);
        text_put(&text, "\n");
        enum code code =
                text_ok(&text) ? j->c->world->file->write(j->c->world, path, text_of(&text), text.n, 0644, err) : tp_fail_memory(err);
        text_done(&text);
        return code;
}

static enum code export_standards(struct raw_job *j, struct tp_error *err)
{
        const struct recipe *r = j->recipe;
        struct offline_plan *plan = arena_take(j->c->arena, sizeof *plan);
        struct answer a;
        enum code code = http_get(j->c, &a, err, "/api/v1/runs/%s/sweeps?use=standard", j->run);
        if (!code && (!plan || !(plan->standards = arena_take(j->c->arena, r->standard_n * sizeof *plan->standards))))
                code = tp_fail_memory(err);
        for (size_t k = 0; k < r->standard_n && !code; k++) {
                const struct standard *s = &r->standards[k];
                bool used = is_used(r, s->name);
                struct net2 net;
                char name[48];
                if (!used && !is_verified(r, s->name))
                        continue;
                long long n = sweep_of(have(a.json, "sweeps"), s);
                if (!n)
                        code = tp_fail(err, CODE_STATE, "standard %s was not swept in run %s; there is no calibration to take away",
                                       s->name, j->run);
                if (!code)
                        code = raw_net(j, n, &j->axis, &net, err);
                snprintf(name, sizeof name, "%s.s2p", s->name);
                if (!code)
                        code = write_raw(j, name, &net, "raw ratios of a standard, switch terms inside", err);
                if (!code && used && (s->kind == STANDARD_THRU || s->kind == STANDARD_LINE))
                        code = add_switch(j, n, err);
                if (code)
                        break;
                struct offline_standard *to = &plan->standards[plan->standard_n++];
                to->standard = *s;
                to->kind = s->kind;
                snprintf(to->file, sizeof to->file, "%s", name);
        }
        answer_done(&a);
        if (code)
                return code;
        snprintf(plan->name, sizeof plan->name, "%s", r->name);
        plan->temperature_c = r->setup.temperature_c;
        plan->contact_ohm_u = r->setup.contact_ohm_u;
        plan->contact_h_u = r->setup.contact_h_u;
        plan->placement_um_u = r->setup.placement_um_u;
        if (r->check.standard_n) { /* as likely anywhere within what a check lets pass; files between two passed checks say more */
                plan->drift_delay_s_u = r->check.limits.delay_fs * 1e-15 / sqrt(3);
                plan->drift_loss_db_u = r->check.limits.loss_db / sqrt(3);
        }
        plan->ports = 2;
        plan->calibration = r->calibration;
        plan->has_calibration = true;
        plan->has_switch_terms = plan->calibration.switch_terms = j->sw_n > 0;
        if (j->sw_n) {
                struct net2 both;
                if (!offline_net2_new(j->c, &j->axis, &both))
                        return tp_fail_memory(err);
                both.plane = PLANE_RECEIVER;
                memcpy(both.re[2], j->sw.f_re, j->axis.n * sizeof(double));
                memcpy(both.im[2], j->sw.f_im, j->axis.n * sizeof(double));
                memcpy(both.re[1], j->sw.r_re, j->axis.n * sizeof(double));
                memcpy(both.im[1], j->sw.r_im, j->axis.n * sizeof(double));
                snprintf(plan->switch_terms.file, sizeof plan->switch_terms.file, "switch_terms.s2p");
                code = write_raw(j, "switch_terms.s2p", &both,
                                 "switch terms: S21 is a2/b2 with the source at port 1, S12 is a1/b1 with it at port 2", err);
        }
        return code ? code : write_plan(j, plan, err);
}

/* The recipe of the run: the stored one of its name, if there is only one. */
static enum code find_recipe(struct raw_job *j, struct tp_error *err)
{
        struct answer run, all, text;
        const cJSON *d, *list;
        const char *sha256 = NULL;
        size_t found = 0;
        answer_init(&all);
        answer_init(&text);
        enum code code = http_get(j->c, &run, err, "/api/v1/runs/%s", j->run);
        if (!code)
                code = http_get(j->c, &all, err, "/api/v1/recipes");
        list = have(all.json, "documents");
        cJSON_ArrayForEach(d, list) if (!code && strcmp(have_text(d, "name"), have_text(run.json, "recipe")) == 0)
        {
                sha256 = have_text(d, "sha256");
                found++;
        }
        if (!code && found != 1)
                code = tp_fail(err, CODE_STATE,
                               "%zu stored recipes are called \"%.60s\"; raw files need the one of the run, so give each its own name",
                               found, have_text(run.json, "recipe"));
        if (!code)
                code = http_get(j->c, &text, err, "/api/v1/documents/%s", sha256);
        if (!code)
                code = recipe_read(text_of(&text.body), text.body.n, j->c->arena, &j->recipe, err);
        answer_done(&run);
        answer_done(&all);
        answer_done(&text);
        return code;
}

static enum code axis_of_sweep(struct raw_job *j, const char *name, struct axis *ret, struct tp_error *err)
{
        const struct sweep_plan *plan = recipe_sweep(j->recipe, name);
        double *hz;
        size_t n;
        enum code code =
                plan ? sweep_axis(plan, j->c->arena, &hz, &n, err) : tp_fail(err, CODE_BUG, "the recipe has no sweep \"%s\"", name);
        return code ? code : axis_of(n, hz, ret, err);
}

static enum code export_devices(struct raw_job *j, size_t *ret_n, struct tp_error *err)
{
        struct answer a;
        struct sweep_name *names = NULL;
        struct export_drift *drift = NULL;
        enum code code = http_get(j->c, &a, err, "/api/v1/runs/%s/sweeps?use=device", j->run);
        if (!code)
                code = export_drift_read(j->c, j->run, &drift, err);
        if (!code)
                code = sweeps_read(j->c, have(a.json, "sweeps"), &names, ret_n, err);
        for (size_t k = 0; k < *ret_n && !code; k++) {
                char name[200];
                struct axis axis = j->axis;
                struct net2 net;
                for (size_t m = 0; m < j->recipe->measure_n && !code; m++)
                        if (strcmp(j->recipe->measures[m].device, names[k].device) == 0)
                                code = axis_of_sweep(j, j->recipe->measures[m].sweep, &axis, err);
                if (!code)
                        code = raw_net(j, names[k].n, &axis, &net, err);
                sweep_file_name(&names[k], name, sizeof name);
                char line[200] = "", comment[300];
                if (!code)
                        export_drift_comment(drift, names[k].touchdown, line, sizeof line);
                snprintf(comment, sizeof comment, "raw ratios of a device, switch terms inside%s", line);
                if (!code)
                        code = write_raw(j, name, &net, comment, err);
        }
        answer_done(&a);
        return code;
}

enum code export_raw(struct cli *c, const char *run, const char *dir, struct tp_error *err)
{
        struct raw_job j = {.c = c, .run = run};
        char folder[1000];
        size_t devices = 0;
        snprintf(folder, sizeof folder, "%s/raw", dir);
        j.dir = folder;
        enum code code = find_recipe(&j, err);
        if (!code)
                code = axis_of_sweep(&j, j.recipe->calibration.sweep, &j.axis, err);
        void *memory = code ? NULL : arena_take(c->arena, switch_terms_bytes(j.axis.n));
        if (!code && !memory)
                code = tp_fail_memory(err);
        if (!code) {
                j.sw = switch_terms_at(memory, &j.axis);
                code = c->world->file->make_dir(c->world, folder, err);
        }
        if (!code)
                code = export_standards(&j, err);
        if (!code)
                code = export_devices(&j, &devices, err);
        if (!code)
                text_f(&c->out, "%zu raw device files, the standards and plan.json in %s\n", devices, folder);
        return code ? tp_where(err, "raw files") : CODE_OK;
}

/* cmd_solve.c: a plan of files to error terms and what they are worth.  The plan is recipe/offline_plan.h's, the solution
 * recipe/offline_solve.h's; here the files are read, and their names and digests kept as provenance. */
#include "cli/solve.h"
#include "rf/numbers/robust.h"
#include "rf/trust/outliers.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum code solve_note_file(struct solve_job *j, const char *name, const char *path, struct tp_error *err)
{
        char digest[65], key[32], *value = arena_take(j->c->arena, 400), *own_key;
        if (j->notes->n == TERMS_JSON_NOTES_MAX)
                return CODE_OK;
        enum code code = offline_digest(j->c, path, digest, err);
        if (code)
                return code;
        const char *slash = strrchr(path, '/');
        snprintf(key, sizeof key, "file_%zu", j->notes->n);
        own_key = arena_text(j->c->arena, key);
        if (!value || !own_key)
                return tp_fail_memory(err);
        snprintf(value, 400, "%s: %.200s, SHA-256 %s", name, slash ? slash + 1 : path, digest);
        j->notes->note[j->notes->n++] = (struct terms_note){own_key, value};
        return CODE_OK;
}

/* The file beside the plan, and its note; "" gives NULL. */
static enum code beside(struct solve_job *j, const char *name, const char *file, const char **ret, struct tp_error *err)
{
        *ret = NULL;
        if (!file[0])
                return CODE_OK;
        *ret = offline_beside(j->c, j->path, file);
        return *ret ? solve_note_file(j, name, *ret, err) : tp_fail_memory(err);
}

/* The first line, or the thru, may have none. */
static bool is_line_without_length(const struct offline_plan *p, const struct offline_standard *s)
{
        const struct standard_model *m = &s->standard.model;
        bool said = s->ideal[0] || s->standard.data_n || m->length_um > 0 || fabs(m->delay_s) > 0, first = true;
        for (const struct offline_standard *o = p->standards; o < s; o++)
                first = first && o->kind != STANDARD_LINE && o->kind != STANDARD_THRU;
        return s->kind == STANDARD_LINE && !first && !said;
}

/* The document beside an `ideal` file; data_u stands in its place. */
static enum code ideal_causes(struct solve_job *j, const struct offline_standard *s, const char *path, struct offline_reading *to,
                              struct tp_error *err)
{
        struct net2_causes *causes = NULL;
        if (s->standard.data_u > 0)
                return CODE_OK;
        enum code code = offline_uncertainty_of(j->c, path, &to->ideal, &causes, err);
        double z = net2_z_real(&to->ideal);
        if (!code && causes && z != 50)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s: it is in %.6g ohm, and its uncertainty is not brought to the 50 ohm of standards; correct it in 50 ohm, "
                        "state \"data_u\" in its place, or solve with --no-causes",
                        path, z);
        to->ideal_causes = causes;
        return code;
}

/* A file of what transmits, told to be what a reflection is. */
static enum code ideal_reflects(const struct offline_standard *s, const char *file, const struct net2 *ideal, struct tp_error *err)
{
        bool reflects = s->kind == STANDARD_OPEN || s->kind == STANDARD_SHORT || s->kind == STANDARD_LOAD || s->kind == STANDARD_REFLECT;
        for (size_t i = 0; i < ideal->axis->n && reflects; i++)
                for (int e = 1; e <= 2; e++)
                        if (hypot(ideal->re[e][i], ideal->im[e][i]) > 0.1)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "its ideal %s transmits (|S%s| is %.3g at %.9g Hz), and %s %s reflects; give the ideal of a "
                                               "reflection, or say \"kind\": \"known\"",
                                               file, e == 1 ? "12" : "21", hypot(ideal->re[e][i], ideal->im[e][i]), ideal->axis->hz[i],
                                               s->kind == STANDARD_OPEN ? "an" : "a", offline_kind_words[s->kind]);
        return CODE_OK;
}

/* Raw ratios that no analyzer reads are refused; points out of line, and a sweep that is none, are said: they go into the terms, and from there
   into every device. */
static enum code look_at_reading(struct cli *c, const char *name, const char *file, const struct net2 *raw, struct tp_error *err)
{
        struct rf_outliers *out = arena_take(c->arena, sizeof *out);
        struct netn view = netn_of_two(raw);
        char why[300];
        enum code code = out ? rf_values_check(raw->axis, 2, raw->re, raw->im, true, err) : tp_fail_memory(err);
        if (code)
                return tp_where(err, "%s", file);
        if (!rf_is_a_sweep(raw, why, sizeof why)) {
                cli_note(c, "standard %s: %s: %s", name, file, why);
                return CODE_OK;
        }
        if (rf_stands_still(&view, why, sizeof why))
                cli_note(c, "standard %s: %s: %s", name, file, why);
        rf_outliers_of(raw, out);
        if (out->n)
                cli_note(c, "standard %s: %s: %s", name, file, out->sentence);
        return CODE_OK;
}

static enum code read_standard(struct solve_job *j, const struct offline_standard *s, struct offline_reading *ret, struct tp_error *err)
{
        const char *file, *one, *two, *ideal, *name = s->standard.name;
        if (is_line_without_length(j->plan, s))
                return tp_fail(err, CODE_BAD_INPUT,
                               "standard %s: a line needs its length, but for the first: give \"model\": {\"length_um\": …}", name);
        enum code code = beside(j, name, s->file, &file, err);
        if (!code)
                code = beside(j, name, s->file_1, &one, err);
        if (!code)
                code = beside(j, name, s->file_2, &two, err);
        if (!code)
                code = beside(j, name, s->ideal, &ideal, err);
        if (code)
                return tp_where(err, "standard %s", name);
        *ret = (struct offline_reading){.standard = s, .ports = file || (one && two) ? 3 : one ? 1 : 2, .has_ideal = ideal != NULL};
        code = file ? offline_net2(j->c, file, PLANE_RECEIVER, &ret->raw, err) : offline_reflections(j->c, one, two, &ret->raw, err);
        if (!code)
                code = look_at_reading(j->c, name, file ? file : one ? one : two, &ret->raw, err);
        if (!code && ideal)
                code = offline_net2(j->c, ideal, PLANE_TIP, &ret->ideal, err);
        if (!code && ideal && j->with_causes)
                code = ideal_causes(j, s, ideal, ret, err);
        if (!code && ideal)
                code = offline_reference(j->c, ideal, &ret->ideal, 50, err);
        if (!code && ideal && !axis_equal(ret->ideal.axis, ret->raw.axis))
                code = tp_fail(err, CODE_BAD_INPUT,
                               "its ideal %s has %zu frequencies from %.9g Hz, its reading %zu from %.9g Hz; both must have "
                               "the same list",
                               ideal, ret->ideal.axis->n, ret->ideal.axis->hz[0], ret->raw.axis->n, ret->raw.axis->hz[0]);
        if (!code && ideal)
                code = ideal_reflects(s, ideal, &ret->ideal, err);
        return code ? tp_where(err, "standard %s", name) : CODE_OK;
}

static bool wanted(const struct offline_plan *p, const char *name)
{
        for (size_t k = 0; k < p->calibration.verify_n; k++)
                if (strcmp(p->calibration.verify[k].standard, name) == 0)
                        return true;
        return offline_plan_uses(p, name);
}

/* What receivers read of an ended port, a2/b2, is not corrected by anything: recorded analyzers have medians of 0.2 to 0.4 over frequency and
   single frequencies beyond 1.  So medians are held against limits: what is upside down (b2/a2) lies above them. */
#define SWITCH_ODD 0.7
#define SWITCH_MOST 1.5
#define SWITCH_NONE 1e-3

/* The median over frequency of the larger direction; refused where it is no switch term's. */
static enum code switch_check(struct cli *c, const struct switch_terms *sw, double *ret_median, struct tp_error *err)
{
        size_t n = sw->axis->n;
        double *size = arena_take(c->arena, n * sizeof *size);
        if (!size)
                return tp_fail_memory(err);
        *ret_median = 0;
        for (int way = 0; way < 2; way++) {
                for (size_t i = 0; i < n; i++)
                        size[i] = way ? hypot(sw->r_re[i], sw->r_im[i]) : hypot(sw->f_re[i], sw->f_im[i]);
                *ret_median = fmax(*ret_median, rf_quantile(rf_sort(n, size), size, 0.5));
        }
        if (!(*ret_median > SWITCH_MOST))
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT,
                       "the switch terms have a median of %.3g over frequency; what an ended port reflects, as the receivers read it, has "
                       "0.1 to 0.5: this is a file of something else, or of b2/a2 in the place of a2/b2",
                       *ret_median);
}

static void switch_note(struct cli *c, double median)
{
        if (median > SWITCH_ODD || median < SWITCH_NONE)
                cli_note(
                        c,
                        "the switch terms have a median of %.2g over frequency; what an ended port reflects, as the receivers read it, has "
                        "0.1 to 0.5: is it a file of something else?",
                        median);
}

enum code solve_files(struct solve_job *j, struct offline_solved **ret, struct tp_error *err)
{
        const struct offline_plan *p = j->plan;
        struct offline_reading *readings = arena_take(j->c->arena, p->standard_n * sizeof *readings);
        struct switch_terms sw;
        size_t n = 0;
        double median = NAN;
        enum code code = readings ? CODE_OK : tp_fail_memory(err);
        for (size_t k = 0; k < p->standard_n && !code; k++) {
                if (wanted(p, p->standards[k].standard.name))
                        code = read_standard(j, &p->standards[k], &readings[n++], err);
                else
                        cli_note(j->c, "standard %s is in the plan and is neither used nor verified", p->standards[k].standard.name);
        }
        if (!code && p->has_switch_terms) {
                const char *file = NULL, *reverse = NULL;
                code = beside(j, "switch terms", p->switch_terms.file[0] ? p->switch_terms.file : p->switch_terms.forward, &file, err);
                if (!code)
                        code = beside(j, "switch terms, reverse", p->switch_terms.reverse, &reverse, err);
                if (!code)
                        code = offline_switch_terms(j->c, file, reverse, &sw, err);
                if (!code)
                        code = switch_check(j->c, &sw, &median, err);
                if (code)
                        tp_where(err, "/switch_terms");
        }
        bool is_read = !code;
        if (!code)
                code = offline_solve(p, readings, n, p->has_switch_terms ? &sw : NULL, j->c->arena, ret, err);
        if (!code && j->with_causes)
                code = offline_causes(p, readings, n, p->has_switch_terms ? &sw : NULL, j->c->arena, *ret, err);
        if (code && is_read && median > SWITCH_ODD)
                return tp_where(err, "switch terms of a median of %.2g, of another file?", median);
        if (!code)
                switch_note(j->c, median);
        if (!code)
                solve_suspicions(j, *ret, readings, n, p->has_switch_terms ? &sw : NULL);
        return code;
}

enum code solve_put(struct cli *c, const struct text *terms, const char *diagnosis_json, const struct text *words, struct tp_error *err)
{
        bool out = cli_has(c, "out");
        enum code code = out ? offline_out(c, terms, err) : CODE_OK;
        if (code)
                return code;
        if (cli_json(c)) {
                struct json_out o = json_to(&c->out);
                json_open(&o, NULL, '{');
                if (out)
                        json_text(&o, "terms_file", cli_option(c, "out"));
                else
                        json_raw(&o, "terms", text_of(terms));
                json_raw(&o, "diagnosis", diagnosis_json);
                cli_notes_json(c, &o);
                json_close(&o, '}');
                text_put(&c->out, "\n");
                return CODE_OK;
        }
        if (out) {
                text_bytes(&c->out, text_of(words), words->n);
                return CODE_OK;
        }
        fputs(text_of(words), stderr);
        return offline_out(c, terms, err);
}

enum code solve_plan_read(struct solve_job *j, const char *path, const char *name, struct tp_error *err)
{
        struct offline_plan *plan = NULL;
        const char *bytes;
        size_t n;
        j->path = path;
        enum code code = offline_bytes(j->c, path, &bytes, &n, err);
        if (!code && (code = offline_plan_read(bytes, n, j->c->arena, &plan, err)))
                tp_where(err, "%s", path);
        j->plan = plan;
        return code ? code : solve_note_file(j, name, path, err);
}

static enum code causes_check(const struct offline_solved *s, struct tp_error *err)
{
        size_t columns = 0;
        for (size_t k = 0; s->causes && k < s->causes->n; k++) {
                const struct terms_cause *c = &s->causes->of[k];
                for (int m = 0; m < TERM_COUNT; m++)
                        columns += c->re[m] != NULL;
                for (int m = 0; m < FULL_COUNT; m++)
                        columns += c->full_re[m] != NULL;
                for (int m = 0; m < 2; m++)
                        columns += c->switch_re[m] != NULL;
        }
        return offline_columns_check(columns, s->solved->axis.n, "no-causes", err);
}

static enum code solve_two_ports(struct solve_job *j, struct tp_error *err)
{
        struct offline_solved *solved = NULL;
        struct text terms, words, json;
        enum code code = solve_files(j, &solved, err);
        if (code)
                return tp_where(err, "%s", j->path);
        const struct solved_calibration *s = solved->solved;
        if ((code = causes_check(solved, err)))
                return tp_where(err, "%s", j->path);
        text_init(&terms, FILE_BYTES_MAX);
        text_init(&words, 0);
        text_init(&json, FILE_BYTES_MAX);
        code = terms_json_write(&s->terms, s->has_switch ? &s->switch_terms : NULL, j->notes->note, j->notes->n, solved->causes, &terms,
                                err);
        if (code)
                tp_where(err, "%s", j->path);
        struct json_out o = json_to(&json);
        offline_diagnosis_json(solved, &o, NULL);
        offline_diagnosis_words(solved, &words);
        if (!code)
                code = solve_put(j->c, &terms, text_of(&json), &words, err);
        if (!code && !solved->accepted) {
                cli_say("a verification lies beyond its limit; measure its standard and the calibration again");
                j->c->status = EXIT_ENDED_WITH_FAILS;
        }
        text_done(&terms);
        text_done(&words);
        text_done(&json);
        return code;
}

enum code do_solve(struct cli *c, struct tp_error *err)
{
        struct solve_notes *notes = arena_take(c->arena, sizeof *notes);
        struct solve_job job = {.c = c, .notes = notes};
        enum code code = notes ? solve_plan_read(&job, c->args[0], "plan", err) : tp_fail_memory(err);
        if (code)
                return code;
        job.with_causes = job.plan->ports <= 2 && !cli_has(c, "no-causes");
        return job.plan->ports > 2 ? solve_multiport(&job, err) : solve_two_ports(&job, err);
}

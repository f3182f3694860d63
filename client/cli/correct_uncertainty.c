/* correct_uncertainty.c: what the options of `tipplane correct` say of uncertainty, for files of any ports (correct.h). */
#include "cli/correct.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* An option of two numbers, each from 0 to its most; left as they are when it is not given. */
static enum code pair_of(struct cli *c, const char *option, const double most[2], const char *of, double *a, double *b,
                         struct tp_error *err)
{
        double two[2];
        size_t n = 0;
        enum code code = cli_has(c, option) ? offline_numbers(c, option, two, 2, &n, err) : CODE_OK;
        if (code || !cli_has(c, option))
                return code;
        if (n != 2 || !(two[0] >= 0 && two[0] <= most[0] && two[1] >= 0 && two[1] <= most[1]))
                return tp_fail(err, CODE_BAD_INPUT, "--%s %s: give two numbers, %s, from 0 to %g and to %g", option, cli_option(c, option),
                               of, most[0], most[1]);
        *a = two[0];
        *b = two[1];
        return CODE_OK;
}

static const char *const uncertainty_options[] = {"noise-u", "contact-u", "placement-u", "drift-u"};
#define UNCERTAINTY_OPTIONS (sizeof uncertainty_options / sizeof uncertainty_options[0])

enum code correct_each(struct cli *c, const struct reading_u *stated, struct reading_u *to, bool *ret_wanted, struct tp_error *err)
{
        bool own = false;
        for (size_t k = 0; k < UNCERTAINTY_OPTIONS; k++)
                own = own || cli_has(c, uncertainty_options[k]);
        *ret_wanted = !cli_has(c, "no-uncertainty") && (stated || own);
        if (!*ret_wanted)
                return CODE_OK;
        *to = stated ? *stated : (struct reading_u){.noise_freedom = INFINITY, .eps_eff = ALUMINA_EPS_EFF};
        if (cli_has(c, "noise-u"))
                to->noise_freedom = INFINITY;
        enum code code = offline_number(c, "placement-u", 0, 1e3, to->placement_um, &to->placement_um, err);
        if (!code)
                code = pair_of(c, "noise-u", (const double[]){1, 1}, "the floor and the part of |m|", &to->noise_floor, &to->noise_trace,
                               err);
        if (!code)
                code = pair_of(c, "contact-u", (const double[]){100, 1e-7}, "of the resistance in ohm and the inductance in H",
                               &to->contact_ohm, &to->contact_h, err);
        if (!code)
                code = pair_of(c, "drift-u", (const double[]){1e-9, 10}, "of each port's delay in s and its loss in dB", &to->drift_delay_s,
                               &to->drift_loss_db, err);
        return code;
}

enum code correct_drift_of(struct cli *c, const char *path, struct port_drift *ret, bool *ret_has, struct tp_error *err)
{
        struct touchstone *f = arena_take(c->arena, sizeof *f);
        *ret_has = false;
        if (cli_has(c, "drift-u"))
                return CODE_OK;
        enum code code = f ? offline_touchstone(c, path, f, err) : tp_fail_memory(err);
        const char *at = code ? NULL : strstr(f->comments, RAW_DRIFT_COMMENT);
        if (code || !at)
                return code;
        struct port_drift d;
        int end = 0;
        at += strlen(RAW_DRIFT_COMMENT);
        if (sscanf(at, "port 1 %lf s %lf dB, port 2 %lf s %lf dB%n", &d.delay_s[0], &d.loss_db[0], &d.delay_s[1], &d.loss_db[1], &end) !=
                    4 ||
            end == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "its comment says \"" RAW_DRIFT_COMMENT
                               "%.*s\"; it must read as \"port 1 1e-14 s 0.01 dB, port 2 1e-14 s 0.01 "
                               "dB\", or say --drift-u",
                               (int)(strcspn(at, "\n") < 40 ? strcspn(at, "\n") : 40), at);
        for (int p = 0; p < 2; p++)
                if (!(d.delay_s[p] >= 0 && d.delay_s[p] <= 1e-9 && d.loss_db[p] >= 0 && d.loss_db[p] <= 10))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "its comment says that port %d drifted by %.6g s and %.6g dB; at most 1e-9 s and 10 dB can be, and not "
                                "less than 0",
                                p + 1, d.delay_s[p], d.loss_db[p]);
        *ret = d;
        *ret_has = true;
        return CODE_OK;
}

enum code correct_uncertainty_used(struct cli *c, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (size_t k = 0; k < UNCERTAINTY_OPTIONS && !code; k++)
                code = offline_used(c, uncertainty_options[k], !cli_has(c, "no-uncertainty"), "the uncertainty of corrected files", err);
        return code;
}

enum code correct_touch(struct cli *c, const struct correct_file *files, bool wanted, char ret[65], struct tp_error *err)
{
        enum code code = offline_used(c, "one-touch", wanted && c->arg_n > 1, "the uncertainty of two files or more", err);
        ret[0] = 0;
        if (code || !cli_has(c, "one-touch"))
                return code;
        net2_cause_id("touch of", "", ret);
        for (size_t k = 0; k < c->arg_n && !code; k++) {
                char digest[65], before[65];
                memcpy(before, ret, sizeof before);
                if (!(code = offline_digest(c, files[k].from, digest, err)))
                        net2_cause_id(before, digest, ret);
        }
        return code;
}

enum code correct_documents_apart(struct cli *c, const struct correct_file *files, struct tp_error *err)
{
        for (size_t k = 0; k < c->arg_n; k++)
                for (size_t j = 0; j < k && files[k].to && files[j].to; j++) {
                        const char *a = offline_uncertainty_path(c, files[j].to), *b = offline_uncertainty_path(c, files[k].to);
                        if (!a || !b)
                                return tp_fail_memory(err);
                        if (strcmp(a, b) == 0)
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "%s and %s would share the document %s; name one of them otherwise, or correct them into two "
                                        "folders",
                                        files[j].to, files[k].to, a);
                }
        return CODE_OK;
}

void correct_say_lost(struct cli *c, const struct correct_file *files)
{
        for (size_t k = 0; k < c->arg_n; k++)
                if (!files[k].to && !cli_json(c)) {
                        cli_note(c, "%s: what is not known exactly of it has no file to lie beside; give --out FILE or --to DIR",
                                 files[k].from);
                        return;
                }
}

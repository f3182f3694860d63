/* offline_look.c: what is odd about corrected data (rf/trust/oddities.h), among the notes of whatever command has the file in its hands. */
#include "cli/offline.h"
#include "rf/trust/oddities.h"
#include "rf/trust/outliers.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* A file that is given twice is spoken of once. */
void offline_note_once(struct cli *c, const char *name, const char *sentence)
{
        char line[600]; /* as long as a note is kept */
        snprintf(line, sizeof line, "%s: %s", name, sentence);
        for (size_t k = 0; k < c->note_n; k++)
                if (strcmp(c->note[k], line) == 0)
                        return;
        cli_note(c, "%s", line);
}

/* without_points: points out of line are said already. */
static enum code look(struct cli *c, const char *name, const struct net2 *net, bool without_points, size_t *ret_said, struct tp_error *err)
{
        struct rf_oddities odd;
        void *workspace = arena_take(c->arena, rf_oddities_workspace(net->axis->n));
        enum code code = workspace ? rf_oddities(net, workspace, &odd, err) : tp_fail_memory(err);
        if (code)
                return tp_where(err, "%s", name);
        *ret_said = 0;
        for (size_t k = 0; k < odd.n; k++) {
                if (without_points && (int)k == odd.of_points)
                        continue;
                offline_note_once(c, name, odd.sentence[k]);
                (*ret_said)++;
        }
        return CODE_OK;
}

enum code offline_look(struct cli *c, const char *name, const struct net2 *net, size_t *ret_said, struct tp_error *err)
{
        return look(c, name, net, false, ret_said, err);
}

/* All S of three or four ports at once: a pair at a time would say one point several times. */
static enum code look_at_points(struct cli *c, const char *path, const struct netn *net, struct tp_error *err)
{
        struct rf_outliers *out = arena_take(c->arena, sizeof *out);
        char why[300];
        if (!out)
                return tp_fail_memory(err);
        if (!rf_is_a_sweep_ports(net, why, sizeof why) || rf_stands_still(net, why, sizeof why))
                offline_note_once(c, path, why);
        rf_outliers_of_ports(net, out);
        if (out->n)
                offline_note_once(c, path, out->sentence);
        return CODE_OK;
}

/* One port as a two-port whose other entries are 0. */
static enum code look_at_one(struct cli *c, const char *path, const struct netn *net, struct tp_error *err)
{
        struct net2 two;
        size_t said, bytes = net->axis->n * sizeof(double);
        if (!offline_net2_new(c, net->axis, &two))
                return tp_fail_memory(err);
        memcpy(two.re[0], net->re[0], bytes);
        memcpy(two.im[0], net->im[0], bytes);
        memcpy(two.z_re, net->z_re[0], bytes);
        memcpy(two.z_im, net->z_im[0], bytes);
        return offline_look(c, path, &two, &said, err);
}

enum code offline_look_ports(struct cli *c, const char *path, const struct netn *net, struct tp_error *err)
{
        size_t said = 0;
        if (net->ports == 1)
                return look_at_one(c, path, net, err);
        if (net->ports > 2 && look_at_points(c, path, net, err))
                return err->code;
        for (unsigned p = 0; p < net->ports; p++)
                for (unsigned q = p + 1; q < net->ports && !said; q++) {
                        struct net2 two;
                        char name[600];
                        snprintf(name, sizeof name, net->ports == 2 ? "%.500s" : "%.500s, ports %u and %u", path, p + 1, q + 1);
                        enum code code = offline_two_of(c, net, p, q, &two, err);
                        if (code || (code = look(c, name, &two, net->ports > 2, &said, err)))
                                return code;
                }
        return CODE_OK;
}

void offline_look_read(struct cli *c, const char *path, const struct net2 *net)
{
        struct tp_error err = {0};
        size_t said;
        (void)offline_look(c, path, net, &said, &err);
}

void offline_look_read_ports(struct cli *c, const char *path, const struct netn *net)
{
        struct tp_error err = {0};
        (void)offline_look_ports(c, path, net, &err);
}

#define EPS_LEAST 0.9 /* noise at 1, and what pads add to 50 */
#define EPS_MOST 60.0
void offline_length_look(struct cli *c, const char *path, double length_m, double eps_eff)
{
        char say[400];
        if (isnan(eps_eff) || (eps_eff > EPS_LEAST && eps_eff < EPS_MOST))
                return;
        if (eps_eff > 0)
                snprintf(say, sizeof say,
                         "eps_eff is %.3g with --length-um %.6g, and a line has 1 to 50: by its delay it is %.3g to %.3g um long, or it is "
                         "no line, or the sweep is too coarse to follow its phase",
                         eps_eff, length_m * 1e6, length_m * 1e6 * sqrt(eps_eff / 50), length_m * 1e6 * sqrt(eps_eff));
        else
                snprintf(say, sizeof say, "eps_eff is %.3g, and a line has 1 to 50: this is no line", eps_eff);
        offline_note_once(c, path, say);
}

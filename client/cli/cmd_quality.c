/* cmd_quality.c: can these corrected files be what a device gives?  The tests of rf/trust/plausible.h one by one, with their figures, and the
   noise at the tips: of each sweep, of repeated sweeps, or what passes between raised probes. */
#include "cli/number.h"
#include "cli/offline.h"
#include "rf/models/model.h"
#include "rf/trust/oddities.h"
#include "rf/trust/orientation.h"
#include "rf/trust/plausible.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define TRANSMITS 0.01 /* below it there is no transmission to speak of */
#define SYMMETRIC 0.05

struct sweep {
        const char *path;
        unsigned ports;
        struct net2 net; /* of one port: the other entries are 0 */
        double *u;       /* [n] noise per component, from third differences */
};
struct spread {
        double low_hz, high_hz, u; /* first and last point of a decade; rms per component */
};
enum { TESTS = 6, DECADES = 12 };
static const char *const test_words[TESTS] = {"passivity", "reciprocity", "causality", "causality_fit", "symmetry", "seams"};
static const char *const finding_words[] = {"unknown", "good", "bad"};
static const char *const marks[] = {"?", "", "!"};

struct judged {
        size_t n;
        const char *word[TESTS];
        struct rf_plausible test[TESTS];
        bool has_370;
        struct rf_quality370 q;
        size_t spread_n;
        struct spread spread[DECADES];
        bool has_floor;
        struct rf_floor floor;
};

static enum code read(struct cli *c, const char *path, struct sweep *ret, struct tp_error *err)
{
        struct netn net;
        enum code code = offline_netn(c, path, PLANE_TIP, &net, err);
        if (code)
                return code;
        *ret = (struct sweep){.path = path, .ports = net.ports == 1 && !cli_has(c, "modes") ? 1 : 2};
        if (!(ret->u = arena_take(c->arena, net.axis->n * sizeof(double))))
                return tp_fail_memory(err);
        if (ret->ports == 2 && (code = offline_net2(c, path, PLANE_TIP, &ret->net, err)))
                return code;
        if (ret->ports == 1) {
                size_t bytes = net.axis->n * sizeof(double);
                if (!offline_net2_new(c, net.axis, &ret->net))
                        return tp_fail_memory(err);
                memcpy(ret->net.re[0], net.re[0], bytes);
                memcpy(ret->net.im[0], net.im[0], bytes);
                memcpy(ret->net.z_re, net.z_re[0], bytes);
                memcpy(ret->net.z_im, net.z_im[0], bytes);
        }
        rf_noise_of(&ret->net, ret->u);
        return CODE_OK;
}

/* What a test refuses to judge is said in its place. */
static void keep(struct judged *j, int test, enum code code, const struct rf_plausible *p, const struct tp_error *why)
{
        struct rf_plausible none = {.worst = NAN, .limit = NAN, .worst_hz = NAN, .from_hz = NAN, .to_hz = NAN};
        snprintf(none.sentence, sizeof none.sentence, "%.230s", why->text);
        j->word[j->n] = test_words[test];
        j->test[j->n++] = code ? none : *p;
}

/* Of one port its one reflection. */
static enum code causality_by_model(struct cli *c, const struct sweep *s, struct rf_plausible *ret, struct tp_error *err)
{
        struct model_data data = model_data_of(&s->net);
        data.ports = s->ports == 1 ? 1 : 2;
        void *room = arena_take(c->arena, rf_causality_fit_bytes(s->net.axis->n, data.ports));
        return room ? rf_causality_fit(&data, 0, 0, room, ret, err) : tp_fail_memory(err);
}

static enum code seams_of(struct cli *c, const struct sweep *s, struct rf_plausible *ret, struct tp_error *err)
{
        struct rf_seams seams;
        void *room = arena_take(c->arena, rf_seams_workspace(s->net.axis->n));
        enum code code = room ? rf_seams(&s->net, NULL, 0, 0, room, &seams, err) : tp_fail_memory(err);
        if (code)
                return code;
        *ret = (struct rf_plausible){.finding = seams.found_n    ? RF_FINDING_BAD
                                                : seams.judged_n ? RF_FINDING_GOOD
                                                                 : RF_FINDING_UNKNOWN,
                                     .worst = NAN,
                                     .limit = NAN,
                                     .worst_hz = NAN,
                                     .from_hz = NAN,
                                     .to_hz = NAN,
                                     .beyond_n = seams.found_n,
                                     .point_n = seams.judged_n};
        for (size_t k = 0; k < seams.n; k++)
                if (isfinite(seams.seam[k].step) && !(seams.seam[k].step <= ret->worst)) {
                        ret->worst = seams.seam[k].step;
                        ret->worst_hz = seams.seam[k].hz;
                }
        snprintf(ret->sentence, sizeof ret->sentence, "%s", seams.sentence);
        return CODE_OK;
}

/* rms of u by decades. */
static size_t by_decades(const struct axis *axis, const double *u, struct spread *ret)
{
        size_t n = 0, points = 0;
        double sum = 0;
        for (size_t i = 0; i < axis->n; i++) {
                double decade = floor(log10(fmax(axis->hz[i], 1)) + 1e-9);
                if (points == 0)
                        ret[n].low_hz = axis->hz[i];
                ret[n].high_hz = axis->hz[i];
                sum += u[i] * u[i];
                ret[n].u = sqrt(sum / (double)++points);
                if (i + 1 == axis->n || floor(log10(fmax(axis->hz[i + 1], 1)) + 1e-9) > decade) {
                        points = 0;
                        sum = 0;
                        if (++n == DECADES)
                                break;
                }
        }
        return n;
}

static enum code judge(struct cli *c, const struct sweep *s, double symmetric, struct judged *j, struct tp_error *err)
{
        struct rf_plausible p = {.finding = RF_FINDING_UNKNOWN};
        struct tp_error why = {0};
        const double *u = s->u;
        *j = (struct judged){.n = 0};
        keep(j, 0, rf_passivity(&s->net, u, &p, &why), &p, &why);
        if (s->ports == 2) {
                keep(j, 1, rf_reciprocity(&s->net, TRANSMITS, u, &p, &why), &p, &why);
                keep(j, 2, rf_causality(&s->net, TRANSMITS, &p, &why), &p, &why);
        }
        keep(j, 3, causality_by_model(c, s, &p, &why), &p, &why);
        if (s->ports == 2) {
                enum code code = rf_symmetry(&s->net, symmetric, u, &p, &why);
                if (!cli_has(c, "symmetric") && p.finding == RF_FINDING_BAD) /* nobody said that it should be */
                        p.finding = RF_FINDING_UNKNOWN;
                keep(j, 4, code, &p, &why);
        }
        keep(j, 5, seams_of(c, s, &p, &why), &p, &why);
        j->has_370 = s->ports == 2 && !rf_quality370(&s->net, &j->q, &why);
        j->spread_n = s->net.axis->n < 8 ? 0 : by_decades(s->net.axis, u, j->spread);
        j->has_floor = cli_has(c, "raised");
        if (j->has_floor && rf_floor_of(&s->net, NULL, 0, &j->floor, err))
                return tp_where(err, "%s", s->path);
        return CODE_OK;
}

static double db(double x) { return 20 * log10(fmax(x, 1e-17)); } /* of a constant, less than its last digit: -340 dB */

static void spread_json(struct json_out *o, const char *key, size_t n, const struct spread *s)
{
        json_open(o, key, '[');
        for (size_t k = 0; k < n; k++) {
                json_open(o, NULL, '{');
                json_real(o, "from_hz", s[k].low_hz);
                json_real(o, "to_hz", s[k].high_hz);
                json_real(o, "u", s[k].u);
                json_real(o, "db", db(s[k].u));
                json_close(o, '}');
        }
        json_close(o, ']');
}

static void judged_json(struct json_out *o, const struct sweep *s, const struct judged *j)
{
        json_open(o, NULL, '{');
        json_text(o, "file", s->path);
        json_int(o, "ports", s->ports);
        json_int(o, "points", (int64_t)s->net.axis->n);
        json_open(o, "tests", '[');
        for (size_t k = 0; k < j->n; k++) {
                const struct rf_plausible *p = &j->test[k];
                json_open(o, NULL, '{');
                json_text(o, "test", j->word[k]);
                json_text(o, "finding", finding_words[p->finding]);
                json_real(o, "worst", p->worst);
                json_real(o, "limit", p->limit);
                json_real(o, "worst_hz", p->worst_hz);
                json_real(o, "from_hz", p->from_hz);
                json_real(o, "to_hz", p->to_hz);
                json_int(o, "beyond", (int64_t)p->beyond_n);
                json_text(o, "say", p->sentence);
                json_close(o, '}');
        }
        json_close(o, ']');
        if (j->has_370) {
                json_open(o, "ieee370", '{');
                json_real(o, "passivity", j->q.passivity);
                json_real(o, "reciprocity", j->q.reciprocity);
                json_real(o, "causality", j->q.causality);
                json_close(o, '}');
        }
        spread_json(o, "noise", j->spread_n, j->spread);
        if (j->has_floor) {
                json_open(o, "floor", '[');
                for (size_t k = 0; k < j->floor.n; k++) {
                        json_open(o, NULL, '{');
                        json_real(o, "from_hz", j->floor.band[k].from_hz);
                        json_real(o, "to_hz", j->floor.band[k].to_hz);
                        json_real(o, "level_db", j->floor.band[k].level_db);
                        json_real(o, "noise_db", j->floor.band[k].noise_db);
                        json_close(o, '}');
                }
                json_close(o, ']');
        }
        json_close(o, '}');
}

static void spread_words(struct cli *c, const char *what, size_t n, const struct spread *s)
{
        for (size_t k = 0; k < n; k++) {
                text_f(&c->out, "    %-14s %.2g a component (%.1f dB), ", what, s[k].u, db(s[k].u));
                put_hz(&c->out, s[k].low_hz);
                text_put(&c->out, " to ");
                put_hz(&c->out, s[k].high_hz);
                text_put(&c->out, "\n");
        }
}

static void judged_words(struct cli *c, const struct sweep *s, const struct judged *j)
{
        text_f(&c->out, "%s\n", s->path);
        for (size_t k = 0; k < j->n; k++)
                text_f(&c->out, "  %-1s %-14s %s\n", marks[j->test[k].finding], j->word[k], j->test[k].sentence);
        if (j->has_370)
                text_f(&c->out, "    %-14s passivity %.4g %%, reciprocity %.4g %%, ", "IEEE 370", j->q.passivity, j->q.reciprocity);
        if (j->has_370 && isnan(j->q.causality))
                text_put(&c->out, "causality not defined (nothing turns)\n");
        else if (j->has_370)
                text_f(&c->out, "causality %.4g %%\n", j->q.causality);
        spread_words(c, "noise", j->spread_n, j->spread);
        for (size_t k = 0; k < j->floor.n && j->has_floor; k++) {
                text_f(&c->out, "    %-14s %.1f dB passes between raised probes, noise %.1f dB, ", "floor", j->floor.band[k].level_db,
                       j->floor.band[k].noise_db);
                put_hz(&c->out, j->floor.band[k].from_hz);
                text_put(&c->out, " to ");
                put_hz(&c->out, j->floor.band[k].to_hz);
                text_put(&c->out, "\n");
        }
}

/* Standard deviation from sweep to sweep, rms over all S and both components. */
static enum code repeats_of(struct cli *c, const struct sweep *s, size_t n, struct spread *ret, size_t *ret_n, struct tp_error *err)
{
        const struct axis *axis = s[0].net.axis;
        double *u = arena_take(c->arena, axis->n * sizeof *u);
        if (!u)
                return tp_fail_memory(err);
        if (n < 2)
                return tp_fail(err, CODE_BAD_INPUT, "--repeats is of two sweeps and more of one device that nobody touched");
        for (size_t k = 1; k < n; k++) {
                bool same = s[k].net.axis->n == axis->n && s[k].ports == s[0].ports;
                for (size_t i = 0; i < axis->n && same; i++)
                        same = fabs(s[k].net.axis->hz[i] - axis->hz[i]) <= 1e-9 * axis->hz[i];
                if (!same)
                        return tp_fail(err, CODE_BAD_INPUT, "%s has other frequencies or ports than %s; --repeats is of one sweep",
                                       s[k].path, s[0].path);
        }
        int entries = s[0].ports == 1 ? 1 : 4;
        for (size_t i = 0; i < axis->n; i++) {
                double sum = 0;
                for (int e = 0; e < entries; e++) {
                        double re = 0, im = 0;
                        for (size_t k = 0; k < n; k++) {
                                re += s[k].net.re[e][i] / (double)n;
                                im += s[k].net.im[e][i] / (double)n;
                        }
                        for (size_t k = 0; k < n; k++)
                                sum += pow(s[k].net.re[e][i] - re, 2) + pow(s[k].net.im[e][i] - im, 2);
                }
                u[i] = sqrt(sum / (2.0 * entries * (double)(n - 1)));
        }
        *ret_n = by_decades(axis, u, ret);
        return CODE_OK;
}

enum code do_quality(struct cli *c, struct tp_error *err)
{
        struct sweep *s = arena_take(c->arena, c->arg_n * sizeof *s);
        struct judged *j = arena_take(c->arena, c->arg_n * sizeof *j);
        struct spread repeats[DECADES];
        size_t repeats_n = 0;
        double symmetric;
        if (!s || !j)
                return tp_fail_memory(err);
        enum code code = offline_number(c, "symmetric", 1e-9, 2, SYMMETRIC, &symmetric, err);
        for (size_t k = 0; k < c->arg_n && !code; k++) {
                code = read(c, c->args[k], &s[k], err);
                if (!code)
                        code = judge(c, &s[k], symmetric, &j[k], err);
                for (size_t t = 0; t < j[k].n && !code; t++)
                        if (j[k].test[t].finding == RF_FINDING_BAD && cli_has(c, "strict"))
                                c->status = 10;
        }
        if (!code && cli_has(c, "repeats"))
                code = repeats_of(c, s, c->arg_n, repeats, &repeats_n, err);
        if (code)
                return code;
        struct json_out o = json_to(&c->out);
        if (!cli_json(c)) {
                for (size_t k = 0; k < c->arg_n; k++)
                        judged_words(c, &s[k], &j[k]);
                spread_words(c, "sweep to sweep", repeats_n, repeats);
                return CODE_OK;
        }
        json_open(&o, NULL, '{');
        json_open(&o, "files", '[');
        for (size_t k = 0; k < c->arg_n; k++)
                judged_json(&o, &s[k], &j[k]);
        json_close(&o, ']');
        if (repeats_n)
                spread_json(&o, "sweep_to_sweep", repeats_n, repeats);
        cli_notes_json(c, &o);
        json_close(&o, '}');
        text_put(&c->out, "\n");
        return CODE_OK;
}

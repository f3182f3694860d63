/* offline_solve.c: readings in the order of the calibration, the solution, the verification (offline_solve.h).
 * The mathematics is calibration_problem.h's, the same for a night and for files. */
#include "recipe/offline_solve.h"
#include "rf/correct/correct.h"
#include <math.h>
#include <string.h>

enum { LONGER_ROUNDS = 6 };

static const struct offline_reading *reading_of(const struct offline_reading *r, size_t n, const char *name)
{
        for (size_t k = 0; k < n; k++)
                if (strcmp(r[k].standard->standard.name, name) == 0)
                        return &r[k];
        return NULL;
}

/* What the standard is by its definition or its file, on the axis of its reading. */
static enum code ideal_of(const struct offline_plan *p, const struct offline_reading *r, struct arena *arena, const struct net2 **ret,
                          struct tp_error *err)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        void *memory = arena_take(arena, net2_bytes(r->raw.axis->n));
        if (!net || !memory)
                return tp_fail_memory(err);
        *ret = r->has_ideal ? &r->ideal : net;
        *net = net2_at(memory, r->raw.axis, PLANE_TIP);
        return r->has_ideal ? CODE_OK : standard_ideal(&r->standard->standard, p->temperature_c, arena, net, err);
}

static enum code readings_take(const struct offline_plan *p, const struct offline_reading *r, size_t n, const struct switch_terms *sw,
                               struct arena *arena, struct standard_reading **ret, size_t *ret_n, struct tp_error *err)
{
        struct standard_reading *to = arena_take(arena, (p->standard_n + 1) * sizeof *to);
        const struct calibration_plan *c = &p->calibration;
        *ret_n = 0;
        if (!to)
                return tp_fail_memory(err);
        /* without bands in the order of the calibration: the first line of a line method is the thru */
        for (size_t k = 0; k < (c->band_n ? p->standard_n : c->standard_n); k++) {
                const char *name = c->band_n ? p->standards[k].standard.name : c->standards[k].standard;
                const struct offline_reading *from = reading_of(r, n, name);
                if (!offline_plan_uses(p, name))
                        continue;
                if (!from)
                        return tp_fail(err, CODE_BAD_INPUT, "standard %s has no reading", name);
                if (*ret_n == p->standard_n)
                        return tp_fail(err, CODE_BAD_INPUT, "standard %s is named twice in /calibration/standards", name);
                struct standard_reading *one = &to[(*ret_n)++];
                *one = (struct standard_reading){.standard = &from->standard->standard,
                                                 .raw = &from->raw,
                                                 .switch_terms = sw,
                                                 .kind = from->standard->kind == OFFLINE_KNOWN ? RF_KNOWN : RF_STANDARD_UNKNOWN,
                                                 .ports = from->ports,
                                                 .ideal_causes = from->ideal_causes};
                enum code code = CODE_OK;
                if (from->has_ideal)
                        code = ideal_of(p, from, arena, &one->ideal, err);
                if (code)
                        return code;
        }
        *ret = to;
        return CODE_OK;
}

enum code offline_correct(const struct terms *terms, const struct switch_terms *or_null, const struct net2 *raw, struct net2 *out,
                          struct tp_error *err)
{
        if (terms->model != TERMS_ONE_PORT)
                return rf_correct2(terms, raw, terms->switch_removed ? or_null : NULL, out, err);
        if (!axis_equal(terms->axis, raw->axis))
                return tp_fail(err, CODE_BAD_INPUT, "the terms have %zu frequencies, the raw data %zu; both must have the same list",
                               terms->axis->n, raw->axis->n);
        memset(out->re[1], 0, raw->axis->n * sizeof(double)); /* one-port terms know nothing of transmission */
        memset(out->im[1], 0, raw->axis->n * sizeof(double));
        memset(out->re[2], 0, raw->axis->n * sizeof(double));
        memset(out->im[2], 0, raw->axis->n * sizeof(double));
        for (int port = 1; port <= 2; port++) {
                int k = port == 1 ? 0 : 3;
                if (!(terms_ports(terms) & (unsigned)port)) {
                        for (size_t i = 0; i < raw->axis->n; i++)
                                out->re[k][i] = out->im[k][i] = 0;
                        continue;
                }
                enum code code = rf_correct1(terms, port, raw->re[k], raw->im[k], out->re[k], out->im[k], err);
                if (code)
                        return code;
        }
        out->plane = terms->plane;
        memcpy(out->z_re, terms->z_re, raw->axis->n * sizeof(double));
        memcpy(out->z_im, terms->z_im, raw->axis->n * sizeof(double));
        return CODE_OK;
}

/* What the verified standard should read. */
static enum code want_at(const struct offline_plan *p, const struct solved_calibration *s, const struct offline_reading *r,
                         struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        const struct standard *of = &r->standard->standard;
        bool line = (of->kind == STANDARD_LINE || of->kind == STANDARD_THRU) && !r->has_ideal &&
                    (s->plane_line_m > 0 || of->model.length_um > 0),
             below = false;
        for (size_t i = 0; i < s->axis.n && line; i++) {
                double complex g = CMPLX(s->gamma_re[i], s->gamma_im[i]);
                below = below || !isfinite(cimag(g));
                net2_put(ret, i,
                         calibration_line(&p->calibration, g, s->axis.hz[i], of->model.length_um * 1e-6 - s->plane_line_m,
                                          s->terms.z_re[i]));
        }
        if (line && !below)
                return CODE_OK;
        if (of->kind == STANDARD_REFLECT && !r->has_ideal)
                return tp_fail(err, CODE_BAD_INPUT,
                               "/calibration/verify: standard %s is a reflect, which nothing defines; give its \"ideal\"", of->name);
        const struct net2 *ideal;
        enum code code = ideal_of(p, r, arena, &ideal, err);
        for (size_t i = 0; i < s->axis.n && !code; i++) /* a line below the lines' band: its definition */
                if (!line || !isfinite(s->gamma_im[i]))
                        net2_put(ret, i, net2_get(ideal, i));
        return code;
}

static bool line_by_length(const struct solved_calibration *s, const struct offline_reading *r)
{
        const struct standard *of = &r->standard->standard;
        if ((of->kind != STANDARD_LINE && of->kind != STANDARD_THRU) || r->has_ideal || !(of->model.length_um > 0))
                return false;
        for (size_t i = 0; i < s->axis.n; i++)
                if (!isfinite(s->gamma_im[i]))
                        return false;
        return true;
}

/* A line that was left out, as if it were longer than told: least squares over all S, Gauss and Newton's way. */
static void line_longer(const struct offline_plan *p, const struct solved_calibration *s, const struct offline_reading *r,
                        const struct net2 *got, struct offline_verified *to)
{
        double told_m = r->standard->standard.model.length_um * 1e-6 - s->plane_line_m, by_m = 0;
        const double step_m = 1e-7;
        to->longer_m = to->longer_leaves = NAN;
        if (!line_by_length(s, r))
                return;
        for (int round = 0; round < LONGER_ROUNDS; round++) {
                double up = 0, down = 0, worst = 0;
                for (size_t i = 0; i < s->axis.n; i++) {
                        double complex g = CMPLX(s->gamma_re[i], s->gamma_im[i]);
                        double hz = s->axis.hz[i], z = s->terms.z_re[i];
                        struct m2 is = net2_get(got, i), at = calibration_line(&p->calibration, g, hz, told_m + by_m, z),
                                  on = calibration_line(&p->calibration, g, hz, told_m + by_m + step_m, z);
                        for (int k = 0; k < 4; k++) {
                                double complex slope = (on.e[k] - at.e[k]) / step_m, off = is.e[k] - at.e[k];
                                up += creal(slope) * creal(off) + cimag(slope) * cimag(off);
                                down += creal(slope) * creal(slope) + cimag(slope) * cimag(slope);
                                worst = fmax(worst, cabs(off));
                        }
                }
                to->longer_leaves = worst; /* of by_m */
                to->longer_m = by_m;
                by_m += up / down;
        }
}

static enum code verify_one(const struct offline_plan *p, const struct verification *v, const struct offline_reading *r,
                            struct offline_solved *to, struct arena *arena, struct tp_error *err)
{
        const struct solved_calibration *s = to->solved;
        struct offline_verified *one = &to->verified[to->verified_n++];
        unsigned ports = r->ports & terms_ports(&s->terms);
        if (!ports)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "verification of %s: it was read at port %u, the calibration is of port %u; verify with a standard at port %u",
                        v->standard, r->ports, terms_ports(&s->terms), terms_ports(&s->terms));
        void *memory[2] = {arena_take(arena, net2_bytes(s->axis.n)), arena_take(arena, net2_bytes(s->axis.n))};
        if (!memory[0] || !memory[1])
                return tp_fail_memory(err);
        struct net2 got = net2_at(memory[0], &s->axis, PLANE_UNKNOWN), want = net2_at(memory[1], &s->axis, PLANE_UNKNOWN);
        *one = (struct offline_verified){.name = v->standard, .limit = v->limit, .worst_hz = NAN};
        enum code code = offline_correct(&s->terms, s->has_switch ? &s->switch_terms : NULL, &r->raw, &got, err);
        if (!code)
                code = want_at(p, s, r, arena, &want, err);
        if (code)
                return tp_where(err, "verification of %s", v->standard);
        bool reflection = (r->standard->kind <= STANDARD_LOAD || r->standard->kind == STANDARD_REFLECT) && !r->standard->standard.data_n;
        for (size_t i = 0; i < s->axis.n; i++)
                for (int k = 0; k < 4; k++) {
                        struct m2 a = net2_get(&got, i), b = net2_get(&want, i);
                        double d = cabs(a.e[k] - b.e[k]);
                        if ((reflection && (k == 1 || k == 2)) || (ports == 1 && k == 3) || (ports == 2 && k == 0))
                                continue;
                        if (!(d <= one->worst)) {
                                one->worst = d;
                                one->worst_hz = s->axis.hz[i];
                        }
                }
        one->within = one->worst <= v->limit;
        line_longer(p, s, r, &got, one);
        if (r->standard->kind < OFFLINE_KNOWN && !r->has_ideal)
                definition_solve(&r->standard->standard, ports, p->temperature_c, &got, &one->definition);
        to->accepted = to->accepted && one->within;
        return offline_capacitance_of_load(r, ports, &got, to, arena, err);
}

static double noise_stated(const void *of, double hz, double magnitude)
{
        const struct offline_plan *p = of;
        (void)hz;
        return hypot(p->noise_floor_u, p->noise_trace_u * magnitude);
}

static struct solve_conditions conditions_of(const struct offline_plan *p)
{
        return (struct solve_conditions){.temperature_c = p->temperature_c,
                                         .contact_ohm_u = p->contact_ohm_u,
                                         .contact_h_u = p->contact_h_u,
                                         .placement_um_u = p->placement_um_u,
                                         .noise = p->noise_floor_u > 0 || p->noise_trace_u > 0 ? noise_stated : NULL,
                                         .noise_of = p};
}

enum code offline_causes(const struct offline_plan *p, const struct offline_reading *readings, size_t n, const struct switch_terms *sw,
                         struct arena *arena, struct offline_solved *to, struct tp_error *err)
{
        struct standard_reading *r = NULL;
        size_t used = 0;
        struct solve_conditions at = conditions_of(p);
        struct reading_u each = {.noise_floor = p->noise_floor_u,
                                 .noise_trace = p->noise_trace_u,
                                 .noise_freedom = p->noise_freedom > 0 ? p->noise_freedom : INFINITY,
                                 .contact_ohm = p->contact_ohm_u,
                                 .contact_h = p->contact_h_u,
                                 .placement_um = p->placement_um_u,
                                 .drift_delay_s = p->drift_delay_s_u,
                                 .drift_loss_db = p->drift_loss_db_u,
                                 .eps_eff = p->calibration.eps_eff > 1 ? p->calibration.eps_eff : ALUMINA_EPS_EFF};
        enum code code = readings_take(p, readings, n, sw, arena, &r, &used, err);
        if (!code)
                code = calibration_causes(&p->calibration, &at, r, used, to->solved, &each, arena, &to->causes, err);
        bool stated = each.noise_floor > 0 || each.noise_trace > 0 || each.contact_ohm > 0 || each.contact_h > 0 || each.placement_um > 0 ||
                      each.drift_delay_s > 0 || each.drift_loss_db > 0;
        if (!code && to->causes->n == 0 && !stated)
                to->causes = NULL;
        return code;
}

enum code offline_solve(const struct offline_plan *p, const struct offline_reading *readings, size_t n, const struct switch_terms *sw,
                        struct arena *arena, struct offline_solved **ret, struct tp_error *err)
{
        struct standard_reading *r = NULL;
        size_t used = 0;
        struct offline_solved *to = arena_take(arena, sizeof *to);
        struct solve_conditions at = conditions_of(p);
        if (!to || !(to->verified = arena_take(arena, (p->calibration.verify_n + 1) * sizeof *to->verified)) ||
            !(to->capacitance = arena_take(arena, (p->calibration.verify_n + 1) * sizeof *to->capacitance)))
                return tp_fail_memory(err);
        to->plan = p;
        to->accepted = true;
        enum code code = readings_take(p, readings, n, sw, arena, &r, &used, err);
        if (!code && used == 0)
                code = tp_fail(err, CODE_BAD_INPUT, "/calibration: no standard is part of the solution");
        if (!code)
                code = calibration_plan_solve(&p->calibration, &at, r, used, arena, &to->solved, err);
        if (!code)
                offline_capacitance_of_lines(p, to);
        for (size_t k = 0; k < p->calibration.verify_n && !code; k++) {
                const struct offline_reading *one = reading_of(readings, n, p->calibration.verify[k].standard);
                code = one ? verify_one(p, &p->calibration.verify[k], one, to, arena, err)
                           : tp_fail(err, CODE_BAD_INPUT, "standard %s has no reading", p->calibration.verify[k].standard);
        }
        if (!code)
                *ret = to;
        return code;
}

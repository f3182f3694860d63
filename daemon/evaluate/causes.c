/* causes.c: where the uncertainty of one number comes from.
 * Idea        The number is q = g(z), z analytic in the twelve S of device, open and short.  dz/dS is taken once; each cause says how it
 *             moves the three S at the tips, all of one origin together, so that what is common to device and dummies (standards, drift)
 *             cancels as far as it really does.
 * Causes      contact of each touch: R and L per signal path, and where the tip stands (setup.contact_ohm_u, contact_h_u, placement_um_u);
 *                 private to each touch
 *             standards: the copy's u of R, L, C, delay against its model, and the contact of its touch; common
 *             drift: what the checks at both ends of the interval saw; where there are not both, what a check lets pass, rectangular, one
 *                 half width per mode and port; common
 *             dummies: how far the two pads of one dummy differ, over dies: as far as the device's own pads may differ from the dummy's
 *             pads' model: open-short takes all shunt outside all series; what the leads have themselves lies inside; rectangular, bounded
 *                 by a 50 ohm line
 *             interpolation: between points far apart, what three points say instead of five
 *             noise: the scatter of the number itself over neighbouring points, or the noise table where there are too few
 *             what only the recipe can say: causes_stated.c
 * Sources     JCGM 100:2008 4.3.7 (rectangular), 5.1.2; JCGM 102. */
#include "evaluate/causes_own.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

void slope_take(struct slope *k)
{
        k->z = asked_z(k->a, k->at);
        double complex g[4];
        if (k->a->rf)
                asked_number(k->a, chain_deembed(k->a->ch, k->at), g);
        for (int p = 0; p < PART_COUNT; p++)
                for (int e = 0; e < 4; e++) {
                        if (!k->a->ch->raw[p] && !(p == RF_DUMMY_HALF && k->a->ch->half_re && e == 0)) {
                                k->d[p][e] = 0;
                                continue;
                        }
                        const double h = 1e-7;
                        struct trio up = *k->at, down = *k->at;
                        up.s[p].e[e] += h;
                        down.s[p].e[e] -= h;
                        if (k->a->rf) { /* real, of several S: dq = Re(sum g dS), and the device's S are analytic in all parts */
                                struct m2 d = m2_sub(chain_deembed(k->a->ch, &up), chain_deembed(k->a->ch, &down));
                                k->d[p][e] = 0;
                                for (int f = 0; f < 4; f++)
                                        k->d[p][e] += g[f] * d.e[f] / (2 * h);
                                continue;
                        }
                        k->d[p][e] = (asked_z(k->a, &up) - asked_z(k->a, &down)) / (2 * h);
                }
        if (k->a->ch->half_re) /* what moves the reflections of a 2x-thru comes back early and passes the gate */
                for (int e = 0; e < 4; e += 3)
                        k->d[RF_DUMMY_TWO_X_THRU][e] += k->d[RF_DUMMY_HALF][0] / 2;
}

/* By a step that is small against z, not by dz itself: where a cause is larger than the number, a difference over it would look harmless.
 */
double slope_value(const struct slope *k, double complex dz)
{
        double size = cabs(dz);
        if (k->a->rf) /* z is the number, d its gradient */
                return creal(dz);
        if (!(size > 0))
                return 0;
        double h = 1e-5 * cabs(k->z) / size;
        return (asked_value(k->a, k->z + h * dz) - asked_value(k->a, k->z - h * dz)) / (2 * h);
}

double complex slope_weigh(const struct slope *k, int part, struct m2 ds)
{
        double complex dz = 0;
        for (int e = 0; e < 4; e++)
                dz += k->d[part][e] * ds.e[e];
        return dz;
}

void cause_private(const struct slope *k, const char *name, int part, struct m2 ds)
{
        cause_add(k->to, name, slope_value(k, slope_weigh(k, part, ds)), INFINITY);
}

void cause_of_touch(const struct slope *k, const char *name, int part, struct m2 ds)
{
        enum cause_scope scope = k->a->ch->q->dummy_elsewhere[part] ? SCOPE_SHARED : SCOPE_TOUCH;
        cause_add_of(k->to, scope, name, slope_value(k, slope_weigh(k, part, ds)), INFINITY);
}

/* One touch: what the tips of each port do on their own. */
static void touch_causes(const struct slope *k, int part)
{
        static const char *const r_name[] = {"contact R", "contact R, open", "contact R, short", "contact R, dummies"},
                                 *const l_name[] = {"contact L", "contact L, open", "contact L, short", "contact L, dummies"},
                                 *const x_name[] = {"placement", "placement, open", "placement, short", "placement, dummies"};
        int name = part <= PART_SHORT ? part : PART_SHORT + 1;
        const struct setup *setup = &k->a->ch->q->recipe->setup;
        double z = k->a->ch->z;
        if (!k->a->ch->raw[part])
                return;
        struct m2 shift[2];
        for (int port = 0; port < 2; port++) {
                cause_of_touch(k, r_name[name], part, move_series(k->at->s[part], port, setup->contact_ohm_u, z));
                cause_of_touch(k, l_name[name], part, move_series(k->at->s[part], port, CMPLX(0, k->w * setup->contact_h_u), z));
                shift[port] = cause_tip_moved(k, k->at->s[part], port, setup->placement_um_u);
                cause_of_touch(k, x_name[name], part, m2_scale(OWN_SHARE, shift[port]));
        }
        cause_of_touch(k, x_name[name], part, m2_scale(OWN_SHARE, m2_sub(shift[0], shift[1])));
        cause_of_overtravel(k, part);
}

double complex cause_common_dz(const struct slope *k, mover move, const void *cause)
{
        double complex dz = 0;
        for (int p = 0; p < PART_COUNT; p++)
                if (k->a->ch->raw[p])
                        dz += slope_weigh(k, p, move(k, k->at->s[p], cause));
        return dz;
}
double cause_common_change(const struct slope *k, mover move, const void *cause)
{
        return slope_value(k, k->part * cause_common_dz(k, move, cause));
}
void cause_common(const struct slope *k, const char *name, mover move, const void *cause)
{
        cause_add(k->to, name, cause_common_change(k, move, cause), INFINITY);
}

struct m2 cause_ideal_mover(const struct slope *k, struct m2 s, const void *cause)
{
        const struct ideal_cause *c = cause;
        struct m2 none = m2_of(0, 0, 0, 0), ds = none;
        for (int port = 0; port < 2; port++) {
                bool moved = c->d_gamma[port][0] != 0 || c->d_gamma[port][1] != 0 || c->d_gamma[port][2] != 0;
                if (moved)
                        ds = m2_add(ds, move_ideals(k->a->ch->cal, k->i, s, port, c->gamma[port], c->d_gamma[port], c->thru, none));
        }
        if (c->d_thru.e[0] != 0 || c->d_thru.e[2] != 0)
                ds = m2_add(ds, move_ideals(k->a->ch->cal, k->i, s, 0, c->gamma[0], c->d_gamma[0], c->thru, c->d_thru));
        return ds;
}
static struct m2 tracking_mover(const struct slope *k, struct m2 s, const void *cause)
{
        const struct tracking_cause *c = cause;
        return move_tracking(k->a->ch->cal, k->i, s, c->port, c->eps);
}

/* A port that moved from a to b, somewhere in between when the sweep was taken: mean square about the calibration, which was made at 0;
   and what the two checks do not know of it (their modes are shrunk by priors, so what is there has the mean square value^2 + u^2). */
static double between(double a, double b, double u_a, double u_b) { return sqrt((a * a + a * b + b * b + u_a * u_a + u_b * u_b) / 3); }

static void drift_as_seen(const struct slope *k, const struct drift_seen *seen)
{
        const struct calibration *cal = k->a->ch->cal;
        for (int port = 0; port < 2; port++) {
                const struct port_modes *a = &seen->from[port], *b = &seen->to[port];
                double delay_fs = between(a->delay_fs, b->delay_fs, a->delay_u_fs, b->delay_u_fs),
                       loss_db = between(a->loss_db, b->loss_db, a->loss_u_db, b->loss_u_db);
                struct tracking_cause c = {.port = port, .eps = CMPLX(0, -k->w * delay_fs * 1e-15)};
                cause_common(k, "drift, delay, as seen", tracking_mover, &c);
                c.eps = -loss_db / RF_DB_PER_NEPER * sqrt(k->hz / cal->axis.hz[cal->axis.n - 1]);
                cause_common(k, "drift, loss, as seen", tracking_mover, &c);
        }
}

static void drift_causes(const struct slope *k)
{
        const struct recipe *r = k->a->ch->q->recipe;
        const struct check_limits *limit = &r->check.limits;
        const struct calibration *cal = k->a->ch->cal;
        if (r->check.standard_n == 0 || cal->terms.model == TERMS_ONE_PORT)
                return;
        if (k->a->ch->q->drift) {
                drift_as_seen(k, k->a->ch->q->drift);
                return;
        }
        for (int port = 0; port < 2; port++) {
                struct tracking_cause c = {.port = port, .eps = CMPLX(0, -k->w * limit->delay_fs * 1e-15 / sqrt(3))};
                cause_add_rectangular(k->to, "drift, delay", cause_common_change(k, tracking_mover, &c));
                c.eps = -limit->loss_db / RF_DB_PER_NEPER * sqrt(k->hz / cal->axis.hz[cal->axis.n - 1]) / sqrt(3);
                cause_add_rectangular(k->to, "drift, loss", cause_common_change(k, tracking_mover, &c));
        }
}

/* An interpolated calibration: what the ports' delay and loss are not known by moves all parts alike; what the two calibrations differ by
   beside delay and loss is taken as each part's own, entry by entry. */
static void between_causes(const struct slope *k)
{
        const struct calibration *cal = k->a->ch->cal;
        if (!cal->between)
                return;
        for (int port = 0; port < 2; port++) {
                struct tracking_cause c = {.port = port, .eps = CMPLX(0, -k->w * cal->at.u_delay_s[port])};
                cause_common(k, "drift, between calibrations", tracking_mover, &c);
                c.eps = -cal->at.u_loss_db[port] / RF_DB_PER_NEPER * sqrt(k->hz / cal->axis.hz[cal->axis.n - 1]);
                cause_common(k, "drift, between calibrations", tracking_mover, &c);
        }
        for (int p = 0; p < PART_COUNT; p++) {
                const struct calibration *of = k->a->ch->of[p];
                if (!k->a->ch->raw[p] || !of->between)
                        continue;
                struct rf_between_time rest = of->at;
                double u[4];
                memset(rest.u_delay_s, 0, sizeof rest.u_delay_s);
                memset(rest.u_loss_db, 0, sizeof rest.u_loss_db);
                rf_between_u(of->between, &rest, &of->terms, k->i, k->at->s[p], u);
                for (int e = 0; e < 4; e++) {
                        struct m2 ds = m2_of(0, 0, 0, 0);
                        ds.e[e] = u[e];
                        cause_private(k, "drift, between calibrations", p, ds);
                        ds.e[e] = CMPLX(0, u[e]);
                        cause_private(k, "drift, between calibrations", p, ds);
                }
        }
}

/* By a virtual analyzer of its own: where the causes above went by closed forms, and where a match is found, which all frequencies together
   do and one alone cannot.  Twelve terms have the analyzer's own load match in them: those by the closed forms. */
static void linearity_of_lumped(const struct slope *k, struct arena **arena, double complex bent[2])
{
        const struct recipe *r = k->a->ch->q->recipe;
        struct virtual *v = NULL;
        if (k->a->ch->cal->terms.model == TERMS_TWELVE)
                cause_linearity_of_ideals(k, bent);
        else if (*arena || (*arena = arena_new(0)) != NULL)
                v = arena_take(*arena, sizeof *v);
        if (v && virtual_calibrate(r, k->hz, (struct virtual_how){.match_fixed = true}, k->at->s, PART_COUNT, *arena, v))
                cause_linearity_of_standards(k, v, bent);
}

#define PASSIVE_MAX 2.0 /* of |S|, far beyond what noise and a fair calibration leave */

/* Where a calibration says nothing (lines at 1 MHz), S of a passive device comes out as 10 or 300.  There Z hardly moves with S any more, and
   what is straight in S would call it sure: so it is called what it is. */
static void beyond_passive(const struct slope *k)
{
        const struct chain *ch = k->a->ch;
        double largest = 0;
        for (int p = 0; p < PART_COUNT; p++)
                for (int e = 0; e < 4 && ch->raw[p] && !(p == PART_DEVICE && ch->device_kind == DEVICE_TRANSISTOR); e++)
                        largest = fmax(largest, cabs(k->at->s[p].e[e]));
        if (largest > PASSIVE_MAX)
                cause_add(k->to, "S beyond passive", INFINITY, INFINITY);
}

void causes_of(const struct asked *a, const struct trio *at, size_t j, double noise_gain, struct cause_list *to)
{
        struct slope k = {.a = a, .hz = a->hz, .w = RF_TWO_PI * a->hz, .i = map_at(a->ch->map, j), .part = 1, .to = to, .at = at};
        to->n = to->not_counted_n = 0;
        slope_take(&k);
        cause_noise_scale(&k, j);
        beyond_passive(&k);
        for (int p = 0; p < PART_COUNT; p++)
                touch_causes(&k, p);
        double lines = a->ch->cal->line_share[k.i];
        double complex bent[2] = {0, 0};
        struct arena *arena = NULL;
        struct virtual *v = NULL;
        if (lines > 0) {
                k.part = lines;
                struct virtual_how how = {.of_lines = true, .gamma_m = CMPLX(a->ch->cal->gamma_re[k.i], a->ch->cal->gamma_im[k.i])};
                if ((arena = arena_new(0)) != NULL)
                        v = arena_take(arena, sizeof *v);
                if (v && !virtual_calibrate(a->ch->q->recipe, a->hz, how, at->s, PART_COUNT, arena, v))
                        v = NULL;
                for (size_t m = 0; v && m < v->n; m++)
                        causes_of_virtual(&k, v, m);
                if (v)
                        cause_calibration_in_noise(&k, v);
                if (v)
                        cause_of_line_lengths(&k, v);
                if (v && cause_linearity_stated(&k))
                        cause_linearity_of_standards(&k, v, bent);
                if (!v)
                        causes_of_lines(&k);
                causes_of_line_reference(&k);
        }
        if (lines < 1) {
                k.part = 1 - lines;
                k.found = found_match_at(a->ch->found, a->hz);
                v = NULL;
                if (!cause_closed_form(a->ch->q->recipe, a->hz) && (arena || (arena = arena_new(0)) != NULL))
                        v = arena_take(arena, sizeof *v);
                if (v &&
                    !virtual_calibrate(a->ch->q->recipe, a->hz, (struct virtual_how){.match_fixed = true}, at->s, PART_COUNT, arena, v))
                        v = NULL;
                for (size_t m = 0; v && m < v->n; m++)
                        causes_of_virtual(&k, v, m);
                if (v)
                        cause_of_found_match(&k, v);
                if (!v)
                        causes_of_standards(&k);
                if (cause_linearity_stated(&k))
                        linearity_of_lumped(&k, &arena, bent);
                k.found = NULL;
        }
        k.part = 1;
        cause_of_linearity(&k, bent);
        drift_causes(&k);
        between_causes(&k);
        causes_of_dummies(&k, j);
        cause_of_model(&k, j);
        cause_of_interpolation(&k, j);
        causes_of_leads(&k);
        double freedom = INFINITY, by_data = cause_noise_by_data(&k, j, noise_gain, &freedom);
        bool ratio = a->quantity != QUANTITY_SRF &&
                     asked_share(a) == RF_SHARE_VALUE; /* the others are about straight in the noise, and near 0 without harm */
        bool noisy = ratio && cause_noise_of_device(&k, noise_gain, true, true) > NOISY * fabs(asked_value(a, k.z));
        if (isfinite(by_data) && !noisy)
                cause_add_of(to, SCOPE_READING, "noise", by_data, freedom);
        else
                cause_noise_of_bent(&k, by_data, freedom, noise_gain, v ? cause_virtual_noise(&k, v) : -1);
        arena_free(arena);
}

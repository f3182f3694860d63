/* causes.c: where the uncertainty of one number comes from.
 * Idea        The number is q = g(z), z analytic in the twelve S of device, open and short.  dz/dS is taken once; each cause says how it
 * moves the three S at the tips, all of one origin together, so that what is common to device and dummies (standards, drift) cancels as far
 * as it really does. Causes      contact of each touch   R and L per signal path, and where the tip stands: setup.contact_ohm_u,
 * contact_h_u, placement_um_u; private to each touch standards               the copy's u of R, L, C, delay against its model, and the
 * contact of its touch; common drift                   the check lets pass what lies within its limits: rectangular, one half width per
 * mode and port; common dummies                 how far the two pads of one dummy differ, over dies: as far as the device's own pads may
 * differ from the dummy's pads' model             open-short takes all shunt outside all series; what the leads have themselves lies
 * inside: rectangular, bounded by a 50 ohm line interpolation           between points far apart: what three points say instead of five
 *             noise                   the scatter of the number itself over neighbouring points, or the noise table where there are too few
 * Sources     JCGM 100:2008 4.3.7 (rectangular), 5.1.2; JCGM 102. */
#include "evaluate/chain.h"
#include "evaluate/virtual.h"
#include "rf/convert.h"
#include <math.h>
#include <string.h>

/* Half of the placement's variance is the stage's, which moves the pads under both probes alike: what lengthens one port's path shortens
   the other's.  The other half is each tip's own. */
#define OWN_SHARE 0.70710678118654752440
#define LEAD_OHM 50.0
#define LEFT_LEAST 0.1      /* of a variance, when what is known of it explains all that was seen */
#define NOISY 0.05          /* relative scatter above which a number is no longer straight in the noise behind it */
#define ALUMINA_EPS_EFF 5.3 /* coplanar line on a calibration substrate, where the recipe does not say */

struct slope {
        const struct asked *a;
        double complex z, d[PART_COUNT][4]; /* dz/dS */
        double hz, w, noise_scale;          /* of the noise table */
        double noise_freedom;
        size_t i;    /* of the calibration */
        double part; /* of a common cause that comes through: the weight of the band whose standards it moves */
        struct cause_list *to;
        const struct trio *at;
};

static void slope_take(struct slope *k)
{
        k->z = asked_z(k->a, k->at);
        double complex g[4];
        if (k->a->rf)
                asked_number(k->a, chain_deembed(k->a->ch, k->at), g);
        for (int p = 0; p < PART_COUNT; p++)
                for (int e = 0; e < 4; e++) {
                        if (!k->a->ch->raw[p]) {
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
}

/* By a step that is small against z, not by dz itself: where a cause is larger than the number, a difference over it would look harmless.
 */
static double value_change(const struct slope *k, double complex dz)
{
        double size = cabs(dz);
        if (k->a->rf) /* z is the number, d its gradient */
                return creal(dz);
        if (!(size > 0))
                return 0;
        double h = 1e-5 * cabs(k->z) / size;
        return (asked_value(k->a, k->z + h * dz) - asked_value(k->a, k->z - h * dz)) / (2 * h);
}

static double complex weigh(const struct slope *k, int part, struct m2 ds)
{
        double complex dz = 0;
        for (int e = 0; e < 4; e++)
                dz += k->d[part][e] * ds.e[e];
        return dz;
}

static void add_private(const struct slope *k, const char *name, int part, struct m2 ds)
{
        cause_add(k->to, name, value_change(k, weigh(k, part, ds)), INFINITY);
}

/* What one standard uncertainty of placement turns, one way, over pads. */
static double complex touch_theta(const struct slope *k)
{
        const struct recipe *r = k->a->ch->q->recipe;
        double eps = r->calibration.eps_eff;
        return CMPLX(0, k->w * sqrt(eps > 1 ? eps : ALUMINA_EPS_EFF) / RF_C0_M_S * r->setup.placement_um_u * 1e-6);
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
        double complex theta = touch_theta(k);
        if (!k->a->ch->raw[part])
                return;
        struct m2 shift[2];
        for (int port = 0; port < 2; port++) {
                add_private(k, r_name[name], part, move_series(k->at->s[part], port, setup->contact_ohm_u, z));
                add_private(k, l_name[name], part, move_series(k->at->s[part], port, CMPLX(0, k->w * setup->contact_h_u), z));
                shift[port] = move_shift(k->at->s[part], port, theta);
                add_private(k, x_name[name], part, m2_scale(OWN_SHARE, shift[port]));
        }
        add_private(k, x_name[name], part, m2_scale(OWN_SHARE, m2_sub(shift[0], shift[1])));
}

/* One cause that moves all parts at once. */
typedef struct m2 (*mover)(const struct slope *k, struct m2 s, const void *cause);
static double common_change(const struct slope *k, mover move, const void *cause)
{
        double complex dz = 0;
        for (int p = 0; p < PART_COUNT; p++)
                if (k->a->ch->raw[p])
                        dz += weigh(k, p, move(k, k->at->s[p], cause));
        return value_change(k, k->part * dz);
}
static void add_common(const struct slope *k, const char *name, mover move, const void *cause)
{
        cause_add(k->to, name, common_change(k, move, cause), INFINITY);
}

struct ideal_cause {
        double complex gamma[3], d_gamma[2][3]; /* open, short, load; per port */
        struct m2 thru, d_thru;
};
static struct m2 ideal_mover(const struct slope *k, struct m2 s, const void *cause)
{
        const struct ideal_cause *c = cause;
        struct m2 none = m2_of(0, 0, 0, 0), ds = none;
        for (int port = 0; port < 2; port++) {
                bool moved = c->d_gamma[port][0] != 0 || c->d_gamma[port][1] != 0 || c->d_gamma[port][2] != 0;
                if (moved)
                        ds = m2_add(ds, move_ideals(k->a->ch->cal, k->i, s, port, c->gamma, c->d_gamma[port], c->thru, none));
        }
        if (c->d_thru.e[0] != 0 || c->d_thru.e[2] != 0)
                ds = m2_add(ds, move_ideals(k->a->ch->cal, k->i, s, 0, c->gamma, c->d_gamma[0], c->thru, c->d_thru));
        return ds;
}
struct tracking_cause {
        int port;
        double complex eps;
};
static struct m2 tracking_mover(const struct slope *k, struct m2 s, const void *cause)
{
        const struct tracking_cause *c = cause;
        return move_tracking(k->a->ch->cal, k->i, s, c->port, c->eps);
}

static const struct standard *used_standard(const struct recipe *r, int32_t kind)
{
        for (size_t k = 0; k < r->calibration.standard_n; k++) {
                const struct standard *s = recipe_standard(r, r->calibration.standards[k].standard);
                if (s && s->kind == kind && !s->has_port_2)
                        return s;
        }
        return NULL;
}

static double complex series_dg(double complex g, double complex dz) { return (1 - g) * (1 - g) / 2 * dz / 50; }
static double complex shunt_dg(double complex g, double complex dy) { return -(1 + g) * (1 + g) / 2 * dy * 50; }

static void standard_causes(const struct slope *k)
{
        const struct chain *ch = k->a->ch;
        const struct recipe *r = ch->q->recipe;
        const struct setup *setup = &r->setup;
        static const int32_t kinds[3] = {STANDARD_OPEN, STANDARD_SHORT, STANDARD_LOAD};
        const struct standard *s[3], *thru = used_standard(r, STANDARD_THRU);
        struct ideal_cause base = {.thru = m2_of(0, 1, 1, 0)}, c;
        for (int m = 0; m < 3; m++) {
                if (!(s[m] = used_standard(r, kinds[m])))
                        return;
                base.gamma[m] = standard_at(s[m], setup->temperature_c, k->hz).e[0];
        }
        if (thru)
                base.thru = standard_at(thru, setup->temperature_c, k->hz);
        double complex shift = CMPLX(0, k->w * sqrt(ALUMINA_EPS_EFF) / RF_C0_M_S * setup->placement_um_u * 1e-6);
        static const char *const touched[3] = {"open's touch", "short's touch", "load's touch"};
        for (int m = 0; m < 3; m++) {
                const struct standard_model *u = &s[m]->model;
                double complex g = base.gamma[m];
                for (int port = 0; port < 2; port++) {
                        c = base;
                        double complex *d = &c.d_gamma[port][m];
                        if (m == 0) {
                                *d = shunt_dg(g, CMPLX(0, k->w * u->u_c_f));
                                add_common(k, "open C", ideal_mover, &c);
                        } else {
                                *d = series_dg(g, CMPLX(0, k->w * u->u_l_h));
                                add_common(k, m == 1 ? "short L" : "load L", ideal_mover, &c);
                                *d = m == 1 ? 0 : series_dg(g, u->u_r_ohm);
                                add_common(k, "load R", ideal_mover, &c);
                        }
                        if (s[m]->raised)
                                continue;
                        *d = series_dg(g, setup->contact_ohm_u);
                        add_common(k, touched[m], ideal_mover, &c);
                        *d = series_dg(g, CMPLX(0, k->w * setup->contact_h_u));
                        add_common(k, touched[m], ideal_mover, &c);
                        *d = -2 * OWN_SHARE * shift * g;
                        add_common(k, touched[m], ideal_mover, &c);
                }
                if (s[m]->raised)
                        continue;
                c = base;
                c.d_gamma[0][m] = -2 * OWN_SHARE * shift * g;
                c.d_gamma[1][m] = -c.d_gamma[0][m];
                add_common(k, touched[m], ideal_mover, &c);
        }
        if (!thru || ch->cal->terms.model != TERMS_TWELVE)
                return;
        c = base;
        struct m2 moved[2];
        for (int port = 0; port < 2; port++) {
                c.d_thru = move_series(base.thru, port, setup->contact_ohm_u, 50);
                add_common(k, "thru's touch", ideal_mover, &c);
                c.d_thru = move_series(base.thru, port, CMPLX(0, k->w * setup->contact_h_u), 50);
                add_common(k, "thru's touch", ideal_mover, &c);
                moved[port] = move_shift(base.thru, port, shift);
                c.d_thru = m2_scale(OWN_SHARE, moved[port]);
                add_common(k, "thru's touch", ideal_mover, &c);
        }
        c.d_thru = m2_scale(OWN_SHARE, m2_sub(moved[0], moved[1]));
        add_common(k, "thru's touch", ideal_mover, &c);
        c.d_thru = m2_scale(CMPLX(0, -k->w * thru->model.u_delay_s), m2_of(0, base.thru.e[1], base.thru.e[2], 0));
        add_common(k, "thru delay", ideal_mover, &c);
}

_Static_assert((int)PART_COUNT <= (int)VIRTUAL_PARTS, "a virtual calibration has room for the device and all dummies");

/* ---- any other method: by calibrating a virtual analyzer (virtual.c) ---------------------------------------------------------------- */
static double virtual_dq(const struct slope *k, const struct virtual *v, size_t standard, struct m2 d)
{
        double complex dz = 0;
        for (int p = 0; p < PART_COUNT; p++)
                if (k->a->ch->raw[p])
                        dz += weigh(k, p, virtual_change(v, standard, d, (size_t)p));
        return value_change(k, k->part * dz);
}

/* dS of a reflection at one port. */
static struct m2 at_port(int port, double complex d) { return port == 0 ? m2_diag(d, 0) : m2_diag(0, d); }

static void virtual_standard(const struct slope *k, const struct virtual *v, size_t m)
{
        static const char *const touched[] = {"reflect's touch", "open's touch", "short's touch", "load's touch", "thru's touch"};
        const struct standard *s = v->of[m];
        const struct setup *setup = &k->a->ch->q->recipe->setup;
        const char *touch = touched[s->kind == STANDARD_OPEN    ? 1
                                    : s->kind == STANDARD_SHORT ? 2
                                    : s->kind == STANDARD_LOAD  ? 3
                                    : v->transmits[m]           ? 4
                                                                : 0];
        double complex shift = CMPLX(0, k->w * sqrt(ALUMINA_EPS_EFF) / RF_C0_M_S * setup->placement_um_u * 1e-6);
        struct m2 moved[2];
        for (int port = 0; port < 2; port++) {
                const struct standard_model *u = port == 1 && s->has_port_2 ? &s->port_2.model : &s->model;
                int32_t kind = port == 1 && s->has_port_2 ? s->port_2.kind : s->kind;
                double complex g = v->s[m].e[3 * port];
                if (kind == STANDARD_OPEN)
                        cause_add(k->to, "open C", virtual_dq(k, v, m, at_port(port, shunt_dg(g, CMPLX(0, k->w * u->u_c_f)))), INFINITY);
                if (kind == STANDARD_SHORT || kind == STANDARD_LOAD)
                        cause_add(k->to, kind == STANDARD_SHORT ? "short L" : "load L",
                                  virtual_dq(k, v, m, at_port(port, series_dg(g, CMPLX(0, k->w * u->u_l_h)))), INFINITY);
                if (kind == STANDARD_LOAD)
                        cause_add(k->to, "load R", virtual_dq(k, v, m, at_port(port, series_dg(g, u->u_r_ohm))), INFINITY);
                if (s->raised)
                        continue;
                cause_add(k->to, touch, virtual_dq(k, v, m, move_series(v->s[m], port, setup->contact_ohm_u, 50)), INFINITY);
                cause_add(k->to, touch, virtual_dq(k, v, m, move_series(v->s[m], port, CMPLX(0, k->w * setup->contact_h_u), 50)), INFINITY);
                moved[port] = move_shift(v->s[m], port, shift);
                cause_add(k->to, touch, virtual_dq(k, v, m, m2_scale(OWN_SHARE, moved[port])), INFINITY);
        }
        if (!s->raised)
                cause_add(k->to, touch, virtual_dq(k, v, m, m2_scale(OWN_SHARE, m2_sub(moved[0], moved[1]))), INFINITY);
        if (v->transmits[m] && s->model.u_delay_s > 0)
                cause_add(k->to, "thru delay",
                          virtual_dq(k, v, m, m2_scale(CMPLX(0, -k->w * s->model.u_delay_s), m2_of(0, v->s[m].e[1], v->s[m].e[2], 0))),
                          INFINITY);
}

/* A match whose inductance is found by the calibration itself, from all frequencies together: what the touches of open, short and thru
   differ by among each other goes into it, two of them at least.  An estimate, for a solution at one frequency cannot tell; held against
   the truth by tests/judges/coverage.sh. */
static void match_cause(const struct slope *k, struct arena *arena)
{
        const struct recipe *r = k->a->ch->q->recipe;
        struct band_plan one;
        const struct band_plan *band;
        const struct method *m = virtual_method(r, k->hz, false, &band, &one);
        struct virtual *v = arena_take(arena, sizeof *v);
        if (!m || strcmp(m->word, "lrrm") != 0 || r->calibration.match_fit == RF_MATCH_FIXED || !v ||
            !virtual_calibrate(r, k->hz, (struct virtual_how){.match_fixed = true}, k->at->s, PART_COUNT, arena, v))
                return;
        for (size_t s = 0; s < v->n; s++)
                if (v->of[s]->kind == STANDARD_LOAD) {
                        double complex z = CMPLX(0, k->w * r->setup.contact_h_u);
                        cause_add(k->to, "match L", virtual_dq(k, v, s, at_port(0, series_dg(v->s[s].e[0], z))), INFINITY);
                }
}

/* Noise of one component of everything that was read of the standards. */
static double virtual_noise(const struct slope *k, const struct virtual *v)
{
        const struct recipe *r = k->a->ch->q->recipe;
        const struct sweep_plan *plan = recipe_sweep(r, r->calibration.sweep);
        double sum = 0;
        for (size_t c = 0; c < v->column_n; c++) {
                unsigned m = v->columns[c].standard, e = v->columns[c].entry;
                struct m2 d = m2_of(0, 0, 0, 0);
                double u = noise_of(plan, k->hz, chain_read_size(k->a->ch, k->i, v->s[m], (int)e));
                d.e[e] = v->columns[c].imaginary ? CMPLX(0, u) : u;
                sum += pow(virtual_dq(k, v, m, d), 2);
        }
        return sqrt(sum);
}

/* The closed forms are those of open, short, load and thru as known standards. */
static bool has_closed_form(const struct recipe *r, double hz)
{
        struct band_plan one;
        const struct band_plan *band;
        const struct method *m = virtual_method(r, hz, false, &band, &one);
        return !m || !strcmp(m->word, "sol") || !strcmp(m->word, "solt") || !strcmp(m->word, "unknown_thru");
}

/* Line methods: the first line's touch sets the planes. */
static struct m2 shift_mover(const struct slope *k, struct m2 s, const void *cause)
{
        (void)k;
        const struct tracking_cause *c = cause;
        return move_shift(s, c->port, c->eps);
}
static void line_causes(const struct slope *k)
{
        const struct setup *setup = &k->a->ch->q->recipe->setup;
        const struct calibration *cal = k->a->ch->cal;
        for (int port = 0; port < 2; port++) {
                struct tracking_cause c = {.port = port};
                c.eps = CMPLX(cal->gamma_re[k->i], cal->gamma_im[k->i]) * setup->placement_um_u * 1e-6;
                add_common(k, "thru's touch", shift_mover, &c);
                c.eps = CMPLX(setup->contact_ohm_u, k->w * setup->contact_h_u) /
                        100; /* a series z moves S21 of a matched line by -z/(2 Zc) */
                add_common(k, "thru's touch", shift_mover, &c);
        }
}

static void drift_causes(const struct slope *k)
{
        const struct recipe *r = k->a->ch->q->recipe;
        const struct check_limits *limit = &r->check.limits;
        const struct calibration *cal = k->a->ch->cal;
        if (r->check.standard_n == 0 || cal->terms.model == TERMS_ONE_PORT)
                return;
        for (int port = 0; port < 2; port++) {
                struct tracking_cause c = {.port = port, .eps = CMPLX(0, -k->w * limit->delay_fs * 1e-15 / sqrt(3))};
                cause_add_rectangular(k->to, "drift, delay", common_change(k, tracking_mover, &c));
                c.eps = -limit->loss_db / RF_DB_PER_NEPER * sqrt(k->hz / cal->axis.hz[cal->axis.n - 1]) / sqrt(3);
                cause_add_rectangular(k->to, "drift, loss", common_change(k, tracking_mover, &c));
        }
}

/* The same where no open tells of the pads alone: each dummy is drawn symmetric, and what it shows to the two ports differs by as much. */
static void symmetry_causes(const struct slope *k)
{
        for (int p = 1; p < PART_COUNT; p++) {
                if (!k->a->ch->raw[p])
                        continue;
                double complex d = k->at->s[p].e[0] - k->at->s[p].e[3];
                cause_add(k->to, "dummies", value_change(k, weigh(k, p, m2_diag(d, 0))), 1);
                cause_add(k->to, "dummies", value_change(k, weigh(k, p, m2_diag(0, d))), 1);
        }
}

/* ---- dummies: how far the device's own pads and leads may differ from the dummies' -----------------------------------------------------
   The two pads of one open are neighbours drawn alike: over dies their difference d = Y11 - Y22, as it is (C and loss together), shows how
   far the device's own pads may differ from the dummy's, whatever the wafer does from die to die.  What contact, placement and noise put
   into d is counted elsewhere and taken out.  The leads are taken to scatter by the same relative amount. */
struct pad_scatter {
        size_t n;
        double complex d[9];     /* S, about their mean from three dies on: what all have in common is the calibration's doing */
        double complex more[16]; /* what one standard uncertainty of each other cause does to d */
        size_t more_n;
        double nu, relative; /* of the pads' admittance */
};

static double complex pads_differ(struct m2 y) { return y.e[0] - y.e[3]; }

static void pads_moved(struct pad_scatter *to, struct m2 s, struct m2 d_s, double z)
{
        to->more[to->more_n++] = pads_differ(rf_y_change(s, d_s, z));
}

static void pad_scatter_take(const struct slope *k, size_t j, struct pad_scatter *to)
{
        const struct chain *ch = k->a->ch;
        const struct setup *setup = &ch->q->recipe->setup;
        struct m2 s = k->at->s[PART_OPEN], y = rf_y_from_s(s, ch->z), shift[2];
        double complex sum = 0;
        *to = (struct pad_scatter){.n = 0};
        for (size_t o = 0; o <= ch->q->open_n && o <= 8; o++) {
                const struct raw_sweep *raw = o < ch->q->open_n && o < 8 ? ch->q->opens[o] : ch->raw[PART_OPEN];
                if (raw->n != ch->axis.n)
                        continue;
                to->d[to->n] = pads_differ(rf_y_from_s(tip_point(ch->cal, raw, j, k->i), ch->z));
                sum += to->d[to->n++];
        }
        to->nu = to->n < 3 ? (double)to->n : (double)(to->n - 1);
        for (size_t o = 0; o < to->n && to->n >= 3; o++)
                to->d[o] -= sum / (double)to->n;
        double complex theta = touch_theta(k);
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->measure->sweep);
        for (int port = 0; port < 2; port++) {
                pads_moved(to, s, move_series(s, port, setup->contact_ohm_u, ch->z), ch->z);
                pads_moved(to, s, move_series(s, port, CMPLX(0, k->w * setup->contact_h_u), ch->z), ch->z);
                shift[port] = move_shift(s, port, theta);
                pads_moved(to, s, m2_scale(OWN_SHARE, shift[port]), ch->z);
                double u_noise = noise_of(plan, k->hz, chain_read_size(ch, k->i, s, 3 * port)) * k->noise_scale;
                for (int part = 0; part < 2; part++) {
                        double complex by = part ? CMPLX(0, u_noise) : u_noise;
                        pads_moved(to, s, port == 0 ? m2_diag(by, 0) : m2_diag(0, by), ch->z);
                }
        }
        pads_moved(to, s, m2_scale(OWN_SHARE, m2_sub(shift[0], shift[1])), ch->z);
        double seen = 0, other = 0, own = cabs(y.e[0]) * cabs(y.e[3]);
        for (size_t o = 0; o < to->n; o++)
                seen += creal(to->d[o] * conj(to->d[o])) / to->nu;
        for (size_t m = 0; m < to->more_n; m++)
                other += creal(to->more[m] * conj(to->more[m]));
        to->relative = own > 0 ? sqrt(fmax(0, seen - other) / own) : 0;
}

static void dummy_causes(const struct slope *k, size_t j)
{
        const struct chain *ch = k->a->ch;
        struct pad_scatter pads;
        if (!ch->raw[PART_OPEN]) {
                symmetry_causes(k);
                return;
        }
        pad_scatter_take(k, j, &pads);
        struct m2 half = m2_add(m2_one(), k->at->s[PART_OPEN]);
        for (int port = 0; port < 2; port++) {
                double complex per_y =
                        weigh(k, PART_OPEN, m2_scale(-ch->z / 2, m2_mul(half, m2_mul(port == 0 ? m2_diag(1, 0) : m2_diag(0, 1), half))));
                double seen = 0, other = 0;
                for (size_t o = 0; o < pads.n; o++)
                        seen += pow(value_change(k, per_y * pads.d[o]), 2) / pads.nu;
                for (size_t m = 0; m < pads.more_n; m++)
                        other += pow(value_change(k, per_y * pads.more[m]), 2);
                /* The difference of two variances of which one is counted on few dies: known the worse, the less is left. */
                double left = fmax(LEFT_LEAST, 1 - other / seen);
                if (seen > 0)
                        cause_add(k->to, "dummies", sqrt(left * seen), fmax(1, pads.nu * left * left));
        }
        if (!ch->raw[PART_SHORT])
                return;
        struct m2 lead = m2_inv(m2_sub(rf_y_from_s(k->at->s[PART_SHORT], ch->z), rf_y_from_s(k->at->s[PART_OPEN], ch->z)));
        for (int port = 0; port < 2; port++) {
                struct m2 moved = move_series(k->at->s[PART_SHORT], port, pads.relative * lead.e[3 * port], ch->z);
                cause_add(k->to, "dummies", value_change(k, weigh(k, PART_SHORT, moved)), pads.nu);
        }
}

/* Open-short takes all shunt capacitance outside the leads; half of what the leads have themselves lies inside (a short line is its L
   between two halves of its C).  A lead is a piece of line of 50 ohm or more, so its capacitance is at most L/50^2: half of that share of
   the way from open-short to short-open (all of the capacitance inside) bounds the error. */
static void model_cause(const struct slope *k)
{
        struct chain other = *k->a->ch;
        struct asked a = *k->a;
        a.ch = &other;
        switch (k->a->ch->method) {
        case RF_DEEMBED_OPEN_SHORT:
                other.method = RF_DEEMBED_SHORT_OPEN;
                break;
        case RF_DEEMBED_SHORT_OPEN: /* the other order altogether, and so with pi and tee: as good a belief each */
                other.method = RF_DEEMBED_OPEN_SHORT;
                break;
        case RF_DEEMBED_THRU_PI:
                other.method = RF_DEEMBED_THRU_TEE;
                break;
        case RF_DEEMBED_THRU_TEE:
                other.method = RF_DEEMBED_THRU_PI;
                break;
        case RF_DEEMBED_OPEN:
        case RF_DEEMBED_SHORT:
        case RF_DEEMBED_PAD_OPEN_SHORT:
        case RF_DEEMBED_THREE_STEP:
        case RF_DEEMBED_L_2L:
        case RF_DEEMBED_TWO_X_THRU:
        case RF_DEEMBED_UNKNOWN:
        case RF_DEEMBED_COUNT:
                return;
        }
        if (k->a->ch->method != RF_DEEMBED_OPEN_SHORT) {
                cause_add_rectangular(k->to, "pads' model", value_change(k, asked_z(&a, k->at) - k->z) / sqrt(3));
                return;
        }
        struct m2 yo = rf_y_from_s(k->at->s[PART_OPEN], k->a->ch->z),
                  lead = m2_inv(m2_sub(rf_y_from_s(k->at->s[PART_SHORT], k->a->ch->z), yo));
        double share = 0;
        for (int port = 0; port < 2; port++) {
                double l_h = fmax(0, cimag(lead.e[3 * port])) / k->w, c_f = fabs(cimag(yo.e[3 * port])) / k->w;
                share = fmax(share, c_f > 0 ? fmin(1, l_h / (LEAD_OHM * LEAD_OHM) / c_f / 2) : 1);
        }
        cause_add_rectangular(k->to, "pads' model", share * value_change(k, asked_z(&a, k->at) - k->z) / sqrt(3));
}

/* Between points that lie far apart, the polynomial itself is a guess: what the three nearest points say instead counts as its standard
 * uncertainty. */
static void interpolation_cause(const struct slope *k, size_t j)
{
        const struct axis *axis = &k->a->ch->axis;
        if (axis->n < 5 || fabs(axis->hz[j] / k->hz - 1) < 1e-12)
                return;
        size_t from = j < 1 ? 0 : j + 2 > axis->n ? axis->n - 3 : j - 1, first, n;
        struct axis three = {.n = 3, .hz = axis->hz + from};
        double w[5];
        if (!(three.hz[2] > 1.12 * three.hz[0]) || rf_interpolation(&three, k->hz, &first, &n, w, NULL))
                return;
        struct trio other = {{{{0}}}};
        for (size_t m = 0; m < n; m++) {
                struct trio one = chain_point(k->a->ch, from + first + m);
                for (int p = 0; p < PART_COUNT; p++)
                        if (k->a->ch->raw[p])
                                other.s[p] = m2_add(other.s[p], m2_scale(w[m], one.s[p]));
        }
        cause_add(k->to, CAUSE_INTERPOLATION, value_change(k, asked_z(k->a, &other) - k->z), INFINITY);
}

static double noise_of_device(const struct slope *k, double gain)
{
        const struct chain *ch = k->a->ch;
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->measure->sweep);
        double sum = 0;
        for (int p = 0; p < PART_COUNT; p++)
                for (int e = 0; e < 4 && ch->raw[p]; e++) {
                        double u = noise_of(plan, k->hz, chain_read_size(ch, k->i, k->at->s[p], e));
                        double re = value_change(k, k->d[p][e] * u), im = value_change(k, k->d[p][e] * CMPLX(0, u));
                        sum += re * re + im * im;
                }
        return sqrt(sum * gain);
}

/* At an end of the sweep the window lies to one side, and noise is not alike over it: the number's at k over that of point m, by the table.
 */
static double noise_ratio(const struct slope *k, size_t m)
{
        struct asked a = *k->a;
        struct trio t = chain_point(k->a->ch, m);
        a.hz = k->a->ch->axis.hz[m];
        a.near = asked_near(k->a, a.hz);
        struct slope other = {.a = &a, .hz = a.hz, .w = RF_TWO_PI * a.hz, .i = map_at(k->a->ch->map, m), .part = 1, .at = &t};
        slope_take(&other);
        double ratio = noise_of_device(k, 1) / noise_of_device(&other, 1);
        return ratio > 1 ? ratio : 1; /* NaN: nothing is known */
}

/* Scatter of the number over the nearest points about its own cubic; NaN where they are too few or too far apart.  Nine points if they span
   less than a factor 1.6, more (up to seventeen, for a scatter that is itself known better) while they span less than 1.25. */
static double noise_by_data(const struct slope *k, size_t j, double gain, double *ret_freedom)
{
        enum { LEAST = 9, MOST = 17, COEFFICIENTS = 4 };
        const struct chain *ch = k->a->ch;
        size_t window = MOST, from = 0;
        for (; window >= LEAST; window -= 2) {
                if (ch->axis.n < window)
                        continue;
                from = j < window / 2 ? 0 : j - window / 2;
                from = from + window > ch->axis.n ? ch->axis.n - window : from;
                if (ch->axis.hz[from + window - 1] < (window == LEAST ? 1.6 : 1.25) * ch->axis.hz[from])
                        break;
        }
        if (window < LEAST)
                return NAN;
        double q[MOST], hz[MOST];
        struct asked a = *k->a;
        size_t n = 0;
        for (size_t m = 0; m < window; m++) {
                if (from + m == j && fabs(ch->axis.hz[j] / k->hz - 1) < 1e-12) /* its own error must not widen its own interval */
                        continue;
                struct trio t = chain_point(ch, from + m);
                hz[n] = a.hz = ch->axis.hz[from + m];
                a.near = asked_near(k->a, a.hz);
                q[n] = asked_value(&a, asked_z(&a, &t));
                if (!isfinite(q[n++]))
                        return NAN;
        }
        *ret_freedom = (double)(n - COEFFICIENTS);
        size_t centre = from + window / 2;
        return scatter_of(hz, q, NULL, n, 1) * sqrt(gain) * (centre == j ? 1 : noise_ratio(k, centre));
}

/* How much more noise than by the table at k->hz there is, from what the sweeps themselves show near point j, whatever the device: S21 and
   S12 of a passive one differ by noise alone, its own and the thru's; and the reflection of a dummy (of the device, where there is none) is
   smooth over far more points than a number that is made of small differences.  Root of the mean square; *ret_freedom counts real numbers.
 */
static double noise_scale(const struct slope *k, size_t j, double *ret_freedom)
{
        enum { HALF = 6, WINDOW = 9 };
        const struct chain *ch = k->a->ch;
        const struct recipe *r = ch->q->recipe;
        const struct sweep_plan *plan = recipe_sweep(r, ch->q->measure->sweep), *cal = recipe_sweep(r, r->calibration.sweep);
        double sum = 0, count = 0;
        size_t from = j < HALF ? 0 : j - HALF, to = j + HALF < ch->axis.n ? j + HALF : ch->axis.n - 1;
        for (size_t m = from; m <= to && ch->device_kind != DEVICE_TRANSISTOR; m++) {
                double hz = ch->axis.hz[m];
                if (hz < k->hz / 10 || hz > k->hz * 10 || !noise_alike(plan, hz, k->hz))
                        continue;
                struct m2 s = tip_point(ch->cal, ch->raw[PART_DEVICE], m, map_at(ch->map, m));
                double size = (cabs(s.e[1]) + cabs(s.e[2])) / 2, d = cabs(s.e[2] - s.e[1]), own = noise_of(plan, k->hz, size),
                       thru = size * noise_of(cal, k->hz, 1);
                sum += d * d / (2 * (own * own + thru * thru));
                count += 2;
        }
        for (int p = ch->raw[PART_OPEN] ? PART_OPEN : PART_DEVICE; p < PART_COUNT; p++) {
                if (!ch->raw[p] || ch->axis.n < WINDOW)
                        continue;
                double re[2][WINDOW], im[2][WINDOW];
                size_t begin = j < WINDOW / 2 ? 0 : j - WINDOW / 2;
                begin = begin + WINDOW > ch->axis.n ? ch->axis.n - WINDOW : begin;
                if (ch->axis.hz[begin + WINDOW - 1] > 10 * ch->axis.hz[begin] ||
                    ch->axis.hz[begin + WINDOW - 1] > ch->axis.hz[begin] + 10e9)
                        continue;
                for (size_t m = 0; m < WINDOW; m++) {
                        struct m2 s = tip_point(ch->cal, ch->raw[p], begin + m, map_at(ch->map, begin + m));
                        for (int port = 0; port < 2; port++) {
                                re[port][m] = creal(s.e[3 * port]);
                                im[port][m] = cimag(s.e[3 * port]);
                        }
                }
                for (int port = 0; port < 2; port++) {
                        double seen = scatter_of(ch->axis.hz + begin, re[port], im[port], WINDOW, 1), nu = 2 * (WINDOW - 4);
                        double size = chain_read_size(ch, k->i, k->at->s[p], 3 * port), own = noise_of(plan, k->hz, size),
                               standard = noise_of(cal, k->hz, size); /* of a standard that is much like it */
                        sum += nu * seen * seen / (own * own + standard * standard);
                        count += nu;
                }
                if (p == PART_DEVICE)
                        break;
        }
        *ret_freedom = count;
        if (count >= 8)
                return sqrt(sum / count);
        *ret_freedom = INFINITY;
        return 1;
}

/* of_standards: what one unit of the table's noise in the standards makes; negative: by the closed forms. */
static void noise_by_table(const struct slope *k, double gain, double of_standards)
{
        double scale = k->noise_scale, freedom = k->noise_freedom;
        const struct chain *ch = k->a->ch;
        cause_add(k->to, "noise", scale * noise_of_device(k, gain), freedom);
        if (of_standards >= 0) {
                cause_add(k->to, "noise of standards", scale * of_standards * sqrt(gain), freedom);
                return;
        }
        struct ideal_cause base = {.thru = m2_of(0, 1, 1, 0)};
        static const int32_t kinds[3] = {STANDARD_OPEN, STANDARD_SHORT, STANDARD_LOAD};
        for (int m = 0; m < 3; m++) {
                const struct standard *s = used_standard(ch->q->recipe, kinds[m]);
                if (!s)
                        return;
                base.gamma[m] = standard_at(s, ch->q->recipe->setup.temperature_c, k->hz).e[0];
        }
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->recipe->calibration.sweep);
        double sum = 0;
        for (int port = 0; port < 2; port++)
                for (int m = 0; m < 3; m++)
                        for (int part = 0; part < 2; part++) {
                                struct ideal_cause c = base;
                                double size = chain_read_size(ch, k->i, m2_diag(base.gamma[m], base.gamma[m]), 3 * port);
                                c.d_gamma[port][m] = noise_of(plan, k->hz, size) * (part ? CMPLX(0, 1) : 1);
                                double one = common_change(k, ideal_mover, &c);
                                sum += one * one;
                        }
        cause_add(k->to, "noise of standards", scale * sqrt(sum * gain), freedom);
}

/* There are too few points, or the number is so bent in the noise that its scatter says little: by the table.  But a part of z itself is
   straight however noisy, and where its scatter shows more than the table foretells, the scatter is right. */
static void noise_of_bent(struct slope *k, double by_data, double freedom, double gain, double of_standards)
{
        struct cause_list table = {0}, *to = k->to;
        double by_table = 0;
        k->to = &table;
        noise_by_table(k, gain, of_standards);
        k->to = to;
        for (size_t m = 0; m < table.n; m++)
                by_table += table.dq[m] * table.dq[m];
        bool straight = k->a->quantity == QUANTITY_L || k->a->quantity == QUANTITY_R;
        if (straight && isfinite(by_data) && by_data * by_data > by_table)
                cause_add(to, "noise", by_data, freedom);
        else
                for (size_t m = 0; m < table.n; m++)
                        cause_add(to, table.name[m], table.dq[m], table.nu[m]);
}

void causes_of(const struct asked *a, const struct trio *at, size_t j, double noise_gain, struct cause_list *to)
{
        struct slope k = {.a = a, .hz = a->hz, .w = RF_TWO_PI * a->hz, .i = map_at(a->ch->map, j), .part = 1, .to = to, .at = at};
        to->n = 0;
        slope_take(&k);
        k.noise_scale = noise_scale(&k, j, &k.noise_freedom);
        for (int p = 0; p < PART_COUNT; p++)
                touch_causes(&k, p);
        double lines = a->ch->cal->line_share[k.i];
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
                        virtual_standard(&k, v, m);
                if (!v)
                        line_causes(&k);
        }
        if (lines < 1) {
                k.part = 1 - lines;
                v = NULL;
                if (!has_closed_form(a->ch->q->recipe, a->hz) && (arena || (arena = arena_new(0)) != NULL))
                        v = arena_take(arena, sizeof *v);
                if (v &&
                    !virtual_calibrate(a->ch->q->recipe, a->hz, (struct virtual_how){.match_fixed = false}, at->s, PART_COUNT, arena, v))
                        v = NULL;
                for (size_t m = 0; v && m < v->n; m++)
                        virtual_standard(&k, v, m);
                if (v)
                        match_cause(&k, arena);
                if (!v)
                        standard_causes(&k);
        }
        k.part = 1;
        drift_causes(&k);
        dummy_causes(&k, j);
        model_cause(&k);
        interpolation_cause(&k, j);
        double freedom = INFINITY, by_data = noise_by_data(&k, j, noise_gain, &freedom);
        bool ratio = a->quantity != QUANTITY_SRF &&
                     asked_share(a) == RF_SHARE_VALUE; /* the others are about straight in the noise, and near 0 without harm */
        bool noisy = ratio && k.noise_scale * noise_of_device(&k, noise_gain) > NOISY * fabs(asked_value(a, k.z));
        if (isfinite(by_data) && !noisy)
                cause_add(to, "noise", by_data, freedom);
        else
                noise_of_bent(&k, by_data, freedom, noise_gain, v ? virtual_noise(&k, v) : -1);
        arena_free(arena);
}

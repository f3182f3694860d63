/* reading_causes.c: from causes of error terms, touch and noise to causes of corrected S (reading_causes.h). */
#include "rf/trust/reading_causes.h"
#include "rf/correct/correct.h"
#include "rf/trust/modes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct own {
        const struct corrected_reading *r;
        struct arena *arena;
        struct net2_causes *to;
        double complex f, b; /* switch terms of the point */
};

/* What one standard uncertainty of a cause does to S at point i. */
typedef struct m2 change_at(const struct own *o, size_t i, const void *cause);

static double complex switch_at(const double *re, const double *im, size_t i) { return re ? CMPLX(re[i], im[i]) : 0; }

static enum code add(struct own *o, enum cause_kind kind, double freedom, const char *of, const char *name, change_at *change,
                     const void *cause, struct tp_error *err)
{
        size_t n = o->r->raw->axis->n;
        const struct switch_terms *sw = o->r->switch_terms;
        struct net2_cause *c = &o->to->of[o->to->n];
        double *columns = arena_take(o->arena, 8 * n * sizeof *columns);
        bool moves[4] = {false};
        if (!columns || !(c->about.name = arena_text(o->arena, name)))
                return tp_fail_memory(err);
        c->about.kind = kind;
        c->about.freedom = freedom;
        net2_cause_id(of, name, c->id);
        for (size_t i = 0; i < n; i++) {
                o->f = sw ? switch_at(sw->f_re, sw->f_im, i) : 0;
                o->b = sw ? switch_at(sw->r_re, sw->r_im, i) : 0;
                struct m2 d = change(o, i, cause);
                for (int e = 0; e < 4; e++) {
                        double re = creal(d.e[e]), im = cimag(d.e[e]);
                        if (!isfinite(re) || !isfinite(im))
                                return tp_fail(err, CODE_UNRESOLVABLE,
                                               "what \"%s\" does at %.9g Hz is no number; look at the reading there", name,
                                               o->r->raw->axis->hz[i]);
                        columns[(size_t)(2 * e) * n + i] = re;
                        columns[(size_t)(2 * e + 1) * n + i] = im;
                        moves[e] = moves[e] || re != 0 || im != 0;
                }
        }
        for (int e = 0; e < 4; e++)
                if (moves[e]) {
                        c->re[e] = columns + (size_t)(2 * e) * n;
                        c->im[e] = columns + (size_t)(2 * e + 1) * n;
                }
        if (moves[0] || moves[1] || moves[2] || moves[3])
                o->to->n++;
        else
                *c = (struct net2_cause){.id = ""};
        return CODE_OK;
}

static struct m2 masked(const struct own *o, struct m2 d)
{
        if (!(o->r->ports & 1u))
                d.e[0] = 0;
        if (!(o->r->ports & 2u))
                d.e[3] = 0;
        if (o->r->ports != 3)
                d.e[1] = d.e[2] = 0;
        return d;
}

static struct m2 by_terms(const struct own *o, size_t i, const void *cause)
{
        struct terms_cause c = *(const struct terms_cause *)cause;
        for (int k = 0; k < 2 && (o->r->switch_is_read || !o->r->switch_terms); k++)
                c.switch_re[k] = c.switch_im[k] = NULL;
        return masked(o, rf_terms_cause_change(o->r->terms, i, &c, o->r->at[i], net2_get(o->r->raw, i), o->f, o->b));
}

static struct m2 by_noise(const struct own *o, size_t i, const void *cause)
{
        int e = *(const int *)cause;
        struct m2 raw = net2_get(o->r->raw, i), up = raw, down = raw;
        const double h = 1e-6;
        up.e[e] += h;
        down.e[e] -= h;
        up = rf_corrected_as_read(o->r->terms, i, up, o->f, o->b);
        down = rf_corrected_as_read(o->r->terms, i, down, o->f, o->b);
        return masked(o, m2_scale(reading_noise(o->r->u, raw.e[e]) / (2 * h), m2_sub(up, down)));
}

const char *const rf_touch_words[RF_TOUCH_COUNT + 1] = {"touch R", "touch L", "place", "place", NULL};

struct m2 rf_touch_change(struct m2 s, enum rf_touch touch, int port, const struct reading_u *u, double hz, double z)
{
        double w = RF_TWO_PI * hz;
        double complex theta = CMPLX(0, w * sqrt(u->eps_eff) / RF_C0_M_S * u->placement_um * 1e-6 * PLACEMENT_OWN_SHARE);
        switch (touch) {
        case RF_TOUCH_R:
                return rf_move_series(s, port, u->contact_ohm, z);
        case RF_TOUCH_L:
                return rf_move_series(s, port, CMPLX(0, w * u->contact_h), z);
        case RF_TOUCH_PLACE:
                return rf_move_shift(s, port, theta);
        case RF_TOUCH_BOTH:
        case RF_TOUCH_COUNT:
                break;
        }
        return m2_sub(rf_move_shift(s, 0, theta), rf_move_shift(s, 1, theta));
}

struct touched {
        enum rf_touch touch;
        int port;
};
static struct m2 by_touch(const struct own *o, size_t i, const void *cause)
{
        const struct touched *t = cause;
        double z = o->r->corrected->z_re[i] > 0 ? o->r->corrected->z_re[i] : 50;
        return masked(o, rf_touch_change(net2_get(o->r->corrected, i), t->touch, t->port, o->r->u, o->r->raw->axis->hz[i], z));
}

struct drifted {
        int port;
        bool loss;
        double u; /* s, or dB at the top */
};
/* The port's one-way tracking since the calibration times 1 + eps. */
static struct m2 by_drift(const struct own *o, size_t i, const void *cause)
{
        const struct drifted *c = cause;
        const struct terms *t = o->r->terms;
        double hz = t->axis->hz[i];
        double complex eps = c->loss ? -c->u / RF_DB_PER_NEPER * sqrt(hz / o->r->top_hz) : CMPLX(0, -RF_TWO_PI * hz * c->u);
        struct m2 s = net2_get(o->r->corrected, i), d = m2_of(0, 0, 0, 0);
        if (t->model != TERMS_ONE_PORT)
                return masked(o, rf_move_tracking(t, i, s, c->port, eps));
        int es = c->port == 0 ? TERM_ESF : TERM_ESR, e = 3 * c->port; /* m - ED = ER G/(1 - ES G), both ways through the port */
        d.e[e] = 2 * eps * s.e[e] * (1 - CMPLX(t->re[es][i], t->im[es][i]) * s.e[e]);
        return masked(o, d);
}

static double drift_of(const struct corrected_reading *r, int port, bool loss)
{
        if (r->drift)
                return loss ? r->drift->loss_db[port] : r->drift->delay_s[port];
        return loss ? r->u->drift_loss_db : r->u->drift_delay_s;
}

static enum code drifts(struct own *o, int port, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (int loss = 0; loss < 2 && !code; loss++) {
                struct drifted c = {port, loss == 1, drift_of(o->r, port, loss == 1)};
                char name[40];
                snprintf(name, sizeof name, "drift: %s, port %d", loss ? "loss" : "delay", port + 1);
                if (c.u > 0)
                        code = add(o, CAUSE_OF_DRIFT, INFINITY, o->r->terms_id, name, by_drift, &c, err);
        }
        return code;
}

static enum code own_touch(struct own *o, enum rf_touch touch, int port, struct tp_error *err)
{
        struct touched t = {touch, port};
        char name[48];
        if (touch == RF_TOUCH_BOTH)
                snprintf(name, sizeof name, "own: place, both ports");
        else
                snprintf(name, sizeof name, "own: %s, port %d", rf_touch_words[touch], port + 1);
        return add(o, touch <= RF_TOUCH_L ? CAUSE_OF_CONTACT : CAUSE_OF_PLACEMENT, INFINITY,
                   o->r->touch_id ? o->r->touch_id : o->r->reading_id, name, by_touch, &t, err);
}

enum code rf_reading_causes(const struct corrected_reading *r, struct arena *arena, struct net2_causes *ret, struct tp_error *err)
{
        static const char *const noise[4] = {"own: noise, S11", "own: noise, S12", "own: noise, S21", "own: noise, S22"};
        struct own o = {.r = r, .arena = arena, .to = ret};
        const struct reading_u *u = r->u;
        enum code code = CODE_OK;
        *ret = (struct net2_causes){.axis = r->raw->axis};
        if (!(ret->of = arena_take(arena, (r->causes->n + 20) * sizeof *ret->of)) ||
            !(ret->not_counted = arena_take(arena, CAUSES_NOT_COUNTED_MAX * sizeof *ret->not_counted)))
                return tp_fail_memory(err);
        for (size_t k = 0; k < r->causes->n && !code; k++) {
                const struct terms_cause *c = &r->causes->of[k];
                code = add(&o, c->about.kind, c->about.freedom, r->terms_id, c->about.name, by_terms, c, err);
        }
        for (int port = 0; port < 2; port++) {
                if (!(r->ports & (port ? 2u : 1u)))
                        continue;
                if (!code)
                        code = drifts(&o, port, err);
                if (u->contact_ohm > 0 && !code)
                        code = own_touch(&o, RF_TOUCH_R, port, err);
                if (u->contact_h > 0 && !code)
                        code = own_touch(&o, RF_TOUCH_L, port, err);
                if (u->placement_um > 0 && !code)
                        code = own_touch(&o, RF_TOUCH_PLACE, port, err);
        }
        if (u->placement_um > 0 && r->ports == 3 && !code)
                code = own_touch(&o, RF_TOUCH_BOTH, 0, err);
        for (int e = 0; e < 4 && !code; e++)
                if (u->noise_floor > 0 || u->noise_trace > 0)
                        code = add(&o, CAUSE_OF_NOISE, u->noise_freedom, r->reading_id, noise[e], by_noise, &e, err);
        for (size_t k = 0; k < r->causes->not_counted_n && ret->not_counted_n < CAUSES_NOT_COUNTED_MAX - 1; k++)
                ret->not_counted[ret->not_counted_n++] = r->causes->not_counted[k];
        if (!r->drift && !(u->drift_delay_s > 0 || u->drift_loss_db > 0))
                ret->not_counted[ret->not_counted_n++] = "drift since the calibration";
        return code;
}

/* coverage_sight.c: what lies under the tips, and a sweep of it (coverage.h). */
#include "tests/judges/coverage.h"
#include "simulators/supply.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TWO_PI 6.283185307179586476925286766559
#ifndef I /* rf/ has taken it away */
#define I _Complex_I
#endif

static double complex behind(const struct seen *v, int p, double hz)
{
        return v->longer_f[p] == 0 ? 0
                                   : v->longer_f[p] / v->pads.c_f[p] / (v->pads.loss_ohm + 1 / (CMPLX(0, TWO_PI * hz) * v->pads.c_f[p]));
}

struct raw_sweep sweep(struct station *st, const struct seen *v, struct arena *arena)
{
        struct raw_sweep raw = {.n = st->n, .hz = st->hz};
        double *columns[12];
        for (int k = 0; k < 12; k++)
                columns[k] = arena_take(arena, (st->n + 8) * sizeof(double));
        for (int k = 0; k < 4; k++) {
                raw.re[k] = columns[2 * k];
                raw.im[k] = columns[2 * k + 1];
        }
        raw.gf_re = columns[8];
        raw.gf_im = columns[9];
        raw.gr_re = columns[10];
        raw.gr_im = columns[11];
        const struct scenario *s = &st->scenario;
        struct sim_now now = {{drift_of(s, 0, st->now_s, st->now_s + 10800), drift_of(s, 1, st->now_s, st->now_s + 10800)},
                              room_k(s, st->now_s)};
        for (int p = 0; p < 2; p++) {
                now.drift[p].delay_fs += st->moved[p].delay_fs;
                now.drift[p].loss_db += st->moved[p].loss_db;
        }
        struct draws r = draws_of((uint64_t)s->seed, DRAW_NOISE, st->sweeps++, 0, 0, 0);
        for (size_t i = 0; i < st->n; i++) {
                double hz = st->hz[i], per_um = TWO_PI * hz * s->contact.delay_fs_um * 1e-15;
                struct y2 p;
                if (v->air) {
                        p = y2_to_s(touch_air(s, v->raised_f[0], v->raised_f[1], hz), 50);
                } else {
                        struct y2 y =
                                v->standard ? copy_y(&v->copy, hz) : pads_around(&v->pads, device_biased_y(v->device, hz, &v->bias), hz);
                        y = y2_shunt(y, behind(v, 0, hz), behind(v, 1, hz));
                        p = y2_to_s(touch_around(s, &v->touch, 30, 2, y, hz), 50);
                        double complex m1 = cexp(-CMPLX(0, 1) * per_um * v->touch.shift_um[0]),
                                       m2 = cexp(-CMPLX(0, 1) * per_um * v->touch.shift_um[1]);
                        p.e11 *= m1 * m1;
                        p.e12 *= m1 * m2;
                        p.e21 *= m1 * m2;
                        p.e22 *= m2 * m2;
                }
                double complex m[RAW_N];
                system_form(st->system, &now, i, p, m);
                system_noise(st->system, &r, i, st->ifbw[i], 1, m);
                static const int from[4] = {RAW_S11, RAW_S12, RAW_S21, RAW_S22};
                for (int k = 0; k < 4; k++) {
                        m[from[k]] *= pow(cabs(m[from[k]]), st->bent[k / 2]);
                        raw.re[k][i] = creal(m[from[k]]);
                        raw.im[k][i] = cimag(m[from[k]]);
                }
                raw.gf_re[i] = creal(m[RAW_GF]);
                raw.gf_im[i] = cimag(m[RAW_GF]);
                raw.gr_re[i] = creal(m[RAW_GR]);
                raw.gr_im[i] = cimag(m[RAW_GR]);
        }
        st->now_s += 12;
        return raw;
}

/* Overtravel as it repeats: both tips slide inwards or stay behind. */
static struct sim_touch slid(const struct station *st, struct sim_touch t)
{
        const struct setup *setup = &st->recipe->setup;
        struct draws r = draws_of((uint64_t)st->scenario.seed, DRAW_NONE, 3, st->sweeps, 0, 0);
        double um = setup->skate_um_um * setup->overtravel_um_u * draw_normal_within(&r, 3.5);
        for (int p = 0; p < 2; p++)
                t.shift_um[p] -= um;
        return t;
}

struct seen standard_seen(const struct station *st, const char *name, int touch)
{
        const struct scenario *s = &st->scenario;
        for (size_t k = 0; k < s->standard_n; k++)
                if (!strcmp(s->standards[k].name, name)) {
                        struct seen v = {.standard = true, .copy = copy_of(s, k, 0), .touch = slid(st, touch_of(s, draw_key(name), touch))};
                        v.air = v.copy.raised;
                        v.raised_f[0] = v.copy.c_f[0];
                        v.raised_f[1] = v.copy.c_f[1];
                        return v;
                }
        fprintf(stderr, "the scenario has no standard %s\n", name);
        exit(2);
}

static void held(const struct scenario *s, int32_t channel, double ampere, double limit_v, struct sim_bias *bias)
{
        int port = supply_port(s, (unsigned)channel);
        bias->held[port] = true;
        bias->volt[port] = limit_v;
        bias->ampere[port] = supply_held_a(s, (unsigned)channel, ampere);
}

struct true_at at_condition(const struct scenario *s, const struct measure *me, size_t condition)
{
        struct true_at at = {.hz = 0};
        const struct condition *c = &me->conditions[condition];
        if (c->channel == 0 || c->channel == 1)
                at.bias.volt[supply_port(s, (unsigned)c->channel)] = c->volt;
        if (c->has_gate && (c->gate.channel == 0 || c->gate.channel == 1))
                at.bias.volt[supply_port(s, (unsigned)c->gate.channel)] = c->gate.volt;
        if (c->open_v > 0 && c->channel < 2)
                held(s, c->channel, 0, c->open_v, &at.bias);
        if (c->has_base && c->base.channel < 2)
                held(s, c->base.channel, c->base.ampere, c->base.limit_v, &at.bias);
        return at;
}

struct seen device_seen(const struct station *st, int at, const struct sim_bias *bias)
{
        char key[64];
        const struct sim_device *d = &st->wafer.devices[at];
        snprintf(key, sizeof key, "%d,%d %s", (int)d->die_x, (int)d->die_y, d->name);
        struct seen v = {.device = d,
                         .pads = wafer_pads(&st->wafer, at),
                         .touch = slid(st, touch_of(&st->scenario, draw_key(key), 1)),
                         .bias = *bias};
        for (int p = 0; p < 2; p++)
                v.longer_f[p] = -st->recipe->setup.pad_f_um * v.touch.shift_um[p];
        return v;
}

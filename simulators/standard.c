/* standard.c: calibration standards; see standard.h.
   The thru is a line with R(f) = dc + A tau sqrt(f/1 GHz) (1 + j) in series with L = tau z, and C = tau / z: loss A in ohm/s at 1 GHz, by
   skin effect, whose internal inductance equals its resistance. */
#include "simulators/standard.h"
#include "simulators/draws.h"
#include <math.h>

#define TWO_PI 6.283185307179586476925286766559

struct sim_copy copy_of(const struct scenario *s, size_t i, int touches)
{
        const struct nominal_standard *n = &s->standards[i];
        struct draws own = draws_of((uint64_t)s->seed, DRAW_COPY, draw_key(n->name), 0, 0, 0);
        double from = s->contact.wear_from, knee = s->contact.wear_knee, over = fmax(0, touches - from),
               fast = fmax(0, touches - fmax(knee, from));
        double wear = 1 + s->contact.wear * (over + 4 * fast); /* five times as fast behind the knee */
        struct sim_copy c = {.kind = {n->kind, n->kind_2 ? n->kind_2 : n->kind},
                             .raised = n->raised,
                             .z_ohm = n->z_ohm,
                             .loss_ohm_s = n->loss_ohm_s,
                             .dc_ohm = n->dc_ohm};
        for (int p = 0; p < 2; p++) {
                c.r_ohm[p] = (n->r_ohm + n->u_r_ohm * draw_normal_within(&own, 3.5)) * (c.kind[p] == SIM_STANDARD_LOAD ? wear : 1);
                c.l_h[p] = n->l_h + n->u_l_h * draw_normal_within(&own, 3.5);
                c.c_f[p] = n->c_f + n->u_c_f * draw_normal_within(&own, 3.5);
        }
        c.delay_s = n->delay_s + n->u_delay_s * draw_normal_within(&own, 3.5);
        return c;
}

static double complex end_y(const struct sim_copy *c, int port, double w)
{
        switch ((enum sim_standard_kind)c->kind[port]) {
        case SIM_STANDARD_OPEN:
                return I * w * c->c_f[port];
        case SIM_STANDARD_SHORT:
                return 1 / (1e-9 + I * w * c->l_h[port]);
        case SIM_STANDARD_LOAD:
                return 1 / (c->r_ohm[port] + I * w * c->l_h[port]);
        case SIM_STANDARD_THRU:
        case SIM_STANDARD_UNKNOWN:
                break;
        }
        return 0;
}

struct y2 copy_y(const struct sim_copy *c, double hz)
{
        double w = TWO_PI * hz;
        if (c->kind[0] == SIM_STANDARD_THRU) {
                double skin_ohm = c->loss_ohm_s * c->delay_s * sqrt(hz / 1e9);
                return y2_line(c->dc_ohm + (1 + I) * skin_ohm + I * w * c->delay_s * c->z_ohm, I * w * c->delay_s / c->z_ohm);
        }
        return y2_shunt((struct y2){0, 0, 0, 0}, end_y(c, 0, w), end_y(c, 1, w));
}

static double end_dc_ohm(const struct sim_copy *c, int port)
{
        return c->kind[port] == SIM_STANDARD_LOAD ? c->r_ohm[port] : c->kind[port] == SIM_STANDARD_SHORT ? 0 : HUGE_VAL;
}

void copy_dc_ohm(const struct sim_copy *c, double *ret_series, double *ret_ground1, double *ret_ground2)
{
        *ret_series = c->kind[0] == SIM_STANDARD_THRU ? c->dc_ohm : HUGE_VAL;
        *ret_ground1 = end_dc_ohm(c, 0);
        *ret_ground2 = end_dc_ohm(c, 1);
}

/* look.c: what the tips see of the world in force: air, bare field, a device with its pads, a standard. */
#include "simulators/bench.h"
#include "simulators/draws.h"
#include "simulators/supply.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define TWO_PI 6.283185307179586476925286766559
#define OPEN_OHM 1e12 /* what an open reads */

static size_t device_targets(const struct bench *b) { return b->wafer.die_n * b->layout.device_n; }

/* Where the tips really stand in the place's frame. */
static void stands(const struct bench *b, double *ret_x, double *ret_y)
{
        *ret_x = b->state.x_um - b->state.off_x_um[b->state.place];
        *ret_y = b->state.y_um - b->state.off_y_um[b->state.place];
}

static int standard_under(const struct bench *b, bool raised)
{
        double x, y, near = b->scenario.stage.tolerance_um;
        stands(b, &x, &y);
        for (size_t i = 0; i < b->scenario.standard_n; i++) {
                const struct nominal_standard *n = &b->scenario.standards[i];
                if (n->raised == raised && n->place == b->state.place && fabs(x - n->x_um) <= near && fabs(y - n->y_um) <= near)
                        return (int)i;
        }
        return -1;
}

/* Both tips stand on its pads. */
static bool spans(const struct bench *b, double made_for_um)
{
        const struct scenario *s = &b->scenario;
        return fabs(b->state.spacing_um - (made_for_um > 0 ? made_for_um : s->stage.spacing_um)) <= 2 * s->stage.tolerance_um;
}

int bench_target(const struct bench *b)
{
        double x, y;
        int k = standard_under(b, false);
        stands(b, &x, &y);
        if (k >= 0)
                return spans(b, b->scenario.standards[k].spacing_um) ? (int)device_targets(b) + k : -1;
        k = b->state.place == PLACE_WAFER ? wafer_under(&b->wafer, x, y) : -1;
        return k >= 0 && spans(b, b->layout.devices[(size_t)k % b->layout.device_n].footprint.spacing_um) ? k : -1;
}

const char *bench_target_name(const struct bench *b, int target, char ret[64])
{
        int devices = (int)device_targets(b);
        if (target < 0)
                snprintf(ret, 64, "nothing");
        else if (target < devices)
                snprintf(ret, 64, "%d,%d %s", (int)b->wafer.devices[target].die_x, (int)b->wafer.devices[target].die_y,
                         b->wafer.devices[target].name);
        else
                snprintf(ret, 64, "%s", b->scenario.standards[target - devices].name);
        return ret;
}

static int64_t target_key(const struct bench *b, int target)
{
        char name[64];
        return draw_key(bench_target_name(b, target, name));
}

static void fault_apply(const struct fault *f, struct sim_touch *t)
{
        if (f->what == FAULT_OPEN_CONTACT)
                t->open[f->port - 1] = true;
        else
                t->lost_ground[f->port - 1] = true;
}

struct sim_touch bench_touch(const struct bench *b)
{
        const struct scenario *s = &b->scenario;
        int target = b->state.target, devices = (int)device_targets(b);
        int64_t key = target_key(b, target);
        struct sim_touch t = touch_of(s, key, b->state.touch);
        if (target < 0)
                return t;
        for (size_t i = 0; i < s->fault_n; i++) {
                const struct fault *f = &s->faults[i];
                bool due = b->state.touch >= f->first && b->state.touch < f->first + f->attempts, here;
                if (!due || (f->what != FAULT_OPEN_CONTACT && f->what != FAULT_LOST_GROUND))
                        continue;
                if (target < devices) {
                        const struct sim_device *d = &b->wafer.devices[target];
                        here = d->die_x == f->die_x && d->die_y == f->die_y && strcmp(d->name, f->device) == 0;
                } else
                        here = strcmp(s->standards[target - devices].name, f->standard) == 0;
                if (here)
                        fault_apply(f, &t);
        }
        struct draws r = draws_of((uint64_t)s->seed, DRAW_TOUCH_FAULT, key, b->state.touch, 0, 0);
        bool open = draw_chance(&r, s->rates.open_contact), lost = draw_chance(&r, s->rates.lost_ground);
        int port = (int)(draw_bits(&r) % 2);
        t.open[port] = t.open[port] || open;
        t.lost_ground[port] = t.lost_ground[port] || lost;
        return t;
}

static struct sim_bias bias_now(const struct bench *b)
{
        struct sim_bias bias = {.held = {false}};
        for (unsigned k = 0; k < 2; k++) {
                int port = supply_port(&b->scenario, k);
                bias.volt[port] = b->state.volt[k];
                bias.held[port] = b->state.held >> k & 1;
                bias.ampere[port] = b->state.ampere[k];
        }
        return bias;
}

struct bench_view bench_look(const struct bench *b)
{
        struct bench_view v = {.bench = b, .bias = bias_now(b)};
        int target = b->state.target, devices = (int)device_targets(b);
        v.raised_f[0] = v.raised_f[1] = b->scenario.contact.raised_f + (b->state.place == PLACE_WAFER ? b->scenario.contact.place_f : 0);
        if (!b->state.in_contact) {
                int k = standard_under(b, true);
                v.air = true;
                if (k >= 0) {
                        v.copy = copy_of(&b->scenario, (size_t)k, 0);
                        v.raised_f[0] = v.copy.c_f[0];
                        v.raised_f[1] = v.copy.c_f[1];
                }
                return v;
        }
        v.overtravel_um = -b->state.z_um;
        v.seconds = (double)(bench_now_ns(b) - b->state.contact_ns) * 1e-9;
        v.bare = target < 0;
        v.touch = bench_touch(b);
        if (target >= 0 && target < devices) {
                v.device = &b->wafer.devices[target];
                v.pads = wafer_pads(&b->wafer, target);
        } else if (target >= devices)
                v.copy = copy_of(&b->scenario, (size_t)(target - devices), b->touches[target]);
        return v;
}

struct y2 bench_s_at(const struct bench_view *v, double hz)
{
        const struct scenario *s = &v->bench->scenario;
        struct y2 y, none = {0, 0, 0, 0}, r;
        if (v->air)
                return y2_to_s(touch_air(s, v->raised_f[0], v->raised_f[1], hz), 50);
        struct sim_pads pads = v->pads;
        if (v->device && v->device->kind == DEVICE_PAD)
                pads.sections = 0; /* no feed */
        y = v->bare ? none : v->device ? pads_around(&pads, device_biased_y(v->device, hz, &v->bias), hz) : copy_y(&v->copy, hz);
        r = y2_to_s(touch_around(s, &v->touch, v->overtravel_um, v->seconds, y, hz), 50);
        double per_um = TWO_PI * hz * s->contact.delay_fs_um * 1e-15; /* tips beside their mark: a piece of line more or less */
        double complex m1 = cexp(-I * per_um * v->touch.shift_um[0]), m2 = cexp(-I * per_um * v->touch.shift_um[1]);
        r.e11 *= m1 * m1;
        r.e12 *= m1 * m2;
        r.e21 *= m1 * m2;
        r.e22 *= m2 * m2;
        return r;
}

static double beside(double a, double b) { return isinf(a) ? b : isinf(b) ? a : a + b > 0 ? a * b / (a + b) : 0; }

void bench_ohm(const struct bench_view *v, double ret[3])
{
        const struct scenario *s = &v->bench->scenario;
        double series = HUGE_VAL, g1 = HUGE_VAL, g2 = HUGE_VAL, feed1 = 0, feed2 = 0;
        ret[0] = ret[1] = ret[2] = OPEN_OHM;
        if (v->air || v->bare)
                return;
        if (v->device) {
                device_dc_ohm(v->device, &series, &g1, &g2);
                feed1 = v->pads.r_ohm[0];
                feed2 = v->pads.r_ohm[1];
        } else
                copy_dc_ohm(&v->copy, &series, &g1, &g2);
        double path1 = touch_path_ohm(s, &v->touch, 0, v->overtravel_um, v->seconds),
               path2 = touch_path_ohm(s, &v->touch, 1, v->overtravel_um, v->seconds);
        double signal1 = touch_signal_ohm(s, &v->touch, 0, v->overtravel_um, v->seconds),
               signal2 = touch_signal_ohm(s, &v->touch, 1, v->overtravel_um, v->seconds);
        double ohm[3] = {signal1 + feed1 + beside(series, g1 + g2) + feed2 + signal2, path1 + feed1 + beside(g1, series + g2),
                         path2 + feed2 + beside(g2, series + g1)};
        for (int k = 0; k < 3; k++)
                ret[k] = ohm[k] < OPEN_OHM ? ohm[k] : OPEN_OHM;
}

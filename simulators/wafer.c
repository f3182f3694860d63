/* wafer.c: how the devices of one wafer differ; see wafer.h.
   x, y here run from -1 to 1 over the wafer, r from 0 to 1. */
#include "simulators/wafer.h"
#include "simulators/draws.h"
#include "wafer/proof.h"
#include <math.h>
#include <string.h>

struct spot {
        double x, y, r2;
};

static struct spot spot_of(const struct layout *l, const struct die *d)
{
        double radius_um = l->diameter_mm * 500;
        struct spot s = {d->x_um / radius_um, d->y_um / radius_um, 0};
        s.r2 = s.x * s.x + s.y * s.y;
        return s;
}

static const struct nominal_device *nominal(const struct scenario *s, const char *name)
{
        for (size_t i = 0; i < s->device_n; i++)
                if (strcmp(s->devices[i].name, name) == 0)
                        return &s->devices[i];
        return NULL;
}

/* Really broken: by the scenario's list, else by chance.  Dummies and ladders are sound. */
/* Dummies and ladders are what their kind says. */
static bool needs_design(int32_t kind)
{
        return kind == DEVICE_INDUCTOR || kind == DEVICE_CAPACITOR || kind == DEVICE_RESISTOR || kind == DEVICE_LINE ||
               kind == DEVICE_TRANSISTOR;
}

static void defect_draw(const struct scenario *s, struct sim_device *d, const char *name)
{
        static const enum defect_kind kinds[] = {DEFECT_PARTIAL_VIA, DEFECT_SHORT, DEFECT_OPEN};
        d->defect = DEFECT_NONE;
        for (size_t i = 0; i < s->defect_n; i++) {
                const struct defect *x = &s->defects[i];
                if (x->die_x == d->die_x && x->die_y == d->die_y && strcmp(x->device, name) == 0) {
                        d->defect = x->what;
                        d->defect_ohm = x->ohm;
                        return;
                }
        }
        struct draws r = draws_of((uint64_t)s->seed, DRAW_DEFECT, d->die_x, d->die_y, draw_key(name), 0);
        bool dummy = !needs_design(d->kind);
        if (!draw_chance(&r, s->process.defect_rate) || dummy)
                return;
        d->defect = kinds[draw_bits(&r) % 3];
        d->defect_ohm = d->defect == DEFECT_SHORT ? draw_between(&r, 0.2, 1) : draw_between(&r, 3, 20);
        if (d->defect == DEFECT_OPEN && d->kind != DEVICE_CAPACITOR)
                d->defect = DEFECT_PARTIAL_VIA; /* a broken line looks like a missing tip at DC; leave that to the list above */
}

static void device_draw(const struct sim_wafer *w, const struct die *die, size_t device_i, const struct nominal_device *n,
                        struct sim_device *ret)
{
        const struct scenario *s = w->scenario;
        const struct device *at = &w->layout->devices[device_i];
        struct spot spot = spot_of(w->layout, die);
        struct draws of_die = draws_of((uint64_t)s->seed, DRAW_DIE, die->x, die->y, 0, 0);
        struct draws own = draws_of((uint64_t)s->seed, DRAW_DEVICE, die->x, die->y, draw_key(at->name), 0);
        double sheet = (1 + s->process.sheet_radial * spot.r2) * (1 + s->process.sheet_die * draw_normal_within(&of_die, 4)) *
                       (1 + s->process.sheet_device * draw_normal_within(&own, 4));
        double mim = (1 + s->process.mim_gradient * spot.x) * (1 + s->process.mim_die * draw_normal_within(&of_die, 4)) *
                     (1 + s->process.mim_device * draw_normal_within(&own, 4));
        double metal = (1 + s->process.metal_radial * spot.r2) * (1 + s->process.metal_device * draw_normal_within(&own, 4));
        double geometry = (1 + s->process.geometry_die * draw_normal_within(&of_die, 4)) *
                          (1 + s->process.geometry_device * draw_normal_within(&own, 4));
        double substrate = 1 + s->process.substrate_gradient * spot.y;
        struct sim_device d = {.die_x = die->x, .die_y = die->y, .kind = at->kind, .length_m = at->length_um * 1e-6};
        memcpy(d.name, at->name, sizeof d.name);
        if (n) {
                bool film = at->kind == DEVICE_RESISTOR;
                d.r_ohm = n->r_ohm * (film ? sheet : metal);
                d.l_h = n->l_h * geometry;
                d.c_f = n->c_f * mim;
                d.cp_f = n->cp_f * geometry;
                d.skin_hz = n->skin_hz * metal;
                d.tan_delta = n->tan_delta;
                d.cox_f = n->cox_f * (1 + 0.5 * (mim - 1));
                d.rsub_ohm = n->rsub_ohm * substrate;
                d.csub_f = n->csub_f;
                d.vc1 = n->vc1;
                d.vc2 = n->vc2;
                d.gm_s = n->gm_s * geometry;
                d.ri_ohm = n->ri_ohm * metal;
                d.tau_s = n->tau_s;
                d.rd_ohm = n->rd_ohm * metal;
                d.ld_h = n->ld_h * geometry;
                d.rs_ohm = n->rs_ohm * metal;
                d.ls_h = n->ls_h * geometry;
                d.vth_v = n->vth_v;
                d.k_s_v = n->k_s_v * geometry;
                d.beta = n->beta * geometry;
                d.beta_r = n->beta_r;
                d.is_a = n->is_a * geometry;
                d.tf_s = n->tf_s;
                d.tr_s = n->tr_s;
                d.early_v = n->early_v;
                d.cx_f = n->cx_f * mim;
        }
        if (at->kind == DEVICE_LADDER) {
                ladder_design_ohm(w->layout, w->dies, w->die_n, die->x, die->y, &d.r_ohm, &d.r2_ohm);
                d.r_ohm *= sheet * (1 + s->process.ladder_match * draw_normal_within(&own, 3));
                d.r2_ohm *= sheet * (1 + s->process.ladder_match * draw_normal_within(&own, 3));
        }
        defect_draw(s, &d, at->name);
        *ret = d;
}

static enum code check_designs(const struct scenario *s, const struct layout *l, struct tp_error *err)
{
        for (size_t k = 0; k < l->device_n; k++) {
                const struct device *at = &l->devices[k];
                const struct nominal_device *n = nominal(s, at->name);
                if (!needs_design(at->kind))
                        continue;
                if (!n)
                        return tp_fail_at(err, CODE_BAD_INPUT, "/devices",
                                          "the layout has a device %s, the scenario says nothing of it; add its design", at->name);
                if (at->kind == DEVICE_LINE && !(at->length_um > 0 && n->l_h > 0 && n->c_f > 0))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/devices",
                                          "line %s: length_um in the layout, l_h and c_f per metre here must be positive", at->name);
                if (at->kind == DEVICE_CAPACITOR && !(n->c_f > 0))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/devices", "capacitor %s: c_f must be positive", at->name);
                if ((at->kind == DEVICE_INDUCTOR || at->kind == DEVICE_RESISTOR) && !(n->r_ohm > 0))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/devices", "%s: r_ohm must be positive", at->name);
                if (at->kind == DEVICE_TRANSISTOR && n->beta > 0) {
                        if (n->gm_s > 0 || n->k_s_v > 0)
                                return tp_fail_at(err, CODE_BAD_INPUT, "/devices",
                                                  "transistor %s: beta makes it bipolar, whose gm follows from its current; leave gm_s and "
                                                  "k_s_v out",
                                                  at->name);
                        if (!(n->c_f > 0 && n->cp_f > 0 && n->r_ohm > 0))
                                return tp_fail_at(err, CODE_BAD_INPUT, "/devices",
                                                  "bipolar transistor %s: c_f, cp_f and r_ohm must be positive", at->name);
                        continue;
                }
                if (at->kind == DEVICE_TRANSISTOR && !(n->gm_s > 0 && n->c_f > 0 && n->r_ohm > 0 && n->rsub_ohm > 0))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/devices", "transistor %s: gm_s, c_f, r_ohm and rsub_ohm must be positive",
                                          at->name);
        }
        return CODE_OK;
}

enum code wafer_make(const struct scenario *s, const struct layout *layout, struct arena *arena, struct sim_wafer *ret,
                     struct tp_error *err)
{
        struct sim_wafer w = {.scenario = s, .layout = layout};
        enum code code = check_designs(s, layout, err);
        if (!code)
                code = layout_dies(layout, arena, &w.dies, &w.die_n, err);
        if (code)
                return code;
        w.devices = arena_take(arena, w.die_n * layout->device_n * sizeof *w.devices);
        if (!w.devices)
                return tp_fail_memory(err);
        for (size_t i = 0; i < w.die_n; i++)
                for (size_t k = 0; k < layout->device_n; k++)
                        device_draw(&w, &w.dies[i], k, nominal(s, layout->devices[k].name), &w.devices[i * layout->device_n + k]);
        *ret = w;
        return CODE_OK;
}

int wafer_under(const struct sim_wafer *w, double x_um, double y_um)
{
        double half_x = w->layout->pitch_x_um / 2, half_y = w->layout->pitch_y_um / 2, near = w->scenario->stage.tolerance_um;
        for (size_t i = 0; i < w->die_n; i++) {
                double dx = x_um - w->dies[i].x_um, dy = y_um - w->dies[i].y_um;
                if (!(fabs(dx) <= half_x && fabs(dy) <= half_y))
                        continue;
                for (size_t k = 0; k < w->layout->device_n; k++)
                        if (fabs(dx - w->layout->devices[k].x_um) <= near && fabs(dy - w->layout->devices[k].y_um) <= near)
                                return (int)(i * w->layout->device_n + k);
        }
        return -1;
}

struct sim_pads wafer_pads(const struct sim_wafer *w, int device)
{
        const struct scenario *s = w->scenario;
        const struct sim_device *d = &w->devices[device];
        const struct die *die = &w->dies[(size_t)device / w->layout->device_n];
        struct spot spot = spot_of(w->layout, die);
        struct draws of_die = draws_of((uint64_t)s->seed, DRAW_PADS, die->x, die->y, 0, 0);
        struct draws own = draws_of((uint64_t)s->seed, DRAW_PADS, die->x, die->y, draw_key(d->name), 1);
        double c_f = s->pads.c_f * (1 + s->pads.gradient * spot.r2) * (1 + s->pads.die_scatter * draw_normal_within(&of_die, 4));
        double l_h = s->pads.l_h * (1 + s->pads.die_scatter * 0.3 * draw_normal_within(&of_die, 4));
        double r_ohm = s->pads.r_ohm * (1 + s->process.metal_radial * spot.r2);
        struct sim_pads p = {.loss_ohm = s->pads.loss_ohm, .sections = s->pads.sections, .coupling_f = s->pads.coupling_f};
        for (int i = 0; i < 2; i++) {
                double all = c_f * (1 + s->pads.scatter * draw_normal_within(&own, 3.5));
                p.c_f[i] = all * (1 - s->pads.feed_share);
                p.feed_c_f[i] = all * s->pads.feed_share;
                p.l_h[i] = l_h * (1 + s->pads.scatter * draw_normal_within(&own, 3.5));
                p.r_ohm[i] = r_ohm * (1 + s->pads.scatter * draw_normal_within(&own, 3.5));
        }
        return p;
}

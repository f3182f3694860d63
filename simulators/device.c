/* device.c: the true networks of the wafer's devices; see device.h. */
#include "simulators/device.h"
#include <math.h>

#define TWO_PI 6.283185307179586476925286766559
#define SHORT_OHM 1e-6        /* the short dummy's own resistance: none that a probe could see */
#define OPEN_DEFECT_F 0.5e-15 /* what still couples across a gap in the metal */

const char *const defect_words[] = {"unknown", "none", "short", "open", "partial_via", NULL};

#define REAL(key_, member_, unit_, say_)                                                                                    \
        {                                                                                                                   \
                .key = key_, .type = FIELD_REAL, .offset = offsetof(struct sim_device, member_), .unit = unit_, .say = say_ \
        }
static const struct field device_fields[] = {
        {.key = "device",
         .type = FIELD_NAME,
         .offset = offsetof(struct sim_device, name),
         .size = 32,
         .required = true,
         .say = "name in the layout"},
        {.key = "die_x", .type = FIELD_I32, .offset = offsetof(struct sim_device, die_x), .say = "column of the die"},
        {.key = "die_y", .type = FIELD_I32, .offset = offsetof(struct sim_device, die_y), .say = "row of the die"},
        {.key = "kind",
         .type = FIELD_CHOICE,
         .offset = offsetof(struct sim_device, kind),
         .words = device_kind_words,
         .say = "kind of device"},
        REAL("r_ohm", r_ohm, "ohm", "series resistance; of a line per metre; of a ladder at port 1"),
        REAL("l_h", l_h, "H", "series inductance; of a line per metre"),
        REAL("c_f", c_f, "F", "capacitance; of a line per metre"),
        REAL("r2_ohm", r2_ohm, "ohm", "a ladder's resistor at port 2"),
        REAL("cp_f", cp_f, "F", "capacitance across an inductor or resistor"),
        REAL("skin_hz", skin_hz, "Hz", "where the skin effect begins; 0: none"),
        REAL("tan_delta", tan_delta, "1", "loss tangent of a capacitor's or line's dielectric"),
        REAL("cox_f", cox_f, "F", "oxide capacitance to the substrate"),
        REAL("rsub_ohm", rsub_ohm, "ohm", "substrate resistance behind it"),
        REAL("csub_f", csub_f, "F", "substrate capacitance beside that"),
        REAL("vc1", vc1, "1/V", "linear voltage coefficient of a capacitor"),
        REAL("vc2", vc2, "1/V^2", "quadratic voltage coefficient of a capacitor"),
        REAL("gm_s", gm_s, "S", "transconductance of a transistor"),
        REAL("ri_ohm", ri_ohm, "ohm", "in series with a transistor's Cgs; a bipolar's inner base resistance"),
        REAL("tau_s", tau_s, "s", "delay of its transconductance"),
        REAL("rd_ohm", rd_ohm, "ohm", "resistance of its drain's or collector's lead"),
        REAL("ld_h", ld_h, "H", "inductance of its drain's or collector's lead"),
        REAL("rs_ohm", rs_ohm, "ohm", "resistance of its source's or emitter's lead"),
        REAL("ls_h", ls_h, "H", "inductance of its source's or emitter's lead"),
        REAL("vth_v", vth_v, "V", "its threshold"),
        REAL("k_s_v", k_s_v, "S/V", "conductance of its channel per volt above the threshold; 0: biased as designed"),
        REAL("beta", beta, "1", "current gain of a bipolar transistor; 0: it is none"),
        REAL("beta_r", beta_r, "1", "its reverse current gain"),
        REAL("is_a", is_a, "A", "its saturation current"),
        REAL("tf_s", tf_s, "s", "its forward transit time"),
        REAL("tr_s", tr_s, "s", "its reverse transit time"),
        REAL("early_v", early_v, "V", "its Early voltage; 0: no output conductance"),
        REAL("cx_f", cx_f, "F", "capacitance of its outer base-collector junction, in front of ri_ohm"),
        REAL("length_m", length_m, "m", "length of a line"),
        {.key = "defect",
         .type = FIELD_CHOICE,
         .offset = offsetof(struct sim_device, defect),
         .words = defect_words,
         .standard = DEFECT_NONE,
         .say = "what is broken"},
        REAL("defect_ohm", defect_ohm, "ohm", "resistance of the short or of the partial via"),
};
const struct object sim_device_object = {.name = "true_device",
                                         .say = "One device as it truly is, between the inner edges of its pads.",
                                         .bytes = sizeof(struct sim_device),
                                         .fields = device_fields,
                                         .field_n = sizeof device_fields / sizeof device_fields[0]};

static double complex skin(double r_ohm, double skin_hz, double hz) { return skin_hz > 0 ? r_ohm * csqrt(1 + I * (hz / skin_hz)) : r_ohm; }

/* Oxide in series with the substrate's resistance beside its capacitance. */
static double complex to_substrate(const struct sim_device *d, double w)
{
        if (!(d->cox_f > 0))
                return 0;
        double complex inner = d->rsub_ohm > 0 ? 1 / (1 / d->rsub_ohm + I * w * d->csub_f) : 0;
        return 1 / (1 / (I * w * d->cox_f) + inner);
}

static struct y2 between(double complex y)
{
        struct y2 r = {y, -y, -y, y};
        return r;
}

static struct y2 sound_y(const struct sim_device *d, double hz, const struct sim_bias *bias)
{
        double volt = bias->volt[0] - bias->volt[1], w = TWO_PI * hz, c_f = d->c_f * (1 + d->vc1 * volt + d->vc2 * volt * volt);
        double complex side;
        struct y2 none = {0, 0, 0, 0};
        switch ((enum device_kind)d->kind) {
        case DEVICE_INDUCTOR:
                side = to_substrate(d, w);
                return y2_shunt(between(1 / (skin(d->r_ohm, d->skin_hz, hz) + I * w * d->l_h) + I * w * d->cp_f), side, side);
        case DEVICE_CAPACITOR:
                side = to_substrate(d, w);
                return y2_shunt(between(1 / (d->r_ohm + I * w * d->l_h + 1 / (I * w * c_f * (1 - I * d->tan_delta)))), side, side);
        case DEVICE_RESISTOR:
                side = to_substrate(d, w);
                return y2_shunt(between(1 / (I * w * d->l_h + 1 / (1 / d->r_ohm + I * w * d->cp_f))), side, side);
        case DEVICE_LINE:
                return y2_line((skin(d->r_ohm, d->skin_hz, hz) + I * w * d->l_h) * d->length_m,
                               I * w * d->c_f * (1 - I * d->tan_delta) * d->length_m);
        case DEVICE_SHORT:
                return y2_shunt(none, 1 / SHORT_OHM, 1 / SHORT_OHM);
        case DEVICE_LADDER:
                return y2_shunt(none, 1 / d->r_ohm, 1 / d->r2_ohm);
        case DEVICE_THRU:
                return between(1 / SHORT_OHM);
        case DEVICE_SHORT_LEFT:
                return y2_shunt(none, 1 / SHORT_OHM, 0);
        case DEVICE_SHORT_RIGHT:
                return y2_shunt(none, 0, 1 / SHORT_OHM);
        case DEVICE_TRANSISTOR:
                return transistor_y(d, hz, bias);
        case DEVICE_PAD:
        case DEVICE_OPEN:
        case DEVICE_UNKNOWN:
        case DEVICE_KIND_COUNT:
                break;
        }
        return none;
}

struct y2 device_biased_y(const struct sim_device *d, double hz, const struct sim_bias *bias)
{
        struct y2 y = sound_y(d, hz, bias);
        switch ((enum defect_kind)d->defect) {
        case DEFECT_SHORT:
                return y2_bridge(y, 1 / d->defect_ohm);
        case DEFECT_OPEN:
                return y2_series(y, 1 / (I * TWO_PI * hz * OPEN_DEFECT_F), 0);
        case DEFECT_PARTIAL_VIA:
                return y2_series(y, d->defect_ohm, 0);
        case DEFECT_UNKNOWN:
        case DEFECT_NONE:
                break;
        }
        return y;
}

void device_dc_ohm(const struct sim_device *d, double *ret_series, double *ret_ground1, double *ret_ground2)
{
        double series = HUGE_VAL, ground1 = HUGE_VAL, ground2 = HUGE_VAL;
        switch ((enum device_kind)d->kind) {
        case DEVICE_INDUCTOR:
        case DEVICE_RESISTOR:
                series = d->r_ohm;
                break;
        case DEVICE_LINE:
                series = d->r_ohm * d->length_m;
                break;
        case DEVICE_SHORT:
                ground1 = ground2 = SHORT_OHM;
                break;
        case DEVICE_LADDER:
                ground1 = d->r_ohm;
                ground2 = d->r2_ohm;
                break;
        case DEVICE_THRU:
                series = SHORT_OHM;
                break;
        case DEVICE_SHORT_LEFT:
                ground1 = SHORT_OHM;
                break;
        case DEVICE_SHORT_RIGHT:
                ground2 = SHORT_OHM;
                break;
        case DEVICE_TRANSISTOR:
        case DEVICE_PAD:
        case DEVICE_CAPACITOR:
        case DEVICE_OPEN:
        case DEVICE_UNKNOWN:
        case DEVICE_KIND_COUNT:
                break;
        }
        if (d->defect == DEFECT_SHORT)
                series = isinf(series) ? d->defect_ohm : series * d->defect_ohm / (series + d->defect_ohm);
        if (d->defect == DEFECT_OPEN)
                series = ground1 = HUGE_VAL;
        if (d->defect == DEFECT_PARTIAL_VIA) {
                series += d->defect_ohm;
                ground1 += d->defect_ohm;
        }
        *ret_series = series;
        *ret_ground1 = ground1;
        *ret_ground2 = ground2;
}

struct y2 pads_around(const struct sim_pads *p, struct y2 y, double hz)
{
        double w = TWO_PI * hz, n = (double)p->sections;
        double complex pad[2];
        for (int k = 0; k < p->sections; k++) { /* each piece of the feed: half its capacitance, its inductance, the other half */
                double complex half1 = 0.5 * I * w * p->feed_c_f[0] / n, half2 = 0.5 * I * w * p->feed_c_f[1] / n;
                y = y2_shunt(y, half1, half2);
                y = y2_series(y, (p->r_ohm[0] + I * w * p->l_h[0]) / n, (p->r_ohm[1] + I * w * p->l_h[1]) / n);
                y = y2_shunt(y, half1, half2);
        }
        for (int i = 0; i < 2; i++)
                pad[i] = p->c_f[i] > 0 ? 1 / (p->loss_ohm + 1 / (I * w * p->c_f[i])) : 0;
        return y2_bridge(y2_shunt(y, pad[0], pad[1]), I * w * p->coupling_f);
}

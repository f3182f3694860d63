/* causes_dummies.c: how far a device's own pads and leads may differ from the dummies', what the de-embedding's model leaves out, and what
   lies between two points (causes_own.h). */
#include "evaluate/causes_own.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

/* The same where no open tells of the pads alone: each dummy is drawn symmetric, and what it shows to the two ports differs by as much. */
static void symmetry_causes(const struct slope *k)
{
        for (int p = 1; p < PART_COUNT; p++) {
                if (!k->a->ch->raw[p])
                        continue;
                double complex d = k->at->s[p].e[0] - k->at->s[p].e[3];
                cause_add(k->to, "dummies", slope_value(k, slope_weigh(k, p, m2_diag(d, 0))), 1);
                cause_add(k->to, "dummies", slope_value(k, slope_weigh(k, p, m2_diag(0, d))), 1);
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
                bool is_other = o < ch->q->open_n && o < 8;
                const struct raw_sweep *raw = is_other ? ch->q->opens[o] : ch->raw[PART_OPEN];
                const struct calibration *of = is_other && ch->q->open_calibrations[o] ? ch->q->open_calibrations[o]
                                               : is_other                              ? ch->cal
                                                                                       : ch->of[PART_OPEN];
                if (raw->n != ch->axis.n)
                        continue;
                to->d[to->n] = pads_differ(rf_y_from_s(tip_point(of, raw, j, k->i), ch->z));
                sum += to->d[to->n++];
        }
        to->nu = to->n < 3 ? (double)to->n : (double)(to->n - 1);
        for (size_t o = 0; o < to->n && to->n >= 3; o++)
                to->d[o] -= sum / (double)to->n;
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->measure->sweep);
        for (int port = 0; port < 2; port++) {
                pads_moved(to, s, move_series(s, port, setup->contact_ohm_u, ch->z), ch->z);
                pads_moved(to, s, move_series(s, port, CMPLX(0, k->w * setup->contact_h_u), ch->z), ch->z);
                shift[port] = cause_tip_moved(k, s, port, setup->placement_um_u);
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

void causes_of_dummies(const struct slope *k, size_t j)
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
                double complex per_y = slope_weigh(
                        k, PART_OPEN, m2_scale(-ch->z / 2, m2_mul(half, m2_mul(port == 0 ? m2_diag(1, 0) : m2_diag(0, 1), half))));
                double seen = 0, other = 0;
                for (size_t o = 0; o < pads.n; o++)
                        seen += pow(slope_value(k, per_y * pads.d[o]), 2) / pads.nu;
                for (size_t m = 0; m < pads.more_n; m++)
                        other += pow(slope_value(k, per_y * pads.more[m]), 2);
                /* The difference of two variances of which one is counted on few dies: known the worse, the less is left. */
                double left = fmax(LEFT_LEAST, 1 - other / seen);
                if (seen > 0)
                        cause_add(k->to, "dummies", copysign(sqrt(left * seen), slope_value(k, per_y * CMPLX(0, 1))),
                                  fmax(1, pads.nu * left * left)); /* signed as a capacitance would move it: it moves several numbers */
        }
        if (!ch->raw[PART_SHORT])
                return;
        struct m2 lead = m2_inv(m2_sub(rf_y_from_s(k->at->s[PART_SHORT], ch->z), rf_y_from_s(k->at->s[PART_OPEN], ch->z)));
        for (int port = 0; port < 2; port++) {
                struct m2 moved = move_series(k->at->s[PART_SHORT], port, pads.relative * lead.e[3 * port], ch->z);
                cause_add(k->to, "dummies", slope_value(k, slope_weigh(k, PART_SHORT, moved)), pads.nu);
        }
}

/* Open-short takes all shunt capacitance outside the leads; half of what the leads have themselves lies inside (a short line is its L
   between two halves of its C).  A lead is a piece of line of 50 ohm or more, so its capacitance is at most L/50^2: half of that share of
   the way from open-short to short-open (all of the capacitance inside) bounds the error. */
void cause_of_model(const struct slope *k, size_t j)
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
        case RF_DEEMBED_TWO_X_THRU: { /* where the gate closes is a choice within one cell of time */
                double complex by = CMPLX(other.later_re[j] - other.half_re[j], other.later_im[j] - other.half_im[j]);
                cause_add_rectangular(k->to, "gate", slope_value(k, k->d[RF_DUMMY_HALF][0] * by) / sqrt(3));
                return;
        }
        case RF_DEEMBED_OPEN:
        case RF_DEEMBED_SHORT:
        case RF_DEEMBED_PAD_OPEN_SHORT:
        case RF_DEEMBED_THREE_STEP:
        case RF_DEEMBED_L_2L:
        case RF_DEEMBED_UNKNOWN:
        case RF_DEEMBED_COUNT:
                return;
        }
        if (k->a->ch->method != RF_DEEMBED_OPEN_SHORT) {
                cause_add_rectangular(k->to, "pads' model", slope_value(k, asked_z(&a, k->at) - k->z) / sqrt(3));
                return;
        }
        struct m2 yo = rf_y_from_s(k->at->s[PART_OPEN], k->a->ch->z),
                  lead = m2_inv(m2_sub(rf_y_from_s(k->at->s[PART_SHORT], k->a->ch->z), yo));
        double share = 0;
        for (int port = 0; port < 2; port++) {
                double l_h = fmax(0, cimag(lead.e[3 * port])) / k->w, c_f = fabs(cimag(yo.e[3 * port])) / k->w;
                share = fmax(share, c_f > 0 ? fmin(1, l_h / (LEAD_OHM * LEAD_OHM) / c_f / 2) : 1);
        }
        cause_add_rectangular(k->to, "pads' model", share * slope_value(k, asked_z(&a, k->at) - k->z) / sqrt(3));
}

/* Between points that lie far apart, the polynomial itself is a guess: what the three nearest points say instead counts as its standard
 * uncertainty. */
void cause_of_interpolation(const struct slope *k, size_t j)
{
        const struct axis *axis = &k->a->ch->axis;
        if (axis->n < 5 || fabs(axis->hz[j] / k->hz - 1) < 1e-12)
                return;
        size_t from = j < 1 ? 0 : j + 2 > axis->n ? axis->n - 3 : j - 1, first, n;
        struct axis three = {.n = 3, .hz = axis->hz + from};
        double w[5];
        if (!(three.hz[2] > 1.12 * three.hz[0]) || rf_interpolation(&three, k->hz, &first, &n, w, NULL))
                return;
        struct trio other = {.hz = k->hz};
        for (size_t m = 0; m < n; m++) {
                struct trio one = chain_point(k->a->ch, from + first + m);
                for (int p = 0; p < PART_COUNT; p++)
                        if (k->a->ch->raw[p])
                                other.s[p] = m2_add(other.s[p], m2_scale(w[m], one.s[p]));
        }
        cause_add(k->to, CAUSE_INTERPOLATION, slope_value(k, asked_z(k->a, &other) - k->z), INFINITY);
}

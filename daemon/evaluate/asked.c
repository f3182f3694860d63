/* asked.c: one number out of device, open and short.
 * Definitions A device between two ports is read as its series branch, Z = -2/(Y12 + Y21) (what lies between the ports, without what goes
 * to ground): L = Im Z/w   R = Re Z   C = -1/(w Im Z)   Q = Im Z/Re Z, of a capacitor -Im Z/Re Z. A device with each port to ground
 * (contact family 3) is read at port 1, Z = 1/Y11. SRF is the first zero of the branch's susceptance (srf.c).  A line: cosh(gl) = (A +
 * D)/2, Zc = sqrt(B/C) of its ABCD; eps_eff = -Re (gamma c/w)^2, loss = Re gamma. Line        In the line's own impedance, whose ohms
 * nobody knows, gl = -ln sqrt(S21 S12). Branch      ln is many-valued: gl is the value nearest to `near`, which is followed up from a
 * frequency where the line is shorter than a quarter turn. */
#include "evaluate/chain.h"
#include "rf/convert.h"
#include <math.h>

/* (A^-1 - B^-1)^-1 = A (B - A)^-1 B: what stays of A when the impedances of B are taken out of it, without inverting A. */
static struct m2 without(struct m2 a, struct m2 b) { return m2_mul(a, m2_mul(m2_inv(m2_sub(b, a)), b)); }

/* Y of the device.  A device that floats between its ports has a singular Y, so its Z does not exist and the textbook form (Ym - Yo)^-1 -
 * (Ys - Yo)^-1 has no digits left. */
static struct m2 deembedded_y(const struct chain *ch, const struct trio *t)
{
        struct m2 m = rf_y_from_s(t->s[PART_DEVICE], ch->z), o, s;
        if (ch->method == RF_DEEMBED_UNKNOWN)
                return m;
        o = rf_y_from_s(t->s[PART_OPEN], ch->z);
        if (ch->method == RF_DEEMBED_OPEN)
                return m2_sub(m, o);
        s = rf_y_from_s(t->s[PART_SHORT], ch->z);
        if (ch->method == RF_DEEMBED_SHORT_OPEN)
                return m2_sub(without(m, s), without(o, s));
        return without(m2_sub(m, o), m2_sub(s, o));
}

struct m2 chain_deembed(const struct chain *ch, const struct trio *t)
{
        if (ch->method == RF_DEEMBED_UNKNOWN)
                return t->s[PART_DEVICE];
        return rf_s_from_y(deembedded_y(ch, t), ch->z);
}

static double complex line_gl(const struct asked *a, struct m2 s)
{
        double complex e;
        if (a->ch->line_reference) {
                e = csqrt(1 / (s.e[1] * s.e[2]));
                if (creal(e * conj(cexp(a->near))) < 0)
                        e = -e;
        } else {
                struct m2 abcd = rf_abcd_from_s(s, a->ch->z);
                double complex c = (abcd.e[0] + abcd.e[3]) / 2, sh = csqrt(abcd.e[1] * abcd.e[2]), want = cexp(a->near);
                e = cabs(c + sh - want) <= cabs(c - sh - want) ? c + sh : c - sh;
        }
        double complex gl = clog(e);
        return gl + CMPLX(0, RF_TWO_PI * round((cimag(a->near) - cimag(gl)) / RF_TWO_PI));
}

double complex asked_z(const struct asked *a, const struct trio *t)
{
        if (a->quantity <= QUANTITY_SRF) { /* of the branch: from Y, which exists for every device */
                struct m2 y = deembedded_y(a->ch, t);
                return a->view == VIEW_SINGLE ? 1 / y.e[0] : -2 / (y.e[1] + y.e[2]);
        }
        struct m2 s = chain_deembed(a->ch, t);
        switch ((enum quantity_kind)a->quantity) {
        case QUANTITY_L:
        case QUANTITY_Q:
        case QUANTITY_C:
        case QUANTITY_R:
        case QUANTITY_SRF:
        case QUANTITY_UNKNOWN:
        case QUANTITY_COUNT:
                break;
        case QUANTITY_EPS_EFF:
        case QUANTITY_LOSS:
                return line_gl(a, s);
        case QUANTITY_ZC_RE: {
                struct m2 abcd = rf_abcd_from_s(s, a->ch->z);
                double complex zc = csqrt(abcd.e[1] / abcd.e[2]);
                return creal(zc) < 0 ? -zc : zc;
        }
        case QUANTITY_S21_DB:
                return s.e[2];
        }
        return CMPLX(NAN, NAN);
}

double asked_value(const struct asked *a, double complex z)
{
        double w = RF_TWO_PI * a->hz;
        switch ((enum quantity_kind)a->quantity) {
        case QUANTITY_L:
                return cimag(z) / w;
        case QUANTITY_Q:
                return (a->ch->device_kind == DEVICE_CAPACITOR ? -1 : 1) * cimag(z) / creal(z);
        case QUANTITY_C:
                return -1 / (w * cimag(z));
        case QUANTITY_R:
                return creal(z);
        case QUANTITY_SRF:
                return cimag(1 / z);
        case QUANTITY_EPS_EFF: {
                double complex k = z / a->ch->line_m * RF_C0_M_S / w;
                return -creal(k * k);
        }
        case QUANTITY_LOSS:
                return RF_DB_PER_NEPER * creal(z) / a->ch->line_m / 1000;
        case QUANTITY_ZC_RE:
                return creal(z);
        case QUANTITY_S21_DB:
                return 20 * log10(cabs(z));
        case QUANTITY_UNKNOWN:
        case QUANTITY_COUNT:
                break;
        }
        return NAN;
}

double asked_bend(const struct asked *a, double complex z, double u95)
{
        double h = 1e-6 * cabs(z), value = asked_value(a, z);
        double re = (asked_value(a, z + h) - asked_value(a, z - h)) / (2 * h),
               im = (asked_value(a, z + CMPLX(0, h)) - asked_value(a, z - CMPLX(0, h))) / (2 * h);
        double complex step = u95 / (re * re + im * im) * CMPLX(re, im);
        double bent = fmax(fabs(asked_value(a, z + step) - value), fabs(asked_value(a, z - step) - value));
        /* On the far side of a pole the number has turned its sign: nothing is known of it. */
        bool turned = a->quantity == QUANTITY_Q && (asked_value(a, z + step) * value < 0 || asked_value(a, z - step) * value < 0);
        return turned ? INFINITY : fmax(bent, u95);
}

enum code asked_branch(struct asked *a, struct tp_error *err)
{
        a->near = 0;
        if (a->quantity != QUANTITY_EPS_EFF && a->quantity != QUANTITY_LOSS && a->quantity != QUANTITY_ZC_RE)
                return CODE_OK;
        const struct chain *ch = a->ch;
        if (!(ch->line_m != 0))
                return tp_fail(err, CODE_BAD_INPUT, "device %s has no length between the planes (length_um); a line's parameters need one",
                               ch->q->measure->device);
        if (ch->line_reference && a->quantity == QUANTITY_ZC_RE)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "the reference is the line's own impedance; give calibration.line_capacitance_f_m to have ohms");
        double guess = ch->q->recipe->calibration.eps_eff > 1 ? ch->q->recipe->calibration.eps_eff : 5;
        double quarter_hz =
                RF_C0_M_S / (4 * fabs(ch->line_m) * sqrt(4 * guess)); /* a quarter turn even if the guess is four times too small */
        double hz = fmin(a->hz, fmax(quarter_hz, ch->axis.hz[0]));
        struct asked step = *a;
        step.near = CMPLX(0, RF_TWO_PI * hz * ch->line_m * sqrt(guess) / RF_C0_M_S);
        for (;;) {
                size_t j;
                double gain;
                struct trio t;
                enum code code = chain_between(ch, hz, &t, &j, &gain, err);
                if (code)
                        return code;
                step.quantity = QUANTITY_EPS_EFF;
                step.hz = hz;
                double complex gl = asked_z(&step, &t);
                if (!isfinite(creal(gl)) || !isfinite(cimag(gl)))
                        return tp_fail(err, CODE_UNRESOLVABLE, "the line does not transmit at %.4g GHz", hz / 1e9);
                if (hz >= a->hz) {
                        a->near = gl;
                        return CODE_OK;
                }
                double next = fmin(a->hz, 1.4 * hz); /* dispersion over this ratio is far from half a turn */
                step.near = CMPLX(creal(gl), cimag(gl) * next / hz);
                hz = next;
        }
}

/* asked.c: one number out of device, open and short.
 * Definitions A device between two ports is read as its series branch, Z = -2/(Y12 + Y21) (what lies between the ports, without what goes
 * to ground): L = Im Z/w   R = Re Z   C = -1/(w Im Z)   Q = Im Z/Re Z, of a capacitor -Im Z/Re Z. A device with each port to ground
 * (contact family 3) is read at port 1, Z = 1/Y11. SRF is the first zero of the branch's susceptance (srf.c).  A line: cosh(gl) = (A +
 * D)/2, Zc = sqrt(B/C) of its ABCD; eps_eff = -Re (gamma c/w)^2, loss = Re gamma. Line        In the line's own impedance, whose ohms
 * nobody knows, gl = -ln sqrt(S21 S12). Branch      ln is many-valued: gl is the value nearest to `near`, which is followed up from a
 * frequency where the line is shorter than a quarter turn. */
#include "evaluate/chain.h"
#include "rf/network/convert.h"
#include "rf/numbers/probability.h"
#include <math.h>

static struct m2 deembedded_y(const struct chain *ch, const struct trio *t)
{
        struct m2 y =
                ch->method == RF_DEEMBED_UNKNOWN ? rf_y_from_s(t->s[PART_DEVICE], ch->z) : rf_deembed_y_point(ch->method, t->s, ch->z);
        return ch->around ? rf_extrinsic_remove_y(ch->around, y, t->hz) : y;
}

double chain_read_size(const struct chain *ch, size_t i, struct m2 s, int e)
{
        const struct terms *t = &ch->cal->terms;
        double size = cabs(s.e[e]);
        if (e == 1 || e == 2 || (t->model != TERMS_EIGHT && t->model != TERMS_TWELVE))
                return size;
        enum term tracking = e == 0 ? TERM_ERF : TERM_ERR;
        double seen = cabs(rf_embed2_point(t, i, s).e[e]) / hypot(t->re[tracking][i], t->im[tracking][i]);
        return isfinite(seen) ? seen : size;
}

struct m2 chain_deembed(const struct chain *ch, const struct trio *t)
{
        if (ch->around)
                return rf_s_from_y(deembedded_y(ch, t), ch->z);
        if (ch->method == RF_DEEMBED_UNKNOWN)
                return t->s[PART_DEVICE];
        return rf_deembed_point(ch->method, t->s, ch->z);
}

double asked_number(const struct asked *a, struct m2 device, double complex ret_grad[4])
{
        struct rf_at at = {.hz = a->hz, .z_ref = a->ch->z, .length_m = a->ch->line_m, .near = a->near};
        return rf_quantity_at(a->rf, device, &at, ret_grad);
}

double complex asked_near(const struct asked *a, double hz) { return CMPLX(creal(a->near), cimag(a->near) * hz / a->hz); }

enum rf_share asked_share(const struct asked *a)
{
        return a->rf ? rf_quantities[a->rf].share : a->quantity == QUANTITY_S21_DB ? RF_SHARE_DB20 : RF_SHARE_VALUE;
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
        if (a->rf)
                return asked_number(a, chain_deembed(a->ch, t), NULL);
        if (a->quantity <= QUANTITY_SRF) { /* of the branch: from Y, which exists for every device */
                struct m2 y = deembedded_y(a->ch, t);
                return a->view == VIEW_SINGLE         ? 1 / y.e[0]
                       : a->view == VIEW_DIFFERENTIAL ? rf_z_differential_from_y(y)
                                                      : -2 / (y.e[1] + y.e[2]);
        }
        struct m2 s = chain_deembed(a->ch, t);
        switch ((enum quantity_kind)a->quantity) {
        case QUANTITY_TABLE:
        case QUANTITY_EXTRINSIC:
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
        if (a->rf)
                return creal(z);
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
        case QUANTITY_TABLE:
        case QUANTITY_EXTRINSIC:
        case QUANTITY_UNKNOWN:
        case QUANTITY_COUNT:
                break;
        }
        return NAN;
}

/* The steepest way through what a number is made of: x = 1 changes it by its u95 to first order. */
struct path {
        const struct asked *a;
        double complex z, dz;
        struct m2 s, ds; /* of the device, where the number is no function of one z */
};

static double along(const struct path *p, double x)
{
        return p->a->rf ? asked_number(p->a, m2_add(p->s, m2_scale(x, p->ds)), NULL) : asked_value(p->a, p->z + x * p->dz);
}

static bool path_take(const struct asked *a, const struct trio *t, double complex z, double u95, struct path *ret)
{
        *ret = (struct path){.a = a, .z = z};
        if (a->rf) {
                double complex g[4];
                double squares = 0;
                ret->s = chain_deembed(a->ch, t);
                asked_number(a, ret->s, g);
                for (int e = 0; e < 4; e++)
                        squares += creal(g[e]) * creal(g[e]) + cimag(g[e]) * cimag(g[e]);
                for (int e = 0; e < 4; e++)
                        ret->ds.e[e] = u95 / squares * conj(g[e]);
                return squares > 0;
        }
        double h = 1e-6 * cabs(z), re = (asked_value(a, z + h) - asked_value(a, z - h)) / (2 * h),
               im = (asked_value(a, z + CMPLX(0, h)) - asked_value(a, z - CMPLX(0, h))) / (2 * h);
        ret->dz = u95 / (re * re + im * im) * CMPLX(re, im);
        return re * re + im * im > 0;
}

/* How far one must go (0 … 3, upwards or downwards) until the number has changed by w or ceased to exist; 3 when it never does. */
static double reach(const struct path *p, double way, double value, double w)
{
        double low = 0, high = 3;
        if (fabs(along(p, way * high) - value) <= w)
                return high;
        for (int k = 0; k < 24; k++) {
                double x = (low + high) / 2;
                if (fabs(along(p, way * x) - value) < w)
                        low = x;
                else
                        high = x;
        }
        return (low + high) / 2;
}

double asked_bend(const struct asked *a, const struct trio *t, double complex z, double u95)
{
        struct path p;
        if (!(u95 > 0) || !path_take(a, t, z, u95, &p))
                return u95;
        double value = along(&p, 0), up = along(&p, 1) - value, down = value - along(&p, -1);
        /* It ceases to exist on the way (K passes 1), runs back, or has turned its sign on the far side of a pole: nothing is known of it.
         */
        bool turned = (a->quantity == QUANTITY_Q || (a->rf && asked_share(a) == RF_SHARE_VALUE)) &&
                      ((value + up) * value < 0 || (value - down) * value < 0);
        if (turned || !(up * down > 0) || !isfinite(up * down))
                return INFINITY;
        double largest = fmax(fabs(up), fabs(down)), least = fmin(fabs(up), fabs(down));
        if (largest < 1.02 * least) /* both ends move by the same to first order, and the interval's length by the square of that */
                return u95;
        double low = least / 2, high = 1.5 * largest, k95 = normal_quantile(0.975);
        for (int k = 0; k < 24; k++) {
                double w = (low + high) / 2,
                       held = normal_below(k95 * reach(&p, 1, value, w)) + normal_below(k95 * reach(&p, -1, value, w)) - 1;
                if (held < 0.95)
                        low = w;
                else
                        high = w;
        }
        return (low + high) / 2;
}

enum code asked_branch(struct asked *a, struct tp_error *err)
{
        a->near = 0;
        const struct chain *ch = a->ch;
        bool line = rf_quantities[a->rf].group == RF_GROUP_LINE;
        if (a->rf && ch->line_reference)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "%s needs ohms and the reference is the line's own impedance; give calibration.line_capacitance_f_m",
                               rf_quantities[a->rf].word);
        if (line && !(ch->line_m > 0))
                return tp_fail(err, CODE_BAD_INPUT, "device %s has no length between the planes (length_um); %s needs one",
                               ch->q->measure->device, rf_quantities[a->rf].word);
        if (!line && a->quantity != QUANTITY_EPS_EFF && a->quantity != QUANTITY_LOSS && a->quantity != QUANTITY_ZC_RE)
                return CODE_OK;
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
        step.rf = RF_Q_UNKNOWN;
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

/* deembed_exchanged.c: are the dummies what they are said to be?  (deembed.h)
 * Problem     Every method turns any dummies into a result.  A left short in the place of the right one, or an open in the place of a short,
 *             gives leads that no piece of metal is, and numbers that look like numbers.
 * Idea        What each method believes can be asked of its dummies: leads are resistors and coils, so R + w L of each is above zero
 *             (exchanged open and short give exactly its negative); a left short conducts to ground at port 1, a right one at port 2; a thru
 *             across rather than to ground, and more than the open; an open has no less capacitance than its pads.  Each is asked at every
 *             frequency.  Where one fails almost everywhere, every exchange of two dummies is tried; it is named when with it all hold almost
 *             everywhere, and it alone does that.
 * Limits      "almost": 4 of 5 frequencies, which noise and resonances leave.  What conducts ten times more than the open is a short whatever
 *             the sign of its lead: leads of nothing, in noise and contact, accuse nobody.
 *             tests/unit/rf_deembed_exchanged.c: 600 random noisy sets, three bands, no false word, each exchange named. */
#include "rf/deembed/deembed_own.h"
#include "rf/network/convert.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { BELIEFS_MAX = 5 };
#define MOSTLY 0.8
#define SHORTED 10.0
#define PADS_MARGIN 0.05 /* of |Y| of the pads: what drift and placement make of two open structures */

struct belief {
        const char *say; /* what it is when it fails */
        size_t held, asked;
};

static void ask(struct belief *b, const char *say, bool holds)
{
        b->say = say;
        b->held += holds;
        b->asked++;
}

static bool is_finite(struct m2 y)
{
        return isfinite(cabs(y.e[0])) && isfinite(cabs(y.e[1])) && isfinite(cabs(y.e[2])) && isfinite(cabs(y.e[3]));
}
/* 1/y is a lead: a resistor and a coil; or so little of both, against what an open conducts, that noise and contact decide its sign. */
static bool is_lead(double complex y, double complex open)
{
        double complex z = 1 / y;
        return creal(z) + cimag(z) > 0 || cabs(y) > SHORTED * cabs(open);
}

/* Open (or pads) outside, short inside. */
static void ask_leads(struct belief *b, struct m2 outer, struct m2 shorted)
{
        struct m2 z = m2_inv(m2_sub(shorted, outer));
        ask(b, "the leads have less than no resistance and inductance", is_lead(1 / z.e[0], outer.e[0]) && is_lead(1 / z.e[3], outer.e[3]));
}

static void ask_three_step(struct belief b[BELIEFS_MAX], const struct m2 y[RF_DUMMY_COUNT])
{
        struct m2 o = y[RF_DUMMY_OPEN], l = m2_sub(y[RF_DUMMY_SHORT_LEFT], o), r = m2_sub(y[RF_DUMMY_SHORT_RIGHT], o),
                  t = m2_sub(y[RF_DUMMY_THRU], o);
        double complex across = (t.e[1] + t.e[2]) / 2;
        ask(&b[0], "the left short conducts to ground at port 2 rather than at port 1", cabs(l.e[0]) > cabs(l.e[3]));
        ask(&b[1], "the right short conducts to ground at port 1 rather than at port 2", cabs(r.e[3]) > cabs(r.e[0]));
        ask(&b[2], "the thru conducts across less than to ground, or than the open",
            cabs(across) > fmax(cabs(t.e[0] + across), cabs(t.e[3] + across)) && is_lead(-across, o.e[0]));
        ask(&b[3], "the left lead has less than no resistance and inductance", is_lead(l.e[0], o.e[0]));
        ask(&b[4], "the right lead has less than no resistance and inductance", is_lead(r.e[3], o.e[3]));
}

static bool has_beliefs(enum deembed_method m)
{
        return m == RF_DEEMBED_OPEN_SHORT || m == RF_DEEMBED_SHORT_OPEN || m == RF_DEEMBED_PAD_OPEN_SHORT || m == RF_DEEMBED_THREE_STEP;
}

/* The beliefs of the method over the whole axis. */
static void ask_all(enum deembed_method method, const struct dummies *d, double z, struct belief b[BELIEFS_MAX])
{
        const struct axis *axis = d->of[RF_DUMMY_OPEN]->axis;
        double more[2] = {0, 0}, pads[2] = {0, 0};
        memset(b, 0, BELIEFS_MAX * sizeof *b);
        for (size_t i = 0; i < axis->n; i++) {
                struct m2 y[RF_DUMMY_COUNT];
                bool finite = true;
                for (int k = 1; k < RF_DUMMY_COUNT; k++)
                        if (d->of[k]) {
                                y[k] = rf_y_from_s(net2_get(d->of[k], i), z);
                                finite = finite && is_finite(y[k]);
                        }
                if (!finite)
                        continue;
                if (method == RF_DEEMBED_THREE_STEP) {
                        ask_three_step(b, y);
                        continue;
                }
                ask_leads(&b[0], y[RF_DUMMY_OPEN], y[RF_DUMMY_SHORT]);
                if (method != RF_DEEMBED_PAD_OPEN_SHORT)
                        continue;
                struct m2 p = y[RF_DUMMY_PAD], o = y[RF_DUMMY_OPEN];
                ask_leads(&b[1], p, y[RF_DUMMY_SHORT]);
                for (int port = 0; port < 2; port++) { /* the lowest frequencies are noise: each counts by what it carries */
                        more[port] += axis->hz[i] * cimag(o.e[3 * port] - p.e[3 * port]);
                        pads[port] += axis->hz[i] * cabs(p.e[3 * port]);
                }
        }
        if (pads[0] > 0)
                ask(&b[2], "the open has less capacitance than the pads alone",
                    more[0] > -PADS_MARGIN * pads[0] && more[1] > -PADS_MARGIN * pads[1]);
}

static double share(const struct belief *b) { return b->asked ? (double)b->held / (double)b->asked : 1; }

/* All of them hold; *ret_worst: the one that does least. */
static bool all_hold(const struct belief b[BELIEFS_MAX], const struct belief **ret_worst)
{
        *ret_worst = &b[0];
        for (int k = 1; k < BELIEFS_MAX; k++)
                if (share(&b[k]) < share(*ret_worst))
                        *ret_worst = &b[k];
        return share(*ret_worst) > MOSTLY;
}

bool rf_deembed_exchanged(enum deembed_method method, const struct dummies *dummies, struct rf_deembed_exchange *ret)
{
        struct belief given[BELIEFS_MAX], other[BELIEFS_MAX];
        const struct belief *worst, *least;
        size_t ways = 0;
        *ret = (struct rf_deembed_exchange){RF_DUMMY_COUNT, RF_DUMMY_COUNT, ""};
        if (!has_beliefs(method))
                return false;
        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                if ((rf_deembed_methods[method].wants & 1u << k) && !dummies->of[k])
                        return false;
        double z = net2_z_real(dummies->of[RF_DUMMY_OPEN]);
        ask_all(method, dummies, isnan(z) ? 1 : z, given); /* of a line's own impedance: Y in units of its own */
        if (all_hold(given, &worst) || share(worst) >= 1 - MOSTLY)
                return false;
        for (int a = 1; a < RF_DUMMY_COUNT; a++)
                for (int b = a + 1; b < RF_DUMMY_COUNT; b++) {
                        struct dummies turned = *dummies;
                        if (!dummies->of[a] || !dummies->of[b])
                                continue;
                        turned.of[a] = dummies->of[b];
                        turned.of[b] = dummies->of[a];
                        ask_all(method, &turned, isnan(z) ? 1 : z, other);
                        if (!all_hold(other, &least))
                                continue;
                        ret->one = (enum rf_dummy)a;
                        ret->other = (enum rf_dummy)b;
                        ways++;
                }
        int used =
                snprintf(ret->say, sizeof ret->say, "%s at %zu of %zu frequencies", worst->say, worst->asked - worst->held, worst->asked);
        size_t left = sizeof ret->say - (size_t)used;
        if (ways == 1) {
                snprintf(ret->say + used, left, ": %s and %s are exchanged, for then all is as it should be", rf_dummy_words[ret->one],
                         rf_dummy_words[ret->other]);
        } else {
                ret->one = ret->other = RF_DUMMY_COUNT;
                snprintf(ret->say + used, left, ": one of the dummies is not what it is said to be");
        }
        return true;
}

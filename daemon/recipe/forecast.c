/* forecast.c: can a parameter be decided at all?  Known when the recipe is loaded, not at 3 a.m.
 * Idea        A lower bound of its uncertainty from what cannot be averaged away: each touch's contact scatter, and the load that sets the
 * scale of all impedances.  Where even that leaves nothing between the limits, no touch can ever pass.
 * Contact     R + jwL in series with each of the two signal paths of the device, and again of the short dummy that is subtracted.
 * Load        if both ports' loads are wrong by a relative e, every impedance is wrong by e; by one port alone, by e/2 (a series branch
 * between the ports; own derivation, checked by tests/unit/recipe_decide.c against the chain's own budget).  Line methods take no load, and of
 * one that the station's own meter reads nothing is known before.
 * Not here    noise, drift, dummies, placement: they only add. */
#include "recipe/judged.h"
#include "recipe/recipe_own.h"
#include "recipe/standard_moves.h"
#include "rf/calibrate/calibration.h"
#include <complex.h>
#undef I
#include <math.h>

static const struct standard *load_of(const struct recipe *r)
{
        for (size_t k = 0; k < r->calibration.standard_n; k++) {
                const struct standard *s = recipe_standard(r, r->calibration.standards[k].standard);
                if (s && s->kind == STANDARD_LOAD)
                        return s;
        }
        return NULL;
}

double recipe_u_least(const struct recipe *r, const struct measure *m, const struct parameter_plan *p)
{
        double w = RF_TWO_PI * p->freq_hz, y = (p->low + p->high) / 2;
        double touches = m->deembed == DEEMBED_OPEN_SHORT ? 2 : 1, contact = sqrt(2 * touches);
        const struct standard *load = load_of(r);
        struct standard_definition d = {.kind = RF_STANDARD_UNKNOWN};
        if (load && load->model.r_ohm > 0 && r->calibration.load_resistance != LOAD_RESISTANCE_MEASURED)
                d = standard_definition_of(load);
        double scale = d.kind ? d.u.r_ohm / d.r_ohm * sqrt((1 + standard_shared(load, "R")) / 2) : 0;
        if (!p->has_low || !p->has_high || !(w > 0))
                return 0;
        switch ((enum quantity_kind)p->quantity) {
        case QUANTITY_R: /* Z = R */
                return hypot(contact * r->setup.contact_ohm_u, scale * y);
        case QUANTITY_L:
                return hypot(contact * r->setup.contact_h_u, scale * y);
        case QUANTITY_C: { /* dC/C = -dX/X, and X = -1/(wC) */
                double x = 1 / (w * y);
                return fabs(y) * hypot(contact * w * r->setup.contact_h_u / x, scale);
        }
        case QUANTITY_EPS_EFF:
        case QUANTITY_LOSS:
        case QUANTITY_ZC_RE:
        case QUANTITY_Q:
        case QUANTITY_S21_DB:
        case QUANTITY_TABLE:
        case QUANTITY_EXTRINSIC:
        case QUANTITY_SRF:
        case QUANTITY_UNKNOWN:
        case QUANTITY_COUNT:
                break;
        }
        return 0;
}

enum code recipe_decidable(const struct recipe *r, const struct measure *m, const struct parameter_plan *p, struct tp_error *err)
{
        struct limits l;
        struct decision_rule rule;
        double u = recipe_u_least(r, m, p);
        return parameter_judged_by(p, &l, &rule) && u > 0 ? limits_decidable(&l, &rule, u, p->name, quantity_units[p->quantity], err)
                                                          : CODE_OK;
}

/* resolve.c: where a number can be resolved (resolve.h). */
#include "rf/extract/resolve.h"
#include <math.h>
#include <stdio.h>

double rf_share_of(enum rf_share of, double value, double u95)
{
        double share = INFINITY;
        if (!isfinite(value) || !(u95 >= 0))
                return INFINITY;
        switch (of) {
        case RF_SHARE_VALUE:
                share = u95 / fabs(value);
                break;
        case RF_SHARE_ONE:
                share = u95 / fmax(1, fabs(value));
                break;
        case RF_SHARE_DB20:
                share = u95 / (20 / log(10));
                break;
        case RF_SHARE_DB10:
                share = u95 / (10 / log(10));
                break;
        }
        return isfinite(share) ? share : INFINITY;
}

struct rf_range rf_resolve_range(size_t n, const double *hz, const double *share, double share_max)
{
        struct rf_range r = {.lo_hz = NAN, .hi_hz = NAN, .best_hz = NAN, .best_share = NAN};
        size_t from = 0;
        for (size_t i = 0; i < n; i++) {
                if (isfinite(share[i]) && !(share[i] >= r.best_share)) {
                        r.best_share = share[i];
                        r.best_hz = hz[i];
                }
                if (!rf_resolvable(share[i], share_max)) {
                        from = i + 1;
                        continue;
                }
                /* a first point at 0 Hz is no decade wide: it loses to any longer stretch */
                if (!r.any || hz[i] * r.lo_hz > r.hi_hz * hz[from] || (from < i && r.lo_hz == 0)) {
                        r.lo_hz = hz[from];
                        r.hi_hz = hz[i];
                        r.any = true;
                }
        }
        return r;
}

void rf_range_say(const struct rf_range *r, double share_max, size_t bytes, char *to)
{
        double most = 100 * (share_max > 0 ? share_max : RF_SHARE_MAX);
        if (r->any)
                snprintf(to, bytes, "resolved from %.4g GHz to %.4g GHz (u95 at most %.3g %%), best at %.4g GHz: %.2g %%", r->lo_hz / 1e9,
                         r->hi_hz / 1e9, most, r->best_hz / 1e9, 100 * r->best_share);
        else if (isfinite(r->best_share))
                snprintf(to, bytes,
                         "not resolvable anywhere in the sweep: u95 is at best %.3g %% of the value, at %.4g GHz; at most %.3g %% is asked",
                         100 * r->best_share, r->best_hz / 1e9, most);
        else
                snprintf(to, bytes, "not resolvable anywhere in the sweep: it has no bounded uncertainty there");
}

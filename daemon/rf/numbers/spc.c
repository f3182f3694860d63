/* spc.c: control charts (spc.h). */
#include "rf/numbers/spc.h"
#include <math.h>
#include <stdio.h>

enum code rf_spc_sigma(size_t n, const double *x, double *ret_mean, double *ret_s, struct tp_error *err)
{
        double sum = 0, range = 0, last = NAN;
        size_t found = 0, ranges = 0;
        for (size_t t = 0; t < n; t++) {
                if (!isfinite(x[t]))
                        continue;
                sum += x[t];
                found++;
                if (isfinite(last)) {
                        range += fabs(x[t] - last);
                        ranges++;
                }
                last = x[t];
        }
        if (found < RF_SPC_BASE_LEAST)
                return tp_fail(err, CODE_BAD_INPUT, "chart: its scatter must come from at least %d values of a good period, there are %zu",
                               RF_SPC_BASE_LEAST, found);
        *ret_mean = sum / (double)found;
        *ret_s = range / (double)ranges / 1.128;
        return CODE_OK;
}

void rf_ewma_steady(double target, double s, double lambda, double l, double *ret_low, double *ret_high)
{
        double half = l * s * sqrt(lambda / (2 - lambda));
        *ret_low = target - half;
        *ret_high = target + half;
}

enum code rf_ewma(size_t n, const double *x, double target, double s, double lambda, double l, double *z, double *low, double *high,
                  bool *alarm, struct tp_error *err)
{
        if (!(lambda > 0 && lambda <= 1 && l > 0 && s > 0 && isfinite(target)))
                return tp_fail(err, CODE_BAD_INPUT,
                               "EWMA: lambda %.6g (0 to 1), L %.6g (above 0), s %.6g (above 0) and target %.6g make no chart", lambda, l, s,
                               target);
        double now = target;
        for (size_t t = 0; t < n; t++) {
                if (isfinite(x[t]))
                        now = lambda * x[t] + (1 - lambda) * now;
                double half = l * s * sqrt(lambda / (2 - lambda) * (1 - pow(1 - lambda, 2 * (double)(t + 1))));
                z[t] = now;
                if (low)
                        low[t] = target - half;
                if (high)
                        high[t] = target + half;
                alarm[t] = isfinite(x[t]) && fabs(now - target) > half;
        }
        return CODE_OK;
}

enum code rf_cusum(size_t n, const double *x, double target, double k, double h, bool reset, double *hi, double *lo, bool *alarm,
                   struct tp_error *err)
{
        if (!(k >= 0 && h > 0 && isfinite(target)))
                return tp_fail(err, CODE_BAD_INPUT, "CUSUM: k %.6g (0 or more), h %.6g (above 0) and target %.6g make no chart", k, h,
                               target);
        double up = 0, down = 0;
        for (size_t t = 0; t < n; t++) {
                if (reset && t > 0 && alarm[t - 1])
                        up = down = 0;
                if (isfinite(x[t])) {
                        up = fmax(0, up + x[t] - target - k);
                        down = fmax(0, down + target - k - x[t]);
                }
                hi[t] = up;
                lo[t] = down;
                alarm[t] = isfinite(x[t]) && (up > h || down > h);
        }
        return CODE_OK;
}

/* Of the last `of` finite values up to t, how many lie beyond `limit` on the side of x[t]? */
static unsigned beyond(const double *x, size_t t, double target, double limit, unsigned of)
{
        double side = x[t] > target ? 1 : -1;
        unsigned seen = 0, found = 0;
        for (size_t k = t + 1; k-- > 0 && seen < of;) {
                if (!isfinite(x[k]))
                        continue;
                seen++;
                found += side * (x[k] - target) > limit;
        }
        return found;
}

enum code rf_western_electric(size_t n, const double *x, double target, double s, unsigned *bits, struct tp_error *err)
{
        if (!(s > 0 && isfinite(target)))
                return tp_fail(err, CODE_BAD_INPUT, "Western Electric rules: s %.6g must be above 0, target %.6g finite", s, target);
        for (size_t t = 0; t < n; t++) {
                bits[t] = 0;
                if (!isfinite(x[t]))
                        continue;
                double d = fabs(x[t] - target);
                bits[t] |= d > 3 * s ? RF_WESTERN_ONE : 0u;
                bits[t] |= d > 2 * s && beyond(x, t, target, 2 * s, 3) >= 2 ? RF_WESTERN_TWO : 0u;
                bits[t] |= d > s && beyond(x, t, target, s, 5) >= 4 ? RF_WESTERN_FOUR : 0u;
                bits[t] |= d > 0 && beyond(x, t, target, 0, 8) >= 8 ? RF_WESTERN_EIGHT : 0u;
        }
        return CODE_OK;
}

size_t rf_spc_workspace(size_t n) { return n * (3 * sizeof(double) + sizeof(bool)) + 64; }

enum code rf_spc_judge(const char *name, const char *unit, size_t n, const double *x, size_t base_n, double s_least, void *workspace,
                       struct rf_spc_answer *ret, struct tp_error *err)
{
        double *z = workspace, *hi = z + n, *lo = hi + n;
        bool *alarm = (bool *)(void *)(lo + n);
        *ret = (struct rf_spc_answer){.verdict = RF_SPC_UNKNOWN, .target = NAN, .s = NAN, .newest = NAN, .shift = NAN};
        if (base_n > n || !(s_least >= 0))
                return tp_fail(err, CODE_BAD_INPUT, "%s: a base of %zu of %zu values, least scatter %.6g", name, base_n, n, s_least);
        enum code code = rf_spc_sigma(base_n, x, &ret->target, &ret->s, err);
        if (code)
                return tp_where(err, "%s", name);
        ret->s = fmax(ret->s, fmax(s_least, 1e-300));
        size_t m = n - base_n;
        const double *y = x + base_n;
        if (m == 0) {
                snprintf(ret->sentence, sizeof ret->sentence, "%s: %.4g %s, s %.2g from %zu values; nothing to judge yet", name,
                         ret->target, unit, ret->s, base_n);
                return CODE_OK;
        }
        code = rf_ewma(m, y, ret->target, ret->s, 0.25, 3, z, NULL, NULL, alarm, err);
        if (code)
                return tp_where(err, "%s", name);
        bool slow = alarm[m - 1], slow_before = m > 1 && alarm[m - 2];
        ret->shift = z[m - 1] - ret->target;
        ret->newest = y[m - 1];
        code = rf_cusum(m, y, ret->target, 0.5 * ret->s, 5 * ret->s, false, hi, lo, alarm, err);
        if (code)
                return tp_where(err, "%s", name);
        bool lasting = alarm[m - 1], lasting_before = m > 1 && alarm[m - 2];
        const double *sum = hi[m - 1] >= lo[m - 1] ? hi : lo;
        size_t since = m - 1; /* the sum has been above 0 since the shift began */
        while (since > 0 && sum[since - 1] > 0)
                since--;
        ret->since = base_n + since;
        bool single = fabs(ret->newest - ret->target) > 3 * ret->s;
        if (single && !slow_before && !lasting_before) {
                ret->verdict = RF_SPC_OUTLIER; /* one value says that it is out, not yet that it stays */
                ret->since = n - 1;
        } else if (slow || lasting) {
                /* does it still go on?  The later half of the moved stretch against the earlier one */
                double early = 0, late = 0;
                size_t len = m - since, half = len / 2;
                for (size_t k = 0; k < half; k++) {
                        early += y[since + k] / (double)half;
                        late += y[m - 1 - k] / (double)half;
                }
                bool going = half >= 3 && (late - early) * (ret->newest > ret->target ? 1 : -1) > 2 * ret->s / sqrt((double)half) * sqrt(2);
                ret->verdict = going ? RF_SPC_DRIFTING : RF_SPC_SHIFTED;
        } else {
                ret->verdict = single ? RF_SPC_OUTLIER : RF_SPC_STEADY;
        }
        switch (ret->verdict) {
        case RF_SPC_DRIFTING:
                snprintf(ret->sentence, sizeof ret->sentence, "%s drifts: %+.3g %s in %zu values, now %.4g (was %.4g, s %.2g)", name,
                         ret->newest - ret->target, unit, m - since, ret->newest, ret->target, ret->s);
                break;
        case RF_SPC_SHIFTED:
                snprintf(ret->sentence, sizeof ret->sentence, "%s has moved by %+.3g %s, %zu values ago (was %.4g, s %.2g)", name,
                         ret->shift, unit, m - since, ret->target, ret->s);
                break;
        case RF_SPC_OUTLIER:
                snprintf(ret->sentence, sizeof ret->sentence, "%s is out by %+.3g %s at the newest value (usual %.4g, s %.2g)", name,
                         ret->newest - ret->target, unit, ret->target, ret->s);
                break;
        case RF_SPC_STEADY:
        case RF_SPC_UNKNOWN:
                snprintf(ret->sentence, sizeof ret->sentence, "%s is steady at %.4g %s (s %.2g)", name, ret->target, unit, ret->s);
                break;
        }
        return CODE_OK;
}

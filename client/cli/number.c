/* number.c: see number.h.  The SI's prefixes from a to T; what lies outside is written with an exponent. */
#include "cli/number.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct prefix {
        int power;
        const char *sign;
};
static const struct prefix prefixes[] = {{-18, "a"}, {-15, "f"}, {-12, "p"}, {-9, "n"}, {-6, "µ"}, {-3, "m"},
                                         {0, ""},    {3, "k"},   {6, "M"},   {9, "G"},  {12, "T"}};
#define DASH "–"

static bool takes_prefix(const char *unit) { return unit[0] && strcmp(unit, "1") != 0 && strncmp(unit, "dB", 2) != 0; }

/* The prefix in which |value| is 1 … 999.95 (what rounds to 1000 goes up one); the one without a sign for 0. */
static const struct prefix *prefix_of(double value, const char *unit)
{
        const struct prefix *plain = &prefixes[6], *best = &prefixes[0];
        if (!takes_prefix(unit) || value == 0)
                return plain;
        for (size_t i = 0; i < sizeof prefixes / sizeof prefixes[0]; i++)
                if (fabs(value) >= 0.99995 * pow(10, prefixes[i].power))
                        best = &prefixes[i];
        return best;
}

/* Decimals that leave `digits` significant digits of x. */
static int decimals_for(double x, int digits)
{
        if (!(fabs(x) > 0))
                return digits - 1;
        int first = (int)floor(log10(fabs(x)) + 1e-12);
        first += fabs(x) * pow(10, -first) >= 10 - 0.5 * pow(10, 1 - digits); /* 9.999 in two digits is 10 */
        int n = digits - 1 - first;
        return n < 0 ? 0 : n > 9 ? 9 : n;
}

static bool is_far(double v) { return fabs(v) >= 1e5 || (v != 0 && fabs(v) < 1e-4); }

void put_quantity(struct text *to, double value, double u95, const char *unit)
{
        if (!isfinite(value)) {
                text_put(to, DASH);
                return;
        }
        const struct prefix *p = prefix_of(value, unit);
        double scale = pow(10, -p->power), v = value * scale, u = u95 * scale;
        const char *name = strcmp(unit, "1") == 0 ? "" : unit, *gap = name[0] || p->sign[0] ? " " : "";
        if (is_far(v))
                text_f(to, "%.3e", v);
        else
                text_f(to, "%.*f", isfinite(u) && u > 0 ? decimals_for(u, 2) : decimals_for(v, 4), v);
        if (isfinite(u) && u > 0) {
                if (is_far(u))
                        text_f(to, " ± %.1e", u);
                else
                        text_f(to, " ± %.*f", decimals_for(u, 2), u);
        }
        text_f(to, "%s%s%s", gap, p->sign, name);
}

void put_probability(struct text *to, double p)
{
        if (isnan(p))
                return;
        if (p > 0.9999)
                text_put(to, "> 0.9999");
        else if (p < 1e-6)
                text_put(to, "< 1e-06");
        else if (p >= 0.1)
                text_f(to, "%.4f", floor(p * 1e4) / 1e4);
        else
                text_f(to, "%.2g", p);
}

void put_short(struct text *to, double value, const char *unit)
{
        if (!isfinite(value)) {
                text_put(to, DASH);
                return;
        }
        const struct prefix *p = prefix_of(value, unit);
        double v = value * pow(10, -p->power);
        if (is_far(v))
                text_f(to, "%.0e", v);
        else
                text_f(to, "%.*f%s", decimals_for(v, 4) > 3 ? 3 : decimals_for(v, 4), v, p->sign);
}

void put_hz(struct text *to, double hz)
{
        if (!isfinite(hz)) {
                text_put(to, DASH);
                return;
        }
        const struct prefix *p = prefix_of(hz, "Hz");
        text_f(to, "%.10g %sHz", hz * pow(10, -p->power), p->sign);
}

void put_seconds(struct text *to, double seconds)
{
        if (!(seconds >= 0 && seconds < 1e9))
                text_put(to, DASH);
        else if (seconds < 59.95)
                text_f(to, seconds < 9.995 ? "%.2g s" : "%.0f s", seconds);
        else if (seconds < 3570)
                text_f(to, "%d min %d s", (int)(seconds + 0.5) / 60, (int)(seconds + 0.5) % 60);
        else
                text_f(to, "%d h %d min", (int)(seconds + 30) / 3600, (int)(seconds + 30) / 60 % 60);
}

void put_count(struct text *to, long long n, const char *one, const char *many) { text_f(to, "%lld %s", n, n == 1 ? one : many); }

/* probability.csv and guardband.csv: quantiles, coverage factors, conformance, guard bands and risks, computed apart from this code. */
#include "rf_check.h"
#include "rf/trust/decide_limits.h"
#include "rf/numbers/probability.h"

struct row {
        char *cell[16];
        char text[512];
};
/* The next row of a CSV file without quotes before its last column; false at the end. */
static bool row_next(FILE *f, struct row *r)
{
        while (fgets(r->text, sizeof r->text, f)) {
                if (r->text[0] == '#' || !strncmp(r->text, "case,", 5))
                        continue;
                size_t n = 0;
                char *at = r->text;
                for (r->cell[n++] = at; *at && n < 16; at++)
                        if (*at == ',') {
                                *at = '\0';
                                r->cell[n++] = at + 1;
                        }
                for (; n < 16; n++)
                        r->cell[n] = "";
                return true;
        }
        return false;
}
static double number(const char *text) { return text[0] ? atof(text) : NAN; }
static void near(const char *what, const char *of, double got, double want, double tolerance)
{
        if (!(fabs(got - want) <= tolerance))
                fail_msg("%s of %s: %.17g, wanted %.17g", what, of, got, want);
}
static FILE *opened(const char *name)
{
        FILE *f = fopen(name, "r");
        if (!f)
                fail_msg("%s is missing: run the tests from the repository's root", name);
        return f;
}

static void quantiles_factors_and_risks_are_those_computed_elsewhere(void **state)
{
        (void)state;
        FILE *f = opened("tests/reference/probability.csv");
        struct row r;
        struct tp_error err;
        int seen[5] = {0};
        while (row_next(f, &r)) {
                if (!strcmp(r.cell[0], "normal_quantile")) {
                        double x = normal_quantile(atof(r.cell[1])), want = number(r.cell[8]);
                        near("quantile", r.cell[1], x, want, 4e-15 * fmax(1, fabs(want)));
                        near("and back", r.cell[1], normal_below(x), atof(r.cell[1]), 1e-14 * atof(r.cell[1]));
                        seen[0]++;
                } else if (!strcmp(r.cell[0], "student")) {
                        double p = atof(r.cell[1]), nu = atof(r.cell[2]), want = number(r.cell[8]), k = student_two_sided(p, nu);
                        near("factor", r.cell[2], k, want,
                             (nu > 1e5 ? 1e-11 : 2e-13) * want); /* there the fraction takes hundreds of steps */
                        near("and back", r.cell[2], student_below(k, nu) - student_below(-k, nu), p, nu > 1e5 ? 1e-11 : 1e-13);
                        seen[1]++;
                } else if (!strcmp(r.cell[0], "circle")) {
                        near("radius", r.cell[1], circle_radius(atof(r.cell[1])), number(r.cell[8]), 1e-15 * 4);
                        seen[2]++;
                } else if (!strcmp(r.cell[0], "rectangular")) {
                        near("factor", r.cell[2], rectangular_two_sided(atof(r.cell[1]), atof(r.cell[2])), number(r.cell[8]), 1e-12);
                        seen[4]++;
                } else if (!strcmp(r.cell[0], "risk")) {
                        struct limits l = {r.cell[3][0] != 0, r.cell[4][0] != 0, number(r.cell[3]), number(r.cell[4])};
                        struct decision_rule rule = {!strcmp(r.cell[1], "simple") ? ACCEPTANCE_SIMPLE : ACCEPTANCE_GUARDED,
                                                     atof(r.cell[2])};
                        struct risks got;
                        assert_int_equal(limits_risks(&l, &rule, atof(r.cell[5]), atof(r.cell[6]), atof(r.cell[7]), &got, &err), CODE_OK);
                        const double have[] = {got.consumers, got.producers, got.failed_good, got.passed,
                                               got.failed,    got.marginal,  got.conforming};
                        for (int k = 0; k < 7; k++) /* edges of zones known to rounding: 1e-13; the quadratures' own error 1e-12 */
                                near("risk", r.cell[3], have[k], number(r.cell[8 + k]), 2e-12);
                        seen[3]++;
                } else {
                        fail_msg("a row of an unknown kind: %s", r.cell[0]);
                }
        }
        fclose(f);
        assert_true(seen[0] == 8 && seen[1] == 9 && seen[2] == 3 && seen[3] == 8 && seen[4] == 6);
}

static enum decision by_interval(const struct limits *l, double y, double w)
{
        bool inside = (!l->has_low || y >= l->low + w) && (!l->has_high || y <= l->high - w);
        bool outside = (l->has_low && y < l->low - w) || (l->has_high && y > l->high + w);
        return inside ? DECISION_PASS : outside ? DECISION_FAIL : DECISION_MARGINAL;
}

static void guardband_csv_is_followed_row_by_row(void **state)
{
        (void)state;
        static const char *const words[] = {"", "pass", "fail", "marginal"};
        const struct decision_rule guarded = {.kind = ACCEPTANCE_GUARDED};
        FILE *f = opened("tests/reference/guardband.csv");
        struct row r;
        int rows = 0, quantiles = 0, factors = 0, radii = 0;
        while (row_next(f, &r)) {
                double a = atof(r.cell[1]), u = atof(r.cell[2]), p = atof(r.cell[5]);
                if (!strcmp(r.cell[0], "quantile")) {
                        near("quantile", r.cell[5], normal_quantile(p), a, 1e-14);
                        quantiles++;
                } else if (!strcmp(r.cell[0], "student_t_95_two_sided")) {
                        double nu = 0;
                        const char *note = r.cell[12][0] ? r.cell[12] : "";
                        if (sscanf(note, "degrees of freedom %lf", &nu) != 1)
                                fail_msg("no degrees of freedom in \"%s\"", note);
                        near("factor", note, student_two_sided(0.95, nu), a, 1e-12 * a);
                        factors++;
                } else if (!strncmp(r.cell[0], "chi2", 4)) {
                        near("radius", r.cell[0], circle_radius(0.95), a, 1e-15);
                        radii++;
                } else {
                        struct limits l = {r.cell[3][0] != 0, r.cell[4][0] != 0, number(r.cell[3]), number(r.cell[4])};
                        double pc, scale = 1e-12 * fabs(a), w = limits_guard_band(&guarded, u), low, high;
                        enum decision d = limits_decide(&l, &guarded, a, u, &pc);
                        /* "tiny_u": limit and value share nine digits, so their difference has seven */
                        near("Pc", r.cell[0], pc, p, !strcmp(r.cell[0], "tiny_u") ? 1e-8 : 1e-11);
                        assert_string_equal(words[d], r.cell[11]);
                        assert_string_equal(words[by_interval(&l, a, w)], r.cell[10]);
                        if (l.has_low)
                                near("lower guard", r.cell[0], l.low + w, number(r.cell[6]), scale);
                        if (l.has_high)
                                near("upper guard", r.cell[0], l.high - w, number(r.cell[7]), scale);
                        /* one limit: the interval of Pc is the guard band's */
                        bool some = limits_acceptance(&l, &guarded, u, &low, &high);
                        if (!l.has_low || !l.has_high)
                                near("acceptance", r.cell[0], l.has_low ? low : high, l.has_low ? l.low + w : l.high - w, 1e-10 * fabs(a));
                        assert_int_equal(some, u <= limits_u_max(&l, &guarded));
                        /* the band from a limit to there; where it is much smaller than the limit, to the limit's own digits */
                        double band = limits_guard(&l, &guarded, u);
                        assert_int_equal(some, !isnan(band));
                        if (some)
                                near("guard", r.cell[0], band, l.has_low ? low - l.low : l.high - high, 1e-10 * fabs(a));
                        if (some && (!l.has_low || !l.has_high || l.high - l.low > 20 * u))
                                near("guard", r.cell[0], band, 1.6448536269514722 * u, 1e-12 * u);
                        if (some) /* pass or not is the same question asked of the interval */
                                assert_int_equal(d == DECISION_PASS, a >= low && a <= high);
                        rows++;
                }
        }
        fclose(f);
        assert_true(rows == 12 && quantiles == 5 && factors == 8 && radii == 1);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(quantiles_factors_and_risks_are_those_computed_elsewhere),
                                           cmocka_unit_test(guardband_csv_is_followed_row_by_row)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

/* yield.csv: intervals of proportions, capability, robust location and scatter, computed apart from this code to more digits than a double
   has.  Newcombe's printed limits (Stat. Med. 17 (1998) 857, table I) stand here as he printed them.  Coverage is counted exactly, from
   binomial probabilities made by multiplication. */
#include "rf_check.h"
#include "rf/numbers/capability.h"
#include "rf/numbers/probability.h"
#include "rf/numbers/proportion.h"
#include "rf/numbers/robust.h"

/* Newton ends at a few roundings; 1e-12 leaves room for another libm's lgamma of numbers up to 5000. */
#define TOL 1e-12

static const double twelve[] = {1.002, 0.998, 1.005, 0.991, 1.001, 1.008, 0.996, 1.003, 0.999, 1.000, 1.004, 0.997};
enum { TWELVE = sizeof twelve / sizeof twelve[0] };

static void like_capability(const double *want, size_t n)
{
        struct capability c = rf_capability(TWELVE, twelve, 0.98, 1.03, 0);
        assert_int_equal(c.n, n);
        check_close("mean", 0, c.mean, want[0], TOL);
        check_close("s", 0, c.s, want[1], TOL);
        check_close("Pp", 0, c.pp, want[2], TOL);
        check_close("Ppk", 0, c.ppk, want[3], TOL);
}
static void like_interval(const double *want, size_t n)
{
        struct capability c = rf_capability(TWELVE, twelve, 0.98, 1.03, 0);
        assert_int_equal(c.n, n);
        check_close("Ppk", 0, c.ppk, want[0], TOL);
        check_close("its lower end", 0, c.ppk_low, want[2], TOL);
        check_close("its upper end", 0, c.ppk_high, want[3], TOL);
}
static void like_robust(const double *want, size_t n)
{
        double x[TWELVE + 1], room[TWELVE + 1];
        memcpy(x, twelve, sizeof twelve);
        x[TWELVE] = 1.9;
        struct capability c = rf_capability(TWELVE + 1, x, NAN, NAN, 0);
        struct robust r = rf_robust(rf_sort(TWELVE + 1, x), x, room);
        assert_int_equal(r.n, n);
        check_close("median", 0, r.median, want[0], TOL);
        check_close("scatter", 0, r.s, want[1], TOL);
        check_close("mean", 0, c.mean, want[2], TOL);
        check_close("s", 0, c.s, want[3], TOL);
        assert_true(isnan(c.pp) && isnan(c.ppk));
        for (size_t i = 0; i < n; i++)
                assert_int_equal(rf_is_outlier(&r, x[i]), x[i] == 1.9);
}
static void like_proportion(const double *want, size_t k, size_t n)
{
        struct share_interval w = rf_wilson(k, n, 0.95), e = rf_clopper_pearson(k, n, 0.95);
        const double got[] = {w.share, w.low, w.high, e.low, e.high};
        static const char *const what[] = {"share", "Wilson low", "Wilson high", "exact low", "exact high"};
        assert_true(w.share == e.share);
        for (int j = 0; j < 5; j++)
                if (!(fabs(got[j] - want[j]) <= TOL))
                        fail_msg("%s of %zu of %zu: %.17g, wanted %.17g", what[j], k, n, got[j], want[j]);
}

static void every_row_of_the_check_file(void **state)
{
        (void)state;
        char *text = check_file("yield.csv", NULL), *save = NULL;
        int proportions = 0, others = 0;
        for (char *line = strtok_r(text, "\n", &save); line; line = strtok_r(NULL, "\n", &save)) {
                if (line[0] == '#' || !strncmp(line, "case,", 5))
                        continue;
                bool quoted = line[0] == '"';
                char *end = quoted ? strchr(line + 1, '"') : strchr(line, ','), *at = end + 1 + quoted;
                double number[7];
                *end = '\0';
                for (int c = 0; c < 7; c++) {
                        number[c] = *at == ',' ? NAN : strtod(at, &at);
                        assert_int_equal(*at++, ',');
                }
                if (!strcmp(line, "proportion")) {
                        like_proportion(number + 2, (size_t)number[0], (size_t)number[1]);
                        proportions++;
                        continue;
                }
                static const struct {
                        const char *name;
                        void (*check)(const double *, size_t);
                } cases[] = {{"capability: mean, s, Cp, Cpk", like_capability},
                             {"Cpk 95% interval, normal approx", like_interval},
                             {"robust: median, 1.4826 MAD, mean, s", like_robust}};
                for (size_t k = 0; k < 3; k++)
                        if (!strcmp(line + quoted, cases[k].name)) {
                                cases[k].check(number + 2, (size_t)number[0]);
                                others++;
                        }
        }
        free(text);
        assert_int_equal(proportions, 10);
        assert_int_equal(others, 3);
}

static void newcombe_printed_these(void **state)
{
        (void)state;
        static const struct {
                size_t k, n;
                const char *wilson, *exact;
        } rows[] = {{81, 263, "0.2553 0.3662", "0.2527 0.3676"},
                    {15, 148, "0.0624 0.1605", "0.0578 0.1617"},
                    {0, 20, "0.0000 0.1611", "0.0000 0.1684"},
                    {1, 29, "0.0061 0.1718", "0.0009 0.1776"}};
        char got[40];
        for (size_t i = 0; i < 4; i++) {
                struct share_interval w = rf_wilson(rows[i].k, rows[i].n, 0.95), e = rf_clopper_pearson(rows[i].k, rows[i].n, 0.95);
                snprintf(got, sizeof got, "%.4f %.4f", w.low, w.high);
                assert_string_equal(got, rows[i].wilson);
                snprintf(got, sizeof got, "%.4f %.4f", e.low, e.high);
                assert_string_equal(got, rows[i].exact);
        }
}

static void good_and_bad_say_the_same_and_the_ends_are_the_ends(void **state)
{
        (void)state;
        for (size_t n = 1; n <= 400; n = n * 3 / 2 + 1)
                for (size_t k = 0; k <= n; k++)
                        for (int which = 0; which < 2; which++) {
                                struct share_interval (*of)(size_t, size_t, double) = which ? rf_clopper_pearson : rf_wilson;
                                struct share_interval good = of(k, n, 0.95), bad = of(n - k, n, 0.95), wider = of(k, n, 0.99);
                                assert_true(good.low == 1 - bad.high || good.high == 1 - bad.low);
                                assert_true(fabs(good.low - (1 - bad.high)) <= 1e-16 && fabs(good.high - (1 - bad.low)) <= 1e-16);
                                assert_true(0 <= good.low && good.low <= good.share && good.share <= good.high && good.high <= 1);
                                assert_true((good.low == 0) == (k == 0) && (good.high == 1) == (k == n));
                                assert_true(wider.low <= good.low && wider.high >= good.high);
                        }
        static const struct {
                size_t k, n;
                double cover;
        } refused[] = {{0, 0, 0.95}, {2, 1, 0.95}, {1, 2, 0}, {1, 2, 1}, {1, 2, NAN}};
        for (size_t i = 0; i < 5; i++) {
                struct share_interval w = rf_wilson(refused[i].k, refused[i].n, refused[i].cover),
                                      e = rf_clopper_pearson(refused[i].k, refused[i].n, refused[i].cover);
                assert_true(isnan(w.share) && isnan(w.low) && isnan(w.high) && isnan(e.share) && isnan(e.low) && isnan(e.high));
        }
}

/* Of all k of n that a true share gives, those whose interval holds it: Clopper-Pearson never below 95 %, Wilson on average near it. */
static void intervals_hold_the_truth_as_often_as_they_say(void **state)
{
        (void)state;
        double worst_exact = 1, mean_wilson = 0;
        size_t places = 0;
        for (size_t n = 5; n <= 80; n += 25)
                for (double truth = 0.02; truth < 0.99; truth += 0.03, places++) {
                        double probability = pow(1 - truth, (double)n), exact = 0, wilson = 0;
                        for (size_t k = 0; k <= n; k++) {
                                struct share_interval w = rf_wilson(k, n, 0.95), e = rf_clopper_pearson(k, n, 0.95);
                                wilson += w.low <= truth && truth <= w.high ? probability : 0;
                                exact += e.low <= truth && truth <= e.high ? probability : 0;
                                probability *= truth / (1 - truth) * (double)(n - k) / (double)(k + 1);
                        }
                        worst_exact = fmin(worst_exact, exact);
                        mean_wilson += wilson;
                }
        mean_wilson /= (double)places;
        print_message("of %zu true shares: exact at least %.4f, Wilson %.4f on average\n", places, worst_exact, mean_wilson);
        assert_true(worst_exact >= 0.95);
        assert_true(fabs(mean_wilson - 0.95) < 0.01);
}

/* I_x(a, b) of whole a, b is the probability of a or more of a + b - 1: summed here. */
static void the_beta_distribution_is_the_binomial_tail(void **state)
{
        (void)state;
        for (int n = 1; n <= 60; n += 7)
                for (int a = 1; a <= n; a++)
                        for (double x = 0.01; x < 1; x += 0.07) {
                                double term = 1, sum = 0; /* C(n, k) x^k (1 - x)^(n - k) from k = n down */
                                for (int k = n; k >= a; k--) {
                                        sum += term * pow(x, k) * pow(1 - x, n - k);
                                        term *= (double)k / (double)(n - k + 1);
                                }
                                double below = beta_below(x, a, n - a + 1);
                                check_close("beta", x, below, sum, 2e-14);
                                check_relative("and back", x, beta_below(beta_quantile(below, a, n - a + 1), a, n - a + 1), below, 1e-12);
                        }
        assert_true(beta_quantile(0, 2, 3) == 0 && beta_quantile(1, 2, 3) == 1 && isnan(beta_quantile(0.5, 0, 3)));
        assert_true(isnan(beta_below(1.5, 2, 3)) && isnan(beta_quantile(NAN, 2, 3)));
        check_close("arcsine law", 0, beta_quantile(0.2, 0.5, 0.5), pow(sin(0.1 * 3.14159265358979323846), 2), 1e-14);
}

static void one_limit_measuring_noise_and_too_little(void **state)
{
        (void)state;
        struct capability both = rf_capability(TWELVE, twelve, 0.98, 1.03, 0), low = rf_capability(TWELVE, twelve, 0.98, NAN, 0),
                          high = rf_capability(TWELVE, twelve, NAN, 1.03, 0), outside = rf_capability(TWELVE, twelve, 1.01, 1.03, 0);
        assert_true(isnan(low.pp) && isnan(high.pp) && low.ppk == both.ppk && high.ppk > both.ppk);
        check_close("two halves make Pp", 0, (low.ppk + high.ppk) / 2, both.pp, 1e-14);
        assert_true(outside.ppk < 0 && outside.ppk_low < outside.ppk && outside.ppk < outside.ppk_high);
        /* 3-4-5: noise of 0.8 s leaves 0.6 s */
        struct capability made = rf_capability(TWELVE, twelve, 0.98, 1.03, 0.8 * both.s);
        check_relative("s without noise", 0, made.s_made, 0.6 * both.s, 1e-14);
        check_relative("Ppk without noise", 0, made.ppk, both.ppk / 0.6, 1e-14);
        struct capability noise = rf_capability(TWELVE, twelve, 0.98, 1.03, both.s);
        assert_true(noise.s_made == 0 && isnan(noise.ppk) && isnan(noise.pp));
        double some[] = {NAN, 2, NAN};
        struct capability one = rf_capability(3, some, 0, 3, 0), none = rf_capability(0, NULL, 0, 3, 0);
        assert_true(one.n == 1 && one.mean == 2 && isnan(one.s) && isnan(one.ppk) && none.n == 0 && isnan(none.mean));
}

static void quantiles_and_scatter_by_hand(void **state)
{
        (void)state;
        double x[] = {NAN, 4, 1, INFINITY, 3, NAN, 2}, room[12];
        assert_int_equal(rf_sort(7, x), 5);
        assert_true(x[0] == 1 && x[3] == 4 && x[4] == INFINITY);
        assert_true(rf_quantile(4, x, 0) == 1 && rf_quantile(4, x, 1) == 4 && rf_quantile(4, x, 0.5) == 2.5);
        check_close("first quartile", 0, rf_quantile(4, x, 0.25), 1.75, 1e-15);
        assert_true(rf_quantile(5, x, 0.5) == 3 && rf_quantile(5, x, 1) == INFINITY);
        assert_true(isnan(rf_quantile(0, x, 0.5)) && isnan(rf_quantile(4, x, 1.1)));
        double equal[] = {5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 9}; /* the median deviation is 0, the mean one 1/3 */
        struct robust r = rf_robust(12, equal, room);
        check_close("fall back", 0, r.s, sqrt(3.14159265358979323846 / 2) * 4 / 12, 1e-15);
        assert_true(rf_is_outlier(&r, 9) && !rf_is_outlier(&r, 5));
        r = rf_robust(11, equal, room);
        assert_true(r.s == 0 && !rf_is_outlier(&r, 5) && rf_is_outlier(&r, 5.1));
        r = rf_robust(9, equal, room);
        assert_false(rf_is_outlier(&r, 9)); /* too few */
        check_close("of a normal", 0, RF_OF_MEDIAN_DEVIATION, 1 / normal_quantile(0.75), 1e-15);
        assert_true(isnan(rf_robust(1, equal, room).s) && isnan(rf_robust(0, equal, room).median));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(every_row_of_the_check_file),
                                           cmocka_unit_test(newcombe_printed_these),
                                           cmocka_unit_test(good_and_bad_say_the_same_and_the_ends_are_the_ends),
                                           cmocka_unit_test(intervals_hold_the_truth_as_often_as_they_say),
                                           cmocka_unit_test(the_beta_distribution_is_the_binomial_tail),
                                           cmocka_unit_test(one_limit_measuring_noise_and_too_little),
                                           cmocka_unit_test(quantiles_and_scatter_by_hand)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

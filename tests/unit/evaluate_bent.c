/* The interval that the chain states against Monte Carlo (JCGM 101:2008, 8): each quantity's z, or S, is drawn about what was measured
 * along with its causes, and the number is formed anew each time.  Where the linear half width is not what holds 95 %, the chain's bent one
 * is. */
#include "evaluate_bench.h"
#undef I
#include "evaluate/chain.h"
#include "rf/numbers/monte_carlo.h"
#include "rf/numbers/probability.h"

enum { DRAWS = 20000 };

struct asking {
        const char *what;
        int32_t quantity;
        enum rf_quantity rf;
        double complex z; /* quantities of one z */
        double hz;
        int32_t kind;
        double u; /* of each component of z, ohm */
        double tolerance;
        bool straight; /* the linear half width holds 95 % by itself */
};

static int rising(const void *a, const void *b)
{
        double x = *(const double *)a, y = *(const double *)b;
        return (x > y) - (x < y);
}

/* Half width of 95 % of |q - value|; draws without a value count as infinitely far. */
static double held_by_95(double *distance, size_t n)
{
        qsort(distance, n, sizeof *distance, rising);
        return distance[(size_t)(0.95 * (double)n)];
}

/* L, R, C, Q and the rest of one branch impedance, from straight to strongly bent. */
static const struct asking of_z[] = {
        {"L of 1 nH", QUANTITY_L, RF_Q_UNKNOWN, CMPLX(5, 60), 10e9, DEVICE_INDUCTOR, 0.5, 0.02, true},
        {"R of 5 ohm", QUANTITY_R, RF_Q_UNKNOWN, CMPLX(5, 60), 10e9, DEVICE_INDUCTOR, 0.5, 0.02, true},
        {"Q of 12, R to 5 %", QUANTITY_Q, RF_Q_UNKNOWN, CMPLX(5, 60), 10e9, DEVICE_INDUCTOR, 0.125, 0.03, true},
        {"Q of 12, R to 12 %", QUANTITY_Q, RF_Q_UNKNOWN, CMPLX(5, 60), 10e9, DEVICE_INDUCTOR, 0.6, 0.03, false},
        {"Q of 60, R to 15 %", QUANTITY_Q, RF_Q_UNKNOWN, CMPLX(1, 60), 10e9, DEVICE_INDUCTOR, 0.15, 0.03, false},
        {"Q of 60, R to 22 %", QUANTITY_Q, RF_Q_UNKNOWN, CMPLX(1, 60), 10e9, DEVICE_INDUCTOR, 0.22, 0.05, false},
        {"C of 100 fF", QUANTITY_C, RF_Q_UNKNOWN, CMPLX(1, -159), 10e9, DEVICE_CAPACITOR, 2, 0.02, true},
        {"C, X to 15 %", QUANTITY_C, RF_Q_UNKNOWN, CMPLX(1, -10), 10e9, DEVICE_CAPACITOR, 1.5, 0.03, false},
        {"S21 of -20 dB", QUANTITY_S21_DB, RF_Q_UNKNOWN, CMPLX(0.06, 0.08), 10e9, DEVICE_LINE, 0.004, 0.02, true},
        /* 0.07: what lies across adds to |S| part of what is lost along, which one way alone does not see */
        {"S21 of -40 dB, to 2 dB", QUANTITY_S21_DB, RF_Q_UNKNOWN, CMPLX(0.006, 0.008), 10e9, DEVICE_LINE, 0.002, 0.07, true},
};

static struct asked asked_of(const struct asking *q, struct chain *ch)
{
        *ch = (struct chain){.z = 50, .device_kind = q->kind, .line_m = 1e-3};
        return (struct asked){.ch = ch, .quantity = q->quantity, .rf = q->rf, .hz = q->hz, .view = VIEW_SERIES};
}

static double linear_u(const struct asked *a, double complex z, double u)
{
        double h = 1e-6 * cabs(z), re = (asked_value(a, z + h) - asked_value(a, z - h)) / (2 * h),
               im = (asked_value(a, z + CMPLX(0, h)) - asked_value(a, z - CMPLX(0, h))) / (2 * h);
        return u * hypot(re, im);
}

static void bent_half_widths_hold_95_percent(void **state)
{
        (void)state;
        double *distance = malloc(DRAWS * sizeof *distance);
        for (size_t k = 0; k < sizeof of_z / sizeof of_z[0]; k++) {
                const struct asking *q = &of_z[k];
                struct chain ch;
                struct asked a = asked_of(q, &ch);
                struct random r = random_of(31, k);
                double value = asked_value(&a, q->z), linear = normal_quantile(0.975) * linear_u(&a, q->z, q->u);
                double bent = asked_bend(&a, NULL, q->z, linear);
                for (int d = 0; d < DRAWS; d++)
                        distance[d] = fabs(asked_value(&a, q->z + q->u * CMPLX(random_normal(&r), random_normal(&r))) - value);
                double held = held_by_95(distance, DRAWS);
                if (!(fabs(bent / held - 1) < q->tolerance))
                        fail_msg("%s: %.4g holds 95 %%, stated %.4g, linear %.4g", q->what, held, bent, linear);
                assert_int_equal(fabs(linear / held - 1) < 0.03, q->straight); /* both kinds are among the rows, or nothing was tested */
        }
        free(distance);
}

/* Where the number ceases to exist, or turns, within its own uncertainty, no finite interval is stated. */
static void what_turns_has_no_bound(void **state)
{
        (void)state;
        static const struct asking q = {"Q of 60, R to 60 %", QUANTITY_Q, RF_Q_UNKNOWN, CMPLX(1, 60), 10e9, DEVICE_INDUCTOR, 0.6, 0, false};
        struct chain ch;
        struct asked a = asked_of(&q, &ch);
        assert_true(isinf(asked_bend(&a, NULL, q.z, 1.96 * linear_u(&a, q.z, q.u))));
        assert_true(asked_bend(&a, NULL, q.z, 0) == 0);
}

/* K, U, MAG, mu: functions of all four S of a transistor; S drawn circular. */
static void gains_hold_95_percent_or_say_nothing(void **state)
{
        (void)state;
        static const struct {
                const char *what;
                struct m2 s;
                double u;
                bool bound; /* a finite interval is stated */
        } rows[] = {
                {"U", {{CMPLX(0.6, -0.4), CMPLX(0.05, 0.04), CMPLX(-2.0, 1.8), CMPLX(0.5, -0.3)}}, 0.004, true},
                {"K", {{CMPLX(0.6, -0.4), CMPLX(0.05, 0.04), CMPLX(-2.0, 1.8), CMPLX(0.5, -0.3)}}, 0.004, true},
                {"mu", {{CMPLX(0.6, -0.4), CMPLX(0.05, 0.04), CMPLX(-2.0, 1.8), CMPLX(0.5, -0.3)}}, 0.004, true},
                {"h21", {{CMPLX(0.6, -0.4), CMPLX(0.05, 0.04), CMPLX(-2.0, 1.8), CMPLX(0.5, -0.3)}}, 0.01, true},
                {"MAG", {{CMPLX(0.6, -0.4), CMPLX(0.02, 0.016), CMPLX(-2.0, 1.8), CMPLX(0.5, -0.3)}}, 0.002, true},
                {"MAG", {{CMPLX(0.6, -0.4), CMPLX(0.06, 0.048), CMPLX(-2.0, 1.8), CMPLX(0.5, -0.3)}}, 0.02, false}, /* K = 1.07 */
                {"MSG", {{CMPLX(0.6, -0.4), CMPLX(0.05, 0.04), CMPLX(-2.0, 1.8), CMPLX(0.5, -0.3)}}, 0.004, true},
        };
        double *distance = malloc(DRAWS * sizeof *distance);
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
                struct asking q = {rows[k].what, QUANTITY_TABLE, rf_quantity_of(rows[k].what), 0, 30e9, DEVICE_TRANSISTOR, 0, 0, false};
                struct chain ch;
                struct asked a = asked_of(&q, &ch);
                struct random r = random_of(32, k);
                struct trio t = {.s = {rows[k].s}};
                double complex g[4];
                assert_true(a.rf != RF_Q_UNKNOWN);
                double value = asked_number(&a, rows[k].s, g), squares = 0;
                for (int e = 0; e < 4; e++)
                        squares += creal(g[e] * conj(g[e]));
                double linear = normal_quantile(0.975) * rows[k].u * sqrt(squares), bent = asked_bend(&a, &t, value, linear);
                for (int d = 0; d < DRAWS; d++) {
                        struct m2 s = rows[k].s;
                        for (int e = 0; e < 4; e++)
                                s.e[e] += rows[k].u * CMPLX(random_normal(&r), random_normal(&r));
                        double x = asked_number(&a, s, NULL);
                        distance[d] = isfinite(x) ? fabs(x - value) : INFINITY;
                }
                double held = held_by_95(distance, DRAWS);
                if (isfinite(bent) != rows[k].bound || (rows[k].bound && !(fabs(bent / held - 1) < 0.05)))
                        fail_msg("%s: %.4g holds 95 %%, stated %.4g, linear %.4g", rows[k].what, held, bent, linear);
        }
        free(distance);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(bent_half_widths_hold_95_percent), cmocka_unit_test(what_turns_has_no_bound),
                                           cmocka_unit_test(gains_hold_95_percent_or_say_nothing)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

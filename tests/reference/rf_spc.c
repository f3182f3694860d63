/* Charts against the worked examples of the NIST/SEMATECH e-Handbook and hand-made Western Electric rows: tests/reference/spc.csv, exact
   rationals; its header names columns and source. */
#include "rf_check.h"
#include "rf/numbers/spc.h"

struct row {
        char chart[16];
        double v[8]; /* x a b c d e f alarm; NaN: empty */
};
static size_t rows_read(struct row *rows, size_t most)
{
        char *text = check_file("spc.csv", NULL), *line = text;
        size_t n = 0;
        while (line && *line) {
                char *end = strchr(line, '\n');
                if (end)
                        *end = '\0';
                if (*line != '#' && strncmp(line, "chart", 5) != 0 && *line) {
                        struct row *r = &rows[n++];
                        assert_true(n <= most);
                        char *field = line;
                        for (int k = -2; k < 8; k++) {
                                char *comma = strchr(field, ',');
                                if (comma)
                                        *comma = '\0';
                                if (k == -2)
                                        snprintf(r->chart, sizeof r->chart, "%s", field);
                                else if (k >= 0)
                                        r->v[k] = *field ? strtod(field, NULL) : NAN;
                                field = comma ? comma + 1 : field + strlen(field);
                        }
                }
                line = end ? end + 1 : NULL;
        }
        free(text);
        return n;
}

static size_t of_chart(const struct row *rows, size_t n, const char *chart, struct row *to, double *x)
{
        size_t m = 0;
        for (size_t k = 0; k < n; k++)
                if (!strcmp(rows[k].chart, chart)) {
                        to[m] = rows[k];
                        x[m++] = rows[k].v[0];
                }
        return m;
}

static void ewma_is_the_handbooks(void **state)
{
        (void)state;
        struct row rows[200] = {0}, of[64];
        double x[64], z[64], low[64], high[64], lo, hi;
        bool alarm[64];
        size_t n = of_chart(rows, rows_read(rows, 200), "ewma", of, x);
        assert_int_equal(n, 20);
        assert_int_equal(rf_ewma(n, x, 50, 2.0539, 0.3, 3, z, low, high, alarm, NULL), CODE_OK);
        rf_ewma_steady(50, 2.0539, 0.3, 3, &lo, &hi);
        for (size_t t = 0; t < n; t++) {
                check_close("z", (double)t, z[t], of[t].v[1], 1e-12);
                assert_true(fabs(z[t] - of[t].v[2]) < 0.0051); /* as printed there, two places */
                check_close("low", (double)t, low[t], of[t].v[3], 1e-12);
                check_close("high", (double)t, high[t], of[t].v[4], 1e-12);
                check_close("steady low", (double)t, lo, of[t].v[5], 1e-12);
                check_close("steady high", (double)t, hi, of[t].v[6], 1e-12);
                assert_int_equal(alarm[t], of[t].v[7] != 0);
        }
        assert_true(fabs(hi - 52.5884) < 1e-4 && fabs(lo - 47.4115) < 1e-4);
}

static void cusum_is_the_handbooks(void **state)
{
        (void)state;
        struct row rows[200] = {0}, of[64];
        double x[64], hi[64], lo[64];
        bool alarm[64];
        size_t n = of_chart(rows, rows_read(rows, 200), "cusum", of, x);
        assert_int_equal(n, 20);
        assert_int_equal(rf_cusum(n, x, 325, 0.3175, 4.1959, false, hi, lo, alarm, NULL), CODE_OK);
        for (size_t t = 0; t < n; t++) {
                check_close("S_hi", (double)t, hi[t], of[t].v[1], 1e-12);
                check_close("S_lo", (double)t, lo[t], of[t].v[3], 1e-12);
                assert_int_equal(alarm[t], of[t].v[7] != 0);
        }
        assert_true(alarm[13] && !alarm[12] && fabs(hi[13] - 4.94) < 0.005); /* first alarm at observation 14, S_hi 4.94 */
        assert_int_equal(rf_cusum(n, x, 325, 0.3175, 4.1959, true, hi, lo, alarm, NULL), CODE_OK);
        assert_true(alarm[13] && !alarm[14] && hi[14] < 4.1959); /* as in operation: it starts again */
}

static void western_electric_rules_are_strict(void **state)
{
        (void)state;
        struct row rows[200] = {0}, of[64];
        double x[64];
        unsigned bits[64];
        size_t n = rows_read(rows, 200), charts = 0;
        for (char c = 'a'; c <= 'z'; c++) {
                char name[8];
                snprintf(name, sizeof name, "we_%c", c);
                size_t m = of_chart(rows, n, name, of, x);
                charts += m > 0;
                if (m == 0)
                        continue;
                assert_int_equal(rf_western_electric(m, x, 0, 1, bits, NULL), CODE_OK);
                for (size_t t = 0; t < m; t++)
                        if (bits[t] != (unsigned)of[t].v[7])
                                fail_msg("%s point %zu: bits %u, want %g", name, t + 1, bits[t], of[t].v[7]);
        }
        assert_true(charts >= 6);
}

static double draw(uint64_t *seed)
{
        double sum = 0; /* near enough to normal, s 1 */
        for (int k = 0; k < 12; k++) {
                *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
                sum += (double)(*seed >> 11) * 0x1p-53;
        }
        return sum - 6;
}

static void a_verdict_says_since_when(void **state)
{
        (void)state;
        uint64_t seed = 7;
        double room[400], x[90];
        struct rf_spc_answer a;
        size_t alarms = 0, found = 0, drifting = 0;
        long off = 0;
        for (int r = 0; r < 200; r++) {
                for (size_t t = 0; t < 40; t++)
                        x[t] = -30 + 0.2 * draw(&seed);
                assert_int_equal(rf_spc_judge("directivity", "dB", 30, x, 30, 0.1, room, &a, NULL), CODE_OK);
                assert_int_equal(a.verdict, RF_SPC_UNKNOWN);
                assert_int_equal(rf_spc_judge("directivity", "dB", 40, x, 30, 0.1, room, &a, NULL), CODE_OK);
                alarms += a.verdict != RF_SPC_STEADY;
                for (size_t t = 32; t < 40; t++)
                        x[t] += 0.8;
                assert_int_equal(rf_spc_judge("directivity", "dB", 40, x, 30, 0.1, room, &a, NULL), CODE_OK);
                if (a.verdict == RF_SPC_SHIFTED || a.verdict == RF_SPC_DRIFTING) {
                        found++;
                        off += labs((long)a.since - 32);
                }
                for (size_t t = 30; t < 50; t++)
                        x[t] = -30 + 0.2 * draw(&seed) + 0.15 * (double)(t - 30);
                assert_int_equal(rf_spc_judge("directivity", "dB", 50, x, 30, 0.1, room, &a, NULL), CODE_OK);
                drifting += a.verdict == RF_SPC_DRIFTING;
        }
        print_message("of 200 steady histories %zu alarmed at the last value; a shift of 4 s was found in %zu, on average %.2f values from "
                      "its place; a slope of 0.75 s a value in %zu\n",
                      alarms, found, (double)off / (double)found, drifting);
        assert_true(alarms <= 12);
        assert_true(found >= 195 && (double)off / (double)found < 1);
        assert_true(drifting >= 180);
        x[39] = -24;
        for (size_t t = 0; t < 39; t++)
                x[t] = -30 + 0.1 * draw(&seed);
        assert_int_equal(rf_spc_judge("directivity of port 1, 145 to 220 GHz", "dB", 40, x, 30, 0.1, room, &a, NULL), CODE_OK);
        assert_int_equal(a.verdict, RF_SPC_OUTLIER);
        assert_true(fabs(a.newest - a.target - 6) < 0.2);
        assert_non_null(strstr(a.sentence, "220 GHz is out by +"));
}

static void bad_charts_are_refused(void **state)
{
        (void)state;
        double x[30] = {0}, z[30], hi[30], lo[30], mean, s, room[200];
        unsigned bits[30];
        bool alarm[30];
        struct tp_error err = {0};
        struct rf_spc_answer a;
        for (int t = 0; t < 30; t++)
                x[t] = t % 2;
        assert_int_equal(rf_spc_sigma(19, x, &mean, &s, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_spc_sigma(30, x, &mean, &s, &err), CODE_OK);
        assert_true(fabs(mean - 0.5) < 1e-12 && fabs(s - 1 / 1.128) < 1e-12);
        x[3] = NAN;
        assert_int_equal(rf_spc_sigma(20, x, &mean, &s, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_ewma(30, x, 0.5, 1, 0.3, 3, z, NULL, NULL, alarm, &err), CODE_OK);
        assert_true(!alarm[3] && isfinite(z[29])); /* the chart goes on without it */
        assert_int_equal(rf_cusum(30, x, 0.5, 0.5, 5, true, hi, lo, alarm, &err), CODE_OK);
        assert_true(!alarm[3] && isfinite(hi[29]) && isfinite(lo[29]));
        assert_int_equal(rf_western_electric(30, x, 0.5, 1, bits, &err), CODE_OK);
        assert_int_equal(bits[3], 0);
        assert_int_equal(rf_ewma(30, x, 0.5, 0, 0.3, 3, z, NULL, NULL, alarm, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_ewma(30, x, 0.5, 1, 1.3, 3, z, NULL, NULL, alarm, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_ewma(30, x, NAN, 1, 0.3, 3, z, NULL, NULL, alarm, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_cusum(30, x, 0.5, -1, 5, true, hi, lo, alarm, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_western_electric(30, x, 0.5, NAN, bits, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_spc_judge("x", "dB", 30, x, 31, 0, room, &a, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_spc_judge("x", "dB", 30, x, 10, 0, room, &a, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "x: "));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(ewma_is_the_handbooks), cmocka_unit_test(cusum_is_the_handbooks),
                                           cmocka_unit_test(western_electric_rules_are_strict), cmocka_unit_test(a_verdict_says_since_when),
                                           cmocka_unit_test(bad_charts_are_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Noise where only the table and the dummies can tell of it: the receivers' floor and the trace's noise are beside the table by numbers of their
   own, and what is told of a transistor's elements is what they scatter by when all is swept again and again (evaluate_bench.h). */
#include "evaluate_asked.h"
#undef I
#include "evaluate/chain.h"

/* 0.06 S and 9 fF from collector to base, through which next to nothing comes back at 5 GHz. */
static struct chain_matrix transistor(double hz, const void *what)
{
        double complex w = J * TWO_PI * hz, mu = w * 9e-15;
        (void)what;
        return of_y(5e-4 + w * 50e-15 + mu, -mu, 0.06 - mu, 5e-4 + w * 12e-15 + mu);
}

/* Each of the four readings with noise of its own: the floor, and a share of what is read; per component. */
static struct raw_sweep heard(struct run *r, const struct raw_sweep *clean, double floor, double trace)
{
        struct raw_sweep raw = bench_room(r->b);
        raw.n = clean->n;
        for (size_t i = 0; i < clean->n; i++)
                for (int k = 0; k < 4; k++) {
                        double u = hypot(floor, trace * hypot(clean->re[k][i], clean->im[k][i]));
                        raw.re[k][i] = clean->re[k][i] + u * bench_noise(r->b);
                        raw.im[k][i] = clean->im[k][i] + u * bench_noise(r->b);
                }
        return raw;
}

static double number(struct run *r, const char *what, double *ret_noise)
{
        struct chain_question q = question(r);
        struct chain ch;
        struct tp_error err = {0};
        struct trio t;
        struct cause_list list;
        size_t j;
        double gain, squares = 0;
        if (chain_open(&q, r->b->arena, &ch, &err))
                fail_msg("%s", err.text);
        struct asked a = {.ch = &ch, .quantity = word(what), .rf = (enum rf_quantity)quantity_rf(word(what)), .hz = 5e9};
        assert_int_equal(chain_between(&ch, a.hz, &t, &j, &gain, &err), CODE_OK);
        causes_of(&a, &t, j, gain, &list);
        for (size_t k = 0; k < list.n; k++)
                squares += strcmp(list.name[k], "noise") ? 0 : list.dq[k] * list.dq[k];
        *ret_noise = squares;
        return asked_value(&a, asked_z(&a, &t));
}

static void floor_and_trace_are_told_each_by_itself(void **state)
{
        enum { SWEEPS = 200 };
        static const char *const words[] = {"C_mu", "hbt_gm"}; /* of the floor; of the trace */
        static const double beside[][2] = {{3, 0.5}, {0.5, 2}, {1, 1}};
        (void)state;
        for (size_t row = 0; row < 3; row++) {
                struct run r = run_new(DEVICE_TRANSISTOR, DEEMBED_OPEN_SHORT);
                open_and_short(&r);
                struct raw_sweep device = bench_two_port(r.b, transistor, NULL), open = r.dummy[RF_DUMMY_OPEN],
                                 short_ = r.dummy[RF_DUMMY_SHORT];
                double floor = beside[row][0] * noise_scaled(&r.b->sweep, 5e9, 1, 1, 0),
                       trace = beside[row][1] * noise_scaled(&r.b->sweep, 5e9, 1, 0, 1);
                double sum[2] = {0}, squares[2] = {0}, told[2] = {0}, first[2] = {0};
                for (int k = 0; k < SWEEPS; k++) {
                        r.device = heard(&r, &device, floor, trace);
                        r.dummy[RF_DUMMY_OPEN] = heard(&r, &open, floor, trace);
                        r.dummy[RF_DUMMY_SHORT] = heard(&r, &short_, floor, trace);
                        for (int n = 0; n < 2; n++) {
                                double noise, value = number(&r, words[n], &noise);
                                first[n] = k ? first[n] : value;
                                sum[n] += value - first[n];
                                squares[n] += pow(value - first[n], 2);
                                told[n] += noise / SWEEPS;
                        }
                }
                for (int n = 0; n < 2; n++) {
                        double mean = sum[n] / SWEEPS, scatter = sqrt(squares[n] / SWEEPS - mean * mean), ratio = scatter / sqrt(told[n]);
                        print_message("floor times %.2g, trace times %.2g: %s scatters by %.3g, told %.3g\n", beside[row][0],
                                      beside[row][1], words[n], scatter, sqrt(told[n]));
                        if (!(ratio > 0.75 && ratio < 1.35)) /* of a transmission |S| is taken for what is read, which mismatch raises */
                                fail_msg("%s: %.2f of what is told", words[n], ratio);
                }
                bench_free(r.b);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(floor_and_trace_are_told_each_by_itself)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

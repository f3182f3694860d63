/* evaluate_asked.h: questions of the quantities' tests: devices, dummies, and one run with all answers. */
#ifndef TIPPLANE_TESTS_EVALUATE_ASKED_H
#define TIPPLANE_TESTS_EVALUATE_ASKED_H
#include "evaluate_bench.h"
#include "rf/extract/extrinsic.h"
#include "rf/extract/quantity.h"

/* ---- devices ------------------------------------------------------------------------------------------------------------------------- */
static inline struct chain_matrix nothing(double hz)
{
        (void)hz;
        return in_series(0);
}

/* One pole: f |h21| is the same everywhere. */
static inline struct chain_matrix one_pole(double hz)
{
        double complex w = J * TWO_PI * hz;
        return of_y(w * 50e-15 / (1 + 4 * w * 50e-15), 0, 0.06 / (1 + 4 * w * 50e-15), 0.006);
}

static inline struct chain_matrix coil(double hz)
{
        double complex w = J * TWO_PI * hz, y3 = 1 / (1.5 + w * 250e-12) + w * 8e-15;
        return times(to_ground(w * 12e-15 + 1e-4), times(in_series(1 / y3), to_ground(w * 9e-15 + 2e-4)));
}

static inline struct chain_matrix the_line(double hz)
{
        return line(CMPLX(20 * sqrt(hz / 1e11), TWO_PI * hz * 2 / 299792458.0) * 300e-6, 60);
}

/* ---- one question -------------------------------------------------------------------------------------------------------------------- */
struct run {
        struct bench *b;
        struct calibration *c;
        struct raw_sweep device, dummy[RF_DUMMY_COUNT];
        struct parameter_answer *a;
        size_t n;
        struct tp_error err;
};

static inline struct run run_new(int32_t kind, int32_t deembed)
{
        struct run r = {.b = bench_new("unknown_thru")};
        r.b->devices[0].kind = kind;
        r.b->devices[0].length_um = kind == DEVICE_LINE ? 300 : 0;
        r.b->measures[0].deembed = deembed;
        r.c = bench_calibrate(r.b);
        return r;
}

static inline struct chain_question question(struct run *r)
{
        struct chain_question q = {.recipe = &r->b->recipe, .measure = &r->b->measures[0], .calibration = r->c, .raw = &r->device};
        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                q.dummies[k] = r->dummy[k].n ? &r->dummy[k] : NULL;
        return q;
}

static inline void ask_all(struct run *r)
{
        struct chain_question q = question(r);
        uint32_t flags;
        if (chain_run(&q, r->b->arena, &r->a, &r->n, &flags, &r->err))
                fail_msg("%s", r->err.text);
}

static inline void open_and_short(struct run *r)
{
        static const struct dut open = {DUT_OPEN, 0, 0, 0, NULL, false}, shorted = {DUT_SHORT, 0, 0, 0, NULL, false};
        r->dummy[RF_DUMMY_OPEN] = bench_device(r->b, &open);
        r->dummy[RF_DUMMY_SHORT] = bench_device(r->b, &shorted);
}

static inline int32_t word(const char *w)
{
        for (int32_t k = 1; quantity_words[k]; k++)
                if (strcmp(quantity_words[k], w) == 0)
                        return k;
        fail_msg("no quantity %s", w);
        return 0;
}

static inline void near_to(const struct parameter_answer *a, double want, double relative)
{
        if (!a->has_value || !(fabs(a->value - want) <= relative * fabs(want)))
                fail_msg("%s: %.12g, wanted %.12g within %.1g (%s)", quantity_words[a->plan->quantity], a->value, want, relative,
                         a->reason);
        if (!(a->u95 > 0 && isfinite(a->u95)))
                fail_msg("%s: u95 %.3g of %.9g", quantity_words[a->plan->quantity], a->u95, want);
}

#endif

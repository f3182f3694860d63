/* Every method recovers devices from 70 kHz to 220 GHz within four times the rounding floor (rf_floor.h). */
#include "rf_floor.h"

static struct wm2 coil(const struct synth *s, size_t i, const void *with)
{
        (void)with;
        return synth_load(s, i, &(struct synth_loads){{{.r = 1.5L, .l = 150e-12L, .c = 9e-15L}, {.r = 0.8L, .l = 40e-12L, .c = 4e-15L}}});
}
static struct wm2 resistor(const struct synth *s, size_t i, const void *with)
{
        (void)with;
        return synth_load(s, i, &(struct synth_loads){{{.r = 17, .l = 5e-12L}, {.r = 240, .l = 8e-12L, .c = 3e-15L}}});
}
static struct wm2 small_capacitor(const struct synth *s, size_t i, const void *with)
{
        (void)with;
        return synth_open(s, i, &(struct synth_two){{12e-15L, 90e-15L}});
}
static struct wm2 via(const struct synth *s, size_t i, const void *with)
{
        (void)with;
        return synth_short(s, i, &(struct synth_two){{11e-12L, 25e-12L}});
}
static synth_device *const one_ports[SYNTH_DEVICES] = {coil, resistor, small_capacitor, via};
static void sol(struct bench *b)
{
        devices_set(b, one_ports);
        add_lumped(b);
        within_the_floor(b, "sol");
}
static void sol_of_five(struct bench *b)
{
        devices_set(b, one_ports);
        add_lumped(b);
        add(b, RF_OPEN, synth_open, &(struct synth_two){{45e-15L, 60e-15L}}, true);
        add(b, RF_SHORT, synth_short, &(struct synth_two){{30e-12L, 40e-12L}}, true);
        within_the_floor(b, "sol");
}
static void solt(struct bench *b)
{
        add_lumped(b);
        add(b, RF_THRU, synth_thru,
            &(struct synth_thru){synth_draw(b->s, 0.5e-12, 2e-12), synth_draw(b->s, 0, 0.1), synth_draw(b->s, 45, 55)}, true);
        within_the_floor(b, "solt");
}
static void unknown_thru(struct bench *b)
{
        add_lumped(b);
        static double length = 420e-6;
        add(b, RF_THRU, synth_line, &length, false);
        b->p.thru_delay_s_guess = 2.5e-12;
        within_the_floor(b, "unknown_thru");
}

static void add_fixed_lines(struct bench *b, size_t n)
{
        static const double length[6] = {200e-6, 450e-6, 900e-6, 1800e-6, 3500e-6, 5250e-6};
        add_lines(b, n, length);
        tell_line_c(b);
}
static void multiline_pair(struct bench *b)
{
        add_fixed_lines(b, 2);
        within_the_floor(b, "multiline_trl");
}
static void multiline_six(struct bench *b)
{
        add_fixed_lines(b, 6);
        within_the_floor(b, "multiline_trl");
}

static void trl_pair(struct bench *b)
{
        add_fixed_lines(b, 2);
        within_the_floor(b, "trl");
}

/* Lossy and mismatched, but alike from both sides. */
static void add_thru(struct bench *b, double z_ohm)
{
        add(b, RF_THRU, synth_thru, &(struct synth_thru){synth_draw(b->s, 0.5e-12, 1e-12), synth_draw(b->s, 0, 0.1), z_ohm}, true);
}
static void add_same(struct bench *b, bool short_too)
{
        long double c = synth_draw(b->s, -9e-15, 3e-15), l = synth_draw(b->s, 1e-12, 5e-12);
        add(b, RF_OPEN, synth_open, &(struct synth_two){{c, c}}, false);
        if (short_too)
                add(b, RF_SHORT, synth_short, &(struct synth_two){{l, l}}, false);
}
static void add_match(struct bench *b, bool equal)
{
        struct synth_load one = {.r = synth_draw(b->s, 48, 52), .l = synth_draw(b->s, -5e-12, 9e-12)},
                          two = {.r = synth_draw(b->s, 48, 52), .l = synth_draw(b->s, -5e-12, 9e-12)};
        add(b, RF_LOAD, synth_load, &(struct synth_loads){{one, equal ? one : two}}, true);
}
static void lrm_matched(struct bench *b)
{
        add_thru(b, 0);
        add_same(b, false);
        add(b, RF_LOAD, synth_load, &(struct synth_loads){{{.r = 50}, {.r = 50}}}, true);
        within_the_floor(b, "lrm");
}
static void lrm_mismatched(struct bench *b)
{
        add_thru(b, 38);
        add_same(b, true);
        add_match(b, true);
        within_the_floor(b, "lrm");
}
/* Not alike from both sides: a line with a capacitance at one end and a resistance at the other. */
static struct wm2 unequal(const struct synth *s, size_t i, const void *with)
{
        wide g, zc;
        (void)with;
        synth_gamma_zc(s, i, &g, &zc);
        struct wm2 m = wm2_mul(wm2_of(1, 0, wide_of(0, synth_w(s, i) * 4e-15L), 1), synth_abcd_line(g * 150e-6L, zc));
        return wm2_s_from_abcd(wm2_mul(m, wm2_of(1, 3, 0, 1)), 50);
}
static void lrm_unequal(struct bench *b)
{
        add(b, RF_THRU, unequal, NULL, true);
        add_same(b, false);
        add_match(b, false);
        within_the_floor(b, "lrm");
}
static void lrrm(struct bench *b)
{
        add_thru(b, 45);
        add_same(b, true);
        add_match(b, false);
        b->standards[3].ports = 1;
        b->p.match_fit = RF_MATCH_FIXED;
        within_the_floor(b, "lrrm");
}
static void known_standards(struct bench *b)
{
        static double length = 300e-6;
        add_lumped(b);
        add_thru(b, 45);
        add(b, RF_LINE, synth_line, &length, true);
        for (size_t k = 0; k < b->p.standard_n; k++)
                b->standards[k].u_ideal = 0.001 * (double)(k + 1);
        within_the_floor(b, "known_standards");
}

EACH(sol)
EACH(sol_of_five)
EACH(solt)
EACH(unknown_thru)
EACH(trl_pair)
EACH(lrm_matched)
EACH(lrm_mismatched)
EACH(lrm_unequal)
EACH(lrrm)
EACH(known_standards)
EACH(multiline_pair)
EACH(multiline_six)

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(sol_errs_by_less_than_four_floors),
                cmocka_unit_test(sol_of_five_errs_by_less_than_four_floors),
                cmocka_unit_test(solt_errs_by_less_than_four_floors),
                cmocka_unit_test(unknown_thru_errs_by_less_than_four_floors),
                cmocka_unit_test(lrm_matched_errs_by_less_than_four_floors),
                cmocka_unit_test(lrm_mismatched_errs_by_less_than_four_floors),
                cmocka_unit_test(lrm_unequal_errs_by_less_than_four_floors),
                cmocka_unit_test(lrrm_errs_by_less_than_four_floors),
                cmocka_unit_test(known_standards_errs_by_less_than_four_floors),
                cmocka_unit_test(trl_pair_errs_by_less_than_four_floors),
                cmocka_unit_test(multiline_pair_errs_by_less_than_four_floors),
                cmocka_unit_test(multiline_six_errs_by_less_than_four_floors),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

/* The options of the methods, too, recover devices from 70 kHz to 220 GHz within four times the rounding floor (rf_floor.h): more standards
   than are needed, matches whose L, C or R is found, lines of any lengths whose impedance is not known. */
#include "rf_floor.h"

static void add_thrus(struct bench *b, bool known, size_t n)
{
        for (size_t k = 0; k < n; k++)
                add(b, RF_THRU, synth_thru,
                    &(struct synth_thru){synth_draw(b->s, 0.3e-12, 0.6e-12) * (double)(k + 1), synth_draw(b->s, 0, 0.1),
                                         synth_draw(b->s, 45, 55)},
                    known);
}
static void solt_of_three_thrus(struct bench *b)
{
        add_lumped(b);
        add_thrus(b, true, 3);
        within_the_floor(b, "solt");
}
static void unknown_thru_of_three(struct bench *b)
{
        add_lumped(b);
        add_thrus(b, false, 3);
        b->p.thru_delay_s_guess = 0.5e-12;
        within_the_floor(b, "unknown_thru");
}

static void add_reflect(struct bench *b, enum rf_standard_kind kind)
{
        long double x = kind == RF_OPEN ? synth_draw(b->s, -9e-15, -3e-15) : synth_draw(b->s, 1e-12, 5e-12);
        add(b, kind, kind == RF_OPEN ? synth_open : synth_short, &(struct synth_two){{x, x}}, false);
}
static void lrm_of_three_reflects(struct bench *b)
{
        add_thrus(b, true, 1);
        add_reflect(b, RF_OPEN);
        add_reflect(b, RF_SHORT);
        add_reflect(b, RF_SHORT);
        add(b, RF_LOAD, synth_load,
            &(struct synth_loads){{{.r = synth_draw(b->s, 48, 52), .l = synth_draw(b->s, 0, 9e-12)},
                                   {.r = synth_draw(b->s, 48, 52), .l = synth_draw(b->s, 0, 9e-12)}}},
            true);
        within_the_floor(b, "lrm");
}

/* The match is told with its resistance (from the open: with 50 ohm), the rest is found. */
static void lrrm_found(struct bench *b, enum rf_match_fit fit)
{
        struct synth_load match = {.r = synth_draw(b->s, 48, 52),
                                   .l = synth_draw(b->s, 3e-12, 9e-12),
                                   .c = fit == RF_MATCH_FIT_L_C ? synth_draw(b->s, 2e-15, 6e-15) : 0},
                          told = {.r = fit == RF_MATCH_FROM_OPEN ? 50 : match.r};
        struct synth_two open = {{0, 0}};
        open.port[0] = open.port[1] = synth_draw(b->s, -9e-15, -3e-15);
        add(b, RF_THRU, synth_thru, &(struct synth_thru){synth_draw(b->s, 0.5e-12, 1e-12), synth_draw(b->s, 0, 0.1), 46}, true);
        add(b, RF_OPEN, synth_open, &open, fit == RF_MATCH_FROM_OPEN);
        add_reflect(b, RF_SHORT);
        struct rf_standard *load = add(b, RF_LOAD, synth_load, &(struct synth_loads){{match, match}}, false);
        load->ideal = synth_ideal(b->s, synth_load, &(struct synth_loads){{told, told}});
        load->ports = 1;
        b->p.match_fit = fit;
        within_the_floor(b, "lrrm");
}
static void lrrm_l(struct bench *b) { lrrm_found(b, RF_MATCH_FIT_L); }
static void lrrm_l_and_c(struct bench *b) { lrrm_found(b, RF_MATCH_FIT_L_C); }
static void lrrm_from_open(struct bench *b) { lrrm_found(b, RF_MATCH_FROM_OPEN); }

/* Devices as they are in the impedance of this seed's line. */
#define IN_ZC(device)                                                                       \
        static struct wm2 device##_in_zc(const struct synth *s, size_t i, const void *with) \
        {                                                                                   \
                wide g, zc;                                                                 \
                synth_gamma_zc(s, i, &g, &zc);                                              \
                return wm2_renormalise(synth_devices[device](s, i, with), 50, zc);          \
        }
enum { FIRST, SECOND, THIRD, FOURTH };
IN_ZC(FIRST)
IN_ZC(SECOND)
IN_ZC(THIRD)
IN_ZC(FOURTH)
static synth_device *const in_zc[SYNTH_DEVICES] = {FIRST_in_zc, SECOND_in_zc, THIRD_in_zc, FOURTH_in_zc};

/* Other lengths for every seed. */
static void add_drawn_lines(struct bench *b, size_t n)
{
        double *length = arena_take(b->s->arena, n * sizeof *length);
        length[0] = synth_draw(b->s, 150e-6, 400e-6);
        for (size_t k = 1; k < n; k++)
                length[k] = length[k - 1] + synth_draw(b->s, 150e-6, 1500e-6);
        add_lines(b, n, length);
}
static void lines_of_any_lengths(struct bench *b)
{
        add_drawn_lines(b, 3 + (size_t)synth_draw(b->s, 0, 4));
        tell_line_c(b);
        within_the_floor(b, "multiline_trl");
}
static void lines_of_unknown_impedance(struct bench *b)
{
        add_drawn_lines(b, 4);
        b->truth = in_zc;
        within_the_floor(b, "multiline_trl");
}

EACH(solt_of_three_thrus)
EACH(unknown_thru_of_three)
EACH(lrm_of_three_reflects)
EACH(lrrm_l)
EACH(lrrm_l_and_c)
EACH(lrrm_from_open)
EACH(lines_of_any_lengths)
EACH(lines_of_unknown_impedance)

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(solt_of_three_thrus_errs_by_less_than_four_floors),
                cmocka_unit_test(unknown_thru_of_three_errs_by_less_than_four_floors),
                cmocka_unit_test(lrm_of_three_reflects_errs_by_less_than_four_floors),
                cmocka_unit_test(lrrm_l_errs_by_less_than_four_floors),
                cmocka_unit_test(lrrm_l_and_c_errs_by_less_than_four_floors),
                cmocka_unit_test(lrrm_from_open_errs_by_less_than_four_floors),
                cmocka_unit_test(lines_of_any_lengths_errs_by_less_than_four_floors),
                cmocka_unit_test(lines_of_unknown_impedance_errs_by_less_than_four_floors),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

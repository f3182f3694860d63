/* The bipolar transistor of the simulated wafer against nodes written down here by hand: seven nodes, every element between two of them,
   reduced by elimination; currents and voltages by the junctions' own equations.  All its elements are invented. */
#include "simulators_world.h"
#include "simulators/true_values.h"
#include <math.h>

#define VT 0.025693
enum { BASE, COLLECTOR, OUTER, BEHIND_L, INNER_B, INNER_C, INNER_E, NODES };
static const struct sim_device made = {.kind = DEVICE_TRANSISTOR,
                                       .defect = DEFECT_NONE,
                                       .beta = 120,
                                       .beta_r = 2,
                                       .is_a = 1e-18,
                                       .tf_s = 0.6e-12,
                                       .tr_s = 8e-12,
                                       .early_v = 40,
                                       .c_f = 40e-15,
                                       .cp_f = 9e-15,
                                       .cx_f = 5e-15,
                                       .csub_f = 14e-15,
                                       .tau_s = 0.2e-12,
                                       .r_ohm = 7,
                                       .ri_ohm = 6,
                                       .rd_ohm = 5,
                                       .rs_ohm = 2,
                                       .l_h = 20e-12,
                                       .ld_h = 15e-12,
                                       .ls_h = 3e-12};

struct nodes {
        double complex y[NODES][NODES];
};
static void put(struct nodes *n, int a, int b, double complex y) /* b < 0: to ground */
{
        n->y[a][a] += y;
        if (b < 0)
                return;
        n->y[b][b] += y;
        n->y[a][b] -= y;
        n->y[b][a] -= y;
}
/* y (v_c1 - v_c2) flows from a to b */
static void control(struct nodes *n, int a, int b, int c1, int c2, double complex y)
{
        n->y[a][c1] += y;
        n->y[a][c2] -= y;
        n->y[b][c1] -= y;
        n->y[b][c2] += y;
}
static struct y2 at_ports(struct nodes n)
{
        for (int k = NODES - 1; k > COLLECTOR; k--)
                for (int a = 0; a < k; a++)
                        for (int b = 0; b < k; b++)
                                n.y[a][b] -= n.y[a][k] * n.y[k][b] / n.y[k][k];
        struct y2 r = {n.y[0][0], n.y[0][1], n.y[1][0], n.y[1][1]};
        return r;
}
static double depleted(double c, double v) { return c * pow(1 - v / 0.8, -1.0 / 3); }

/* Transport currents forward and reverse, the junctions' voltages. */
static struct y2 by_nodes(const struct sim_device *d, double hz, double forward, double reverse, double be_v, double bc_v)
{
        struct nodes n = {{{0}}};
        double w = 2 * M_PI * hz;
        double complex j = CMPLX(0, w);
        put(&n, BASE, OUTER, 1 / (j * d->l_h + 0.0));
        put(&n, OUTER, BEHIND_L, 1 / d->r_ohm);
        put(&n, BEHIND_L, INNER_B, 1 / d->ri_ohm);
        put(&n, COLLECTOR, INNER_C, 1 / (d->rd_ohm + j * d->ld_h));
        put(&n, INNER_E, -1, 1 / (d->rs_ohm + j * d->ls_h));
        put(&n, INNER_B, INNER_E, forward / VT / d->beta + j * (forward / VT * d->tf_s + depleted(d->c_f, be_v)));
        put(&n, INNER_B, INNER_C, reverse / VT / d->beta_r + j * (reverse / VT * d->tr_s + depleted(d->cp_f, bc_v)));
        put(&n, BEHIND_L, INNER_C, j * depleted(d->cx_f, bc_v));
        put(&n, INNER_C, INNER_E, j * d->csub_f + (reverse > 0 ? 0 : forward / d->early_v));
        control(&n, INNER_C, INNER_E, INNER_B, INNER_E, forward / VT * cexp(-j * d->tau_s));
        control(&n, INNER_E, INNER_C, INNER_B, INNER_C, reverse / VT);
        return at_ports(n);
}
static void same(struct y2 a, struct y2 b, double relative, const char *what, double hz)
{
        double most = fmax(fmax(cabs(b.e11), cabs(b.e12)), fmax(cabs(b.e21), cabs(b.e22)));
        double off = fmax(fmax(cabs(a.e11 - b.e11), cabs(a.e12 - b.e12)), fmax(cabs(a.e21 - b.e21), cabs(a.e22 - b.e22)));
        if (!(off <= relative * most))
                fail_msg("%s at %.3g Hz: %.3g beside the nodes' of %.3g S", what, hz, off, most);
}

static void its_three_states_are_those_of_its_nodes(void **state)
{
        (void)state;
        struct sim_device d = made;
        double base_a = 1e-4, ic = 120 * base_a, be_v = VT * log(ic / 1e-18 + 1);
        struct sim_bias on = {.volt = {1.2, 1.5}, .ampere = {base_a, 0}, .held = {true, false}},
                        open = {.volt = {1.2, 1}, .ampere = {4e-3, 0}, .held = {true, true}}, off = {.volt = {-0.5, 1}};
        double reverse = 4e-3 / (1.5 / 120 + 0.5), forward = 1.5 * reverse;
        for (double hz = 1e8; hz < 200e9; hz *= 1.7) {
                same(device_biased_y(&d, hz, &on), by_nodes(&d, hz, ic, 0, 0.4, be_v - 1.5), 1e-9, "on", hz);
                same(device_biased_y(&d, hz, &open), by_nodes(&d, hz, forward, reverse, 0.4, 0.4), 1e-9, "collector open", hz);
                same(device_biased_y(&d, hz, &off), by_nodes(&d, hz, 0, 0, -0.5, -1.5), 1e-9, "off", hz);
        }
        d.cx_f = 0; /* inside: a hybrid pi and nothing else */
        struct true_at in = {.hz = 5e9, .bias = on, .inside = true};
        static const struct {
                enum true_quantity q;
                double want;
        } inside[] = {{TRUE_HBT_GM, 0.012 / VT}, {TRUE_HBT_TAU, 0.2e-12}, {TRUE_R_PI, 120 * VT / 0.012},
                      {TRUE_HBT_BETA, 120},      {TRUE_R_O, 40 / 0.012},  {TRUE_R_IN, 13},
                      {TRUE_R_OUT, 5},           {TRUE_R_COMMON, 2},      {TRUE_L_COMMON, 3e-12}};
        for (size_t k = 0; k < sizeof inside / sizeof inside[0]; k++)
                if (!(fabs(true_value_at(&d, inside[k].q, &in) / inside[k].want - 1) < 1e-6))
                        fail_msg("%s: %.9g, wanted %.9g", true_quantity_words[inside[k].q], true_value_at(&d, inside[k].q, &in),
                                 inside[k].want);
        double c_pi = 0.012 / VT * 0.6e-12 + depleted(40e-15, 0.4), c_mu = depleted(9e-15, be_v - 1.5);
        assert_true(fabs(true_value_at(&d, TRUE_C_PI, &in) / c_pi - 1) < 1e-9 && fabs(true_value_at(&d, TRUE_C_MU, &in) / c_mu - 1) < 1e-9);
        /* fT by the textbook, with what RE and RC add */
        double gm = 0.012 / VT, ft = 1 / (2 * M_PI * ((c_pi + c_mu) / gm + (2 + 5) * c_mu));
        in.inside = false;
        d.tau_s = 0;
        d.early_v = 0;
        d.csub_f = 0;
        d.l_h = d.ld_h = d.ls_h = 0;
        assert_true(fabs(true_value_at(&d, TRUE_FT, &in) / ft - 1) < 0.02);
        /* and fmax = sqrt(fT/(8 pi RB C_mu)) */
        assert_true(fabs(true_value_at(&d, TRUE_FMAX, &in) / sqrt(ft / (8 * M_PI * 13 * c_mu)) - 1) < 0.05);
}

/* At DC: where the base stands, what the collector draws, both in their limits. */
static void its_currents_are_those_of_its_junctions(void **state)
{
        (void)state;
        struct sim_bias b = {.volt = {1.2, 1.5}, .ampere = {1e-4, 0}, .held = {true, false}};
        struct bipolar_dc at = bipolar_dc(&made, &b);
        double base_v = VT * log(0.012 / 1e-18 + 1) + 1e-4 * 13 + 0.0121 * 2;
        assert_true(fabs(at.volt[0] - base_v) < 1e-9 && fabs(at.collector_a - 0.012) < 1e-12 && at.base_a == 1e-4);
        b.volt[0] = 0.9; /* below where it would stand */
        at = bipolar_dc(&made, &b);
        assert_true(fabs(at.volt[0] - 0.9) < 1e-9 && at.base_a < 1e-4 && at.base_a > 0);
        assert_true(fabs(VT * log(120 * at.base_a / 1e-18 + 1) + at.base_a * (13 + 121 * 2) - 0.9) < 1e-9);
        b.held[0] = false; /* the same by a voltage */
        assert_true(fabs(bipolar_dc(&made, &b).base_a / at.base_a - 1) < 1e-9);
        b.volt[0] = 0;
        at = bipolar_dc(&made, &b);
        assert_true(at.base_a == 0 && at.collector_a == 0);
        b = (struct sim_bias){.volt = {2, 1}, .ampere = {4e-3, 0}, .held = {true, true}}; /* open: nothing flows, 10 mV over RE's share */
        at = bipolar_dc(&made, &b);
        assert_true(fabs(at.collector_a) < 1e-15 && fabs(at.volt[1] - (VT * log(1.5) + 8e-3)) < 1e-9);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(its_three_states_are_those_of_its_nodes),
                cmocka_unit_test(its_currents_are_those_of_its_junctions),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

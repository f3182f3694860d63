/* quantities.c: the words of what a recipe can ask and of how pads come off, and what they are in rf/.
 * Words       the first ten are the recipe's own: L, Q, C, R, SRF look at the series branch, or at port 1 where the contact goes to ground.
 *             All others are rows of rf_quantities[], found by their word; tests hold words and units of both tables together. */
#include "recipe/recipe_own.h"
#include "rf/deembed/deembed.h"
#include "rf/extract/extrinsic.h"
#include "rf/extract/quantity.h"
#include <string.h>

const char *const quantity_words[] = {
        "unknown", "L",      "Q",         "C",       "R",        "SRF",         "eps_eff", "loss",       "Zc",       "S21_dB",
        "L11",     "R11",    "Q11",       "C11",     "Ld",       "Rd",          "Qd",      "QCd",        "Cd",       "pi_G1",
        "pi_C1",   "pi_G2",  "pi_C2",     "tee_R1",  "tee_L1",   "tee_R2",      "tee_L2",  "tee_R3",     "tee_L3",   "tee_C3",
        "S11_dB",  "S22_dB", "Sdd_dB",    "Sdc_dB",  "Scd_dB",   "Scc_dB",      "Zc_im",   "beta",       "delay",    "R_line",
        "L_line",  "G_line", "C_line",    "h21",     "h21_dB",   "U",           "U_dB",    "K",          "mu",       "mu_prime",
        "MSG_dB",  "MAG",    "MAG_dB",    "Gmax_dB", "gm",       "gm_tau",      "gds",     "Cgs",        "Cgd",      "Cds",
        "Ri",      "Rgd",    "hbt_gm",    "hbt_tau", "R_pi",     "C_pi",        "C_mu",    "R_o",        "hbt_beta", "SRF11",
        "SRFd",    "fT",     "fT_im",     "fmax",    "fmax_MAG", "group_delay", "Q11_max", "Q11_max_hz", "Qd_max",   "Qd_max_hz",
        "c_in",    "c_out",  "c_between", "l_in",    "l_out",    "l_common",    "r_in",    "r_out",      "r_common", NULL};
const char *const quantity_units[] = {
        "",    "H",   "1",  "F",     "ohm", "Hz",  "1",   "dB/mm", "ohm", "dB",  "H",   "ohm", "1",  "F",   "H",   "ohm", "1",   "1",
        "F",   "S",   "F",  "S",     "F",   "ohm", "H",   "ohm",   "H",   "ohm", "H",   "F",   "dB", "dB",  "dB",  "dB",  "dB",  "dB",
        "ohm", "1/m", "s",  "ohm/m", "H/m", "S/m", "F/m", "1",     "dB",  "1",   "dB",  "1",   "1",  "1",   "dB",  "1",   "dB",  "dB",
        "S",   "s",   "S",  "F",     "F",   "F",   "ohm", "ohm",   "S",   "s",   "ohm", "F",   "F",  "ohm", "1",   "Hz",  "Hz",  "Hz",
        "Hz",  "Hz",  "Hz", "s",     "1",   "Hz",  "1",   "Hz",    "F",   "F",   "F",   "H",   "H",  "H",   "ohm", "ohm", "ohm", NULL};
_Static_assert(sizeof quantity_words / sizeof quantity_words[0] == QUANTITY_COUNT + 1, "each quantity has its word");
_Static_assert((int)QUANTITY_COUNT == (int)QUANTITY_EXTRINSIC + (int)RF_X_COUNT, "each element around a transistor is a quantity");
_Static_assert(sizeof quantity_units / sizeof quantity_units[0] == QUANTITY_COUNT + 1, "each quantity has its unit");

const char *const freq_wish_words[] = {"frequency", "best_window", NULL};
const char *const deembed_words[] = {"none",       "open",    "open_short", "short", "short_open", "pad_open_short",
                                     "three_step", "thru_pi", "thru_tee",   "l_2l",  "two_x_thru", NULL};
_Static_assert(sizeof deembed_words / sizeof deembed_words[0] == DEEMBED_COUNT + 1, "each de-embedding has its word");

int32_t quantity_rf(int32_t quantity)
{
        return quantity >= QUANTITY_TABLE && quantity < QUANTITY_EXTRINSIC ? (int32_t)rf_quantity_of(quantity_words[quantity]) : 0;
}

int32_t quantity_extrinsic(int32_t quantity)
{
        return quantity >= QUANTITY_EXTRINSIC && quantity < QUANTITY_COUNT ? quantity - QUANTITY_EXTRINSIC : -1;
}

bool quantity_inside(int32_t quantity)
{
        enum rf_group g = rf_quantities[quantity_rf(quantity)].group;
        return g == RF_GROUP_FET || g == RF_GROUP_HBT;
}

bool quantity_of_sweep(int32_t quantity)
{
        return quantity == QUANTITY_SRF || quantity_extrinsic(quantity) >= 0 ||
               rf_quantities[quantity_rf(quantity)].group == RF_GROUP_SWEEP;
}

int32_t deembed_rf(int32_t deembed)
{
        return deembed > DEEMBED_NONE && deembed < DEEMBED_COUNT ? (int32_t)rf_deembed_method(deembed_words[deembed]) : 0;
}

int measure_condition(const struct measure *m, const char *name)
{
        for (size_t c = 0; c < m->condition_n; c++)
                if (name[0] && strcmp(m->conditions[c].name, name) == 0)
                        return (int)c;
        return -1;
}

bool condition_is_state(const struct measure *m, int condition)
{
        const struct extrinsic_plan *x = &m->extrinsic;
        bool is = x->off[0] && measure_condition(m, x->off) == condition;
        for (size_t k = 0; k < x->cold_n; k++)
                is |= measure_condition(m, x->cold[k].condition) == condition;
        return m->has_extrinsic && is;
}

bool quantity_amplifies(int32_t quantity)
{
        enum rf_quantity q = (enum rf_quantity)quantity_rf(quantity);
        return q == RF_Q_FET_GM || q == RF_Q_FET_TAU || q == RF_Q_HBT_GM || q == RF_Q_HBT_TAU || q == RF_Q_HBT_BETA || q == RF_Q_FT ||
               q == RF_Q_FT_IM || q == RF_Q_FMAX || q == RF_Q_FMAX_MAG;
}

const char *measure_dummy(const struct measure *m, int dummy)
{
        switch ((enum rf_dummy)dummy) {
        case RF_DUMMY_OPEN:
                return m->open;
        case RF_DUMMY_SHORT:
                return m->short_;
        case RF_DUMMY_PAD:
                return m->pad;
        case RF_DUMMY_THRU:
                return m->thru;
        case RF_DUMMY_SHORT_LEFT:
                return m->short_left;
        case RF_DUMMY_SHORT_RIGHT:
                return m->short_right;
        case RF_DUMMY_LINE:
                return m->line;
        case RF_DUMMY_LINE_DOUBLE:
                return m->line_double;
        case RF_DUMMY_TWO_X_THRU:
                return m->two_x_thru;
        case RF_DUMMY_DEVICE:
        case RF_DUMMY_HALF:
        case RF_DUMMY_COUNT:
                break;
        }
        return "";
}

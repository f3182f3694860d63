/* quantities.c: the words of what a recipe can ask and of how pads come off, and what they are in rf/.
 * Words       the first ten are the recipe's own: L, Q, C, R, SRF look at the series branch, or at port 1 where the contact goes to ground.
 *             All others are rows of rf_quantities[], found by their word; tests hold words and units of both tables together. */
#include "recipe/recipe_own.h"
#include "rf/deembed/deembed.h"
#include "rf/extract/quantity.h"
#include <string.h>

const char *const quantity_words[] = {
        "unknown",    "L",      "Q",         "C",      "R",      "SRF",      "eps_eff", "loss",   "Zc",       "S21_dB",      "L11",
        "R11",        "Q11",    "C11",       "Ld",     "Rd",     "Qd",       "QCd",     "Cd",     "pi_G1",    "pi_C1",       "pi_G2",
        "pi_C2",      "tee_R1", "tee_L1",    "tee_R2", "tee_L2", "tee_R3",   "tee_L3",  "tee_C3", "S11_dB",   "S22_dB",      "Sdd_dB",
        "Sdc_dB",     "Scd_dB", "Scc_dB",    "Zc_im",  "beta",   "delay",    "R_line",  "L_line", "G_line",   "C_line",      "h21",
        "h21_dB",     "U",      "U_dB",      "K",      "mu",     "mu_prime", "MSG_dB",  "MAG",    "MAG_dB",   "Gmax_dB",     "gm",
        "gm_tau",     "gds",    "Cgs",       "Cgd",    "Cds",    "Ri",       "Rgd",     "hbt_gm", "hbt_tau",  "R_pi",        "C_pi",
        "C_mu",       "R_o",    "hbt_beta",  "SRF11",  "SRFd",   "fT",       "fT_im",   "fmax",   "fmax_MAG", "group_delay", "Q11_max",
        "Q11_max_hz", "Qd_max", "Qd_max_hz", NULL};
const char *const quantity_units[] = {"",    "H",   "1",  "F",  "ohm", "Hz",  "1",  "dB/mm", "ohm", "dB",  "H",  "ohm",   "1",   "F",
                                      "H",   "ohm", "1",  "1",  "F",   "S",   "F",  "S",     "F",   "ohm", "H",  "ohm",   "H",   "ohm",
                                      "H",   "F",   "dB", "dB", "dB",  "dB",  "dB", "dB",    "ohm", "1/m", "s",  "ohm/m", "H/m", "S/m",
                                      "F/m", "1",   "dB", "1",  "dB",  "1",   "1",  "1",     "dB",  "1",   "dB", "dB",    "S",   "s",
                                      "S",   "F",   "F",  "F",  "ohm", "ohm", "S",  "s",     "ohm", "F",   "F",  "ohm",   "1",   "Hz",
                                      "Hz",  "Hz",  "Hz", "Hz", "Hz",  "s",   "1",  "Hz",    "1",   "Hz",  NULL};
_Static_assert(sizeof quantity_words / sizeof quantity_words[0] == QUANTITY_COUNT + 1, "each quantity has its word");
_Static_assert(sizeof quantity_units / sizeof quantity_units[0] == QUANTITY_COUNT + 1, "each quantity has its unit");

const char *const freq_wish_words[] = {"frequency", "best_window", NULL};
const char *const deembed_words[] = {"none",       "open",    "open_short", "short", "short_open", "pad_open_short",
                                     "three_step", "thru_pi", "thru_tee",   "l_2l",  "two_x_thru", NULL};
_Static_assert(sizeof deembed_words / sizeof deembed_words[0] == DEEMBED_COUNT + 1, "each de-embedding has its word");

int32_t quantity_rf(int32_t quantity)
{
        return quantity >= QUANTITY_TABLE && quantity < QUANTITY_COUNT ? (int32_t)rf_quantity_of(quantity_words[quantity]) : 0;
}

bool quantity_of_sweep(int32_t quantity)
{
        return quantity == QUANTITY_SRF || rf_quantities[quantity_rf(quantity)].group == RF_GROUP_SWEEP;
}

int32_t deembed_rf(int32_t deembed)
{
        return deembed > DEEMBED_NONE && deembed < DEEMBED_COUNT ? (int32_t)rf_deembed_method(deembed_words[deembed]) : 0;
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

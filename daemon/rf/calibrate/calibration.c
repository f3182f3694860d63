/* calibration.c: the table of methods (calibration.h). */
#include "rf/calibrate/calibration.h"
#include "rf/calibrate/lines/lines.h"
#include "rf/calibrate/solve.h"
#include <string.h>

const char *const rf_standard_words[RF_STANDARD_COUNT + 1] = {"unknown", "open", "short", "load", "thru", "line", "reflect", "known", NULL};
const char *const rf_match_fit_words[RF_MATCH_FIT_COUNT + 1] = {"inductance", "fixed", "inductance_and_capacitance", "from_open", NULL};
static const struct need sol_needs[] = {{RF_OPEN, 1, true, "an open with its definition", 0},
                                        {RF_SHORT, 1, true, "a short with its definition", 0},
                                        {RF_LOAD, 1, true, "a load with its definition", 0}};
static const struct need solt_needs[] = {{RF_OPEN, 1, true, "an open with its definition", 0},
                                         {RF_SHORT, 1, true, "a short with its definition", 0},
                                         {RF_LOAD, 1, true, "a load with its definition", 0},
                                         {RF_THRU, 1, true, "a thru with its definition", 0}};
static const struct need unknown_thru_needs[] = {{RF_OPEN, 1, true, "an open with its definition", 0},
                                                 {RF_SHORT, 1, true, "a short with its definition", 0},
                                                 {RF_LOAD, 1, true, "a load with its definition", 0},
                                                 {RF_THRU, 1, false, "a reciprocal thru and its delay to a quarter period", 0}};
static const struct need lrm_needs[] = {
        {RF_THRU, 1, true, "a thru with its definition; it may be lossy and mismatched", 0},
        {RF_LOAD, 1, true, "a match with its definition, at both ports: results are relative to it", 0},
        {RF_REFLECT, 0, false, "a reflect equal at both ports, with its estimate (or an open or short below)", 0},
        {RF_OPEN, 0, false, "an open equal at both ports, nothing else known", 0},
        {RF_SHORT, 0, false, "a short equal at both ports, nothing else known", 0}};
static const struct need lrrm_needs[] = {
        {RF_THRU, 1, true, "a thru with its definition, alike from both sides and well below 90 degrees at the highest frequency", 0},
        {RF_OPEN, 1, false, "an open equal at both ports and without loss (a definition only for the variant from_open)", 0},
        {RF_SHORT, 1, false, "a short equal at both ports", 0},
        {RF_LOAD, 1, true, "a match with its resistance, at port 1; its inductance is found", 1}};
static const struct need known_needs[] = {{RF_THRU, 0, true, "thrus with their definitions; one standard must transmit", 0},
                                          {RF_LINE, 0, true, "lines with their definitions", 0},
                                          {RF_OPEN, 0, true, "opens with their definitions", 0},
                                          {RF_SHORT, 0, true, "shorts with their definitions", 0},
                                          {RF_LOAD, 0, true, "loads with their definitions", 0},
                                          {RF_KNOWN, 0, true, "any other two-ports with their definitions", 0}};
static const struct need trl_needs[] = {{RF_LINE, 2, false, "a thru (the first one) and one longer line, lengths known", 0},
                                        {RF_REFLECT, 1, false, "a reflect, equal at both ports, with estimate and offset", 0}};
static const struct need multiline_needs[] = {{RF_LINE, 2, false, "lines of different, known lengths; the first is the thru", 0},
                                              {RF_REFLECT, 1, false, "a reflect, equal at both ports, with estimate and offset", 0}};

static const struct need sixteen_needs[] = {{RF_KNOWN, 0, true, "a two-port with its definition", 0},
                                            {RF_OPEN, 0, true, "opens at both ports with their definitions", 0},
                                            {RF_SHORT, 0, true, "shorts at both ports with their definitions", 0},
                                            {RF_LOAD, 0, true, "loads at both ports with their definitions", 0},
                                            {RF_THRU, 0, true, "a thru with its definition", 0}};

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
static size_t no_workspace(size_t n, size_t standards) { return net2_stride(n * standards + n * 6) * sizeof(double); }

const struct method rf_methods[] = {
        {"sol",
         "one port at a time from three or more known reflections; more than three are weighed by their uncertainty and leave residuals", 1,
         3, sol_needs, COUNT(sol_needs), no_workspace, sol_solve},
        {"solt",
         "two ports, twelve terms, from known reflections at both ports and a known thru; the switch terms stay inside, errors of the "
         "definitions show above 40 GHz",
         2, 12, solt_needs, COUNT(solt_needs), no_workspace, solt_solve},
        {"unknown_thru",
         "two ports, eight terms, from known reflections at both ports and any reciprocal thru, lossy or bent, whose delay is known to a "
         "quarter "
         "period of the lowest frequency",
         2, 8, unknown_thru_needs, COUNT(unknown_thru_needs), unknown_thru_workspace, unknown_thru_solve},
        {"lrm",
         "two ports, eight terms, from a known thru, one known match and a reflect that is only equal at both ports; no frequency is "
         "degenerate, results are relative to the match",
         2, 8, lrm_needs, COUNT(lrm_needs), lrm_workspace, lrm_solve},
        {"lrrm",
         "two ports, eight terms, from a known thru, an open and a short that are only equal at both ports, and a match of known "
         "resistance "
         "at port 1 whose inductance is found; degenerate where the thru has 90 degrees",
         2, 8, lrrm_needs, COUNT(lrrm_needs), lrrm_workspace, lrrm_solve},
        {"known_standards",
         "two ports, eight terms, by least squares from any mix of fully known one- and two-ports, each weighted by its uncertainty", 2, 8,
         known_needs, COUNT(known_needs), known_workspace, known_solve},
        {"trl",
         "two ports, eight terms, from a thru, one longer line and a reflect; good where the lines differ by 20 to 160 degrees, in the "
         "impedance of the line unless its capacitance is given",
         2, 8, trl_needs, COUNT(trl_needs), trl_workspace, trl_solve},
        {"multiline_trl",
         "two ports, eight terms, from a thru, lines of known lengths and a reflect; also gives the lines' propagation constant and how "
         "wrong "
         "each length seems; results in the impedance of the line unless its capacitance is given",
         2, 8, multiline_needs, COUNT(multiline_needs), lines_workspace, multiline_solve},
        {"sixteen_term", "two ports with leakage between them, sixteen terms, from five or more fully known two-ports", 2, 16,
         sixteen_needs, COUNT(sixteen_needs), sixteen_workspace, sixteen_solve},
};
const size_t rf_method_n = COUNT(rf_methods);

const struct method *rf_method(const char *word)
{
        for (size_t k = 0; k < rf_method_n; k++)
                if (strcmp(rf_methods[k].word, word) == 0)
                        return &rf_methods[k];
        return NULL;
}

/* driver_table.c: one row per driver. */
#include "station/driver_table.h"
#include "simulators/simulated.h"

const struct driver_row driver_rows[] = {
        {"simulated", simulated_open},
        {"replay", replay_open},
};
const size_t driver_row_n = sizeof driver_rows / sizeof driver_rows[0];
const char *const dtype_words[] = {"unknown", "c64le", "c64be", "c128le", "c128be", NULL};

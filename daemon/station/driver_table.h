/* driver_table.h: the drivers this build holds: one file and one row each. */
#ifndef TIPPLANE_STATION_DRIVER_TABLE_H
#define TIPPLANE_STATION_DRIVER_TABLE_H
#include "station/roles.h"
enum code replay_open(const struct world *, const char *config_json, size_t n, const char *base_dir, struct roles *ret, struct tp_error *);
#endif

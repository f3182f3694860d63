/* simulated.h: the driver "simulated" of tipplane-station. */
#ifndef TIPPLANE_SIMULATORS_SIMULATED_H
#define TIPPLANE_SIMULATORS_SIMULATED_H
#include "station/roles.h"

/* config_json: a scenario, or {"scenario": path, …} (see scenario.h); base_dir: where its relative paths begin.  On success every role is
   there and ret->close frees all.  The physical world (contact, bias, position, wear, time) is read from the scenario's state_file if there
   is one. */
enum code simulated_open(const struct world *, const char *config_json, size_t n, const char *base_dir, struct roles *ret,
                         struct tp_error *);

/* The physical world in the caller's memory instead of a file: it outlives the station that is opened on it, whatever happens to disks.
   Zero it once, text_done(&bytes) at the end.  One station at a time. */
struct sim_kept {
        struct text bytes;
};
enum code simulated_open_kept(const struct world *, const char *config_json, size_t n, const char *base_dir, struct sim_kept *,
                              struct roles *ret, struct tp_error *);

#endif

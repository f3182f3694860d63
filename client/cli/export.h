/* export.h: the sweeps of a run and what their files are called. */
#ifndef TIPPLANE_CLI_EXPORT_H
#define TIPPLANE_CLI_EXPORT_H
#include "cli/cli.h"

struct sweep_name {
        const char *device;
        long long x, y, condition, n;
        bool is_last; /* of this device and condition */
};
enum code sweeps_read(struct cli *c, const cJSON *sweeps, struct sweep_name **ret, size_t *ret_n, struct tp_error *err);
/* "x-3y2_L1.s2p", an earlier touch "x-3y2_L1_n58.s2p". */
void sweep_file_name(const struct sweep_name *s, char *ret, size_t room);

#endif

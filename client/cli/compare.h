/* compare.h: what the two files of `tipplane compare` share. */
#ifndef TIPPLANE_CLI_COMPARE_H
#define TIPPLANE_CLI_COMPARE_H
#include "cli/offline.h"

/* Two Touchstone files, band by band: 1 to 4 ports, or the two that --modes names. */
enum code compare_networks(struct cli *c, struct tp_error *err);

#endif

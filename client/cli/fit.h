/* fit.h: between the files of `tipplane fit`. */
#ifndef TIPPLANE_CLI_FIT_H
#define TIPPLANE_CLI_FIT_H
#include "base/json.h"
#include "cli/cli.h"

/* fit_varactor.c: the files of the command at the voltages of --reverse (volt, in their order, five at least); u: of each S, 0: not given.
   The law goes into the open object *o, as words and as a netlist. */
enum code fit_varactor(struct cli *c, const char *name, double u, struct json_out *o, struct text *words, struct text *netlist,
                       struct tp_error *err);

#endif

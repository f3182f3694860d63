/* fit.h: between the files of `tipplane fit`. */
#ifndef TIPPLANE_CLI_FIT_H
#define TIPPLANE_CLI_FIT_H
#include "base/json.h"
#include "cli/cli.h"
#include "formats/netlist.h"

/* fit_varactor.c: the files of the command at the voltages of --reverse (volt, in their order, five at least); u: of each S, 0: not given.
   The law, the series elements, and the
   error of S over all files go into the open object *o, as words and as a netlist. */
enum code fit_varactor(struct cli *c, const struct netlist_about *about, double u, struct json_out *o, struct text *words,
                       struct text *netlist, struct tp_error *err);
/* The error of S, by bands, into the open object; in words. */
void fit_error_json(struct json_out *o, const struct model_error *e);
void fit_error_words(struct text *to, const struct model_error *e);

#endif

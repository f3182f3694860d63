/* correct.h: what `tipplane correct` does with its files, shared by cmd_correct.c (two ports) and cmd_correct_multiport.c. */
#ifndef TIPPLANE_CLI_CORRECT_H
#define TIPPLANE_CLI_CORRECT_H
#include "cli/offline.h"
#include "formats/multiport_json.h"

struct correct_file {
        const char *from, *to; /* to: NULL: stdout */
};
/* The corrected file to where it goes; errors begin with its path. */
enum code correct_write(struct cli *c, const struct correct_file *file, const struct text *text, struct tp_error *err);
/* --noise-u, --contact-u and --placement-u are refused where nothing is said of uncertainty. */
enum code correct_uncertainty_used(struct cli *c, bool used, struct tp_error *err);
/* All raw files of the command with terms of three or four ports; path: of the terms. */
enum code correct_multiport(struct cli *c, const struct correct_file *files, const char *path, const struct multiport_json *t,
                            struct tp_error *err);

#endif

/* correct.h: what `tipplane correct` does with its files, shared by cmd_correct.c (two ports) and cmd_correct_multiport.c. */
#ifndef TIPPLANE_CLI_CORRECT_H
#define TIPPLANE_CLI_CORRECT_H
#include "cli/offline.h"
#include "formats/multiport_json.h"
#include "rf/trust/reading_causes.h"

struct correct_file {
        const char *from, *to; /* to: NULL: stdout */
};
/* The corrected file to where it goes; errors begin with its path. */
enum code correct_write(struct cli *c, const struct correct_file *file, const struct text *text, struct tp_error *err);
/* The options of uncertainty are refused where nothing is said of it. */
enum code correct_uncertainty_used(struct cli *c, struct tp_error *err);
/* What each touch and reading adds: as the terms state (NULL: nothing), or as the options do; *ret_wanted: are there documents at all? */
enum code correct_each(struct cli *c, const struct reading_u *stated, struct reading_u *ret, bool *ret_wanted, struct tp_error *err);
/* What the raw file says of each port's drift (RAW_DRIFT_COMMENT); --drift-u goes before it.  CODE_BAD_INPUT: it says what cannot be. */
enum code correct_drift_of(struct cli *c, const char *path, struct port_drift *ret, bool *ret_has, struct tp_error *err);
/* --one-touch: what the ids of the files' one touch are made of, all their digests; "": each is of its own. */
enum code correct_touch(struct cli *c, const struct correct_file *files, bool wanted, char ret[65], struct tp_error *err);
/* x.s1p and x.s2p have one document beside them: that of one would be written over the other's. */
enum code correct_documents_apart(struct cli *c, const struct correct_file *files, struct tp_error *err);
/* Notes that causes have no file to lie beside. */
void correct_say_lost(struct cli *c, const struct correct_file *files);
/* All raw files of the command with terms of three or four ports; path: of the terms. */
enum code correct_multiport(struct cli *c, const struct correct_file *files, const char *path, const struct multiport_json *t,
                            struct tp_error *err);

#endif

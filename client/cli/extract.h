/* extract.h: what cmd_extract.c and extract_number.c share. */
#ifndef TIPPLANE_CLI_EXTRACT_H
#define TIPPLANE_CLI_EXTRACT_H
#include "cli/offline.h"
#include "rf/extract/quantity.h"

/* What is known of a file's S, and what was asked of it. */
struct extract_job {
        const struct net2 *net;
        struct rf_ask ask;
        bool unstated;    /* nobody states how well S are known: ask.causes are the least there is, good for refusing alone */
        bool one_port;    /* a .s1p, as S11 of a two-port that does not transmit */
        const size_t *at; /* points that were asked for by --at; NULL: all */
        size_t at_n;
};
/* A file as a two-port; of one port S11, and *ret_one. */
enum code extract_read(struct cli *c, const char *path, struct net2 *ret, bool *ret_one, struct tp_error *err);
/* One number.  *ret_refused: all that was asked (with --at: some of it) is below what can be resolved; the sentence is in ret->say.
   Errors as of rf_extract(). */
enum code extract_number(struct cli *c, const struct extract_job *j, const char *word, struct rf_extracted *ret, bool *ret_refused,
                         struct tp_error *err);

#endif

/* batch.h: works written together. */
#ifndef TIPPLANE_STORE_BATCH_H
#define TIPPLANE_STORE_BATCH_H
#include "store/own.h"

struct batch {
        struct item *items[BATCH_WORKS];
        size_t n, bytes;
        bool ends;           /* nothing more may join: a seal is last in its batch */
        bool catalogue_done; /* the catalogue's part is on disk; the rest failed and is being repeated */
};
/* Writes every work that is not decided yet, and decides it; a code other than CODE_OK is the disk's, nothing of this attempt is decided
   then (what the catalogue has committed stays committed). */
enum code batch_write(struct store *, struct batch *, struct tp_error *);
void batch_roll_back(struct store *);

#endif

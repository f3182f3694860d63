/* auth.h: who asks, and may he?  Tokens are looked up by their SHA-256 in memory; the store is only asked at start. */
#ifndef TIPPLANE_API_AUTH_H
#define TIPPLANE_API_AUTH_H
#include "api/api.h"

/* Host, Origin and Sec-Fetch-Site: a page from elsewhere, or a name that was bent to this address, gets nothing. */
enum code auth_place(const struct request *, bool changes, struct tp_error *);
/* Fills request->who.  Reading needs no token on the loopback; a token that is sent must be a good one. */
enum code auth_role(struct request *, enum role least, bool changes, struct tp_error *);
/* Takes over all tokens of the store. */
enum code auth_load(struct api *, struct tp_error *);
enum code auth_add(struct api *, const struct key *, struct tp_error *);
int role_of_word(const char *word); /* enum role; -1: there is no such role */

#endif

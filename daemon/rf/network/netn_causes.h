/* netn_causes.h: causes.h for networks of one to four ports: the same causes, with a column for each entry of S.
   Pure, any thread; columns that are the same are shared, not copied. */
#ifndef TIPPLANE_RF_NETN_CAUSES_H
#define TIPPLANE_RF_NETN_CAUSES_H
#include "base/arena.h"
#include "rf/network/causes.h"
#include "rf/network/netn.h"

struct netn_cause {
        struct cause_about about;
        char id[CAUSE_ID_CHARS + 1];
        double *re[RF_ENTRIES_MAX], *im[RF_ENTRIES_MAX]; /* entry (i, j) at i ports + j; NULL: it does not move */
};
struct netn_causes {
        const struct axis *axis;
        unsigned ports; /* 1 … RF_PORTS_MAX */
        size_t n;       /* <= CAUSES_MAX */
        struct netn_cause *of;
        const char **not_counted;
        size_t not_counted_n;
};
/* ret_d[ports^2] */
void netn_cause_at(const struct netn_cause *c, unsigned ports, size_t i, double complex *ret_d);
/* The cause of that id; NULL: there is none. */
const struct netn_cause *netn_cause_find(const struct netn_causes *c, const char *id);
/* A two-port's causes as a network's. */
enum code netn_causes_from_two(const struct net2_causes *two, struct arena *arena, struct netn_causes *ret, struct tp_error *err);
/* The reflection of one port (from 0) of a two-port, as a one-port's. */
enum code netn_causes_from_port(const struct net2_causes *two, unsigned port, struct arena *arena, struct netn_causes *ret,
                                struct tp_error *err);
/* Ports p and q (from 0) with the others ended in their reference, as a two-port's; p and q the same: that port's reflection, as S11 of
   a two-port whose other entries do not move.  Causes that move none of it are left out. */
enum code netn_causes_two(const struct netn_causes *all, unsigned p, unsigned q, struct arena *arena, struct net2_causes *ret,
                          struct tp_error *err);
/* Covariance of one entry of the difference of a at i and of b at k: what both share cancels as far as it is alike.  Either may be NULL. */
struct complex_cov netn_causes_cov_difference(const struct netn_causes *a, size_t i, const struct netn_causes *b, size_t k, unsigned entry);

#endif

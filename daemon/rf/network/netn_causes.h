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
/* The columns of *to, whose about is filled: (up - down) scale; those that do not move stay NULL.  CODE_UNRESOLVABLE: one is no number. */
enum code netn_cause_from_sides(const struct netn *up, const struct netn *down, double scale, struct arena *arena, struct netn_cause *to,
                                struct tp_error *err);
/* In mixed modes, of as many ports (netn.h, rfn_mixed_mode()). */
enum code netn_causes_mixed(const struct netn_causes *all, const struct mode *modes, struct arena *arena, struct netn_causes *ret,
                            struct tp_error *err);
/* A two-port's causes when its references change from z_from to z_to, in place of their columns; net: S in z_from. */
enum code net2_causes_renormalise(struct net2_causes *causes, const struct net2 *net, const double complex z_from[2],
                                  const double complex z_to[2], struct arena *arena, struct tp_error *err);
/* Covariance of one entry of the difference of a at i and of b at k: what both share cancels as far as it is alike.  Either may be NULL. */
struct complex_cov netn_causes_cov_difference(const struct netn_causes *a, size_t i, const struct netn_causes *b, size_t k, unsigned entry);

#endif

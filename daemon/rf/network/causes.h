/* causes.h: why numbers are not known exactly, cause by cause: what one standard uncertainty of a cause does to S.
   To first order; causes are independent of each other; one that several results share (a wrong load) moves them all together, so each is
   kept by itself and never summed on the way (JCGM 100:2008, 5.1 and 5.2; JCGM 102).

   A cause of noise is circular and its own at every frequency: a column holds u times the derivative, and its phase says nothing.  Every
   other cause is one real number that moves all frequencies together.  Pure, any thread, memory is the caller's. */
#ifndef TIPPLANE_RF_CAUSES_H
#define TIPPLANE_RF_CAUSES_H
#include "rf/network/network.h"
#include "rf/numbers/uncertain.h"

enum cause_kind {
        CAUSE_OF_UNKNOWN,
        CAUSE_OF_STANDARD,  /* a number of a standard's definition */
        CAUSE_OF_LENGTH,    /* a line's length */
        CAUSE_OF_LINE,      /* what sets the lines' impedance */
        CAUSE_OF_CONTACT,   /* resistance or inductance of one touch */
        CAUSE_OF_PLACEMENT, /* where a tip stands */
        CAUSE_OF_NOISE,     /* of one reading */
        CAUSE_OF_DRIFT,     /* of a port since the calibration */
        CAUSE_KIND_COUNT
};
extern const char *const cause_kind_words[CAUSE_KIND_COUNT + 1]; /* "unknown", "standard", …; NULL */
#define CAUSES_MAX 512                                           /* of one document */
#define CAUSE_NAME_MAX 120                                       /* bytes */
#define CAUSES_NOT_COUNTED_MAX 64

/* Half of the placement's variance is the stage's, which moves the pads under both probes alike: what lengthens one port's path shortens
   the other's.  The other half is each tip's own. */
#define PLACEMENT_OWN_SHARE 0.70710678118654752440
#define ALUMINA_EPS_EFF 5.3 /* coplanar line on a calibration substrate, where nobody says */

struct cause_about {
        const char *name;     /* "load: R, port 1": what and of what, then where */
        enum cause_kind kind; /* not unknown */
        double freedom;       /* degrees of freedom of its standard uncertainty; INFINITY: stated, not counted from readings */
};

/* One cause of a two-port.  Causes with the same id are one and the same, in whatever results they appear. */
#define CAUSE_ID_CHARS 64
struct net2_cause {
        struct cause_about about;
        char id[CAUSE_ID_CHARS + 1]; /* lower-case hex digits */
        double *re[4], *im[4];       /* dS by one standard uncertainty; NULL: this entry does not move */
};
struct net2_causes {
        const struct axis *axis;
        size_t n; /* <= CAUSES_MAX */
        struct net2_cause *of;
        const char **not_counted;
        size_t not_counted_n;
};
struct m2 net2_cause_at(const struct net2_cause *c, size_t i);
bool cause_is_circular(const struct cause_about *about);
/* How many standard uncertainties a real number y moves by each cause, dy = Re(sum grad dS): ret_c[n].  Of a circular cause its size. */
void net2_causes_of(const struct net2_causes *c, size_t i, const double complex grad[4], double *ret_c);
/* Their root sum of squares, and the effective degrees of freedom (may be NULL). */
double net2_causes_u(const struct net2_causes *c, size_t i, const double complex grad[4], double *ret_freedom);
/* The largest parts of u^2, causes alike but for port or entry taken together ("LOAD: R" of "LOAD: R, port 1" and ", port 2"): at most
   `room`, largest first; how many.  c: as of net2_causes_of(). */
struct cause_share {
        char name[CAUSE_NAME_MAX + 1];
        double share; /* of u^2, 0 … 1 */
};
size_t net2_causes_shares(const struct net2_causes *c, const double *each, struct cause_share *ret, size_t room);
/* What one standard uncertainty of a cause does to a complex number, added to its covariance. */
void cause_cov_add(struct complex_cov *, const struct cause_about *, double complex d);
/* Covariance of one entry (0 … 3) of S. */
struct complex_cov net2_causes_cov(const struct net2_causes *c, size_t i, int entry);
/* Of the difference of an entry of a at i and of b at k: what both share cancels as far as it is alike.  Either may be NULL. */
struct complex_cov net2_causes_cov_difference(const struct net2_causes *a, size_t i, const struct net2_causes *b, size_t k, int entry);
/* The id of a cause of that name in what `of` (another id, a digest) stands for: SHA-256 of "of: name". */
void net2_cause_id(const char *of, const char *name, char ret[CAUSE_ID_CHARS + 1]);
/* The cause of that id; NULL: there is none. */
const struct net2_cause *net2_cause_find(const struct net2_causes *c, const char *id);
/* One more text among `n` of a list of CAUSES_NOT_COUNTED_MAX, once; a list that is full stays. */
void causes_not_counted_add(const char **list, size_t *n, const char *text);
/* t of the degrees of freedom at 95 %, 2 at least: what Tipplane's half widths are of u. */
double causes_factor(double freedom);

#endif

/* found_match.h: "lrrm" finds its match's inductance (or what match_fit says) from all frequencies of its band together; here, by how much
 * that moves when a standard is not what it is believed to be, and how sure noise leaves it. */
#ifndef TIPPLANE_EVALUATE_FOUND_MATCH_H
#define TIPPLANE_EVALUATE_FOUND_MATCH_H
#include "evaluate/virtual.h"

struct chain;
enum { FOUND_POINTS = 24, FOUND_MAX = 2 };
struct found_point {
        double hz;
        struct m2 s[RF_STANDARD_MAX];             /* the standards as believed, 50 ohm */
        double complex moves[RF_STANDARD_MAX][8]; /* the solved open's change per real, imaginary part of each entry, match held */
        double complex weight[FOUND_MAX];         /* change of a number: sum over points of Re(weight times change of the open) */
};
struct found_match {
        const struct found_match *next; /* of another band; NULL: none */
        double from_hz, to_hz;          /* of the band */
        size_t n, found_n, standard_n;  /* points; numbers found, 1 or 2; standards, in the band's order */
        size_t load;                    /* the match among them */
        double covariance[3];           /* of the numbers by noise: 00, 01, 11 */
        double over;                    /* points of the band for each one here */
        double shunt_c_f;               /* beside the match's element by its definition */
        struct m2 (*by[FOUND_MAX])(double shunt_c_f, double hz, struct m2 s); /* change of what the match reads per unit of the number */
        struct found_point point[FOUND_POINTS];
};
/* For each band of the calibration's recipe where a match is found and the band determines it; *ret NULL: none. */
enum code found_match_of(const struct chain *, struct arena *, const struct found_match **ret, struct tp_error *);
const struct found_match *found_match_at(const struct found_match *, double hz);

/* What a standard that is believed to read s at hz reads otherwise by one standard uncertainty of a cause. */
typedef struct m2 standard_mover(const void *cause, double hz, struct m2 s);
/* Change of each number found when standard m is moved at all frequencies alike. */
void found_match_moves(const struct found_match *, standard_mover *, const void *cause, size_t m, double ret[FOUND_MAX]);
/* Standard uncertainty of the sum of by[k] times number k from the noise of all that was read. */
double found_match_noise(const struct found_match *, const double by[FOUND_MAX]);

#endif

/* standard_moves.h: what is not known of a standard, number by number, and what each does to what stands there.  One list for the daemon
   (evaluate/) and for files (calibration_causes.h), so that both count alike.
   Ports       A standard that one model describes stands at both ports.  What its model's u_ say is how copies scatter: each port's by itself.
               `u_shared` of the variance is common to both (the model's own error), and a DC reading that trims both ports is one number.
   Pure, any thread, no allocation. */
#ifndef TIPPLANE_RECIPE_STANDARD_MOVES_H
#define TIPPLANE_RECIPE_STANDARD_MOVES_H
#include "recipe/calibration_problem.h"

/* One cause: at one port, or at both at once. */
struct standard_move {
        const char *number; /* static text: "C0", "L0", "R", "R per kelvin", "offset delay", "offset loss", "offset impedance" */
        int port;           /* 0, 1; 2: both at once, or a two-port */
        double part[2];     /* of the standard uncertainty at ports 1 and 2; a two-port: part[0] */
};
#define STANDARD_MOVES_MAX (3 * RF_STANDARD_CAUSES)
/* What is stated of a standard's model; ports: where it is read (1, 2, 3; 0: both).  By data: nothing.  Returns how many. */
size_t standard_moves(const struct standard *, unsigned ports, struct standard_move ret[STANDARD_MOVES_MAX]);

/* Where it stands: is: its S there, 50 ohm; turn: exp(-2 gamma offset), a reflection's way from the plane there and back, 1 at the plane. */
struct standard_place {
        double t_c, hz;
        struct m2 is;
        double complex turn;
};
/* Change of S by one standard uncertainty of the cause. */
struct m2 standard_moved(const struct standard *, const struct standard_move *, const struct standard_place *);
/* What is not known of data (data_u): one entry of S, or two alike; its real part's change by one standard uncertainty, and i times that the
   imaginary part's.  Wrong by the same at all frequencies, for whoever measured or reckoned the data erred in one way over a band, and many
   points do not average that out. */
struct data_move {
        const char *what; /* static text: "S11", "S22", "S21 and S12", "S12", "S21", "S11 and S22" */
        struct m2 by;     /* S, 50 ohm */
};
#define DATA_MOVES_MAX 4
/* ports: where it is read (1, 2, 3); through: between the ports, not a reflection at each.  0: data_u is not stated. */
size_t standard_data_moves(const struct standard *, unsigned ports, bool through, bool reciprocal, struct data_move ret[DATA_MOVES_MAX]);
bool standard_data_reciprocal(const struct standard *); /* its rows say one S21 for both ways */
/* Of the two ports' variance of what is called `number` (NULL: of data), the part that both have in common: 0 … 1. */
double standard_shared(const struct standard *, const char *number);
/* Change of a reflection g by a series impedance, and by a shunt admittance (50 ohm). */
double complex standard_series(double complex g, double complex dz_ohm);
double complex standard_shunt(double complex g, double complex dy_s);

#endif

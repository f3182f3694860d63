/* formats/: files as other programs read and write them, over buffers.  May use: base/, rf/network.h.
   Must not use: files (the caller has the bytes), the clock, globals.

   touchstone.h: Touchstone 1.0/1.1 (IBIS Open Forum, 2002) read and written.  1 to 4 ports; units Hz kHz MHz GHz; S, Y, Z; RI, MA, DB; one
   R or one per port; option defaults GHz S MA R 50; a two-port line is f S11 S21 S12 S22, everything else goes by rows of at most four
   pairs; a two-port frequency that does not rise starts the noise block.  Y and Z values of version 1 are normalised to R and
   come out in siemens and ohm.  Refused with line and value: NaN, Inf, falling frequencies, wrong counts, H and G, version 2 keywords,
   text. */
#ifndef TIPPLANE_FORMATS_TOUCHSTONE_H
#define TIPPLANE_FORMATS_TOUCHSTONE_H
#include "base/arena.h"
#include "base/text.h"
#include "rf/network.h"

#define TOUCHSTONE_PORTS_MAX 4
#define TOUCHSTONE_POINTS_MAX 200001

struct touchstone_noise {
        double hz, fmin_db, opt_mag, opt_deg, rn; /* rn normalised to R */
};
struct touchstone {
        unsigned ports;
        char parameter; /* 'S', 'Y', 'Z' */
        double r_ohm[TOUCHSTONE_PORTS_MAX];
        struct axis axis;
        double *re[TOUCHSTONE_PORTS_MAX * TOUCHSTONE_PORTS_MAX], *im[TOUCHSTONE_PORTS_MAX * TOUCHSTONE_PORTS_MAX]; /* row-major: 11 12 … */
        size_t noise_n;
        struct touchstone_noise *noise;
        const char *comments; /* comment text before the data, lines joined by '\n', without '!' */
};
/* ports: from the file's name (.sNp), 1 … 4.  Everything is in the arena.  Errors say the line: "line 7: …". */
enum code touchstone_read(const char *bytes, size_t n, unsigned ports, struct arena *arena, struct touchstone *ret, struct tp_error *err);
/* 2 for "a/b.S2P"; 0 if the name has no such ending or the number is not 1 … 4. */
unsigned touchstone_ports_of_name(const char *name);
/* The two-port as a network in the arena: parameter S and one R at both ports, otherwise CODE_BAD_INPUT. */
enum code touchstone_net2(const struct touchstone *file, enum plane plane, struct arena *arena, struct net2 *ret, struct tp_error *err);

struct touchstone_write {
        const char *comments; /* '\n'-separated, each line gets "! "; NULL: none.  Say run, calibration and plane here. */
        bool line_reference; /* z is the line's own and not known in ohm: writes R 1 and says so in a comment; else such data are refused */
};
/* Hz, S, RI, 17 significant digits, R = the network's one real z.  CODE_BAD_INPUT: complex or changing z, NaN, Inf. */
enum code touchstone_write2(const struct net2 *net, const struct touchstone_write *how, struct text *to, struct tp_error *err);
/* One-port: the n reflections at r_ohm. */
enum code touchstone_write1(const struct axis *axis, const double *re, const double *im, double r_ohm, const struct touchstone_write *how,
                            struct text *to, struct tp_error *err);

#endif

/* formats/: files as other programs read and write them, over buffers.  May use: base/, rf/.
   Must not use: files (the caller has the bytes), the clock, globals.

   touchstone.h: Touchstone 1.0, 1.1, 2.0 and 2.1 (IBIS Open Forum 2002, 2009, 2024) read and written.  1 to 99 ports; units Hz kHz MHz GHz;
   RI, MA, DB; S, Y, Z, and of two-ports G, H; option defaults GHz S MA R 50.
     Version 1: ports from the file's name; one R, or one per port (1.1); a two-port line is f S11 S21 S12 S22, everything else goes by
   rows, each on new lines; Z, Y, H and G are normalised to R and come out in their own units (touchstone_scale.c); a two-port frequency
   that does not rise starts the noise block, whose Rn is normalised.
     Version 2: ports, two-port order, references, matrix format (full, lower, upper), mixed-mode order, noise by keywords; nothing is
   normalised; information blocks are kept as text.
     Refused, with line and value: NaN, Inf, falling frequencies, wrong counts, complex references, what is cut off. */
#ifndef TIPPLANE_FORMATS_TOUCHSTONE_H
#define TIPPLANE_FORMATS_TOUCHSTONE_H
#include "base/arena.h"
#include "base/text.h"
#include "rf/network/netn.h"

#define TOUCHSTONE_PORTS_MAX 99
#define TOUCHSTONE_POINTS_MAX 200001
#define TOUCHSTONE_NOISE_MAX 4096
#define TOUCHSTONE_COMMENT_MAX 65536 /* bytes of comment that are kept; more is left out, and the kept text says so */

#define TOUCHSTONE_LINE_REFERENCE "reference impedance: the line's own" /* begins the comment of data in a line's impedance */

struct touchstone_noise {
        double hz, fmin_db, opt_mag, opt_deg, rn_ohm;
};
/* What stands in one place of a mixed-mode matrix: S of `port`, or D (differential) or C (common) of the pair `port`, `other`. */
struct touchstone_mode {
        char kind;
        unsigned port, other; /* from 1; other is 0 with S */
};
struct touchstone {
        unsigned version; /* 10, 11 (1.0 with one R per port), 20, 21 */
        unsigned ports;
        char parameter; /* 'S', 'Y', 'Z', 'G', 'H'; in siemens and ohm, never normalised */
        /* how a version 2 text had its data, and how they are written again: 'F'ull, 'L'ower, 'U'pper (0: full), 11 12 21 22 */
        char matrix;
        bool order_12_21;
        double r_ohm[TOUCHSTONE_PORTS_MAX];
        struct axis axis;
        double **re, **im;                  /* [ports * ports] columns, row-major: 11 12 … */
        const struct touchstone_mode *mode; /* [ports], or NULL: single-ended */
        size_t noise_n;
        struct touchstone_noise *noise;
        const char *comments;    /* comment text before the data, lines joined by '\n', without '!' */
        const char *information; /* text of information blocks, "" if none */
        size_t left_out_bytes;   /* of both, what is beyond TOUCHSTONE_COMMENT_MAX each and not in them */
};
/* ports: from the file's name (touchstone_name), 1 … 99; 0: the text must say it (version 2).  Everything is in the arena.
   CODE_BAD_INPUT says the line: "line 7: …"; nothing is ever skipped or repaired. */
enum code touchstone_read(const char *bytes, size_t n, unsigned ports, struct arena *arena, struct touchstone *ret, struct tp_error *err);
/* Is it the name of a Touchstone file?  "a/b.S2P", .y2p, .z2p, .h2p, .g2p: 2 ports; "a/b.ts": true with 0 ports, the text says it. */
bool touchstone_name(const char *name, unsigned *ret_ports);
/* 2 for "a/b.S2P"; 0 if the name has no such ending or the number is not 1 … 99. */
unsigned touchstone_ports_of_name(const char *name);
/* What our own writer says in a comment, "reference plane: tip"; PLANE_UNKNOWN where nobody says. */
enum plane touchstone_plane(const struct touchstone *file);
/* The two-port as a network in the arena: single-ended S and one R at both ports, otherwise CODE_BAD_INPUT with what to do.  A file that
   our writer marked as being in the line's own impedance has z NaN again, not 1 ohm. */
enum code touchstone_net2(const struct touchstone *file, enum plane plane, struct arena *arena, struct net2 *ret, struct tp_error *err);
/* 1 to RF_PORTS_MAX ports as single-ended S, each port in the file's own reference; other parameters and mixed modes are converted,
   exactly. CODE_BAD_INPUT: more ports, a mixed-mode pair with two references, parameters that have no S. */
enum code touchstone_netn(const struct touchstone *file, enum plane plane, struct arena *arena, struct netn *ret, struct tp_error *err);

struct touchstone_write {
        const char *comments; /* '\n'-separated, each line gets "! "; NULL: none.  Say run, calibration and plane here. */
        bool line_reference; /* z is the line's own and not known in ohm: writes R 1 and says so in a comment; else such data are refused */
        char matrix; /* touchstone_write() of version 2: 'F', 'L', 'U'; 0: as the file says.  L and U want equal mirrored elements */
};
/* Hz, S, RI, 17 significant digits, R = the network's one real z.  CODE_BAD_INPUT: complex or changing z, NaN, Inf. */
enum code touchstone_write2(const struct net2 *net, const struct touchstone_write *how, struct text *to, struct tp_error *err);
/* One-port: the n reflections at r_ohm. */
enum code touchstone_write1(const struct axis *axis, const double *re, const double *im, double r_ohm, const struct touchstone_write *how,
                            struct text *to, struct tp_error *err);
/* Any file of `file->version`: Hz, RI, 17 digits, with noise, references and, in version 2, mixed-mode order and information.  What was
   read comes back bit for bit, but for Y and Z of version 1, which lose a rounding to their normalisation.
   CODE_BAD_INPUT: NaN, Inf, a reference that is not positive, and what the version has no word for (mixed modes in 1.x). */
enum code touchstone_write(const struct touchstone *file, const struct touchstone_write *how, struct text *to, struct tp_error *err);

#endif

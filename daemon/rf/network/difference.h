/* difference.h: how far two measurements of one thing differ, entry by entry and band by band: a file against a file, today against
   yesterday, one program against another.  Only frequencies that both have are compared; nothing is interpolated.
   Pure, any thread, no allocation. */
#ifndef TIPPLANE_RF_DIFFERENCE_H
#define TIPPLANE_RF_DIFFERENCE_H
#include "rf/network/causes.h"
#include "rf/network/netn_causes.h"

#define RF_DIFFERENCE_BANDS_MAX 16
/* Edges between bands, Hz, as on-wafer people quote them; common practice, no source. */
extern const double rf_difference_edges[];
extern const size_t rf_difference_edge_n;

struct rf_difference_entry {
        double worst, worst_hz, rms; /* of |a - b| */
};
struct rf_difference_band {
        double from_hz, to_hz; /* first and last common frequency in it */
        size_t points;
        struct rf_difference_entry entry[RF_ENTRIES_MAX]; /* (i, j) at i ports + j: S11 S12 … */
        double worst, worst_hz;                           /* of all entries */
        unsigned worst_entry;
};
struct rf_difference {
        unsigned ports;
        size_t common_n, a_n, b_n; /* frequencies in both, in each */
        struct rf_difference_band all, band[RF_DIFFERENCE_BANDS_MAX];
        size_t band_n; /* bands that hold a common frequency, rising */
        /* Of S21 at the largest common frequencies where both transmit (|S21| > 0.1): what a cable or a plane that moved would show. */
        double delay_s; /* slope of arg(b/a) by least squares, -d/dw; NaN with fewer than three such points */
        double loss_db; /* mean of 20 log10 |b/a| over them */
        size_t transmit_n;
};
/* edges: rising; a band is [edge k, edge k + 1), the last one open to the right, and what lies below the first edge one more.
   edge_n <= RF_DIFFERENCE_BANDS_MAX - 1.  CODE_BAD_INPUT: ports, planes or references differ, NaN in either, no common frequency. */
enum code rf_difference_of_ports(const struct netn *a, const struct netn *b, const double *edges, size_t edge_n, struct rf_difference *ret,
                                 struct tp_error *err);
/* Two ports. */
enum code rf_difference_of(const struct net2 *a, const struct net2 *b, const double *edges, size_t edge_n, struct rf_difference *ret,
                           struct tp_error *err);

/* How far two measurements of one thing differ against what is known of both, cause by cause: what they share (one calibration) does not
   count as far as it moves both alike.  A share of 1 is the longer half axis of the region that holds the difference with 95 %. */
struct rf_difference_known {
        size_t points, beyond; /* entries of S at frequencies: all, and with a share above 1 */
        double worst, worst_hz;
        unsigned worst_entry;
};
/* Networks on one axis, causes on it too; either of them may be NULL: exact.  Entries that nothing is known of (u 0) count where they
   differ at all. */
void rf_difference_known_of(const struct net2 *a, const struct net2_causes *of_a, const struct net2 *b, const struct net2_causes *of_b,
                            struct rf_difference_known *ret);
/* The same of networks of one to four ports, at the frequencies that both have. */
void rf_difference_known_of_ports(const struct netn *a, const struct netn_causes *of_a, const struct netn *b,
                                  const struct netn_causes *of_b, struct rf_difference_known *ret);

#endif

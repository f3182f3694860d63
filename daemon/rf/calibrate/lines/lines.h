/* lines.h: what the line methods ("trl", "multiline_trl") share; not for other rooms.
   Notation: T_k = r X diag(z_k, 1/z_k) Y, z_k = e^{-g (l_k - l_0)}, planes in the middle of line 0, X = [[1, b1], [ca1, 1]] diag(a1, 1),
   Y = diag(a2, 1) [[1, -ca2], [-b2, 1]].  "pair": line k with the common line c, x = g (l_k - l_c).
   A method gives one point solver; lines_solve() does the rest: the order of frequencies, the reflect's sign, planes and impedance. */
#ifndef TIPPLANE_RF_LINES_H
#define TIPPLANE_RF_LINES_H
#include "rf/calibrate/solve.h"
#include "rf/numbers/cx.h"

struct line_set {
        size_t n, at[RF_STANDARD_MAX]; /* which standards are lines, in the order given */
        size_t reflect_n, reflect[RF_STANDARD_MAX];
};
struct line_set lines_of(const struct problem *p);

/* What is decided at one frequency: kept for sensitivities. */
struct line_choice {
        double complex g, a1; /* a1 with the sign in use */
        size_t common;        /* index into line_set */
};
/* One frequency's solution. */
struct line_solution {
        double complex g, b1, ca1, b2, ca2, a1, a2, r, reflect;
        double nstd, phase_eff_deg;
        size_t common;
        double complex estimate; /* of the reflect, here */
};

/* What is read of a standard, from one frequency on, for loops over frequencies (read_loops.h). */
struct line_reading {
        struct cx_column m[4], gf, gr;
};
/* zeros: as many as the loop is long, where there are no switch terms. */
struct line_reading line_reading(const struct problem *p, size_t standard, size_t from, double *zeros);

/* Frequencies at a time in pairs.c and judge.c: what is kept of them stays in the nearest caches, and is little beside a short
   problem's own data. */
static inline size_t lines_block(size_t n) { return n < 128 ? 8 : 32; }

struct line_block;
/* Everything at one frequency.  held NULL: the first pass, from the estimate g0, good to g0_relative; it leaves the sign of a1 as it comes.
   Otherwise all choices are the held ones.  block: where the pairs come from; NULL: from the point.  residual (may be NULL): per standard,
   of the reflects where there are several. */
typedef bool line_solver(const struct point *p, const struct line_set *ln, const struct line_choice *held, double complex g0,
                         double g0_relative, size_t common0, struct line_block *block, struct line_solution *s, double *residual);

/* Two lines as one eigenproblem.  T_k T_c^{-1} = 1 + (T_k - T_c) adj(T_c)/det T_c: the difference is taken first, so that nearly equal
   lines (below 1 MHz) keep their digits; T_c^{-1} T_k has the same eigenvalues and gives port 2. */
struct line_pair {
        double complex root, det; /* eigenvalues differ by 2 root/det */
        double complex phase;     /* y up to whole turns, e^{-y} the eigenvalue with +, their average in size; once oriented, x */
        double complex box[4];    /* b1, ca1, b2, ca2 by the eigenvectors in this order */
};
bool line_t(const struct point *p, size_t standard, struct m2 *ret); /* switch terms removed; false: it does not transmit */
/* In the order in which port 1's eigenvectors cancel nothing. */
struct line_pair line_pair_of(struct m2 t_k, struct m2 t_c);
void line_pair_turn(struct line_pair *q); /* the other eigenvalue first */
/* Which eigenvalue is e^{-x}: by the estimate x, or by eigenvectors: those of all pairs are the same, so that a pair near half a wave
   follows another that is well off it (a line 30 um longer than told lies on the other side of half a wave than foretold). */
void line_pair_orient(struct line_pair *q, double complex x);
void line_pair_orient_like(struct line_pair *q, const double complex box[4]);
/* g dl, the average of both eigenvalues, unwrapped to the estimate x (its phase within 1e15 turns). */
double complex line_pair_phase(const struct line_pair *q, double complex x);

/* pairs.c: the same for many frequencies at once: pair[k] of every other line with line c at frequency i, and T of line 0 (NaN where
   a line does not transmit).  Asked for one frequency after the other, from `first` up and then from there down. */
size_t line_block_bytes(size_t n, size_t lines);
struct line_block *line_block_begin(void *memory_64, const struct problem *p, const struct line_set *lines, size_t first);
void line_block_pairs(struct line_block *b, size_t i, size_t c, struct line_pair *pair, struct m2 *t_0);

/* From b1 … ca2 to the rest: r and a1 a2 from line 0, a1 from the reflects (its sign by held, or as it comes). */
void line_finish(const struct point *p, const struct line_set *ln, const struct line_choice *held, struct m2 t_0, struct line_solution *s,
                 double *residual);
/* Boxes moved to the wanted planes (first) and impedance (then), as eight terms. */
void line_terms(const struct problem *p, double hz, const struct line_solution *s, double complex t[TERM_COUNT]);

enum code lines_check(const char *word, const struct problem *p, const struct line_set *ln, struct tp_error *err);
/* Where the shortest pair is nearest to 60 degrees by the guess: unambiguous even with a poor guess. */
size_t lines_first_frequency(const struct problem *p, const struct line_set *ln);
double complex lines_guess(const struct problem *p, double hz); /* of g */
/* The reflect's sign along frequency from ratio, reflect over estimate with either sign, and d->nstd; also the start is left in d. */
enum code lines_settle_sign(const char *word, const struct problem *p, double complex *ratio, signed char *sign, bool *trusted,
                            struct diagnosis *d, struct tp_error *err);
/* told.c: what of lengths and eps_eff the lines' own phases contradict, for a sentence; "": nothing, or it cannot be seen. */
#define LINES_TOLD 160
void lines_told(const struct problem *p, const struct line_set *ln, char ret[LINES_TOLD]);
/* told.c: the same of a gamma whose root is of another turn, which a sweep that begins high cannot tell by following it. */
void lines_turn_told(const struct problem *p, const struct diagnosis *d, char ret[LINES_TOLD]);
/* By how much the reflect lies further on than its offset says, if that is what turns ratio (reflect over estimate, with the followed sign),
   m; *ret_left_deg: the largest angle that it leaves. */
double lines_offset_fit_m(const struct diagnosis *d, const double complex *ratio, const bool *trusted, size_t start, double *ret_left_deg);
void lines_label(const char *word, const struct problem *p, struct terms *out); /* all that is not a number */

/* noise.c: below `first` (lines_first_frequency()), where the readings are mostly noise, d->gamma (in: as read) becomes what is known
   of it from above, d->nstd what that makes of it, and a sentence is left. */
void lines_in_noise(size_t first, struct diagnosis *d);
/* Sensitivities there, which the readings themselves show too small: by the same factor. */
void lines_widen(const struct problem *p, const struct line_set *ln, line_solver *solve, const struct line_choice *choice,
                 struct covariance *cov);

size_t lines_workspace(size_t n, size_t standards);
/* many: pairs come in blocks, and a second opinion is wanted. */
enum code lines_solve(const char *word, line_solver *solve, point_solver *terms_point, bool many, const struct problem *p, void *workspace,
                      struct terms *out, struct covariance *cov, struct diagnosis *d, struct tp_error *err);

/* judge.c: with all choices made (solution): residual of each line, [n][standard_n]; d->reciprocity and, where an opinion is wanted,
   d->second_opinion; and the judgement. */
struct line_judgement {
        double *length_error_m[RF_STANDARD_MAX]; /* of each line against the others, per frequency; NaN: cannot be told */
        double complex *second[4];               /* second opinion less the solution, as corrected reflections; NaN: none */
};
size_t lines_judge_bytes(size_t n, size_t lines); /* of scratch, 64-byte aligned */
void lines_judge(const struct problem *p, const struct line_set *ln, const struct line_solution *solution, bool opinion, void *scratch,
                 double *residual, const struct line_judgement *to, struct diagnosis *d);

/* lengths.c: which lines are not as long as told, into d->line_length_error_m and sentences. */
void lines_judge_lengths(const struct problem *p, const struct line_set *ln, const struct line_solution *solution,
                         const struct line_judgement *judgement, struct diagnosis *d);

/* say.c: the solutions of all frequencies into the diagnosis, and what must be said aloud. */
#define LINES_NSTD_LIMIT 3.0
double complex line_impedance(const struct problem *p, double hz, double complex g);
void lines_warn_quality(const struct problem *p, struct diagnosis *d); /* of d->reciprocity and d->nstd */
void lines_warn_impedance(const struct problem *p, struct diagnosis *d);
void lines_diagnose(const struct problem *p, const struct line_set *ln, const struct line_solution *solution,
                    const struct line_judgement *judgement, struct diagnosis *d);

#endif

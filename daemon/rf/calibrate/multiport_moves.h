/* multiport_moves.h: how error terms of three and four ports move with what moves the terms of their two-port steps, cause by cause.
   Pure, any thread; memory from the arena. */
#ifndef TIPPLANE_RF_MULTIPORT_MOVES_H
#define TIPPLANE_RF_MULTIPORT_MOVES_H
#include "base/arena.h"
#include "rf/calibrate/multiport.h"
#include "rf/correct/terms_causes.h"

enum multiport_term { MULTIPORT_ED, MULTIPORT_ES, MULTIPORT_ER, MULTIPORT_K, MULTIPORT_TERM_COUNT };
/* What one standard uncertainty moves.  A column that is NULL does not move; K of port 1 never does. */
struct multiport_cause {
        struct cause_about about;
        double *re[RF_PORTS_MAX][MULTIPORT_TERM_COUNT], *im[RF_PORTS_MAX][MULTIPORT_TERM_COUNT];
        double *switch_re[RF_PORTS_MAX], *switch_im[RF_PORTS_MAX];
};
struct multiport_causes {
        size_t n; /* <= CAUSES_MAX */
        struct multiport_cause *of;
        struct reading_u reading; /* of every touch and reading of a device */
        const char **not_counted;
        size_t not_counted_n;
};
/* One column of the terms, the caller's own; of `t` at port p (from 0). */
void multiport_column(const struct multiport_terms *t, unsigned p, enum multiport_term k, double **ret_re, double **ret_im);
/* A copy with room of its own, moved by `by` times the cause (NULL: not at all), whose columns stand at points at[] (NULL: as they are). */
enum code multiport_moved(const struct multiport_terms *t, const struct multiport_cause *c, const size_t *at, double by, struct arena *,
                          struct multiport_terms *ret, struct tp_error *err);

/* A two-port step as it was solved: eight terms, or twelve, which are taken apart into eight and their switch terms. */
struct multiport_step {
        unsigned p, q; /* the analyzer's ports, from 0 */
        const struct terms *terms;
        const struct switch_terms *sw;     /* NULL: none */
        const struct terms_causes *causes; /* NULL: nothing is stated of it, it counts as exact */
};
/* Eight terms and their switch terms, whatever the step has; ret_sw NULL columns: none. */
enum code multiport_step_eight(const struct multiport_step *, struct arena *, struct terms *ret, struct switch_terms *ret_sw,
                               bool *ret_has_sw, struct tp_error *err);
/* The causes of all steps, each step's its own: "step 1,3: load: R, port 1".  has_switch: the joined terms have their ports' switch terms.
   What is stated of every touch and reading is the largest that a step states.  CODE_BAD_INPUT: more than CAUSES_MAX causes. */
enum code rf_multiport_moves(const struct multiport_step *steps, size_t step_n, unsigned ports, bool has_switch, struct arena *,
                             struct multiport_causes *ret, struct tp_error *err);

#endif

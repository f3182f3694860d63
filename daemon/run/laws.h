/* laws.h: the ten laws, written apart from the rules: a second opinion that act asks before each step. */
#ifndef TIPPLANE_RUN_LAWS_H
#define TIPPLANE_RUN_LAWS_H
#include "run/evidence.h"

enum law {
        LAW_UNKNOWN,
        LAW_SIDEWAYS,    /* 1 no sideways motion unless separation is known */
        LAW_BIAS,        /* 2 contact changes only with bias read below 0.5 V */
        LAW_CALIBRATION, /* 3 no device sweep, no check without the accepted calibration in force */
        LAW_FINAL,       /* 4 no device touch without proof of place and an open interval without intervention */
        LAW_INTERVAL,    /* 5 no unload and no end with an open interval, unless a recorded rule wrote it off */
        LAW_BUDGET,      /* 6 no touch beyond a budget; the intention names what it spends */
        LAW_VALUE,       /* 7 no retouch but by contact evidence, by an interruption, or by a failed interval */
        LAW_MANDATE,     /* 8 nothing outside the mandate */
        LAW_END,         /* 9 a run ends proven safe; a latched station is not moved */
        LAW_CUT,         /* 10 one step at a time; a touch that was cut off is repeated once at the most */
        LAW_COUNT
};
extern const char *const law_words[LAW_COUNT];
/* Pure.  *ret_why (may be NULL): static sentence when false.  True for what a law says nothing about. */
bool law_holds(enum law, const struct plan *, const struct evidence *before, const struct step *, const char **ret_why);
/* The first law that a step breaks, LAW_UNKNOWN when all hold. */
enum law laws_broken(const struct plan *, const struct evidence *before, const struct step *, const char **ret_why);

#endif

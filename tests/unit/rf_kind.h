/* rf_kind.h: for tests that include a file of rf/ with loops for several kinds of processor: which kind runs is the test's choice. */
#ifndef TIPPLANE_TESTS_RF_KIND_H
#define TIPPLANE_TESTS_RF_KIND_H
#include "rf/numbers/cpu.h"

static int kind = -1; /* 0 any, 1 256 bit, 2 512 bit; -1: the widest that this processor can */
#if CPU_WIDE
#undef CPU_RUN
#define CPU_RUN(name, ...)                                       \
        do {                                                     \
                if (kind == 2 || (kind < 0 && kind_can(2)))      \
                        name##_widest(__VA_ARGS__);              \
                else if (kind == 1 || (kind < 0 && kind_can(1))) \
                        name##_wide(__VA_ARGS__);                \
                else                                             \
                        name##_any(__VA_ARGS__);                 \
        } while (0)
static inline bool kind_can(int k) { return k == 2 ? cpu_can_widest() : k == 1 ? cpu_can_wide() : true; }
#else
static inline bool kind_can(int k) { return k == 0; }
#endif

#endif

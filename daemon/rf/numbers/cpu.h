/* cpu.h: the kinds of processor that loops of rf/ are compiled for, and which of them this one is.  Chosen at the call, not by ifunc: its
   resolver runs before sanitizers are up. */
#ifndef TIPPLANE_RF_CPU_H
#define TIPPLANE_RF_CPU_H
#include <stdbool.h>

static inline bool cpu_can_any(void) { return true; }
#if defined(__x86_64__)
#define CPU_WIDE 1
#define TARGET_256 __attribute__((target("avx2,fma")))
#define TARGET_512 __attribute__((target("avx2,fma,avx512f,avx512vl,avx512dq,prefer-vector-width=512")))
static inline bool cpu_can_wide(void) { return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"); }
static inline bool cpu_can_widest(void)
{
        return cpu_can_wide() && __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") &&
               __builtin_cpu_supports("avx512dq");
}
/* name_any, name_wide, name_widest: one loop compiled for each; runs the widest that this processor can. */
#define CPU_RUN(name, ...)                          \
        do {                                        \
                if (cpu_can_widest())               \
                        name##_widest(__VA_ARGS__); \
                else if (cpu_can_wide())            \
                        name##_wide(__VA_ARGS__);   \
                else                                \
                        name##_any(__VA_ARGS__);    \
        } while (0)
#else
#define CPU_WIDE 0
#define CPU_RUN(name, ...) name##_any(__VA_ARGS__)
#endif

#endif

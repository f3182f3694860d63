/* cpu.h: the kinds of processor that loops of rf/ are compiled for, and which of them this one is.  Chosen at the call, not by ifunc: its
   resolver runs before sanitizers are up. */
#ifndef TIPPLANE_RF_CPU_H
#define TIPPLANE_RF_CPU_H
#include <stdbool.h>

enum cpu_kind { CPU_ANY, CPU_256, CPU_512, CPU_KINDS };

#if defined(__x86_64__) && !defined(__clang__) /* clang takes no target for a whole file */
#define CPU_WIDE 1
#define TARGET_256 __attribute__((target("avx2,fma")))
#define TARGET_512 __attribute__((target("avx2,fma,avx512f,avx512vl,avx512dq,prefer-vector-width=512")))
static inline bool cpu_can_wide(void) { return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"); }
static inline bool cpu_can_widest(void)
{
        return cpu_can_wide() && __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") &&
               __builtin_cpu_supports("avx512dq");
}
static inline bool cpu_can(enum cpu_kind kind)
{
        return kind == CPU_ANY || (kind == CPU_256 && cpu_can_wide()) || (kind == CPU_512 && cpu_can_widest());
}
/* name_any, name_wide, name_widest: one loop compiled for each; runs that of the kind, which this processor must be able to. */
#define CPU_RUN_ON(kind, name, ...)                 \
        do {                                        \
                if ((kind) == CPU_512)              \
                        name##_widest(__VA_ARGS__); \
                else if ((kind) == CPU_256)         \
                        name##_wide(__VA_ARGS__);   \
                else                                \
                        name##_any(__VA_ARGS__);    \
        } while (0)
#else
#define CPU_WIDE 0
static inline bool cpu_can(enum cpu_kind kind) { return kind == CPU_ANY; }
#define CPU_RUN_ON(kind, name, ...) ((void)(kind), name##_any(__VA_ARGS__))
#endif
static inline bool cpu_can_any(void) { return true; }
/* The widest that this processor can. */
static inline enum cpu_kind cpu_best(void) { return cpu_can(CPU_512) ? CPU_512 : cpu_can(CPU_256) ? CPU_256 : CPU_ANY; }
#define CPU_RUN(name, ...) CPU_RUN_ON(cpu_best(), name, __VA_ARGS__)

#endif

/* kinds.h: includes LOOPS, a header that begins with vector.h and ends with vector_end.h, once for each kind of processor (cpu.h): its
   functions N(name) are name_any, name_wide and name_widest, and CPU_RUN(name, …) chooses.  No include guard: that is the point.

        #define LOOPS "rf/numbers/columns_loops.h"
        #include "rf/numbers/kinds.h" */
#include "rf/numbers/cpu.h"
#define KIND _any
#define TARGET
#include LOOPS
#if CPU_WIDE
#define KIND _wide
#define TARGET TARGET_256
#include LOOPS
#define KIND _widest
#define TARGET TARGET_512
#include LOOPS
#endif
#undef LOOPS

/* Enforcement of passivity where the violation is known: what is passive, times g.  What it costs is held against the violation. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include "base/arena.h"
#include "rf/models/model.h"
#include "rf/network/convert.h"

enum { N = 110 };

/* What is passive, times g: S stands g - 1 above its limit all along, and a model that is passive need not lie further from the data than
   three times that, at whatever order.  The truth is the distance of the scaled data themselves, which are passive at 1/g: at most g - 1. */
static void a_small_violation_costs_little(void **state)
{
        (void)state;
        static const double above[] = {1e-5, 1e-4, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 1e-2};
        static const size_t orders[] = {0, 3, 4, 6, 8, 12, 16};
        struct arena *arena = arena_new(0);
        double hz[N];
        struct axis axis;
        for (int i = 0; i < N; i++)
                hz[i] = 1e9 * (i + 1);
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(N)), &axis, PLANE_DEVICE);
        void *w = arena_take(arena, rf_fit_vector_bytes(N, 2, 0));
        for (int device = 0; device < 3; device++)
                for (size_t a = 0; a < sizeof above / sizeof above[0]; a++)
                        for (size_t k = 0; k < sizeof orders / sizeof orders[0]; k++) {
                                for (size_t i = 0; i < N; i++) {
                                        double s = RF_TWO_PI * hz[i];
                                        double complex y = 1 / CMPLX(1 + device, s * 2.5e-10), pad = CMPLX(0, device == 1 ? s * 2e-14 : 0);
                                        struct m2 m = device == 2 ? rf_s_from_y(m2_of(1e3, -1e3, -1e3, CMPLX(1e3, s * 2e-13)), 50)
                                                                  : rf_s_from_y(m2_of(y + pad, -y, -y, y + pad), 50);
                                        net2_put(&net, i, m2_scale(1 + above[a], m));
                                }
                                struct model m;
                                struct model_report r;
                                struct tp_error err = {0};
                                struct model_data d = model_data_of(&net);
                                struct model_options o = {.fit = {.order = orders[k]}};
                                if (rf_fit_vector(&d, &o, w, &m, &r, &err))
                                        fail_msg("device %d, %g above, order %zu: %s", device, above[a], orders[k], err.text);
                                if (!(r.after.passive && r.error.worst <= 3 * above[a]))
                                        fail_msg("device %d, %g above, order %zu: error %.3g, %u rounds", device, above[a], orders[k],
                                                 r.error.worst, r.enforcement.rounds);
                        }
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_small_violation_costs_little),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

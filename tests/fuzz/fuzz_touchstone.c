/* fuzz_touchstone.c: the first byte says the number of ports.  What is accepted rises in frequency, is finite, and, as a two-port in S,
   comes back from our writer bit for bit. */
#include "tests/fuzz/fuzz.h"
#include <math.h>
#include "formats/touchstone.h"

static const char *const fuzz_words[] = {"# HZ S RI R 50\n",
                                         "# GHz Y MA R 75\n",
                                         "# kHz Z DB R 50 75\n",
                                         "[Version] 2.0\n",
                                         "! comment\n",
                                         "\n",
                                         "\r\n",
                                         "\t",
                                         "1e9 0 0 1 0 1 0 0 0\n",
                                         "R 0\n",
                                         "R -50\n",
                                         "#\n",
                                         "# R\n",
                                         "0 0 0\n",
                                         "!",
                                         "1e9",
                                         " ",
                                         NULL};

static void same(const double *a, const double *b, size_t n)
{
        for (size_t i = 0; i < n; i++)
                if (!(a[i] == b[i]))
                        fuzz_broken("written and read again, a number differs");
}
static void written_and_read(const struct net2 *net, struct arena *arena)
{
        struct tp_error err = {0};
        struct text t;
        struct touchstone again;
        text_init(&t, 0);
        if (touchstone_write2(net, &(struct touchstone_write){.comments = "fuzz"}, &t, &err))
                fuzz_broken("a network that was read cannot be written");
        if (touchstone_read(text_of(&t), t.n, 2, arena, &again, &err))
                fuzz_broken("what we wrote is refused");
        for (int e = 0; e < 4; e++) {
                same(net->re[e], again.re[e], again.axis.n);
                same(net->im[e], again.im[e], again.axis.n);
        }
        same(net->axis->hz, again.axis.hz, again.axis.n);
        text_done(&t);
}

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct touchstone t;
        struct net2 net;
        unsigned ports = n && bytes[0] >= '1' && bytes[0] <= '4' ? (unsigned)(bytes[0] - '0') : 2;
        enum code code = n ? touchstone_read(bytes + 1, n - 1, ports, arena, &t, err) : touchstone_read(bytes, 0, 2, arena, &t, err);
        if (!code) {
                for (size_t i = 0; i < t.axis.n; i++) {
                        if (!(t.axis.hz[i] >= 0 && (i == 0 || t.axis.hz[i] > t.axis.hz[i - 1])))
                                fuzz_broken("accepted frequencies do not rise");
                        for (unsigned e = 0; e < ports * ports; e++)
                                if (!isfinite(t.re[e][i]) || !isfinite(t.im[e][i]))
                                        fuzz_broken("an accepted number is not finite");
                }
                struct tp_error other = {0};
                if (ports == 2 && !touchstone_net2(&t, PLANE_RECEIVER, arena, &net, &other))
                        written_and_read(&net, arena);
        }
        arena_free(arena);
        return code;
}

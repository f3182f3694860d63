/* fuzz_touchstone.c: the first byte says the number of ports, '0': as a .ts file.  What is accepted rises in frequency, is finite, and
   comes back bit for bit from our writers: as version 2.1 whatever it is, and as version 1 when it is a two-port in S. */
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
                                         "[Number of Ports] 3\n",
                                         "[Two-Port Data Order] 12_21\n",
                                         "[Number of Frequencies] 2\n",
                                         "[Number of Noise Frequencies] 1\n",
                                         "[Reference]\n50 75\n",
                                         "[Matrix Format] Lower\n",
                                         "[Matrix Format] Upper\n",
                                         "[Mixed-Mode Order] D1,2 C1,2\n",
                                         "[Begin Information]\n",
                                         "[End Information]\n",
                                         "[Network Data]\n",
                                         "[Noise Data]\n",
                                         "[End]\n",
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

static void written_as_2_1(const struct touchstone *t, struct arena *arena)
{
        struct touchstone copy = *t, again;
        struct tp_error err = {0};
        struct text text;
        copy.version = 21;
        text_init(&text, 0);
        if (touchstone_write(&copy, NULL, &text, &err))
                fuzz_broken("a file that was read cannot be written as 2.1");
        if (touchstone_read(text_of(&text), text.n, 0, arena, &again, &err))
                fuzz_broken("what we wrote as 2.1 is refused");
        if (again.matrix != (t->matrix ? t->matrix : 'F') || again.order_12_21 != t->order_12_21)
                fuzz_broken("written as 2.1 and read again, the order of the data differs");
        if (again.ports != t->ports || again.axis.n != t->axis.n || again.noise_n != t->noise_n || again.parameter != t->parameter)
                fuzz_broken("written as 2.1 and read again, the shape differs");
        for (unsigned e = 0; e < t->ports * t->ports; e++) {
                same(t->re[e], again.re[e], t->axis.n);
                same(t->im[e], again.im[e], t->axis.n);
        }
        same(t->r_ohm, again.r_ohm, t->ports);
        same(t->axis.hz, again.axis.hz, t->axis.n);
        for (size_t i = 0; i < t->noise_n; i++)
                same(&t->noise[i].rn_ohm, &again.noise[i].rn_ohm, 1);
        text_done(&text);
}

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct touchstone t;
        struct net2 net;
        unsigned ports = n && bytes[0] >= '0' && bytes[0] <= '9' ? (unsigned)(bytes[0] - '0') : 2;
        enum code code = n ? touchstone_read(bytes + 1, n - 1, ports, arena, &t, err) : touchstone_read(bytes, 0, 2, arena, &t, err);
        if (!code) {
                for (size_t i = 0; i < t.axis.n; i++) {
                        if (!(t.axis.hz[i] >= 0 && (i == 0 || t.axis.hz[i] > t.axis.hz[i - 1])))
                                fuzz_broken("accepted frequencies do not rise");
                        for (unsigned e = 0; e < t.ports * t.ports; e++)
                                if (!isfinite(t.re[e][i]) || !isfinite(t.im[e][i]))
                                        fuzz_broken("an accepted number is not finite");
                }
                struct tp_error other = {0};
                written_as_2_1(&t, arena);
                if (t.ports == 2 && !touchstone_net2(&t, PLANE_RECEIVER, arena, &net, &other))
                        written_and_read(&net, arena);
                struct netn all;
                if (!touchstone_netn(&t, PLANE_TIP, arena, &all, &other))
                        for (unsigned e = 0; e < t.ports * t.ports; e++)
                                for (size_t i = 0; i < t.axis.n; i++)
                                        if (!isfinite(all.re[e][i]) || !isfinite(all.im[e][i]))
                                                fuzz_broken("a converted number is not finite");
        }
        arena_free(arena);
        return code;
}

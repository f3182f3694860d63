/* offline_modes.c: two modes of a network of more ports as a two-port: --modes D1,2:D3,4 (offline.h).
 * Idea        The two that are asked for and whatever completes them: the sum beside a difference, every port that is left alone.  What is
 *             not asked for ends in its own reference (the common mode of a 50 ohm pair in 25 ohm), as S parameters have it. */
#include "cli/offline.h"
#include <ctype.h>
#include <math.h>
#include <string.h>

/* "D1,2", "C3,4", "S1" */
static bool mode_of(const char *word, unsigned ports, struct mode *ret)
{
        char kind = (char)toupper((unsigned char)word[0]);
        unsigned number[2] = {0};
        size_t n = 0;
        const char *at = word + 1;
        for (; n < 2 && isdigit((unsigned char)*at); n++) {
                for (; isdigit((unsigned char)*at) && number[n] <= RF_PORTS_MAX; at++)
                        number[n] = 10 * number[n] + (unsigned)(*at - '0');
                if (n == 0 && *at == ',')
                        at++;
        }
        bool pair = kind == 'D' || kind == 'C';
        if (*at || !(pair ? n == 2 : kind == 'S' && n == 1) || number[0] < 1 || number[0] > ports)
                return false;
        if (pair && (number[1] < 1 || number[1] > ports || number[1] == number[0]))
                return false;
        *ret = (struct mode){kind == 'S'   ? MODE_SINGLE
                             : kind == 'D' ? MODE_DIFFERENTIAL
                                           : MODE_COMMON,
                             number[0] - 1, pair ? number[1] - 1 : 0};
        return true;
}

static bool is_of(const struct mode *m, unsigned p) { return m->p == p || (m->kind != MODE_SINGLE && m->q == p); }

/* The modes of all ports, the two that are asked for first. */
static enum code complete(unsigned ports, struct mode modes[RF_PORTS_MAX], struct tp_error *err)
{
        unsigned n = 2;
        bool one_pair = modes[0].kind != MODE_SINGLE && modes[1].kind != MODE_SINGLE && modes[0].kind != modes[1].kind &&
                        is_of(&modes[1], modes[0].p) && is_of(&modes[1], modes[0].q);
        for (unsigned p = 0; p < ports; p++)
                if (is_of(&modes[0], p) && is_of(&modes[1], p) && !one_pair)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "port %u stands in both modes; that is possible for the difference and the sum of one pair only",
                                       p + 1);
        for (unsigned k = 0; k < 2 && !one_pair; k++)
                if (modes[k].kind != MODE_SINGLE && n < ports)
                        modes[n++] =
                                (struct mode){modes[k].kind == MODE_DIFFERENTIAL ? MODE_COMMON : MODE_DIFFERENTIAL, modes[k].p, modes[k].q};
        for (unsigned p = 0; p < ports && n < ports; p++)
                if (!is_of(&modes[0], p) && !is_of(&modes[1], p))
                        modes[n++] = (struct mode){.kind = MODE_SINGLE, .p = p};
        return rfn_modes_check(ports, modes, err);
}

/* What --modes says of a file with so many ports, and the modes that complete it. */
static enum code modes_of(struct cli *c, const char *path, unsigned ports, char word[2][16], struct mode modes[RF_PORTS_MAX],
                          struct tp_error *err)
{
        const char *asked = cli_option(c, "modes"), *colon = strchr(asked, ':');
        if (!colon || (size_t)(colon - asked) >= sizeof word[0] || strlen(colon + 1) >= sizeof word[1])
                return tp_fail(err, CODE_BAD_INPUT, "--modes %.40s: two modes with a colon between them are needed, e.g. D1,2:D3,4", asked);
        memcpy(word[0], asked, (size_t)(colon - asked));
        memcpy(word[1], colon + 1, strlen(colon + 1));
        for (int k = 0; k < 2; k++)
                if (!mode_of(word[k], ports, &modes[k]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "--modes %.40s: \"%s\" is none of S1 (port 1), D1,2 (its difference to port 2), C1,2 (their sum) "
                                       "for %s with "
                                       "%u ports",
                                       asked, word[k], path, ports);
        enum code code = complete(ports, modes, err);
        return code ? tp_where(err, "--modes %s", asked) : CODE_OK;
}

/* The two modes as they stand, each in its own reference, which is given back. */
static enum code two_modes(struct cli *c, const char *path, const struct netn *net, const struct mode *modes,
                           double complex z[RF_PORTS_MAX], struct net2 *ret, struct tp_error *err)
{
        void *memory = arena_take(c->arena, netn_bytes(net->axis->n, net->ports));
        if (!memory)
                return tp_fail_memory(err);
        struct netn mixed = netn_at(memory, net->axis, net->ports, net->plane);
        enum code code = rfn_mixed_mode_net(net, modes, &mixed, err);
        if (code)
                return tp_where(err, "%s", path);
        netn_z(&mixed, 0, z);
        return offline_two_of(c, &mixed, 0, 1, ret, err);
}

#define BALUN_OHM 50.0 /* what two modes of two references are brought to */
static bool one_reference(const double complex z[2]) { return creal(z[0]) == creal(z[1]); }

enum code offline_modes(struct cli *c, const char *path, const struct netn *net, struct net2 *ret, struct tp_error *err)
{
        char word[2][16] = {"", ""};
        struct mode modes[RF_PORTS_MAX] = {{0}};
        double complex z[RF_PORTS_MAX] = {0};
        const double complex to[2] = {BALUN_OHM, BALUN_OHM};
        enum code code = modes_of(c, path, net->ports, word, modes, err);
        if (code || (code = two_modes(c, path, net, modes, z, ret, err)))
                return code;
        if (!one_reference(z)) {
                for (size_t i = 0; i < ret->axis->n; i++)
                        net2_put(ret, i, rf_renormalise(net2_get(ret, i), z, WAVE_PSEUDO, to, WAVE_PSEUDO));
                net2_set_z(ret, BALUN_OHM, 0);
        }
        cli_note(c, "%s: modes %s and %s of %u ports as a two-port in %g ohm; the other modes end in their reference", path, word[0],
                 word[1], net->ports, one_reference(z) ? creal(z[0]) : BALUN_OHM);
        return CODE_OK;
}

enum code offline_modes_causes(struct cli *c, const char *path, const struct netn *net, const struct netn_causes *all,
                               struct net2_causes *ret, struct tp_error *err)
{
        char word[2][16] = {"", ""};
        struct mode modes[RF_PORTS_MAX] = {{0}};
        double complex z[RF_PORTS_MAX] = {0};
        const double complex to[2] = {BALUN_OHM, BALUN_OHM};
        struct net2 two;
        struct netn_causes mixed;
        enum code code = modes_of(c, path, net->ports, word, modes, err);
        if (!code)
                code = two_modes(c, path, net, modes, z, &two, err);
        if (!code)
                code = netn_causes_mixed(all, modes, c->arena, &mixed, err);
        if (!code)
                code = netn_causes_two(&mixed, 0, 1, c->arena, ret, err);
        if (!code && !one_reference(z) && (code = net2_causes_renormalise(ret, &two, z, to, c->arena, err)))
                tp_where(err, "%s", path);
        return code;
}

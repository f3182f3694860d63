/* netn_causes.c: causes of networks of one to four ports (netn_causes.h). */
#include "rf/network/netn_causes.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

void netn_cause_at(const struct netn_cause *c, unsigned ports, size_t i, double complex *ret_d)
{
        for (unsigned e = 0; e < ports * ports; e++)
                ret_d[e] = c->re[e] ? CMPLX(c->re[e][i], c->im[e][i]) : 0;
}

const struct netn_cause *netn_cause_find(const struct netn_causes *c, const char *id)
{
        for (size_t k = 0; c && k < c->n; k++)
                if (memcmp(c->of[k].id, id, CAUSE_ID_CHARS) == 0)
                        return &c->of[k];
        return NULL;
}

enum code netn_causes_from_two(const struct net2_causes *two, struct arena *arena, struct netn_causes *ret, struct tp_error *err)
{
        *ret = (struct netn_causes){
                .axis = two->axis, .ports = 2, .n = two->n, .not_counted = two->not_counted, .not_counted_n = two->not_counted_n};
        if (!(ret->of = arena_take(arena, (two->n + 1) * sizeof *ret->of)))
                return tp_fail_memory(err);
        for (size_t k = 0; k < two->n; k++) {
                ret->of[k].about = two->of[k].about;
                memcpy(ret->of[k].id, two->of[k].id, sizeof ret->of[k].id);
                memcpy(ret->of[k].re, two->of[k].re, sizeof two->of[k].re);
                memcpy(ret->of[k].im, two->of[k].im, sizeof two->of[k].im);
        }
        return CODE_OK;
}

enum code netn_causes_from_port(const struct net2_causes *two, unsigned port, struct arena *arena, struct netn_causes *ret,
                                struct tp_error *err)
{
        enum code code = netn_causes_from_two(two, arena, ret, err);
        ret->ports = 1;
        for (size_t k = 0; k < ret->n && !code; k++) {
                ret->of[k].re[0] = two->of[k].re[3 * port];
                ret->of[k].im[0] = two->of[k].im[3 * port];
                for (int e = 1; e < 4; e++)
                        ret->of[k].re[e] = ret->of[k].im[e] = NULL;
        }
        return code;
}

enum code netn_causes_two(const struct netn_causes *all, unsigned p, unsigned q, struct arena *arena, struct net2_causes *ret,
                          struct tp_error *err)
{
        const unsigned from[4] = {p * all->ports + p, p * all->ports + q, q * all->ports + p, q * all->ports + q};
        *ret = (struct net2_causes){.axis = all->axis, .not_counted = all->not_counted, .not_counted_n = all->not_counted_n};
        if (!(ret->of = arena_take(arena, (all->n + 1) * sizeof *ret->of)))
                return tp_fail_memory(err);
        for (size_t k = 0; k < all->n; k++) {
                struct net2_cause *to = &ret->of[ret->n];
                bool moves = false;
                *to = (struct net2_cause){.about = all->of[k].about};
                memcpy(to->id, all->of[k].id, sizeof to->id);
                for (int e = 0; e < (p == q ? 1 : 4); e++) {
                        to->re[e] = all->of[k].re[from[e]];
                        to->im[e] = all->of[k].im[from[e]];
                        moves = moves || to->re[e];
                }
                ret->n += moves;
        }
        return CODE_OK;
}

static bool columns_take(size_t n, struct arena *arena, double **re, double **im)
{
        *re = arena_take(arena, n * sizeof(double));
        *im = arena_take(arena, n * sizeof(double));
        return *re && *im;
}

enum code netn_cause_from_sides(const struct netn *up, const struct netn *down, double scale, struct arena *arena, struct netn_cause *to,
                                struct tp_error *err)
{
        size_t n = up->axis->n;
        for (unsigned e = 0; e < up->ports * up->ports; e++) {
                bool moves = false;
                for (size_t i = 0; i < n; i++)
                        moves = moves || up->re[e][i] != down->re[e][i] || up->im[e][i] != down->im[e][i];
                if (!moves)
                        continue;
                if (!columns_take(n, arena, &to->re[e], &to->im[e]))
                        return tp_fail_memory(err);
                for (size_t i = 0; i < n; i++) {
                        to->re[e][i] = (up->re[e][i] - down->re[e][i]) * scale;
                        to->im[e][i] = (up->im[e][i] - down->im[e][i]) * scale;
                        if (!isfinite(to->re[e][i]) || !isfinite(to->im[e][i]))
                                return tp_fail(err, CODE_UNRESOLVABLE, "what \"%s\" does at %.9g Hz is no number", to->about.name,
                                               up->axis->hz[i]);
                }
        }
        return CODE_OK;
}

enum code netn_causes_mixed(const struct netn_causes *all, const struct mode *modes, struct arena *arena, struct netn_causes *ret,
                            struct tp_error *err)
{
        unsigned entries = all->ports * all->ports;
        *ret = *all;
        if (!(ret->of = arena_take(arena, (all->n + 1) * sizeof *ret->of)))
                return tp_fail_memory(err);
        for (size_t k = 0; k < all->n; k++) {
                struct netn_cause *to = &ret->of[k];
                to->about = all->of[k].about;
                memcpy(to->id, all->of[k].id, sizeof to->id);
                for (unsigned e = 0; e < entries; e++)
                        if (!columns_take(all->axis->n, arena, &to->re[e], &to->im[e]))
                                return tp_fail_memory(err);
                for (size_t i = 0; i < all->axis->n; i++) {
                        double complex d[RF_ENTRIES_MAX];
                        netn_cause_at(&all->of[k], all->ports, i, d);
                        rfn_mixed_mode(all->ports, d, modes, d); /* linear in S */
                        for (unsigned e = 0; e < entries; e++) {
                                to->re[e][i] = creal(d[e]);
                                to->im[e][i] = cimag(d[e]);
                        }
                }
        }
        return CODE_OK;
}

enum code net2_causes_renormalise(struct net2_causes *causes, const struct net2 *net, const double complex z_from[2],
                                  const double complex z_to[2], struct arena *arena, struct tp_error *err)
{
        size_t n = causes->axis->n;
        for (size_t k = 0; k < causes->n; k++) {
                struct net2_cause *c = &causes->of[k], to = *c;
                for (int e = 0; e < 4; e++)
                        if (!columns_take(n, arena, &to.re[e], &to.im[e]))
                                return tp_fail_memory(err);
                for (size_t i = 0; i < n; i++) {
                        struct m2 s = net2_get(net, i), d = net2_cause_at(c, i);
                        double h = 1e-5 / fmax(1e-300, fmax(fmax(cabs(d.e[0]), cabs(d.e[1])), fmax(cabs(d.e[2]), cabs(d.e[3]))));
                        struct m2 up = rf_renormalise(m2_add(s, m2_scale(h, d)), z_from, WAVE_PSEUDO, z_to, WAVE_PSEUDO),
                                  down = rf_renormalise(m2_sub(s, m2_scale(h, d)), z_from, WAVE_PSEUDO, z_to, WAVE_PSEUDO);
                        for (int e = 0; e < 4; e++) {
                                double complex by = (up.e[e] - down.e[e]) / (2 * h);
                                to.re[e][i] = creal(by);
                                to.im[e][i] = cimag(by);
                                if (!isfinite(creal(by)) || !isfinite(cimag(by)))
                                        return tp_fail(err, CODE_UNRESOLVABLE, "what \"%s\" does at %.9g Hz is no number", c->about.name,
                                                       causes->axis->hz[i]);
                        }
                }
                *c = to;
        }
        return CODE_OK;
}

struct complex_cov netn_causes_cov_difference(const struct netn_causes *a, size_t i, const struct netn_causes *b, size_t k, unsigned entry)
{
        struct complex_cov sum = {0, 0, 0};
        for (size_t m = 0; a && m < a->n; m++) {
                const struct netn_cause *one = &a->of[m], *same = netn_cause_find(b, one->id);
                double complex d = one->re[entry] ? CMPLX(one->re[entry][i], one->im[entry][i]) : 0;
                if (same && same->re[entry])
                        d -= CMPLX(same->re[entry][k], same->im[entry][k]);
                cause_cov_add(&sum, &one->about, d);
        }
        for (size_t m = 0; b && m < b->n; m++)
                if (b->of[m].re[entry] && !netn_cause_find(a, b->of[m].id))
                        cause_cov_add(&sum, &b->of[m].about, CMPLX(b->of[m].re[entry][k], b->of[m].im[entry][k]));
        return sum;
}

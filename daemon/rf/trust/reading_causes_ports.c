/* reading_causes_ports.c: causes of corrected S of three and four ports (reading_causes_ports.h).
 * Touch       a series impedance dZ at port p: with 1 - S = 2 z (Z + z)^-1, dS = (1 - S) e_p e_p' (1 - S) dZ/(2 z); a port p that lies theta further
 *             out: dS_ij = -theta S_ij for each of i, j that is p. */
#include "rf/trust/reading_causes_ports.h"
#include "rf/trust/reading_causes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define STEP 1e-5 /* of a term */
#define NOISE_STEP 1e-6

struct job {
        const struct corrected_reading_ports *r;
        struct arena *arena, *scratch;
        struct netn_causes *to;
        unsigned ports;
        size_t n;
};

static enum code net_new(struct job *j, enum plane plane, struct netn *ret, struct tp_error *err)
{
        void *memory = arena_take(j->scratch, netn_bytes(j->n, j->ports));
        if (!memory)
                return tp_fail_memory(err);
        *ret = netn_at(memory, j->r->raw->axis, j->ports, plane);
        return CODE_OK;
}

/* The next cause, by what it makes of S on either side. */
static enum code add(struct job *j, enum cause_kind kind, double freedom, const char *of, const char *name, const struct netn *up,
                     const struct netn *down, double scale, struct tp_error *err)
{
        struct netn_cause *c = &j->to->of[j->to->n];
        *c = (struct netn_cause){.about = {.kind = kind, .freedom = freedom}};
        if (!(c->about.name = arena_text(j->arena, name)))
                return tp_fail_memory(err);
        net2_cause_id(of, name, c->id);
        enum code code = netn_cause_from_sides(up, down, scale, j->arena, c, err);
        bool moves = false;
        for (unsigned e = 0; e < j->ports * j->ports; e++)
                moves = moves || c->re[e];
        j->to->n += !code && moves;
        arena_reset(j->scratch);
        return code;
}

/* ---- of the terms -------------------------------------------------------------------------------------------------------------------- */

static double largest(const struct multiport_cause *c, unsigned ports, size_t n)
{
        double most = 0;
        for (unsigned p = 0; p < ports; p++)
                for (size_t i = 0; i < n; i++) {
                        for (int k = 0; k < MULTIPORT_TERM_COUNT; k++)
                                if (c->re[p][k])
                                        most = fmax(most, hypot(c->re[p][k][i], c->im[p][k][i]));
                        if (c->switch_re[p])
                                most = fmax(most, hypot(c->switch_re[p][i], c->switch_im[p][i]));
                }
        return most;
}

static enum code switch_moved(struct job *j, const struct multiport_cause *c, double by, struct port_switch *ret, struct tp_error *err)
{
        *ret = *j->r->sw;
        for (unsigned p = 0; p < j->ports; p++) {
                if (!c->switch_re[p])
                        continue;
                if (!(ret->re[p] = arena_take(j->scratch, j->n * sizeof(double))) ||
                    !(ret->im[p] = arena_take(j->scratch, j->n * sizeof(double))))
                        return tp_fail_memory(err);
                for (size_t i = 0; i < j->n; i++) {
                        ret->re[p][i] = j->r->sw->re[p][i] + by * c->switch_re[p][j->r->at[i]];
                        ret->im[p][i] = j->r->sw->im[p][i] + by * c->switch_im[p][j->r->at[i]];
                }
        }
        return CODE_OK;
}

static enum code of_terms(struct job *j, const struct multiport_cause *c, size_t list_n, struct tp_error *err)
{
        double most = largest(c, j->ports, list_n), by = most > 0 ? STEP / most : 0;
        struct netn side[2];
        enum code code = CODE_OK;
        if (!(most > 0))
                return CODE_OK;
        for (int up = 0; up < 2 && !code; up++) {
                struct multiport_terms terms;
                struct port_switch sw;
                double b = up ? by : -by;
                code = multiport_moved(j->r->terms, c, j->r->at, b, j->scratch, &terms, err);
                if (!code && j->r->sw)
                        code = switch_moved(j, c, b, &sw, err);
                if (!code)
                        code = net_new(j, PLANE_UNKNOWN, &side[up], err);
                if (!code)
                        code = rf_multiport_correct(&terms, j->r->raw, j->r->sw ? &sw : NULL, &side[up], err);
        }
        return code ? code : add(j, c->about.kind, c->about.freedom, j->r->terms_id, c->about.name, &side[1], &side[0], 1 / (2 * by), err);
}

/* The port's one-way tracking times 1 + eps: of what is read without switch terms. */
static enum code of_drift(struct job *j, unsigned port, bool loss, struct tp_error *err)
{
        const struct multiport_terms *t = j->r->terms;
        struct multiport_terms plain = *t;
        const double h = 1e-4;
        struct netn read, side[2];
        char name[40];
        if (!((loss ? j->r->u->drift_loss_db : j->r->u->drift_delay_s) > 0))
                return CODE_OK;
        plain.switch_removed = false;
        enum code code = net_new(j, PLANE_RECEIVER, &read, err);
        if (!code)
                code = rf_multiport_embed(&plain, j->r->corrected, NULL, &read, err);
        for (int up = 0; up < 2 && !code; up++) {
                struct netn moved;
                if ((code = net_new(j, PLANE_RECEIVER, &moved, err)) || (code = net_new(j, PLANE_UNKNOWN, &side[up], err)))
                        break;
                for (size_t i = 0; i < j->n; i++) {
                        double complex m[RF_ENTRIES_MAX], ed = CMPLX(t->port[port].ed_re[i], t->port[port].ed_im[i]);
                        double hz = t->axis->hz[i];
                        double complex eps = loss ? -j->r->u->drift_loss_db / RF_DB_PER_NEPER * sqrt(hz / j->r->top_hz)
                                                  : CMPLX(0, -RF_TWO_PI * hz * j->r->u->drift_delay_s);
                        double complex by = 1 + (up ? h : -h) * eps;
                        netn_get(&read, i, m);
                        for (unsigned k = 0; k < j->ports; k++)
                                if (k != port) {
                                        m[port * j->ports + k] *= by;
                                        m[k * j->ports + port] *= by;
                                }
                        m[port * j->ports + port] = ed + (m[port * j->ports + port] - ed) * by * by;
                        netn_put(&moved, i, m);
                }
                code = rf_multiport_correct(&plain, &moved, NULL, &side[up], err);
        }
        snprintf(name, sizeof name, "drift: %s, port %u", loss ? "loss" : "delay", port + 1);
        return code ? code : add(j, CAUSE_OF_DRIFT, INFINITY, j->r->terms_id, name, &side[1], &side[0], 1 / (2 * h), err);
}

/* ---- of its own ---------------------------------------------------------------------------------------------------------------------- */

enum own_touch { OWN_R, OWN_L, OWN_PLACE };

static enum code of_touch(struct job *j, unsigned port, enum own_touch touch, struct tp_error *err)
{
        const struct reading_u *u = j->r->u;
        unsigned ports = j->ports;
        struct netn change, zero;
        char name[48];
        double size = touch == OWN_R ? u->contact_ohm : touch == OWN_L ? u->contact_h : u->placement_um;
        if (!(size > 0))
                return CODE_OK;
        enum code code = net_new(j, PLANE_UNKNOWN, &change, err);
        if (!code)
                code = net_new(j, PLANE_UNKNOWN, &zero, err);
        for (size_t i = 0; i < j->n && !code; i++) {
                double complex s[RF_ENTRIES_MAX], d[RF_ENTRIES_MAX];
                double w = RF_TWO_PI * change.axis->hz[i], z = j->r->corrected->z_re[port][i] > 0 ? j->r->corrected->z_re[port][i] : 50;
                double complex dz = touch == OWN_R ? size : CMPLX(0, w * size),
                               theta = CMPLX(0, w * sqrt(u->eps_eff) / RF_C0_M_S * size * 1e-6);
                netn_get(j->r->corrected, i, s);
                for (unsigned a = 0; a < ports; a++)
                        for (unsigned b = 0; b < ports; b++) {
                                double complex column = (a == port) - s[a * ports + port], row = (b == port) - s[port * ports + b];
                                d[a * ports + b] = touch == OWN_PLACE ? -theta * s[a * ports + b] * ((a == port) + (b == port))
                                                                      : column * row * dz / (2 * z);
                        }
                netn_put(&change, i, d);
        }
        snprintf(name, sizeof name, "own: %s, port %u", rf_touch_words[touch], port + 1);
        return code ? code
                    : add(j, touch == OWN_PLACE ? CAUSE_OF_PLACEMENT : CAUSE_OF_CONTACT, INFINITY,
                          j->r->touch_id ? j->r->touch_id : j->r->reading_id, name, &change, &zero, 1, err);
}

static enum code of_noise(struct job *j, unsigned entry, struct tp_error *err)
{
        struct netn side[2];
        double *u = arena_take(j->scratch, j->n * sizeof *u);
        char name[40];
        enum code code = u ? CODE_OK : tp_fail_memory(err);
        for (size_t i = 0; i < j->n && !code; i++)
                u[i] = reading_noise(j->r->u, CMPLX(j->r->raw->re[entry][i], j->r->raw->im[entry][i]));
        for (int up = 0; up < 2 && !code; up++) {
                struct netn moved;
                if ((code = net_new(j, PLANE_RECEIVER, &moved, err)) || (code = net_new(j, PLANE_UNKNOWN, &side[up], err)))
                        break;
                for (size_t i = 0; i < j->n; i++) {
                        double complex m[RF_ENTRIES_MAX];
                        netn_get(j->r->raw, i, m);
                        m[entry] += up ? NOISE_STEP : -NOISE_STEP;
                        netn_put(&moved, i, m);
                }
                code = rf_multiport_correct(j->r->terms, &moved, j->r->sw, &side[up], err);
        }
        for (unsigned e = 0; e < j->ports * j->ports && !code; e++) /* times what each frequency's noise is */
                for (size_t i = 0; i < j->n; i++)
                        for (int up = 0; up < 2; up++) {
                                side[up].re[e][i] *= u[i];
                                side[up].im[e][i] *= u[i];
                        }
        snprintf(name, sizeof name, "own: noise, S%u%u", entry / j->ports + 1, entry % j->ports + 1);
        return code ? code
                    : add(j, CAUSE_OF_NOISE, j->r->u->noise_freedom, j->r->reading_id, name, &side[1], &side[0], 1 / (2 * NOISE_STEP), err);
}

enum code rf_reading_causes_ports(const struct corrected_reading_ports *r, struct arena *arena, struct netn_causes *ret,
                                  struct tp_error *err)
{
        struct job j = {.r = r, .arena = arena, .to = ret, .ports = r->terms->ports, .n = r->raw->axis->n};
        const size_t own = 5 * RF_PORTS_MAX + RF_ENTRIES_MAX;
        size_t list_n = 0;
        for (size_t i = 0; i < j.n; i++)
                list_n = r->at[i] + 1 > list_n ? r->at[i] + 1 : list_n;
        *ret = (struct netn_causes){.axis = r->raw->axis, .ports = j.ports};
        if (!(ret->of = arena_take(arena, (r->causes->n + own) * sizeof *ret->of)) ||
            !(ret->not_counted = arena_take(arena, CAUSES_NOT_COUNTED_MAX * sizeof *ret->not_counted)) || !(j.scratch = arena_new(0)))
                return tp_fail_memory(err);
        enum code code = CODE_OK;
        for (size_t k = 0; k < r->causes->n && !code; k++)
                code = of_terms(&j, &r->causes->of[k], list_n, err);
        for (unsigned p = 0; p < j.ports && !code; p++) {
                for (int loss = 0; loss < 2 && !code; loss++)
                        code = of_drift(&j, p, loss == 1, err);
                for (int touch = OWN_R; touch <= OWN_PLACE && !code; touch++)
                        code = of_touch(&j, p, (enum own_touch)touch, err);
        }
        for (unsigned e = 0; e < j.ports * j.ports && !code && (r->u->noise_floor > 0 || r->u->noise_trace > 0); e++)
                code = of_noise(&j, e, err);
        arena_free(j.scratch);
        if (!code && ret->n > CAUSES_MAX)
                code = tp_fail(err, CODE_BAD_INPUT, "the reading has %zu causes; at most %d are written: state less", ret->n, CAUSES_MAX);
        for (size_t k = 0; k < r->causes->not_counted_n && ret->not_counted_n < CAUSES_NOT_COUNTED_MAX - 1; k++)
                ret->not_counted[ret->not_counted_n++] = r->causes->not_counted[k];
        if (!(r->u->drift_delay_s > 0 || r->u->drift_loss_db > 0))
                ret->not_counted[ret->not_counted_n++] = "drift since the calibration";
        return code;
}

/* standard_moves.c: see standard_moves.h.
 * Idea        What a definition says moves with its numbers (rf_standard_moves()).  Two things have no definition: of a reflect it is only
 *             known that it is alike at both ports, and what it is not is a capacitance, an inductance or a resistance at what is read there;
 *             a line of a line method has a length, and a delay that is not known of it goes with what is read of it.
 * Where       An open or short that is not quite as defined moves along its own circle, not along the definition's, and "lrrm", which finds
 *             its match by the open's losslessness, minds what lies across it.  So the change is turned to what is read. */
#include "recipe/standard_moves.h"
#include <math.h>
#include <string.h>

static const struct standard_model *model_at(const struct standard *s, int port)
{
        return port == 1 && s->has_port_2 ? &s->port_2.model : &s->model;
}

static bool is_two_port(const struct standard *s) { return s->kind == STANDARD_THRU || s->kind == STANDARD_LINE; }

double complex standard_series(double complex g, double complex dz_ohm) { return (1 - g) * (1 - g) / 2 * dz_ohm / 50; }
double complex standard_shunt(double complex g, double complex dy_s) { return -(1 + g) * (1 + g) / 2 * dy_s * 50; }

/* Numbers that are stated at a port; a reflect has those three that can stand at its reflection. */
static size_t stated_at(const struct standard *s, int port, const char *ret[RF_STANDARD_CAUSES])
{
        static const char *const names[3] = {"C0", "L0", "R"};
        struct m2 d[RF_STANDARD_CAUSES];
        const struct standard_model *m = model_at(s, port);
        const double u[3] = {m->u_c_f, m->u_l_h, m->u_r_ohm};
        struct standard_definition def = standard_definition_at(s, port);
        size_t n = 0;
        if (s->data_n || def.kind == RF_STANDARD_UNKNOWN)
                return 0;
        if (def.kind != RF_REFLECT)
                return rf_standard_moves(&def, def.t_ref_c, 0, 1e9, d, ret);
        for (int k = 0; k < 3; k++)
                if (u[k] > 0)
                        ret[n++] = names[k];
        return n;
}

double standard_shared(const struct standard *s, const char *number)
{
        bool trimmed[2];
        for (int port = 0; port < 2; port++)
                trimmed[port] =
                        number && strcmp(number, "R") == 0 && model_at(s, port)->dc_ohm > 0 && standard_kind_at(s, port) == STANDARD_LOAD;
        if (!s->has_port_2)
                return trimmed[0] ? 1 : s->model.u_shared;
        if (s->kind != s->port_2.kind || trimmed[0] || trimmed[1]) /* each port has its own reading */
                return 0;
        return fmin(s->model.u_shared, s->port_2.model.u_shared);
}

size_t standard_moves(const struct standard *s, unsigned ports, struct standard_move ret[STANDARD_MOVES_MAX])
{
        const char *name[2][RF_STANDARD_CAUSES];
        size_t n[2] = {stated_at(s, 0, name[0]), stated_at(s, 1, name[1])}, to = 0;
        bool both = ports == 0 || ports == 3;
        for (size_t k = 0; k < n[0] && is_two_port(s); k++)
                ret[to++] = (struct standard_move){name[0][k], 2, {1, 0}};
        for (int port = 0; port < 2 && !is_two_port(s); port++)
                for (size_t k = 0; k < n[port] && (both || ports == 1u << port); k++) {
                        bool other = false;
                        for (size_t j = 0; j < n[!port]; j++)
                                other = other || strcmp(name[!port][j], name[port][k]) == 0;
                        double shared = both && other ? standard_shared(s, name[port][k]) : 0;
                        struct standard_move own = {name[port][k], port, {0, 0}};
                        own.part[port] = sqrt(1 - shared);
                        if (shared < 1)
                                ret[to++] = own;
                        if (shared > 0 && port == 0)
                                ret[to++] = (struct standard_move){name[0][k], 2, {sqrt(shared), sqrt(shared)}};
                }
        return to;
}

bool standard_data_reciprocal(const struct standard *s)
{
        for (size_t i = 0; i < s->data_n; i++)
                if (s->data[i].has_s12)
                        return false;
        return true;
}

size_t standard_data_moves(const struct standard *s, unsigned ports, bool through, bool reciprocal, struct data_move ret[DATA_MOVES_MAX])
{
        double u = s->data_u, shared = !through && ports == 3 ? standard_shared(s, NULL) : 0;
        double own = u * sqrt(1 - shared), both = u * sqrt(shared);
        size_t n = 0;
        if (!(u > 0))
                return 0;
        if (ports & 1 && own > 0)
                ret[n++] = (struct data_move){"S11", m2_diag(own, 0)};
        if (through && reciprocal)
                ret[n++] = (struct data_move){"S21 and S12", m2_of(0, u, u, 0)};
        if (through && !reciprocal) {
                ret[n++] = (struct data_move){"S12", m2_of(0, u, 0, 0)};
                ret[n++] = (struct data_move){"S21", m2_of(0, 0, u, 0)};
        }
        if (ports & 2 && own > 0)
                ret[n++] = (struct data_move){"S22", m2_diag(0, own)};
        if (both > 0)
                ret[n++] = (struct data_move){"S11 and S22", m2_diag(both, both)};
        return n;
}

static double complex reflect_moved(const struct standard_model *m, const char *number, double complex g, double hz)
{
        double w = RF_TWO_PI * hz;
        if (number[0] == 'C')
                return standard_shunt(g, CMPLX(0, w * m->u_c_f));
        return standard_series(g, number[0] == 'L' ? CMPLX(0, w * m->u_l_h) : m->u_r_ohm);
}

/* The definition's change by one number; 0: it is not stated at this port. */
static struct m2 definition_moved(const struct standard *s, int port, const char *number, const struct standard_place *at)
{
        struct standard_definition def = standard_definition_at(s, port);
        const char *names[RF_STANDARD_CAUSES];
        struct m2 d[RF_STANDARD_CAUSES];
        size_t n = rf_standard_moves(&def, at->t_c, 0, at->hz, d, names);
        for (size_t k = 0; k < n; k++)
                if (strcmp(names[k], number) == 0)
                        return d[k];
        return m2_of(0, 0, 0, 0);
}

#define REFLECTS 0.5 /* of |S|: opens and shorts, not loads */

/* The change of a reflection by its definition, where it stands: is. */
static double complex defined_moved(const struct standard *s, int port, const char *number, const struct standard_place *at,
                                    double complex is)
{
        struct standard_definition def = standard_definition_at(s, port);
        double complex g = rf_standard_reflection(&def, at->t_c, at->hz), d = definition_moved(s, port, number, at).e[3 * port];
        double size = cabs(is / g);
        return cabs(g) > REFLECTS && size > REFLECTS && size < 1 / REFLECTS ? d * is / g : d * at->turn;
}

struct m2 standard_moved(const struct standard *s, const struct standard_move *move, const struct standard_place *at)
{
        struct m2 sum = m2_of(0, 0, 0, 0);
        if (is_two_port(s)) {
                if (strcmp(move->number, "offset delay") == 0 && s->model.delay_s == 0)
                        return m2_scale(CMPLX(0, -RF_TWO_PI * at->hz * s->model.u_delay_s), m2_of(0, at->is.e[1], at->is.e[2], 0));
                return definition_moved(s, 0, move->number, at);
        }
        for (int port = 0; port < 2; port++) {
                int e = 3 * port;
                if (move->part[port] == 0)
                        continue;
                double complex d = standard_kind_at(s, port) == STANDARD_REFLECT
                                           ? reflect_moved(model_at(s, port), move->number, at->is.e[e] / at->turn, at->hz) * at->turn
                                           : defined_moved(s, port, move->number, at, at->is.e[e]);
                sum.e[e] = move->part[port] * d;
        }
        return sum;
}

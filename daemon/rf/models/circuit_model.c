/* circuit_model.c: S and Y of a circuit, and of the data beside it (circuit.h, circuit_own.h). */
#include "rf/models/circuit_own.h"
#include <math.h>
#include <string.h>

void seen_s(const struct seen *s, size_t i, double complex *ret)
{
        for (size_t q = 0; q < s->data->ports * s->data->ports; q++)
                ret[q] = CMPLX(s->data->re[q][i], s->data->im[q][i]);
}
void seen_y(const struct seen *s, size_t i, double complex *ret)
{
        double complex m[4];
        seen_s(s, i, m);
        double z = s->data->z_ohm;
        if (s->data->ports == 1) {
                ret[0] = (1 - m[0]) / (1 + m[0]) / z;
                return;
        }
        double complex d = ((1 + m[0]) * (1 + m[3]) - m[1] * m[2]) * z;
        ret[0] = ((1 - m[0]) * (1 + m[3]) + m[1] * m[2]) / d;
        ret[1] = -2 * m[1] / d;
        ret[2] = -2 * m[2] / d;
        ret[3] = ((1 + m[0]) * (1 - m[3]) + m[1] * m[2]) / d;
}

/* The same algebra backwards; the general way (model_s_from_y) costs more than all the rest of a fit. */
static void s_from_y(size_t ports, double z_ohm, const double complex *y, double complex *ret)
{
        double complex a = 1 + z_ohm * y[0];
        if (ports == 1) {
                ret[0] = (1 - z_ohm * y[0]) / a;
                return;
        }
        double complex b = 1 + z_ohm * y[3], t = z_ohm * z_ohm * y[1] * y[2], over = 1 / (a * b - t);
        ret[0] = ((2 - a) * b + t) * over;
        ret[1] = -2 * z_ohm * y[1] * over;
        ret[2] = -2 * z_ohm * y[2] * over;
        ret[3] = (a * (2 - b) + t) * over;
}

void circuit_s(enum circuit_kind kind, const double *v, size_t ports, bool differential, double length_m, double hz, double z_ohm,
               double complex *ret)
{
        if (kind == CIRCUIT_LINE) {
                circuit_line_s(v, ports, length_m, hz, z_ohm, ret);
                return;
        }
        double complex y[4];
        circuit_y(kind, v, ports, differential, length_m, hz, y);
        s_from_y(ports, z_ohm, y, ret);
}

const struct circuit_element *circuit_element_of(const struct circuit *c, const char *name)
{
        for (size_t i = 0; i < c->element_n; i++)
                if (strcmp(c->element[i].name, name) == 0)
                        return &c->element[i];
        return NULL;
}

/* The elements back in the order of the shape. */
static void unpack(const struct circuit *c, double *v)
{
        const struct shape *shape = circuit_shape(c->kind);
        for (size_t i = 0; i < shape->n; i++) {
                const struct circuit_element *e = circuit_element_of(c, shape->element[i].name);
                v[i] = e ? e->value : strcmp(shape->element[i].name, "f_skin") == 0 ? INFINITY : 0;
        }
}
void circuit_y_at(const struct circuit *c, double hz, double complex *ret)
{
        double v[RF_CIRCUIT_ELEMENTS_MAX];
        unpack(c, v);
        circuit_y(c->kind, v, c->ports, c->differential, c->length_m, hz, ret);
}
void circuit_s_at(const struct circuit *c, double hz, double complex *ret)
{
        double v[RF_CIRCUIT_ELEMENTS_MAX];
        unpack(c, v);
        circuit_s(c->kind, v, c->ports, c->differential, c->length_m, hz, c->z_ohm, ret);
}

/* standard_ideal.c: what a standard is by its model or its data (calibration_problem.h). */
#include "recipe/calibration_problem.h"
#include <math.h>
#include <string.h>

enum rf_standard_kind standard_rf_kind(int32_t kind)
{
        static const enum rf_standard_kind kinds[STANDARD_KIND_COUNT] = {RF_STANDARD_UNKNOWN, RF_OPEN, RF_SHORT, RF_LOAD, RF_THRU, RF_LINE,
                                                                         RF_REFLECT};
        return kind >= 0 && kind < STANDARD_KIND_COUNT ? kinds[kind] : RF_STANDARD_UNKNOWN;
}

static struct standard_definition definition_of(int32_t kind, const struct standard_model *m)
{
        struct standard_definition d = {.kind = standard_rf_kind(kind),
                                        .r_ohm = m->r_ohm,
                                        .r_per_k = m->r_per_k,
                                        .r_tolerance_ohm = m->r_tolerance_ohm,
                                        .t_ref_c = m->t_ref_c,
                                        .offset_delay_s = m->delay_s,
                                        .offset_loss_ohm_s = m->loss_ohm_s,
                                        .offset_z_ohm = m->z_ohm,
                                        .u = {.c_f = {m->u_c_f},
                                              .l_h = {m->u_l_h},
                                              .r_ohm = m->u_r_ohm,
                                              .r_per_k = m->u_r_per_k,
                                              .offset_delay_s = m->u_delay_s,
                                              .offset_loss_ohm_s = m->u_loss_ohm_s,
                                              .offset_z_ohm = m->u_z_ohm}};
        memcpy(d.c_f, m->c_f, sizeof d.c_f);
        memcpy(d.l_h, m->l_h, sizeof d.l_h);
        return d;
}

static enum code definition_trimmed(int32_t kind, const struct standard_model *m, struct standard_definition *ret, struct tp_error *err)
{
        *ret = definition_of(kind, m);
        return m->dc_ohm > 0 && ret->kind == RF_LOAD ? rf_standard_trim_load(ret, m->dc_ohm, m->u_dc_ohm, m->dc_at_c, err) : CODE_OK;
}

int32_t standard_kind_at(const struct standard *s, int port) { return port == 1 && s->has_port_2 ? s->port_2.kind : s->kind; }

struct standard_definition standard_definition_at(const struct standard *s, int port)
{
        struct standard_definition d;
        const struct standard_model *m = port == 1 && s->has_port_2 ? &s->port_2.model : &s->model;
        definition_trimmed(standard_kind_at(s, port), m, &d, NULL); /* a reading too far off was refused before; here it changes nothing */
        return d;
}
struct standard_definition standard_definition_of(const struct standard *s) { return standard_definition_at(s, 0); }

/* n rows of data as a network on `axis`, whose hz are the rows'. */
static void rows_put(const struct standard *s, size_t first, struct net2 *net)
{
        for (size_t i = 0; i < net->axis->n; i++) {
                const struct standard_row *r = &s->data[first + i];
                const double *s12 = r->has_s12 ? r->s12 : r->s21, *s22 = r->has_s22 ? r->s22 : r->s11;
                net2_put(net, i,
                         m2_of(CMPLX(r->s11[0], r->s11[1]), CMPLX(s12[0], s12[1]), CMPLX(r->s21[0], r->s21[1]), CMPLX(s22[0], s22[1])));
        }
        net2_set_z(net, s->data_z_ohm > 0 ? s->data_z_ohm : 50, 0);
}

static enum code ideal_by_data(const struct standard *s, struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        double *hz = arena_take(arena, s->data_n * sizeof *hz), doubt, doubt_hz;
        void *memory = arena_take(arena, net2_bytes(s->data_n));
        struct axis axis;
        if (!hz || !memory)
                return tp_fail_memory(err);
        for (size_t i = 0; i < s->data_n; i++)
                hz[i] = s->data[i].hz;
        enum code code = axis_of(s->data_n, hz, &axis, err);
        if (code)
                return code;
        struct net2 data = net2_at(memory, &axis, PLANE_TIP);
        rows_put(s, 0, &data);
        code = rf_standard_from_data(&data, ret, &doubt, &doubt_hz, err);
        if (!code && doubt > STANDARD_DATA_DOUBT)
                code = tp_fail(
                        err, CODE_BAD_INPUT,
                        "the data are too coarse: at %.6g GHz the neighbouring rows leave %.2g open (%.2g at most); give more rows there",
                        doubt_hz / 1e9, doubt, STANDARD_DATA_DOUBT);
        return code;
}

enum code standard_ideal(const struct standard *s, double t_c, struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        struct standard_definition one, two;
        if (s->data_n)
                return ideal_by_data(s, arena, ret, err);
        enum code code = definition_trimmed(s->kind, &s->model, &one, err);
        if (!code && s->has_port_2)
                code = definition_trimmed(s->port_2.kind, &s->port_2.model, &two, err);
        return code ? code : rf_standard_ideal(&one, s->has_port_2 ? &two : NULL, t_c, ret, err);
}

struct m2 standard_point(const struct standard *s, double t_c, double hz)
{
        struct m2 none = m2_of(NAN, NAN, NAN, NAN);
        if (s->data_n) { /* the four rows around hz say all that the whole list would */
                double list[4], columns[2 * 4 + 8 * 4], to_columns[2 + 8];
                size_t n = s->data_n < 4 ? s->data_n : 4, first = 0;
                while (first + n < s->data_n && s->data[first + 1].hz < hz && s->data[first + 2].hz < hz)
                        first++;
                for (size_t i = 0; i < n; i++)
                        list[i] = s->data[first + i].hz;
                struct axis axis, at;
                if (axis_of(n, list, &axis, NULL) || axis_of(1, &hz, &at, NULL))
                        return none;
                struct net2 data = {.axis = &axis, .z_re = columns, .z_im = columns + 4},
                            ret = {.axis = &at, .z_re = to_columns, .z_im = to_columns + 1};
                for (int k = 0; k < 4; k++) {
                        data.re[k] = columns + 8 + 8 * k;
                        data.im[k] = columns + 12 + 8 * k;
                        ret.re[k] = to_columns + 2 + 2 * k;
                        ret.im[k] = to_columns + 3 + 2 * k;
                }
                rows_put(s, first, &data);
                return rf_standard_from_data(&data, &ret, NULL, NULL, NULL) ? none : net2_get(&ret, 0);
        }
        struct standard_definition one = standard_definition_of(s), two = standard_definition_at(s, 1);
        if (one.kind == RF_THRU || one.kind == RF_LINE)
                return rf_standard_thru(&one, hz);
        return m2_diag(rf_standard_reflection(&one, t_c, hz), rf_standard_reflection(&two, t_c, hz));
}

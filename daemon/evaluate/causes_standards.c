/* causes_standards.c: what the standards of a calibration put into a number: their models and the touches on them (causes_own.h).  Open,
   short, load and thru as known standards by closed forms; line methods by gamma; any other method by calibrating a virtual analyzer. */
#include "evaluate/causes_own.h"
#include "recipe/standard_moves.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

const struct standard *cause_standard(const struct recipe *r, int32_t kind)
{
        for (size_t k = 0; k < r->calibration.standard_n; k++) {
                const struct standard *s = recipe_standard(r, r->calibration.standards[k].standard);
                if (s && standard_kind_at(s, 0) == kind && standard_kind_at(s, 1) == kind)
                        return s;
        }
        return NULL;
}

bool cause_ideals(const struct slope *k, struct ideal_cause *ret)
{
        static const int32_t kinds[3] = {STANDARD_OPEN, STANDARD_SHORT, STANDARD_LOAD};
        const struct recipe *r = k->a->ch->q->recipe;
        const struct standard *s, *thru = cause_standard(r, STANDARD_THRU);
        *ret = (struct ideal_cause){.thru = m2_of(0, 1, 1, 0)};
        for (int m = 0; m < 3; m++) {
                if (!(s = cause_standard(r, kinds[m])))
                        return false;
                struct m2 is = standard_at(s, r->setup.temperature_c, k->hz);
                ret->gamma[0][m] = is.e[0];
                ret->gamma[1][m] = is.e[3];
        }
        if (thru)
                ret->thru = standard_at(thru, r->setup.temperature_c, k->hz);
        return true;
}

/* What a number of a definition is called in a budget. */
static const char *definition_name(int32_t kind, const char *number)
{
        static const struct {
                const char *number, *of[STANDARD_KIND_COUNT]; /* open, short, load, thru, line, reflect */
        } names[] = {
                {"C0", {"", "open C", "short C", "load C", "thru C", "line C", "reflect C"}},
                {"L0", {"", "open L", "short L", "load L", "thru L", "line L", "reflect L"}},
                {"R", {"", "open R", "short R", "load R", "thru R", "line R", "reflect R"}},
                {"R per kelvin", {"", "open R", "short R", "load R per kelvin", "thru R", "line R", "reflect R"}},
                {"offset delay", {"", "open delay", "short delay", "load delay", "thru delay", "line delay", "reflect delay"}},
                {"data", {"", "open data", "short data", "load data", "thru data", "line data", "reflect data"}},
                {"offset loss", {"", "open loss", "short loss", "load loss", "thru loss", "line loss", "reflect loss"}},
                {"offset impedance",
                 {"", "open impedance", "short impedance", "load impedance", "thru impedance", "line impedance", "reflect impedance"}}};
        for (size_t k = 0; k < sizeof names / sizeof names[0] && kind > 0 && kind < STANDARD_KIND_COUNT; k++)
                if (strcmp(names[k].number, number) == 0)
                        return names[k].of[kind];
        return "definition";
}

/* What is not known of a standard that stands by data: to each entry's real and imaginary part. */
static void causes_of_data(const struct slope *k, const struct standard *s, bool through,
                           void (*add)(const struct slope *, const char *, struct m2, void *), void *ctx)
{
        struct data_move moves[DATA_MOVES_MAX];
        size_t n = standard_data_moves(s, 3, through, standard_data_reciprocal(s), moves);
        for (size_t i = 0; i < n; i++) {
                add(k, definition_name(s->kind, "data"), moves[i].by, ctx);
                add(k, definition_name(s->kind, "data"), m2_scale(CMPLX(0, 1), moves[i].by), ctx);
        }
        if (s->data_n && !n)
                cause_not_counted(k->to, "standards' data");
}

/* By the closed forms: a reflection of open, short, load, or the thru. */
struct data_of_ideals {
        const struct ideal_cause *base;
        int reflection; /* 0 … 2; -1: the thru */
};
static void add_data_of_ideals(const struct slope *k, const char *name, struct m2 d, void *ctx)
{
        const struct data_of_ideals *of = ctx;
        struct ideal_cause c = *of->base;
        for (int port = 0; port < 2 && of->reflection >= 0; port++)
                c.d_gamma[port][of->reflection] = d.e[3 * port];
        if (of->reflection < 0)
                c.d_thru = d;
        cause_common(k, name, cause_ideal_mover, &c);
}

void causes_of_standards(const struct slope *k)
{
        const struct chain *ch = k->a->ch;
        const struct recipe *r = ch->q->recipe;
        const struct setup *setup = &r->setup;
        static const int32_t kinds[3] = {STANDARD_OPEN, STANDARD_SHORT, STANDARD_LOAD};
        const struct standard *s[3], *thru = cause_standard(r, STANDARD_THRU);
        struct ideal_cause base, c;
        if (!cause_ideals(k, &base))
                return;
        for (int m = 0; m < 3; m++)
                s[m] = cause_standard(r, kinds[m]);
        double complex shift = CMPLX(0, k->w * sqrt(ALUMINA_EPS_EFF) / RF_C0_M_S * setup->placement_um_u * 1e-6);
        double complex skate = CMPLX(0, k->w * sqrt(ALUMINA_EPS_EFF) / RF_C0_M_S * cause_skate_um(k) * 1e-6);
        static const char *const touched[3] = {"open's touch", "short's touch", "load's touch"};
        for (int m = 0; m < 3; m++) {
                struct standard_move moves[STANDARD_MOVES_MAX];
                size_t n = standard_moves(s[m], 0, moves);
                for (size_t i = 0; i < n; i++) {
                        struct standard_place at = {r->setup.temperature_c, k->hz, m2_diag(base.gamma[0][m], base.gamma[1][m]), 1};
                        struct m2 d = standard_moved(s[m], &moves[i], &at);
                        c = base;
                        for (int port = 0; port < 2; port++)
                                c.d_gamma[port][m] = d.e[3 * port];
                        cause_common(k, definition_name(s[m]->kind, moves[i].number), cause_ideal_mover, &c);
                }
                causes_of_data(k, s[m], false, add_data_of_ideals, &(struct data_of_ideals){&base, m});
                for (int port = 0; port < 2 && !s[m]->raised; port++) {
                        double complex g = base.gamma[port][m];
                        c = base;
                        double complex *d = &c.d_gamma[port][m];
                        *d = standard_series(g, setup->contact_ohm_u);
                        cause_common(k, touched[m], cause_ideal_mover, &c);
                        *d = standard_series(g, CMPLX(0, k->w * setup->contact_h_u));
                        cause_common(k, touched[m], cause_ideal_mover, &c);
                        *d = -2 * OWN_SHARE * shift * g;
                        cause_common(k, touched[m], cause_ideal_mover, &c);
                }
                if (s[m]->raised)
                        continue;
                c = base;
                for (int port = 0; port < 2; port++)
                        c.d_gamma[port][m] = (port ? 2 : -2) * OWN_SHARE * shift * base.gamma[port][m];
                cause_common(k, touched[m], cause_ideal_mover, &c);
                for (int port = 0; port < 2; port++)
                        c.d_gamma[port][m] = -2 * skate * base.gamma[port][m];
                cause_common(k, touched[m], cause_ideal_mover, &c);
        }
        if (!thru || ch->cal->terms.model != TERMS_TWELVE)
                return;
        c = base;
        struct m2 moved[2];
        for (int port = 0; port < 2; port++) {
                c.d_thru = move_series(base.thru, port, setup->contact_ohm_u, 50);
                cause_common(k, "thru's touch", cause_ideal_mover, &c);
                c.d_thru = move_series(base.thru, port, CMPLX(0, k->w * setup->contact_h_u), 50);
                cause_common(k, "thru's touch", cause_ideal_mover, &c);
                moved[port] = move_shift(base.thru, port, shift);
                c.d_thru = m2_scale(OWN_SHARE, moved[port]);
                cause_common(k, "thru's touch", cause_ideal_mover, &c);
        }
        c.d_thru = m2_scale(OWN_SHARE, m2_sub(moved[0], moved[1]));
        cause_common(k, "thru's touch", cause_ideal_mover, &c);
        c.d_thru = m2_add(move_shift(base.thru, 0, skate), move_shift(base.thru, 1, skate));
        cause_common(k, "thru's touch", cause_ideal_mover, &c);
        struct standard_move moves[STANDARD_MOVES_MAX];
        size_t n = standard_moves(thru, 0, moves);
        for (size_t i = 0; i < n; i++) {
                c.d_thru = standard_moved(thru, &moves[i], &(struct standard_place){r->setup.temperature_c, k->hz, base.thru, 1});
                cause_common(k, definition_name(thru->kind, moves[i].number), cause_ideal_mover, &c);
        }
        causes_of_data(k, thru, true, add_data_of_ideals, &(struct data_of_ideals){&base, -1});
}

_Static_assert((int)PART_COUNT <= (int)VIRTUAL_PARTS, "a virtual calibration has room for the device and all dummies");

/* ---- any other method: by calibrating a virtual analyzer (virtual.c) ---------------------------------------------------------------- */
double complex cause_virtual_dz(const struct slope *k, const struct virtual *v, size_t standard, struct m2 d)
{
        double complex dz = 0;
        for (int p = 0; p < PART_COUNT; p++)
                if (k->a->ch->raw[p])
                        dz += slope_weigh(k, p, virtual_change(v, standard, d, (size_t)p));
        return dz;
}

/* What is found of the match goes up: as if the match read so much less than it is believed to. */
static double complex found_dz(const struct slope *k, const struct virtual *v, size_t number)
{
        const struct found_match *f = k->found;
        return -cause_virtual_dz(k, v, f->load, f->by[number](f->shunt_c_f, k->hz, v->s[f->load]));
}

double complex cause_standard_dz(const struct slope *k, const struct virtual *v, size_t m, standard_mover *move, const void *cause)
{
        double complex dz = cause_virtual_dz(k, v, m, move(cause, k->hz, v->s[m]));
        double found[FOUND_MAX];
        if (!k->found)
                return dz;
        found_match_moves(k->found, move, cause, m, found);
        for (size_t n = 0; n < k->found->found_n; n++)
                dz += found[n] * found_dz(k, v, n);
        return dz;
}

/* One thing that is not known of the touch on a standard. */
struct touch_cause {
        enum { MOVED_SERIES, MOVED_SHIFT, MOVED_APART, MOVED_ALONG } what;
        int port;
        double r_ohm, l_h, um;
};
static struct m2 touch_moved(const void *cause, double hz, struct m2 s)
{
        const struct touch_cause *c = cause;
        double w = RF_TWO_PI * hz;
        double complex theta = CMPLX(0, w * sqrt(ALUMINA_EPS_EFF) / RF_C0_M_S * c->um * 1e-6);
        switch (c->what) {
        case MOVED_SERIES:
                return move_series(s, c->port, CMPLX(c->r_ohm, w * c->l_h), 50);
        case MOVED_SHIFT: /* one tip */
                return m2_scale(OWN_SHARE, move_shift(s, c->port, theta));
        case MOVED_APART: /* both along the wafer: what one path gains the other loses */
                return m2_scale(OWN_SHARE, m2_sub(move_shift(s, 0, theta), move_shift(s, 1, theta)));
        case MOVED_ALONG: /* both inwards */
                return m2_add(move_shift(s, 0, theta), move_shift(s, 1, theta));
        }
        return m2_of(0, 0, 0, 0);
}

static void touch_cause(const struct slope *k, const struct virtual *v, size_t m, const char *name, struct touch_cause c)
{
        cause_add(k->to, name, slope_value(k, k->part * cause_standard_dz(k, v, m, touch_moved, &c)), INFINITY);
}

/* One number of a standard's definition. */
struct definition_cause {
        const struct standard *standard;
        const struct standard_move *move;
        double t_c;
        double complex turn;
};
static struct m2 other_by_definition(const void *cause, double hz, struct m2 s)
{
        const struct definition_cause *c = cause;
        return standard_moved(c->standard, c->move, &(struct standard_place){c->t_c, hz, s, c->turn});
}

/* By the virtual analyzer: the same at every frequency, whatever stands there. */
struct data_of_virtual {
        const struct virtual *v;
        size_t m;
};
static struct m2 other_by_data(const void *cause, double hz, struct m2 s)
{
        (void)hz, (void)s;
        return *(const struct m2 *)cause;
}
static void add_data_of_virtual(const struct slope *k, const char *name, struct m2 d, void *ctx)
{
        const struct data_of_virtual *of = ctx;
        cause_add(k->to, name, slope_value(k, k->part * cause_standard_dz(k, of->v, of->m, other_by_data, &d)), INFINITY);
}

static void causes_of_definition(const struct slope *k, const struct virtual *v, size_t m)
{
        const struct recipe *r = k->a->ch->q->recipe;
        const struct standard *s = v->of[m];
        struct standard_move moves[STANDARD_MOVES_MAX];
        size_t n = standard_moves(s, 0, moves);
        double complex way = v->reflect_offset_m != 0 ? cexp(-2 * v->gamma_m * v->reflect_offset_m) : 1;
        for (size_t i = 0; i < n; i++) {
                struct definition_cause c = {s, &moves[i], r->setup.temperature_c, v->transmits[m] ? 1 : way};
                cause_add(k->to, definition_name(standard_kind_at(s, moves[i].port == 1), moves[i].number),
                          slope_value(k, k->part * cause_standard_dz(k, v, m, other_by_definition, &c)), INFINITY);
        }
        if (v->by_ideal[m])
                causes_of_data(k, s, v->transmits[m], add_data_of_virtual, &(struct data_of_virtual){v, m});
        if (!n && !v->transmits[m] && !v->by_ideal[m])
                cause_not_counted(k->to, "how alike reflects are");
}

void causes_of_virtual(const struct slope *k, const struct virtual *v, size_t m)
{
        static const char *const touched[] = {"reflect's touch", "open's touch", "short's touch", "load's touch", "thru's touch"};
        const struct standard *s = v->of[m];
        const struct setup *setup = &k->a->ch->q->recipe->setup;
        const char *touch = touched[s->kind == STANDARD_OPEN    ? 1
                                    : s->kind == STANDARD_SHORT ? 2
                                    : s->kind == STANDARD_LOAD  ? 3
                                    : v->transmits[m]           ? 4
                                                                : 0];
        causes_of_definition(k, v, m);
        for (int port = 0; port < 2 && !s->raised; port++) {
                touch_cause(k, v, m, touch, (struct touch_cause){.what = MOVED_SERIES, .port = port, .r_ohm = setup->contact_ohm_u});
                touch_cause(k, v, m, touch, (struct touch_cause){.what = MOVED_SERIES, .port = port, .l_h = setup->contact_h_u});
                touch_cause(k, v, m, touch, (struct touch_cause){.what = MOVED_SHIFT, .port = port, .um = setup->placement_um_u});
        }
        if (s->raised)
                return;
        touch_cause(k, v, m, touch, (struct touch_cause){.what = MOVED_APART, .um = setup->placement_um_u});
        touch_cause(k, v, m, touch, (struct touch_cause){.what = MOVED_ALONG, .um = cause_skate_um(k)});
}

/* What the noise of all the band's standards makes of the match that is found from them. */
void cause_of_found_match(const struct slope *k, const struct virtual *v)
{
        double by[FOUND_MAX] = {0};
        for (size_t n = 0; k->found && n < k->found->found_n; n++)
                by[n] = slope_value(k, k->part * found_dz(k, v, n));
        if (k->found)
                cause_add(k->to, "match L", found_match_noise(k->found, by), INFINITY);
}

/* Noise of one component of everything that was read of the standards. */
double cause_virtual_noise(const struct slope *k, const struct virtual *v)
{
        const struct recipe *r = k->a->ch->q->recipe;
        const struct sweep_plan *plan = recipe_sweep(r, r->calibration.sweep);
        double sum = 0;
        for (size_t c = 0; c < v->column_n; c++) {
                unsigned m = v->columns[c].standard, e = v->columns[c].entry;
                struct m2 d = m2_of(0, 0, 0, 0);
                double u = noise_of(plan, k->hz, chain_read_size(k->a->ch, k->i, v->s[m], (int)e));
                d.e[e] = v->columns[c].imaginary ? CMPLX(0, u) : u;
                sum += pow(slope_value(k, k->part * cause_virtual_dz(k, v, m, d)), 2);
        }
        return sqrt(sum);
}

#define STRAIGHT_MAX 0.1 /* of S: beyond it, products of errors are as large as the errors */

/* Noise of the standards that moves the dummies or the device by so much is not straight any more: a thru-like device looks sure (the thru is
   known), and is wrong by what the errors do to each other.  Then nothing is said. */
void cause_calibration_in_noise(const struct slope *k, const struct virtual *v)
{
        const struct recipe *r = k->a->ch->q->recipe;
        const struct sweep_plan *plan = recipe_sweep(r, r->calibration.sweep);
        double sum[PART_COUNT][4] = {{0}}, largest = 0;
        for (size_t c = 0; c < v->column_n; c++) {
                unsigned m = v->columns[c].standard, e = v->columns[c].entry;
                double u = noise_of(plan, k->hz, chain_read_size(k->a->ch, k->i, v->s[m], (int)e));
                for (int p = 0; p < PART_COUNT; p++)
                        for (int o = 0; o < 4 && k->a->ch->raw[p]; o++)
                                sum[p][o] += pow(u * cabs(v->columns[c].d_s[p].e[o]), 2);
        }
        for (int p = 0; p < PART_COUNT; p++)
                for (int o = 0; o < 4; o++)
                        largest = fmax(largest, sqrt(sum[p][o]));
        if (!(largest <= STRAIGHT_MAX))
                cause_add(k->to, "calibration in its standards' noise", INFINITY, INFINITY);
}

/* The closed forms are those of open, short, load and thru as known standards. */
bool cause_closed_form(const struct recipe *r, double hz)
{
        struct band_plan one;
        const struct band_plan *band;
        const struct method *m = virtual_method(r, hz, false, &band, &one);
        return !m || !strcmp(m->word, "sol") || !strcmp(m->word, "solt") || !strcmp(m->word, "unknown_thru");
}

/* Line methods: the first line's touch sets the planes. */
static struct m2 shift_mover(const struct slope *k, struct m2 s, const void *cause)
{
        (void)k;
        const struct tracking_cause *c = cause;
        return move_shift(s, c->port, c->eps);
}
void causes_of_lines(const struct slope *k)
{
        const struct setup *setup = &k->a->ch->q->recipe->setup;
        const struct calibration *cal = k->a->ch->cal;
        for (int port = 0; port < 2; port++) {
                struct tracking_cause c = {.port = port};
                c.eps = CMPLX(cal->gamma_re[k->i], cal->gamma_im[k->i]) * setup->placement_um_u * 1e-6;
                cause_common(k, "thru's touch", shift_mover, &c);
                c.eps = CMPLX(setup->contact_ohm_u, k->w * setup->contact_h_u) /
                        100; /* a series z moves S21 of a matched line by -z/(2 Zc) */
                cause_common(k, "thru's touch", shift_mover, &c);
        }
}

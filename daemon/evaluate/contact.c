/* contact.c: do the tips stand on what they should stand on?
 * Problem     A capacitor shows nothing at DC; a lost ground passes every DC test and spoils the sweep from 30 GHz up; a broken device must
 * not look like a bad touch, and a bad touch not like a device.  And the value of a parameter may never decide over a retouch. Evidence 1
 * DC, by family: what must conduct, conducts; and does so at the end of the touch as at its beginning. 2 distance from the raised open,
 * port by port, between 5 and 40 GHz: a pad has some 20 fF, a hovering tip differs from the raised one by less than a third of that.  Given
 * as capacitance, |dS|/(2 w 50 ohm). 3 smoothness between 40 and 100 GHz.  Pads and device are much smaller than a wavelength: each S is a
 * polynomial of degree 4 there to within 0.01.  A ground tip that hangs resonates in that band, with an impedance of the order of 100 ohm
 * in series, and leaves several times that.  A device with a length gets four degrees more for each turn of its phase.  Where the same
 * device on another die is known, the difference of both is tested too, and the smoother one counts: what is the device's own is no
 * evidence. 4 symmetry: S11 - S22 against the same device elsewhere (or, for a symmetric device alone, against nothing). Grades absent: a
 * tip that touches nothing.  doubtful: one honest retouch may be spent.  unknown: no evidence at all. Thresholds  between what good touches
 * leave and what bad ones do, with the receiver noise of the sweep plan above the first (5 standard deviations, so that some hundred points
 *             stay below it in 99 of 100 sweeps). */
#include "evaluate/inside.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define OPEN_OHM 1e6
#define PAD_F 8e-15            /* less than any pad, more than a hovering tip differs from a raised one */
#define RIPPLE 0.02            /* of smooth devices 0.01 at most */
#define ASYMMETRY 0.05         /* against the same device elsewhere; contact L and placement add to it in proportion to frequency: */
#define ASYMMETRY_HZ 0.05      /* … this much at 40 GHz; scatter of contact and placement leave half of both together */
#define ASYMMETRY_ALONE 0.4    /* without the other die: devices are symmetric on paper only */
#define STANDARD_DISTANCE 0.25 /* of a touched standard from its model up to 40 GHz: no copy, contact or drift is that far */
enum { POINTS_MAX = 400, DEGREE_MAX = 16, POINTS_LEAST = 14 };

struct band {
        size_t n;
        double hz[POINTS_MAX];
        struct m2 s[POINTS_MAX], typical[POINTS_MAX];
        bool has_typical;
};

static void grade(struct contact_answer *a, enum contact_grade to, const char *fmt, ...) __attribute__((format(printf, 3, 4)));
/* The worse grade stays, with its reason: the order of the words is good, doubtful, absent. */
static void grade(struct contact_answer *a, enum contact_grade to, const char *fmt, ...)
{
        if ((int32_t)to <= a->grade && a->grade != CONTACT_UNKNOWN)
                return;
        va_list args;
        va_start(args, fmt);
        a->grade = to;
        vsnprintf(a->reason, sizeof a->reason, fmt, args);
        va_end(args);
}

static bool same_points(const struct raw_sweep *a, const struct raw_sweep *b)
{
        return b && a->n == b->n && (a->hz == b->hz || !memcmp(a->hz, b->hz, a->n * sizeof *a->hz));
}

/* ---- 1 DC --------------------------------------------------------------------------------------------------------------------------- */
struct dc_rule {
        int index; /* 0 port to port, 1 and 2 port to ground */
        double low, high;
        const char *where;
};
static size_t dc_rules(const struct contact_question *q, struct dc_rule ret[2])
{
        if (q->measure) {
                const struct contact_plan *p = &q->measure->contact;
                if (p->family == 1) {
                        ret[0] = (struct dc_rule){0, p->dc_ohm_low, p->dc_ohm_high, "between the ports"};
                        return 1;
                }
                if (p->family == 3) {
                        ret[0] = (struct dc_rule){1, p->dc_ohm_low, p->dc_ohm_high, "from port 1 to ground"};
                        ret[1] = (struct dc_rule){2, p->dc_ohm_low, p->dc_ohm_high, "from port 2 to ground"};
                        return 2;
                }
                return 0;
        }
        if (!q->standard || q->standard->raised)
                return 0;
        double slack = 2 + 10 * q->recipe->setup.contact_ohm_u;
        struct m2 low = q->standard->data_n ? standard_point(q->standard, 25, q->standard->data[0].hz) : m2_diag(NAN, NAN);
        const struct standard *s = q->standard;
        if (s->kind == STANDARD_THRU) {
                ret[0] = (struct dc_rule){0, 0, slack, "between the ports"};
                return 1;
        }
        size_t n = 0;
        for (int port = 0; port < 2; port++) {
                bool other = port == 1 && s->has_port_2;
                int32_t kind = other ? s->port_2.kind : s->kind;
                const struct standard_model *m = other ? &s->port_2.model : &s->model;
                double complex by_data = low.e[port ? 3 : 0]; /* in 50 ohm, at the lowest frequency that is known of it */
                double r_ohm = s->data_n ? creal(50 * (1 + by_data) / (1 - by_data)) : m->r_ohm;
                double within = rf_load_tolerance(r_ohm, m->r_tolerance_ohm);
                const char *where = port ? "from port 2 to ground" : "from port 1 to ground";
                if (kind == STANDARD_SHORT)
                        ret[n++] = (struct dc_rule){port + 1, 0, slack, where};
                else if (kind == STANDARD_LOAD)
                        ret[n++] = (struct dc_rule){port + 1, r_ohm - within - slack, r_ohm + within + slack, where};
        }
        return n;
}

/* Says whether something conducts that must, and nothing that need not is held against the touch. */
static void judge_dc(const struct contact_question *q, bool rf_touches, struct contact_answer *a)
{
        struct dc_rule rules[2];
        size_t n = dc_rules(q, rules);
        for (size_t k = 0; k < n; k++) {
                double start = q->dc_ohm_start[rules[k].index], end = q->dc_ohm_end[rules[k].index], ohm = start >= 0 ? start : end;
                if (!(ohm >= 0))
                        continue;
                a->dc_share = fmax(a->dc_share, rules[k].high > 0 ? ohm / rules[k].high : 0);
                if (ohm > OPEN_OHM && rf_touches)
                        grade(a, CONTACT_DOUBTFUL, "no current %s though the pads are touched", rules[k].where);
                else if (ohm > OPEN_OHM)
                        grade(a, CONTACT_ABSENT, "no current %s", rules[k].where);
                else if (!(ohm >= rules[k].low && ohm <= rules[k].high))
                        grade(a, CONTACT_DOUBTFUL, "%.4g ohm %s, expected %.4g to %.4g", ohm, rules[k].where, rules[k].low, rules[k].high);
                else
                        grade(a, CONTACT_GOOD, "%.4g ohm %s", ohm, rules[k].where);
                if (start >= 0 && end >= 0 && ohm <= OPEN_OHM && fabs(end - start) > fmax(0.5, 0.1 * start))
                        grade(a, CONTACT_DOUBTFUL, "%.4g ohm %s at first, %.4g ohm at the end: it creeps", start, rules[k].where, end);
        }
}

/* ---- 2 distance from the raised open ------------------------------------------------------------------------------------------------ */
/* Median over the points between 5 and 40 GHz of |dS_pp| as capacitance. */
static double port_distance_f(const struct contact_question *q, const uint32_t *map, int port)
{
        enum { MOST = 64 };
        double c[MOST] = {0};
        size_t n = 0, from = q->raw->n, to = 0;
        for (size_t j = 0; j < q->raw->n; j++)
                if (q->raw->hz[j] >= 5e9 && q->raw->hz[j] <= 40e9) {
                        from = j < from ? j : from;
                        to = j + 1;
                }
        size_t stride = to > from ? (to - from) / MOST + 1 : 1;
        const struct standard *open = NULL;
        for (size_t k = 0; k < q->recipe->standard_n; k++)
                if (q->recipe->standards[k].kind == STANDARD_OPEN && q->recipe->standards[k].raised)
                        open = &q->recipe->standards[k];
        bool raised = same_points(q->raw, q->raised);
        for (size_t j = from; j < to && n < MOST; j += stride) {
                double complex here, air;
                int e = 3 * port;
                if (q->calibration) {
                        size_t i = map_at(map, j);
                        here = tip_point(q->calibration, q->raw, j, i).e[e];
                        if (raised)
                                air = tip_point(q->calibration, q->raised, j, i).e[e];
                        else if (open)
                                air = standard_at(open, q->recipe->setup.temperature_c, q->raw->hz[j]).e[e];
                        else
                                return NAN;
                } else if (raised) {
                        here = CMPLX(q->raw->re[e][j], q->raw->im[e][j]);
                        air = CMPLX(q->raised->re[e][j], q->raised->im[e][j]);
                        here = air + 2 * (here - air); /* raw tracking loses about half on the way */
                } else {
                        return NAN;
                }
                double one = cabs(here - air) / (2 * RF_TWO_PI * q->raw->hz[j] * 50);
                size_t at = n++;
                for (; at > 0 && c[at - 1] > one; at--)
                        c[at] = c[at - 1];
                c[at] = one;
        }
        return n > 0 ? c[n / 2] : NAN;
}

/* ---- 3 smoothness ------------------------------------------------------------------------------------------------------------------- */
static void band_take(const struct contact_question *q, const uint32_t *map, double low_hz, double high_hz, struct band *b)
{
        size_t from = q->raw->n, to = 0;
        for (size_t j = 0; j < q->raw->n; j++)
                if (q->raw->hz[j] >= low_hz && q->raw->hz[j] <= high_hz) {
                        from = j < from ? j : from;
                        to = j + 1;
                }
        size_t stride = to > from ? (to - from) / POINTS_MAX + 1 : 1;
        b->n = 0;
        b->has_typical = same_points(q->raw, q->typical);
        for (size_t j = from; j < to && b->n < POINTS_MAX; j += stride) {
                size_t i = map_at(map, j);
                b->hz[b->n] = q->raw->hz[j];
                b->s[b->n] = tip_point(q->calibration, q->raw, j, i);
                b->typical[b->n] = b->has_typical ? tip_point(q->calibration, q->typical, j, i) : m2_of(0, 0, 0, 0);
                b->n++;
        }
}

/* Largest residual of the four S about a polynomial of this degree; columns is scratch of (degree + 1) * n. */
static double ripple_of(const struct band *b, bool difference, size_t degree, double *columns)
{
        size_t n = b->n;
        double low = b->hz[0], high = b->hz[n - 1], worst = 0;
        for (size_t d = 0; d <= degree; d++) { /* an orthonormal basis by Gram-Schmidt, twice */
                double *p = columns + d * n;
                for (size_t j = 0; j < n; j++)
                        p[j] = d == 0 ? 1 : (p - n)[j] * (2 * b->hz[j] - low - high) / (high - low);
                for (int pass = 0; pass < 2; pass++)
                        for (size_t m = 0; m < d; m++) {
                                const double *o = columns + m * n;
                                double dot = 0;
                                for (size_t j = 0; j < n; j++)
                                        dot += o[j] * p[j];
                                for (size_t j = 0; j < n; j++)
                                        p[j] -= dot * o[j];
                        }
                double norm = 0;
                for (size_t j = 0; j < n; j++)
                        norm += p[j] * p[j];
                norm = 1 / sqrt(norm);
                for (size_t j = 0; j < n; j++)
                        p[j] *= norm;
        }
        for (int e = 0; e < 4; e++) {
                double complex c[DEGREE_MAX + 1] = {0};
                for (size_t d = 0; d <= degree; d++)
                        for (size_t j = 0; j < n; j++)
                                c[d] += columns[d * n + j] * (b->s[j].e[e] - (difference ? b->typical[j].e[e] : 0));
                for (size_t j = 0; j < n; j++) {
                        double complex r = b->s[j].e[e] - (difference ? b->typical[j].e[e] : 0);
                        for (size_t d = 0; d <= degree; d++)
                                r -= c[d] * columns[d * n + j];
                        worst = fmax(worst, cabs(r));
                }
        }
        return worst;
}

static double length_of(const struct contact_question *q)
{
        if (q->standard)
                return fmax(q->standard->model.length_um * 1e-6, q->standard->model.delay_s * RF_C0_M_S / 2.3);
        int at = layout_device(&q->recipe->layout, q->measure->device);
        return at >= 0 ? q->recipe->layout.devices[at].length_um * 1e-6 : 0;
}

static void judge_smoothness(const struct contact_question *q, struct band *b, double *columns, struct contact_answer *a)
{
        if (b->n < POINTS_LEAST)
                return;
        const struct sweep_plan *plan = recipe_sweep(q->recipe, q->measure ? q->measure->sweep : q->recipe->calibration.sweep);
        double span_hz = b->hz[b->n - 1] - b->hz[0],
               turns = 2 * length_of(q) * 2.3 / RF_C0_M_S * span_hz; /* 2.3: root of the permittivity on any substrate used */
        double noise = noise_of(plan, b->hz[b->n - 1], 1);
        size_t degree = (size_t)fmin(DEGREE_MAX, 4 + floor(4 * turns));
        degree = degree + 6 < b->n ? degree : b->n - 6;
        a->ripple = ripple_of(b, false, degree, columns);
        if (b->has_typical)
                a->ripple = fmin(a->ripple, ripple_of(b, true, degree < 6 ? degree : 6, columns));
        double limit = fmax(RIPPLE, 0.01 + 5 * noise * sqrt(2));
        if (!(a->ripple <= limit))
                grade(a, CONTACT_DOUBTFUL, "resonance of %.2g between 40 and 100 GHz (limit %.2g): a ground tip may hang", a->ripple,
                      limit);
        else
                grade(a, CONTACT_GOOD, "smooth to %.2g between 40 and 100 GHz", a->ripple);
}

/* ---- 4 symmetry, and standards against their models --------------------------------------------------------------------------------- */
static void judge_symmetry(const struct contact_question *q, const struct band *b, struct contact_answer *a)
{
        if (!q->measure || !q->measure->symmetric || b->n == 0)
                return;
        double worst = 0, worst_hz = 0, worst_limit = 1;
        for (size_t j = 0; j < b->n; j++) {
                double one = cabs(b->s[j].e[0] - b->s[j].e[3] - (b->typical[j].e[0] - b->typical[j].e[3]));
                double limit = b->has_typical ? ASYMMETRY + ASYMMETRY_HZ * b->hz[j] / 40e9 : ASYMMETRY_ALONE;
                a->symmetry = fmax(a->symmetry, one);
                if (!(one / limit <= worst / worst_limit)) {
                        worst = one;
                        worst_limit = limit;
                        worst_hz = b->hz[j];
                }
        }
        if (!(worst <= worst_limit))
                grade(a, CONTACT_DOUBTFUL, "S11 and S22 differ by %.2g%s at %.3g GHz (limit %.2g)", worst,
                      b->has_typical ? " more than on another die" : "", worst_hz / 1e9, worst_limit);
}

static void judge_model(const struct contact_question *q, const uint32_t *map, struct contact_answer *a)
{
        const struct standard *s = q->standard;
        bool one_port = s->kind == STANDARD_OPEN || s->kind == STANDARD_SHORT || s->kind == STANDARD_LOAD;
        if ((!one_port && s->kind != STANDARD_THRU) || q->calibration->thru_m > 0)
                return;
        double worst = 0;
        for (size_t j = 0; j<q->raw->n; j += q->raw->n> 200 ? 4 : 1) {
                if (!(q->raw->hz[j] >= 1e8 && q->raw->hz[j] <= 40e9))
                        continue;
                struct m2 got = tip_point(q->calibration, q->raw, j, map_at(map, j));
                if (one_port)
                        got.e[1] = got.e[2] = 0;
                worst = fmax(worst, m2_distance(got, standard_at(s, q->recipe->setup.temperature_c, q->raw->hz[j])));
        }
        if (!(worst <= STANDARD_DISTANCE))
                grade(a, CONTACT_DOUBTFUL, "%s lies %.2g from its model below 40 GHz", s->name, worst);
        else
                grade(a, CONTACT_GOOD, "%.2g from its model below 40 GHz", worst);
}

void contact_judge(const struct contact_question *q, struct arena *scratch, struct contact_answer *ret)
{
        struct contact_answer a = {.grade = CONTACT_UNKNOWN, .raised_distance = NAN, .ripple = NAN};
        struct tp_error err;
        const uint32_t *map = NULL;
        struct band *b = arena_take(scratch, sizeof *b);
        double *columns = arena_take(scratch, (DEGREE_MAX + 1) * POINTS_MAX * sizeof *columns);
        struct contact_question ask = *q;
        snprintf(a.reason, sizeof a.reason, "nothing to judge it by");
        *ret = a;
        if (!b || !columns)
                return;
        if (ask.calibration && calibration_map(ask.calibration, ask.raw, scratch, &map, &err))
                ask.calibration = NULL; /* another axis: then only what needs no correction */
        if (ask.standard && ask.standard->raised) {
                grade(&a, CONTACT_GOOD, "raised, nothing is touched");
                *ret = a;
                return;
        }
        bool touches = true, known = false;
        bool open_standard = ask.standard && ask.standard->kind == STANDARD_OPEN; /* touched, and meant to look like air */
        for (int port = 0; port < 2 && !open_standard; port++) {
                double c_f = port_distance_f(&ask, map, port);
                if (!isfinite(c_f))
                        continue;
                known = true;
                a.raised_distance = isfinite(a.raised_distance) ? fmin(a.raised_distance, c_f) : c_f;
                if (c_f < PAD_F) {
                        touches = false;
                        grade(&a, CONTACT_ABSENT, "port %d looks like a raised tip (%.2g fF from it)", port + 1, c_f * 1e15);
                }
        }
        if (known && touches)
                grade(&a, CONTACT_GOOD, "%.3g fF from the raised open", a.raised_distance * 1e15);
        judge_dc(&ask, known && touches, &a);
        if (ask.calibration) {
                band_take(&ask, map, 40e9, 100e9, b);
                judge_smoothness(&ask, b, columns, &a);
                band_take(&ask, map, 1e9, 100e9, b);
                judge_symmetry(&ask, b, &a);
                if (ask.standard)
                        judge_model(&ask, map, &a);
        }
        *ret = a;
}

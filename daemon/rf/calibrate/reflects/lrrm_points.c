/* lrrm_points.c: "lrrm" one frequency at a time: any number of opens and shorts, a match behind an offset, and what is wrong (lrrm.h).
   The idea and its sources: solve_lrrm.c. */
#include "rf/network/convert.h"
#include "rf/calibrate/reflects/frame.h"
#include "rf/calibrate/reflects/lrrm.h"
#include <math.h>

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

struct lrrm_roles lrrm_roles_of(const struct problem *p)
{
        struct lrrm_roles r = {0};
        for (size_t k = 0; k < p->standard_n; k++)
                switch (p->standards[k].kind) {
                case RF_THRU:
                        r.thru = k;
                        break;
                case RF_LOAD:
                        r.match = k;
                        break;
                case RF_OPEN:
                        r.open[r.open_n++] = k;
                        break;
                default:
                        r.shorted[r.short_n++] = k;
                        break;
                }
        return r;
}

/* A triple of coefficients; the pair (x, y) lies on the involution v = (ga, al, be) when row . v = 0. */
struct triple {
        double complex e[3];
};
static struct triple cross(struct triple a, struct triple b)
{
        return (struct triple){{a.e[1] * b.e[2] - a.e[2] * b.e[1], a.e[2] * b.e[0] - a.e[0] * b.e[2], a.e[0] * b.e[1] - a.e[1] * b.e[0]}};
}
static double complex dot(struct triple a, struct triple b) { return a.e[0] * b.e[0] + a.e[1] * b.e[1] + a.e[2] * b.e[2]; }
static double size2(struct triple a) { return abs2(a.e[0]) + abs2(a.e[1]) + abs2(a.e[2]); }
static struct triple pair_row(double complex x, struct image y) { return (struct triple){{x * y.p, -(x * y.q + y.p), -y.q}}; }

/* The raw side of one frequency. */
struct involution {
        struct m2 raw;
        struct triple v;
        double complex p[2]; /* fixed points */
        double condition;
};
static bool involution_of(const struct point *p, const struct lrrm_roles *r, struct involution *q)
{
        q->raw = point_raw(p, r->thru);
        if (!rf_t_exists(q->raw))
                return false;
        double worst = 0;
        q->v = (struct triple){{0}};
        for (size_t i = 0; i < r->open_n; i++) /* all opens with all shorts, turned to one phase */
                for (size_t j = 0; j < r->short_n; j++) {
                        struct m2 o = point_raw(p, r->open[i]), s = point_raw(p, r->shorted[j]);
                        struct triple a = pair_row(o.e[0], image_through(q->raw, o.e[3])),
                                      b = pair_row(s.e[0], image_through(q->raw, s.e[3]));
                        struct triple c = cross(a, b);
                        worst = fmax(worst, sqrt(size2(a) * size2(b) / size2(c)));
                        if (i + j > 0) {
                                double complex turn = conj(c.e[0]) * q->v.e[0] + conj(c.e[1]) * q->v.e[1] + conj(c.e[2]) * q->v.e[2];
                                turn /= cabs(turn);
                                for (int k = 0; k < 3; k++)
                                        c.e[k] *= turn;
                        }
                        for (int k = 0; k < 3; k++)
                                q->v.e[k] += c.e[k];
                }
        q->condition = worst;
        double complex ga = q->v.e[0], al = q->v.e[1], be = q->v.e[2], d = m2_sqrt(al * al + be * ga);
        double complex t = abs2(al + d) >= abs2(al - d) ? al + d : al - d;
        q->p[0] = t / ga;
        q->p[1] = -be / t;
        return worst < LRRM_CONDITION_REFUSE;
}

static double complex phi(double complex w, const double complex p[2]) { return (w - p[0]) / (w - p[1]); }

/* Variance of ln kappa for unit variance of every raw number: first order, thru noise of the two pairs taken as independent. */
static double kappa_variance(const struct point *p, const struct lrrm_roles *r, const struct involution *q, const double complex fixed[2])
{
        struct m2 o = point_raw(p, r->open[0]), s = point_raw(p, r->shorted[0]);
        double complex w = o.e[0], m = point_raw(p, r->match).e[0], dp[2];
        struct triple row[2] = {pair_row(w, image_through(q->raw, o.e[3])), pair_row(s.e[0], image_through(q->raw, s.e[3]))};
        struct triple v = cross(row[0], row[1]), point[2];
        double complex slope[2];
        for (int k = 0; k < 2; k++) { /* dv moves the fixed point p by -(p^2, -2p, -1).dv / F'(p), F' = 2 (ga p - al) */
                point[k] = (struct triple){{fixed[k] * fixed[k], -2 * fixed[k], -1}};
                slope[k] = (k ? 1 / (w - fixed[1]) - 1 / (m - fixed[1]) : 1 / (m - fixed[0]) - 1 / (w - fixed[0])) /
                           (-2 * (v.e[0] * fixed[k] - v.e[1])); /* d ln kappa per (point.dv) */
        }
        double sum = abs2(1 / (m - fixed[0]) - 1 / (m - fixed[1]));
        dp[0] = dp[1] = 0;
        for (int j = 0; j < 2; j++) {
                struct m2 read = j ? s : o;
                struct image y = image_through(q->raw, read.e[3]);
                double complex x = read.e[0], m11 = q->raw.e[0];
                struct triple d[3] = {{{y.p, -y.q, 0}}, {{x * m11, -(x + m11), -1}}, {{x, -1, 0}}}; /* by x, by w2 (and M22), by y.p */
                double size[3] = {1, 2, abs2(y.q) + abs2(q->raw.e[1]) + abs2(q->raw.e[2])};
                for (int k = 0; k < 3; k++) {
                        struct triple dv = j ? cross(row[0], d[k]) : cross(d[k], row[1]);
                        double complex move = slope[0] * dot(point[0], dv) + slope[1] * dot(point[1], dv);
                        if (j == 0 && k == 0)
                                move += 1 / (w - fixed[0]) - 1 / (w - fixed[1]);
                        sum += size[k] * abs2(move);
                }
        }
        return sum;
}

/* Reflection of the match's element of impedance z at the plane. */
static double complex seen(const struct point *p, const struct lrrm_roles *r, double complex z)
{
        double complex g = (z - 50) / (z + 50);
        const struct net2 *offset = p->problem->standards[r->match].offset;
        if (!offset)
                return g;
        struct m2 o = net2_get(offset, p->i);
        return o.e[0] + o.e[1] * o.e[2] * g / (1 - o.e[3] * g);
}

static void fixed_reflections(const struct point *p, const struct lrrm_roles *r, double complex g[2])
{
        struct m2 s = p->ideal[r->thru];
        double complex mean = (s.e[0] + s.e[3]) / 2, e = m2_sqrt(s.e[1] * s.e[2]);
        if (creal(e * conj(s.e[2])) < 0)
                e = -e;
        g[0] = mean + e;
        g[1] = mean - e;
}

/* The open as a Moebius map of the match's impedance: a product of 2x2 matrices. */
static void open_of_match(const struct point *p, const struct lrrm_roles *r, const double complex fixed[2], struct lrrm_point *q)
{
        double complex g[2], kappa = 0;
        fixed_reflections(p, r, g);
        for (size_t k = 0; k < r->open_n; k++)
                kappa += phi(point_raw(p, r->open[k]).e[0], fixed) / (double)r->open_n;
        kappa /= phi(point_raw(p, r->match).e[0], fixed);
        const struct net2 *offset = p->problem->standards[r->match].offset;
        struct m2 m = m2_of(1, -50, 1, 50);
        if (offset) {
                struct m2 o = net2_get(offset, p->i);
                m = m2_mul(m2_of(o.e[1] * o.e[2] - o.e[0] * o.e[3], o.e[0], -o.e[3], 1), m);
        }
        m = m2_mul(m2_of(kappa, -kappa * g[0], 1, -g[1]), m); /* psi of the open, from psi of the match */
        m = m2_mul(m2_of(-g[1], g[0], -1, 1), m);             /* G = (g+ - psi g-)/(1 - psi) */
        q->a = m.e[1];
        q->b = m.e[0];
        q->c = m.e[3];
        q->d = m.e[2];
        double complex ideal = p->ideal[r->match].e[0];
        if (offset) {
                struct m2 o = net2_get(offset, p->i);
                ideal = (ideal - o.e[0]) / (o.e[1] * o.e[2] + o.e[3] * (ideal - o.e[0]));
        }
        q->z = 50 * (1 + ideal) / (1 - ideal);
        q->w = RF_TWO_PI * p->hz;
        q->p[0] = fixed[0];
        q->p[1] = fixed[1];
}

/* dG/d(ln kappa) of the open, for the weights. */
static double open_noise(const struct point *p, const struct lrrm_roles *r, const struct involution *v, const struct lrrm_point *q)
{
        double complex g[2], open = lrrm_open(q, q->z);
        fixed_reflections(p, r, g);
        return sqrt(abs2((open - g[0]) * (open - g[1]) / (g[0] - g[1])) * kappa_variance(p, r, v, q->p));
}

static void boxes(const struct point *p, const struct lrrm_roles *r, const double complex fixed[2], double complex z, struct m2 raw,
                  struct box *x, struct box *y, double complex *ret_etf)
{
        double complex g[2], gm = seen(p, r, z), k;
        fixed_reflections(p, r, g);
        k = phi(point_raw(p, r->match).e[0], fixed) * (gm - g[1]) / (gm - g[0]);
        *x = frame_box(g[0], (struct image){g[1], 1}, fixed[0], (struct image){fixed[1], 1}, k);
        *y = frame_other(*x, raw, p->ideal[r->thru], ret_etf);
}

bool lrrm_terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        const struct lrrm_choice *held = choice;
        struct lrrm_roles roles = lrrm_roles_of(p->problem);
        struct involution v;
        struct lrrm_point q;
        struct box x, y;
        double complex r;
        if (!involution_of(p, &roles, &v))
                return false;
        bool swap = abs2(v.p[1] - held->p) < abs2(v.p[0] - held->p);
        double complex fixed[2] = {v.p[swap], v.p[!swap]};
        open_of_match(p, &roles, fixed, &q);
        q.z = lrrm_behind_shunt(q.z, q.w, p->problem->standards[roles.match].shunt_c_f);
        boxes(p, &roles, fixed, lrrm_impedance(&q, held->match), v.raw, &x, &y, &r);
        frame_terms(x, y, r, t);
        return true;
}

enum code lrrm_points_first(const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *ret, struct diagnosis *d,
                            struct followed *ret_followed, struct tp_error *err)
{
        struct branch branch;
        branch_begin(&branch, 1);
        for (size_t i = 0; i < p->axis->n; i++) {
                struct point at;
                struct involution v;
                point_load(p, i, &at);
                if (!involution_of(&at, roles, &v))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "lrrm: at %.9g Hz the thru does not transmit, or open and short coincide through it (a thru of 90 "
                                       "degrees, or one reflect measured twice); use a shorter thru, or lrm",
                                       p->axis->hz[i]);
                d->condition[i] = v.condition;
                struct lrrm_point q[2]; /* either order of the fixed points: the open nearer to the one before (the first: to +1) */
                open_of_match(&at, roles, v.p, &q[0]);
                open_of_match(&at, roles, (double complex[2]){v.p[1], v.p[0]}, &q[1]);
                const double complex open[2] = {lrrm_open(&q[0], q[0].z), lrrm_open(&q[1], q[1].z)};
                struct lrrm_point *taken = &q[branch_step(&branch, p->axis->hz[i], open)];
                taken->u_open = open_noise(&at, roles, &v, taken);
                lrrm_put(ret, i, taken);
        }
        *ret_followed = branch.followed;
        return CODE_OK;
}

double lrrm_short_l_h(const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *columns)
{
        double wx = 0, ww = 0;
        size_t below = axis_nearest(p->axis, 60e9) + 1, some = below < 12 ? below : 12;
        for (size_t k = 0; k < some; k++) {
                size_t i = (2 * k + 1) * below / (2 * some);
                struct lrrm_point q = lrrm_get(columns, i);
                struct point at;
                double complex g[2];
                point_load(p, i, &at);
                fixed_reflections(&at, roles, g);
                double complex open = lrrm_open(&q, q.z), psi = (open - g[0]) / (open - g[1]) *
                                                                phi(point_raw(&at, roles->shorted[0]).e[0], q.p) /
                                                                phi(point_raw(&at, roles->open[0]).e[0], q.p);
                double complex closed = (g[0] - psi * g[1]) / (1 - psi);
                wx += q.w * cimag(50 * (1 + closed) / (1 - closed));
                ww += q.w * q.w;
        }
        return wx / ww;
}

void lrrm_points_second(const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *point, struct lrrm_match match,
                        double *scratch, struct terms *out, struct diagnosis *d)
{
        for (size_t i = 0; i < p->axis->n; i++) {
                struct lrrm_point q = lrrm_get(point, i);
                struct point at;
                struct box x, y;
                double complex t[TERM_COUNT], r;
                double *residual = scratch + i * p->standard_n;
                point_load(p, i, &at);
                boxes(&at, roles, q.p, lrrm_impedance(&q, match), point_raw(&at, roles->thru), &x, &y, &r);
                frame_terms(x, y, r, t);
                terms_put(out, i, t);
                out->z_re[i] = 50;
                out->z_im[i] = 0;
                for (size_t k = 0; k < p->standard_n; k++)
                        residual[k] = NAN;
                for (size_t k = 0; k < roles->open_n; k++) { /* what contradicts a lossless, equal open */
                        struct m2 m = point_raw(&at, roles->open[k]);
                        double complex g1 = box_correct(x, m.e[0]), g2 = box_correct(y, m.e[3]);
                        residual[roles->open[k]] = fmax(fabs(sqrt(abs2(g1)) - 1), sqrt(abs2(g1 - g2)) / 2);
                }
                for (size_t k = 0; k < roles->short_n && roles->short_n > 1; k++) {
                        struct m2 m = point_raw(&at, roles->shorted[k]);
                        residual[roles->shorted[k]] = sqrt(abs2(box_correct(x, m.e[0]) - box_correct(y, m.e[3]))) / 2;
                }
                double complex open = lrrm_open(&q, lrrm_impedance(&q, match));
                d->reflect_re[i] = creal(open);
                d->reflect_im[i] = cimag(open);
                d->reflect_distance[i] = sqrt(abs2(open - 1));
                d->reflect_angle_deg[i] = carg(open) * 180 / RF_PI;
        }
        residuals_finish(p, d, scratch);
}

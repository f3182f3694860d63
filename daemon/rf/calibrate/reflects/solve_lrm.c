/* solve_lrm.c: "lrm": a known thru, a match known at both ports, and reflects that are only equal at both ports (calibration.h).
 * Sources     Eul & Schiek, IEEE Trans. MTT 39 (1991) 724 for the set of standards; the solution is our own derivation in the frame of
 *             frame.h, checked by tests/reference/rf_reflects.c.
 * Idea        The matches are two known points of the port-1 map: f(Gm1) = w1 directly, f(h(Gm2)) = w' through the thru.  One number k is
 *             left: v(f(G)) = k u(G), u = (G - Gm1)/(G - h(Gm2)), v alike of the readings.  A reflect equal at both ports gives
 *             u(h(G))/u(G) = v'/v, a quadratic in G without approximation: the thru may be lossy, mismatched and unequal from both sides,
 *             the matches may differ.  The root is settled by the estimate where it is surest and followed along frequency.
 * Weak point  Results are relative to the match: an error of the match is an error of every reflection. */
#include "rf/network/convert.h"
#include "rf/calibrate/reflects/frame.h"
#include "rf/calibrate/reflects/reflects.h"
#include "rf/calibrate/reflects/swapped.h"
#include "rf/calibrate/reflect_size.h"
#include <math.h>

struct found {
        double complex k;
};
struct roots {
        double complex g[2];
};

size_t lrm_workspace(size_t n, size_t standards) { return n * (sizeof(struct found) + standards * sizeof(double)) + 256; }

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

static struct lrm_roles roles_of(const struct problem *p)
{
        struct lrm_roles r = {0};
        for (size_t k = 0; k < p->standard_n; k++)
                if (p->standards[k].kind == RF_THRU)
                        r.thru = k;
                else if (p->standards[k].kind == RF_LOAD)
                        r.match = k;
                else
                        r.reflect[r.reflect_n++] = k;
        return r;
}

static double complex estimate_of(const struct problem *p, size_t standard)
{
        enum rf_standard_kind kind = p->standards[standard].kind;
        return kind == RF_OPEN ? 1 : kind == RF_SHORT ? -1 : p->reflect_estimate;
}

/* The frame of one frequency, up to k. */
struct known {
        struct m2 raw, thru;
        double complex g1, w1;
        struct image g, w; /* h(Gm2), its reading */
};
static bool known_of(const struct point *p, const struct lrm_roles *r, struct known *f)
{
        f->raw = point_raw(p, r->thru);
        f->thru = p->ideal[r->thru];
        struct m2 match = point_raw(p, r->match);
        f->g1 = p->ideal[r->match].e[0];
        f->w1 = match.e[0];
        f->g = image_through(f->thru, p->ideal[r->match].e[3]);
        f->w = image_through(f->raw, match.e[3]);
        return rf_t_exists(f->raw) && rf_t_exists(f->thru);
}

/* The two reflections that a reflect may have, and k for either. */
static struct roots reflect_roots(const struct known *f, struct m2 reading, double complex g2, double complex w2, double complex *ret_v)
{
        double complex t = f->thru.e[1] * f->thru.e[2], s11 = f->thru.e[0], s22 = f->thru.e[3];
        struct image x = image_through(f->raw, reading.e[3]);
        double complex v = (reading.e[0] - f->w1) / (f->w.q * reading.e[0] - f->w.p);
        double complex v_image = (x.p - f->w1 * x.q) / (f->raw.e[1] * f->raw.e[2] * (w2 - reading.e[3])), rho_t = v_image / v * t;
        double complex a = s11 - f->g1, b = t - a * s22;
        double complex c2 = a * f->g.q + rho_t, c1 = b * f->g.q - a * f->g.p - rho_t * (f->g1 + g2), c0 = rho_t * f->g1 * g2 - b * f->g.p;
        *ret_v = v;
        double complex root = m2_sqrt(c1 * c1 - 4 * c2 * c0);
        double complex q = creal(root) * creal(c1) + cimag(root) * cimag(c1) > 0 ? -(c1 + root) : root - c1; /* does not cancel */
        return (struct roots){{q / (2 * c2), 2 * c0 / q}};
}
static double complex k_of(const struct known *f, double complex v, double complex g) { return v * (f->g.q * g - f->g.p) / (g - f->g1); }

/* k from all reflects with the root whose k is nearer to `near`. */
static double complex k_near(const struct point *p, const struct lrm_roles *r, const struct known *f, double complex near)
{
        double complex sum = 0, w2 = point_raw(p, r->match).e[3], g2 = p->ideal[r->match].e[3];
        for (size_t j = 0; j < r->reflect_n; j++) {
                double complex v;
                struct roots q = reflect_roots(f, point_raw(p, r->reflect[j]), g2, w2, &v);
                double complex up = k_of(f, v, q.g[0]), down = k_of(f, v, q.g[1]);
                sum += abs2(up - near) <= abs2(down - near) ? up : down;
        }
        return sum / (double)r->reflect_n;
}

static bool terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        struct lrm_roles roles = roles_of(p->problem);
        struct known f;
        if (!known_of(p, &roles, &f))
                return false;
        double complex etf;
        struct box x = frame_box(f.g1, f.g, f.w1, f.w, k_near(p, &roles, &f, ((const struct found *)choice)->k));
        struct box y = frame_other(x, f.raw, f.thru, &etf);
        frame_terms(x, y, etf, t);
        return true;
}

static enum code check(const struct problem *p, struct tp_error *err)
{
        enum code code = rf_problem_check(rf_method("lrm"), p, err);
        if (code)
                return code;
        unsigned thrus = 0, matches = 0, reflects = 0, unknown = 0;
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                thrus += s->kind == RF_THRU;
                matches += s->kind == RF_LOAD;
                reflects += s->kind != RF_THRU && s->kind != RF_LOAD;
                unknown += s->kind == RF_REFLECT;
                if (s->kind != RF_THRU && s->ports != 0 && s->ports != 3)
                        return tp_fail(err, CODE_BAD_INPUT, "lrm: %s was measured at one port only; it must be read at both",
                                       standard_name(s));
        }
        if (thrus != 1 || matches != 1)
                return tp_fail(err, CODE_BAD_INPUT,
                               "lrm takes one thru and one match at both ports, not %u and %u; known_standards takes any number", thrus,
                               matches);
        if (reflects == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "lrm needs an open, a short or a reflect, equal at both ports, and has none; measure one");
        if (unknown && !(cabs(p->reflect_estimate) > 0.1 && cabs(p->reflect_estimate) < 10))
                return tp_fail(err, CODE_BAD_INPUT, "lrm: a reflect estimate of %.4g%+.4gj is none; give -1 for a short, +1 for an open",
                               creal(p->reflect_estimate), cimag(p->reflect_estimate));
        return CODE_OK;
}

static void diagnose_reflect(size_t n, double complex estimate, struct diagnosis *d)
{
        for (size_t i = 0; i < n; i++) {
                double complex g = CMPLX(d->reflect_re[i], d->reflect_im[i]), off = g - estimate, turn = g * conj(estimate);
                d->reflect_distance[i] = sqrt(abs2(off));
                d->reflect_angle_deg[i] = atan2(cimag(turn), creal(turn)) * 180 / RF_PI;
        }
}

static enum code followed(const struct problem *p, const struct followed *f, double complex estimate, struct diagnosis *d,
                          struct tp_error *err)
{
        d->root_followed = f->all;
        d->root_start_hz = p->axis->hz[0];
        d->root_unfollowed_hz = f->unfollowed_hz;
        d->root_contradicts = f->contradicts;
        d->contradiction_hz = f->contradiction_hz;
        d->contradiction_deg = f->contradiction_deg;
        if (f->start_angle_deg > 60)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "lrm: at %.9g Hz, the lowest frequency, the solved reflect lies as far from its estimate (%.3g%+.3gj) as the "
                        "other root does: its sign cannot be settled; give -1 for a short, +1 for an open",
                        p->axis->hz[0], creal(estimate), cimag(estimate));
        if (f->contradicts && !p->reflect_contradiction_allowed)
                return tp_fail(err, CODE_BAD_INPUT,
                               "lrm: followed from %.6g GHz, the solved reflect is nearer to the opposite of its estimate at %.6g GHz: by "
                               "the estimate its sign would flip there; check the kind of reflect and where it lies",
                               p->axis->hz[0] / 1e9, f->contradiction_hz / 1e9);
        if (f->contradicts)
                diagnosis_warn(d, "at %.6g GHz the estimate of the reflect would choose the other root; the followed one was kept",
                               f->contradiction_hz / 1e9);
        if (!f->all)
                diagnosis_warn(d, "the reflect jumps by more than 60 degrees at %.6g GHz: there its sign rests on the estimate alone",
                               f->unfollowed_hz / 1e9);
        return CODE_OK;
}

/* Condition: a reflect as small as the match says nothing, and two roots that meet cannot be told apart. */
static double condition_of(const struct known *f, const double complex g[2])
{
        double size = abs2(g[0]) + abs2(g[1]), through = 2 * sqrt(abs2(f->thru.e[1] * f->thru.e[2])), apart = abs2(g[0] - g[1]);
        return sqrt((size + through) * (size + through) * fmax(apart, 2 * size) / (4 * size * through * apart));
}

/* All frequencies at once; false: a case for by_points().  scratch: 2 n, of the residuals that there are then none of. */
static bool by_columns(const struct problem *p, const struct lrm_roles *roles, struct found *found, double *scratch, struct terms *out,
                       struct diagnosis *d, struct followed *ret)
{
        size_t n = p->axis->n;
        if (!reflects_lrm(cpu_best(), p, roles, estimate_of(p, roles->reflect[0]), (struct other_root){scratch, scratch + n}, out, d,
                          &found[0].k, ret))
                return false;
        residuals_none(p, d); /* one reflect alone is met exactly */
        return true;
}

static enum code by_points(const struct problem *p, const struct lrm_roles *roles, struct found *found, double *residuals,
                           struct terms *out, struct diagnosis *d, struct followed *ret, struct tp_error *err)
{
        size_t n = p->axis->n;
        double complex estimate = estimate_of(p, roles->reflect[0]);
        struct branch branch;
        branch_begin(&branch, estimate);
        for (size_t i = 0; i < n; i++) {
                struct point at;
                struct known f;
                struct roots q;
                double complex v, t[TERM_COUNT], etf;
                double *residual = residuals + i * p->standard_n;
                point_load(p, i, &at);
                bool good = known_of(&at, roles, &f);
                if (good) {
                        q = reflect_roots(&f, point_raw(&at, roles->reflect[0]), at.ideal[roles->match].e[3],
                                          point_raw(&at, roles->match).e[3], &v);
                        d->condition[i] = condition_of(&f, q.g);
                }
                if (!good || !(d->condition[i] < LRM_CONDITION_REFUSE))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "lrm: at %.9g Hz the thru does not transmit or the reflect cannot be told from the match; measure "
                                       "them again",
                                       p->axis->hz[i]);
                double complex g = q.g[branch_step(&branch, p->axis->hz[i], q.g)];
                found[i].k = k_of(&f, v, g);
                if (roles->reflect_n > 1)
                        found[i].k = k_near(&at, roles, &f, found[i].k);
                struct box x = frame_box(f.g1, f.g, f.w1, f.w, found[i].k), y = frame_other(x, f.raw, f.thru, &etf);
                frame_terms(x, y, etf, t);
                terms_put(out, i, t);
                out->z_re[i] = 50;
                out->z_im[i] = 0;
                d->reflect_re[i] = creal(g);
                d->reflect_im[i] = cimag(g);
                for (size_t k = 0; k < p->standard_n; k++)
                        residual[k] = NAN;
                for (size_t j = 0; j < roles->reflect_n && roles->reflect_n > 1; j++) { /* one reflect alone is met exactly */
                        struct m2 m = point_raw(&at, roles->reflect[j]);
                        residual[roles->reflect[j]] = cabs(box_correct(x, m.e[0]) - box_correct(y, m.e[3])) / 2;
                }
        }
        *ret = branch.followed;
        residuals_finish(p, d, residuals);
        diagnose_reflect(n, estimate, d);
        return CODE_OK;
}

enum code lrm_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                    struct tp_error *err)
{
        enum code code = check(p, err);
        if (code)
                return code;
        struct lrm_roles roles = roles_of(p);
        struct found *found = workspace;
        double *columns = (double *)(void *)(found + p->axis->n);
        struct followed f;
        if (!by_columns(p, &roles, found, columns, out, d, &f) && (code = by_points(p, &roles, found, columns, out, d, &f, err)))
                return code;
        if ((code = followed(p, &f, estimate_of(p, roles.reflect[0]), d, err)))
                return code;
        out->method = "lrm";
        out->model = TERMS_EIGHT;
        out->plane = PLANE_TIP;
        out->switch_removed = p->switch_terms != NULL;
        for (size_t k = 0; k < roles.reflect_n; k++)
                if (p->standards[roles.reflect[k]].kind == RF_SHORT)
                        reflects_say_swapped(p, roles.reflect[k], NULL, NAN, out, d);
        rf_reflect_size_warn(p, d);
        if (cov)
                covariance_fill(p, cov, terms_point, found, sizeof *found);
        return CODE_OK;
}

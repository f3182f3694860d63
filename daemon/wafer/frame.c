/* frame.c: fits between the wafer's frame and the stage's (frame.h).
 * Marks are taken from their means first: stages count from a corner 300 mm away, and squares of that would cost the digits in which the
 * fit is told. */
#include "wafer/frame.h"
#include <math.h>
#include <string.h>

struct moments { /* about the means */
        double px, py, qx, qy;
        double pxx, pxy, pyy, qxx, qxy, qyx, qyy; /* q..: sum of p times q, first letter p's */
};

static struct moments moments_of(size_t n, const struct mark *m)
{
        struct moments s = {.px = 0};
        for (size_t i = 0; i < n; i++) {
                s.px += m[i].x_um / (double)n, s.py += m[i].y_um / (double)n;
                s.qx += m[i].stage_x_um / (double)n, s.qy += m[i].stage_y_um / (double)n;
        }
        for (size_t i = 0; i < n; i++) {
                double px = m[i].x_um - s.px, py = m[i].y_um - s.py, qx = m[i].stage_x_um - s.qx, qy = m[i].stage_y_um - s.qy;
                s.pxx += px * px, s.pxy += px * py, s.pyy += py * py;
                s.qxx += px * qx, s.qxy += px * qy, s.qyx += py * qx, s.qyy += py * qy;
        }
        return s;
}

/* Umeyama's eqs. 39 to 43 without the singular values: in a plane the rotation that is no mirror is an angle. */
static void turn(struct frame *f, const struct moments *s, bool scaled)
{
        double sine = s->qxy - s->qyx, cosine = s->qxx + s->qyy, scale = scaled ? hypot(sine, cosine) / (s->pxx + s->pyy) : 1;
        f->theta_rad = atan2(sine, cosine);
        f->scale_x = f->scale_y = scale;
        f->a11 = f->a22 = scale * cos(f->theta_rad);
        f->a21 = scale * sin(f->theta_rad);
        f->a12 = -f->a21;
}

static void bend(struct frame *f, const struct moments *s)
{
        double det = s->pxx * s->pyy - s->pxy * s->pxy;
        f->a11 = (s->qxx * s->pyy - s->qyx * s->pxy) / det;
        f->a12 = (s->qyx * s->pxx - s->qxx * s->pxy) / det;
        f->a21 = (s->qxy * s->pyy - s->qyy * s->pxy) / det;
        f->a22 = (s->qyy * s->pxx - s->qxy * s->pxy) / det;
        f->theta_rad = atan2(f->a21, f->a11);
        f->scale_x = hypot(f->a11, f->a21);
        double c = cos(f->theta_rad), d = sin(f->theta_rad), along = c * f->a12 + d * f->a22, across = c * f->a22 - d * f->a12;
        f->skew_rad = atan2(along, across);
        f->scale_y = hypot(along, across);
}

static void settle(struct frame *f, const struct moments *s, size_t n, const struct mark *m)
{
        f->tx_um = s->qx - f->a11 * s->px - f->a12 * s->py;
        f->ty_um = s->qy - f->a21 * s->px - f->a22 * s->py;
        double squares = 0;
        for (size_t i = 0; i < n; i++) {
                double px = m[i].x_um - s->px, py = m[i].y_um - s->py,
                       off = hypot(m[i].stage_x_um - s->qx - f->a11 * px - f->a12 * py,
                                   m[i].stage_y_um - s->qy - f->a21 * px - f->a22 * py);
                squares += off * off;
                if (off > f->max_um)
                        f->max_um = off, f->worst = i;
        }
        f->rms_um = sqrt(squares / (double)n);
}

static struct frame fitted(enum frame_kind kind, size_t n, const struct mark *m, const struct moments *s)
{
        struct frame f = {.a11 = 1, .a22 = 1, .scale_x = 1, .scale_y = 1};
        if (kind == FRAME_AFFINE)
                bend(&f, s);
        else if (kind != FRAME_TRANSLATION)
                turn(&f, s, kind == FRAME_SIMILARITY);
        settle(&f, s, n, m);
        return f;
}

/* A stage whose y counts the other way shows the wafer mirrored; about which axis does not matter, the rest is a turn. */
static bool mirror_fits(size_t n, struct moments s, double rms_um)
{
        s.qxy = -s.qxy, s.qyy = -s.qyy;
        double spread_p = s.pxx + s.pyy, gained = hypot(s.qxy - s.qyx, s.qxx + s.qyy), plain = hypot(-s.qxy - s.qyx, s.qxx - s.qyy);
        /* the fit's misfit is what the stage's points spread less gained^2/spread_p; of both ways the larger gain wins */
        return gained > plain && (gained * gained - plain * plain) / spread_p > 0.9 * rms_um * rms_um * (double)n;
}

static enum code marks_check(enum frame_kind kind, size_t n, const struct mark *m, const struct moments *s, struct tp_error *err)
{
        static const size_t least[FRAME_KIND_COUNT] = {1, 2, 2, 3};
        if (n < least[kind])
                return tp_fail(err, CODE_BAD_INPUT, "%zu marks are too few for this fit, it needs %zu: find more marks, or fit less", n,
                               least[kind]);
        for (size_t i = 0; i < n; i++)
                if (!isfinite(m[i].x_um) || !isfinite(m[i].y_um) || !isfinite(m[i].stage_x_um) || !isfinite(m[i].stage_y_um))
                        return tp_fail(err, CODE_BAD_INPUT, "mark %zu has a place that is no number: find it again", i + 1);
        double spread = s->pxx + s->pyy, width = (s->pxx * s->pyy - s->pxy * s->pxy) / (spread > 0 ? spread : 1);
        if (kind != FRAME_TRANSLATION && !(spread >= 1))
                return tp_fail(err, CODE_BAD_INPUT,
                               "all marks are at one place, which says nothing of how the wafer is turned: take marks far apart");
        if (kind == FRAME_AFFINE && !(width >= 1e-6 * spread))
                return tp_fail(err, CODE_BAD_INPUT,
                               "all marks lie in one line, which says nothing of what is beside it: take one off that line");
        return CODE_OK;
}

enum code frame_fit(enum frame_kind kind, size_t n, const struct mark *marks, double limit_um, struct frame *ret, struct tp_error *err)
{
        struct moments s = moments_of(n, marks);
        enum code code = marks_check(kind, n, marks, &s, err);
        if (code)
                return code;
        *ret = fitted(kind, n, marks, &s);
        if (ret->max_um <= limit_um)
                return CODE_OK;
        if (kind != FRAME_TRANSLATION && mirror_fits(n, s, ret->rms_um))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the marks fit the wafer's mirror image, not the wafer (it leaves %.4g um at mark %zu): one axis of the stage "
                        "counts the other way, or x and y are exchanged",
                        ret->max_um, ret->worst + 1);
        return tp_fail(err, CODE_BAD_INPUT,
                       "mark %zu lies %.4g um from where the fit has it, limit %.4g um: find it again, or leave it out", ret->worst + 1,
                       ret->max_um, limit_um);
}

void frame_stage_um(const struct frame *f, double x_um, double y_um, double *ret_x_um, double *ret_y_um)
{
        *ret_x_um = f->a11 * x_um + f->a12 * y_um + f->tx_um;
        *ret_y_um = f->a21 * x_um + f->a22 * y_um + f->ty_um;
}

static bool described(double t_k) { return t_k >= 120 && t_k <= 1500; }

double silicon_expansion_per_k(double t_k)
{
        return described(t_k) ? (3.725 * -expm1(-5.88e-3 * (t_k - 124)) + 5.548e-4 * t_k) * 1e-6 : NAN;
}

double silicon_growth_um(double length_um, double from_k, double to_k)
{
        if (!described(from_k) || !described(to_k))
                return NAN;
        double dt = to_k - from_k, fading = exp(-5.88e-3 * (from_k - 124)) * -expm1(-5.88e-3 * dt) / 5.88e-3;
        return length_um * 1e-6 * (3.725 * (dt - fading) + 5.548e-4 * dt * (from_k + to_k) / 2);
}

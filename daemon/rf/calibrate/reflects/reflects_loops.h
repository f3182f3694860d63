/* reflects_loops.h: the body of reflects.c, included once for each kind of processor with KIND and TARGET defined (see vector.h).  No
   include guard: that is the point.
   Sources     those of solve_lrm.c and solve_lrrm.c; names as there.  Here quotients are carried as pairs and divided once. */
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"
#include "rf/correct/unterminate_loop.h"

struct N(box) {
        struct cx a, b, c;
        double finite; /* 0, or NaN: the terms that follow from it are no numbers */
};
/* Port 1's box by frame_box(): f(g1) = w1, f(gp/gq) = wp/wq and k = kn/kd. */
IN struct N(box)
        N(frame_box)(struct cx g1, struct cx gp, struct cx gq, struct cx w1, struct cx wp, struct cx wq, struct cx kn, struct cx kd)
{
        struct cx knp = N(mul)(kn, wp), knq = N(mul)(kn, wq), gpd = N(mul)(gp, kd), gqd = N(mul)(gq, kd);
        struct cx d = N(inv)(N(sub_mul)(N(mul)(knq, g1), gp, kd));
        return (struct N(box)){N(mul)(N(sub_mul)(N(mul)(w1, gqd), kn, wp), d), N(mul)(N(sub_mul)(N(mul)(knp, g1), w1, gpd), d),
                               N(mul)(N(sub_mul)(gqd, kn, wq), d), 0};
}

/* Port 2's box and K ERR by frame_other(), and all terms of point i.  The determinant of r Y is the product of the three it is made of, so
   that ERR and K need no second quotient. */
IN struct N(box) N(frame_rest)(struct N(box) x, struct quad m, struct quad s, double *const *re, double *const *im, size_t i)
{
        struct cx one = cx(1, 0), det_s = N(sub_mul)(N(mul)(s.s11, s.s22), s.s12, s.s21),
                  det_m = N(sub_mul)(N(mul)(m.s11, m.s22), m.s12, m.s21), erf = N(sub_mul)(x.a, x.b, x.c);
        struct cx e0 = N(add_mul)(one, s.s11, x.c), e1 = N(add_mul)(x.b, s.s11, x.a); /* e1, e3: minus */
        struct cx e2 = N(add_mul)(s.s22, det_s, x.c), e3 = N(add_mul)(N(mul)(s.s22, x.b), det_s, x.a);
        struct cx n0 = N(sub_mul)(N(mul)(e1, m.s22), e0, det_m), n1 = N(sub_mul)(e1, e0, m.s11); /* n1: minus */
        struct cx n2 = N(sub_mul)(N(mul)(e3, m.s22), e2, det_m), n3 = cx_sub(N(mul)(e2, m.s11), e3), k = N(inv)(n3);
        struct cx reverse = N(mul)(s.s21, m.s12), forward = N(mul)(s.s12, m.s21), ek = N(mul)(erf, k);
        struct cx etf = N(mul)(forward, ek), etr = N(mul)(reverse, ek), err = N(mul)(N(mul)(forward, reverse), N(mul)(ek, k)),
                  kk = N(mul)(n3, N(inv)(reverse));
        struct N(box) y = {N(mul)(n0, k), N(neg)(N(mul)(n2, k)), N(mul)(n1, k), 0};
        y.finite = 0 * (etf.re + etf.im + etr.re + etr.im + kk.re + kk.im);
        TERM_PUT(TERM_EDF, x.b);
        TERM_PUT(TERM_ESF, N(neg)(x.c));
        TERM_PUT(TERM_ERF, erf);
        TERM_PUT(TERM_EDR, y.b);
        TERM_PUT(TERM_ESR, N(neg)(y.c));
        TERM_PUT(TERM_ERR, err);
        TERM_PUT(TERM_K, kk);
        TERM_PUT(TERM_ELF, N(neg)(y.c));
        TERM_PUT(TERM_ETF, etf);
        TERM_PUT(TERM_EXF, cx(0, 0));
        TERM_PUT(TERM_ELR, N(neg)(x.c));
        TERM_PUT(TERM_ETR, etr);
        TERM_PUT(TERM_EXR, cx(0, 0));
        return y;
}

IN bool N(transmits)(struct quad m) { return N(norm2)(m.s21) > 1e-24; }

HOT void N(lrm)(size_t n, const struct lrm_columns *in)
{
        COLUMNS(m, in->thru);
        COLUMNS(s, in->thru_ideal);
        COLUMNS(l, in->match);
        COLUMNS(r, in->reflect);
        const double *g1_re = in->match_ideal->re[0], *g1_im = in->match_ideal->im[0], *g2_re = in->match_ideal->re[3],
                     *g2_im = in->match_ideal->im[3];
        const double *gf_re = in->gf_re, *gf_im = in->gf_im, *gr_re = in->gr_re, *gr_im = in->gr_im;
        double *taken_re = in->taken_re, *taken_im = in->taken_im, *other_re = in->other_re, *other_im = in->other_im, *k_both = in->k,
               *condition = in->condition, *distance = in->distance, *angle = in->angle;
        struct cx estimate = in->estimate;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx gf = AT(gf, i), gr = AT(gr, i), g1 = AT(g1, i), g2 = AT(g2, i);
                struct quad s = READ(s, i), m = N(unterminate_one)(READ(m, i), gf, gr);
                struct quad l = N(unterminate_one)(READ(l, i), gf, gr), r = N(unterminate_one)(READ(r, i), gf, gr);
                struct cx t = N(mul)(s.s12, s.s21), tm = N(mul)(m.s12, m.s21);
                /* through the thru: h(Gm2), its reading, and the reflect's */
                struct cx gq = cx_sub(g2, s.s22), gp = N(add_mul)(t, s.s11, gq), wq = cx_sub(l.s22, m.s22), wp = N(add_mul)(tm, m.s11, wq),
                          xq = cx_sub(r.s22, m.s22), xp = N(add_mul)(tm, m.s11, xq);
                struct cx vn = cx_sub(r.s11, l.s11), vd = cx_sub(N(mul)(wq, r.s11), wp);
                struct cx rho_n = N(mul)(N(sub_mul)(xp, l.s11, xq), vd), rho_d = N(mul)(N(mul)(tm, cx_sub(l.s22, r.s22)), vn);
                struct cx rho_t = N(mul)(N(mul)(rho_n, t), N(inv)(rho_d));
                struct cx a = cx_sub(s.s11, g1), b = N(sub_mul)(t, a, s.s22);
                struct cx c2 = N(add_mul)(rho_t, a, gq), c1 = N(sub_mul)(N(sub_mul)(N(mul)(b, gq), a, gp), rho_t, cx_add(g1, g2)),
                          c0 = N(sub_mul)(N(mul)(rho_t, N(mul)(g1, g2)), b, gp);
                struct cx root = N(root_of)(N(sub_mul)(N(mul)(c1, c1), N(scale)(4, c2), c0));
                bool same = N(along)(root, c1) > 0;
                struct cx q = N(select)(same, N(neg)(cx_add(c1, root)), cx_sub(root, c1));
                struct cx up = N(mul)(q, N(inv)(N(scale)(2, c2))), down = N(mul)(N(scale)(2, c0), N(inv)(q));
                bool first = N(norm2)(cx_sub(up, estimate)) <= N(norm2)(cx_sub(down, estimate));
                struct cx g = N(select)(first, up, down), other = N(select)(first, down, up), off = cx_sub(g, estimate);
                struct cx kn = N(mul)(vn, cx_sub(N(mul)(gq, g), gp)), kd = N(mul)(vd, cx_sub(g, g1)), k = N(mul)(kn, N(inv)(kd));
                struct N(box) y = N(frame_rest)(N(frame_box)(g1, gp, gq, l.s11, wp, wq, kn, kd), m, s, in->t_re, in->t_im, i);
                double size = N(norm2)(up) + N(norm2)(down), through = 2 * __builtin_sqrt(N(norm2)(t)), apart = N(norm2)(cx_sub(up, down)),
                       both = size + through;
                double c = __builtin_sqrt(both * both * N(larger)(apart, 2 * size) / (4 * size * through * apart));
                condition[i] = N(transmits)(m) && N(transmits)(s) ? c + y.finite : __builtin_inf();
                PUT(taken, i, g);
                PUT(other, i, other);
                k_both[2 * i] = k.re, k_both[2 * i + 1] = k.im;
                distance[i] = __builtin_sqrt(N(norm2)(off));
                angle[i] = DEG * N(angle)(__builtin_fma(g.im, estimate.re, -(g.re * estimate.im)), N(along)(g, estimate));
        }
}

/* Is a step from any frequency to the next wider than 60 degrees (branch_step())?  Without an early way out, so that it is vectorised. */
HOT void N(steps)(size_t n, struct step_columns *in)
{
        const double *taken_re = in->taken_re, *taken_im = in->taken_im, *other_re = in->other_re, *other_im = in->other_im;
        uint64_t wide = 0;
        for (size_t i = 1; i < n; i++) {
                struct cx before = AT(taken, i - 1);
                wide |= 3 * N(norm2)(cx_sub(AT(taken, i), before)) <= N(norm2)(cx_sub(AT(other, i), before)) ? 0 : UINT64_MAX;
        }
        in->wide = wide != 0;
}

/* g+ and g-, which the thru maps onto themselves. */
struct N(fixed) {
        struct cx up, down;
};
IN struct N(fixed) N(fixed_reflections)(struct quad s)
{
        struct cx mean = N(scale)(0.5, cx_add(s.s11, s.s22)), e = N(root_of)(N(mul)(s.s12, s.s21));
        bool turned = N(along)(e, s.s21) < 0;
        e = N(select)(turned, N(neg)(e), e);
        return (struct N(fixed)){cx_add(mean, e), cx_sub(mean, e)};
}

struct N(triple) {
        struct cx x, y, z;
};
IN struct N(triple) N(cross)(struct N(triple) a, struct N(triple) b)
{
        return (struct N(triple)){N(sub_mul)(N(mul)(a.y, b.z), a.z, b.y), N(sub_mul)(N(mul)(a.z, b.x), a.x, b.z),
                                  N(sub_mul)(N(mul)(a.x, b.y), a.y, b.x)};
}
IN double N(size2)(struct N(triple) a) { return N(norm2)(a.x) + N(norm2)(a.y) + N(norm2)(a.z); }
/* A reading x at port 1 and y = yp/yq, what port 2's would be there: their row, and the variance of row . e for unit variance of all that
   the row is made of; `first` is what x adds besides. */
IN struct N(triple) N(row)(struct cx x, struct cx yp, struct cx yq)
{
        return (struct N(triple)){N(mul)(x, yp), N(neg)(N(add_mul)(yp, x, yq)), N(neg)(yq)};
}
IN double N(row_variance)(struct quad m, struct cx x, struct cx yp, struct cx yq, struct N(triple) e, struct cx first)
{
        struct cx by_x = N(sub_mul)(N(add_mul)(first, yp, e.x), yq, e.y);
        struct cx by_w2 = cx_sub(N(sub_mul)(N(mul)(N(mul)(x, m.s11), e.x), cx_add(x, m.s11), e.y), e.z);
        struct cx by_yp = cx_sub(N(mul)(x, e.x), e.y);
        return N(norm2)(by_x) + 2 * N(norm2)(by_w2) + (N(norm2)(yq) + N(norm2)(m.s12) + N(norm2)(m.s21)) * N(norm2)(by_yp);
}

/* What lrrm's first half reads and both need of a point. */
HOT void N(lrrm_first)(size_t n, const struct lrrm_input *in)
{
        COLUMNS(m, in->thru);
        COLUMNS(s, in->thru_ideal);
        COLUMNS(o, in->open);
        COLUMNS(h, in->shorted);
        const double *l1_re = in->match_re[0], *l1_im = in->match_im[0], *l2_re = in->match_re[1], *l2_im = in->match_im[1],
                     *l3_re = in->match_re[2], *l3_im = in->match_im[2], *l4_re = in->match_re[3], *l4_im = in->match_im[3];
        const double *gm_re = in->gm_re, *gm_im = in->gm_im, *hz = in->hz;
        const double *gf_re = in->gf_re, *gf_im = in->gf_im, *gr_re = in->gr_re, *gr_im = in->gr_im;
        double *p0_re = in->to.p_re[0], *p0_im = in->to.p_im[0], *p1_re = in->to.p_re[1], *p1_im = in->to.p_im[1], *a_re = in->to.a_re,
               *a_im = in->to.a_im, *b_re = in->to.b_re, *b_im = in->to.b_im, *c_re = in->to.c_re, *c_im = in->to.c_im, *d_re = in->to.d_re,
               *d_im = in->to.d_im, *z_re = in->to.z_re, *z_im = in->to.z_im, *u_open = in->to.u_open, *w = in->to.w;
        double *taken_re = in->taken_re, *taken_im = in->taken_im, *other_re = in->other_re, *other_im = in->other_im,
               *condition = in->condition;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx gf = AT(gf, i), gr = AT(gr, i), one = cx(1, 0);
                struct quad s = READ(s, i), m = N(unterminate_one)(READ(m, i), gf, gr), o = N(unterminate_one)(READ(o, i), gf, gr),
                            h = N(unterminate_one)(READ(h, i), gf, gr),
                            l = N(unterminate_one)((struct quad){AT(l1, i), AT(l2, i), AT(l3, i), AT(l4, i)}, gf, gr);
                struct cx tm = N(mul)(m.s12, m.s21), oq = cx_sub(o.s22, m.s22), op = N(add_mul)(tm, m.s11, oq), hq = cx_sub(h.s22, m.s22),
                          hp = N(add_mul)(tm, m.s11, hq);
                struct N(triple) ro = N(row)(o.s11, op, oq), rh = N(row)(h.s11, hp, hq), v = N(cross)(ro, rh);
                /* fixed points of the involution v = (ga, al, be) */
                struct cx d = N(root_of)(N(add_mul)(N(mul)(v.y, v.y), v.z, v.x));
                d = N(select)(N(along)(v.y, d) >= 0, d, N(neg)(d));
                struct cx t = cx_add(v.y, d), p0 = N(mul)(t, N(inv)(v.x)), p1 = N(neg)(N(mul)(v.z, N(inv)(t)));
                struct cx o0 = cx_sub(o.s11, p0), o1 = cx_sub(o.s11, p1), l0 = cx_sub(l.s11, p0), l1 = cx_sub(l.s11, p1);
                double c = __builtin_sqrt(N(size2)(ro) * N(size2)(rh) / N(size2)(v));
                condition[i] = N(transmits)(m) ? c : __builtin_inf();
                /* either order of the fixed points: the open nearer to +1 */
                struct N(fixed) g = N(fixed_reflections)(s);
                struct cx gm = AT(gm, i), mu = cx_sub(gm, g.up), md = cx_sub(gm, g.down), kn = N(mul)(o0, l1), kd = N(mul)(o1, l0);
                struct cx un = N(mul)(kn, mu), ud = N(mul)(kd, md), tn = N(mul)(kd, mu), td = N(mul)(kn, md); /* psi and the other's */
                struct cx open = N(mul)(N(sub_mul)(N(mul)(g.up, ud), g.down, un), N(inv)(cx_sub(ud, un)));
                struct cx turned = N(mul)(N(sub_mul)(N(mul)(g.up, td), g.down, tn), N(inv)(cx_sub(td, tn)));
                bool first = N(norm2)(cx_sub(open, one)) <= N(norm2)(cx_sub(turned, one));
                struct cx taken = N(select)(first, open, turned);
                struct cx kappa = N(mul)(N(select)(first, kn, kd), N(inv)(N(select)(first, kd, kn)));
                PUT(p0, i, N(select)(first, p0, p1));
                PUT(p1, i, N(select)(first, p1, p0));
                /* G = (a + b Z)/(c + d Z) */
                struct cx ku = N(mul)(kappa, cx_one_minus(g.up)), kv = N(add_mul)(kappa, kappa, g.up);
                struct cx down_1 = cx_one_minus(g.down), down_2 = cx_add(one, g.down);
                PUT(a, i, N(scale)(50, N(sub_mul)(N(mul)(g.down, kv), g.up, down_2)));
                PUT(b, i, N(sub_mul)(N(mul)(g.up, down_1), g.down, ku));
                PUT(c, i, N(scale)(50, cx_sub(kv, down_2)));
                PUT(d, i, cx_sub(down_1, ku));
                PUT(z, i, N(scale)(50, N(mul)(cx_add(one, gm), N(inv)(cx_one_minus(gm)))));
                w[i] = RF_TWO_PI * hz[i];
                PUT(taken, i, taken);
                PUT(other, i, N(select)(first, turned, open));
                /* noise of ln kappa: each row moves v, and v the fixed points, by one and the same linear form */
                struct cx p01 = cx_sub(p0, p1), slope = N(mul)(cx_sub(l.s11, o.s11), N(inv)(N(scale)(2, d)));
                struct cx s0 = N(mul)(slope, N(inv)(N(mul)(l0, o0))), s1 = N(mul)(slope, N(inv)(N(mul)(l1, o1)));
                struct cx m0 = N(mul)(s0, p0), m1 = N(mul)(s1, p1);
                struct N(triple) form = {N(add_mul)(N(mul)(m0, p0), m1, p1), N(scale)(-2, cx_add(m0, m1)), N(neg)(cx_add(s0, s1))};
                struct cx by_open = N(mul)(p01, N(inv)(N(mul)(o0, o1)));
                double variance = N(norm2)(p01) / (N(norm2)(l0) * N(norm2)(l1)) +
                                  N(row_variance)(m, o.s11, op, oq, N(cross)(rh, form), by_open) +
                                  N(row_variance)(m, h.s11, hp, hq, N(cross)(form, ro), cx(0, 0));
                struct cx gain = N(mul)(cx_sub(taken, g.up), cx_sub(taken, g.down));
                u_open[i] = __builtin_sqrt(N(norm2)(gain) / N(norm2)(cx_sub(g.up, g.down)) * variance);
        }
}

HOT void N(lrrm_second)(size_t n, const struct lrrm_input *in)
{
        COLUMNS(m, in->thru);
        COLUMNS(s, in->thru_ideal);
        COLUMNS(o, in->open);
        const double *l1_re = in->match_re[0], *l1_im = in->match_im[0], *l2_re = in->match_re[1], *l2_im = in->match_im[1],
                     *l3_re = in->match_re[2], *l3_im = in->match_im[2], *l4_re = in->match_re[3], *l4_im = in->match_im[3];
        const double *gf_re = in->gf_re, *gf_im = in->gf_im, *gr_re = in->gr_re, *gr_im = in->gr_im;
        const double *p0_re = in->to.p_re[0], *p0_im = in->to.p_im[0], *p1_re = in->to.p_re[1], *p1_im = in->to.p_im[1],
                     *a_re = in->to.a_re, *a_im = in->to.a_im, *b_re = in->to.b_re, *b_im = in->to.b_im, *c_re = in->to.c_re,
                     *c_im = in->to.c_im, *d_re = in->to.d_re, *d_im = in->to.d_im, *z_re = in->to.z_re, *z_im = in->to.z_im, *w = in->to.w;
        double *taken_re = in->taken_re, *taken_im = in->taken_im, *distance = in->distance, *angle = in->angle, *residual = in->residual;
        double r_ohm = in->match.r_ohm, l_h = in->match.l_h, c_f = in->match.c_f;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx gf = AT(gf, i), gr = AT(gr, i), one = cx(1, 0), p0 = AT(p0, i), p1 = AT(p1, i);
                struct quad s = READ(s, i), m = N(unterminate_one)(READ(m, i), gf, gr), o = N(unterminate_one)(READ(o, i), gf, gr),
                            l = N(unterminate_one)((struct quad){AT(l1, i), AT(l2, i), AT(l3, i), AT(l4, i)}, gf, gr);
                struct N(fixed) g = N(fixed_reflections)(s);
                /* the match's impedance zs/shunt */
                struct cx zs = cx(z_re[i] + r_ohm, __builtin_fma(w[i], l_h, z_im[i]));
                struct cx shunt = N(add_mul)(one, cx(0, w[i] * c_f), zs), gn = cx_sub(zs, N(scale)(50, shunt)),
                          gd = cx_add(zs, N(scale)(50, shunt));
                struct cx kn = N(mul)(cx_sub(l.s11, p0), N(sub_mul)(gn, g.down, gd)),
                          kd = N(mul)(cx_sub(l.s11, p1), N(sub_mul)(gn, g.up, gd));
                struct N(box) x = N(frame_box)(g.up, g.down, one, p0, p1, one, kn, kd), y = N(frame_rest)(x, m, s, in->t_re, in->t_im, i);
                struct cx open_n = N(add_mul)(N(mul)(AT(a, i), shunt), AT(b, i), zs),
                          open_d = N(add_mul)(N(mul)(AT(c, i), shunt), AT(d, i), zs), open = N(mul)(open_n, N(inv)(open_d)),
                          off = cx_sub(open, one);
                PUT(taken, i, open);
                distance[i] = __builtin_sqrt(N(norm2)(off));
                angle[i] = DEG * N(angle)(open.im, open.re);
                /* what contradicts a lossless, equal open */
                struct cx g1 = N(mul)(cx_sub(o.s11, x.b), N(inv)(N(sub_mul)(x.a, x.c, o.s11))),
                          g2 = N(mul)(cx_sub(o.s22, y.b), N(inv)(N(sub_mul)(y.a, y.c, o.s22)));
                double lossy = __builtin_fabs(__builtin_sqrt(N(norm2)(g1)) - 1), unequal = __builtin_sqrt(N(norm2)(cx_sub(g1, g2))) / 2;
                residual[i] = N(larger)(lossy, unequal) + y.finite;
        }
}

#include "rf/numbers/vector_end.h"

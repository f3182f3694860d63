/* trl_loops.h: the body of trl_columns.c, included once for each kind of processor with KIND and TARGET defined (see vector.h).  No include
   guard: that is the point.
   Sources     as solve_trl.c and lines.c, with the factors that go out again left out (own derivation). */
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"
#include "rf/calibrate/lines/read_loops.h"

IN struct cx N(less)(struct cx a, double sign, struct cx b) { return cx(a.re - sign * b.re, a.im - sign * b.im); }

/* Everything that needs no more than the order of the pair's eigenvalues. */
HOT void N(trl_pair)(size_t n, const struct trl_columns *in)
{
        const double *turn = in->turn;
        double *nstd = in->nstd, *sinh2 = in->sinh2, *residual = in->residual_worst, *rms = in->residual_rms,
               *reciprocity = in->reciprocity;
        const struct cx one = cx(1, 0);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx t[4], l[4], w[4], u12, u21, v12, v21, w12, w21; /* the thru (c), the line (k), the reflect */
                N(line_read)(&in->line[0], i, t, &u12, &u21);
                N(line_read)(&in->line[1], i, l, &v12, &v21);
                N(line_read)(&in->reflect, i, w, &w12, &w21);
                struct cx t0 = t[0], t1 = t[1], t2 = t[2], t3 = t[3], det = N(mul)(u12, u21), kappa = N(mul)(u21, N(inv)(v21));
                struct cx k0 = N(mul)(kappa, l[0]), k1 = N(mul)(kappa, l[1]), k2 = N(mul)(kappa, l[2]), k3 = N(mul)(kappa, l[3]);
                double there = N(line_transmits)(t3, u21) + N(line_transmits)(l[3], v21);
                /* (T_k -+ T_c) adj T_c, as line_pair_of() */
                double alike = (N(along)(k0, t0) + N(along)(k1, t1)) + (N(along)(k2, t2) + N(along)(k3, t3)), sign = alike < 0 ? -1 : 1;
                struct cx d0 = N(less)(k0, sign, t0), d1 = N(less)(k1, sign, t1), d2 = N(less)(k2, sign, t2), d3 = N(less)(k3, sign, t3);
                struct cx p0 = N(sub_mul)(N(mul)(d0, t3), d1, t2), p1 = N(sub_mul)(N(mul)(d1, t0), d0, t1);
                struct cx p2 = N(sub_mul)(N(mul)(d2, t3), d3, t2), p3 = N(sub_mul)(N(mul)(d3, t0), d2, t1);
                struct cx half = cx((p0.re - p3.re) / 2, (p0.im - p3.im) / 2);
                struct cx mean = cx(sign * det.re + (p0.re + p3.re) / 2, sign * det.im + (p0.im + p3.im) / 2);
                struct cx root = N(root_of)(N(add_mul)(N(mul)(half, half), p1, p2));
                double with = N(along)(half, root) >= 0 ? 1 : -1; /* the order in which half + root does not cancel */
                root = cx(with * root.re, with * root.im);
                struct cx s = cx_add(half, root), minus = cx(-s.re, -s.im);
                double order = turn[i];
                bool kept = order >= 0;
                struct cx b1 = N(mul)(N(select)(kept, cx(-p1.re, -p1.im), s), N(inv)(N(select)(kept, s, p2)));
                struct cx ca1 = N(mul)(N(select)(kept, p2, minus), N(inv)(N(select)(kept, s, p1)));
                root = cx(order * root.re, order * root.im);
                /* e^-x with the sign of the eigenvalue (mean + root)/det, and x up to whole turns */
                struct cx q = N(mul)(root, N(inv)(mean)), h = N(inv)(N(root_of)(N(sub_mul)(one, q, q)));
                struct cx lambda = N(mul)(cx_add(mean, root), cx(det.re, -det.im));
                double same = N(along)(N(add_mul)(h, h, q), lambda) >= 0 ? 1 : -1;
                h = cx(same * h.re, same * h.im);
                struct cx hq = N(mul)(h, q), em = cx_add(h, hq), ep = cx_sub(h, hq);
                double q2 = N(norm2)(q), away = __builtin_fma(1 - q.re, 1 - q.re, q.im * q.im);
                N(put)(in->y, i, cx(-N(log_1p)(4 * q.re / away) / 4, (em.re >= 0 ? 0 : RF_PI) - N(angle)(2 * q.im, 1 - q2) / 2));
                N(put)(in->root, i, N(mul)(root, cx(det.re, -det.im)));
                double e2 = N(norm2)(em), f2 = N(norm2)(ep), n2 = 4 * N(norm2)(hq);
                nstd[i] = there + (__builtin_sqrt((3 * e2 + f2) / n2) + __builtin_sqrt((e2 + 3 * f2) / n2)) / 2;
                sinh2[i] = n2 / 4;
                /* X^{-1} T_thru, X^{-1} T_line */
                struct cx n0 = N(sub_mul)(t0, b1, t2), n1 = N(sub_mul)(t1, b1, t3), n2_ = N(sub_mul)(t2, ca1, t0),
                          n3 = N(sub_mul)(t3, ca1, t1);
                struct cx i0 = N(inv)(n0), i3 = N(inv)(n3), b2 = N(mul)(cx(-n2_.re, -n2_.im), i3), ca2 = N(mul)(cx(-n1.re, -n1.im), i0);
                struct cx x = N(sub_mul)(one, b1, ca1), yy = N(sub_mul)(one, b2, ca2); /* det X, det Y */
                /* the reflect through both boxes */
                struct cx g1 = w[1], g2 = cx(-w[2].re, -w[2].im), rd = w[3]; /* up to 1/d */
                struct cx u1 = N(mul)(N(sub_mul)(g1, b1, rd), N(inv)(N(sub_mul)(rd, ca1, g1)));
                struct cx of_2 = N(mul)(N(add_mul)(N(mul)(rd, n0), n1, g2), N(inv)(N(add_mul)(N(mul)(g2, n3), n2_, rd))); /* a1 a2/u2 */
                struct cx a1 = N(root_of)(N(mul)(u1, of_2)), a1_inv = N(inv)(a1), a2 = N(mul)(N(mul)(n0, i3), a1_inv);
                N(put)(in->b1, i, b1);
                N(put)(in->ca1, i, ca1);
                N(put)(in->b2, i, b2);
                N(put)(in->ca2, i, ca2);
                N(put)(in->a1, i, a1);
                N(put)(in->a2, i, a2);
                N(put)(in->etf, i, N(mul)(N(mul)(u21, x), i3));
                N(put)(in->solved, i, N(mul)(u1, a1_inv));
                /* the line as it is corrected, against e^-x */
                struct cx l0 = N(sub_mul)(k0, b1, k2), l1 = N(sub_mul)(k1, b1, k3), l2 = N(sub_mul)(k2, ca1, k0),
                          l3 = N(sub_mul)(k3, ca1, k1);
                struct cx m3 = N(inv)(N(add_mul)(l3, l2, ca2)), s11 = N(mul)(N(mul)(N(add_mul)(l1, l0, ca2), m3), a1_inv);
                struct cx s22 = N(mul)(N(mul)(N(add_mul)(l2, l3, b2), m3), N(mul)(N(mul)(a1, n3), i0));
                struct cx s21 = N(mul)(N(mul)(n3, yy), m3), s12 = N(mul)(N(mul)(N(mul)(N(mul)(kappa, u21), v12), N(mul)(x, i0)), m3);
                double worst =
                        N(larger)(N(larger)(N(norm2)(s11), N(norm2)(s22)), N(larger)(N(norm2)(cx_sub(s21, em)), N(norm2)(cx_sub(s12, em))));
                residual[i] = __builtin_sqrt(worst);
                rms[i] = __builtin_sqrt(worst / 2); /* the thru is met */
                reciprocity[i] = __builtin_sqrt(N(norm2)(cx_sub(s12, s21)));
        }
}

/* The sequel of orders and whole turns from `first` to `last` (either way): each point against its neighbour's x, whose phase grows with f
   and whose loss about with its root.  Branches, because they are foreseen: so no point waits for the one before.  sinh x' of the neighbour's
   x' = y + d lies on the side of sinh y wherever |cosh y sinh d| is less than |sinh y|, and |cosh y|^2 <= 1 + |sinh y|^2: seldom is there
   an exponential to be asked. */
HOT void N(trl_follow)(const struct trl_columns *in, size_t first, size_t last, struct cx x, double from_hz, bool *ret_turned)
{
        double whole = 0, per_m = 1 / in->dl_m; /* turns so far */
        for (size_t i = first;; i = last >= first ? i + 1 : i - 1) {
                double ratio = in->hz[i] / from_hz, sign = 1, im = in->y.im[i], re = in->y.re[i];
                struct cx next = cx(x.re * __builtin_sqrt(ratio), x.im * ratio);
                double d_re = next.re - re, d_im = next.im - im - RF_TWO_PI * whole, d2 = d_re * d_re + d_im * d_im;
                if (__builtin_expect(!(d2 < 0.09 && d2 * (1 + in->sinh2[i]) < 0.8 * in->sinh2[i]), 0)) {
                        struct cx e = N(e_to)(next), f = N(inv)(e);
                        if (N(along)(cx(in->root.re[i], in->root.im[i]), cx_sub(e, f)) > 0) {
                                sign = -1;
                                im = -im;
                                *ret_turned = true;
                        }
                        double off = (next.im - im) * (1 / RF_TWO_PI);
                        if (!(__builtin_fabs(off - whole) < 0.5))
                                whole = __builtin_floor(off + 0.5);
                }
                x = cx(sign * re, im + RF_TWO_PI * whole);
                in->turn[i] = sign;
                in->g.re[i] = x.re * per_m;
                in->g.im[i] = x.im * per_m;
                from_hz = in->hz[i];
                if (i == last)
                        break;
        }
}

/* e^{-2 g d} */
HOT void N(trl_moved)(size_t n, const struct trl_move *in)
{
        double k = -2 * in->d_m;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++)
                N(put)(in->to, i, N(e_to)(cx(k * in->g.re[i], k * in->g.im[i])));
}

/* What the propagation constant says; the reflect against its estimate, for the sign. */
HOT void N(trl_gamma)(size_t n, const struct trl_columns *in)
{
        const double *hz = in->hz, *sinh2 = in->sinh2;
        double *phase = in->phase_eff_deg, *condition = in->condition, *loss = in->loss_db_mm, *ratio = (double *)in->ratio;
        struct cx guess = cx(creal(in->guess), cimag(in->guess)), zc_g = cx(creal(in->zc_of_g), cimag(in->zc_of_g));
        struct cx zc_0 = cx(creal(in->zc_fixed), cimag(in->zc_fixed));
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx g = N(at)(in->g, i), e = N(mul)(guess, N(at)(in->offset, i)), r = N(mul)(N(at)(in->solved, i), cx(e.re, -e.im));
                double per_hz = 1 / hz[i], k = RF_C0_M_S / RF_TWO_PI * per_hz, size = 1 / N(norm2)(e);
                struct cx index = cx(g.re * k, g.im * k), square = N(mul)(index, index), z = N(mul)(cx(g.re * per_hz, g.im * per_hz), zc_g);
                N(put)(in->eps, i, cx(-square.re, -square.im));
                N(put)(in->zc, i, cx_add(zc_0, z));
                N(put)(in->estimate, i, e);
                ratio[2 * i] = r.re * size;
                ratio[2 * i + 1] = r.im * size;
                loss[i] = g.re * (RF_DB_PER_NEPER / 1000);
                double sine2 = sinh2[i] < 1 ? sinh2[i] : 1, sine = __builtin_sqrt(sine2);
                condition[i] = 1 / sine;
                phase[i] = N(angle)(sine, __builtin_sqrt(1 - sine2)) * (180 / RF_PI);
        }
}

/* The followed sign (in turn), then planes and impedance (line_terms()), then the terms (terms_from_boxes()). */
HOT void N(trl_terms)(size_t n, const struct trl_columns *in)
{
        const double *sign = in->turn;
        double *distance = in->reflect_distance, *angle = in->reflect_angle_deg, z_to = in->z_to_ohm;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                double turn = sign[i];
                struct cx shift = N(at)(in->shift, i), k1 = cx(turn * shift.re, turn * shift.im);
                struct cx xa = N(mul)(N(at)(in->a1, i), k1), xb = N(at)(in->b1, i), xc = N(mul)(N(at)(in->ca1, i), xa);
                struct cx ya = N(mul)(N(at)(in->a2, i), k1), yb = N(at)(in->b2, i), yc = N(mul)(N(at)(in->ca2, i), ya);
                struct cx zc = N(at)(in->zc, i), v = N(inv)(cx(z_to + zc.re, zc.im));
                struct cx q = N(mul)(cx(z_to - zc.re, -zc.im), v), vv = N(mul)(N(mul)(v, v), cx(4 * z_to * zc.re, 4 * z_to * zc.im));
                struct cx dx = N(inv)(N(add_mul)(cx(1, 0), q, xc)), dy = N(inv)(N(add_mul)(cx(1, 0), q, yc));
                struct cx a = N(mul)(N(add_mul)(xa, q, xb), dx), b = N(mul)(N(add_mul)(xb, q, xa), dx), c = N(mul)(cx_add(xc, q), dx);
                struct cx er1 = N(sub_mul)(a, b, c);
                N(put)(in->term[TERM_EDF], i, b);
                N(put)(in->term[TERM_ESF], i, cx(-c.re, -c.im));
                N(put)(in->term[TERM_ELR], i, cx(-c.re, -c.im));
                N(put)(in->term[TERM_ERF], i, er1);
                a = N(mul)(N(add_mul)(ya, q, yb), dy), b = N(mul)(N(add_mul)(yb, q, ya), dy), c = N(mul)(cx_add(yc, q), dy);
                struct cx er2 = N(sub_mul)(a, b, c), t = N(mul)(N(mul)(N(mul)(N(at)(in->etf, i), shift), vv), N(mul)(dx, dy));
                N(put)(in->term[TERM_EDR], i, b);
                N(put)(in->term[TERM_ESR], i, cx(-c.re, -c.im));
                N(put)(in->term[TERM_ELF], i, cx(-c.re, -c.im));
                N(put)(in->term[TERM_ERR], i, er2);
                N(put)(in->term[TERM_ETF], i, t);
                N(put)(in->term[TERM_K], i, N(mul)(t, N(inv)(er2)));
                N(put)(in->term[TERM_ETR], i, N(mul)(N(mul)(er1, er2), N(inv)(t)));
                N(put)(in->term[TERM_EXF], i, cx(0, 0));
                N(put)(in->term[TERM_EXR], i, cx(0, 0));
                struct cx r = cx(turn * in->solved.re[i], turn * in->solved.im[i]), e = N(at)(in->estimate, i),
                          off = N(mul)(r, cx(e.re, -e.im));
                N(put)(in->reflected, i, r);
                distance[i] = __builtin_sqrt(N(norm2)(cx_sub(r, e)));
                angle[i] = N(angle)(off.im, off.re) * (180 / RF_PI);
        }
}

#include "rf/numbers/vector_end.h"

/* Two calibrations compared: tests/reference/trust.json (source of its numbers in its header), and the truth over random passive devices.
 */
#include "rf_check.h"
#include "rf/trust/compare.h"

static double draw(uint64_t *seed)
{
        *seed += 0x9e3779b97f4a7c15u; /* splitmix64 */
        uint64_t z = *seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}
static double complex draw_normal(uint64_t *seed)
{
        double r = sqrt(-2 * log(1 - draw(seed)));
        return r * cexp(CMPLX(0, RF_TWO_PI * draw(seed)));
}

/* A random two-port scaled to a largest singular value of 1: passive, and on the edge of it. */
static struct m2 random_passive(uint64_t *seed)
{
        struct m2 s;
        double t = 0;
        for (int k = 0; k < 4; k++) {
                s.e[k] = draw_normal(seed);
                t += creal(s.e[k] * conj(s.e[k]));
        }
        double d = cabs(m2_det(s));
        return m2_scale(1 / sqrt((t + sqrt(fmax(0, t * t - 4 * d * d))) / 2), s);
}

static struct terms eight(struct arena *arena, const struct axis *axis)
{
        struct terms t = terms_at(arena_take(arena, terms_bytes(axis->n)), axis);
        t.method = "made up";
        t.model = TERMS_EIGHT;
        t.plane = PLANE_TIP;
        for (size_t i = 0; i < axis->n; i++) {
                t.z_re[i] = 50;
                t.z_im[i] = 0;
        }
        return t;
}

static void put(struct terms *t, enum term k, size_t i, double complex v)
{
        t->re[k][i] = creal(v);
        t->im[k][i] = cimag(v);
}

/* Maps of reflections w = (a G + b)/(c G + 1) and k = e10/e23. */
static void from_maps(struct terms *t, size_t i, struct m2 x, struct m2 y, double complex k)
{
        put(t, TERM_EDF, i, x.e[1]);
        put(t, TERM_ESF, i, -x.e[2]);
        put(t, TERM_ERF, i, x.e[0] - x.e[1] * x.e[2]);
        put(t, TERM_EDR, i, y.e[1]);
        put(t, TERM_ESR, i, -y.e[2]);
        put(t, TERM_ERR, i, y.e[0] - y.e[1] * y.e[2]);
        put(t, TERM_K, i, k);
        put(t, TERM_ELF, i, -y.e[2]);
        put(t, TERM_ETF, i, k * (y.e[0] - y.e[1] * y.e[2]));
        put(t, TERM_ELR, i, -x.e[2]);
        put(t, TERM_ETR, i, (x.e[0] - x.e[1] * x.e[2]) / k);
        put(t, TERM_EXF, i, 0);
        put(t, TERM_EXR, i, 0);
}

struct pair {
        struct arena *arena;
        cJSON *json;
        struct axis axis;
        double hz[8];
        struct terms one, two;
};
static struct pair pair_read(void)
{
        struct pair p = {.arena = arena_new(0), .json = check_json("trust.json")};
        const cJSON *cases = check_at(p.json, "cases");
        size_t n = 0;
        for (const cJSON *c = cases->child; c; c = c->next)
                p.hz[n++] = check_at(c, "f_hz")->valuedouble;
        return p.axis.n = n, p;
}
static void pair_fill(struct pair *p)
{
        assert_int_equal(axis_of(p->axis.n, p->hz, &p->axis, NULL), CODE_OK);
        p->one = eight(p->arena, &p->axis);
        p->two = eight(p->arena, &p->axis);
        size_t i = 0;
        for (const cJSON *c = check_at(p->json, "cases")->child; c; c = c->next, i++) {
                from_maps(&p->one, i, check_m2(check_at(c, "cal1_port1_abc1")), check_m2(check_at(c, "cal1_port2_abc1")),
                          check_complex(check_at(c, "k1")));
                from_maps(&p->two, i, check_m2(check_at(c, "cal2_port1_abc1")), check_m2(check_at(c, "cal2_port2_abc1")),
                          check_complex(check_at(c, "k2")));
        }
}
static void pair_free(struct pair *p)
{
        cJSON_Delete(p->json);
        arena_free(p->arena);
}

static void the_difference_of_two_calibrations_is_that_of_the_check_file(void **state)
{
        (void)state;
        struct pair p = pair_read();
        pair_fill(&p);
        struct rf_comparison all = rf_comparison_at(arena_take(p.arena, rf_comparison_bytes(p.axis.n)), &p.axis);
        struct tp_error err = {0};
        if (rf_compare(&p.one, NULL, &p.two, NULL, &all, &err))
                fail_msg("%s", err.text);
        size_t i = 0;
        for (const cJSON *c = check_at(p.json, "cases")->child; c; c = c->next, i++) {
                struct rf_comparison_point q;
                assert_true(rf_compare_point(&p.one, NULL, &p.two, NULL, i, &q));
                const cJSON *al = check_at(c, "alpha_minus_1")->child, *be = check_at(c, "beta")->child, *ga = check_at(c, "gamma")->child;
                for (int k = 0; k < 2; k++, al = al->next, be = be->next, ga = ga->next) {
                        check_close("al", p.hz[i], q.al[k], check_complex(al), 1e-12);
                        check_close("be", p.hz[i], q.be[k], check_complex(be), 1e-12);
                        check_close("ga", p.hz[i], q.ga[k], check_complex(ga), 1e-12);
                }
                /* found there by correcting S21 = 1e-9 in double precision: 1e-16/1e-9 */
                check_close("t21", p.hz[i], q.t21, check_complex(check_at(c, "t21_minus_1")), 2e-7);
                check_close("t12", p.hz[i], q.t12, check_complex(check_at(c, "t12_minus_1")), 2e-7);
                check_close("load forward", p.hz[i], q.load_f, 0, 1e-12); /* no switch terms: the load is the match */
                check_close("load reverse", p.hz[i], q.load_r, 0, 1e-12);
                const cJSON *b = check_at(c, "bound_S11_S12_S21_S22")->child,
                            *seen = check_at(c, "largest_seen_in_20000_random_passive_devices")->child;
                double exact[4];
                rf_compare_exact(&p.one, NULL, &p.two, NULL, i, exact);
                for (int k = 0; k < 4; k++, b = b->next, seen = seen->next) {
                        /* the file takes the best of 1001 steps of x, here it is the largest value itself; t21 as above */
                        check_close("bound", p.hz[i], all.bound[k][i], b->valuedouble, 1e-6);
                        assert_true(all.bound[k][i] >= b->valuedouble - 2e-7);
                        if (exact[k] < seen->valuedouble * 0.999)
                                fail_msg("%.4g GHz, entry %d: searched %.5g, a random device shows %.5g", p.hz[i] / 1e9, k, exact[k],
                                         seen->valuedouble);
                }
        }
        assert_true(strstr(all.sentence, "220 GHz") || strstr(all.sentence, "54 GHz") || strstr(all.sentence, "1 GHz"));
        pair_free(&p);
}

/* How good is the bound?  Printed, and held to what first order promises: near the truth from above, never far below. */
static void the_bound_is_near_the_truth(void **state)
{
        (void)state;
        struct pair p = pair_read();
        pair_fill(&p);
        uint64_t seed = 4;
        for (size_t i = 0; i < p.axis.n; i++) {
                struct rf_comparison_point q;
                double exact[4], random[4] = {0};
                rf_compare_point(&p.one, NULL, &p.two, NULL, i, &q);
                rf_compare_exact(&p.one, NULL, &p.two, NULL, i, exact);
                for (int r = 0; r < 20000; r++) {
                        struct m2 s = random_passive(&seed), d = m2_sub(rf_compare_device(&p.one, NULL, &p.two, NULL, i, s), s);
                        for (int k = 0; k < 4; k++)
                                random[k] = fmax(random[k], cabs(d.e[k]));
                }
                for (int k = 0; k < 4; k++) {
                        print_message("%5.4g GHz entry %d: bound %.5f, largest %.5f (ratio %.3f), 20000 random devices %.5f\n",
                                      p.hz[i] / 1e9, k, q.bound[k], exact[k], q.bound[k] / exact[k], random[k]);
                        assert_true(random[k] <= exact[k] * 1.001);
                        assert_true(q.bound[k] > 0.95 * exact[k] && q.bound[k] < 1.3 * exact[k]);
                }
        }
        pair_free(&p);
}

/* Switch terms apart: first order must agree with the exact difference to second order, for devices of every kind. */
static void switch_terms_and_leaks_take_part(void **state)
{
        (void)state;
        struct pair p = pair_read();
        pair_fill(&p);
        uint64_t seed = 9;
        for (int r = 0; r < 300; r++) {
                size_t i = (size_t)(r % 3);
                struct switch_terms sw[2];
                double gap[2];
                struct terms twelve = eight(p.arena, &p.axis);
                for (int size = 0; size < 2; size++) { /* a hundred times smaller differences leave ten thousand times less */
                        double h = size == 0 ? 1e-3 : 1e-5;
                        uint64_t same = 1000 + (uint64_t)r;
                        for (int k = 0; k < 2; k++) {
                                sw[k] = switch_terms_at(arena_take(p.arena, switch_terms_bytes(p.axis.n)), &p.axis);
                                double complex f = 0.2 * cexp(CMPLX(0, r)) + (k ? h * draw_normal(&same) : 0),
                                               g = 0.1 * cexp(CMPLX(0, 2 * r)) + (k ? h * draw_normal(&same) : 0);
                                sw[k].f_re[i] = creal(f), sw[k].f_im[i] = cimag(f), sw[k].r_re[i] = creal(g), sw[k].r_im[i] = cimag(g);
                        }
                        struct terms two = eight(p.arena, &p.axis);
                        for (int k = 0; k < TERM_COUNT; k++)
                                put(&two, (enum term)k, i,
                                    CMPLX(p.one.re[k][i], p.one.im[k][i]) + (k < TERM_ELF ? h * draw_normal(&same) : 0));
                        if (r % 2) { /* the second one as twelve terms with isolation */
                                double complex edr = CMPLX(two.re[TERM_EDR][i], two.im[TERM_EDR][i]),
                                               err_ = CMPLX(two.re[TERM_ERR][i], two.im[TERM_ERR][i]);
                                double complex edf = CMPLX(two.re[TERM_EDF][i], two.im[TERM_EDF][i]),
                                               erf_ = CMPLX(two.re[TERM_ERF][i], two.im[TERM_ERF][i]);
                                double complex k = CMPLX(two.re[TERM_K][i], two.im[TERM_K][i]), gf = CMPLX(sw[1].f_re[i], sw[1].f_im[i]),
                                               gr = CMPLX(sw[1].r_re[i], sw[1].r_im[i]);
                                put(&two, TERM_ELF, i, CMPLX(two.re[TERM_ESR][i], two.im[TERM_ESR][i]) + err_ * gf / (1 - edr * gf));
                                put(&two, TERM_ETF, i, k * err_ / (1 - edr * gf));
                                put(&two, TERM_ELR, i, CMPLX(two.re[TERM_ESF][i], two.im[TERM_ESF][i]) + erf_ * gr / (1 - edf * gr));
                                put(&two, TERM_ETR, i, erf_ / k / (1 - edf * gr));
                                put(&two, TERM_EXF, i, h * draw_normal(&same));
                                put(&two, TERM_EXR, i, h * draw_normal(&same));
                                two.model = TERMS_TWELVE;
                        }
                        twelve = two;
                        struct rf_comparison_point q;
                        assert_true(rf_compare_point(&p.one, &sw[0], &twelve, &sw[1], i, &q));
                        struct m2 s = random_passive(&seed), exact = m2_sub(rf_compare_device(&p.one, &sw[0], &twelve, &sw[1], i, s), s);
                        /* rf_correct2 says the same of the raw reading, by the other way round */
                        struct m2 raw = rf_switch_insert_point(rf_embed2_point(&p.one, i, s), CMPLX(sw[0].f_re[i], sw[0].f_im[i]),
                                                               CMPLX(sw[0].r_re[i], sw[0].r_im[i]));
                        if (twelve.model == TERMS_EIGHT) {
                                double complex k = CMPLX(two.re[TERM_K][i], two.im[TERM_K][i]);
                                put(&two, TERM_ELF, i, CMPLX(two.re[TERM_ESR][i], two.im[TERM_ESR][i]));
                                put(&two, TERM_ETF, i, k * CMPLX(two.re[TERM_ERR][i], two.im[TERM_ERR][i]));
                                put(&two, TERM_ELR, i, CMPLX(two.re[TERM_ESF][i], two.im[TERM_ESF][i]));
                                put(&two, TERM_ETR, i, CMPLX(two.re[TERM_ERF][i], two.im[TERM_ERF][i]) / k);
                                raw = rf_switch_remove_point(raw, CMPLX(sw[1].f_re[i], sw[1].f_im[i]), CMPLX(sw[1].r_re[i], sw[1].r_im[i]));
                        }
                        assert_true(m2_distance(m2_sub(rf_correct2_point(&two, i, raw), s), exact) < 1e-11);
                        double complex loop = s.e[1] * s.e[2];
                        struct m2 first = m2_of(q.be[0] + q.al[0] * s.e[0] - q.ga[0] * s.e[0] * s.e[0] - q.ga[1] * loop,
                                                s.e[1] * (q.t12 - q.ga[1] * s.e[3] - q.ga[0] * s.e[0]),
                                                s.e[2] * (q.t21 - q.ga[0] * s.e[0] - q.ga[1] * s.e[3]),
                                                q.be[1] + q.al[1] * s.e[3] - q.ga[1] * s.e[3] * s.e[3] - q.ga[0] * loop);
                        /* the loads: dS = S dA A^-1 with the waves at the tips */
                        double complex lf = CMPLX(two.re[TERM_ESR][i], two.im[TERM_ESR][i]),
                                       lr = CMPLX(two.re[TERM_ESF][i], two.im[TERM_ESF][i]);
                        double complex gf = CMPLX(sw[1].f_re[i], sw[1].f_im[i]), gr = CMPLX(sw[1].r_re[i], sw[1].r_im[i]);
                        lf += CMPLX(two.re[TERM_ERR][i], two.im[TERM_ERR][i]) * gf /
                              (1 - CMPLX(two.re[TERM_EDR][i], two.im[TERM_EDR][i]) * gf);
                        lr += CMPLX(two.re[TERM_ERF][i], two.im[TERM_ERF][i]) * gr /
                              (1 - CMPLX(two.re[TERM_EDF][i], two.im[TERM_EDF][i]) * gr);
                        double complex b2f = s.e[2] / (1 - s.e[3] * lf), b1r = s.e[1] / (1 - s.e[0] * lr);
                        struct m2 waves = m2_of(1, lr * b1r, lf * b2f, 1), change = m2_of(0, q.load_r * b1r, q.load_f * b2f, 0);
                        first = m2_add(first, m2_mul(s, m2_mul(change, m2_inv(waves))));
                        double complex around = lf * lr * b1r * b2f;
                        first.e[0] -= q.odd * lf * s.e[1] * b2f / (1 - around);
                        first.e[3] -= q.odd * lr * s.e[2] * b1r / (1 - around);
                        first.e[1] += q.odd * s.e[1] * around / (1 - around);
                        first.e[2] += q.odd * s.e[2] * around / (1 - around);
                        double complex esf = CMPLX(two.re[TERM_ESF][i], two.im[TERM_ESF][i]),
                                       esr = CMPLX(two.re[TERM_ESR][i], two.im[TERM_ESR][i]), det = m2_det(s);
                        double complex d1 = 1 - esf * s.e[0] - lf * s.e[3] + esf * lf * det,
                                       d2 = 1 - esr * s.e[3] - lr * s.e[0] + esr * lr * det;
                        waves = m2_of((1 - lf * s.e[3]) / d1, lr * s.e[1] / d2, lf * s.e[2] / d1, (1 - lr * s.e[0]) / d2);
                        struct m2 leak = m2_of(0, q.leak12, q.leak21, 0);
                        first = m2_add(first, m2_mul(m2_sub(leak, m2_mul(s, m2_of(0, lr * q.leak12, lf * q.leak21, 0))), m2_inv(waves)));
                        for (int k = 0; k < 4; k++) /* and the bound holds, up to second order */
                                assert_true(cabs(exact.e[k]) <= q.bound[k] + 2000 * h * h);
                        gap[size] = m2_distance(first, exact);
                        if (!(gap[size] < 2000 * h * h + 1e-13))
                                fail_msg("round %d, %s terms: first order leaves %.3g of differences of %.3g", r,
                                         twelve.model == TERMS_TWELVE ? "twelve" : "eight", gap[size], h);
                }
        }
        pair_free(&p);
}

static void what_cannot_be_compared_is_refused(void **state)
{
        (void)state;
        struct pair p = pair_read();
        pair_fill(&p);
        struct rf_comparison all = rf_comparison_at(arena_take(p.arena, rf_comparison_bytes(p.axis.n)), &p.axis);
        struct tp_error err = {0};
        p.two.plane = PLANE_LINE_MIDDLE;
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "plane"));
        p.two.plane = PLANE_TIP;
        p.two.z_re[1] = 51;
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "51 ohm"));
        p.two.z_re[1] = NAN;
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_BAD_INPUT);
        p.two.z_re[1] = 50;
        p.two.z_im[2] = -3;
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "real"));
        p.two.z_im[2] = 0;
        p.two.switch_removed = true;
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "switch terms"));
        p.two.switch_removed = false;
        p.two.model = TERMS_ONE_PORT;
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_BAD_INPUT);
        p.two.model = TERMS_EIGHT;
        struct axis other;
        double hz[3] = {1e9, 2e9, 3e9};
        assert_int_equal(axis_of(3, hz, &other, NULL), CODE_OK);
        struct terms elsewhere = p.two;
        elsewhere.axis = &other;
        assert_int_equal(rf_compare(&p.one, NULL, &elsewhere, NULL, &all, &err), CODE_BAD_INPUT);
        p.two.re[TERM_ESR][0] = NAN; /* one frequency without terms is left out and seen to be */
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_OK);
        assert_int_equal(all.point_n, p.axis.n - 1);
        assert_true(isnan(all.worst[0]) && isfinite(all.worst[1]));
        for (size_t i = 0; i < p.axis.n; i++)
                p.two.re[TERM_ESR][i] = NAN;
        assert_int_equal(rf_compare(&p.one, NULL, &p.two, NULL, &all, &err), CODE_UNRESOLVABLE);
        pair_free(&p);
}

/* The same calibrations written as sixteen terms give the same bound; leaks between all receivers and tips are bounded too. */
static void sixteen_terms_are_bounded_as_a_whole(void **state)
{
        (void)state;
        struct pair p = pair_read();
        pair_fill(&p);
        uint64_t seed = 21;
        for (size_t i = 0; i < p.axis.n; i++) {
                struct rf_comparison_point eight_of, full_of;
                struct terms one = p.one, two = p.two, *both[2] = {&one, &two};
                assert_true(rf_compare_point(&p.one, NULL, &p.two, NULL, i, &eight_of));
                for (int leaky = 0; leaky < 2; leaky++) {
                        for (int k = 0; k < 2; k++) {
                                const struct terms *t = k ? &p.two : &p.one;
                                double complex c = CMPLX(t->re[TERM_K][i], t->im[TERM_K][i]),
                                               edf = CMPLX(t->re[TERM_EDF][i], t->im[TERM_EDF][i]);
                                double complex esf = CMPLX(t->re[TERM_ESF][i], t->im[TERM_ESF][i]),
                                               edr = CMPLX(t->re[TERM_EDR][i], t->im[TERM_EDR][i]);
                                double complex esr = CMPLX(t->re[TERM_ESR][i], t->im[TERM_ESR][i]),
                                               erf_ = CMPLX(t->re[TERM_ERF][i], t->im[TERM_ERF][i]);
                                double complex err_ = CMPLX(t->re[TERM_ERR][i], t->im[TERM_ERR][i]);
                                double complex v[FULL_COUNT] = {erf_ - edf * esf,
                                                                0,
                                                                0,
                                                                c * (err_ - edr * esr),
                                                                edf,
                                                                0,
                                                                0,
                                                                c * edr,
                                                                -esf,
                                                                0,
                                                                0,
                                                                -c * esr,
                                                                1,
                                                                0,
                                                                0,
                                                                c};
                                for (int e = 0; e < FULL_COUNT; e++) {
                                        if (leaky && (e % 4 == 1 || e % 4 == 2))
                                                v[e] += (k ? 1.2e-3 : 1e-3) * draw_normal(&seed);
                                        both[k]->full_re[e][i] = creal(v[e]);
                                        both[k]->full_im[e][i] = cimag(v[e]);
                                }
                                both[k]->model = TERMS_SIXTEEN;
                        }
                        assert_true(rf_compare_point(&one, NULL, &two, NULL, i, &full_of));
                        if (!leaky)
                                for (int k = 0; k < 4; k++) /* up to second order: the common factor is chosen otherwise */
                                        check_close("bound of sixteen", p.hz[i], full_of.bound[k], eight_of.bound[k], 2e-3);
                        double exact[4];
                        rf_compare_exact(&one, NULL, &two, NULL, i, exact);
                        for (int r = 0; r < 2000; r++) {
                                struct m2 s = random_passive(&seed), d = m2_sub(rf_compare_device(&one, NULL, &two, NULL, i, s), s);
                                for (int k = 0; k < 4; k++) {
                                        assert_true(cabs(d.e[k]) <= exact[k] * 1.001 + 1e-12);
                                        assert_true(cabs(d.e[k]) <= full_of.bound[k] * 1.06);
                                }
                        }
                }
        }
        struct rf_comparison all = rf_comparison_at(arena_take(p.arena, rf_comparison_bytes(p.axis.n)), &p.axis);
        struct tp_error err = {0};
        struct terms one = p.one, two = p.two;
        one.model = TERMS_SIXTEEN;
        two.model = TERMS_TWELVE;
        assert_int_equal(rf_compare(&one, NULL, &two, NULL, &all, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "convert"));
        two.model = TERMS_EIGHT;
        struct switch_terms sw[2];
        for (int k = 0; k < 2; k++)
                sw[k] = switch_terms_at(arena_take(p.arena, switch_terms_bytes(p.axis.n)), &p.axis);
        sw[1].r_im[1] = 1e-3;
        assert_int_equal(rf_compare(&one, &sw[0], &two, &sw[1], &all, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_compare(&one, &sw[0], &two, &sw[0], &all, &err), CODE_OK);
        pair_free(&p);
}

static void a_calibration_differs_from_itself_by_nothing(void **state)
{
        (void)state;
        struct pair p = pair_read();
        pair_fill(&p);
        struct rf_comparison all = rf_comparison_at(arena_take(p.arena, rf_comparison_bytes(p.axis.n)), &p.axis);
        assert_int_equal(rf_compare(&p.one, NULL, &p.one, NULL, &all, NULL), CODE_OK);
        assert_true(all.worst_all < 1e-14);
        assert_non_null(strstr(all.sentence, "they are one"));
        pair_free(&p);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_difference_of_two_calibrations_is_that_of_the_check_file),
                                           cmocka_unit_test(the_bound_is_near_the_truth),
                                           cmocka_unit_test(switch_terms_and_leaks_take_part),
                                           cmocka_unit_test(what_cannot_be_compared_is_refused),
                                           cmocka_unit_test(sixteen_terms_are_bounded_as_a_whole),
                                           cmocka_unit_test(a_calibration_differs_from_itself_by_nothing)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

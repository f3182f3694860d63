/* A made-up run with a die of each kind as STDF: flags, bins and counts as the published specification's bits say them, and `tipplane stdf`'s
   reader on the way back.  What others read in the file of a real run: tests/judges/judge_stdf.py. */
#include "cli/run_stdf.h"
#include "formats/stdf.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

enum { DIES = 7, ASKED = 2 };
static struct asked asked[ASKED] = {{"L1", "L_10GHz", "L_10GHz", "H", 1e-10, NAN, 0, 10001, false, 0},
                                    {"L1", "Q_10GHz", "Q_10GHz at on", "1", NAN, 12, 0, 10002, false, 0}};
static struct result_die dies[DIES] = {{0, 0, RESULT_PASS, false, true},        {-1, 4, RESULT_FAIL, false, false},
                                       {2, 0, RESULT_MARGINAL, false, false},   {3, 0, RESULT_NO_VERDICT, false, false},
                                       {4, 0, RESULT_NO_CONTACT, false, false}, {5, 0, RESULT_NOT_MEASURED, false, false},
                                       {6, 0, RESULT_PASS, true, true}};
#define NUMBER(state, value, suspect)                   \
        {                                               \
                state, value, 0.1, 0.05, suspect, state \
        }
static struct found numbers[DIES * ASKED] = {NUMBER(RESULT_PASS, 2e-10, false),       NUMBER(RESULT_PASS, 11, false),
                                             NUMBER(RESULT_FAIL, 0.5e-10, false),     NUMBER(RESULT_FAIL, 13, false),
                                             NUMBER(RESULT_MARGINAL, 1.1e-10, false), NUMBER(RESULT_PASS, 11.5, false),
                                             NUMBER(RESULT_NO_VERDICT, NAN, false),   NUMBER(RESULT_NO_VERDICT, 7, false),
                                             NUMBER(RESULT_NO_CONTACT, NAN, false),   NUMBER(RESULT_NO_CONTACT, NAN, false),
                                             NUMBER(RESULT_NOT_MEASURED, NAN, false), NUMBER(RESULT_NOT_MEASURED, NAN, false),
                                             NUMBER(RESULT_PASS, 3e-10, true),        NUMBER(RESULT_FAIL, 14, true)};
static const struct results results = {.asked_n = ASKED, .die_n = DIES, .asked = asked, .die = dies, .of = numbers};
static const double test_s[DIES] = {1.5, 0, 0, NAN, -1, 0, 0};

static struct stdf_about about_of(const cJSON *map)
{
        struct stdf_about a = {.run = "R",
                               .lot = "LOT-7",
                               .recipe = "night",
                               .station = "under-test",
                               .version = "1",
                               .began_s = 10,
                               .first_touch_s = 20,
                               .last_touch_s = 30,
                               .ended_s = 40,
                               .test_s = test_s};
        stdf_about_wafer(map, &a);
        return a;
}

static bool is(struct stdf_bytes text, const char *word) { return text.n == strlen(word) && memcmp(text.at, word, text.n) == 0; }

static void every_verdict_has_its_bits(void **state)
{
        (void)state;
        static const uint8_t test_flags[DIES * ASKED] = {0, 0, 0x80, 0x80, 0x40, 0, 0x42, 0x40, 0x42, 0x42, 0x52, 0x52, 0x04, 0x84},
                                               parm_flags[DIES * ASKED] = {0xC0, 0xC0, 0xD0, 0xC8, 0xC0, 0xC0, 0xC0,
                                                                           0xC0, 0xC0, 0xC0, 0xC0, 0xC0, 0xC0, 0xC8},
                                               part_flags[DIES] = {0, 0x08, 0x10, 0x10, 0x10, 0x10, 0};
        static const uint16_t bin[DIES] = {1, 2, 3, 4, 5, 6, 1};
        cJSON *map = cJSON_Parse("{\"wafer\":\"W1\",\"diameter_mm\":50,\"notch_deg\":180,\"pitch_x_um\":9500,\"pitch_y_um\":11000,\"offset_"
                                 "x_um\":-20000,\"offset_y_um\":700}");
        struct stdf_about about = about_of(map);
        struct text t;
        struct tp_error err = {0};
        struct stdf_reader s;
        struct stdf_record r;
        size_t seen[STDF_KINDS] = {0}, test = 0, part = 0;
        bool has = true;
        text_init(&t, 0);
        if (run_stdf(&about, &results, &t, &err) || stdf_open(t.at, t.n, &s, &err))
                fail_msg("%s", err.text);
        for (;;) {
                if (stdf_next(&s, &r, &has, &err))
                        fail_msg("%s", err.text);
                if (!has)
                        break;
                seen[r.kind]++;
                if (r.kind == STDF_MIR)
                        assert_true(r.of.mir.setup_t == 10 && r.of.mir.start_t == 20 && is(r.of.mir.lot_id, "LOT-7") &&
                                    is(r.of.mir.user_txt, "all times are UTC; run R"));
                if (r.kind == STDF_WCR) {
                        assert_true(r.of.wcr.wafr_siz == 50 && r.of.wcr.die_wid == 9.5f && r.of.wcr.die_ht == 11 &&
                                    r.of.wcr.wf_units == 3 && r.of.wcr.wf_flat == 'L');
                        assert_true(r.of.wcr.center_x == 2 && r.of.wcr.center_y == 0 && r.of.wcr.pos_x == 'R' && r.of.wcr.pos_y == 'U');
                }
                if (r.kind == STDF_PTR) {
                        assert_int_equal(r.of.ptr.test_flg, test_flags[test]);
                        assert_int_equal(r.of.ptr.parm_flg, parm_flags[test]);
                        assert_int_equal(r.of.ptr.test_num, asked[test % ASKED].number);
                        assert_true(r.of.ptr.result == (isnan(numbers[test].value) ? 0 : (float)numbers[test].value));
                        assert_int_equal(r.field_n, test < ASKED ? 18 : 7);
                        if (test == 0)
                                assert_true(r.of.ptr.opt_flag == 0x8E && r.of.ptr.lo_limit == 1e-10f && r.of.ptr.res_scal == 12 &&
                                            is(r.of.ptr.units, "H") && is(r.of.ptr.test_txt, "L1 L_10GHz"));
                        if (test == 1)
                                assert_true(r.of.ptr.opt_flag == 0x4E && r.of.ptr.hi_limit == 12 && r.of.ptr.res_scal == 0 &&
                                            is(r.of.ptr.units, ""));
                        test++;
                }
                if (r.kind == STDF_PRR) {
                        assert_int_equal(r.of.prr.part_flg, part_flags[part]);
                        assert_true(r.of.prr.hard_bin == bin[part] && r.of.prr.soft_bin == bin[part] && r.of.prr.num_test == ASKED);
                        assert_true(r.of.prr.x_coord == dies[part].x && r.of.prr.y_coord == dies[part].y);
                        assert_int_equal(r.of.prr.test_t, part ? 0 : 1500);
                        part++;
                }
                if (r.kind == STDF_HBR)
                        assert_int_equal(r.of.hbr.hbin_cnt, r.of.hbr.hbin_num == 1 ? 2 : 1);
                if (r.kind == STDF_WRR)
                        assert_true(r.of.wrr.part_cnt == DIES && r.of.wrr.good_cnt == 2 && r.of.wrr.finish_t == 30);
                if (r.kind == STDF_PCR)
                        assert_true(r.of.pcr.head_num == 255 && r.of.pcr.part_cnt == DIES && r.of.pcr.good_cnt == 2);
                if (r.kind == STDF_TSR && r.of.tsr.test_num == 10002)
                        assert_true(r.of.tsr.exec_cnt == 6 && r.of.tsr.fail_cnt == 2 && r.of.tsr.test_min == 7 && r.of.tsr.test_max == 14 &&
                                    r.of.tsr.tst_sums == 11 + 13 + 11.5f + 7 + 14 && r.of.tsr.opt_flag == 0xCC);
                if (r.kind == STDF_MRR)
                        assert_true(r.of.mrr.finish_t == 40);
        }
        assert_true(test == DIES * ASKED && part == DIES && seen[STDF_PIR] == DIES && seen[STDF_HBR] == 6 && seen[STDF_SBR] == 6);
        assert_true(seen[STDF_TSR] == 2 && seen[STDF_PCR] == 1 && seen[STDF_MRR] == 1 && seen[STDF_WCR] == 1);
        text_done(&t);
        cJSON_Delete(map);
}

static void a_notch_elsewhere_and_a_die_too_far_are_said(void **state)
{
        (void)state;
        static const struct {
                const char *map;
                char flat;
        } rows[] = {{"{\"notch_deg\":0}", 'R'},
                    {"{\"notch_deg\":90}", 'U'},
                    {"{\"notch_deg\":270}", 'D'},
                    {"{\"notch_deg\":45}", ' '},
                    {"{}", ' '}};
        for (size_t i = 0; i < 5; i++) {
                cJSON *map = cJSON_Parse(rows[i].map);
                struct stdf_about about = about_of(map);
                assert_true(about.flat == rows[i].flat && about.centre_x == -32768 && about.centre_y == -32768);
                cJSON_Delete(map);
        }
        struct result_die far = {32768, 0, RESULT_PASS, false, false};
        struct results one = results;
        struct stdf_about about = about_of(NULL);
        struct tp_error err = {0};
        struct text t;
        text_init(&t, 0);
        one.die = &far;
        one.die_n = 1;
        assert_int_equal(run_stdf(&about, &one, &t, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "die 32768,0"));
        text_done(&t);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(every_verdict_has_its_bits),
                                           cmocka_unit_test(a_notch_elsewhere_and_a_die_too_far_are_said)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

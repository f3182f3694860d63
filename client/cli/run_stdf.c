/* run_stdf.c: see run_stdf.h.
 * Rule        Pass and fail are said as such; marginal and no contact are "no pass or fail", what was not measured is "not executed"; a
 *             suspect is "unreliable".  A part is what wafer/yield.c counts a die as, so that counts agree.
 * Units       results and limits in base units (henry, farad, ohm); the first PTR of a test says how to show them. */
#include "cli/run_stdf.h"
#include "formats/stdf.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { HEAD = 1, SITE = 1 };

static const struct {
        uint16_t number;
        char pass_fail;
        const char *name;
} bins[RESULT_STATES] = {
        [RESULT_PASS] = {1, 'P', "good"},
        [RESULT_FAIL] = {2, 'F', "fail"},
        [RESULT_MARGINAL] = {3, ' ', "marginal"},
        [RESULT_NO_VERDICT] = {4, ' ', "no verdict"},
        [RESULT_NO_CONTACT] = {5, ' ', "no contact"},
        [RESULT_NOT_MEASURED] = {6, ' ', "not measured"},
};

struct job {
        const struct stdf_about *about;
        const struct results *r;
        struct text *to;
        struct tp_error *err;
        enum code code; /* of the first that failed */
};

static void put(struct job *j, const struct stdf_record *record)
{
        if (!j->code)
                j->code = stdf_write(record, j->to, j->err);
}

/* Powers of ten that make a reader show n, p … of it. */
static int8_t scale_of(const char *unit)
{
        static const struct {
                const char *unit;
                int8_t scale;
        } rows[] = {{"H", 12}, {"F", 15}, {"s", 12}, {"S", 3}, {"Hz", -9}, {"H/m", 9}, {"F/m", 12}};
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
                if (strcmp(unit, rows[i].unit) == 0)
                        return rows[i].scale;
        return 0;
}

static void put_begin(struct job *j)
{
        const struct stdf_about *a = j->about;
        char note[120];
        struct stdf_record far = {.kind = STDF_FAR, .of.far = {2, 4}}, mir = stdf_blank(STDF_MIR), wcr = stdf_blank(STDF_WCR),
                           wir = stdf_blank(STDF_WIR);
        snprintf(note, sizeof note, "all times are UTC; run %.40s", a->run);
        mir.of.mir.setup_t = a->began_s;
        mir.of.mir.start_t = a->first_touch_s;
        mir.of.mir.stat_num = 1;
        mir.of.mir.mode_cod = 'P';
        mir.of.mir.lot_id = stdf_text(a->lot);
        mir.of.mir.part_typ = mir.of.mir.job_nam = stdf_text(a->recipe);
        mir.of.mir.node_nam = stdf_text(a->station);
        mir.of.mir.tstr_typ = stdf_text("probe station");
        mir.of.mir.exec_typ = stdf_text("tipplane");
        mir.of.mir.exec_ver = stdf_text(a->version);
        mir.of.mir.user_txt = stdf_text(note);
        wcr.of.wcr.wafr_siz = a->diameter_mm > 0 ? (float)a->diameter_mm : 0;
        wcr.of.wcr.die_wid = a->die_width_mm > 0 ? (float)a->die_width_mm : 0;
        wcr.of.wcr.die_ht = a->die_height_mm > 0 ? (float)a->die_height_mm : 0;
        wcr.of.wcr.wf_units = 3; /* millimetres */
        wcr.of.wcr.wf_flat = a->flat;
        wcr.of.wcr.center_x = (int16_t)a->centre_x;
        wcr.of.wcr.center_y = (int16_t)a->centre_y;
        wcr.of.wcr.pos_x = 'R';
        wcr.of.wcr.pos_y = 'U';
        wir.of.wir.head_num = HEAD;
        wir.of.wir.start_t = a->first_touch_s;
        wir.of.wir.wafer_id = stdf_text(a->wafer);
        put(j, &far);
        put(j, &mir);
        put(j, &wcr);
        put(j, &wir);
}

static uint8_t test_flags(const struct found *one)
{
        static const uint8_t flags[RESULT_STATES] = {
                [RESULT_PASS] = 0,
                [RESULT_FAIL] = STDF_TEST_FAILED,
                [RESULT_MARGINAL] = STDF_TEST_NO_VERDICT,
                [RESULT_NO_VERDICT] = STDF_TEST_NO_VERDICT,
                [RESULT_NO_CONTACT] = STDF_TEST_NO_VERDICT,
                [RESULT_NOT_MEASURED] = STDF_TEST_NO_VERDICT | STDF_TEST_NOT_DONE,
        };
        return (uint8_t)(flags[one->state] | (isfinite(one->value) ? 0 : STDF_TEST_INVALID) | (one->is_suspect ? STDF_TEST_UNRELIABLE : 0));
}

static void put_number(struct job *j, size_t d, size_t a)
{
        const struct asked *q = &j->r->asked[a];
        const struct found *one = &j->r->of[d * j->r->asked_n + a];
        struct stdf_record ptr = stdf_blank(STDF_PTR);
        char name[130];
        int8_t scale = scale_of(q->unit);
        snprintf(name, sizeof name, "%.40s %.80s", q->device, q->label);
        ptr.of.ptr.test_num = q->number;
        ptr.of.ptr.head_num = HEAD;
        ptr.of.ptr.site_num = SITE;
        ptr.of.ptr.test_flg = test_flags(one);
        ptr.of.ptr.parm_flg = (uint8_t)(STDF_PARM_LOW_PASSES | STDF_PARM_HIGH_PASSES | (one->value > q->high ? STDF_PARM_ABOVE : 0) |
                                        (one->value < q->low ? STDF_PARM_BELOW : 0));
        ptr.of.ptr.result = isfinite(one->value) ? (float)one->value : 0;
        ptr.of.ptr.test_txt = stdf_text(name);
        if (d == 0) { /* the first of a test says how to read all of them */
                ptr.of.ptr.opt_flag = (uint8_t)(STDF_OPT_RESERVED | STDF_OPT_NO_LO_SPEC | STDF_OPT_NO_HI_SPEC |
                                                (isnan(q->low) ? STDF_OPT_NO_LOW : 0) | (isnan(q->high) ? STDF_OPT_NO_HIGH : 0));
                ptr.of.ptr.res_scal = ptr.of.ptr.llm_scal = ptr.of.ptr.hlm_scal = scale;
                ptr.of.ptr.lo_limit = isnan(q->low) ? 0 : (float)q->low;
                ptr.of.ptr.hi_limit = isnan(q->high) ? 0 : (float)q->high;
                ptr.of.ptr.units = stdf_text(strcmp(q->unit, "1") == 0 ? "" : q->unit);
                ptr.of.ptr.c_resfmt = ptr.of.ptr.c_llmfmt = ptr.of.ptr.c_hlmfmt = stdf_text("%9.4f");
        }
        put(j, &ptr);
}

static void put_part(struct job *j, size_t d)
{
        const struct result_die *die = &j->r->die[d];
        double test_s = j->about->test_s[d];
        char id[16];
        struct stdf_record pir = {.kind = STDF_PIR, .of.pir = {HEAD, SITE}}, prr = stdf_blank(STDF_PRR);
        if (!j->code && (die->x <= STDF_NO_I2 || die->x > 32767 || die->y <= STDF_NO_I2 || die->y > 32767))
                j->code = tp_fail(j->err, CODE_BAD_INPUT, "die %d,%d: STDF has no coordinates beyond 32767", die->x, die->y);
        snprintf(id, sizeof id, "%zu", d + 1);
        put(j, &pir);
        for (size_t a = 0; a < j->r->asked_n; a++)
                put_number(j, d, a);
        prr.of.prr.head_num = HEAD;
        prr.of.prr.site_num = SITE;
        prr.of.prr.part_flg = die->state == RESULT_PASS ? 0 : die->state == RESULT_FAIL ? STDF_PART_FAILED : STDF_PART_NO_VERDICT;
        prr.of.prr.num_test = (uint16_t)j->r->asked_n;
        prr.of.prr.hard_bin = prr.of.prr.soft_bin = bins[die->state].number;
        prr.of.prr.x_coord = (int16_t)die->x;
        prr.of.prr.y_coord = (int16_t)die->y;
        prr.of.prr.test_t = test_s > 0 && test_s < 4e6 ? (uint32_t)lrint(1000 * test_s) : 0;
        prr.of.prr.part_id = stdf_text(id);
        put(j, &prr);
}

static void put_synopsis(struct job *j, size_t a)
{
        const struct asked *q = &j->r->asked[a];
        struct stdf_record tsr = stdf_blank(STDF_TSR);
        double least = INFINITY, most = -INFINITY, sum = 0, squares = 0;
        uint32_t done = 0, failed = 0, values = 0;
        char name[130];
        for (size_t d = 0; d < j->r->die_n; d++) {
                const struct found *one = &j->r->of[d * j->r->asked_n + a];
                done += one->state != RESULT_NOT_MEASURED;
                failed += one->state == RESULT_FAIL;
                if (!isfinite(one->value))
                        continue;
                values++;
                least = fmin(least, one->value);
                most = fmax(most, one->value);
                sum += one->value;
                squares += one->value * one->value;
        }
        snprintf(name, sizeof name, "%.40s %.80s", q->device, q->label);
        tsr.of.tsr.head_num = STDF_ALL_HEADS;
        tsr.of.tsr.test_typ = 'P';
        tsr.of.tsr.test_num = q->number;
        tsr.of.tsr.exec_cnt = done;
        tsr.of.tsr.fail_cnt = failed;
        tsr.of.tsr.test_nam = stdf_text(name);
        tsr.of.tsr.opt_flag = (uint8_t)(STDF_SYNOPSIS_RESERVED | STDF_SYNOPSIS_NO_TIME | (values ? 0 : STDF_SYNOPSIS_NO_VALUES));
        tsr.of.tsr.test_min = values ? (float)least : 0;
        tsr.of.tsr.test_max = values ? (float)most : 0;
        tsr.of.tsr.tst_sums = (float)sum;
        tsr.of.tsr.tst_sqrs = (float)squares;
        put(j, &tsr);
}

static void put_end(struct job *j)
{
        const struct stdf_about *a = j->about;
        uint32_t of_bin[RESULT_STATES] = {0}, parts = (uint32_t)j->r->die_n;
        struct stdf_record wrr = stdf_blank(STDF_WRR), pcr = stdf_blank(STDF_PCR), mrr = stdf_blank(STDF_MRR);
        for (size_t d = 0; d < j->r->die_n; d++)
                of_bin[j->r->die[d].state]++;
        wrr.of.wrr.head_num = HEAD;
        wrr.of.wrr.finish_t = a->last_touch_s;
        wrr.of.wrr.part_cnt = pcr.of.pcr.part_cnt = parts;
        wrr.of.wrr.rtst_cnt = pcr.of.pcr.rtst_cnt = wrr.of.wrr.abrt_cnt = pcr.of.pcr.abrt_cnt = 0; /* no part is in the file twice */
        wrr.of.wrr.good_cnt = pcr.of.pcr.good_cnt = of_bin[RESULT_PASS];
        wrr.of.wrr.wafer_id = stdf_text(a->wafer);
        put(j, &wrr);
        for (size_t q = 0; q < j->r->asked_n; q++)
                put_synopsis(j, q);
        for (int soft = 0; soft < 2; soft++)
                for (int s = 0; s < RESULT_STATES; s++) {
                        struct stdf_record bin = stdf_blank(soft ? STDF_SBR : STDF_HBR);
                        bin.of.hbr.head_num = STDF_ALL_HEADS; /* HBR and SBR have the same fields */
                        bin.of.hbr.hbin_num = bins[s].number;
                        bin.of.hbr.hbin_cnt = of_bin[s];
                        bin.of.hbr.hbin_pf = bins[s].pass_fail;
                        bin.of.hbr.hbin_nam = stdf_text(bins[s].name);
                        if (of_bin[s])
                                put(j, &bin);
                }
        pcr.of.pcr.head_num = STDF_ALL_HEADS;
        mrr.of.mrr.finish_t = a->ended_s;
        put(j, &pcr);
        put(j, &mrr);
}

enum code run_stdf(const struct stdf_about *about, const struct results *r, struct text *to, struct tp_error *err)
{
        struct job j = {.about = about, .r = r, .to = to, .err = err};
        put_begin(&j);
        for (size_t d = 0; d < r->die_n; d++)
                put_part(&j, d);
        put_end(&j);
        return j.code ? j.code : text_ok(to) ? CODE_OK : tp_fail_memory(err);
}

void stdf_about_wafer(const cJSON *map, struct stdf_about *ret)
{
        double pitch_x_um = have_real(map, "pitch_x_um"), pitch_y_um = have_real(map, "pitch_y_um");
        double notch_deg = fmod(have_real(map, "notch_deg"), 360);
        ret->wafer = have_text(map, "wafer");
        ret->diameter_mm = have_real(map, "diameter_mm");
        ret->die_width_mm = pitch_x_um / 1000;
        ret->die_height_mm = pitch_y_um / 1000;
        ret->flat = notch_deg == 0 ? 'R' : notch_deg == 90 ? 'U' : notch_deg == 180 ? 'L' : notch_deg == 270 ? 'D' : ' ';
        ret->centre_x = pitch_x_um > 0 ? (int)lrint(-have_real(map, "offset_x_um") / pitch_x_um) : STDF_NO_I2;
        ret->centre_y = pitch_y_um > 0 ? (int)lrint(-have_real(map, "offset_y_um") / pitch_y_um) : STDF_NO_I2;
}

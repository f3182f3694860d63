/* simulators_world.h: the smallest world that a simulated station can stand on in a unit test: a clock that sleeping moves, and plain
 * files. */
#ifndef TESTS_UNIT_SIMULATORS_WORLD_H
#define TESTS_UNIT_SIMULATORS_WORLD_H
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <cmocka.h>
#include "simulators/simulated.h"
#include "recipe/plan.h"
#include <complex.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct cancel {
        bool raised;
        int64_t at_ns;
};
struct test_world {
        struct world world;
        int64_t now_ns;
        struct cancel *cancel;
        bool full;
};

bool cancel_raised(const struct cancel *c) { return c && c->raised; }
static int64_t test_boot_ns(const struct world *w) { return ((const struct test_world *)w->ctx)->now_ns; }
static void test_sleep_until(const struct world *w, int64_t ns)
{
        struct test_world *t = w->ctx;
        t->now_ns = ns > t->now_ns ? ns : t->now_ns;
        if (t->cancel && t->now_ns >= t->cancel->at_ns)
                t->cancel->raised = true;
}
static struct lock *test_lock_new(const struct world *w) { return (struct lock *)w->ctx; }
static void test_lock(const struct world *w, struct lock *l) { (void)w, (void)l; }
static enum code test_make_dir(const struct world *w, const char *path, struct tp_error *err)
{
        (void)w, (void)err;
        return mkdir(path, 0700) == 0 || errno == EEXIST ? CODE_OK : CODE_DISK;
}
static enum code test_read(const struct world *w, const char *path, size_t max, struct text *ret, struct tp_error *err)
{
        char part[4096];
        size_t n;
        FILE *f = fopen(path, "rb");
        (void)w, (void)max;
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s is not there", path);
        while ((n = fread(part, 1, sizeof part, f)) > 0)
                text_bytes(ret, part, n);
        fclose(f);
        return CODE_OK;
}
static enum code test_put(const char *path, const char *how, const void *bytes, size_t n)
{
        FILE *f = fopen(path, how);
        if (!f || (n && fwrite(bytes, 1, n, f) != n))
                fail_msg("cannot write %s", path);
        fclose(f);
        return CODE_OK;
}
static enum code test_write(const struct world *w, const char *path, const void *bytes, size_t n, unsigned mode, struct tp_error *err)
{
        if (((struct test_world *)w->ctx)->full)
                return tp_fail(err, CODE_DISK_FULL, "full");
        test_put(path, "wb", bytes, n);
        return chmod(path, mode) == 0 ? CODE_OK : CODE_DISK;
}
static enum code test_append(const struct world *w, const char *path, const void *bytes, size_t n, struct tp_error *err)
{
        (void)w, (void)err;
        return test_put(path, "ab", bytes, n);
}
static const struct clock_ops test_clock = {.boot_ns = test_boot_ns};
static const struct task_ops test_task = {
        .sleep_until = test_sleep_until, .lock_new = test_lock_new, .lock_free = test_lock, .lock = test_lock, .unlock = test_lock};
static const struct file_ops test_file = {.make_dir = test_make_dir, .read = test_read, .write = test_write, .append = test_append};

static inline void test_world_init(struct test_world *t, bool virtual_time)
{
        memset(t, 0, sizeof *t);
        t->now_ns = 5 * NS_PER_S;
        t->world = (struct world){.clock = &test_clock, .task = &test_task, .file = &test_file, .virtual_time = virtual_time, .ctx = t};
}

/* A layout of its own, so that these tests stand when the demo changes. */
static const char test_layout[] = "{\"name\":\"test\",\"diameter_mm\":60,\"notch_deg\":270,\"edge_exclusion_mm\":3,\"pitch_x_um\":9400,"
                                  "\"pitch_y_um\":9600,\"street_um\":100,\"offset_x_um\":1500,"
                                  "\"offset_y_um\":-2000,\"reference_die\":{\"x\":0,\"y\":0},\"ladder_columns\":3,\"devices\":["
#define PADS                                                                                                                         \
        "\"touches_max\":40,\"footprint\":{\"order\":\"GSG\",\"pitch_um\":75,\"spacing_um\":200,\"ports\":2,\"orientation\":\"east_" \
        "west\",\"overtravel_um_max\":50}}"
                                  "{\"name\":\"OPEN\",\"kind\":\"open\",\"x_um\":-3000,\"y_um\":3000," PADS
                                  ",{\"name\":\"SHORT\",\"kind\":\"short\",\"x_um\":-3000,\"y_um\":2000," PADS
                                  ",{\"name\":\"L1\",\"kind\":\"inductor\",\"x_um\":-1000,\"y_um\":3000," PADS
                                  ",{\"name\":\"C1\",\"kind\":\"capacitor\",\"x_um\":1000,\"y_um\":3000," PADS
                                  ",{\"name\":\"R1\",\"kind\":\"resistor\",\"x_um\":1000,\"y_um\":2000," PADS
                                  ",{\"name\":\"TL1\",\"kind\":\"line\",\"length_um\":150,\"x_um\":3000,\"y_um\":3000," PADS
                                  ",{\"name\":\"LADDER\",\"kind\":\"ladder\",\"x_um\":3000,\"y_um\":-3000," PADS "]}";

/* A scenario on that layout; `more` is further members ("\"seed\":4," …), `faults` the inside of its list. */
static inline const char *test_scenario(const char *dir, const char *more, const char *faults, char ret[6000])
{
        char path[300];
        snprintf(path, sizeof path, "%s/layout.json", dir);
        test_put(path, "wb", test_layout, strlen(test_layout));
        snprintf(ret, 6000,
                 "{\"name\":\"test\",%s\"layout\":\"layout.json\",\"devices\":["
                 "{\"device\":\"L1\",\"r_ohm\":0.8,\"l_h\":2.9e-10,\"cp_f\":4.5e-15,\"skin_hz\":4e9,\"cox_f\":1.2e-14,\"rsub_ohm\":800,"
                 "\"csub_f\":4e-15},"
                 "{\"device\":\"C1\",\"c_f\":1.2e-13,\"r_ohm\":0.6,\"l_h\":6e-12,\"tan_delta\":0.002,\"cox_f\":4e-15,\"rsub_ohm\":300,"
                 "\"vc2\":2e-5},"
                 "{\"device\":\"R1\",\"r_ohm\":75,\"l_h\":9e-12,\"cp_f\":1.5e-15,\"cox_f\":3e-15,\"rsub_ohm\":500},"
                 "{\"device\":\"TL1\",\"r_ohm\":3000,\"l_h\":3.4e-7,\"c_f\":1.34e-10,\"skin_hz\":2e10,\"tan_delta\":0.004}],"
                 "\"standards\":[{\"name\":\"OPEN_AIR\",\"kind\":\"open\",\"x_um\":0,\"y_um\":-2000,\"raised\":true,\"c_f\":-6.5e-15,\"u_c_"
                 "f\":3e-16},"
                 "{\"name\":\"SHORT_A\",\"kind\":\"short\",\"l_h\":4e-12},{\"name\":\"LOAD_A\",\"kind\":\"load\",\"x_um\":1000,\"l_h\":6e-"
                 "12},"
                 "{\"name\":\"THRU_A\",\"kind\":\"thru\",\"x_um\":2000,\"delay_s\":1.45e-12,\"loss_ohm_s\":4e9,\"dc_ohm\":0.01}],"
                 "\"faults\":[%s]}",
                 more, faults);
        return ret;
}

/* What a sweep gave: columns in order of arrival. */
struct caught {
        char names[8][16];
        double complex data[8][1024];
        size_t n, points, bytes;
};
static inline enum code catch_begin(void *ctx, const struct block *block, struct tp_error *err)
{
        struct caught *c = ctx;
        (void)err;
        assert_true(c->n < 8 && block->points <= 1024 && block->dtype == C128_LE);
        memcpy(c->names[c->n], block->trace, sizeof c->names[0]);
        c->points = block->points;
        c->bytes = 0;
        return CODE_OK;
}
static inline enum code catch_chunk(void *ctx, const void *bytes, size_t n, struct tp_error *err)
{
        struct caught *c = ctx;
        (void)err;
        assert_true(c->bytes + n <= sizeof c->data[0]);
        memcpy((char *)c->data[c->n] + c->bytes, bytes, n);
        c->bytes += n;
        return CODE_OK;
}
static inline enum code catch_end(void *ctx, struct tp_error *err)
{
        struct caught *c = ctx;
        (void)err;
        assert_int_equal(c->bytes, c->points * 16);
        c->n++;
        return CODE_OK;
}

#endif

/* A calibration's domain: each thing that may differ, just inside and just outside, and what is not told. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "rf/trust/domain.h"

static struct domain demo(void)
{
        struct domain d = domain_unknown();
        d.from_hz = 70e3;
        d.to_hz = 220e9;
        snprintf(d.setup, sizeof d.setup, "gsg75");
        d.spacing_um = 200;
        d.temperature_c = 25;
        d.power_dbm[0] = -25;
        d.power_dbm[1] = -20;
        d.attenuator_db[0] = d.attenuator_db[1] = 10;
        return d;
}
static struct domain_sweep same(void)
{
        return (struct domain_sweep){.from_hz = 70e3,
                                     .to_hz = 220e9,
                                     .setup = "gsg75",
                                     .spacing_um = 200,
                                     .temperature_c = 25,
                                     .power_dbm = {-25, -20},
                                     .attenuator_db = {10, 10}};
}
static void refused(struct domain_sweep s, const char *value, const char *advice)
{
        struct domain d = demo();
        struct tp_error err = {0};
        if (domain_contains(&d, &s, &err) != CODE_BAD_INPUT || !strstr(err.text, value) || !strstr(err.text, advice))
                fail_msg("wanted \"%s\" and \"%s\", got \"%s\"", value, advice, err.text);
}
static void accepted(struct domain_sweep s)
{
        struct domain d = demo();
        struct tp_error err = {0};
        if (domain_contains(&d, &s, &err))
                fail_msg("%s", err.text);
}
#define WITH(member, value)                     \
        ({                                      \
                struct domain_sweep w = same(); \
                w.member = value;               \
                w;                              \
        })

static void what_fits_is_accepted(void **state)
{
        (void)state;
        accepted(same());
        accepted(WITH(from_hz, 1e9));
        accepted(WITH(to_hz, 220e9 * (1 + 1e-12)));
        accepted(WITH(temperature_c, 26.9));
        accepted(WITH(power_dbm[1], -10.1));
        accepted(WITH(power_dbm[0], -34.9));
        accepted(WITH(spacing_um, 200.4));
}

static void what_does_not_fit_is_refused_with_its_value(void **state)
{
        (void)state;
        refused(WITH(to_hz, 231e9), "231 GHz", "calibrate over a wider sweep");
        refused(WITH(from_hz, 10e3), "1e-05 GHz", "begin higher");
        refused(WITH(from_hz, NAN), "nan", "calibrate over a wider sweep");
        refused(WITH(setup, "gsg100"), "gsg100", "calibrate this setup");
        refused(WITH(spacing_um, 450), "450 um", "ends a calibration");
        refused(WITH(temperature_c, 85), "85", "calibrate at this temperature");
        refused(WITH(temperature_c, 22.9), "22.9", "within 2 K");
        refused(WITH(power_dbm[1], -9), "-9 dBm", "calibrate at this power");
        refused(WITH(power_dbm[0], -36), "-36 dBm", "calibrate at this power");
        refused(WITH(attenuator_db[1], 0), "port 2", "set it back");
}

static void what_is_not_told_is_not_compared(void **state)
{
        (void)state;
        struct domain_sweep s = domain_sweep_unknown();
        s.from_hz = 1e9;
        s.to_hz = 2e9;
        accepted(s);
        struct domain d = domain_unknown();
        struct tp_error err = {0};
        s = same();
        assert_int_equal(domain_contains(&d, &s, &err), CODE_BAD_INPUT); /* no frequency at all */
        d.from_hz = 70e3;
        d.to_hz = 220e9;
        assert_int_equal(domain_contains(&d, &s, &err), CODE_OK);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(what_fits_is_accepted),
                                           cmocka_unit_test(what_does_not_fit_is_refused_with_its_value),
                                           cmocka_unit_test(what_is_not_told_is_not_compared)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

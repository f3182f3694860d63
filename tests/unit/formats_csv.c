/* CSV by RFC 4180: what is written comes back; formulas and ragged rows are refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "formats/csv.h"

static void cells_come_back(void **state)
{
        (void)state;
        struct text text;
        text_init(&text, 0);
        struct csv_out o = csv_to(&text);
        static const char *const cells[] = {"plain", "a,b", "say \"no\"", "two\r\nlines", "", "f_hz"};
        for (int k = 0; k < 6; k++)
                csv_text(&o, cells[k]);
        csv_end_row(&o);
        csv_real(&o, 0.1);
        csv_real(&o, NAN);
        csv_int(&o, -42);
        csv_text(&o, NULL);
        csv_real(&o, -1e-300);
        csv_text(&o, "x");
        csv_end_row(&o);
        assert_true(csv_ok(&o));
        assert_non_null(strstr(text_of(&text), "0.10000000000000001,,-42,,"));
        struct arena *arena = arena_new(0);
        struct csv csv;
        struct tp_error err = {0};
        assert_int_equal(csv_read(text.at, text.n, false, arena, &csv, &err), CODE_OK);
        assert_int_equal(csv.row_n, 2);
        assert_int_equal(csv.column_n, 6);
        for (size_t k = 0; k < 6; k++)
                assert_string_equal(csv_cell(&csv, 0, k), cells[k]);
        assert_true(atof(csv_cell(&csv, 1, 0)) == 0.1 && atof(csv_cell(&csv, 1, 4)) == -1e-300);
        arena_free(arena);
        text_done(&text);
}

static void formulas_ragged_rows_and_infinities_break_the_table(void **state)
{
        (void)state;
        static const char *const formulas[] = {"=1+1", "+1", "-1", "@x", "\tx"};
        struct text text;
        for (int k = 0; k < 7; k++) {
                text_init(&text, 0);
                struct csv_out o = csv_to(&text);
                csv_text(&o, "head");
                csv_end_row(&o);
                if (k < 5)
                        csv_text(&o, formulas[k]);
                else if (k == 5)
                        csv_real(&o, INFINITY);
                else
                        csv_int(&o, 1), csv_int(&o, 2);
                csv_end_row(&o);
                assert_false(csv_ok(&o));
                text_done(&text);
        }
}

static void bad_tables_are_refused_with_their_line(void **state)
{
        (void)state;
        static const struct {
                const char *text, *say;
        } bad[] = {{"", "empty"},
                   {"a,b\n1\n", "line 2: 1 cells"},
                   {"a\n\"open\n", "line 2"},
                   {"a\nx\"y\n", "line 2: a quote"},
                   {"a\n\"x\"y\n", "line 2: text after"},
                   {"# only\n", "empty"}};
        for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
                struct arena *arena = arena_new(0);
                struct csv csv;
                struct tp_error err = {0};
                assert_int_equal(csv_read(bad[k].text, strlen(bad[k].text), true, arena, &csv, &err), CODE_BAD_INPUT);
                if (!strstr(err.text, bad[k].say))
                        fail_msg("\"%s\" gave \"%s\"", bad[k].text, err.text);
                arena_free(arena);
        }
        struct arena *arena = arena_new(0);
        struct csv csv;
        assert_int_equal(csv_read("# c\nf,x\r\n1,2", 12, true, arena, &csv, NULL), CODE_OK);
        assert_string_equal(csv_cell(&csv, 1, 1), "2");
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(cells_come_back),
                cmocka_unit_test(formulas_ragged_rows_and_infinities_break_the_table),
                cmocka_unit_test(bad_tables_are_refused_with_their_line),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

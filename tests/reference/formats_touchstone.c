/* touchstone.json: small texts and what a reader must return, some to refuse.  Each that is read is written again, as its own version and
   as 2.1, and read back. */
#include "rf_check.h"
#include "formats/touchstone.h"

static void same_file(const char *name, const struct touchstone *a, const struct touchstone *b, double tolerance)
{
        assert_int_equal(a->ports, b->ports);
        assert_int_equal(a->parameter, b->parameter);
        assert_true(axis_equal(&a->axis, &b->axis));
        assert_int_equal(a->noise_n, b->noise_n);
        for (unsigned p = 0; p < a->ports; p++)
                assert_true(a->r_ohm[p] == b->r_ohm[p]);
        for (size_t i = 0; i < a->axis.n; i++)
                for (unsigned k = 0; k < a->ports * a->ports; k++)
                        check_close(name, a->axis.hz[i], CMPLX(b->re[k][i], b->im[k][i]), CMPLX(a->re[k][i], a->im[k][i]), tolerance);
        for (size_t i = 0; i < a->noise_n; i++)
                check_relative(name, a->noise[i].hz, b->noise[i].rn_ohm, a->noise[i].rn_ohm, 4e-16);
}

static void written_and_read_again(const char *name, const struct touchstone *file, struct arena *arena)
{
        struct touchstone copy = *file, back;
        struct tp_error err = {0};
        for (int as_2 = 0; as_2 < 2; as_2++) {
                struct text text;
                text_init(&text, 0);
                if (as_2)
                        copy.version = 21;
                if (touchstone_write(&copy, NULL, &text, &err) ||
                    touchstone_read(text_of(&text), text.n, as_2 ? 0 : file->ports, arena, &back, &err))
                        fail_msg("%s: %s", name, err.text);
                /* bit for bit, but for the normalisation of version 1 */
                same_file(name, file, &back, file->parameter == 'S' || as_2 ? 0 : 3e-16);
                text_done(&text);
        }
}

static void texts_are_read_or_refused(void **state)
{
        (void)state;
        cJSON *json = check_json("touchstone.json");
        size_t read = 0, refused = 0;
        for (const cJSON *c = check_at(json, "cases")->child; c; c = c->next) {
                struct arena *arena = arena_new(0);
                struct tp_error err = {0};
                struct touchstone file;
                const char *text = check_at(c, "text")->valuestring, *name = check_at(c, "name")->valuestring;
                unsigned ports = (unsigned)check_at(c, "ports")->valueint;
                bool ts = strcmp(check_at(c, "file_extension")->valuestring, "ts") == 0, reject = cJSON_IsTrue(check_at(c, "reject"));
                enum code code = touchstone_read(text, strlen(text), ts ? 0 : ports, arena, &file, &err);
                if (reject) {
                        assert_int_equal(code, CODE_BAD_INPUT);
                        if (strncmp(err.text, "line ", 5) != 0)
                                fail_msg("%s: \"%s\" does not say the line", name, err.text);
                        refused++;
                        arena_free(arena);
                        continue;
                }
                if (code)
                        fail_msg("%s: %s", name, err.text);
                assert_int_equal(file.parameter, check_at(c, "parameter")->valuestring[0]);
                assert_int_equal(file.axis.n, cJSON_GetArraySize(check_at(c, "f_hz")));
                for (unsigned p = 0; p < ports; p++)
                        assert_true(file.r_ohm[p] == cJSON_GetArrayItem(check_at(c, "reference_ohm"), (int)p)->valuedouble);
                for (size_t i = 0; i < file.axis.n; i++) {
                        check_relative("f", file.axis.hz[i], file.axis.hz[i], cJSON_GetArrayItem(check_at(c, "f_hz"), (int)i)->valuedouble,
                                       1e-15);
                        const cJSON *m = cJSON_GetArrayItem(check_at(c, "matrix_rows"), (int)i);
                        for (unsigned r = 0; r < ports; r++)
                                for (unsigned k = 0; k < ports; k++)
                                        check_close(name, file.axis.hz[i], CMPLX(file.re[r * ports + k][i], file.im[r * ports + k][i]),
                                                    check_complex(cJSON_GetArrayItem(cJSON_GetArrayItem(m, (int)r), (int)k)), 1e-15);
                }
                assert_int_equal(file.ports, ports);
                assert_true((file.version >= 20) == ts);
                written_and_read_again(name, &file, arena);
                assert_int_equal(file.noise_n, strcmp(name, "v1_noise_block") == 0 ? 2 : 0);
                read++;
                arena_free(arena);
        }
        assert_int_equal(read, 14);
        assert_int_equal(refused, 3);
        cJSON_Delete(json);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(texts_are_read_or_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

/* touchstone.json: small texts and what a reader must return, some to refuse.  Version 2 texts are refused as a whole (only version 1 is
   read so far), and that is checked too. */
#include "rf_check.h"
#include "formats/touchstone.h"

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
                bool v2 = strstr(text, "[Version]") != NULL, reject = v2 || cJSON_IsTrue(check_at(c, "reject"));
                enum code code = touchstone_read(text, strlen(text), ports, arena, &file, &err);
                if (reject) {
                        assert_int_equal(code, CODE_BAD_INPUT);
                        if (strncmp(err.text, "line ", 5) != 0)
                                fail_msg("%s: \"%s\" does not say the line", name, err.text);
                        if (v2)
                                assert_non_null(strstr(err.text, "Touchstone 2"));
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
                assert_int_equal(file.noise_n, strcmp(name, "v1_noise_block") == 0 ? 2 : 0);
                read++;
                arena_free(arena);
        }
        assert_int_equal(read, 9);
        assert_int_equal(refused, 8);
        cJSON_Delete(json);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(texts_are_read_or_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}

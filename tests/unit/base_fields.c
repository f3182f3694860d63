/* One table reads, checks, writes and describes a struct. */
#include "base/fields.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

struct device {
        char name[16];
        double offset_um[2];
        int32_t ports;
};
struct chuck {
        double set_c, soak_s;
        bool heats;
};
struct doc {
        char title[24], id[12];
        bool is_draft;
        int32_t count, kind;
        int64_t serial;
        double pitch_um;
        double *none; /* so that offsets are not all in order */
        struct chuck chuck;
        struct device *devices;
        size_t device_n;
        double limits[4];
        size_t limit_n;
        uint8_t digest[4];
        double ripple_db;
        bool has_ripple_db, has_chuck;
};
static const struct field device_fields[] = {
        {.key = "name", .type = FIELD_NAME, .offset = offsetof(struct device, name), .size = 16, .required = true},
        {.key = "offset_um",
         .type = FIELD_REALS,
         .offset = offsetof(struct device, offset_um),
         .size = sizeof(double[2]),
         .min = -1e5,
         .max = 1e5,
         .unit = "um"},
        {.key = "ports", .type = FIELD_I32, .offset = offsetof(struct device, ports), .min = 1, .max = 2, .standard = 2},
};
static const struct object device_object = {"device", "a test structure", sizeof(struct device), device_fields, 3};
static const struct field chuck_fields[] = {
        {.key = "set_c", .type = FIELD_REAL, .offset = offsetof(struct chuck, set_c), .min = -60, .max = 300, .standard = 25, .unit = "C"},
        {.key = "soak_s", .type = FIELD_REAL, .offset = offsetof(struct chuck, soak_s), .standard = NAN, .unit = "s"},
        {.key = "heats", .type = FIELD_BOOL, .offset = offsetof(struct chuck, heats), .standard = 1},
};
static const struct object chuck_object = {"chuck", NULL, sizeof(struct chuck), chuck_fields, 3};
static const char *const kinds[] = {"unknown", "wafer", "calibration", NULL};
static const struct field doc_fields[] = {
        {.key = "title",
         .type = FIELD_TEXT,
         .offset = offsetof(struct doc, title),
         .size = 24,
         .standard_text = "untitled",
         .say = "what people call it"},
        {.key = "id", .type = FIELD_NAME, .offset = offsetof(struct doc, id), .size = 12, .required = true},
        {.key = "is_draft", .type = FIELD_BOOL, .offset = offsetof(struct doc, is_draft)},
        {.key = "count", .type = FIELD_I32, .offset = offsetof(struct doc, count)},
        {.key = "kind", .type = FIELD_CHOICE, .offset = offsetof(struct doc, kind), .words = kinds, .standard = 1},
        {.key = "serial", .type = FIELD_I64, .offset = offsetof(struct doc, serial)},
        {.key = "pitch_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct doc, pitch_um),
         .required = true,
         .min = 1,
         .max = 100000,
         .unit = "um",
         .say = "the die pitch"},
        {.key = "chuck",
         .type = FIELD_OBJECT,
         .offset = offsetof(struct doc, chuck),
         .object = &chuck_object,
         .has_offset = offsetof(struct doc, has_chuck)},
        {.key = "devices",
         .type = FIELD_LIST,
         .offset = offsetof(struct doc, devices),
         .object = &device_object,
         .count_offset = offsetof(struct doc, device_n),
         .min = 1,
         .max = 3},
        {.key = "limits",
         .type = FIELD_REALS,
         .offset = offsetof(struct doc, limits),
         .size = sizeof(double[4]),
         .count_offset = offsetof(struct doc, limit_n)},
        {.key = "digest", .type = FIELD_HEX, .offset = offsetof(struct doc, digest), .size = 4},
        {.key = "ripple_db",
         .type = FIELD_REAL,
         .offset = offsetof(struct doc, ripple_db),
         .has_offset = offsetof(struct doc, has_ripple_db),
         .unit = "dB"},
};
static const struct object doc_object = {"doc", "a document for this test", sizeof(struct doc), doc_fields,
                                         sizeof doc_fields / sizeof doc_fields[0]};

static enum code read_doc(const char *text, struct arena *a, struct doc *ret, struct tp_error *err)
{
        return fields_read_text(&doc_object, text, strlen(text), a, ret, err);
}

static void absent_fields_hold_their_standards(void **state)
{
        struct arena *a = arena_new(0);
        struct doc d;
        struct tp_error err;
        (void)state;
        assert_int_equal(read_doc("{\"id\":\"W-1\",\"pitch_um\":5000}", a, &d, &err), CODE_OK);
        assert_string_equal(d.title, "untitled");
        assert_string_equal(d.id, "W-1");
        assert_int_equal(d.kind, 1);
        assert_false(d.has_ripple_db || d.has_chuck || d.is_draft);
        assert_true(d.chuck.set_c == 25 && d.chuck.heats && isnan(d.chuck.soak_s)); /* also inside an absent object */
        assert_null(d.devices);
        arena_free(a);
}

static void what_is_written_is_read_back(void **state)
{
        static const char full[] =
                "{\"title\":\"L\xC3\xA4nge "
                "\\\"x\\\"\",\"id\":\"W.1_a+b\",\"is_draft\":true,\"count\":-2147483648,\"kind\":\"unknown\",\"serial\":9007199254740992,"
                "\"pitch_um\":0.1e4,\"chuck\":{\"set_c\":-40,\"heats\":false},"
                "\"devices\":[{\"name\":\"L7\",\"offset_um\":[1.5,-2],\"ports\":1},{\"name\":\"open\"}],\"limits\":[1,2,3],\"digest\":"
                "\"00fFa0b1\",\"ripple_db\":0}";
        struct arena *a = arena_new(0);
        struct doc d, back;
        struct tp_error err;
        struct text once, twice;
        (void)state;
        text_init(&once, 0);
        text_init(&twice, 0);
        if (read_doc(full, a, &d, &err))
                fail_msg("%s", err.text);
        assert_true(d.has_ripple_db && d.ripple_db == 0 && d.has_chuck && !d.chuck.heats && d.chuck.set_c == -40);
        assert_int_equal(d.device_n, 2);
        assert_string_equal(d.devices[1].name, "open");
        assert_int_equal(d.devices[1].ports, 2);
        assert_true(d.devices[0].offset_um[1] == -2 && d.limit_n == 3 && d.pitch_um == 1000 && d.serial == INT64_C(1) << 53);
        assert_memory_equal(d.digest, "\x00\xff\xa0\xb1", 4);
        struct json_out o = json_to(&once);
        fields_write(&doc_object, &d, &o, NULL);
        assert_true(text_ok(&once));
        if (read_doc(text_of(&once), a, &back, &err))
                fail_msg("%s: %s", text_of(&once), err.text);
        assert_string_equal(back.title, "L\xC3\xA4nge \"x\"");
        o = json_to(&twice);
        fields_write(&doc_object, &back, &o, NULL);
        assert_string_equal(text_of(&once), text_of(&twice));
        d.pitch_um = NAN; /* not known never becomes a number on the way */
        text_clear(&once);
        o = json_to(&once);
        fields_write(&doc_object, &d, &o, NULL);
        assert_non_null(strstr(text_of(&once), "\"pitch_um\":null"));
        assert_int_equal(read_doc(text_of(&once), a, &back, &err), CODE_BAD_INPUT);
        text_done(&once);
        text_done(&twice);
        arena_free(a);
}

static const struct {
        const char *text, *pointer, *words[4];
} refusals[] = {
        {"[]", "", {"a list of 0", "object"}},
        {"{\"id\":\"a\"}", "/pitch_um", {"/pitch_um", "missing", "um", "the die pitch"}},
        {"{\"id\":\"a\",\"pitch_um\":0}", "/pitch_um", {"/pitch_um", "0 um", "1 um to 100000 um"}},
        {"{\"id\":\"a\",\"pitch_um\":100000.5}", "/pitch_um", {"100000.5 um", "1 um to 100000 um"}},
        {"{\"id\":\"a\",\"pitch_um\":\"5\"}", "/pitch_um", {"\"5\"", "a number in um"}},
        {"{\"id\":\"a\",\"pitch_um\":null}", "/pitch_um", {"null", "a number in um"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"ripple_db\":null}", "/ripple_db", {"null", "leave the key out"}},
        {"{\"id\":\"a\",\"pich_um\":5}", "/pich_um", {"unknown key \"pich_um\"", "nearest is \"pitch_um\""}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"chuck\":{\"heat\":true}}", "/chuck/heat", {"\"heat\"", "\"heats\""}},
        {"{\"id\":\"a\",\"a/~b\":5}", "/a~1~0b", {"\"a/~b\""}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"chuck\":{\"set_c\":301}}", "/chuck/set_c", {"301 C", "-60 C to 300 C"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"chuck\":true}", "/chuck", {"true", "chuck"}},
        {"{\"id\":\"=cmd()\",\"pitch_um\":5}", "/id", {"\"=cmd()\"", "A-Z a-z 0-9"}},
        {"{\"id\":\"\",\"pitch_um\":5}", "/id", {"\"\""}},
        {"{\"id\":\"123456789012\",\"pitch_um\":5}", "/id", {"12 bytes", "at most 11"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"title\":\"a\\nb\"}", "/title", {"U+000A", "byte 2"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"title\":\"a\\u202eb\"}", "/title", {"U+202E"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"title\":7}", "/title", {"7", "a text"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"count\":1.5}", "/count", {"1.5", "whole number"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"count\":2147483648}", "/count", {"2147483648", "2147483647"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"serial\":1e16}", "/serial", {"1e+16", "9007199254740992"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"kind\":5}", "/kind", {"5 is not one of the words", "unknown, wafer, calibration"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"kind\":null}", "/kind", {"null", "unknown, wafer, calibration"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"kind\":\"waver\"}", "/kind", {"\"waver\"", "unknown, wafer, calibration"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"is_draft\":1}", "/is_draft", {"1", "true or false"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"devices\":[]}", "/devices", {"a list of 0", "1 to 3"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"devices\":{}}", "/devices", {"an object", "a list"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"devices\":[{\"name\":\"x\"},{\"name\":\"y\",\"ports\":3}]}", "/devices/1/ports", {"3", "1 to 2"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"devices\":[{\"name\":\"x\",\"offset_um\":[1]}]}",
         "/devices/0/offset_um",
         {"a list of 1", "2 are wanted"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"devices\":[{\"name\":\"x\",\"offset_um\":[1,1e6]}]}",
         "/devices/0/offset_um/1",
         {"1000000 um", "100000 um"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"limits\":[1,2,3,4,5]}", "/limits", {"a list of 5", "at most 4"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"digest\":\"00ff\"}", "/digest", {"\"00ff\"", "8 hex digits"}},
        {"{\"id\":\"a\",\"pitch_um\":5,\"digest\":\"00ff00fg\"}", "/digest", {"\"00ff00fg\""}},
        {"{\"id\":\"a\",\"pitch_um\":5,}", "", {"line 1", "key in quotes"}},
};

static void each_refusal_names_place_value_and_what_is_allowed(void **state)
{
        struct arena *a = arena_new(0);
        (void)state;
        for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
                struct doc d, before;
                struct tp_error err;
                memset(&d, 0x5A, sizeof d);
                memset(&before, 0x5A, sizeof before);
                if (read_doc(refusals[i].text, a, &d, &err) != CODE_BAD_INPUT)
                        fail_msg("taken: %s", refusals[i].text);
                assert_string_equal(err.pointer, refusals[i].pointer);
                for (size_t j = 0; j < 4 && refusals[i].words[j]; j++)
                        if (!strstr(err.text, refusals[i].words[j]))
                                fail_msg("%s: lacks \"%s\": %s", refusals[i].text, refusals[i].words[j], err.text);
                assert_memory_equal(&d, &before, sizeof d); /* untouched on failure */
        }
        arena_free(a);
}

/* Change any byte of a good document to any other: it is refused with a sentence, or what is read can be written and read again, the same.
 */
static void any_changed_byte_is_refused_or_survives_a_round_trip(void **state)
{
        static const char good[] = "{\"id\":\"W.1\",\"pitch_um\":5e3,\"title\":\"\\u00e4\",\"kind\":\"wafer\",\"count\":-7,\"serial\":8,"
                                   "\"chuck\":{\"set_c\":4.5},"
                                   "\"devices\":[{\"name\":\"L7\",\"offset_um\":[1.5,-2],\"ports\":1}],\"limits\":[1],\"digest\":"
                                   "\"00ffa0b1\",\"ripple_db\":0.1}";
        struct arena *a = arena_new(0);
        struct text once, twice;
        char text[sizeof good];
        int taken = 0, refused = 0;
        (void)state;
        text_init(&once, 0);
        text_init(&twice, 0);
        for (size_t i = 0; i + 1 < sizeof good; i++) {
                for (int byte = 0; byte < 256; byte += 1 + (byte >= 128) * 16) {
                        struct doc d, back;
                        struct tp_error err = {.text = ""};
                        memcpy(text, good, sizeof good);
                        text[i] = (char)byte;
                        arena_reset(a);
                        if (fields_read_text(&doc_object, text, sizeof good - 1, a, &d, &err)) {
                                assert_int_equal(err.code, CODE_BAD_INPUT);
                                assert_true(strlen(err.text) > 20);
                                refused++;
                                continue;
                        }
                        taken++;
                        text_clear(&once);
                        text_clear(&twice);
                        struct json_out o = json_to(&once);
                        fields_write(&doc_object, &d, &o, NULL);
                        if (read_doc(text_of(&once), a, &back, &err))
                                fail_msg("%s became %s: %s", text, text_of(&once), err.text);
                        o = json_to(&twice);
                        fields_write(&doc_object, &back, &o, NULL);
                        assert_string_equal(text_of(&once), text_of(&twice));
                }
        }
        assert_true(taken > 1000 && refused > 1000);
        text_done(&once);
        text_done(&twice);
        arena_free(a);
}

static void the_range_has_both_its_ends(void **state)
{
        struct arena *a = arena_new(0);
        struct doc d;
        struct tp_error err;
        (void)state;
        assert_int_equal(read_doc("{\"id\":\"a\",\"pitch_um\":1}", a, &d, &err), CODE_OK);
        assert_int_equal(read_doc("{\"id\":\"a\",\"pitch_um\":100000}", a, &d, &err), CODE_OK);
        assert_int_equal(read_doc("{\"id\":\"a\",\"pitch_um\":0.99999999999999989}", a, &d, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "0.9999999999999999 um")); /* enough digits to see why */
        struct arena *small = arena_new(8);
        assert_int_equal(read_doc("{\"id\":\"a\",\"pitch_um\":1,\"devices\":[{\"name\":\"x\"}]}", small, &d, &err), CODE_MEMORY);
        assert_int_equal(read_doc("{\"id\":\"a\",\"pitch_um\":1,\"devices\":[{\"name\":\"x\"}]}", NULL, &d, &err), CODE_MEMORY);
        arena_free(small);
        arena_free(a);
}

static const cJSON *at(const cJSON *json, const char *key)
{
        const cJSON *found = cJSON_GetObjectItemCaseSensitive(json, key);
        if (!found)
                fail_msg("the schema lacks \"%s\"", key);
        return found;
}

static void the_schema_says_what_the_reader_checks(void **state)
{
        struct text t;
        struct tp_error err;
        cJSON *json = NULL;
        (void)state;
        text_init(&t, 0);
        fields_schema(&doc_object, &t);
        assert_true(text_ok(&t));
        assert_int_equal(json_read(text_of(&t), t.n, 0, &json, &err), CODE_OK);
        assert_string_equal(at(json, "$id")->valuestring, "https://tipplane.invalid/schema/doc.json");
        assert_true(cJSON_IsFalse(at(json, "additionalProperties")));
        const cJSON *p = at(json, "properties"), *pitch = at(p, "pitch_um"), *devices = at(p, "devices");
        assert_true(at(pitch, "minimum")->valuedouble == 1 && at(pitch, "maximum")->valuedouble == 100000);
        assert_string_equal(at(pitch, "description")->valuestring, "the die pitch; unit: um");
        assert_int_equal(cJSON_GetArraySize(at(json, "required")), 2);
        assert_int_equal(cJSON_GetArraySize(p), sizeof doc_fields / sizeof doc_fields[0]);
        assert_int_equal(at(devices, "maxItems")->valueint, 3);
        assert_true(cJSON_IsFalse(at(at(devices, "items"), "additionalProperties")));
        assert_string_equal(at(at(p, "digest"), "pattern")->valuestring, "^[0-9a-fA-F]{8}$");
        assert_string_equal(at(at(p, "kind"), "default")->valuestring, "wafer");
        cJSON_Delete(json);
        text_done(&t);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(absent_fields_hold_their_standards),
                cmocka_unit_test(what_is_written_is_read_back),
                cmocka_unit_test(each_refusal_names_place_value_and_what_is_allowed),
                cmocka_unit_test(any_changed_byte_is_refused_or_survives_a_round_trip),
                cmocka_unit_test(the_range_has_both_its_ends),
                cmocka_unit_test(the_schema_says_what_the_reader_checks),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

/* The layout: which dies are whole, where they stand, and that its document comes back as it was read. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include "wafer/layout.h"
#include <math.h>
#define assert_near(a, b, within) assert_true(fabs((a) - (b)) <= (within)) /* in double; cmocka compares floats */
#include <stdlib.h>
#include <string.h>

static struct layout grid(double diameter_mm, double edge_mm, double px_um, double py_um, double street_um, double ox_um, double oy_um)
{
        return (struct layout){.name = "grid",
                               .diameter_mm = diameter_mm,
                               .edge_exclusion_mm = edge_mm,
                               .pitch_x_um = px_um,
                               .pitch_y_um = py_um,
                               .street_um = street_um,
                               .offset_x_um = ox_um,
                               .offset_y_um = oy_um,
                               .ladder_columns = 3};
}

static const struct die *at(const struct die *dies, size_t n, int x, int y)
{
        for (size_t i = 0; i < n; i++)
                if (dies[i].x == x && dies[i].y == y)
                        return &dies[i];
        return NULL;
}

/* By hand: radius 10 mm less 0; a die of 6 x 8 mm around the centre reaches corners at (3, 4) mm, distance 5; its neighbours' corners at
   (9, 4): sqrt(97) = 9.85 mm, whole; (3, 12): 12.4, not; (9, 12): 15, not; (15, 4): 15.5, not.  So three dies in one row. */
static void dies_are_whole_when_all_four_corners_are_inside(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = grid(20, 0, 6000, 8000, 0, 0, 0);
        struct die *dies = NULL;
        size_t n = 0;
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        assert_int_equal(n, 3);
        for (size_t i = 0; i < 3; i++) {
                assert_int_equal(dies[i].x, (int)i - 1);
                assert_int_equal(dies[i].y, 0);
                assert_near(dies[i].x_um, ((double)i - 1) * 6000, 0);
        }
        l.edge_exclusion_mm = 0.152; /* 9.848 < 9.8489: the outer two are partial now */
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        assert_int_equal(n, 1);
        l.street_um = 20; /* corners at (8.99, 3.99): 9.8356, whole again: streets are not silicon of the die */
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        assert_int_equal(n, 3);
        arena_free(a);
}

/* By hand: a corner exactly on the rim counts: 3-4-5, doubled: corners at (6, 8) mm on a radius of 10 mm. */
static void a_corner_on_the_rim_is_inside(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = grid(20, 0, 6000, 8000, 0, 3000, 4000);
        struct die *dies = NULL;
        size_t n = 0;
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        assert_int_equal(n, 4);
        assert_non_null(at(dies, n, 0, 0));
        assert_non_null(at(dies, n, -1, -1));
        arena_free(a);
}

static void rows_come_from_the_top_and_excluded_dies_stay_in_the_list(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct die_at out[] = {{.x = 0, .y = 1}, {.x = 1, .y = -1}};
        struct layout l = grid(100, 3, 9400, 9600, 100, 1500, -2000);
        struct die *dies = NULL;
        size_t n = 0, excluded = 0;
        l.excluded = out;
        l.excluded_n = 2;
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        assert_int_equal(n, 60);
        for (size_t i = 0; i < n; i++) {
                excluded += dies[i].excluded;
                assert_near(dies[i].x_um, 1500 + 9400 * dies[i].x, 1e-9);
                assert_near(dies[i].y_um, -2000 + 9600 * dies[i].y, 1e-9);
                if (i > 0)
                        assert_true(dies[i].y < dies[i - 1].y || (dies[i].y == dies[i - 1].y && dies[i].x == dies[i - 1].x + 1));
        }
        assert_int_equal(excluded, 2);
        assert_true(at(dies, n, 1, -1)->excluded);
        arena_free(a);
}

/* Moving the grid by whole pitches moves only the dies' names; moving it by less changes which are whole. */
static void an_offset_of_a_whole_pitch_renames_the_same_dies(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = grid(150, 3, 7100, 5300, 80, 900, -700), moved = l;
        moved.offset_x_um += 2 * l.pitch_x_um;
        moved.offset_y_um -= 3 * l.pitch_y_um;
        struct die *dies = NULL, *others = NULL;
        size_t n = 0, m = 0;
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        assert_int_equal(layout_dies(&moved, a, &others, &m, NULL), CODE_OK);
        assert_int_equal(n, m);
        for (size_t i = 0; i < n; i++) {
                const struct die *d = at(others, m, dies[i].x - 2, dies[i].y + 3);
                assert_non_null(d);
                assert_near(d->x_um, dies[i].x_um, 1e-6);
                assert_near(d->y_um, dies[i].y_um, 1e-6);
        }
        arena_free(a);
}

static void too_many_dies_and_none_are_refused_with_the_pitch(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = grid(300, 3, 100, 100, 0, 0, 0);
        struct die *dies = NULL;
        size_t n = 0;
        struct tp_error err = {0};
        assert_int_equal(layout_dies(&l, a, &dies, &n, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "100 x 100 um"));
        l.pitch_x_um = 400000;
        assert_int_equal(layout_dies(&l, a, &dies, &n, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "400000 x 100 um"));
        arena_free(a);
}

static const char document[] = "{\"name\": \"two\", \"diameter_mm\": 50, \"notch_deg\": 270, \"edge_exclusion_mm\": 3, \"pitch_x_um\": "
                               "9500, \"pitch_y_um\": 11000, \"reference_die\": {\"x\": 0, \"y\": 0},"
                               "\"excluded\": [{\"x\": 1, \"y\": 0, \"reason\": \"test insert\"}],"
                               "\"devices\": [{\"name\": \"L1\", \"kind\": \"inductor\", \"x_um\": 100.25, \"y_um\": -7, \"touches_max\": "
                               "3, \"footprint\": {\"pitch_um\": 75, \"spacing_um\": 200, "
                               "\"overtravel_um_max\": 40}}]}";

static void a_layout_written_and_read_again_is_the_same(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout first, second;
        struct text out;
        struct tp_error err = {0};
        cJSON *json = cJSON_Parse(document);
        if (layout_read(json, a, &first, &err))
                fail_msg("%s", err.text);
        cJSON_Delete(json);
        assert_string_equal(first.devices[0].footprint.order, "GSG");
        assert_int_equal(first.devices[0].footprint.orientation, ORIENTATION_EAST_WEST);
        assert_int_equal(first.ladder_columns, 3);
        assert_string_equal(first.excluded[0].reason, "test insert");
        assert_int_equal(layout_device(&first, "L1"), 0);
        assert_int_equal(layout_device(&first, "L2"), -1);
        text_init(&out, 0);
        struct json_out o = json_to(&out);
        fields_write(&layout_object, &first, &o, NULL);
        json = cJSON_Parse(text_of(&out));
        assert_int_equal(layout_read(json, a, &second, &err), CODE_OK);
        assert_memory_equal(first.devices, second.devices, sizeof *first.devices);
        assert_memory_equal(first.excluded, second.excluded, sizeof *first.excluded);
        assert_true(first.pitch_y_um == second.pitch_y_um && first.notch_deg == second.notch_deg);
        cJSON_Delete(json);
        text_done(&out);
        arena_free(a);
}

/* Probes from north and south turn the footprint: the same device then needs room along y. */
static void a_footprint_turned_by_its_orientation_must_fit_the_die(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l;
        struct tp_error err = {0};
        cJSON *json = cJSON_Parse(document), *d = cJSON_GetArrayItem(cJSON_GetObjectItem(json, "devices"), 0);
        cJSON_ReplaceItemInObject(d, "y_um", cJSON_CreateNumber(5420)); /* grounds at 5495 um, the die ends at 5500 um */
        assert_int_equal(layout_read(json, a, &l, &err), CODE_OK);
        cJSON_AddItemToObject(cJSON_GetObjectItem(d, "footprint"), "orientation",
                              cJSON_CreateString("north_south")); /* now a signal tip at 5520 um */
        assert_int_equal(layout_read(json, a, &l, &err), CODE_BAD_INPUT);
        assert_string_equal(err.pointer, "/devices/0/y_um");
        assert_non_null(strstr(err.text, "5520 um"));
        cJSON_Delete(json);
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(dies_are_whole_when_all_four_corners_are_inside),
                cmocka_unit_test(a_corner_on_the_rim_is_inside),
                cmocka_unit_test(rows_come_from_the_top_and_excluded_dies_stay_in_the_list),
                cmocka_unit_test(an_offset_of_a_whole_pitch_renames_the_same_dies),
                cmocka_unit_test(too_many_dies_and_none_are_refused_with_the_pitch),
                cmocka_unit_test(a_layout_written_and_read_again_is_the_same),
                cmocka_unit_test(a_footprint_turned_by_its_orientation_must_fit_the_die),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}

/* dies.c: which dies of the endless grid are whole on this wafer.
 * A die is whole when all four corners of its silicon (pitch less street) lie inside radius less edge exclusion; for a rectangle around
 * (x, y) the farthest corner is (|x| + w/2, |y| + h/2), so one distance decides. */
#include "wafer/layout.h"
#include <math.h>

enum { DIES_MAX = 20000 };
#define RIM_SLACK_UM 1e-6 /* a corner exactly on the circle counts as inside, whatever the rounding */

static bool is_whole(const struct layout *l, double x_um, double y_um)
{
        double radius_um = (l->diameter_mm / 2 - l->edge_exclusion_mm) * 1000;
        return hypot(fabs(x_um) + (l->pitch_x_um - l->street_um) / 2, fabs(y_um) + (l->pitch_y_um - l->street_um) / 2) <=
               radius_um + RIM_SLACK_UM;
}

static bool is_excluded(const struct layout *l, int x, int y)
{
        for (size_t i = 0; i < l->excluded_n; i++)
                if (l->excluded[i].x == x && l->excluded[i].y == y)
                        return true;
        return false;
}

/* Walks the grid from the top, left to right; fills `into` when it is not NULL.  Stops counting beyond DIES_MAX. */
static size_t walk(const struct layout *l, struct die *into)
{
        double radius_um = l->diameter_mm * 500;
        int x_first = (int)floor((-radius_um - l->offset_x_um) / l->pitch_x_um),
            x_last = (int)ceil((radius_um - l->offset_x_um) / l->pitch_x_um);
        int y_first = (int)floor((-radius_um - l->offset_y_um) / l->pitch_y_um),
            y_last = (int)ceil((radius_um - l->offset_y_um) / l->pitch_y_um);
        size_t n = 0;
        for (int y = y_last; y >= y_first && n <= DIES_MAX; y--)
                for (int x = x_first; x <= x_last && n <= DIES_MAX; x++) {
                        double x_um = l->offset_x_um + x * l->pitch_x_um, y_um = l->offset_y_um + y * l->pitch_y_um;
                        if (!is_whole(l, x_um, y_um))
                                continue;
                        if (into)
                                into[n] = (struct die){
                                        .x = (int16_t)x, .y = (int16_t)y, .x_um = x_um, .y_um = y_um, .excluded = is_excluded(l, x, y)};
                        n++;
                }
        return n;
}

enum code layout_dies(const struct layout *l, struct arena *arena, struct die **ret, size_t *ret_n, struct tp_error *err)
{
        size_t n = walk(l, NULL);
        *ret_n = n;
        if (n == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "layout %s: not one whole die of %.6g x %.6g um lies on a wafer of %.6g mm; check pitch and diameter",
                               l->name, l->pitch_x_um, l->pitch_y_um, l->diameter_mm);
        if (n > DIES_MAX)
                return tp_fail(err, CODE_BAD_INPUT,
                               "layout %s: a pitch of %.6g x %.6g um makes more than %d dies; no probe station visits so many", l->name,
                               l->pitch_x_um, l->pitch_y_um, DIES_MAX);
        struct die *dies = arena_take(arena, n * sizeof *dies);
        if (!dies)
                return tp_fail_memory(err);
        walk(l, dies);
        *ret = dies;
        return CODE_OK;
}

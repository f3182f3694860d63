/* show_map.c: the wafer in characters; see show.h.
 * Three facts, three channels, none of them a colour: the number is the value, the mark behind it the verdict, the border the trust. */
#include "cli/number.h"
#include "cli/show.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define SIDE_MAX 400 /* dies across */
enum { VALUE_MAX = 24 };

struct cell {
        char value[VALUE_MAX];
        char mark;
        const char *border;
        bool there;
};

char verdict_mark(const char *outcome, const char *verdict)
{
        if (strcmp(outcome, "no_contact") == 0)
                return 'o';
        if (strcmp(outcome, "waits") == 0 || strcmp(outcome, "unknown") == 0)
                return '.';
        if (strcmp(outcome, "skipped") == 0 || strcmp(outcome, "written_off") == 0)
                return 'x';
        if (strcmp(verdict, "pass") == 0)
                return '+';
        if (strcmp(verdict, "marginal") == 0)
                return '~';
        if (strcmp(verdict, "fail") == 0)
                return '#';
        return '-';
}

const char *trust_border(const char *trust)
{
        static const char *const borders[][2] = {{"proven", "[]"}, {"open", "()"}, {"suspect", "!!"}, {"rescued", "{}"}};
        for (size_t i = 0; i < sizeof borders / sizeof borders[0]; i++)
                if (strcmp(trust, borders[i][0]) == 0)
                        return borders[i][1];
        return "  ";
}

void show_map_legend(struct text *to)
{
        text_put(to, "verdict  + pass   ~ marginal   # fail   - none asked, or none can be given   o no contact   x left out   . not "
                     "measured yet\n"
                     "trust    [ ] proven   ( ) open: lacks a proof   ! ! suspect   { } rescued   no border: nothing known yet\n");
}

static const cJSON *device_of(const cJSON *die, const char *name)
{
        const cJSON *d;
        cJSON_ArrayForEach(d, have(die, "devices")) if (strcmp(have_text(d, "name"), name) == 0) return d;
        return NULL;
}

/* The die as a whole: no contact on one of its devices is shown before any verdict. */
static const char *outcome_of_die(const cJSON *die)
{
        const cJSON *d;
        bool waits = have_int(die, "waits") > 0, left = false, measured = false;
        if (have_int(die, "no_contact") > 0)
                return "no_contact";
        cJSON_ArrayForEach(d, have(die, "devices"))
        {
                const char *o = have_text(d, "outcome");
                left |= strcmp(o, "skipped") == 0 || strcmp(o, "written_off") == 0;
                measured |= strcmp(o, "measured") == 0 || strcmp(o, "doubtful") == 0;
        }
        return waits ? "waits" : measured || !left ? "measured" : "skipped";
}

/* The last attempt at this die's value. */
static void put_value(const cJSON *parameters, int64_t x, int64_t y, struct cell *cell)
{
        const cJSON *p, *last = NULL;
        cJSON_ArrayForEach(p, have(parameters, "parameters")) if (have_int(have(p, "die"), "x") == x && have_int(have(p, "die"), "y") == y)
                last = p;
        struct text t;
        text_init(&t, VALUE_MAX);
        if (last)
                put_short(&t, have_real(last, "value"), have_text(last, "unit"));
        snprintf(cell->value, VALUE_MAX, "%s", last ? text_of(&t) : "");
        if (last) {
                cell->mark = verdict_mark("measured", have_text(last, "verdict"));
                cell->border = trust_border(have_text(last, "trust"));
        }
        text_done(&t);
}

static struct cell cell_of(const cJSON *die, const cJSON *parameters, const char *device)
{
        const cJSON *d = device ? device_of(die, device) : NULL;
        const char *outcome = d ? have_text(d, "outcome") : outcome_of_die(die);
        const cJSON *from = d ? d : die;
        struct cell cell = {.mark = verdict_mark(outcome, have_text(from, "verdict")),
                            .border = trust_border(have_text(from, "trust")),
                            .there = !device || d};
        if (parameters && cell.mark != 'o' && cell.mark != 'x' && cell.mark != '.')
                put_value(parameters, have_int(die, "x"), have_int(die, "y"), &cell);
        return cell;
}

static int width_of(const char *s)
{
        int n = 0;
        for (; *s; s++)
                n += ((unsigned char)*s & 0xC0) != 0x80;
        return n;
}

static const cJSON *die_at(const cJSON *dies, int64_t x, int64_t y)
{
        const cJSON *die;
        cJSON_ArrayForEach(die, dies) if (have_int(die, "x") == x && have_int(die, "y") == y) return die;
        return NULL;
}

static void put_row(const cJSON *dies, int64_t y, int64_t x0, int64_t x1, int width, const cJSON *parameters, const char *device,
                    struct text *to)
{
        size_t begin = to->n;
        text_f(to, "%5lld ", (long long)y);
        for (int64_t x = x0; x <= x1; x++) {
                const cJSON *die = die_at(dies, x, y);
                struct cell cell = die ? cell_of(die, parameters, device) : (struct cell){0};
                if (cell.there)
                        text_f(to, " %c%*s%s%c%c", cell.border[0], width - width_of(cell.value), "", cell.value, cell.mark, cell.border[1]);
                else
                        text_f(to, " %*s", width + 3, "");
        }
        while (to->n > begin && to->at && to->at[to->n - 1] == ' ')
                to->at[--to->n] = 0;
        text_put(to, "\n");
}

static const char *notch_place(double deg)
{
        static const char *const places[] = {"right", "top", "left", "bottom"};
        return isfinite(deg) ? places[((int)floor(deg / 90 + 0.5) % 4 + 4) % 4] : "bottom";
}

void show_map(const cJSON *map, const cJSON *parameters, const char *device, struct text *to)
{
        const cJSON *dies = have(map, "dies"), *die;
        int64_t x0 = 0, x1 = -1, y0 = 0, y1 = -1;
        int width = 0, n = 0;
        cJSON_ArrayForEach(die, dies)
        {
                int64_t x = have_int(die, "x"), y = have_int(die, "y");
                x0 = n == 0 || x < x0 ? x : x0;
                x1 = n == 0 || x > x1 ? x : x1;
                y0 = n == 0 || y < y0 ? y : y0;
                y1 = n == 0 || y > y1 ? y : y1;
                n++;
                struct cell cell = cell_of(die, parameters, device);
                int w = width_of(cell.value);
                width = w > width ? w : width;
        }
        if (n == 0 || x1 - x0 >= SIDE_MAX || y1 - y0 >= SIDE_MAX) {
                text_put(to, n ? "the wafer has too many dies across for a map of text\n" : "no map yet: the run has no plan\n");
                return;
        }
        text_f(to, "wafer %s, %g mm, notch at the %s\n\n     y\n", have_text(map, "wafer"), have_real(map, "diameter_mm"),
               notch_place(have_real(map, "notch_deg")));
        for (int64_t y = y1; y >= y0; y--)
                put_row(dies, y, x0, x1, width, parameters, device, to);
        text_put(to, "      ");
        for (int64_t x = x0; x <= x1; x++)
                text_f(to, " %*lld", width + 2, (long long)x), text_put(to, " ");
        text_put(to, " x\n\n");
        show_map_legend(to);
}

/* recipe_check.c: what can be known without a station: names resolve, sweeps rise, standards suit the method, checks and proof can be made,
   budgets suffice for one run without trouble.  Each refusal names place, value and what to do. */
#include "recipe/recipe_own.h"
#include "recipe/rehearse.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static enum code check_setup(const struct recipe *r, struct tp_error *err)
{
        const struct setup *s = &r->setup;
        if (s->probe_n != 2)
                return refuse_at(
                        err, pointer_at("/setup/probes"),
                        "%zu probe%s; a night measures two-port devices, with two probes for ports 1 and 2.%s", s->probe_n,
                        s->probe_n == 1 ? "" : "s",
                        s->probe_n > 2 ? "  Three and four ports are calibrated and corrected from files: `tipplane solve`, docs/offline.md"
                                       : "");
        for (size_t i = 0; i < 2; i++)
                if (s->probes[i].port != (int32_t)i + 1)
                        return refuse_at(err, pointer_at("/setup/probes/%zu/port", i), "%d; the first probe is port 1, the second port 2",
                                         s->probes[i].port);
        if (strcmp(s->probes[0].serial, s->probes[1].serial) == 0)
                return refuse_at(err, pointer_at("/setup/probes/1/serial"),
                                 "\"%s\" is the serial of the first probe too; each probe has its own ledger", s->probes[1].serial);
        return CODE_OK;
}

static enum code check_segment(const struct sweep_plan *p, size_t i, size_t k, struct tp_error *err)
{
        const struct segment *s = &p->segments[k];
        struct pointer at = pointer_at("/sweeps/%zu/segments/%zu", i, k);
        if (s->spacing == 0)
                return refuse_at(err, pointer_at("%s/spacing", at.at), "\"unknown\" in sweep %s; say log or linear", p->name);
        if (s->points == 1 ? s->stop_hz != s->start_hz : !(s->stop_hz > s->start_hz))
                return refuse_at(err, pointer_at("%s/stop_hz", at.at), "%.15g Hz with %d points from %.15g Hz; %s", s->stop_hz, s->points,
                                 s->start_hz, s->points == 1 ? "one point has stop equal to start" : "stop must lie above start");
        if (k > 0 && !(s->start_hz >= p->segments[k - 1].stop_hz))
                return refuse_at(err, pointer_at("%s/start_hz", at.at),
                                 "%.15g Hz lies below %.15g Hz, where the segment before it stops; let segments rise", s->start_hz,
                                 p->segments[k - 1].stop_hz);
        return CODE_OK;
}

static enum code check_sweeps(const struct recipe *r, struct arena *scratch, struct tp_error *err)
{
        for (size_t i = 0; i < r->sweep_n; i++) {
                const struct sweep_plan *p = &r->sweeps[i];
                double *hz = NULL;
                size_t n = 0;
                for (size_t k = 0; k < i; k++)
                        if (strcmp(r->sweeps[k].name, p->name) == 0)
                                return refuse_at(err, pointer_at("/sweeps/%zu/name", i),
                                                 "\"%s\" is already the name of sweep %zu; names are unique", p->name, k);
                for (size_t k = 0; k < p->segment_n; k++) {
                        enum code code = check_segment(p, i, k, err);
                        if (code)
                                return code;
                }
                struct tp_error inner = {0};
                enum code code = sweep_axis(p, scratch, &hz, &n, &inner);
                if (code == CODE_BAD_INPUT)
                        return refuse_at(err, pointer_at("/sweeps/%zu/segments", i), "%s", inner.text);
                if (code)
                        return tp_fail_memory(err);
        }
        return CODE_OK;
}

static enum code check_rescue(const struct recipe *r, struct tp_error *err)
{
        bool raised = false;
        for (size_t i = 0; i < r->standard_n; i++)
                raised = raised || r->standards[i].raised;
        if (!r->mandate.rescue_suspects || (raised && r->check.every_dies > 0))
                return CODE_OK;
        return refuse_at(err, pointer_at("/mandate/rescue_suspects"), "true, but %s; add %s, or leave suspects as they are",
                         raised ? "the recipe has no checks, so nothing ever becomes suspect by drift"
                                : "no standard is raised, so nobody sees when the ports move",
                         raised ? "checks" : "a raised open to the standards");
}

static enum code check_checks(const struct recipe *r, struct tp_error *err)
{
        const struct check_plan *c = &r->check;
        if (c->every_dies == 0 && c->standard_n > 0)
                return refuse_at(err, pointer_at("/check/every_dies"),
                                 "0 means no checks, but %zu check standards are named; give a number of dies or no standards",
                                 c->standard_n);
        if (c->every_dies == 0)
                return CODE_OK;
        if (c->standard_n == 0)
                return refuse_at(err, pointer_at("/check/standards"),
                                 "none, but a check is asked every %d dies; name the copies to measure again, e.g. a short and a thru",
                                 c->every_dies);
        if (!(c->limits.delay_fs > 0))
                return refuse_at(err, pointer_at("/check/limits"), "missing, but a check is asked every %d dies; give its limits",
                                 c->every_dies);
        for (size_t i = 0; i < c->standard_n; i++) {
                const struct standard *s = NULL;
                struct pointer at = pointer_at("/check/standards/%zu/standard", i);
                enum code code = recipe_standard_named(r, c->standards[i].standard, at, &s, err);
                if (code)
                        return code;
                if (s->raised)
                        return refuse_at(err, at, "%s is raised and is swept with every check anyway; name copies to touch", s->name);
                for (size_t k = 0; k < i; k++)
                        if (strcmp(c->standards[k].standard, s->name) == 0)
                                return refuse_at(err, at, "\"%s\" is named twice; once is enough", s->name);
        }
        return CODE_OK;
}

static const struct die *die_of(const struct die *dies, size_t n, int x, int y)
{
        for (size_t i = 0; i < n; i++)
                if (dies[i].x == x && dies[i].y == y)
                        return &dies[i];
        return NULL;
}

static enum code check_proof(const struct recipe *r, const struct die *dies, size_t n, struct tp_error *err)
{
        const struct place_proof *p = &r->proof;
        bool rows_differ = false, columns_differ = false;
        if (p->die_n == 0 && !p->required)
                return CODE_OK;
        int device = layout_device(&r->layout, p->device);
        if (device < 0)
                return refuse_at(err, pointer_at("/proof/device"), "\"%s\" is no device of the layout; there are: %s", p->device,
                                 device_names(&r->layout).at);
        if (r->layout.devices[device].kind != DEVICE_LADDER)
                return refuse_at(err, pointer_at("/proof/device"), "\"%s\" is a %s; the place is proven by a ladder", p->device,
                                 device_kind_words[r->layout.devices[device].kind]);
        if (p->die_n < 3)
                return refuse_at(err, pointer_at("/proof/dies"), "%zu dies; at least three, not all in one row or column, prove a place",
                                 p->die_n);
        for (size_t i = 0; i < p->die_n; i++) {
                const struct die_at *at = &p->dies[i];
                const struct die *d = die_of(dies, n, at->x, at->y);
                if (!d || d->excluded)
                        return refuse_at(err, pointer_at("/proof/dies/%zu", i), "die %d,%d is %s; choose a whole die that is measured",
                                         at->x, at->y, d ? "excluded by the layout" : "not a whole die of this wafer");
                for (size_t k = 0; k < i; k++)
                        if (p->dies[k].x == at->x && p->dies[k].y == at->y)
                                return refuse_at(err, pointer_at("/proof/dies/%zu", i), "die %d,%d is named twice; choose another", at->x,
                                                 at->y);
                rows_differ = rows_differ || at->y != p->dies[0].y;
                columns_differ = columns_differ || at->x != p->dies[0].x;
        }
        if (!rows_differ || !columns_differ)
                return refuse_at(err, pointer_at("/proof/dies"), "all %zu lie in %s %d; take one from another, or a turned wafer passes",
                                 p->die_n, rows_differ ? "column" : "row", rows_differ ? p->dies[0].x : p->dies[0].y);
        return footprint_check(r, device, err);
}

/* One run without trouble must fit the budgets of a fresh wafer, fresh copies and fresh tips; the plan adds what the ledger holds. */
static enum code check_budgets(const struct recipe *r, size_t die_n, struct arena *scratch, struct tp_error *err)
{
        struct need_counts need;
        enum code code = need_count(r, die_n, scratch, &need, err);
        if (code)
                return code;
        for (size_t i = 0; i < r->standard_n; i++)
                if (need.standards[i] > r->standards[i].touches_max)
                        return refuse_at(err, pointer_at("/standards/%zu/touches_max", i),
                                         "%d touches for %s, one run needs %d; raise the budget, check less often or use another copy",
                                         r->standards[i].touches_max, r->standards[i].name, need.standards[i]);
        if (need.total > r->setup.tip_touches_max)
                return refuse_at(err, pointer_at("/setup/tip_touches_max"),
                                 "%d touches, one run needs %lld; fit fresh probes or measure less", r->setup.tip_touches_max,
                                 (long long)need.total);
        return CODE_OK;
}

enum code recipe_check(const struct recipe *r, struct arena *scratch, struct tp_error *err)
{
        struct die *dies = NULL;
        size_t n = 0, measured = 0;
        enum code code = layout_check(&r->layout, "/layout", err);
        if (!code)
                code = layout_dies(&r->layout, scratch, &dies, &n, err);
        if (!code)
                code = check_setup(r, err);
        if (!code)
                code = check_sweeps(r, scratch, err);
        for (size_t i = 0; i < r->standard_n && !code; i++)
                code = recipe_check_standard(r, i, err);
        if (!code)
                code = recipe_check_calibration(r, scratch, err);
        if (!code)
                code = check_checks(r, err);
        if (!code)
                code = check_rescue(r, err);
        if (!code)
                code = check_proof(r, dies, n, err);
        if (!code && r->order == ORDER_UNKNOWN)
                code = refuse_at(err, pointer_at("/order"), "\"unknown\"; say snake or interleave");
        if (!code && strcmp(r->sampling, "all") != 0)
                code = refuse_at(err, pointer_at("/sampling"), "\"%s\"; only \"all\" is known, exclude dies in the layout instead",
                                 r->sampling);
        if (!code)
                code = measures_check(r, scratch, err);
        for (size_t i = 0; i < n; i++)
                measured += !dies[i].excluded;
        if (!code)
                code = check_budgets(r, measured, scratch, err);
        return code ? code : recipe_check_on_paper(r, scratch, err); /* last: it takes milliseconds */
}

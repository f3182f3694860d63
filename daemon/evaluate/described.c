/* described.c: what a calibration leaves for the history of its probes and modules, as part of the diagnosis: serials, figures per band,
 * the reflection tracking at a few frequencies (so that delay and loss against any earlier calibration can be had from the text alone),
 * what raised tips still read of S21, and suspicions: readings or switch terms that are not the way round that they say
 * (rf/trust/orientation.h). Suspicions are said, not acted upon: residuals and verification decide whether a calibration is accepted. */
#include "evaluate/inside.h"
#include "rf/trust/history.h"
#include "rf/trust/orientation.h"
#include <math.h>

enum {
        TRACKED = 32
}; /* frequencies, evenly spread: two calibrations' phases differ by less than half a turn between them up to 70 ps at 220 GHz */

static void pair(struct json_out *o, const char *key, const double of[2])
{
        if (!isfinite(of[0]) && !isfinite(of[1]))
                return;
        json_open(o, key, '[');
        json_real(o, NULL, of[0]);
        json_real(o, NULL, of[1]);
        json_close(o, ']');
}

/* The columns of a raw sweep as a network, nothing copied. */
static struct net2 raw_network(const struct raw_sweep *raw, const struct axis *axis)
{
        struct net2 net = {.axis = axis, .plane = PLANE_RECEIVER};
        for (int k = 0; k < 4; k++) {
                net.re[k] = raw->re[k];
                net.im[k] = raw->im[k];
        }
        return net;
}

static void floor_json(const struct recipe *r, const struct calibration *c, const struct standard_sweep *of, size_t n, struct arena *arena,
                       struct json_out *o)
{
        for (size_t k = 0; k < n; k++) {
                const struct standard *s = &r->standards[of[k].standard];
                struct rf_floor f;
                void *memory = s->kind == STANDARD_OPEN && s->raised ? arena_take(arena, net2_bytes(c->axis.n)) : NULL;
                if (!memory)
                        continue;
                struct net2 air = net2_at(memory, &c->axis, PLANE_TIP);
                for (size_t j = 0; j < c->axis.n; j++)
                        net2_put(&air, j, tip_point(c, of[k].raw, j, j));
                if (rf_floor_of(&air, NULL, 0, &f, NULL))
                        return;
                json_open(o, "floor", '[');
                for (size_t b = 0; b < f.n; b++) {
                        json_open(o, NULL, '{');
                        json_real(o, "from_hz", f.band[b].from_hz);
                        json_real(o, "to_hz", f.band[b].to_hz);
                        json_real(o, "level_db", isfinite(f.band[b].level_db) ? f.band[b].level_db : NAN); /* nothing at all has no dB */
                        json_real(o, "noise_db", isfinite(f.band[b].noise_db) ? f.band[b].noise_db : NAN);
                        json_close(o, '}');
                }
                json_close(o, ']');
                return;
        }
}

static void suspicions_json(const struct recipe *r, const struct calibration *c, const struct standard_sweep *of, size_t n,
                            struct arena *arena, struct json_out *o)
{
        struct net2 through[16];
        const struct net2 *list[16];
        size_t m = 0;
        for (size_t k = 0; k < n && m < 16; k++) {
                int32_t kind = r->standards[of[k].standard].kind;
                if (kind != STANDARD_THRU && kind != STANDARD_LINE)
                        continue;
                through[m] = raw_network(of[k].raw, &c->axis);
                list[m] = &through[m];
                m++;
        }
        json_open(o, "suspicions", '[');
        struct rf_switch_judgement judged;
        if (m >= 2 && c->has_switch && !rf_switch_judge(list, m, &c->sw, &judged, NULL) && judged.decided &&
            judged.use != RF_SWITCH_AS_GIVEN)
                json_text(o, NULL, judged.sentence);
        /* corrected, since raw readings behind metres of cable turn several times from point to point */
        void *memory = arena_take(arena, net2_bytes(c->axis.n));
        for (size_t k = 0; memory && k < n; k++) {
                int32_t kind = r->standards[of[k].standard].kind;
                struct rf_orientation time;
                if (kind != STANDARD_THRU && kind != STANDARD_LINE)
                        continue;
                struct net2 s = net2_at(memory, &c->axis, PLANE_TIP);
                for (size_t at = 0; at < c->axis.n; at++)
                        net2_put(&s, at, tip_point(c, of[k].raw, at, at));
                if (rf_sign_of_time(&s, &time, NULL) || !time.decided || !time.turn)
                        continue;
                json_text(o, NULL, time.sentence);
                break;
        }
        json_close(o, ']');
}

void described_json(const struct recipe *r, const struct calibration *c, const struct standard_sweep *of, size_t n, struct arena *arena,
                    struct json_out *o)
{
        const struct terms *t = &c->terms;
        struct rf_descriptors d;
        if (rf_describe(t, NULL, NULL, 0, &d, NULL))
                return;
        json_open(o, "history", '{');
        json_open(o, "probes", '[');
        for (size_t p = 0; p < r->setup.probe_n; p++)
                json_text(o, NULL, r->setup.probes[p].serial);
        json_close(o, ']');
        json_open(o, "modules", '['); /* "": not told */
        for (size_t p = 0; p < r->setup.probe_n; p++)
                json_text(o, NULL, r->setup.probes[p].module);
        json_close(o, ']');
        json_open(o, "bands", '[');
        for (size_t b = 0; b < d.band_n; b++) {
                const struct rf_descriptor_band *at = &d.band[b];
                if (!isfinite(at->directivity_db[0]) && !isfinite(at->directivity_db[1]))
                        continue; /* no point of the sweep lies there */
                json_open(o, NULL, '{');
                json_real(o, "from_hz", at->from_hz);
                json_real(o, "to_hz", at->to_hz);
                pair(o, "directivity_db", at->directivity_db);
                pair(o, "match_db", at->match_db);
                pair(o, "load_db", at->load_db);
                pair(o, "tracking_db", at->tracking_db);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_open(o, "tracking", '['); /* hz, port 1 re im, port 2 re im */
        size_t last = SIZE_MAX;
        for (size_t k = 0; k < TRACKED; k++) {
                double low = t->axis->hz[0], high = t->axis->hz[t->axis->n - 1];
                size_t i = axis_nearest(t->axis, low + (high - low) * (double)k / (TRACKED - 1));
                double track[4] = {t->re[TERM_ERF][i], t->im[TERM_ERF][i], t->re[TERM_ERR][i], t->im[TERM_ERR][i]};
                if (i == last || !isfinite(track[0] + track[1] + track[2] + track[3]))
                        continue;
                last = i;
                json_open(o, NULL, '[');
                json_real(o, NULL, t->axis->hz[i]);
                for (int m = 0; m < 4; m++)
                        json_real(o, NULL, track[m]);
                json_close(o, ']');
        }
        json_close(o, ']');
        floor_json(r, c, of, n, arena, o);
        json_close(o, '}');
        suspicions_json(r, c, of, n, arena, o);
}

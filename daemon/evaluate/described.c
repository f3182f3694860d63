/* described.c: what a calibration leaves for the history of its probes and modules, as part of the diagnosis: serials, figures per band,
 * and the reflection tracking at a few frequencies, so that delay and loss against any earlier calibration can be had from the text alone.
 */
#include "evaluate/inside.h"
#include "rf/history.h"
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

void described_json(const struct recipe *r, const struct terms *t, struct json_out *o)
{
        struct rf_descriptors d;
        if (rf_describe(t, NULL, NULL, 0, &d, NULL))
                return;
        json_open(o, "history", '{');
        json_open(o, "probes", '[');
        for (size_t p = 0; p < r->setup.probe_n; p++)
                json_text(o, NULL, r->setup.probes[p].serial);
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
                double of[4] = {t->re[TERM_ERF][i], t->im[TERM_ERF][i], t->re[TERM_ERR][i], t->im[TERM_ERR][i]};
                if (i == last || !isfinite(of[0] + of[1] + of[2] + of[3]))
                        continue;
                last = i;
                json_open(o, NULL, '[');
                json_real(o, NULL, t->axis->hz[i]);
                for (int m = 0; m < 4; m++)
                        json_real(o, NULL, of[m]);
                json_close(o, ']');
        }
        json_close(o, ']');
        json_close(o, '}');
}

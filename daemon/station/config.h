/* config.h: the station's own file.  Limits stand here and nowhere else: the daemon can ask, only this file can permit. */
#ifndef TIPPLANE_STATION_CONFIG_H
#define TIPPLANE_STATION_CONFIG_H
#include "station/interlock.h"
#include "station/roles.h"

struct limits_file {
        double volt_max, overtravel_um_max, separation_um_min, temperature_c_max, bias_unknown_wait_s;
        bool armed;
        bool separate_when_bias_unknown, has_separate;
};
struct station_config {
        char name[64], driver[32], log[256];
        struct limits_file limits;
        /* not in the file: */
        char *driver_json;
        size_t driver_json_n; /* its "config", as text; station_config_done frees it */
        char base_dir[512];   /* what relative paths in the driver's config stand in */
        char build[64];
        int64_t daemon_uid; /* frames but SAFE only from this user; -1: from any */
        const struct driver_row *drivers;
        size_t driver_n; /* NULL: those of driver_table.c */
};
/* `path` is only for the sentence and for base_dir (its folder) unless base_dir is given. */
enum code station_config_read(const char *text, size_t n, const char *path, const char *base_dir, struct station_config *ret,
                              struct tp_error *);
void station_config_done(struct station_config *);
struct limits station_limits(const struct station_config *, unsigned channels);
/* The JSON Schema of the file. */
void station_config_schema(struct text *to);

#endif

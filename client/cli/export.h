/* export.h: the sweeps of a run and what their files are called. */
#ifndef TIPPLANE_CLI_EXPORT_H
#define TIPPLANE_CLI_EXPORT_H
#include "cli/cli.h"
#include "cli/http.h"

struct sweep_name {
        const char *device;
        long long x, y, condition, n, touchdown;
        bool is_last; /* of this device and condition */
        bool refused; /* the daemon cannot correct it: there is no file */
};
enum code sweeps_read(struct cli *c, const cJSON *sweeps, struct sweep_name **ret, size_t *ret_n, struct tp_error *err);
/* "x-3y2_L1.s2p", an earlier touch "x-3y2_L1_n58.s2p". */
void sweep_file_name(const struct sweep_name *s, char *ret, size_t room);

/* export_drift.c: what both checks around a sweep say of each port's drift since the run's last calibration. */
struct export_drift;
enum code export_drift_read(struct cli *c, const char *run, struct export_drift **ret, struct tp_error *err);
/* A line for the raw file's comment, begun by '\n'; "": not both checks passed. */
void export_drift_comment(const struct export_drift *, long long touchdown, char *ret, size_t room);

/* export_models.c: DIR/models, of the files in DIR. */
enum code export_models(struct cli *c, const char *run, const char *dir, const struct sweep_name *names, size_t n, struct tp_error *err);

/* export_stdf.c: the run as STDF V4 in `file`.  CODE_STATE: it has not ended. */
enum code export_stdf(struct cli *c, const char *run, const char *file, struct tp_error *err);

#endif

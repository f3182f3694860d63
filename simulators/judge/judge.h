/* judge.h: the sealed truth, read by the judge alone, and what the judge says of a run. */
#ifndef TIPPLANE_SIMULATORS_JUDGE_H
#define TIPPLANE_SIMULATORS_JUDGE_H
#include "simulators/judge/table.h"
#include "simulators/scenario.h"
#include "simulators/true_values.h"

struct true_fault {
        char what[32], device[32], standard[32];
        int32_t die_x, die_y, first, attempts;
};
struct true_event {
        char what[32], detail[160];
        double at_s;
        int64_t touches;
        int32_t target;
};
struct true_condition { /* under which a device is swept */
        char device[32];
        int32_t condition;
        struct true_at at;
};
struct truth {
        struct sim_device *devices;
        size_t device_n;
        struct true_condition *conditions;
        size_t condition_n;
        struct true_fault *faults;
        size_t fault_n;
        struct true_event *events;
        size_t event_n;
};
enum code truth_read(const char *path, struct arena *, struct truth *ret, struct tp_error *);
const struct sim_device *truth_device(const struct truth *, int die_x, int die_y, const char *name);
/* hz is left to the caller; nothing is known of it: without bias. */
struct true_at truth_at(const struct truth *, const char *device, int condition);

/* One proven number against the truth. */
struct judged {
        int die_x, die_y;
        char device[32], name[40];
        double value, u95, truth, ratio; /* |value - truth|/u95 */
};
struct judged_group {
        char name[80];
        size_t n;
        double median, worst;
};
struct parameters_judged {
        struct judged *rows;
        size_t n, unknown_n /* proven, but the truth knows no such thing */, without_value_n;
        size_t within_n, far_n; /* |error| <= u95; > 3 u95 */
        struct judged_group *groups;
        size_t group_n;
};
/* Rows of this trust alone.  Columns by name: die_x die_y device value u95 trust freq_hz, quantity and/or parameter, and condition, volt
   (across the device), lo_hz and hi_hz if they are there. */
enum code parameters_judge(const struct truth *, const struct table *, const char *trust, struct arena *, struct parameters_judged *ret,
                           struct tp_error *);

struct contacts_judged {
        size_t lost_n, lost_found_n, open_n, open_found_n, missed_trusted_n, sound_n, false_n, not_touched_n;
        char missed[10][64];
        size_t missed_n;
};
/* Columns by name: die_x die_y device outcome, and trust if it is there; rows in the order of the touches. */
enum code contacts_judge(const struct truth *, const struct table *, struct arena *, struct contacts_judged *ret, struct tp_error *);

struct drift_judged {
        bool stepped;
        size_t touches;
        size_t affected_n, suspect_n, missed_n /* affected, not suspect */, extra_n;
        char from[64];
};
/* From a run file: the interval that holds the step against the touches that are suspect or rescued. */
enum code drift_judge(const struct truth *, const char *run_path, struct arena *, struct drift_judged *ret, struct tp_error *);

#endif

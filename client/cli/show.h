/* show.h: what the daemon answers, as text for people.  Pure: JSON in, text out. */
#ifndef TIPPLANE_CLI_SHOW_H
#define TIPPLANE_CLI_SHOW_H
#include "cli/cli.h"

/* The wafer seen from above, one cell per die: the border is trust, the mark is the verdict, the number (with parameters) the value.
   map: schema Map; parameters: schema Parameters of one device and one quantity, or NULL.  `device`: NULL shows the die as a whole. */
void show_map(const cJSON *map, const cJSON *parameters, const char *device, struct text *to);
void show_map_legend(struct text *to);
/* Marks of the map. */
char verdict_mark(const char *outcome, const char *verdict);
const char *trust_border(const char *trust); /* two characters: left, right */

/* run show.  Any of the last six may be NULL: it is left out then. */
void show_run(const cJSON *run, const cJSON *map, const cJSON *parameters, const cJSON *checks, const cJSON *calibrations,
              const cJSON *devices, const cJSON *yield, struct text *to);
/* Of show_run: calibrations: schema Calibrations or NULL; anew: how often one was made again while the run went on. */
void show_calibrations(const cJSON *calibrations, int64_t anew, struct text *to);
/* The rescue that the run offers, where it does: evaluations: schema Evaluations. */
void show_offer(const cJSON *evaluations, const char *run, struct text *to);
/* Did it end with something a person must look at?  A device that failed, is suspect, has no contact, or was left out. */
bool run_has_fails(const cJSON *run);

/* Columns: cells are put row by row; text to the left, numbers to the right.  Widths count characters, not bytes. */
#define TABLE_COLUMNS_MAX 12
struct table {
        struct arena *arena;
        const char **cells;
        size_t n, room, columns;
        const char *align; /* one letter per column: 'l' or 'r' */
        bool broken;
};
struct table table_of(struct arena *arena, const char *align);
void table_cell(struct table *t, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
void table_put(const struct table *t, struct text *to);

#endif

/* route.h: one row = one operation of openapi.yaml. */
#ifndef TIPPLANE_API_ROUTE_H
#define TIPPLANE_API_ROUTE_H
#include "api/api.h"

struct route {
        const char *operation, *method, *path; /* "map", "GET", "/api/v1/runs/{run}/map" */
        enum role role;
        enum cost cost;
        uint32_t body_max;
        bool key;    /* an Idempotency-Key is required */
        bool urgent; /* never waits behind other commands */
        /* From memory alone, never blocking; false: ask `answer`.  NULL: always ask it. */
        bool (*now)(struct request *, struct reply *);
        /* On a reader (or, for commands, at the request's desk). */
        enum code (*answer)(struct request *, struct reply *, struct tp_error *);
};
extern const struct route routes[];
extern const size_t route_n;

/* Everything that can be said without the body: host, origin, route, method, length, type, token, role.  false: the reply is the complete
   refusal. The door calls it when the header is there, before it reads a byte of the body. */
bool route_open(struct request *, struct reply *);
/* The whole: opens if that has not been done, then answers.  The reply is always complete. */
void route_answer(struct request *, struct reply *);
/* Only what is in memory: true when the reply is complete. */
bool route_now(struct request *, struct reply *);
/* The table as JSON, for `tipplaned --routes`. */
void route_print(struct text *to);

/* ---- the handlers, by file ---- */
#define NOW(name) bool name(struct request *, struct reply *)
#define ANSWER(name) enum code name(struct request *, struct reply *, struct tp_error *)
NOW(healthz_now);
NOW(readyz_now);
NOW(metrics_now); /* metrics.c */
NOW(page_now);
NOW(page_file_now);
NOW(openapi_now);      /* page.c */
NOW(problem_page_now); /* problem.c */
NOW(station_now);
ANSWER(station_safe);
ANSWER(station_clear); /* station.c */
ANSWER(documents_list);
ANSWER(document_get);
ANSWER(recipes_list);
ANSWER(recipe_put);
ANSWER(recipe_explain_answer);
ANSWER(recipe_plan); /* documents.c */
ANSWER(runs_list);
ANSWER(run_start);
ANSWER(run_get);
NOW(run_now);
ANSWER(run_command);
ANSWER(command_get);
NOW(map_now);
ANSWER(map_get);
ANSWER(run_file); /* runs.c */
ANSWER(devices_get);
ANSWER(touchdowns_get);
ANSWER(journal_get);
ANSWER(checks_get);
ANSWER(intervals_get);
ANSWER(calibrations_get);
ANSWER(ribbon_get);                                         /* story.c */
void devices_say(struct json_out *, const struct recipe *); /* the same, for yield.c: "devices": [...] */
ANSWER(yield_get);                                          /* yield.c */
ANSWER(evaluations_get);
/* data.c, for offer.c: "parameters": [...]; and the same as CSV.  recipe: the run's, for the limits they were judged by; NULL: not known. */
void parameters_say(struct json_out *, const struct recipe *, const struct parameter_row *, size_t n);
enum code parameters_table(const char *run, const struct recipe *, const struct parameter_row *, size_t n, struct text *to,
                           struct tp_error *);
/* That recipe; NULL where this build would no longer take it: the numbers stand in the file all the same. */
enum code ask_limits(struct request *, struct view *, struct recipe **ret, struct tp_error *);
ANSWER(rescue_json);
ANSWER(rescue_csv);
ANSWER(parameters_json);
ANSWER(parameters_csv);
ANSWER(sweeps_get);
ANSWER(sweep_get);
ANSWER(trace_get); /* data.c */
ANSWER(network_s2p);
ANSWER(network_csv); /* network.c */
ANSWER(alarms_get);
ANSWER(audit_get);
ANSWER(token_make_answer); /* people.c */
ANSWER(events_open);       /* event.c */

#endif

/* night_own.h: one night from the inside; for night.c, which drives it, and judge_night.c, which judges it. */
#ifndef TIPPLANE_TESTS_NIGHT_OWN_H
#define TIPPLANE_TESTS_NIGHT_OWN_H
#include "run/house.h"
#include "station/config.h"
#include "station/serve.h"
#include "tests/nights/night.h"

struct night {
        const struct night_plan *plan;
        struct night_end *end;
        struct sim *sim;
        const struct world *w;
        struct log log;
        struct sim_process *station_process, *daemon_process;
        struct station_config config;
        struct station *station;
        struct house *house;
        bool started, answered;
        enum code start_code;
        char start_why[200], run[27];
        int64_t next_fault_ns, forecast_until_ns;
        unsigned faults_left;
        int64_t asked_since_ns;
        bool safe_answered; /* ask_safe.c */
        enum code safe_code;
        int64_t safe_ns;
};
/* The first reason counts. */
void night_fail(struct night *n, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* What is left when the programs stand still: the run's file, its ledger, the world; each as it must be, or night_fail().  Exports them. */
void night_judge(struct night *n);

/* Asks for safety, sees that the station stands for four seconds, then resumes. */
void night_ask_safe(struct night *n);

#endif

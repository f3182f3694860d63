/* tests/nights: both whole programs on fibers under a virtual clock; one seed is one night.  The only things left out are MHD, real sockets
   and real disks.

   night.h: one night: which faults it may draw, and what became of it. */
#ifndef TIPPLANE_TESTS_NIGHT_H
#define TIPPLANE_TESTS_NIGHT_H
#include "simulators/world/sim.h"

struct night_plan {
        uint64_t seed;
        const char *recipe, *scenario; /* texts */
        size_t recipe_n, scenario_n;
        /* swarm: how likely each kind is in this night; each seed draws its own subset and numbers */
        bool contacts, instruments, drift;          /* inside the simulated station */
        bool kill_daemon, kill_station, power, net; /* from outside */
        bool sync_fails, sync_hangs, sync_lies, disk_full;
        uint64_t cut_at_sync; /* in this sync of the whole night the daemon is killed (odd), or the power goes (even); 0: no */
        uint64_t kill_at_seq; /* kill the daemon when the journal reaches this entry, 0: no */
        bool again;           /* judged before: its digest alone is of interest */
        bool commands;        /* pause, resume, skip a die, finish early */
        bool safes;           /* a person asks for safety, far more often than anything else goes wrong */
        bool loud;
        const char *export_dir; /* the sealed run file and the truth are copied there; NULL: no */
        uint64_t scenario_seed; /* of the simulated wafer; 0: by the seed */
};
struct night_end {
        bool sealed, safe, latched;
        char why[300];    /* "" when all is well */
        uint64_t persons; /* how often a person had to be asked */
        uint64_t entries, starts_daemon, starts_station, power_cuts, kills, syncs, switches;
        uint64_t safes;           /* asked for and proven */
        uint64_t contacts;        /* judged once more from the file */
        uint64_t offers;          /* rescues offered to a person */
        uint64_t checks, as_seen; /* checks judged once more from the file; values whose drift counts as both checks saw it */
        uint64_t sweeps, touches, measured, proven, suspect, no_contact, lost_sweeps;
        double station_s, virtual_s;
        uint8_t digest[32]; /* over the journal */
};
void night_run(const struct night_plan *, struct night_end *ret);

/* judge_checks.c: every check of the run once more from its file alone, by a reader that was never killed: the same verdict, cause, modes and
   share of a limit, bit for bit; and each value of an interval whose checks both passed counts its drift as they saw it.  why: "" when so. */
struct view;
struct entry;
struct arena;
struct calibration;
struct tp_error;
enum { NIGHT_CALIBRATIONS = 64 };
/* judge_night.c: the calibrations of a run's file by their number, from 1; more than there is room for: CODE_BAD_INPUT. */
enum code night_calibrations(struct view *, struct arena *, const struct calibration *ret[NIGHT_CALIBRATIONS], struct tp_error *);
void judge_checks(struct view *, const char *run, const struct entry *, size_t n, uint64_t *ret_checks, uint64_t *ret_as_seen,
                  char why[300]);

/* judge_contacts.c: the contact of every swept touch once more from the file alone, by a reader that was never killed: the same grade for the
   same reason.  why: "" when so. */
void judge_contacts(struct view *, const char *run, const struct entry *, size_t n, uint64_t *ret_contacts, char why[300]);

/* judge_offer.c: where the mandate does not grant a rescue and the whole file allows one, it is offered once: one note in the journal, one offer in
   the file, with the numbers that the file gives anew, bit for bit; elsewhere none. */
void judge_offer(struct view *, const char *run, const struct entry *, size_t n, uint64_t *ret_offers, char why[300]);

#endif

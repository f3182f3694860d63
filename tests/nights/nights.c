/* nights.c: many seeds, each drawing its own mix of faults; a failure prints the command that repeats it.
   nights [--first N] [--seeds N] [--twice] [--only WORD] [--last] [--control WORD] [--loud] RECIPE SCENARIO */
#include "tests/nights/night.h"
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { ENTRIES = 420 }; /* a quiet night of tests/nights/tiny.json has a few more */

static char *slurp(const char *path, size_t *ret_n)
{
        FILE *f = fopen(path, "rb");
        char *text = f ? calloc(1, 1 << 20) : NULL;
        if (!text) {
                fprintf(stderr, "nights: %s cannot be read\n", path);
                exit(2);
        }
        *ret_n = fread(text, 1, (1 << 20) - 1, f);
        fclose(f);
        return text;
}

/* Each seed draws its own classes; one in eight nights is quiet. */
static void draw_faults(struct night_plan *p, const char *only)
{
        uint64_t bits = p->seed * UINT64_C(0x9e3779b97f4a7c15);
        bits ^= bits >> 29;
        bits *= UINT64_C(0xbf58476d1ce4e5b9);
        bool quiet = (bits >> 60 & 7) == 0;
#define DRAWN(name, bit) (only ? strcmp(only, name) == 0 : !quiet && (bits >> (bit)&1))
        p->kill_daemon = DRAWN("daemon", 10);
        p->kill_station = DRAWN("station", 11);
        p->power = DRAWN("power", 12);
        p->net = DRAWN("net", 13);
        p->sync_fails = DRAWN("fails", 14) && (only || (bits >> 20 & 1));
        p->sync_hangs = DRAWN("hangs", 15) && (only || (bits >> 21 & 1));
        p->disk_full = DRAWN("full", 16) && (only || (bits >> 22 & 1));
        p->commands = DRAWN("commands", 17) && (only || (bits >> 23 & 1));
        p->contacts = DRAWN("contacts", 30);
        p->instruments = DRAWN("instruments", 31);
        p->drift = DRAWN("drift", 32) && (only || (bits >> 24 & 1));
        p->safes = DRAWN("safes", 33) && (only || (bits >> 25 & 1));
        if (only && strcmp(only, "entries") == 0)
                p->kill_at_seq = 2 + p->seed * 389 % ENTRIES; /* 389 shares no factor with it: each entry once in ENTRIES seeds */
#undef DRAWN
}

static void print_night(uint64_t seed, const struct night_end *e)
{
        printf("seed %llu: %s entries=%llu touches=%llu sweeps=%llu proven=%llu suspect=%llu daemon=%llu station=%llu power=%llu %.0f s  "
               "%s\n",
               (unsigned long long)seed,
               e->why[0]    ? "FAILED"
               : e->latched ? "latched"
                            : "ended",
               (unsigned long long)e->entries, (unsigned long long)e->touches, (unsigned long long)e->sweeps, (unsigned long long)e->proven,
               (unsigned long long)e->suspect, (unsigned long long)e->starts_daemon, (unsigned long long)e->starts_station,
               (unsigned long long)e->power_cuts, e->virtual_s, e->why);
}

int main(int argc, char **argv)
{
        static const struct option options[] = {{"first", 1, NULL, 'f'},   {"seeds", 1, NULL, 's'}, {"twice", 0, NULL, 't'},
                                                {"only", 1, NULL, 'o'},    {"loud", 0, NULL, 'l'},  {"export", 1, NULL, 'e'},
                                                {"control", 1, NULL, 'c'}, {"last", 0, NULL, 'k'},  {NULL, 0, NULL, 0}};
        uint64_t first = 1, seeds = 50, failed = 0, latched = 0, entries = 0, sweeps = 0, deaths = 0, cuts = 0, persons = 0, checks = 0,
                 as_seen = 0, offers = 0, contacts = 0, safes = 0;
        bool twice = false, loud = false;
        bool last = false; /* each seed's night once whole, then cut off in one of its last syncs: the n-th last one with the n-th seed */
        const char *only = NULL, *control = NULL;
        struct night_plan plan = {0};
        for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;)
                switch (c) {
                case 'f':
                        first = strtoull(optarg, NULL, 10);
                        break;
                case 's':
                        seeds = strtoull(optarg, NULL, 10);
                        break;
                case 't':
                        twice = true;
                        break;
                case 'l':
                        loud = true;
                        break;
                case 'o':
                        only = optarg;
                        break;
                case 'e':
                        plan.export_dir = optarg;
                        break;
                case 'k':
                        last = true;
                        break;
                case 'c':
                        control = optarg;
                        break;
                default:
                        return 2;
                }
        if (argc - optind != 2) {
                fprintf(stderr, "usage: nights [--first N] [--seeds N] [--twice] [--only CLASS] [--last] [--control lies] [--loud] "
                                "RECIPE SCENARIO\n");
                return 2;
        }
        plan.loud = loud;
        plan.recipe = slurp(argv[optind], &plan.recipe_n);
        plan.scenario = slurp(argv[optind + 1], &plan.scenario_n);
        struct timespec a, b;
        clock_gettime(CLOCK_MONOTONIC, &a);
        for (uint64_t seed = first; seed < first + seeds; seed++) {
                struct night_end end, again;
                plan.seed = seed;
                plan.kill_at_seq = 0;
                draw_faults(&plan, only);
                plan.cut_at_sync = 0;
                if (last) {
                        night_run(&plan, &end);
                        plan.cut_at_sync = end.syncs > seed - first ? end.syncs - (seed - first) : 1;
                }
                if (control && strcmp(control, "lies") == 0)
                        plan.power = plan.sync_lies = true;
                night_run(&plan, &end);
                if (!end.why[0] && twice) {
                        plan.again = true;
                        night_run(&plan, &again);
                        plan.again = false;
                        if (memcmp(end.digest, again.digest, 32) != 0)
                                snprintf(end.why, sizeof end.why, "the same seed gave another night (entries %llu and %llu)",
                                         (unsigned long long)end.entries, (unsigned long long)again.entries);
                }
                if (loud || end.why[0])
                        print_night(seed, &end);
                if (end.why[0]) {
                        failed++;
                        printf("  repeat: %s --first %llu --seeds 1%s%s%s%s --loud %s %s\n", argv[0], (unsigned long long)seed,
                               only ? " --only " : "", only ? only : "", control ? " --control " : "", control ? control : "", argv[optind],
                               argv[optind + 1]);
                }
                latched += end.latched;
                entries += end.entries;
                sweeps += end.sweeps;
                checks += end.checks;
                as_seen += end.as_seen;
                offers += end.offers;
                contacts += end.contacts;
                safes += end.safes;
                deaths += end.kills;
                cuts += end.power_cuts;
                persons += end.persons;
        }
        clock_gettime(CLOCK_MONOTONIC, &b);
        double s = (double)(b.tv_sec - a.tv_sec) + (double)(b.tv_nsec - a.tv_nsec) * 1e-9;
        printf("nights%s%s: %llu journal entries, %llu sweeps, %llu kills, %llu power cuts, a person asked %llu times, %llu ended latched; "
               "%.0f nights a minute\n",
               only ? " of " : "", only ? only : "", (unsigned long long)entries, (unsigned long long)sweeps, (unsigned long long)deaths,
               (unsigned long long)cuts, (unsigned long long)persons, (unsigned long long)latched,
               (double)seeds * (twice ? 2 : 1) / s * 60);
        printf("  %llu checks and %llu contacts judged once more from their files, %llu values with drift as both checks saw it; %llu "
               "rescues offered, %llu times proven safe when asked\n",
               (unsigned long long)checks, (unsigned long long)contacts, (unsigned long long)as_seen, (unsigned long long)offers,
               (unsigned long long)safes);
        printf("%llu passed, %llu failed\n", (unsigned long long)(seeds - failed), (unsigned long long)failed);
        free((void *)(uintptr_t)plan.recipe);
        free((void *)(uintptr_t)plan.scenario);
        return failed ? 1 : 0;
}

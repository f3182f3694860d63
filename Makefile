# Tipplane.  One graph, no recursion; a build folder per VARIANT (debug, release, asan, tsan).  `make help` lists what there is.
# the demo and the benches want the optimised build, everything else the debug one
VARIANT ?= $(if $(filter demo bench coverage,$(MAKECMDGOALS)),release,debug)
B := build/$(VARIANT)
CC := $(if $(filter guided,$(VARIANT)),clang-14,gcc)
FLAGS_debug   := -g -O1
FLAGS_release := -g -O2 -DNDEBUG_SLOW
FLAGS_asan    := -g -O1 -fsanitize=address,undefined,float-cast-overflow -fno-sanitize-recover=all -fno-omit-frame-pointer
FLAGS_tsan    := -g -O1 -fsanitize=thread
FLAGS_guided  := -g -O1 -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all -DFUZZ_GUIDED -w "-DCMPLX(x,y)=__builtin_complex((double)(x),(double)(y))"
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo unknown)
CFLAGS += -std=c11 -D_GNU_SOURCE -Wall -Wextra -Werror -Wshadow -Wconversion -MMD -MP -Idaemon -Iclient -I. $(FLAGS_$(VARIANT))
LDFLAGS += $(FLAGS_$(VARIANT))

all: programs

# ---- rooms: the objects of each, what each may link to (the walls are these lines), and the system libraries each brings ----------------
ROOMS := base host rf formats wafer recipe run station evaluate store act api simulators world cli
DIR_base := daemon/base
DIR_host := daemon/host
DIR_rf := $(patsubst %/,%,$(wildcard daemon/rf/*/ daemon/rf/*/*/))
DIR_formats := daemon/formats
DIR_wafer := daemon/wafer
DIR_recipe := daemon/recipe
DIR_run := daemon/run
DIR_station := daemon/station daemon/station/drivers
DIR_evaluate := daemon/evaluate
DIR_store := daemon/store
DIR_act := daemon/run
DIR_api := daemon/api
DIR_simulators := simulators
DIR_world := simulators/world
DIR_cli := client/cli

NEED_base :=
NEED_host := base
NEED_rf := base
NEED_formats := rf base
NEED_wafer := rf base
NEED_recipe := wafer formats rf base
NEED_run := recipe wafer formats rf base
NEED_simulators := wafer base
NEED_world := base
NEED_station := simulators run recipe wafer formats rf base
NEED_store := run recipe wafer formats rf base
NEED_evaluate := store run recipe wafer formats rf base
NEED_act := evaluate store station simulators run recipe wafer formats rf base
NEED_api := act $(NEED_act)
NEED_cli := host formats rf recipe wafer base

SYS_base := -lcjson -lm
SYS_host := -luv -lpthread
SYS_store := -lsqlite3
SYS_rf := -llapacke -lopenblas
SYS_api := -lmicrohttpd
SYS_world := -lsqlite3 -lpthread
SYS_cli := -lcurl

# run/ holds two links: decide, laws, evidence, trust, forecast, step and entry are pure; the rest acts
PURE_run := $(addprefix daemon/run/,$(addsuffix .c,step entry evidence evidence_apply evidence_touch evidence_state evidence_settle evidence_query decide rules laws trust rescue forecast))
LEAVE_run := $(filter-out $(PURE_run),$(wildcard daemon/run/*.c))
LEAVE_act := $(PURE_run)

define room
SRC_$(1) := $$(filter-out $$(LEAVE_$(1)),$$(wildcard $$(addsuffix /*.c,$$(DIR_$(1)))))
OBJ_$(1) := $$(patsubst %.c,$(B)/%.o,$$(SRC_$(1)))
$(B)/lib$(1).a: $$(OBJ_$(1))
	@rm -f $$@; ar rcs $$@ $$^
endef
$(foreach r,$(ROOMS),$(eval $(call room,$(r))))
# the schema travels inside the programs: schema/KIND/NNNN_*.sql as one C table
SCHEMA_SQL := $(sort $(wildcard schema/*/*.sql))
$(B)/schema_sql.c: $(SCHEMA_SQL) schema/to_c.sh
	@mkdir -p $(@D)
	sh schema/to_c.sh $(SCHEMA_SQL) >$@
$(B)/schema_sql.o: $(B)/schema_sql.c
	$(CC) $(CFLAGS) -c $< -o $@
$(B)/libstore.a: $(B)/schema_sql.o
# the page and the interface's description travel inside tipplaned: a C table of files; uPlot comes from npm, by the lock file
UPLOT := $(if $(wildcard client/web/package-lock.json),client/web/node_modules/uplot/dist/uPlot.esm.js client/web/node_modules/uplot/dist/uPlot.min.css)
$(UPLOT) &: client/web/package-lock.json
	cd client/web && npm ci --ignore-scripts --no-audit --no-fund --silent
	@touch $(UPLOT)
PAGE_FILES := $(sort $(wildcard client/web/*.html client/web/*.js client/web/*.css client/web/*.svg)) $(UPLOT) schema/openapi.yaml
$(B)/page_files.c: $(PAGE_FILES) daemon/api/page_files.sh
	@mkdir -p $(@D)
	sh daemon/api/page_files.sh $(PAGE_FILES) >$@.new && mv $@.new $@
$(B)/page_files.o: $(B)/page_files.c
	$(CC) $(CFLAGS) -c $< -o $@
$(B)/libapi.a: $(B)/page_files.o
# links of a room: itself and its needs, then the libraries they bring
link = $(foreach r,$(1) $(NEED_$(1)),$(B)/lib$(r).a)
sys = $(foreach r,$(1) $(NEED_$(1)),$(SYS_$(r)))

# ---- programs ------------------------------------------------------------------------------------------------------------------------
DAEMON_ROOMS := api act evaluate store station simulators run recipe wafer formats rf host base
$(B)/tipplaned: $(B)/daemon/tipplaned.o $(foreach r,$(DAEMON_ROOMS),$(B)/lib$(r).a)
	$(CC) $(LDFLAGS) $< -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(foreach r,$(DAEMON_ROOMS),$(SYS_$(r))) -o $@
STATION_ROOMS := station simulators run recipe wafer formats rf host base
$(B)/tipplane-station: $(B)/daemon/tipplane_station.o $(foreach r,$(STATION_ROOMS),$(B)/lib$(r).a)
	$(CC) $(LDFLAGS) $< -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(foreach r,$(STATION_ROOMS),$(SYS_$(r))) -o $@
CLI_ROOMS := cli $(NEED_cli)
$(B)/tipplane: $(foreach r,$(CLI_ROOMS),$(B)/lib$(r).a)
	$(CC) $(LDFLAGS) $(OBJ_cli) -Wl,--start-group $(filter-out $(B)/libcli.a,$(filter %.a,$^)) -Wl,--end-group $(foreach r,$(CLI_ROOMS),$(SYS_$(r))) -o $@
programs: $(B)/tipplaned $(B)/tipplane-station $(B)/tipplane ## build the three programs of VARIANT

# the judge knows the simulator's sealed truth, and nothing of the programs above
JUDGE_OBJ := $(patsubst %.c,$(B)/%.o,$(wildcard simulators/judge/*.c))
$(B)/truth-judge: $(JUDGE_OBJ) $(call link,simulators)
	$(CC) $(LDFLAGS) $(JUDGE_OBJ) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group -lsqlite3 $(SYS_base) -o $@

# stated intervals against the simulator's truth: physics of simulators/, the chain of evaluate/, no daemon
COVERAGE_ROOMS := evaluate $(NEED_evaluate) simulators host
COVERAGE_OBJ := $(patsubst %.c,$(B)/%.o,$(wildcard tests/judges/coverage*.c))
$(B)/coverage: $(COVERAGE_OBJ) $(foreach r,$(COVERAGE_ROOMS),$(B)/lib$(r).a)
	$(CC) $(LDFLAGS) $(COVERAGE_OBJ) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(foreach r,$(COVERAGE_ROOMS),$(SYS_$(r))) -o $@
TOUCHES ?= 1000
coverage: $(B)/coverage $(B)/tipplane ## do 95 % intervals hold the truth in 95 of 100 touches, each with a fresh calibration?  TOUCHES=20000 for more
	@sh tests/judges/coverage.sh $(B)/coverage $(TOUCHES)
	@FIT_DRAWS=1000 python3 tests/station/offline_fit_drawn.py --build $(B)
# products of complex numbers without C's second look at infinities (no S parameter lives beyond 1e150, and NaN stays NaN); nobody reads errno
$(OBJ_rf): CFLAGS += $(if $(filter guided,$(VARIANT)),,-fcx-limited-range) -fno-math-errno -fno-trapping-math

# only what says its version is compiled again when that changes
NAMED := $(addprefix $(B)/,daemon/tipplaned.o daemon/tipplane_station.o client/cli/tipplane.o client/cli/cmd_people.o client/cli/export_stdf.o)
$(NAMED): CFLAGS += -DTIPPLANE_VERSION='"$(VERSION)"'
$(NAMED): $(B)/version
$(B)/version: FORCE
	@mkdir -p $(@D); echo '$(VERSION)' | cmp -s - $@ || echo '$(VERSION)' >$@
FORCE:

# packages first, objects after
GATE := $(if $(filter demo,$(MAKECMDGOALS)),need-build)$(if $(filter test,$(MAKECMDGOALS)),need-test)
$(B)/%.o: %.c | $(GATE)
	@mkdir -p $(@D)
	$(CC) $(CFLAGS) -c $< -o $@

# ---- tests in C: tests/unit/ROOM_*.c and tests/reference/ROOM_*.c link to ROOM and what it may know, and to nothing else ---------------
define ctests
TESTS_$(1) := $$(patsubst %.c,$(B)/%,$$(wildcard tests/unit/$(1)_*.c tests/reference/$(1)_*.c))
$$(TESTS_$(1)): $(B)/tests/%: $(B)/tests/%.o $(call link,$(1)) $(if $(filter store station evaluate act api,$(1)),$(B)/libhost.a)
	$$(CC) $$(LDFLAGS) $$< -Wl,--start-group $$(filter %.a,$$^) -Wl,--end-group $(call sys,$(1)) $(if $(filter store station evaluate act api,$(1)),$(SYS_host)) $(SYS_base) -lcmocka -o $$@
endef
$(foreach r,$(ROOMS),$(eval $(call ctests,$(r))))
CTESTS := $(foreach r,$(ROOMS),$(TESTS_$(r)))
.SECONDEXPANSION:
test-%: $$(TESTS_$$*) ## run the C tests of one room, e.g. make test-rf
	@sh tests/run_c.sh $(TESTS_$*)

NIGHT_ROOMS := act evaluate store station simulators world run recipe wafer formats rf base
$(B)/nights: $(patsubst %.c,$(B)/%.o,$(wildcard tests/nights/*.c)) $(foreach r,$(NIGHT_ROOMS),$(B)/lib$(r).a)
	$(CC) $(LDFLAGS) $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(foreach r,$(NIGHT_ROOMS),$(SYS_$(r))) -o $@

SEEDS ?= $(if $(filter asan,$(VARIANT)),40,60)
nights: $(B)/nights ## seeded nights of both programs in one thread, e.g. make nights SEEDS=10000 VARIANT=release
	@sh tests/nights/nights.sh $(B)/nights $(SEEDS)

FLOORS := $(addprefix $(B)/tests/unit/rf_,floor option_floor full_floor weak_spots handover trl_columns exact properties)
FIRST ?= $(shell date +%Y%m%d)
floors: $(FLOORS) ## every method within its rounding floor on new seeds (FIRST: today's date), e.g. make floors SEEDS=200 VARIANT=release
	@sh tests/floors.sh $(B) $(FIRST) $(SEEDS)

demo: need-build programs $(B)/truth-judge ## install what is missing, build, run the demo night on the simulated station, say where to look (ONCE=1 ends by itself)
	@sh deploy/demo.sh $(B)
test: need-test programs $(CTESTS) $(B)/nights $(B)/truth-judge $(B)/coverage ## install what is missing, then every test that needs Debian and npm packages only
	@CTESTS="$(CTESTS)" sh tests/all.sh $(B) $(SEEDS)
need-build:
	@sh deploy/need.sh build
need-test:
	@sh deploy/need.sh build test

# ---- benches: ratios side by side; VARIANT=release.  Each program is a file of tests/bench with what it may know -----------------------
BENCH_rf := rf base
BENCH_solve := formats rf base
BENCH_store := store $(NEED_store) host
BENCH_wafer := act $(NEED_act) host
BENCH_night := act $(NEED_act) host
BENCH_decide := run $(NEED_run)
BENCHES := $(foreach b,rf solve store wafer night decide api,$(B)/bench_$(b))
$(BENCHES): $(B)/bench_%: $(B)/tests/bench/bench_%.o $$(foreach r,$$(BENCH_$$*),$(B)/lib$$r.a)
	$(CC) $(LDFLAGS) $< -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(foreach r,$(BENCH_$*),$(SYS_$(r))) $(if $(filter decide,$*),-lcmocka) $(if $(filter api,$*),-lmicrohttpd) -o $@
bench-programs: $(BENCHES) $(B)/tipplaned $(B)/tipplane-station $(B)/nights
bench: bench-programs ## one table of ratios against their bounds, of the optimised build
	@sh tests/bench/bench.sh $(B)

# ---- lint, judges, fuzz ----------------------------------------------------------------------------------------------------------------
lint: ## cppcheck, clang-format, and what a reader of the tree would object to
	@sh deploy/need.sh lint
	@sh tests/lint/lint.sh
$(B)/rf_judge: $(B)/tests/judges/rf_judge.o $(call link,formats)
	$(CC) $(LDFLAGS) $< -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(call sys,formats) -o $@
$(B)/fit_judge: $(B)/tests/judges/fit_judge.o $(call link,formats)
	$(CC) $(LDFLAGS) $< -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(call sys,formats) -o $@
judges: $(B)/rf_judge $(B)/fit_judge $(B)/tipplane $(B)/tipplaned $(B)/tipplane-station ## the tests that need PyPI packages, in build/venv
	@sh deploy/need.sh judges
	@sh tests/judges/judges.sh $(B)

FUZZ_touchstone := formats $(NEED_formats)
FUZZ_terms := formats $(NEED_formats)
FUZZ_uncertainty := formats $(NEED_formats)
FUZZ_csv := formats $(NEED_formats)
FUZZ_stdf := formats $(NEED_formats)
FUZZ_recipe := recipe $(NEED_recipe)
FUZZ_plan := recipe $(NEED_recipe)
FUZZ_station := station $(NEED_station) host
FUZZ_frame := station $(NEED_station) host
FUZZ_entry := run $(NEED_run)
FUZZ_replay := station $(NEED_station) host
FUZZ_memory := station $(NEED_station) host
FUZZ_scenario := simulators $(NEED_simulators)
FUZZ_stored := act $(NEED_act) host
FUZZ_request := api $(NEED_api) host
FUZZ_calibration := evaluate $(NEED_evaluate) host
FUZZERS := $(foreach f,touchstone csv stdf recipe station frame entry calibration terms uncertainty plan replay memory scenario stored request,$(B)/fuzz_$(f))
$(FUZZERS): $(B)/fuzz_%: $(B)/tests/fuzz/fuzz_%.o $$(foreach r,$$(FUZZ_$$*),$(B)/lib$$r.a)
	$(CC) $(LDFLAGS) $< -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(foreach r,$(FUZZ_$*),$(SYS_$(r))) $(if $(filter request,$*),-lcmocka) -o $@
test: $(FUZZERS)
$(FUZZERS): LDFLAGS += $(if $(filter guided,$(VARIANT)),-fsanitize=fuzzer)
ITERATIONS ?= 200000
fuzz: $(FUZZERS) ## the readers of what comes from outside, long; best with VARIANT=asan ITERATIONS=1000000
	@sh tests/fuzz/replay.sh $(B) $(ITERATIONS)
SECONDS ?= 120
guided: ## the same readers led by coverage (libFuzzer of clang), SECONDS=120 each; what it found stays in build/guided/fuzz
	@sh deploy/need.sh build fuzz
	@$(MAKE) --no-print-directory VARIANT=guided $(patsubst $(B)/%,build/guided/%,$(FUZZERS))
	@sh tests/fuzz/guided.sh build/guided $(SECONDS)

help: ## this list
	@grep -hE '^[a-z%-]+:.*## ' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | sort | awk -F'\t' '{printf "  make %-14s %s\n", $$1, $$2}'

.PHONY: FORCE all programs help floors nights coverage bench bench-programs lint judges fuzz guided demo need-build need-test test
.SECONDARY:
-include $(shell find $(B) -name '*.d' 2>/dev/null)

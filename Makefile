# SPDX-License-Identifier: Apache-2.0
# make            builds build/postwalkd, build/postwalk and build/postwalk-office
# make demo       an afternoon of a made-up bus in real time (SPEED=10 hurries it)
# make test       every test that fits in a quarter of an hour
# make bench      figures
# make soak       a thousand deliveries through everything that goes wrong, into both stores
# make powercut   every power cut that the tests know, and kill -9 a thousand times
# make check-stats  the arithmetic of audits beside R
# make check-all  the rest: every failing disk, sanitizers, long random traces, R, bare folders of
#                 Debian 12 and 13
# make install    DESTDIR and PREFIX as usual

BUILD ?= build
ifeq ($(origin CC),default)
CC = gcc
endif
PKG_CONFIG ?= pkg-config
PREFIX ?= /usr/local
DESTDIR ?=

WARN = -Wall -Wextra -Wconversion -Wshadow -Wstrict-prototypes -Werror
HARDEN = -D_FORTIFY_SOURCE=2 -fstack-protector-strong -fPIE
CFLAGS ?= -O2 -g
ALL_CFLAGS = -std=c11 -D_GNU_SOURCE -Iinclude $(WARN) $(HARDEN) $(CFLAGS)
ALL_LDFLAGS = -pie -Wl,-z,relro,-z,now,-z,noexecstack,--as-needed $(LDFLAGS)

# The wall clock is not believed before the day of the sources.
BUILT ?= $(or $(SOURCE_DATE_EPOCH),$(shell git log -1 --format=%ct 2>/dev/null || stat -c %Y Makefile))

GPIOD_API := $(shell $(PKG_CONFIG) --atleast-version=2 libgpiod 2>/dev/null && echo 2 || echo 1)

CORE = $(wildcard daemon/core/*.c)
STATS = $(wildcard daemon/stats/*.c)
RECORD = $(wildcard daemon/record/*.c)
BOARD_ROOM = $(filter-out daemon/board/gpiod_v%,$(wildcard daemon/board/*.c)) \
	daemon/board/gpiod_v$(GPIOD_API).c
PAGE = $(wildcard daemon/page/*.c) daemon/page/web.S daemon/page/po_es.c daemon/page/po_fr.c
BUS = $(wildcard daemon/bus/*.c)
UPLINK = $(wildcard daemon/uplink/*.c)
TOOL = $(wildcard daemon/tool/*.c) daemon/tool/web.S
OFFICE = $(wildcard daemon/office/*.c) daemon/office/schema.S daemon/office/web.S daemon/office/packed.S \
	daemon/office/po_es.c daemon/office/po_fr.c
MAINS = daemon/bus/main.c daemon/tool/main.c daemon/office/main.c
ROOMS = $(CORE) $(STATS) $(RECORD) $(BOARD_ROOM) $(PAGE) $(UPLINK) \
	$(filter-out $(MAINS),$(BUS) $(TOOL) $(OFFICE))

obj = $(patsubst %,$(BUILD)/%.o,$(basename $(1)))
libs = $$($(PKG_CONFIG) --libs $(1))
TOOL_LIBS = sqlite3 libmicrohttpd libsodium jansson libcurl libzstd
OFFICE_LIBS = $(TOOL_LIBS) libpq zlib libarchive
LIBS = $(call libs,libgpiod $(OFFICE_LIBS))

.DELETE_ON_ERROR:
.PHONY: all demo test bench check check-all check-shim check-asan run-asan check-stats check-bare \
	install clean
all: $(BUILD)/postwalkd $(BUILD)/postwalk $(BUILD)/postwalk-office

$(BUILD)/postwalkd: $(call obj,$(CORE) $(RECORD) $(BOARD_ROOM) $(PAGE) $(BUS))
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) $^ -o $@ \
		$(call libs,libgpiod sqlite3 libmicrohttpd libsodium jansson)

$(BUILD)/postwalk: $(call obj,$(CORE) $(STATS) $(RECORD) $(UPLINK) $(TOOL))
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) $^ -o $@ $(call libs,$(TOOL_LIBS)) -lm

$(BUILD)/postwalk-office: $(call obj,$(CORE) $(STATS) $(RECORD) $(OFFICE))
	$(CC) $(ALL_CFLAGS) -pthread $(ALL_LDFLAGS) $^ -o $@ $(call libs,$(OFFICE_LIBS)) -lm

$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -MMD -MP -c $< -o $@

$(BUILD)/daemon/page/web.o: daemon/page/web.S $(wildcard web/bus/*.*)
	@mkdir -p $(@D)
	$(CC) -c $< -o $@
$(BUILD)/daemon/tool/web.o: daemon/tool/web.S $(wildcard web/bench/*.*)
	@mkdir -p $(@D)
	$(CC) -c $< -o $@
$(BUILD)/daemon/office/schema.o: daemon/office/schema.S $(wildcard daemon/office/schema/*.sql)
	@mkdir -p $(@D)
	$(CC) -c $< -o $@
$(BUILD)/daemon/office/packed.o: daemon/office/packed.S $(wildcard etc/pack/*)
	@mkdir -p $(@D)
	$(CC) -c $< -o $@

# The page's other languages: tables made of PO files.
.PRECIOUS: $(BUILD)/daemon/page/po_%.c
$(BUILD)/daemon/page/po_%.c: web/bus/po/%.po daemon/page/po.awk daemon/page/words_en.h
	@mkdir -p $(@D)
	awk -f daemon/page/po.awk daemon/page/words_en.h $< >$@
$(BUILD)/daemon/page/po_%.o: $(BUILD)/daemon/page/po_%.c
	$(CC) $(ALL_CFLAGS) -Idaemon/page -MMD -MP -c $< -o $@

OFFICE_PO = $(BUILD)/daemon/office/po_es.c $(BUILD)/daemon/office/po_fr.c
.PRECIOUS: $(OFFICE_PO)
$(OFFICE_PO): $(BUILD)/daemon/office/po_%.c: daemon/page/po.awk $(wildcard daemon/office/phrases/*.h web/office/po/*/*.po)
	@mkdir -p $(@D)
	awk -v language=$* -v words=phrase -v first=P -f daemon/page/po.awk daemon/office/phrases/*.h web/office/po/$*/*.po >$@
$(BUILD)/daemon/office/po_%.o: $(BUILD)/daemon/office/po_%.c
	$(CC) $(ALL_CFLAGS) -Idaemon/office -MMD -MP -c $< -o $@
$(BUILD)/daemon/office/web.o: daemon/office/web.S web/office/style.css $(BUILD)/web/office/pictures.js
	@mkdir -p $(@D)
	$(CC) -Wa,-I,$(BUILD) -c $< -o $@

# The office's pictures, one file: of web/office/pictures and what its package.json names, which npm fetches.
PICTURES = $(BUILD)/pictures
NO_NPM = no npm: run etc/install-packages.sh build
NO_PICTURES = npm cannot fetch what web/office/package.json names (above it says why): nothing was built \
	of the pictures; run make again when the registry can be reached
$(PICTURES)/ready: web/office/package.json web/office/package-lock.json
	@command -v npm >/dev/null || { echo "pictures: $(NO_NPM)" >&2; exit 1; }
	@mkdir -p $(PICTURES)
	cp web/office/package.json web/office/package-lock.json $(PICTURES)
	cd $(PICTURES) && npm ci --loglevel=error --ignore-scripts --no-audit --no-fund || \
		{ echo "pictures: $(NO_PICTURES)" >&2; exit 1; }
	@touch $@
$(BUILD)/web/office/pictures.js: web/office/bundle.js $(wildcard web/office/pictures/*.js) $(PICTURES)/ready
	@mkdir -p $(@D)
	node web/office/bundle.js $(PICTURES)/node_modules $@

PQ_CFLAGS = $$($(PKG_CONFIG) --cflags libpq)
$(BUILD)/daemon/office/store_pgsql.o $(BUILD)/daemon/office/pgsql_link.o $(BUILD)/daemon/office/pgsql_rows.o: ALL_CFLAGS += $(PQ_CFLAGS)
$(BUILD)/daemon/bus/clock.o: ALL_CFLAGS += -DPW_BUILT=$(BUILT)

# -- tests --------------------------------------------------------------------------------------

UNIT = $(patsubst %.c,$(BUILD)/%,$(wildcard $(addsuffix /test_*.c,tests/unit tests/faults tests/office)))
# What a test needs of the rooms is taken out of this.
ROOM_OBJECTS = $(BUILD)/rooms.a
$(ROOM_OBJECTS): $(call obj,$(ROOMS))
	rm -f $@
	ar rcsT $@ $^

$(BUILD)/tests/unit/%: tests/unit/%.c $(ROOM_OBJECTS)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -MMD -MP -Idaemon $< $(ROOM_OBJECTS) -o $@ \
		$(LIBS) $(call libs,cmocka) -lm
# The office's: against real servers, started by the tests.
$(BUILD)/tests/office/%: tests/office/%.c $(ROOM_OBJECTS)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(PQ_CFLAGS) -pthread $(ALL_LDFLAGS) -MMD -MP -Idaemon $< $(ROOM_OBJECTS) -o $@ \
		$(LIBS) $(call libs,cmocka) -lm
WORLD = tests/faults/world.c tests/faults/play.c
$(BUILD)/tests/faults/%: tests/faults/%.c $(WORLD) $(ROOM_OBJECTS)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -MMD -MP -Idaemon $< $(WORLD) \
		$(ROOM_OBJECTS) -o $@ $(LIBS) $(call libs,cmocka) -lm
# Preloaded into the programs; the test looks for it beside itself.
$(BUILD)/tests/faults/shim.so: tests/faults/shim/shim.c tests/faults/shim/shim.h
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -fPIC -shared $< -o $@
$(BUILD)/tests/faults/test_shim: $(BUILD)/tests/faults/shim.so

.PHONY: units
units: $(UNIT)

# Everything but installing packages. The programs under test are those of this BUILD.
TEST_ENV = CMOCKA_MESSAGE_OUTPUT=STDOUT POSTWALK=$(abspath $(BUILD)/postwalk) POSTWALKD=$(abspath $(BUILD)/postwalkd) \
	BOARD=$(BUILD)/board POSTWALK_OFFICE=$(abspath $(BUILD)/postwalk-office)
# Side by side: what waits for the real clock and then what loads the machine; what computes; the board.
TIMED = $(filter $(addprefix $(BUILD)/tests/faults/test_,acts cuts delivery disk service sweep uplink_wall walls),$(UNIT))
check: all units board-ready powercut-ready browser-ready gtfs-ready
	$(TEST_ENV) $(BROWSER_ENV) tests/run.sh $(TIMED) \
		"$(ENGLISH_TEST)" "$(PAGES_TEST)" "$(PICTURES_TEST)" "$(GTFS_TEST)" -- \
		$(filter-out $(TIMED),$(UNIT)) \
		"tests/scenarios/run.sh $(BUILD)/postwalk" \
		"python3 tests/explore/run.py --count 2000 $(BUILD)/postwalk" -- \
		$(BOARD_TESTS) $(POWERCUT_TESTS) $(SOAK_TESTS)

test:
	etc/install-packages.sh build test board browser
	$(MAKE) -j$$(nproc) check

demo:
	etc/install-packages.sh build demo
	$(MAKE) all
	etc/demo/demo.sh

BENCH = $(patsubst %.c,$(BUILD)/%,$(wildcard tests/bench/*.c))
$(BUILD)/tests/bench/%: tests/bench/%.c
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) $< -o $@
$(BUILD)/tests/bench/year: tests/bench/year.c $(call obj,$(CORE) $(RECORD))
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -Idaemon $^ -o $@ $(call libs,sqlite3 libsodium jansson)
STORE_BENCH = $(addprefix $(BUILD)/tests/bench/,store state state_ask)
$(STORE_BENCH): $(BUILD)/tests/bench/%: tests/bench/%.c $(wildcard tests/bench/state_*.h) $(ROOM_OBJECTS)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(PQ_CFLAGS) $(ALL_LDFLAGS) -Idaemon $< $(ROOM_OBJECTS) -o $@ $(LIBS) -lm
$(BUILD)/tests/bench/runs: tests/bench/runs.c $(call obj,daemon/office/match.c)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -Idaemon $^ -o $@

bench:
	etc/install-packages.sh build test bench
	$(MAKE) all $(BENCH)
	tests/bench/run.sh $(BUILD)

# Sanitizers over units and ten thousand random traces, then bare folders of both releases.
ASAN = -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=all
check-all: test
	$(MAKE) test-browser
	$(MAKE) check-flips
	$(MAKE) check-shim
	$(MAKE) check-asan
	$(MAKE) check-stats
	$(MAKE) check-bare
# Every call of the writer fails, in every way.
check-shim: all units
	$(TEST_ENV) tests/run.sh "$(BUILD)/tests/faults/test_shim --whole"
check-flips: all units
	FLIPS=all $(TEST_ENV) tests/run.sh $(BUILD)/tests/faults/test_flips
check-asan:
	$(MAKE) BUILD=$(BUILD)/asan CFLAGS="$(ASAN)" HARDEN= run-asan
run-asan: $(BUILD)/postwalk $(BUILD)/postwalkd $(filter $(BUILD)/tests/unit/%,$(UNIT))
	$(TEST_ENV) tests/run.sh $(filter $(BUILD)/tests/unit/%,$(UNIT)) \
		"python3 tests/explore/run.py --count 10000 --mutate 3000 $(BUILD)/postwalk"
# R's tables made afresh, beside those that are kept, and read by the tests.
STATS_TESTS = $(BUILD)/tests/unit/test_stats_tables $(BUILD)/tests/unit/test_stats_drift
check-stats: $(STATS_TESTS) $(BUILD)/postwalk-office
	etc/install-packages.sh stats
	mkdir -p $(BUILD)/stats
	Rscript tests/stats/reference.R $(BUILD)/stats
	STATS_TABLES=$(BUILD)/stats $(TEST_ENV) tests/run.sh $(STATS_TESTS) \
		"Rscript tests/stats/compare.R tests/stats $(BUILD)/stats" \
		"/usr/bin/python3 tests/office/match_reference.py --check" \
		"Rscript tests/office/trends_reference.R --check" "tests/office/read_back.py"
check-bare:
	etc/install-packages.sh bare
	tests/bare/bare.sh bookworm
	tests/bare/bare.sh trixie

install: all
	install -D -m 755 $(BUILD)/postwalkd $(DESTDIR)$(PREFIX)/sbin/postwalkd
	install -D -m 755 $(BUILD)/postwalk $(DESTDIR)$(PREFIX)/bin/postwalk
	install -D -m 755 $(BUILD)/postwalk-office $(DESTDIR)$(PREFIX)/bin/postwalk-office
	install -D -m 644 etc/postwalk.conf $(DESTDIR)$(PREFIX)/share/postwalk/postwalk.conf
	install -D -m 644 etc/office.conf $(DESTDIR)$(PREFIX)/share/postwalk/office.conf

include tests/board/board.mk
include tests/powercut/powercut.mk
include tests/browser/browser.mk
include tests/office/gtfs.mk
include tests/soak/soak.mk

clean:
	rm -rf $(BUILD)

-include $(shell find $(BUILD)/daemon $(BUILD)/tests -name '*.d' 2>/dev/null)

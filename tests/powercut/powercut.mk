# SPDX-License-Identifier: Apache-2.0
# Power cuts: part of the top Makefile, behind the emulated board's.
#
# make powercut	every cut there is: prefixes of a day's log of the disk, kill -9 a thousand times,
#		and the emulated board's disk

POWERCUT = $(BUILD)/tests/powercut
POWERCUT_TESTS = $(POWERCUT)/test_prefixes $(POWERCUT)/test_kill
POWERCUT_DAY = $(addprefix tests/powercut/,disk.c disk_vfs.c disk_calls.c cut.c day.c) \
	tests/faults/play.c

$(POWERCUT)/test_prefixes: tests/powercut/test_prefixes.c tests/powercut/judge.c \
	tests/powercut/whole.c $(POWERCUT_DAY)
$(POWERCUT)/test_kill: tests/powercut/test_kill.c tests/powercut/whole.c tests/faults/world.c
$(BUILD)/tests/bench/journal_bytes: tests/bench/journal_bytes.c $(POWERCUT_DAY)
$(POWERCUT_TESTS): POWERCUT_LIBS = $(call libs,cmocka)
$(POWERCUT_TESTS) $(BUILD)/tests/bench/journal_bytes: $(ROOM_OBJECTS) \
		$(wildcard tests/powercut/*.h tests/faults/*.h)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -Idaemon -Itests $(filter %.c,$^) $(ROOM_OBJECTS) -o $@ \
		$(LIBS) $(POWERCUT_LIBS) -lm

.PHONY: powercut run-powercut powercut-ready
powercut-ready: $(POWERCUT_TESTS)
powercut:
	etc/install-packages.sh build test board
	$(MAKE) run-powercut
run-powercut: all powercut-ready board-ready
	$(TEST_ENV) tests/powercut/run.sh "$(POWERCUT)/test_prefixes --all --jobs $$(nproc)" \
		"$(POWERCUT)/test_kill --count 1000" "$(BOARD)/test_disklog --all"

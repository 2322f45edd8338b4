# SPDX-License-Identifier: Apache-2.0
# The emulated arm64 board: part of the top Makefile, which sets BUILD, CC, ALL_CFLAGS,
# PKG_CONFIG and GPIOD_API. Packages: build, test and board of etc/packages.
#
# make board-ready	fetches the guest once, cross-builds, makes what it boots, and the tests
# make test-board	and runs them

BOARD = $(BUILD)/board
BOARD_SYSROOT = $(abspath $(BOARD)/sysroot)
BOARD_LIB = $(BOARD_SYSROOT)/usr/lib/aarch64-linux-gnu
BOARD_CC = aarch64-linux-gnu-gcc --sysroot=$(BOARD_SYSROOT)
BOARD_PKG_CONFIG = env PKG_CONFIG_SYSROOT_DIR=$(BOARD_SYSROOT) \
	PKG_CONFIG_LIBDIR=$(BOARD_LIB)/pkgconfig:$(BOARD_SYSROOT)/usr/share/pkgconfig pkg-config
# The guest's clocks are set to days after this one: 1 January 2030, UTC.
BOARD_BUILT = 1893456000

BOARD_PROGRAMS = $(BOARD)/probe $(BOARD)/arm64/postwalkd
BOARD_FILES = tests/board/postwalk.conf tests/board/elsewhere.conf
BOARD_TESTS = $(BOARD)/test_ground $(BOARD)/test_board $(BOARD)/test_power $(BOARD)/test_disklog

$(BOARD)/sysroot.stamp: tests/board/sysroot.sh
	tests/board/sysroot.sh $(BOARD)
	@touch $@

$(BOARD)/probe: tests/board/probe.c $(BOARD)/sysroot.stamp
	$(BOARD_CC) $(ALL_CFLAGS) -DPW_GPIOD=$(GPIOD_API) $< -o $@ -lgpiod

# The very Makefile that builds it for this machine knows when it is out of date.
$(BOARD)/arm64/postwalkd: $(BOARD)/sysroot.stamp FORCE
	@$(MAKE) --no-print-directory BUILD=$(BOARD)/arm64 CC="$(BOARD_CC)" \
		PKG_CONFIG="$(BOARD_PKG_CONFIG)" BUILT=$(BOARD_BUILT) $@

$(BOARD)/initrd.gz: tests/board/image.sh tests/board/init $(BOARD_PROGRAMS) $(BOARD_FILES)
	tests/board/image.sh $(BOARD) $(BOARD_PROGRAMS) $(BOARD_FILES)

$(BOARD)/test_ground: tests/board/test_ground.c tests/board/guest.c
$(BOARD)/test_board: tests/board/test_board.c tests/board/bus.c tests/board/guest.c
$(BOARD)/test_power: tests/board/test_power.c tests/board/bus.c tests/board/guest.c
$(BOARD)/test_disklog: tests/board/test_disklog.c tests/board/bus.c tests/board/guest.c \
	tests/board/disklog.c tests/board/cutfolder.c $(call obj,$(CORE) $(RECORD))
$(BOARD)/test_disklog: tests/board/disklog.h tests/board/cutfolder.h
$(BOARD_TESTS): tests/board/guest.h tests/board/bus.h
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -DPW_GPIOD=$(GPIOD_API) $(filter %.c %.o,$^) -o $@ \
		$$($(PKG_CONFIG) --libs cmocka jansson libgpiod sqlite3 libsodium)

.PHONY: board-ready test-board FORCE
board-ready: $(BOARD)/initrd.gz $(BOARD_TESTS)

test-board: board-ready $(BUILD)/postwalk $(BUILD)/postwalkd
	@for test in $(BOARD_TESTS); do \
		BOARD=$(BOARD) POSTWALK=$(BUILD)/postwalk POSTWALKD=$(BUILD)/postwalkd \
			$$test || exit 1; \
	done

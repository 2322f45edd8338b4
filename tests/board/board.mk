# SPDX-License-Identifier: Apache-2.0
# The emulated arm64 board: part of the top Makefile, which sets BUILD, ALL_CFLAGS, PKG_CONFIG
# and GPIOD_API. Packages: build, test and board of etc/packages.
#
# make test-board	fetches the guest once, cross-builds, boots, tests

BOARD = $(BUILD)/board
BOARD_SYSROOT = $(abspath $(BOARD)/sysroot)
BOARD_LIB = $(BOARD_SYSROOT)/usr/lib/aarch64-linux-gnu
BOARD_CC = aarch64-linux-gnu-gcc --sysroot=$(BOARD_SYSROOT)
BOARD_PKG_CONFIG = env PKG_CONFIG_SYSROOT_DIR=$(BOARD_SYSROOT) \
	PKG_CONFIG_LIBDIR=$(BOARD_LIB)/pkgconfig:$(BOARD_SYSROOT)/usr/share/pkgconfig pkg-config

BOARD_PROGRAMS = $(BOARD)/probe
BOARD_TESTS = $(BOARD)/test_ground

$(BOARD)/sysroot.stamp: tests/board/sysroot.sh
	tests/board/sysroot.sh $(BOARD)
	@touch $@

$(BOARD)/probe: tests/board/probe.c $(BOARD)/sysroot.stamp
	$(BOARD_CC) $(ALL_CFLAGS) -DPW_GPIOD=$(GPIOD_API) $< -o $@ -lgpiod

$(BOARD)/initrd.gz: tests/board/image.sh tests/board/init $(BOARD_PROGRAMS)
	tests/board/image.sh $(BOARD) $(BOARD_PROGRAMS)

$(BOARD)/test_%: tests/board/test_%.c tests/board/guest.c tests/board/guest.h \
		$(BOARD)/sysroot.stamp
	$(CC) $(ALL_CFLAGS) -DPW_GPIOD=$(GPIOD_API) $(filter %.c,$^) -o $@ \
		$$($(PKG_CONFIG) --libs cmocka jansson libgpiod)

.PHONY: test-board
test-board: $(BOARD)/initrd.gz $(BOARD_TESTS)
	@for test in $(BOARD_TESTS); do BOARD=$(BOARD) $$test || exit 1; done

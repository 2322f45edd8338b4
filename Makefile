# SPDX-License-Identifier: Apache-2.0
# make          builds build/postwalkd and build/postwalk
# make demo     an afternoon of a made-up bus, played in real time (SPEED=10 hurries it)
# make test     all tests that fit in a quarter of an hour
# make bench    figures
# make check-all  the rest: sanitizers, long random traces, bare Debian 12 and 13 folders

BUILD ?= build
CC ?= gcc
PKG_CONFIG ?= pkg-config

WARN = -Wall -Wextra -Wconversion -Wshadow -Wstrict-prototypes -Werror
HARDEN = -D_FORTIFY_SOURCE=2 -fstack-protector-strong -fstack-clash-protection -fPIE
CFLAGS ?= -O2 -g
ALL_CFLAGS = -std=c11 -D_GNU_SOURCE -Iinclude $(WARN) $(HARDEN) $(CFLAGS)
ALL_LDFLAGS = -pie -Wl,-z,relro,-z,now,-z,noexecstack,--as-needed $(LDFLAGS)

GPIOD_API := $(shell $(PKG_CONFIG) --atleast-version=2 libgpiod 2>/dev/null && echo 2 || echo 1)

CORE_SRC = $(wildcard daemon/core/*.c)
RECORD_SRC = $(wildcard daemon/record/*.c)
BOARD_SRC = $(filter-out daemon/board/gpiod_v%.c,$(wildcard daemon/board/*.c)) \
	daemon/board/gpiod_v$(GPIOD_API).c
PAGE_SRC = $(wildcard daemon/page/*.c)
BUS_SRC = $(wildcard daemon/bus/*.c)
TOOL_SRC = $(wildcard daemon/tool/*.c)

obj = $(patsubst %.c,$(BUILD)/%.o,$(1))

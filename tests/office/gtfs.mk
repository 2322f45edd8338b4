# SPDX-License-Identifier: Apache-2.0
# The feed of the tests beside another reader of GTFS, from npm: part of the top Makefile, which sets BUILD.
# Packages: build and browser of etc/packages (node, npm).
#
# make gtfs-ready	fetches it, once, into BUILD/gtfs
# make test-gtfs	compares

GTFS = $(BUILD)/gtfs
GTFS_TEST = env NODE_PATH=$(GTFS)/node_modules node tests/office/gtfs-check.js

$(GTFS)/ready: tests/office/package.json tests/office/package-lock.json
	@mkdir -p $(GTFS)
	cp tests/office/package.json tests/office/package-lock.json $(GTFS)
	cd $(GTFS) && npm ci --loglevel=error --ignore-scripts --no-audit --no-fund
	@touch $@

.PHONY: gtfs-ready test-gtfs
gtfs-ready: $(GTFS)/ready

test-gtfs: gtfs-ready
	$(GTFS_TEST)

# SPDX-License-Identifier: Apache-2.0
# Deliveries through everything that goes wrong: see soak.py and stories.py.

.PHONY: soak
SOAK_SEED ?= 1
SOAK_UPLOADS ?= 1000
soak:
	etc/install-packages.sh build test
	$(MAKE) all
	$(TEST_ENV) tests/soak/soak.py --seed $(SOAK_SEED) --uploads $(SOAK_UPLOADS) --store sqlite
	$(TEST_ENV) tests/soak/soak.py --seed $(SOAK_SEED) --uploads $(SOAK_UPLOADS) --store postgresql

# What of it is in `make test`: the stories on SQLite, and a short loop on both.
SOAK_TESTS = "tests/soak/stories.py" "tests/soak/soak.py --uploads 40 --buses 3" \
	"tests/soak/soak.py --uploads 40 --buses 3 --store postgresql"

# SPDX-License-Identifier: Apache-2.0
# The page in a browser: part of the top Makefile, which sets BUILD and TEST_ENV. Packages: build,
# test and browser of etc/packages.
#
# make browser-ready	fetches what the tests need from npm, once, into BUILD/browser
# make test-browser	runs them, in every language; pictures stay in BUILD/browser/shots

BROWSER = $(BUILD)/browser
BROWSER_ENV = BROWSER=$(BROWSER) NODE_PATH=$(BROWSER)/node_modules
BROWSER_TEST = node tests/browser/run.js
ENGLISH_TEST = $(BROWSER_TEST) --english
PAGES_TEST = node tests/browser/office.js
PICTURES_TEST = node tests/browser/pictures.js $(BUILD)

$(BROWSER)/ready: tests/browser/package.json tests/browser/package-lock.json
	@mkdir -p $(BROWSER)
	cp tests/browser/package.json tests/browser/package-lock.json $(BROWSER)
	cd $(BROWSER) && npm ci --loglevel=error --ignore-scripts --no-audit --no-fund
	@touch $@

.PHONY: browser-ready test-browser
browser-ready: $(BROWSER)/ready

test-browser: browser-ready $(BUILD)/postwalk $(BUILD)/postwalkd $(BUILD)/postwalk-office \
		$(BUILD)/tests/office/test_report
	$(TEST_ENV) $(BROWSER_ENV) $(BROWSER_TEST)
	$(TEST_ENV) $(BROWSER_ENV) $(PAGES_TEST)
	$(TEST_ENV) $(BROWSER_ENV) $(PICTURES_TEST)

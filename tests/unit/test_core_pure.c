/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Two rooms are pure, the core and the arithmetic of audits: their objects ask nothing of the
 * outside but memory and string functions; the core also formatting, the arithmetic mathematics.
 * No file, no clock, no allocation, no logging, no other room; nothing that can change stands in
 * them.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

struct room { const char *name; const char *const *allowed; };

static const char *const memory[] = {
	"memcmp", "memcpy", "memmove", "memset", "strchr", "strcmp", "strcspn", "strlen", "strncmp",
	"strspn",
	/* the same as fortified, and the stack protector */
	"__memcpy_chk", "__memmove_chk", "__memset_chk", "__stack_chk_fail",
	/* where objects are placed for a position-independent program */
	"_GLOBAL_OFFSET_TABLE_", NULL,
};
static const char *const formatting[] = {
	"snprintf", "vsnprintf", "__snprintf_chk", "__vsnprintf_chk", NULL,
};
static const char *const mathematics[] = {
	"ceil", "erfc", "exp", "expm1", "fabs", "floor", "fmax", "fmin", "lgamma_r", "log", "log1p",
	"sqrt", NULL,
};
static const struct room core = { "core", formatting }, stats = { "stats", mathematics };

static bool is_among(const char *symbol, const char *const *names)
{
	while (*names && strcmp(symbol, *names) != 0)
		names++;
	return *names != NULL;
}

static bool is_allowed(const struct room *room, const char *symbol)
{
	/* a build under sanitizers asks for theirs */
	return strncmp(symbol, "__asan_", 7) == 0 || strncmp(symbol, "__ubsan_", 8) == 0 ||
	       is_among(symbol, memory) || is_among(symbol, room->allowed);
}

/* What a room's objects make together. They lie beside the program under test. */
static FILE *symbols_of(const struct room *room, const char *options)
{
	const char *tool = getenv("POSTWALK"), *end;
	char whole[] = "/tmp/postwalk-pure-XXXXXX", command[600];
	int fd = mkstemp(whole);
	FILE *nm;

	assert_non_null(tool);
	end = strrchr(tool, '/');
	assert_non_null(end);
	assert_true(fd >= 0);
	close(fd);
	snprintf(command, sizeof(command),
		 "ld -r -o %s %.*s/daemon/%s/*.o && nm %s %s; status=$?; rm %s; exit $status",
		 whole, (int)(end - tool), tool, room->name, options, whole, whole);
	nm = popen(command, "r");
	assert_non_null(nm);
	return nm;
}

static void it_asks_for_nothing_else(void **state)
{
	const struct room *room = *state;
	FILE *nm = symbols_of(room, "-u");
	char line[400], symbol[200];
	unsigned seen = 0;

	while (fgets(line, sizeof(line), nm)) {
		if (sscanf(line, " U %199s", symbol) != 1)
			continue;
		if (!is_allowed(room, symbol))
			fail_msg("%s asks for %s", room->name, symbol);
		seen++;
	}
	assert_int_equal(pclose(nm), 0);
	assert_true(seen > 5);
}

/* Nothing lies in a section that can be written. (Constants with addresses lie in .data.rel.*.) */
static void it_has_no_state_of_its_own(void **state)
{
	FILE *nm = symbols_of(*state, "-f sysv");
	char line[400];
	unsigned seen = 0;

	while (fgets(line, sizeof(line), nm)) {
		const char *section = strrchr(line, '|');

		seen += section && strcmp(section, "|.text\n") == 0;
		if (strncmp(line, "__odr_asan.", 11) == 0) /* a sanitizer's mark, not ours */
			continue;
		if (section &&
		    (strcmp(section, "|.data\n") == 0 || strcmp(section, "|.bss\n") == 0))
			fail_msg("%s", line);
	}
	assert_int_equal(pclose(nm), 0);
	assert_true(seen > 20);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_prestate(it_asks_for_nothing_else, (void *)(uintptr_t)&core),
		cmocka_unit_test_prestate(it_has_no_state_of_its_own, (void *)(uintptr_t)&core),
		cmocka_unit_test_prestate(it_asks_for_nothing_else, (void *)(uintptr_t)&stats),
		cmocka_unit_test_prestate(it_has_no_state_of_its_own, (void *)(uintptr_t)&stats),
	};

	return cmocka_run_group_tests_name("core and stats are pure", tests, NULL, NULL);
}

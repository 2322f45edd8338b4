/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The core is pure: its objects ask nothing of the outside but memory and string functions and
 * formatting into a buffer. No file, no clock, no allocation, no logging; nothing that can change stands
 * in them either.
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

/* What the objects may ask for, beside one another's pw_ functions. */
static const char *const allowed[] = {
	"memcmp", "memcpy", "memmove", "memset", "strchr", "strcmp", "strcspn", "strlen", "strncmp",
	"strspn", "snprintf", "vsnprintf",
	/* the same as fortified, and the stack protector */
	"__memcpy_chk", "__memmove_chk", "__memset_chk", "__snprintf_chk", "__vsnprintf_chk",
	"__stack_chk_fail",
	/* where objects are placed for a position-independent program */
	"_GLOBAL_OFFSET_TABLE_",
};

static bool is_allowed(const char *symbol)
{
	/* a build under sanitizers asks for theirs */
	if (strncmp(symbol, "pw_", 3) == 0 || strncmp(symbol, "__asan_", 7) == 0 ||
	    strncmp(symbol, "__ubsan_", 8) == 0)
		return true;
	for (size_t i = 0; i < COUNT(allowed); i++)
		if (strcmp(symbol, allowed[i]) == 0)
			return true;
	return false;
}

/* The core's objects lie beside the program under test. */
static void objects(char *glob, size_t size)
{
	const char *tool = getenv("POSTWALK");
	const char *end;

	assert_non_null(tool);
	end = strrchr(tool, '/');
	assert_non_null(end);
	snprintf(glob, size, "%.*s/daemon/core/*.o", (int)(end - tool), tool);
}

/* Symbols as nm lists them: "  U name", or with a value before. The count. */
static unsigned for_each_symbol(const char *options, void (*take)(char type, const char *symbol))
{
	char glob[200], command[300], line[400], symbol[200], type;
	unsigned n = 0;
	FILE *nm;

	objects(glob, sizeof(glob));
	snprintf(command, sizeof(command), "nm %s %s", options, glob);
	nm = popen(command, "r");
	assert_non_null(nm);
	while (fgets(line, sizeof(line), nm))
		if (sscanf(line, " %c %199s", &type, symbol) == 2 ||
		    sscanf(line, "%*x %c %199s", &type, symbol) == 2) {
			take(type, symbol);
			n++;
		}
	assert_int_equal(pclose(nm), 0);
	return n;
}

static void take_wanted(char type, const char *symbol)
{
	if (type == 'U' && !is_allowed(symbol))
		fail_msg("the core asks for %s", symbol);
}

static void the_core_asks_for_nothing_but_memory_and_strings(void **state)
{
	(void)state;
	assert_true(for_each_symbol("-u", take_wanted) > 20);
}

/* Nothing lies in a section that can be written. (Constants that hold addresses lie in .data.rel.*.) */
static void the_core_has_no_state_of_its_own(void **state)
{
	char glob[200], command[400], line[400];
	unsigned seen = 0;
	FILE *nm;

	(void)state;
	objects(glob, sizeof(glob));
	snprintf(command, sizeof(command), "nm -f sysv %s", glob);
	nm = popen(command, "r");
	assert_non_null(nm);
	while (fgets(line, sizeof(line), nm)) {
		const char *section = strrchr(line, '|');

		seen += section && strcmp(section, "|.text\n") == 0;
		if (strncmp(line, "__odr_asan.", 11) == 0) /* a sanitizer's mark, not ours */
			continue;
		if (section && (strcmp(section, "|.data\n") == 0 || strcmp(section, "|.bss\n") == 0))
			fail_msg("%s", line);
	}
	assert_int_equal(pclose(nm), 0);
	assert_true(seen > 20);
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_core_asks_for_nothing_but_memory_and_strings),
		cmocka_unit_test(the_core_has_no_state_of_its_own),
	};

	return cmocka_run_group_tests_name("the core is pure", tests, NULL, NULL);
}

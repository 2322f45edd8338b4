/* SPDX-License-Identifier: Apache-2.0 */
/* The policy's keys: defaults, ranges, what is printed reads back; and patterns that are not ours. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "../../daemon/core/policy_internal.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define LONGEST /* 163 bytes */ \
	"A sentence of one hundred and sixty-three bytes is the longest that the yard can say to its " \
	"drivers here; it is enough for a channel, two numbers and a place to go"

/* Every key but those of rungs and the board's: its default as printed, its range, and what lies
 * beyond it. An empty default is not printed. */
static const struct {
	const char *section, *key, *is, *least, *most, *below, *above;
} keys[] = {
	{ "walk", "rows", "12", "0", "60", "-1", "61" },
	{ "walk", "aisle_m", "9.1", "0", "60", "-0.1", "60.000001" },
	{ "walk", "pace_mps", "1.07", "0.1", "10", "0.099999", "10.000001" },
	{ "walk", "look_s", "0.5", "0", "60", "-1", "60.000001" },
	{ "sweep", "due_s", "60", "0", "86400", "-1", "86400.001" },
	{ "sweep", "carried_due_s", "45", "0", "86400", "-1", "86400.001" },
	{ "sweep", "restart_s", "10", "0", "86400", "-1", "86400.001" },
	{ "sweep", "run_min_s", "30", "0", "86400", "-1", "86400.001" },
	{ "sweep", "unload_s", "0", "0", "86400", "-1", "86400.001" },
	{ "sweep", "leave_grace_s", "30", "0", "86400", "-1", "86400.001" },
	{ "sweep", "idle_s", "0", "0", "86400", "-1", "86400.001" },
	{ "sweep", "return_max_s", "600", "0", "86400", "-1", "86400.001" },
	{ "sweep", "held_max_s", "10", "0", "86400", "-1", "86400.001" },
	{ "sweep", "disagree_s", "0.5", "0", "86400", "-1", "86400.001" },
	{ "sweep", "alarm_max_s", "1800", "0", "86400", "-1", "86400.001" },
	{ "sweep", "service_max_s", "3600", "0", "86400", "-1", "86400.001" },
	{ "line ignition", "settle_ms", "200", "0", "60000", "-1", "60001" },
	{ "line park_brake", "settle_ms", "200", "0", "60000", "-1", "60001" },
	{ "line rear_button", "settle_ms", "30", "0", "60000", "0.5", "60001" },
	{ "line rear_button_nc", "settle_ms", "30", "0", "60000", "x", "60001" },
	{ "line rear_door", "settle_ms", "100", "0", "60000", "", "60001" },
	{ "line exits", "settle_ms", "100", "0", "60000", "-1", "60001" },
	{ "line service_door", "settle_ms", "100", "0", "60000", "-1", "60001" },
	{ "line lamps", "settle_ms", "200", "0", "60000", "-1", "9999999999999999999" },
	{ "line horn", "offset", NULL, "0", "1023", "-1", "1024" },
	{ "rung cabin", "after_s", NULL, "0", "86400", "-1", "86400.001" },
	{ "sweep", "owed_when", "every_key_off", "run", "lamps", "Lamps", "never" },
	{ "sweep", "door_rule", "grace", "at_once", "ignore", "at once", "" },
	{ "line horn", "bias", "as_is", "disabled", "pull_down", "up", "as_is " },
	{ "line horn", "active_low", "no", "no", "yes", "0", "Yes" },
	{ "line horn", "outside", "yes", "no", "yes", "true", "y" },
	{ "page", "listen", "127.0.0.1:8787", "0.0.0.0:1", "[::1]:8080", "", "a b" },
	{ "journal", "keep_days", "800", "1", "36500", "0", "36501" },
	{ "yard", "proof_s", "86400", "60", "31536000", "59.999", "31536000.001" },
	{ "yard", "call", NULL, "Radio 1, then 112: say where.", LONGEST, "", LONGEST "x" },
	{ "yard", "call", NULL, "a", "Llame al despacho: canal 1 — ya", "a\tb", "a\177" },
	{ "line horn", "chip", NULL, "gpiochip0", "/dev/gpiochip1", "", "chip 0" },
	{ "line horn", "name", NULL, "HORN_1", "a.b-c", "a/b", "" },
	{ "bus", "id", NULL, "bus-7", "0123456789012345678901234567890", "", "01234567890123456789012345678901" },
	{ "rung cabin", "pattern", NULL, "steady", "20 60000", "20 60001", "19 20" },
	{ "rung cabin", "outputs", NULL, "beeper", "beeper, horn lamp dome", "ignition", "bell" },
	{ "rung cabin", "notify", NULL, "no", "yes", "", "1" },
	{ "sweep", "doubt_on", "button_contacts button_held clock_unsure door_left_open left_by_rear muted "
	  "power_lost rear_opened return_short", "muted", "alarm_spent carried", "lonely", "muted muteD" },
	{ "line strobe", "direction", NULL, "out", "in", "both", "" },
	{ "line horn", "sense", NULL, "horn_sense", "a", "a b", "" },
};

static struct pw_policy p;
static struct pw_policy_error e;

static void begin(const char *section)
{
	pw_policy_init(&p, true);
	assert_int_equal(pw_policy_section(&p, section, &e), 0);
}

/* The value that the effective policy prints for a key; NULL when it prints none. */
static const char *printed(const char *section, const char *key)
{
	static char line[300];
	char head[64];
	bool in = false;
	size_t n = strlen(key);

	snprintf(head, sizeof(head), "[%s]", section);
	for (int cursor = 0; pw_policy_print(&p, &cursor, line, sizeof(line));) {
		if (line[0] == '[')
			in = strcmp(line, head) == 0;
		else if (in && strncmp(line, key, n) == 0 && strncmp(line + n, " = ", 3) == 0)
			return line + n + 3;
	}
	return NULL;
}

static void every_key_has_its_default(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(keys); i++) {
		if (!keys[i].is)
			continue;
		begin(keys[i].section);
		assert_non_null(printed(keys[i].section, keys[i].key));
		assert_string_equal(printed(keys[i].section, keys[i].key), keys[i].is);
	}
}

static void every_key_takes_its_range_and_prints_it_back(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(keys); i++) {
		const char *given[] = { keys[i].least, keys[i].most };

		for (size_t k = 0; k < COUNT(given); k++) {
			const char *is;

			begin(keys[i].section);
			if (pw_policy_set(&p, keys[i].section, keys[i].key, given[k], &e))
				fail_msg("[%s] %s = %s: %s", keys[i].section, keys[i].key, given[k],
					 e.text);
			is = printed(keys[i].section, keys[i].key);
			assert_non_null(is);
			if (!strchr(given[k], ',')) /* lists print with spaces */
				assert_string_equal(is, given[k]);
		}
	}
}

static void every_key_refuses_what_lies_beyond(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(keys); i++) {
		const char *given[] = { keys[i].below, keys[i].above };

		for (size_t k = 0; k < COUNT(given); k++) {
			begin(keys[i].section);
			e.text[0] = '\0';
			assert_int_equal(pw_policy_set(&p, keys[i].section, keys[i].key, given[k], &e), -1);
			assert_memory_equal(e.text, "expected ", 9);
			assert_string_equal(e.key, keys[i].key);
			assert_string_equal(e.section, keys[i].section);
		}
	}
}

/* The table of keys and the table above know the same ones. */
static void no_key_is_left_out(void **state)
{
	(void)state;
	for (size_t i = 0; i < pw_key_count; i++) {
		bool found = false;

		for (size_t k = 0; k < COUNT(keys); k++)
			found |= strcmp(keys[k].key, pw_keys[i].key) == 0;
		if (!found)
			fail_msg("%s", pw_keys[i].key);
		assert_true(strlen(pw_keys[i].help) > 5);
	}
}

/* -- what is printed reads back -------------------------------------------------------------------------- */

static void print_whole(const struct pw_policy *from, char *text, size_t size)
{
	char line[300];
	size_t n = 0;

	for (int cursor = 0; pw_policy_print(from, &cursor, line, sizeof(line));)
		n += (size_t)snprintf(text + n, size - n, "%s\n", line);
	assert_true(n < size);
}

static void read_line(struct pw_policy *to, char section[64], char *line)
{
	char *mark = strstr(line, " = ");

	if (line[0] == '[') {
		snprintf(section, 64, "%.*s", (int)strlen(line) - 2, line + 1);
		if (pw_policy_section(to, section, &e))
			fail_msg("%s: %s", line, e.text);
		return;
	}
	assert_non_null(mark);
	*mark = '\0';
	if (pw_policy_set(to, section, line, mark + 3, &e))
		fail_msg("[%s] %s = %s: %s", section, line, mark + 3, e.text);
}

/* From nothing: only what is printed counts. */
static void comes_back_the_same(const struct pw_policy *from)
{
	static char text[16384], again[16384];
	struct pw_policy to;
	char section[64] = "", *rest = text;

	print_whole(from, text, sizeof(text));
	memcpy(again, text, sizeof(text));
	pw_policy_init(&to, false);
	for (char *line; (line = strtok_r(rest, "\n", &rest)) != NULL;)
		read_line(&to, section, line);
	print_whole(&to, text, sizeof(text));
	assert_string_equal(text, again);
	for (unsigned i = 0; i < PW_LINES; i++)
		assert_int_equal(to.line[i].configured, from->line[i].configured);
	assert_int_equal(to.doubt_on, from->doubt_on);
	assert_int_equal(to.rungs, from->rungs);
	assert_int_equal(pw_walk_min_ms(&to), pw_walk_min_ms(from));
}

static void the_defaults_come_back_the_same(void **state)
{
	(void)state;
	pw_policy_init(&p, true);
	comes_back_the_same(&p);
}

static void a_policy_of_ones_own_comes_back_the_same(void **state)
{
	static const char *const set[][3] = {
		{ "bus", "id", "bus-07" }, { "page", "listen", "[::1]:80" },
		{ "journal", "keep_days", "365" },
		{ "yard", "call", "Appelez le bureau, poste 12" }, { "yard", "proof_s", "43200" },
		{ "walk", "look_s", "0.123456" }, { "walk", "rows", "13" },
		{ "sweep", "due_s", "75.001" }, { "sweep", "owed_when", "lamps" },
		{ "sweep", "door_rule", "at_once" }, { "sweep", "doubt_on", "left_running muted" },
		{ "line lamps", "settle_ms", "0" }, { "line lamps", "name", "LAMPS_IN" },
		{ "line horn", "chip", "/dev/gpiochip2" }, { "line horn", "offset", "17" },
		{ "line horn", "active_low", "yes" }, { "line horn", "bias", "pull_up" },
		{ "line horn", "sense", "horn_sense" }, { "line horn", "outside", "no" },
		{ "line horn_sense", "direction", "in" }, { "line strobe", "direction", "out" },
		{ "line strobe", "outside", "yes" },
		{ "rung first", "after_s", "0" }, { "rung first", "pattern", "steady" },
		{ "rung second", "after_s", "12.5" }, { "rung second", "outputs", "horn strobe" },
		{ "rung second", "pattern", "250 150 250 350" }, { "rung second", "notify", "yes" },
		{ "rung prompt", "notify", "yes" }, { "rung accepted", "pattern", "100 50 100" },
	};

	(void)state;
	pw_policy_init(&p, true);
	for (size_t i = 0; i < COUNT(set); i++) {
		assert_int_equal(pw_policy_section(&p, set[i][0], &e), 0);
		if (pw_policy_set(&p, set[i][0], set[i][1], set[i][2], &e))
			fail_msg("[%s] %s: %s", set[i][0], set[i][1], e.text);
	}
	assert_int_equal(pw_policy_check(&p, true, &e), 0);
	comes_back_the_same(&p);
}

/* -- patterns (R24) ---------------------------------------------------------------------------------------- */

#define EVACUATION "three equal pulses and a pause mean evacuation (ISO 8201, NFPA 72)"
#define GAS "four equal pulses and a pause mean gas (NFPA 72)"

/*
 * D2: ISO 8201 temporal-three, 0.5 s on and off three times, then 1.5 s off, each within 10 % (seen).
 * D3: four pulses of 100 ms and 5 s (second-hand). D4: what fire panels use besides (seen) is not
 * refused: R24 names the two. The disguises are ours.
 */
static const struct {
	const char *pattern, *taken_for;
} patterns[] = {
	{ "500 500 500 500 500 1500", EVACUATION },                /* D2 as it stands: the pause ends it */
	{ "500 1500 500 500 500 500", EVACUATION },                /* begun after another pulse */
	{ "500 500 500 1500 500 500", EVACUATION },
	{ "450 550 500 500 550 450 ", NULL },                      /* no pause: all alike */
	{ "450 500 500 500 550 1650", EVACUATION },                /* within 10 % of 0.5 s */
	{ "500 550 500 450 500 1350", EVACUATION },
	{ "500 500 500 500 500 1500 500 500 500 500 500 1500", EVACUATION }, /* written twice */
	{ "200 200 200 200 200 600", EVACUATION },                 /* faster: equal pulses all the same */
	{ "1000 1000 1000 1000 1000 3000", EVACUATION },           /* slower */
	{ "250 100 250 100 250 5000", EVACUATION },                /* a longer pause */
	{ "100 100 100 100 100 100 100 5000", GAS },               /* D3 as it stands */
	{ "100 5000 100 100 100 100 100 100", GAS },
	{ "100 100 100 5000 100 100 100 100", GAS },
	{ "110 90 100 100 90 110 100 4500", GAS },
	{ "300 300 300 300 300 300 300 900", GAS },
	{ "100 100 100 100 100 100 100 5000 100 100 100 100 100 100 100 5000", GAS },

	{ "500 500 500 500 500 1500 500 500 500 500 500 1501", EVACUATION }, /* twice, not quite alike */
	{ "500 500 500 500 500 1500 500 500 500 500 500 3000", EVACUATION }, /* with another pause */
	{ "500 520 500 500 500 1500 510 500 500 490 500 1500", EVACUATION },
	{ "100 100 100 100 100 100 100 4000 100 100 100 100 100 100 100 6000", GAS },
	{ "500 500 500 500 500 1500 500 500 500 1500", NULL },     /* three, then two */
	{ "500 500", NULL },                                       /* two by two, no pause */
	{ "500 500 500 1500", NULL },                              /* two pulses */
	{ "500 500 500 500 500 500 500 500 500 1500", NULL },      /* five */
	{ "500 500 500 500 1000 1500", NULL },                     /* the last one long: unequal */
	{ "200 200 500 200 200 1000", NULL },
	{ "500 200 500 600 500 1500", NULL },                      /* unequal gaps */
	{ "500 500 500 500 500 500", NULL },                       /* one pulse, written three times */
	{ "steady", NULL },
	/* those that this program ships (docs/rules.md, section 7) */
	{ "100 1900", NULL }, { "250 150", NULL }, { "1500 500", NULL }, { "1200 400 400 400", NULL },
	{ "800 800", NULL }, { "300 1700", NULL },
};

static void r24_standard_patterns_are_refused_in_any_disguise(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(patterns); i++) {
		const char *taken;

		begin("rung prompt");
		if (pw_policy_set(&p, "rung prompt", "pattern", patterns[i].pattern, &e))
			fail_msg("%s: %s", patterns[i].pattern, e.text);
		taken = pw_pattern_taken_for(&p.signal[PW_PROMPT].pattern);
		if (!taken != !patterns[i].taken_for)
			fail_msg("%s: %s", patterns[i].pattern, taken ? taken : "taken for ours");
		if (taken)
			assert_string_equal(taken, patterns[i].taken_for);
		assert_int_equal(pw_policy_check(&p, false, &e), taken ? -1 : 0);
	}
}

/* D2-D5 against every pattern shipped: each differs, and none of the outside ones is SAE J994's one to
 * two pulses a second of equal on and off (seen). */
static void every_pattern_shipped_is_our_own(void **state)
{
	(void)state;
	pw_policy_init(&p, true);
	for (unsigned i = PW_PROMPT; i < PW_LADDER + p.rungs; i++) {
		const struct pw_pattern *t = &p.signal[i].pattern;

		assert_null(pw_pattern_taken_for(t));
		assert_true(t->count > 0);
		for (unsigned k = i + 1; k < PW_LADDER + p.rungs; k++) /* and from one another */
			assert_memory_not_equal(t, &p.signal[k].pattern, sizeof(*t));
		if (!(p.signal[i].outputs >> PW_HORN & 1) || t->count != 2)
			continue;
		assert_false(t->ms[0] == t->ms[1] && t->ms[0] + t->ms[1] >= 500 &&
			     t->ms[0] + t->ms[1] <= 1000);
	}
}

/* R24 holds for the defaults. */
static void the_defaults_can_be_obeyed(void **state)
{
	(void)state;
	pw_policy_init(&p, true);
	assert_int_equal(pw_policy_check(&p, false, &e), 0);
	assert_int_equal(pw_policy_check(&p, true, &e), -1);
	assert_string_equal(e.text, "expected id in [bus]: the bus's own number or code");
	strcpy(p.bus, "bus-7");
	assert_int_equal(pw_policy_check(&p, true, &e), 0);
}

/* Which inputs replay has without a policy file. */
static void replay_has_every_input_but_two(void **state)
{
	(void)state;
	pw_policy_init(&p, true);
	for (unsigned i = 0; i < PW_LINES; i++)
		assert_int_equal(p.line[i].configured, i < PW_INPUTS && i != PW_PARK_BRAKE &&
				 i != PW_REAR_BUTTON_NC);
	pw_policy_init(&p, false);
	for (unsigned i = 0; i < PW_LINES; i++)
		assert_false(p.line[i].configured);
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_key_has_its_default),
		cmocka_unit_test(every_key_takes_its_range_and_prints_it_back),
		cmocka_unit_test(every_key_refuses_what_lies_beyond),
		cmocka_unit_test(no_key_is_left_out),
		cmocka_unit_test(the_defaults_come_back_the_same),
		cmocka_unit_test(a_policy_of_ones_own_comes_back_the_same),
		cmocka_unit_test(r24_standard_patterns_are_refused_in_any_disguise),
		cmocka_unit_test(every_pattern_shipped_is_our_own),
		cmocka_unit_test(the_defaults_can_be_obeyed),
		cmocka_unit_test(replay_has_every_input_but_two),
	};

	return cmocka_run_group_tests_name("the policy", tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Every pair of colours that the stylesheet uses, in both palettes, by the contrast formula of
 * WCAG 2.2 (1.4.3: 4.5:1 for text; the formula from "relative luminance" and "contrast ratio" in
 * its glossary). */
#include "page_sample.h"
#include "../../daemon/page/leaf.h"

#include <math.h>
#include <stdlib.h>

#define TEXT_RATIO 4.5
#define PART_RATIO 3.0
#define NAME_MAX_LEN 32

static double channel(unsigned value)
{
	double c = value / 255.0;

	return c <= 0.04045 ? c / 12.92 : pow((c + 0.055) / 1.055, 2.4);
}

static double luminance(unsigned rgb)
{
	return 0.2126 * channel(rgb >> 16) + 0.7152 * channel(rgb >> 8 & 255) +
	       0.0722 * channel(rgb & 255);
}

static double contrast(unsigned a, unsigned b)
{
	double la = luminance(a), lb = luminance(b);

	return (fmax(la, lb) + 0.05) / (fmin(la, lb) + 0.05);
}

/* Figures that are quoted widely; D10: from memory, and computed. */
static void the_formula_gives_the_known_figures(void **state)
{
	(void)state;
	assert_int_equal(lround(contrast(0x000000, 0xffffff) * 100), 2100);
	assert_int_equal(lround(contrast(0x767676, 0xffffff) * 100), 454);
	assert_int_equal(lround(contrast(0x777777, 0xffffff) * 100), 448);
	assert_int_equal(lround(contrast(0xffbf00, 0x000000) * 100), 1270);
}

/* The value of --name in a palette that begins at `from`; 0 when it is not there. */
static unsigned colour(const char *from, const char *name)
{
	const char *end = strchr(from, '}');
	char key[NAME_MAX_LEN + 8];

	snprintf(key, sizeof key, "--%s: #", name);
	const char *at = strstr(from, key);

	if (!at || at > end)
		fail_msg("no --%s in the palette", name);
	return (unsigned)strtoul(at + strlen(key), NULL, 16);
}

/* What `property: var(--NAME)` names in a rule; false when the rule does not set it. */
static bool set_by(const char *rule, const char *end, const char *property, char *name)
{
	for (const char *at = rule; at < end; at++) {
		size_t len = strlen(property);

		if ((at[-1] == ' ' || at[-1] == '\t' || at[-1] == '{') &&
		    !strncmp(at, property, len) && !strncmp(at + len, ": var(--", 8)) {
			snprintf(name, NAME_MAX_LEN, "%.*s", (int)strcspn(at + len + 8, ")"),
				 at + len + 8);
			return true;
		}
	}
	return false;
}

static const char *palette(bool dark)
{
	const char *at = strstr(dark ? pw_web_dark : pw_web_style, ":root {");

	assert_non_null(at);
	return at + strlen(":root {");
}

static void each_pair_can_be_read(void **state)
{
	unsigned pairs = 0;
	const char *rules = strchr(palette(false), '}');

	(void)state;
	for (const char *open = rules; (open = strchr(open, '{')); open++) {
		const char *end = open + strcspn(open + 1, "{}") + 1;
		char ink[NAME_MAX_LEN], paper[NAME_MAX_LEN];
		bool has_ink = set_by(open + 1, end, "color", ink);

		if (has_ink != set_by(open + 1, end, "background", paper))
			fail_msg("a rule sets one of color and background: %.80s", open);
		if (!has_ink)
			continue;
		pairs++;
		for (int dark = 0; dark <= 1; dark++) {
			double ratio = contrast(colour(palette(dark), ink),
						colour(palette(dark), paper));

			if (ratio < TEXT_RATIO)
				fail_msg("%s on %s: %.2f (%s)", ink, paper, ratio,
					 dark ? "dark" : "light");
		}
	}
	assert_in_range(pairs, 10, 100);
}

/* WCAG 2.2, 1.4.11: 3:1 for the parts of a drawing: each fill, against the aisle's paper or, for
 * what is drawn in the mark, against the mark. */
static void parts_can_be_told_apart(void **state)
{
	static const struct { const char *part, *on; } pairs[] = {
		{ "ink", "paper" }, { "mark", "paper" }, { "bad", "paper" }, { "mark-ink", "mark" },
	};
	static const char *const fill[] = { "currentColor;", "var(--paper);", "var(--mark);",
					    "var(--bad);" };

	(void)state;
	for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++)
		for (int dark = 0; dark <= 1; dark++)
			assert_true(contrast(colour(palette(dark), pairs[i].part),
					     colour(palette(dark), pairs[i].on)) >= PART_RATIO);
	for (const char *at = pw_web_style; (at = strstr(at, "fill: ")); at++) {
		bool known = false;

		for (size_t i = 0; i < sizeof fill / sizeof fill[0]; i++)
			known |= !strncmp(at + strlen("fill: "), fill[i], strlen(fill[i]));
		if (!known)
			fail_msg("a fill that is not checked: %.40s", at);
	}
}

/* Both palettes name the same colours. */
static void the_palettes_are_of_one_kind(void **state)
{
	unsigned n[2] = { 0 };

	(void)state;
	for (int dark = 0; dark <= 1; dark++)
		for (const char *at = palette(dark); *at != '}'; at++)
			n[dark] += !strncmp(at, "\t--", 3);
	assert_int_equal(n[0], n[1]);
	assert_true(n[0] > 10);
}

/* Else a pair could escape the check above. */
static void colours_stand_in_the_palettes_alone(void **state)
{
	const char *rules = strchr(palette(false), '}');

	(void)state;
	static const char *const never[] = { ": #", "rgb", "hsl", "opacity", "filter:", "blend",
					     "color-mix" };

	for (size_t i = 0; i < sizeof never / sizeof never[0]; i++)
		if (strstr(rules, never[i]))
			fail_msg("\"%s\" in a rule of the stylesheet", never[i]);
}

static unsigned times(const char *text, const char *what)
{
	unsigned n = 0;

	for (const char *at = text; (at = strstr(at, what)); at++)
		n++;
	return n;
}

/* WCAG 2.2, 2.3.1: nothing flashes. One glide, and not for those who mind it (2.3.3); one thing
 * that appears, once. The script writes twice a second at most. */
static void nothing_flashes(void **state)
{
	const char *still = strstr(pw_web_style,
				   "@media (prefers-reduced-motion: no-preference) {\n"
				   "\t.slot { transition: transform .3s ease-out; }\n}");

	(void)state;
	assert_non_null(still);
	assert_int_equal(times(pw_web_style, "transition"), 1);
	assert_int_equal(times(pw_web_style, "animation"), 1);
	assert_non_null(strstr(pw_web_style, "animation: stale 1ms 20s forwards;"));
	assert_int_equal(times(pw_web_style, "@keyframes"), 1);
	assert_int_equal(times(pw_web_dark, "animation") + times(pw_web_dark, "transition"), 0);
	assert_non_null(strstr(pw_web_script, "TICK_MS = 500"));
	assert_int_equal(times(pw_web_script, "setInterval("), 1);
	assert_non_null(strstr(pw_web_script, "setInterval(tick, TICK_MS)"));
}

static void nothing_comes_from_outside(void **state)
{
	static const char *const never[] = { "url(", "@import", "http:", "https:", "style=",
					     "src=\"http", "innerHTML", "eval(" };
	const char *const files[] = {
		pw_web_style, pw_web_dark, pw_web_frame, pw_web_page, pw_web_silent, pw_web_script,
		pw_web_before, pw_web_found, pw_web_report, pw_web_pin, pw_web_installer,
		pw_web_wiring, pw_web_setup, pw_web_mechanic, pw_web_leave, pw_web_refusal,
	};

	(void)state;
	for (size_t f = 0; f < sizeof files / sizeof files[0]; f++)
		for (size_t i = 0; i < sizeof never / sizeof never[0]; i++)
			if (strstr(files[f], never[i]))
				fail_msg("\"%s\" in file %zu", never[i], f);
}

/* Each standing has its own colours and its own shape. */
static void each_look_has_colours_and_a_shape(void **state)
{
	(void)state;
	for (int phase = PW_PARKED; phase < PW_PHASES; phase++)
		for (int carried = 0; carried <= 1; carried++) {
			struct pw_snapshot s = sample_in((enum pw_phase)phase, 1000);
			struct pw_said said;
			char text[64];

			s.carried = carried;
			pw_say(&s, &said);
			snprintf(text, sizeof text, "\n.%s { color:", said.look);
			assert_non_null(strstr(pw_web_style, text));
			snprintf(text, sizeof text, "id=\"shape-%s\"", said.look);
			assert_non_null(strstr(pw_web_frame, text));
		}
	for (int v = PW_DONE; v <= PW_MISSED; v++) {
		char text[64];

		snprintf(text, sizeof text, "id=\"shape-%s\"", pw_verdict_name((enum pw_verdict)v));
		assert_non_null(strstr(pw_web_frame, text));
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_formula_gives_the_known_figures),
		cmocka_unit_test(each_pair_can_be_read),
		cmocka_unit_test(the_palettes_are_of_one_kind),
		cmocka_unit_test(colours_stand_in_the_palettes_alone),
		cmocka_unit_test(parts_can_be_told_apart),
		cmocka_unit_test(nothing_flashes),
		cmocka_unit_test(nothing_comes_from_outside),
		cmocka_unit_test(each_look_has_colours_and_a_shape),
	};

	return cmocka_run_group_tests_name("page: what it looks like", tests, NULL, NULL);
}

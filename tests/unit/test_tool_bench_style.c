/* SPDX-License-Identifier: Apache-2.0 */
/* The colours of the bench's page, light and dark, by the contrast formula of WCAG 2.2 ("relative
 * luminance" and "contrast ratio" of its glossary): 1.4.3 asks 4.5:1 of text, 1.4.11 asks 3:1 of
 * what tells a switch's or a lamp's state. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <math.h>

#include "../../daemon/tool/bench_internal.h"

#define TEXT 4.5
#define PART 3.0

static double channel(unsigned long value)
{
	double c = (double)(value & 255) / 255.0;

	return c <= 0.04045 ? c / 12.92 : pow((c + 0.055) / 1.055, 2.4);
}

static double luminance(unsigned long rgb)
{
	return 0.2126 * channel(rgb >> 16) + 0.7152 * channel(rgb >> 8) + 0.0722 * channel(rgb);
}

static double contrast(unsigned long a, unsigned long b)
{
	double la = luminance(a), lb = luminance(b);

	return (fmax(la, lb) + 0.05) / (fmin(la, lb) + 0.05);
}

/* From the n-th palette of the stylesheet: 0 light, 1 dark. */
static unsigned long colour(int palette, const char *name)
{
	const char *from = strstr(pw_bench_web_style, ":root {"), *at;
	char key[40];

	if (palette == 1)
		from = strstr(from + 1, ":root {");
	assert_non_null(from);
	snprintf(key, sizeof(key), "--%s: #", name);
	at = strstr(from, key);
	if (!at || at > strchr(from, '}'))
		fail_msg("no --%s in palette %d", name, palette);
	return strtoul(at + strlen(key), NULL, 16);
}

static void check(const char *ink, const char *paper, double least)
{
	for (int palette = 0; palette <= 1; palette++) {
		double ratio = contrast(colour(palette, ink), colour(palette, paper));

		if (ratio < least)
			fail_msg("%s on %s in palette %d: %.2f", ink, paper, palette, ratio);
	}
}

/* Black on white is 21:1 by the definition; 0x767676 is the lightest grey of 4.5:1 on white. */
static void the_formula_gives_known_figures(void **state)
{
	(void)state;
	assert_int_equal(lround(contrast(0x000000, 0xffffff) * 100), 2100);
	assert_true(contrast(0x767676, 0xffffff) >= TEXT);
	assert_true(contrast(0x777777, 0xffffff) < TEXT);
}

/* The name in NAME of "property: var(--NAME)" in a rule, or "". */
static void named(const char *rule, size_t len, const char *property, char name[32])
{
	char *text = strndup(rule, len), key[40];
	const char *at;

	assert_non_null(text);
	name[0] = '\0';
	snprintf(key, sizeof(key), " %s: var(--", property);
	for (char *c = text; *c; c++)
		if (*c == '\n' || *c == '\t' || *c == '{')
			*c = ' ';
	at = strstr(text, key);
	if (at)
		snprintf(name, 32, "%.*s", (int)strcspn(at + strlen(key), ")"), at + strlen(key));
	free(text);
}

static void each_text_can_be_read(void **state)
{
	unsigned pairs = 0;

	(void)state;
	for (const char *open = pw_bench_web_style; (open = strchr(open, '{')); open++) {
		const size_t len = strcspn(open + 1, "{}") + 1;
		char ink[32], paper[32];

		named(open, len, "color", ink);
		named(open, len, "background", paper);
		if (!ink[0])
			continue;
		if (!paper[0])
			fail_msg("a colour without a background: %.80s", open);
		check(ink, paper, TEXT);
		pairs++;
	}
	assert_in_range(pairs, 6, 50);
}

static void each_state_can_be_seen(void **state)
{
	(void)state;
	check("edge", "card", PART); /* a knob that is off, a lamp that is off */
	check("on", "card", PART);   /* a knob that is on, and the dot in it */
	check("lit", "card", PART);  /* a lamp that is on or pulses */
	check("on", "paper", PART);  /* what has the focus */
	check("edge", "paper", PART);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_formula_gives_known_figures),
		cmocka_unit_test(each_text_can_be_read),
		cmocka_unit_test(each_state_can_be_seen),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

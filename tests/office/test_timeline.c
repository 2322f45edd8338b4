/* SPDX-License-Identifier: Apache-2.0 */
/* The drawing of a sweep: an SVG that holds what the records hold; and its axis. */
#include <math.h>
#include <time.h>

#include "office/timeline.h"
#include "told.h"

static struct pw_zone *chicago;

static char *draw(const struct pw_told_sweep *told, enum pw_tongue tongue)
{
	const struct pw_in_words in = told_words(tongue, chicago, told);
	char *svg = NULL;
	size_t length;
	FILE *out = open_memstream(&svg, &length);

	pw_timeline_draw(told, &in, out);
	fclose(out);
	return svg;
}

static unsigned count_of(const char *text, const char *what)
{
	unsigned count = 0;

	for (const char *p = text; (p = strstr(p, what)); p += strlen(what))
		count++;
	return count;
}

/* -- the axis ---------------------------------------------------------------------------------- */

static void close_moments_are_one_piece(void **state)
{
	int64_t moments[] = { 40000, 0, 20000 };
	struct pw_axis a;

	(void)state;
	pw_axis_make(moments, 3, -5000, 45000, 100, 500, &a);
	assert_int_equal(a.count, 1);
	assert_true(fabs(pw_axis_x(&a, -5000) - 100) < 1e-9);
	assert_true(fabs(pw_axis_x(&a, 20000) - 350) < 1e-9);
	assert_true(fabs(pw_axis_x(&a, 45000) - 600) < 1e-9);
	assert_true(fabs(pw_axis_x(&a, 999999) - 600) < 1e-9); /* outside: the nearer end */
	assert_true(fabs(pw_axis_x(&a, INT64_MIN) - 100) < 1e-9);
	assert_int_equal(a.step_ms, 10000);
}

static void hours_without_anything_are_cut_out(void **state)
{
	int64_t moments[] = { 0, 20000, 36000000, 36010000 };
	struct pw_axis a;

	(void)state;
	pw_axis_make(moments, 4, -5000, 36015000, 100, 500, &a);
	assert_int_equal(a.count, 3);
	assert_true(a.piece[1].cut);
	assert_int_equal(a.piece[1].from_ms, 28000);
	assert_int_equal(a.piece[1].to_ms, 35992000);
	assert_true(pw_axis_x(&a, 36010000) - pw_axis_x(&a, 36000000) > 50);
	assert_true(fabs(pw_axis_x(&a, 36015000) - 600) < 1e-6);
}

/* Wherever the moments are: pieces follow each other without a gap, and x never falls. Random, by seed. */
static void an_axis_always_holds_together(void **state)
{
	const char *given = getenv("SEED");
	uint64_t seed = given ? strtoull(given, NULL, 10) : (uint64_t)time(NULL) * 2654435761u + 1;

	(void)state;
	print_message("SEED=%llu\n", (unsigned long long)seed);
	for (int round = 0; round < 400; round++) {
		int64_t moments[120], from_ms = -6000, to_ms;
		size_t count;
		struct pw_axis a;
		double last = -1;

		seed = seed * 6364136223846793005u + 1442695040888963407u;
		count = 1 + (size_t)(seed >> 33) % 120;
		to_ms = (int64_t)1000 << (seed >> 60);
		for (size_t i = 0; i < count; i++) {
			seed = seed * 6364136223846793005u + 1442695040888963407u;
			moments[i] = (int64_t)((seed >> 20) % (uint64_t)(to_ms * 3)) - to_ms;
		}
		pw_axis_make(moments, count, from_ms, to_ms, 168, 780, &a);
		assert_in_range(a.count, 1, PW_AXIS_PIECES);
		assert_int_equal(a.piece[0].from_ms, from_ms);
		assert_int_equal(a.piece[a.count - 1].to_ms, to_ms);
		for (size_t i = 0; i < a.count; i++) {
			assert_true(i == 0 || a.piece[i].from_ms == a.piece[i - 1].to_ms);
			assert_true(a.piece[i].from_ms <= a.piece[i].to_ms && a.piece[i].width >= 0);
			assert_true(a.piece[i].x >= last);
			last = a.piece[i].x;
		}
		assert_true(fabs(pw_axis_x(&a, to_ms) - 948) < 1e-6);
	}
}

/* -- the drawing ------------------------------------------------------------------------------- */

static void a_walk_is_drawn_as_it_was(void **state)
{
	struct tool *t = *state;
	struct pw_told_sweep told;
	char *svg;

	told_play(t, TOLD_POLICY,
		  "0 ignition=1\n300 ignition=0\n310 rear_button=1\n310.4 rear_button=0\n320 rear_button=1\n"
		  "320.4 rear_button=0\n334 service_door=1\n336 service_door=0\n400 end\n");
	assert_true(told_gather(t, 1, 1, &told));
	svg = draw(&told, PW_ENGLISH);
	/* each mark stands once more in the legend */
	assert_int_equal(count_of(svg, "class=\"timeline-refused\""), 1 + 1);
	assert_int_equal(count_of(svg, "class=\"timeline-accepted\""), 1 + 1);
	assert_int_equal(count_of(svg, "class=\"timeline-edge\""), 1 + 4 + 1 + 1); /* key, button, door, legend */
	assert_int_equal(count_of(svg, "class=\"timeline-owed\""), 1);
	assert_int_equal(count_of(svg, "class=\"timeline-overdue\""), 0);
	assert_int_equal(count_of(svg, "class=\"timeline-back\""), 1);
	assert_int_equal(count_of(svg, "class=\"timeline-asked\""), 2);
	assert_int_equal(count_of(svg, "class=\"timeline-was\""), 2);
	assert_non_null(strstr(svg, ">≥ 14.5 s<"));
	assert_non_null(strstr(svg, ">20.0 s<"));
	assert_non_null(strstr(svg, ">09:18:20<"));
	assert_non_null(strstr(svg, ">Ignition key<"));
	assert_non_null(strstr(svg, "<desc id=\"timeline-desc\">Stop at 09:18:20. From the stop to the press that "
			       "counts: 20.0 s. From the press to leaving: 14.0 s. Presses refused: 1.</desc>"));
	free(svg);
	svg = draw(&told, PW_FRENCH);
	assert_non_null(strstr(svg, ">≥ 14,5 s<"));
	free(svg);
	pw_gather_free(&told);
}

static void an_alarm_climbs_and_hours_are_cut(void **state)
{
	struct tool *t = *state;
	struct pw_told_sweep told;
	char *svg;

	told_play(t, TOLD_POLICY, "0 ignition=1\n300 ignition=0\n20000 ignition=1\n20010 end\n");
	assert_true(told_gather(t, 1, 1, &told));
	svg = draw(&told, PW_ENGLISH);
	assert_int_equal(count_of(svg, "class=\"timeline-overdue\""), 1);
	assert_int_equal(count_of(svg, "class=\"timeline-loud\""), 4); /* inside, outside, office, spent */
	assert_int_equal(count_of(svg, "class=\"timeline-none\""), 1);
	assert_true(count_of(svg, "class=\"timeline-cut-span\"") >= 2);
	free(svg);
	pw_gather_free(&told);
}

/* Well-formed by Python's expat, with nothing outside of its box; in each language. */
struct files { struct tool *t; unsigned count; };

static void keep_drawing(const char *name, const struct pw_told_sweep *told, void *ctx)
{
	struct files *f = ctx;

	(void)name;
	for (enum pw_tongue l = PW_ENGLISH; l < PW_TONGUES; l++) {
		char path[40], *svg = draw(told, l);

		snprintf(path, sizeof(path), "drawing-%03u.svg", f->count++);
		tool_write(tool_path(f->t, path), svg);
		free(svg);
	}
}

static void every_scenario_is_drawn_well_formed(void **state)
{
	static const char script[] =
		"import glob, re, sys\n"
		"from xml.etree import ElementTree\n"
		"n = 0\n"
		"for path in glob.glob(sys.argv[1] + '/drawing-*.svg'):\n"
		"    root = ElementTree.parse(path).getroot()\n"
		"    width, height = map(float, root.get('viewBox').split()[2:])\n"
		"    assert root.find('title').text and root.find('desc').text, path\n"
		"    for e in root.iter():\n"
		"        x, y = float(e.get('x', 0)), float(e.get('y', 0))\n"
		"        w, h = float(e.get('width', 0)), float(e.get('height', 0))\n"
		"        if e is not root:\n"
		"            assert 0 <= x and x + w <= width + 0.2, (path, e.attrib)\n"
		"            assert 0 <= y and y + h <= height + 0.2, (path, e.attrib)\n"
		"        assert 'nan' not in str(e.attrib) and 'inf' not in str(e.attrib), path\n"
		"    n += 1\n"
		"print(n)\n";
	struct files f = { .t = *state };
	char command[300], said[20] = "";
	FILE *pipe;

	told_scenarios(f.t, keep_drawing, &f);
	tool_write(tool_path(f.t, "look.py"), script);
	snprintf(command, sizeof(command), "/usr/bin/python3 '%s/look.py' '%s'", f.t->dir, f.t->dir);
	pipe = popen(command, "r");
	assert_non_null(pipe);
	assert_non_null(fgets(said, sizeof(said), pipe));
	assert_int_equal(pclose(pipe), 0);
	assert_int_equal(atoi(said), f.count);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(close_moments_are_one_piece),
		cmocka_unit_test(hours_without_anything_are_cut_out),
		cmocka_unit_test(an_axis_always_holds_together),
#define TEST(f) cmocka_unit_test_setup_teardown(f, tool_begin, tool_end)
		TEST(a_walk_is_drawn_as_it_was),
		TEST(an_alarm_climbs_and_hours_are_cut),
		TEST(every_scenario_is_drawn_well_formed),
#undef TEST
	};
	char why[200];
	int failed;

	if (pw_zone_open("America/Chicago", &chicago, why, sizeof(why)))
		return 1;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	pw_zone_free(chicago);
	return failed;
}

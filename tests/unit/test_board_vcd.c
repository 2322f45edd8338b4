/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The dump of raw edges (IEEE 1364-2005, 18), read back by two general readers that know nothing of
 * Postwalk: sigrok-cli, which samples it every ms, and vcd2fst and fst2vcd of gtkwave, which keep
 * each change and the unknown. Every edge must come out where it went in.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "board_harness.h"

#define LEVELS_MAX 40000 /* ms of a story */

/* What was put in: the level of each line at each ms, 'x' before its first edge. */
struct story {
	struct pw_wires wires;
	int64_t zero_ms, end_ms;
	char level[PW_LINES][LEVELS_MAX];
};

static char text[PW_VCD_MAX];

static bool has_line(const struct pw_wires *w, unsigned line)
{
	return w->wire[line].name[0] != '\0';
}

static void begin(struct story *s, int64_t zero_ms)
{
	const struct pw_policy p = harness_policy();

	pw_wires_begin(&s->wires, &p, 1U << PW_REAR_BUTTON_NC, zero_ms - 100);
	s->zero_ms = zero_ms;
	memset(s->level, 'x', sizeof(s->level));
}

static void edge(struct story *s, unsigned line, int64_t after_ms)
{
	char level = s->wires.wire[line].level ? '0' : '1';

	assert_in_range(after_ms, 0, LEVELS_MAX - 1);
	pw_wires_edge(&s->wires, line, (uint8_t)(level - '0'), s->zero_ms + after_ms);
	memset(s->level[line] + after_ms, level, LEVELS_MAX - (size_t)after_ms);
}

static void end(struct story *s, int64_t after_ms)
{
	s->end_ms = after_ms;
	pw_wires_judge(&s->wires, 0, 10000, s->zero_ms + after_ms);
	assert_true(pw_wires_vcd(&s->wires, "17-B", "2026-10-05T06:30:00Z", text,
				 sizeof(text)) > 0);
}

/* At most 190 edges a line, so that the tails hold them all. least_ms: the shortest pulse. */
static void random_story(struct story *s, unsigned seed, int least_ms)
{
	int64_t last_ms = 0;

	srand(seed);
	begin(s, 1 + (int64_t)rand() * 1000);
	for (unsigned i = 0; i < PW_LINES; i++) {
		int64_t at_ms = i == PW_IGNITION ? 0 : rand() % 3000;

		if (!has_line(&s->wires, i) || i == PW_EXITS) /* which nobody opens */
			continue;
		for (int n = rand() % 190; n >= 0; n--) {
			edge(s, i, at_ms);
			last_ms = at_ms > last_ms ? at_ms : last_ms;
			at_ms += least_ms + (rand() % 4 ? rand() % 6 : rand() % 500);
		}
	}
	end(s, last_ms + 1 + rand() % 500);
}

/* -- the readers ------------------------------------------------------------------------------- */

/* Writes the dump to a file and opens what the command (%s: the file) says of it. */
static FILE *read_by(const char *command, char *path)
{
	char line[400];
	FILE *f;

	strcpy(path, "/tmp/postwalk-vcd-XXXXXX");
	f = fdopen(mkstemp(path), "w");
	assert_non_null(f);
	assert_true(fputs(text, f) >= 0);
	assert_int_equal(fclose(f), 0);
	snprintf(line, sizeof(line), command, path, path, path);
	f = popen(line, "r");
	assert_non_null(f);
	return f;
}

static void close_reader(FILE *f, const char *path)
{
	assert_int_equal(pclose(f), 0);
	assert_int_equal(unlink(path), 0);
}

/* "; Channels (N/N): a, b": which line each column is. */
static unsigned columns_of(const struct pw_wires *w, char *names, unsigned *line)
{
	unsigned n = 0;

	for (char *name = strtok(names, ", \n"); name; name = strtok(NULL, ", \n")) {
		for (line[n] = 0; strcmp(w->wire[line[n]].name, name) != 0; line[n]++)
			assert_true(line[n] < PW_LINES - 1);
		n++;
	}
	return n;
}

static void compare_samples(const struct story *s, FILE *f)
{
	unsigned line[PW_LINES], columns = 0, wanted = 0;
	char row[1000];
	int64_t ms = 0;

	while (fgets(row, sizeof(row), f)) {
		if (strncmp(row, "; Channels", 10) == 0)
			columns = columns_of(&s->wires, strchr(row, ':') + 1, line);
		if (strstr(row, "samplerate"))
			assert_string_equal(row, "META samplerate: 1000\n");
		if (row[0] != '0' && row[0] != '1')
			continue;
		for (unsigned c = 0; c < columns; c++) {
			char level = s->level[line[c]][ms];

			/* It has no unknown: what is x reads 0. */
			if (row[2 * c] != (level == 'x' ? '0' : level))
				fail_msg("%s at %lld ms: %c, read as %c",
					 s->wires.wire[line[c]].name, (long long)ms, level,
					 row[2 * c]);
		}
		ms++;
	}
	for (unsigned i = 0; i < PW_LINES; i++)
		wanted += has_line(&s->wires, i);
	assert_int_equal(columns, wanted);
	assert_int_equal(ms, s->end_ms);
}

static void a_sampling_reader_sees_every_edge(void **state)
{
	static struct story s;
	char path[40];
	FILE *f;

	(void)state;
	for (unsigned seed = 1; seed <= 8; seed++) {
		random_story(&s, seed, 0);
		f = read_by("sigrok-cli -I vcd -i %s -O csv", path);
		compare_samples(&s, f);
		close_reader(f, path);
	}
}

/* The next level of a line that differs, from *ms on; false: there is none before the end. */
static bool next_change(const struct story *s, unsigned line, int64_t *ms)
{
	while (++*ms < s->end_ms)
		if (s->level[line][*ms] != s->level[line][*ms - 1])
			return true;
	return false;
}

static void take_change(const struct story *s, unsigned line, char level, int64_t now_ms,
			int64_t *at_ms)
{
	if (*at_ms < 0 ? now_ms != (*at_ms = 0) : !next_change(s, line, at_ms) || *at_ms != now_ms)
		fail_msg("%s: a change at %lld ms, none was given then",
			 s->wires.wire[line].name, (long long)now_ms);
	assert_int_equal(level, s->level[line][now_ms]);
}

static void compare_changes(const struct story *s, FILE *f)
{
	int64_t at_ms[PW_LINES], now_ms = -1;
	unsigned line[128] = { 0 };
	char row[1000], code, name[PW_NAME_MAX];

	memset(at_ms, 0xff, sizeof(at_ms));
	while (fgets(row, sizeof(row), f)) {
		if (sscanf(row, "$var wire 1 %c %31s $end", &code, name) == 2)
			columns_of(&s->wires, name, &line[(int)code]);
		else if (row[0] == '#')
			now_ms = atoll(row + 1);
		else if (now_ms >= 0 && strchr("01xz", row[0]))
			take_change(s, line[(int)row[1]], row[0], now_ms,
				    &at_ms[line[(int)row[1]]]);
	}
	assert_int_equal(now_ms, s->end_ms);
	for (unsigned i = 0; i < PW_LINES; i++)
		if (has_line(&s->wires, i))
			assert_false(at_ms[i] < 0 || next_change(s, i, &at_ms[i]));
}

static void a_waveform_reader_sees_every_change_and_the_unknown(void **state)
{
	static struct story s;
	char path[40];
	FILE *f;

	(void)state;
	for (unsigned seed = 101; seed <= 120; seed++) {
		random_story(&s, seed, 1);
		f = read_by("vcd2fst %s %s.fst && fst2vcd %s.fst", path);
		compare_changes(&s, f);
		close_reader(f, path);
		unlink(strcat(path, ".fst"));
	}
}

/* -- the text ---------------------------------------------------------------------------------- */

static void the_dump_is_as_the_standard_has_it(void **state)
{
	struct pw_policy p;
	struct pw_wires w;
	int length;

	(void)state;
	pw_policy_init(&p, false);
	p.line[PW_IGNITION].configured = p.line[PW_REAR_BUTTON].configured = true;
	p.line[PW_BEEPER].configured = true;
	pw_wires_begin(&w, &p, 0, 5000);
	pw_wires_edge(&w, PW_IGNITION, 1, 7000);
	pw_wires_edge(&w, PW_BEEPER, 1, 7002);
	pw_wires_edge(&w, PW_BEEPER, 0, 7002);
	pw_wires_edge(&w, PW_IGNITION, 0, 7002);
	pw_wires_judge(&w, 0, 10000, 9000);
	length = pw_wires_vcd(&w, "17-B", "today $end $var", text, sizeof(text));
	assert_int_equal(length, strlen(text));
	assert_string_equal(text,
		"$date today _end _var $end\n"
		"$version Postwalk $end\n"
		"$comment Raw edges of bus 17-B. Time 0 is 7000 ms after the board started. "
		"x: not seen to move yet. $end\n"
		"$timescale 1 ms $end\n"
		"$scope module _17_B $end\n"
		"$var wire 1 ! ignition $end\n"
		"$var wire 1 # rear_button $end\n"
		"$var wire 1 ) beeper $end\n"
		"$upscope $end\n"
		"$enddefinitions $end\n"
		"#0\n$dumpvars\n1!\nx#\nx)\n$end\n"
		"#2\n0!\n1)\n0)\n"
		"#2000\n");
}

static void without_edges_all_is_unknown(void **state)
{
	static struct story s;

	(void)state;
	begin(&s, 1000);
	end(&s, 0);
	assert_non_null(strstr(text, "#0\n$dumpvars\nx!\n"));
	assert_null(strstr(text, "\n1"));
	assert_null(strstr(text, "\n0"));
}

static void a_buffer_too_small_is_told(void **state)
{
	static struct story s;
	int length;

	(void)state;
	random_story(&s, 3, 1);
	length = (int)strlen(text);
	for (int size = 0; size <= length + 1; size += size < length - 3 ? 97 : 1) {
		char *buf = malloc((size_t)size + 1); /* the sanitizer watches its end */

		buf[size] = '#';
		assert_int_equal(pw_wires_vcd(&s.wires, "17-B", "2026-10-05T06:30:00Z", buf,
					      (size_t)size), size > length ? length : -1);
		assert_int_equal(buf[size], '#');
		free(buf);
	}
}

/* Every line, every tail full, the longest names and times. */
static void the_longest_dump_fits(void **state)
{
	char name[PW_NAME_MAX];
	struct pw_policy p;
	struct pw_wires w;

	(void)state;
	pw_policy_init(&p, false);
	memset(name, 'n', sizeof(name));
	name[PW_NAME_MAX - 1] = '\0';
	for (unsigned i = 0; i < PW_LINES; i++) {
		p.line[i].configured = true;
		memcpy(p.line[i].name, name, sizeof(name));
	}
	pw_wires_begin(&w, &p, 0, 0);
	for (unsigned n = 0; n < PW_TAIL_MAX; n++)
		for (unsigned i = 0; i < PW_LINES; i++)
			pw_wires_edge(&w, i, !w.wire[i].level, n * (INT64_MAX / PW_TAIL_MAX) + i);
	assert_in_range(pw_wires_vcd(&w, name, "2026-10-05T06:30:00.000+00:00", text,
				     sizeof(text)), 60000, PW_VCD_MAX - 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_sampling_reader_sees_every_edge),
		cmocka_unit_test(a_waveform_reader_sees_every_change_and_the_unknown),
		cmocka_unit_test(the_dump_is_as_the_standard_has_it),
		cmocka_unit_test(without_edges_all_is_unknown),
		cmocka_unit_test(a_buffer_too_small_is_told),
		cmocka_unit_test(the_longest_dump_fits),
	};

	return cmocka_run_group_tests_name("board: vcd", tests, NULL, NULL);
}

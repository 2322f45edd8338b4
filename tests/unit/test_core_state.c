/* SPDX-License-Identifier: Apache-2.0 */
/* The state is plain data: it can be copied at any step, and what is kept of it is enough (R20). */
#include "core_days.h"

static struct play one, two;

/* The sinks say into their own play. */
static void copy_play(struct play *to, const struct play *from)
{
	memcpy(to, from, sizeof(*to));
	to->sink.ctx = to;
}

static void play_rest(struct play *t, const struct play_line *lines, size_t from, size_t n)
{
	for (size_t i = from; i < n; i++)
		play_step(t, &lines[i]);
	play_settle(t);
}

static void a_copy_goes_on_as_the_original_does(void **state)
{
	struct play_line lines[ROWS_MAX];

	(void)state;
	for (size_t d = 0; d < COUNT(days); d++) {
		size_t n;

		play_policy(&one, days[d].policy);
		n = play_lines(&one, days[d].trace, lines, COUNT(lines));
		for (size_t k = 0; k < n; k++) {
			static struct play kept;

			play_step(&one, &lines[k]);
			copy_play(&kept, &one);
			copy_play(&two, &one);
			play_rest(&one, lines, k + 1, n);
			memset(&one, 0xa5, sizeof(one)); /* nothing of it is needed any more */
			play_rest(&two, lines, k + 1, n);
			copy_play(&one, &kept);
			play_rest(&one, lines, k + 1, n);
			assert_string_equal(one.said, two.said);
			assert_memory_equal(&one.s, &two.s, sizeof(one.s));
			copy_play(&one, &kept);
		}
	}
}

/* As the daemon goes: from one pw_next_ms to the next, and never more than one timer at a time. */
static void waking_when_told_is_the_same_as_running_up_to_a_line(void **state)
{
	struct play_line lines[ROWS_MAX];

	(void)state;
	for (size_t d = 0; d < COUNT(days); d++) {
		size_t n;

		play_policy(&one, days[d].policy);
		play_policy(&two, days[d].policy);
		n = play_lines(&one, days[d].trace, lines, COUNT(lines));
		for (size_t k = 0; k < n; k++) {
			int64_t next;

			play_step(&one, &lines[k]);
			while (two.begun && (next = pw_next_ms(&two.s, &two.p)) < lines[k].at_ms)
				assert_true(pw_run(&two.s, &two.p, next, &two.sink) > 0);
			play_step(&two, &lines[k]);
		}
		play_settle(&one);
		play_settle(&two);
		assert_string_equal(one.said, two.said);
	}
}

/* pw_next_ms never names a moment at which nothing is handled, and nothing happens before it. */
static void nothing_happens_before_the_next_moment(void **state)
{
	struct play_line lines[ROWS_MAX];

	(void)state;
	for (size_t d = 0; d < COUNT(days); d++) {
		size_t n;

		play_policy(&one, days[d].policy);
		n = play_lines(&one, days[d].trace, lines, COUNT(lines));
		for (size_t k = 0; k < n; k++) {
			int64_t next;

			play_step(&one, &lines[k]);
			next = pw_next_ms(&one.s, &one.p);
			if (next == PW_NEVER)
				continue;
			copy_play(&two, &one);
			assert_int_equal(pw_run(&two.s, &two.p, next - 1, &two.sink), 0);
			assert_true(pw_run(&two.s, &two.p, next, &two.sink) > 0);
		}
	}
}

/* Only what the table names, and the refusals, in a state that knows nothing else. */
static void keep_only_the_table(struct pw_state *s)
{
	static struct pw_state fresh;
	size_t width[] = { [PW_FIELD_TIME] = sizeof(int64_t), [PW_FIELD_SPAN] = sizeof(int64_t),
			   [PW_FIELD_BOOL] = sizeof(bool), [PW_FIELD_U32] = sizeof(uint32_t),
			   [PW_FIELD_U8] = sizeof(uint8_t) };

	memset(&fresh, 0, sizeof(fresh));
	for (size_t i = 0; i < pw_kept_count; i++)
		memcpy((char *)&fresh + pw_kept[i].offset, (const char *)s + pw_kept[i].offset,
		       width[pw_kept[i].type]);
	memcpy(fresh.sweep.refusal, s->sweep.refusal, sizeof(fresh.sweep.refusal));
	*s = fresh;
}

/* Cut after line k; another process takes up what was kept, gap_ms later. */
static void restart_from_the_table(size_t k, const struct play_line *lines, size_t n, int64_t gap_ms,
				   bool lost)
{
	struct play_line cut = { .cut = true, .at_ms = lines[k].at_ms + 150 };
	struct play_line on = { .on = true, .at_ms = cut.at_ms + gap_ms, .lost = lost };

	for (size_t i = 0; i <= k; i++)
		play_step(&one, &lines[i]);
	play_step(&one, &cut);
	copy_play(&two, &one);
	keep_only_the_table(&two.s);
	two.s.cut_ms = cut.at_ms;
	play_step(&one, &on);
	play_step(&two, &on);
	for (size_t i = k + 1; i < n; i++) {
		struct play_line later = lines[i];

		later.at_ms = lines[i].at_ms + 150 + gap_ms;
		play_step(&one, &later);
		play_step(&two, &later);
	}
	play_settle(&one);
	play_settle(&two);
}

static void r20_what_is_kept_is_enough(void **state)
{
	static const struct { int64_t gap_ms; bool lost; } gaps[] = {
		{ 1000, false }, { 11000, false }, { 3600000, false }, { 1000, true },
	};
	struct play_line lines[ROWS_MAX];

	(void)state;
	for (size_t d = 0; d < COUNT(days); d++) {
		size_t n;

		play_policy(&one, days[d].policy);
		n = play_lines(&one, days[d].trace, lines, COUNT(lines));
		for (size_t k = 0; k < n * COUNT(gaps); k++) {
			play_policy(&one, days[d].policy);
			restart_from_the_table(k % n, lines, n, gaps[k / n].gap_ms, gaps[k / n].lost);
			if (strcmp(one.said, two.said) != 0)
				fail_msg("%s, cut after line %zu:\n%s\nbut from what is kept:\n%s",
					 days[d].what, k % n, one.said, two.said);
		}
	}
}

/* Every kept time moves, a span does not (another boot's clock). */
static void r21_a_shift_moves_times_and_nothing_else(void **state)
{
	(void)state;
	play_policy(&one, "");
	play_trace(&one, "0 ignition=1; 100 ignition=0; 103 press; 161 press; 162 end");
	copy_play(&two, &one);
	pw_shift(&two.s, 5000);
	assert_int_equal(two.s.sweep.late_ms, 1000);
	assert_int_equal(two.s.sweep.refusal[0].at_ms, 108000);
	for (size_t i = 0; i < pw_kept_count; i++) {
		const char *a = (const char *)&one.s + pw_kept[i].offset;
		const char *b = (const char *)&two.s + pw_kept[i].offset;
		int64_t was, is;

		if (pw_kept[i].type != PW_FIELD_TIME)
			continue;
		memcpy(&was, a, sizeof(was));
		memcpy(&is, b, sizeof(is));
		assert_true(is == (was == PW_NO_TIME ? PW_NO_TIME : was + 5000));
	}
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_copy_goes_on_as_the_original_does),
		cmocka_unit_test(waking_when_told_is_the_same_as_running_up_to_a_line),
		cmocka_unit_test(nothing_happens_before_the_next_moment),
		cmocka_unit_test(r20_what_is_kept_is_enough),
		cmocka_unit_test(r21_a_shift_moves_times_and_nothing_else),
	};

	return cmocka_run_group_tests_name("the state", tests, NULL, NULL);
}

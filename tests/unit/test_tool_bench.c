/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk bench, against the real bench board. Everything waits for descriptors. */
#include "tool_command.h"

#include <poll.h>
#include <time.h>

#include "postwalk/board.h"

#define EDGES_MAX 64
#define DEADLINE_MS 8000

struct bench {
	struct tool *t;
	char path[100];
	struct pw_policy p;
	struct pw_board *b;
	struct pw_edge edge[EDGES_MAX];
	size_t edges;
	size_t close_after; /* edges, and then the board goes; 0: it stays */
	bool drive;         /* once a client watches: the outputs change, then the board goes */
	int64_t start_ms;
};

static int64_t now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static void open_board(struct bench *s)
{
	char why[300];

	if (pw_board_open("bench", s->path, &s->p, now_ms(), &s->b, why, sizeof(why)))
		fail_msg("%s", why);
}

static int begin(void **state)
{
	struct bench *s = calloc(1, sizeof(*s));
	void *tool;

	assert_non_null(s);
	tool_begin(&tool);
	s->t = tool;
	snprintf(s->path, sizeof(s->path), "%s/bench", s->t->dir);
	pw_policy_init(&s->p, true);
	s->p.line[PW_LAMPS].configured = false;
	s->p.line[PW_BEEPER].configured = s->p.line[PW_HORN].configured = true;
	open_board(s);
	*state = s;
	return 0;
}

static int end(void **state)
{
	struct bench *s = *state;
	void *tool = s->t;

	pw_board_close(s->b);
	tool_end(&tool);
	free(s);
	return 0;
}

static void close_board(struct bench *s)
{
	pw_board_close(s->b);
	s->b = NULL;
}

/* The client has said what it has seen: outputs by outputs, then the end. */
static void drive_watched(struct bench *s)
{
	tool_read(tool_path(s->t, "OUT"), s->t->out);
	if (strcmp(s->t->out, "beeper=0\nhorn=0\n") == 0)
		pw_board_drive(s->b, 1u << PW_BEEPER, now_ms());
	else if (strcmp(s->t->out, "beeper=0\nhorn=0\nbeeper=1\n") == 0)
		pw_board_drive(s->b, 1u << PW_HORN, now_ms());
	else if (strcmp(s->t->out, "beeper=0\nhorn=0\nbeeper=1\nbeeper=0\nhorn=1\n") == 0)
		close_board(s);
}

/* The loop of a watch, until the client's process is over. */
static void serve(struct bench *s, int alive)
{
	const int64_t end_ms = now_ms() + DEADLINE_MS;

	for (;;) {
		struct pollfd p[2] = { { .fd = alive, .events = POLLIN },
				       { .fd = s->b ? pw_board_fd(s->b) : -1, .events = POLLIN } };

		if (now_ms() >= end_ms)
			fail_msg("the client did not end within %d ms", DEADLINE_MS);
		poll(p, 2, s->drive ? 5 : 1000);
		if (p[1].revents)
			s->edges += pw_board_read(s->b, now_ms(), s->edge + s->edges,
						  EDGES_MAX - s->edges);
		if (s->b && s->close_after && s->edges >= s->close_after)
			close_board(s);
		if (s->b && s->drive)
			drive_watched(s);
		if (p[0].revents)
			break;
	}
	close(alive);
	tool_finish(s->t);
}

static void talk(struct bench *s, const char *const *arg)
{
	s->edges = 0;
	s->start_ms = now_ms();
	serve(s, tool_start(s->t, pw_bench, arg));
}

#define BENCH(s, ...) talk(s, (const char *const[]){ "bench", (s)->path, __VA_ARGS__, NULL })

static void assert_edges(const struct bench *s, const char *expected)
{
	char text[1024] = "";

	for (size_t i = 0; i < s->edges; i++)
		sprintf(text + strlen(text), "%s%s=%u", i ? " " : "",
			s->p.line[s->edge[i].line].name, s->edge[i].level);
	assert_string_equal(text, expected);
}

/* -- one line ---------------------------------------------------------------------------------- */

static void a_line_is_set_and_the_answer_printed(void **state)
{
	struct bench *s = *state;

	BENCH(s, "ignition=1", "service_door=1");
	assert_int_equal(s->t->status, PW_EXIT_OK);
	assert_string_equal(s->t->out, "ok\n");
	assert_string_equal(s->t->err, "");
	assert_edges(s, "ignition=1 service_door=1");
	BENCH(s, "ignition=0");
	assert_edges(s, "ignition=0");
}

static void a_line_that_the_board_refuses(void **state)
{
	static const struct {
		const char *word, *err;
	} refused[] = {
		{ "lamps=1", "error: lamps is not configured\n" },
		{ "horn=1", "error: horn is an output" },
		{ "nothing=1", "error: no line is named \"nothing\"\n" },
		{ "ignition=2", "error: expected 0 or 1" },
	};
	struct bench *s = *state;

	for (size_t i = 0; i < COUNT(refused); i++) {
		BENCH(s, "service_door=1", refused[i].word);
		assert_refused(s->t, refused[i].err);
		assert_edges(s, "");
	}
}

static void words_that_are_no_levels_are_not_sent(void **state)
{
	static const char *const word[] = { "ignition", "", "ignition=1\nservice_door=1",
					    "ignition=1 " };
	struct bench *s = *state;

	for (size_t i = 0; i < COUNT(word); i++) {
		BENCH(s, word[i]);
		assert_int_equal(s->t->status, PW_EXIT_BAD);
		assert_has(s->t->err, "expected NAME=VALUE");
		assert_edges(s, "");
	}
}

static void no_bench_there(void **state)
{
	struct bench *s = *state;
	char path[200];

	close_board(s);
	BENCH(s, "ignition=1");
	assert_refused(s->t, "expected the socket of a bench board");
	memset(path, 'x', sizeof(path) - 1);
	path[sizeof(path) - 1] = '\0';
	RUN(s->t, pw_bench, "bench", path, "ignition=1");
	assert_refused(s->t, "expected a shorter path");
}

static void words_that_do_not_go_together(void **state)
{
	struct bench *s = *state;
	const char *trace = tool_path(s->t, "t");
	const char *const wrong[][ARGS_MAX] = {
		{ "bench" },
		{ "bench", s->path },
		{ "bench", s->path, "ignition=1", "--watch" },
		{ "bench", s->path, "--watch", "--play", trace },
		{ "bench", s->path, "ignition=1", "--speed", "2" },
		{ "bench", s->path, "--play" },
		{ "bench", s->path, "--loud" },
	};

	for (size_t i = 0; i < COUNT(wrong); i++) {
		talk(s, wrong[i]);
		assert_int_equal(s->t->status, PW_EXIT_BAD);
		assert_has(s->t->err, "usage: postwalk bench");
		assert_edges(s, "");
	}
}

/* -- outputs ----------------------------------------------------------------------------------- */

static void outputs_are_told_until_the_bench_goes(void **state)
{
	struct bench *s = *state;

	s->drive = true;
	BENCH(s, "--watch");
	assert_int_equal(s->t->status, PW_EXIT_OK);
	assert_string_equal(s->t->err, "");
	assert_has(s->t->out, "beeper=0\nhorn=0\nbeeper=1\nbeeper=0\nhorn=1\n");
}

/* -- a trace ----------------------------------------------------------------------------------- */

static const char *trace_file(struct bench *s, const char *text)
{
	const char *path = tool_path(s->t, "afternoon.trace");

	tool_write(path, text);
	return path;
}

/* From the first moment on, each at its time over the speed, or later, never before. */
static void a_trace_is_played_in_its_time(void **state)
{
	static const int64_t at_ms[] = { 0, 20, 40, 40 };
	struct bench *s = *state;
	int64_t ended_ms;

	BENCH(s, "--play", trace_file(s, "# a walk\n100 ignition=1\n120 ignition=0 # off\n\n"
				      "140 rear_button=1 service_door=1\n160 end\n"),
	      "--speed", "1000");
	ended_ms = now_ms();
	assert_string_equal(s->t->err, "");
	assert_int_equal(s->t->status, PW_EXIT_OK);
	assert_string_equal(s->t->out, "100.000 ignition=1\n120.000 ignition=0\n"
			    "140.000 rear_button=1 service_door=1\n");
	assert_edges(s, "ignition=1 ignition=0 rear_button=1 service_door=1");
	for (size_t i = 0; i < s->edges; i++)
		assert_true(s->edge[i].at_ms >= s->start_ms + at_ms[i]);
	assert_true(ended_ms >= s->start_ms + 60);
}

static void a_speed_below_one_slows_it(void **state)
{
	struct bench *s = *state;

	BENCH(s, "--play", trace_file(s, "0 ignition=1\n0.02 ignition=0\n"), "--speed", "0.5");
	assert_int_equal(s->t->status, PW_EXIT_OK);
	assert_edges(s, "ignition=1 ignition=0");
	assert_true(s->edge[1].at_ms >= s->start_ms + 40);
}

static void a_speed_that_is_none(void **state)
{
	static const char *const speed[] = { "0", "-1", "fast", "1x", "", "nan", "inf", "2000000" };
	struct bench *s = *state;

	for (size_t i = 0; i < COUNT(speed); i++) {
		BENCH(s, "--play", trace_file(s, "0 ignition=1\n"), "--speed", speed[i]);
		assert_refused(s->t, "expected a --speed above 0");
		assert_edges(s, "");
	}
}

/* The whole file is judged before anything is played. */
static void a_trace_that_a_bench_cannot_play(void **state)
{
	static const struct {
		const char *trace, *err;
	} unfit[] = {
		{ "0 ignition=1\n1 ignition=0\n2 power=cut\n3 power=on\n",
		  "afternoon.trace:3: expected levels of lines only, not power=" },
		{ "0 ignition=1\n\n# service\n1 service=on ignition=0\n",
		  "afternoon.trace:4: expected levels of lines only, not service=" },
		{ "0 ignition=1\n1 power=cut\n2 power=on clock=lost\n", "afternoon.trace:2: expected" },
		{ "0 ignition=1\n1 ignition=yes\n", "afternoon.trace:2: expected a level" },
		{ "1 ignition=1\n0 ignition=0\n", "afternoon.trace:2: expected a time" },
		{ "0 ignition=1\n1 horn=1\n", "afternoon.trace:2: expected the name of an input" },
		{ "# nothing\n", "afternoon.trace:1: expected levels" },
	};
	struct bench *s = *state;

	for (size_t i = 0; i < COUNT(unfit); i++) {
		BENCH(s, "--play", trace_file(s, unfit[i].trace), "--speed", "1000");
		assert_refused(s->t, unfit[i].err);
		assert_edges(s, "");
	}
	BENCH(s, "--play", tool_path(s->t, "no.trace"));
	assert_refused(s->t, "no.trace: expected a trace file that can be read");
}

/* A line that only the board knows not to be there. */
static void a_moment_that_the_board_refuses_ends_it(void **state)
{
	struct bench *s = *state;

	BENCH(s, "--play", trace_file(s, "0 ignition=1\n1 lamps=1\n2 ignition=0\n"), "--speed", "1000");
	assert_int_equal(s->t->status, PW_EXIT_BAD);
	assert_has(s->t->err, "afternoon.trace:2: error: lamps is not configured\n");
	assert_edges(s, "ignition=1");
}

static void a_bench_that_goes_ends_it(void **state)
{
	struct bench *s = *state;

	s->close_after = 1;
	BENCH(s, "--play", trace_file(s, "0 ignition=1\n600 ignition=0\n"));
	assert_int_equal(s->t->status, PW_EXIT_BAD);
	assert_has(s->t->err, "the bench is gone");
	assert_edges(s, "ignition=1");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, begin, end)
		TEST(a_line_is_set_and_the_answer_printed),
		TEST(a_line_that_the_board_refuses),
		TEST(words_that_are_no_levels_are_not_sent),
		TEST(no_bench_there),
		TEST(words_that_do_not_go_together),
		TEST(outputs_are_told_until_the_bench_goes),
		TEST(a_trace_is_played_in_its_time),
		TEST(a_speed_below_one_slows_it),
		TEST(a_speed_that_is_none),
		TEST(a_trace_that_a_bench_cannot_play),
		TEST(a_moment_that_the_board_refuses_ends_it),
		TEST(a_bench_that_goes_ends_it),
#undef TEST
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

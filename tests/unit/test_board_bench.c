/* SPDX-License-Identifier: Apache-2.0 */
/* The bench: setting wires, telling outputs, its clients, its socket. */
#include "board_bench_client.h"

/* -- setting wires ----------------------------------------------------------------------------- */

static void at_start_nobody_presses(void **state)
{
	struct bench *s = *state;

	assert_int_equal(pw_board_levels(s->b), BIT(PW_REAR_BUTTON_NC));
	assert_false(is_ready(s));
	assert_true(pw_board_next_ms(s->b) == PW_NEVER);
	for (unsigned i = 0; i < PW_LINES; i++)
		assert_null(pw_board_fault(s->b, i));
	pw_board_close(s->b);
	s->p.line[PW_REAR_BUTTON_NC].configured = false;
	open_bench(s);
	assert_int_equal(pw_board_levels(s->b), 0);
}

static void a_line_is_one_moment(void **state)
{
	struct bench *s = *state;
	int fd = join(s);

	assert_string_equal(ask(s, fd, "service_door=1 ignition=1\tlamps=0\n", T0 + 7), "ok\n");
	assert_int_equal(s->edges, 2); /* the lamps read 0 already */
	assert_int_equal(s->edge[0].line, PW_IGNITION);
	assert_int_equal(s->edge[1].line, PW_SERVICE_DOOR);
	assert_int_equal(s->edge[0].at_ms, T0 + 7);
	assert_int_equal(s->edge[1].at_ms, T0 + 7);
	assert_int_equal(pw_board_levels(s->b),
			 BIT(PW_IGNITION) | BIT(PW_SERVICE_DOOR) | BIT(PW_REAR_BUTTON_NC));
	assert_string_equal(ask(s, fd, "horn_current=1\r\n", T0 + 8), "ok\n");
	assert_true(pw_board_levels(s->b) & BIT(SENSE));
	assert_string_equal(ask(s, fd, "\n  \n", T0 + 9), "ok\nok\n");
	assert_int_equal(s->edges, 0);
	close(fd);
}

static void lines_may_come_in_pieces_and_in_heaps(void **state)
{
	struct bench *s = *state;
	int fd = join(s);

	assert_string_equal(ask(s, fd, "igni", T0), "");
	assert_string_equal(ask(s, fd, "tion=1", T0 + 1), "");
	assert_int_equal(s->edges, 0);
	assert_string_equal(ask(s, fd, "\nlamps=1\nlamps=0\nrear_", T0 + 2), "ok\nok\nok\n");
	assert_int_equal(s->edges, 3);
	assert_int_equal(s->edge[0].at_ms, T0 + 2);
	assert_string_equal(ask(s, fd, "door=1\nign", T0 + 3), "ok\n");
	assert_int_equal(s->edges, 1);
	assert_int_equal(s->edge[0].line, PW_REAR_DOOR);
	close(fd); /* what was begun is forgotten */
	assert_int_equal(serve(s, T0 + 4), 0);
}

static void a_bad_line_sets_nothing(void **state)
{
	static const struct {
		const char *line, *answer;
	} want[] = {
		{"ignition=1 foo=1\n", "error: no line is named \"foo\"\n"},
		{"ignition=1 ignitio=1\n", "error: no line is named \"ignitio\"\n"},
		{"ignition=1 horn=1\n", "error: horn is an output: expected an input\n"},
		{"ignition=1 yard_light=1\n",
		 "error: yard_light is an output: expected an input\n"},
		{"ignition=1 exits=1\n", "error: exits is not configured\n"},
		{"ignition=2\n", "error: expected 0 or 1 after \"ignition=\"\n"},
		{"ignition=\n", "error: expected 0 or 1 after \"ignition=\"\n"},
		{"ignition=10\n", "error: expected 0 or 1 after \"ignition=\"\n"},
		{"ignition=1 ignition=1\n", "error: ignition stands twice\n"},
		{"ignition\n", "error: expected NAME=0 or NAME=1, got \"ignition\"\n"},
		{"=1\n", "error: expected NAME=0 or NAME=1, got \"=1\"\n"},
		{"ignition = 1\n", "error: expected NAME=0 or NAME=1, got \"ignition\"\n"},
		{"watch ignition=1\n", "error: expected NAME=0 or NAME=1, got \"watch\"\n"},
		{"ignition=1 \x01\x80=1\n", "error: no line is named \"??\"\n"},
		{"a_name_that_is_longer_than_any_line_may_be=1\n",
		 "error: no line is named \"a_name_that_is_longer_than_any_...\"\n"},
	};
	struct bench *s = *state;
	int fd = join(s);

	for (size_t i = 0; i < sizeof(want) / sizeof(want[0]); i++) {
		assert_string_equal(ask(s, fd, want[i].line, T0), want[i].answer);
		assert_int_equal(s->edges, 0);
		assert_int_equal(pw_board_levels(s->b), BIT(PW_REAR_BUTTON_NC));
	}
	assert_string_equal(ask(s, fd, "ignition=1\n", T0), "ok\n"); /* still welcome */
	close(fd);
}

static void a_line_too_long_ends_the_talk(void **state)
{
	struct bench *s = *state;
	char line[PW_BENCH_LINE_MAX + 2];
	int fd = join(s);

	memset(line, ' ', sizeof(line));
	memcpy(line, "ignition=1", 10);
	line[PW_BENCH_LINE_MAX] = '\n';
	say_bytes(fd, line, PW_BENCH_LINE_MAX + 1); /* 512 bytes and the newline: just fits */
	assert_int_equal(serve(s, T0), 1);
	assert_string_equal(heard(fd), "ok\n");
	line[PW_BENCH_LINE_MAX] = ' ';
	memcpy(line, "ignition=0", 10);
	say_bytes(fd, line, PW_BENCH_LINE_MAX + 1);
	assert_int_equal(serve(s, T0), 0);
	assert_string_equal(heard(fd), "error: the line is longer than 512 bytes\n");
	assert_true(is_closed(fd));
	close(fd);
}

/* -- telling outputs --------------------------------------------------------------------------- */

static void a_watcher_is_told_outputs(void **state)
{
	struct bench *s = *state;
	int fd = join(s), other = join(s);

	pw_board_drive(s->b, BIT(PW_LAMP) | BIT(PW_DOME), T0); /* no dome is configured */
	assert_int_equal(pw_board_levels(s->b), BIT(PW_LAMP) | BIT(PW_REAR_BUTTON_NC));
	assert_string_equal(ask(s, fd, "watch\n", T0),
			    "ok\nbeeper=0\nhorn=0\nlamp=1\nyard_light=0\n");
	pw_board_drive(s->b, BIT(PW_LAMP) | BIT(PW_HORN) | BIT(YARD_LIGHT), T0 + 1);
	assert_string_equal(heard(fd), "horn=1\nyard_light=1\n");
	pw_board_drive(s->b, BIT(PW_LAMP) | BIT(PW_HORN) | BIT(YARD_LIGHT), T0 + 2);
	assert_string_equal(heard(fd), "");
	assert_string_equal(ask(s, fd, "ignition=1\n", T0 + 3), "ok\n"); /* may set as well */
	pw_board_drive(s->b, 0, T0 + 4);
	assert_string_equal(heard(fd), "horn=0\nlamp=0\nyard_light=0\n");
	assert_string_equal(heard(other), "");
	close(other);
	close(fd);
}

static void whoever_asks_for_lines_is_told_all_of_them(void **state)
{
	struct bench *s = *state;
	int fd = join(s), other = join(s), watcher = join(s);

	ask(s, watcher, "watch\n", T0);
	ask(s, other, "ignition=1\n", T0);
	assert_string_equal(ask(s, fd, "lines\n", T0 + 1),
			    "ok\nin ignition=1\nin rear_button=0\n"
			    "in rear_button_nc=1\nin rear_door=0\nin service_door=0\nin lamps=0\n"
			    "out beeper=0\nout horn=0\nout lamp=0\nin horn_current=0\n"
			    "out yard_light=0\n");
	assert_string_equal(ask(s, other, "rear_door=1 ignition=1\n", T0 + 2), "ok\n");
	assert_string_equal(heard(fd), "in rear_door=1\n"); /* what changed, whoever did it */
	assert_string_equal(ask(s, fd, "rear_door=0\n", T0 + 3), "in rear_door=0\nok\n");
	pw_board_drive(s->b, BIT(PW_HORN), T0 + 4);
	assert_string_equal(heard(fd), "out horn=1\n");
	assert_string_equal(heard(watcher), "horn=1\n"); /* outputs alone, as ever */
	assert_string_equal(ask(s, fd, "lines now\n", T0 + 5),
			    "error: expected NAME=0 or NAME=1, got \"lines\"\n");
	close(watcher);
	close(other);
	close(fd);
}

static void closing_tells_watchers_that_all_is_off(void **state)
{
	struct bench *s = *state;
	int fd = join(s);

	ask(s, fd, "watch\n", T0);
	pw_board_drive(s->b, BIT(PW_HORN), T0);
	heard(fd);
	pw_board_close(s->b);
	assert_string_equal(heard(fd), "horn=0\n");
	assert_true(is_closed(fd));
	close(fd);
	open_bench(s);
}

static void a_watcher_that_does_not_listen_is_dropped(void **state)
{
	struct bench *s = *state;
	int slow = join(s), fd = join(s);
	bool closed = false;

	ask(s, slow, "watch\n", T0);
	ask(s, fd, "watch\n", T0);
	for (int i = 0; i < 200000 && !closed; i++) {
		struct pollfd p = {.fd = slow, .events = POLLRDHUP};

		pw_board_drive(s->b, i & 1 ? 0 : BIT(PW_HORN), T0 + i);
		assert_string_equal(heard(fd), i & 1 ? "horn=0\n" : "horn=1\n");
		closed = poll(&p, 1, 0) > 0;
	}
	assert_true(closed);
	assert_string_equal(ask(s, fd, "ignition=1\n", T0 + 300000), "ok\n");
	close(slow);
	close(fd);
}

/* A client that asks and never takes its answers is dropped as well. */
static void answers_nobody_takes_end_the_talk(void **state)
{
	struct bench *s = *state;
	int fd = join(s);
	bool closed = false;

	for (int i = 0; i < 200000 && !closed; i++) {
		if (send(fd, "\n\n\n\n", 4, MSG_NOSIGNAL) < 0)
			closed = errno == EPIPE || errno == ECONNRESET;
		serve(s, T0);
	}
	assert_true(closed);
	close(fd);
}

static void eight_clients_and_no_more(void **state)
{
	struct bench *s = *state;
	int fd[PW_BENCH_CLIENTS], ninth;

	for (unsigned i = 0; i < PW_BENCH_CLIENTS; i++) {
		fd[i] = join(s);
		assert_string_equal(ask(s, fd[i], i & 1 ? "lamps=1\n" : "lamps=0\n", T0), "ok\n");
	}
	ninth = join(s);
	serve(s, T0);
	assert_string_equal(heard(ninth), "error: 8 clients are here already\n");
	assert_true(is_closed(ninth));
	close(ninth);
	close(fd[3]);
	serve(s, T0);
	ninth = join(s);
	assert_string_equal(ask(s, ninth, "ignition=1\n", T0), "ok\n");
	close(ninth);
	for (unsigned i = 0; i < PW_BENCH_CLIENTS; i++)
		if (i != 3)
			close(fd[i]);
}

static void one_who_says_and_leaves_is_heard(void **state)
{
	struct bench *s = *state;
	int fd = join(s);

	say(fd, "ignition=1\n");
	shutdown(fd, SHUT_WR);
	assert_int_equal(serve(s, T0), 1);
	assert_string_equal(heard(fd), "ok\n");
	assert_true(is_closed(fd));
	close(fd);
	fd = join(s);
	say(fd, "ignition=0\n");
	close(fd); /* gone before it is read: done all the same */
	assert_int_equal(serve(s, T0), 1);
	assert_false(pw_board_levels(s->b) & BIT(PW_IGNITION));
}

/* -- the socket -------------------------------------------------------------------------------- */

static void only_its_owner_may_join(void **state)
{
	struct bench *s = *state;
	struct stat st;

	assert_int_equal(stat(s->path, &st), 0);
	assert_int_equal(st.st_mode, S_IFSOCK | 0600);
}

static void assert_refused(struct bench *s, const char *place, const char *words)
{
	struct pw_board *b = s->b;
	char why[400] = "", want[400];

	assert_int_equal(pw_board_open("bench", place, &s->p, T0, &b, why, sizeof(why)), -1);
	assert_null(b);
	snprintf(want, sizeof(want), words, place);
	assert_string_equal(why, want);
}

static void a_live_socket_is_left_alone(void **state)
{
	struct bench *s = *state;
	int fd = join(s);

	assert_refused(s, s->path,
		       "bench socket %s: another bench is listening there: end it or name another "
		       "path");
	assert_string_equal(ask(s, fd, "ignition=1\n", T0), "ok\n");
	close(fd);
}

/* Alive, but so busy that nobody more may even knock. */
static void a_crowded_socket_is_left_alone(void **state)
{
	struct bench *s = *state;
	struct sockaddr_un at = {.sun_family = AF_UNIX};
	int fd[64], n = 0;

	snprintf(at.sun_path, sizeof(at.sun_path), "%s", s->path);
	do {
		fd[n] = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
		assert_true(fd[n] >= 0);
	} while (connect(fd[n++], (const struct sockaddr *)&at, sizeof(at)) == 0 && n < 64);
	assert_int_equal(errno, EAGAIN);
	assert_refused(s, s->path,
		       "bench socket %s: another bench is listening there: end it or name another "
		       "path");
	while (n > 0)
		close(fd[--n]);
	serve(s, T0);
}

static void a_dead_socket_is_replaced(void **state)
{
	struct bench *s = *state;
	struct sockaddr_un at = {.sun_family = AF_UNIX};
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);

	pw_board_close(s->b);
	snprintf(at.sun_path, sizeof(at.sun_path), "%s", s->path);
	assert_int_equal(bind(fd, (const struct sockaddr *)&at, sizeof(at)), 0);
	close(fd);
	assert_int_equal(access(s->path, F_OK), 0);
	open_bench(s);
	fd = join(s);
	assert_string_equal(ask(s, fd, "ignition=1\n", T0), "ok\n");
	close(fd);
}

static void other_places_are_refused_in_words(void **state)
{
	struct bench *s = *state;
	char place[128];
	FILE *f;

	snprintf(place, sizeof(place), "%s/file", s->dir);
	f = fopen(place, "w");
	assert_non_null(f);
	fputs("kept", f);
	fclose(f);
	assert_refused(s, place,
		       "bench socket %s: something stands there that is no socket: move it or name "
		       "another path");
	assert_int_equal(access(place, F_OK), 0);
	unlink(place);
	snprintf(place, sizeof(place), "%s/none/bench", s->dir);
	assert_refused(s, place, "bench socket %s: No such file or directory");
	memset(place, 'x', 110);
	place[110] = '\0';
	assert_refused(s, place, "bench socket %s: the path is longer than a socket's may be");
	assert_refused(s, "", "a bench needs the path of its socket%s");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(at_start_nobody_presses),
		TEST(a_line_is_one_moment),
		TEST(lines_may_come_in_pieces_and_in_heaps),
		TEST(a_bad_line_sets_nothing),
		TEST(a_line_too_long_ends_the_talk),
		TEST(a_watcher_is_told_outputs),
		TEST(whoever_asks_for_lines_is_told_all_of_them),
		TEST(closing_tells_watchers_that_all_is_off),
		TEST(a_watcher_that_does_not_listen_is_dropped),
		TEST(answers_nobody_takes_end_the_talk),
		TEST(eight_clients_and_no_more),
		TEST(one_who_says_and_leaves_is_heard),
		TEST(only_its_owner_may_join),
		TEST(a_live_socket_is_left_alone),
		TEST(a_crowded_socket_is_left_alone),
		TEST(a_dead_socket_is_replaced),
		TEST(other_places_are_refused_in_words),
	};

	return cmocka_run_group_tests_name("board: bench", tests, NULL, NULL);
}

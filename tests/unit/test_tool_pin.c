/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk pin: asked twice on a terminal without echo, or a line from a pipe; who owns the files. */
#include "tool_command.h"

#include <errno.h>
#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <termios.h>

#include "postwalk/pin.h"

#define PIN "47a1c9"
#define PATIENCE_MS 60000
#define BOOT "0b3c2f6e-5a0d-4a51-9d62-6a1f6f0f1a01"

static enum pw_pin_answer answer_to(const struct tool *t, enum pw_role role, const char *pin)
{
	char why[256];
	int64_t wait_ms;

	return pw_pin_try(t->dir, role, pin, 0, BOOT, &wait_ms, why, sizeof(why));
}

/* -- from a pipe ----------------------------------------------------------------------------------- */

static struct {
	const char *text;
	size_t length;
} input;

static int from_pipe(int argc, char **argv)
{
	int ends[2];

	if (pipe(ends) < 0 || write(ends[1], input.text, input.length) < 0)
		return 98;
	close(ends[1]);
	dup2(ends[0], STDIN_FILENO);
	return pw_pin(argc, argv);
}

static void give(struct tool *t, const char *text, size_t length, const char *dir, const char *role)
{
	input.text = text;
	input.length = length;
	RUN(t, from_pipe, "pin", "--state", dir, role);
}

#define GIVE(t, text, role) give(t, text, sizeof(text) - 1, (t)->dir, role)

static void a_line_from_a_pipe(void **state)
{
	struct tool *t = *state;

	GIVE(t, PIN "\n", "installer");
	assert_int_equal(t->status, PW_EXIT_OK);
	assert_string_equal(t->err, "");
	assert_string_equal(t->out, "the installer's PIN is set\n");
	GIVE(t, "white fence 9", "mechanic"); /* without a line end; what is behind one is not read */
	assert_int_equal(t->status, PW_EXIT_OK);
	assert_int_equal(answer_to(t, PW_INSTALLER, PIN), PW_PIN_RIGHT);
	assert_int_equal(answer_to(t, PW_MECHANIC, "white fence 9"), PW_PIN_RIGHT);
	assert_int_equal(answer_to(t, PW_MECHANIC, PIN), PW_PIN_WRONG);
	GIVE(t, "other-one\nmore\n", "mechanic");
	assert_int_equal(answer_to(t, PW_MECHANIC, "other-one"), PW_PIN_RIGHT);
}

/* One sentence, status 2, and the PIN from before is still the one. */
static void bad_input(void **state)
{
	static char long_line[300];
	struct tool *t = *state;

	memset(long_line, 'x', sizeof(long_line) - 1);
	GIVE(t, PIN "\n", "installer");
#define BAD(text, part) do { \
	GIVE(t, text, "installer"); \
	assert_refused(t, part); \
	assert_int_equal(answer_to(t, PW_INSTALLER, PIN), PW_PIN_RIGHT); \
} while (0)
	BAD("", "the line is empty");
	BAD("\n", "the line is empty");
	BAD("47a1c\n", "6 to 64 characters");
	BAD("0123456789012345678901234567890123456789012345678901234567890123x\n", "6 to 64 characters");
	BAD("111111\n", "repeat one character");
	BAD("123456\n", "count up or down");
	BAD("987654\n", "count up or down");
	BAD("caf\xc3\xa9s-1\n", "printable ASCII");
	BAD("47a1c9\r\n", "printable ASCII");
	BAD("47a\0c9\n", "expected a line of text");
	give(t, long_line, sizeof(long_line) - 1, t->dir, "installer");
	assert_refused(t, "expected a line of text, of 64 characters at most");
	give(t, PIN "\n", 7, t->dir, "driver");
	assert_refused(t, "expected installer or mechanic, not \"driver\"");
	give(t, PIN "\n", 7, t->dir, "nobody");
	assert_refused(t, "expected installer or mechanic");
	give(t, PIN "\n", 7, tool_path(t, "none"), "installer");
	assert_refused(t, "No such file or directory");
	give(t, PIN "\n", 7, "/dev/null", "installer");
	assert_refused(t, "it is no folder");
}

static void usage_is_told(void **state)
{
	struct tool *t = *state;

	RUN(t, from_pipe, "pin");
	assert_int_equal(t->status, PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk pin --state DIR installer|mechanic");
	RUN(t, from_pipe, "pin", "installer");
	assert_int_equal(t->status, PW_EXIT_BAD);
	RUN(t, from_pipe, "pin", "--state", t->dir);
	assert_int_equal(t->status, PW_EXIT_BAD);
	RUN(t, from_pipe, "pin", "--state", t->dir, "installer", PIN); /* never as a word */
	assert_int_equal(t->status, PW_EXIT_BAD);
	RUN(t, from_pipe, "pin", "--pin", PIN, "installer");
	assert_int_equal(t->status, PW_EXIT_BAD);
}

/* By root for a daemon that runs as somebody else: the files are that one's. */
static void the_folder_s_owner_owns_them(void **state)
{
	struct tool *t = *state;
	struct stat s;

	if (geteuid() != 0)
		skip();
	assert_int_equal(chown(t->dir, 4242, 4243), 0);
	assert_int_equal(chmod(t->dir, 0700), 0);
	tool_write(tool_path(t, "OUT"), ""); /* what the command says goes here */
	assert_int_equal(chown(tool_path(t, "OUT"), 4242, 4243), 0);
	GIVE(t, PIN "\n", "installer");
	assert_string_equal(t->err, "");
	assert_int_equal(stat(tool_path(t, "pin.installer"), &s), 0);
	assert_int_equal(s.st_uid, 4242);
	assert_int_equal(s.st_gid, 4243);
	assert_int_equal(s.st_mode & 07777, 0600);
}

/* -- on a terminal --------------------------------------------------------------------------------- */

struct terminal {
	int fd;
	pid_t pid;
	size_t n;
	char text[4096]; /* all that was shown */
};

static void open_terminal(struct terminal *x, struct tool *t)
{
	char *argv[] = { "pin", "--state", t->dir, "mechanic", NULL };

	memset(x, 0, sizeof(*x));
	fflush(NULL);
	x->pid = forkpty(&x->fd, NULL, NULL, NULL);
	assert_true(x->pid >= 0);
	if (x->pid == 0) {
		int status = pw_pin(4, argv);

		fflush(stdout);
		_exit(status);
	}
}

/* Until that is shown; NULL: to the end. */
static void until(struct terminal *x, const char *words)
{
	struct pollfd one = { .fd = x->fd, .events = POLLIN };

	while (words == NULL || strstr(x->text, words) == NULL) {
		ssize_t n;

		if (poll(&one, 1, PATIENCE_MS) != 1)
			fail_msg("not shown: %s; but: %s", words ? words : "the end", x->text);
		n = read(x->fd, x->text + x->n, sizeof(x->text) - 1 - x->n);
		if (n <= 0 && words == NULL)
			return;
		assert_true(n > 0);
		x->n += (size_t)n;
	}
}

static void type(const struct terminal *x, const char *text)
{
	assert_int_equal(write(x->fd, text, strlen(text)), strlen(text));
}

static bool echoes(const struct terminal *x)
{
	struct termios now;

	assert_int_equal(tcgetattr(x->fd, &now), 0);
	return now.c_lflag & ECHO;
}

static int end_of(struct terminal *x)
{
	int status;

	until(x, NULL);
	assert_int_equal(waitpid(x->pid, &status, 0), x->pid);
	close(x->fd);
	assert_true(WIFEXITED(status));
	return WEXITSTATUS(status);
}

static void asked_twice(void **state)
{
	struct tool *t = *state;
	struct terminal x;

	open_terminal(&x, t);
	until(&x, "New PIN of the mechanic: ");
	assert_false(echoes(&x));
	type(&x, PIN "\n");
	until(&x, "The same again: ");
	assert_false(echoes(&x));
	type(&x, PIN "\n");
	until(&x, "the mechanic's PIN is set");
	assert_true(echoes(&x));
	assert_int_equal(end_of(&x), PW_EXIT_OK);
	assert_null(strstr(x.text, PIN));
	assert_int_equal(answer_to(t, PW_MECHANIC, PIN), PW_PIN_RIGHT);
}

static void two_that_differ(void **state)
{
	struct tool *t = *state;
	struct terminal x;

	open_terminal(&x, t);
	until(&x, "New PIN");
	type(&x, PIN "\n");
	until(&x, "again: ");
	type(&x, "47a1c8\n");
	assert_int_equal(end_of(&x), PW_EXIT_BAD);
	assert_has(x.text, "the two are not the same; nothing was changed");
	assert_int_equal(answer_to(t, PW_MECHANIC, PIN), PW_PIN_NONE);
}

/* Interrupted: the terminal is as it was, and nothing was changed. */
static void broken_off(void **state)
{
	struct tool *t = *state;
	struct terminal x;

	open_terminal(&x, t);
	until(&x, "New PIN");
	type(&x, "47a1\x03");
	until(&x, "broken off; nothing was changed");
	assert_int_equal(waitpid(x.pid, &(int){ 0 }, 0), x.pid);
	assert_true(echoes(&x));
	close(x.fd);
	assert_int_equal(answer_to(t, PW_MECHANIC, PIN), PW_PIN_NONE);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, tool_begin, tool_end)
	const struct CMUnitTest tests[] = {
		TEST(a_line_from_a_pipe),
		TEST(bad_input),
		TEST(usage_is_told),
		TEST(the_folder_s_owner_owns_them),
		TEST(asked_twice),
		TEST(two_that_differ),
		TEST(broken_off),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Sets the PIN of the installer or the mechanic. It stands in no argument, no history, no log. */
#include <errno.h>
#include <getopt.h>
#include <poll.h>
#include <signal.h>
#include <sodium.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/signalfd.h>
#include <termios.h>
#include <unistd.h>

#include "postwalk/pin.h"
#include "tool_internal.h"

#define LINE_MAX_BYTES 256

struct asking {
	int signals; /* of a terminal: a signalfd of what breaks it off; else -1 */
	char first[LINE_MAX_BYTES], again[LINE_MAX_BYTES];
};

static int usage(void)
{
	fputs("usage: postwalk pin --state DIR installer|mechanic\n"
	      "  asks for the new PIN twice; from a pipe it reads one line\n", stderr);
	return PW_EXIT_BAD;
}

__attribute__((format(printf, 1, 2)))
static int fail(const char *format, ...)
{
	va_list args;

	fputs("postwalk pin: ", stderr);
	va_start(args, format);
	vfprintf(stderr, format, args);
	va_end(args);
	fputc('\n', stderr);
	return -1;
}

/* -- reading ----------------------------------------------------------------------------------- */

/* As read(2) of one byte; -1 with EINTR when a signal came. */
static ssize_t read_byte(int signals, char *byte)
{
	struct pollfd from[] = { { .fd = STDIN_FILENO, .events = POLLIN },
				 { .fd = signals, .events = POLLIN } };
	struct signalfd_siginfo info;

	if (poll(from, 2, -1) < 0)
		return -1;
	if (from[1].revents == 0)
		return read(STDIN_FILENO, byte, 1);
	if (read(signals, &info, sizeof(info)) >= 0)
		errno = EINTR;
	return -1;
}

/* A line of standard input, byte by byte: nothing of what follows is taken. Its length without the
 * line end; -1 with errno; -2: it is longer. */
static int read_line(int signals, char line[LINE_MAX_BYTES])
{
	size_t n = 0;
	ssize_t got;

	while (n < LINE_MAX_BYTES && (got = read_byte(signals, line + n)) != 0) {
		if (got < 0)
			return -1;
		if (line[n] == '\n')
			break;
		n++;
	}
	if (n == LINE_MAX_BYTES)
		return -2;
	line[n] = '\0';
	return strlen(line) == n ? (int)n : -2;
}

static int take_line(int signals, char line[LINE_MAX_BYTES])
{
	int length = read_line(signals, line);

	if (length == -1 && errno == EINTR)
		return fail("broken off; nothing was changed");
	if (length == -1)
		return fail("standard input cannot be read: %s", strerror(errno));
	if (length == -2)
		return fail("expected a line of text, of %d characters at most", PW_PIN_MAX - 1);
	return length > 0 ? 0 : fail("expected a PIN, and the line is empty");
}

static int prompt(int signals, const char *words, char line[LINE_MAX_BYTES])
{
	int result;

	fputs(words, stderr);
	result = take_line(signals, line);
	fputc('\n', stderr);
	return result;
}

static int ask_twice(struct asking *a, const char *role)
{
	char words[80];

	snprintf(words, sizeof(words), "New PIN of the %s: ", role);
	if (prompt(a->signals, words, a->first) || prompt(a->signals, "The same again: ", a->again))
		return -1;
	return strcmp(a->first, a->again) == 0 ? 0
		: fail("the two are not the same; nothing was changed");
}

/* Without echo, which comes back however it ends. */
static int ask_terminal(struct asking *a, const char *role)
{
	struct termios shown, hidden;
	sigset_t ends;
	int result = -1;

	sigemptyset(&ends);
	sigaddset(&ends, SIGINT);
	sigaddset(&ends, SIGTERM);
	sigaddset(&ends, SIGHUP);
	sigaddset(&ends, SIGQUIT);
	sigaddset(&ends, SIGTSTP);
	if (tcgetattr(STDIN_FILENO, &shown) < 0 || sigprocmask(SIG_BLOCK, &ends, NULL) < 0
	    || (a->signals = signalfd(-1, &ends, SFD_CLOEXEC)) < 0)
		return fail("the terminal cannot be set: %s", strerror(errno));
	hidden = shown;
	hidden.c_lflag &= ~(tcflag_t)(ECHO | ECHONL);
	if (tcsetattr(STDIN_FILENO, TCSAFLUSH, &hidden) < 0)
		fail("the terminal cannot be set: %s", strerror(errno));
	else
		result = ask_twice(a, role);
	tcsetattr(STDIN_FILENO, TCSAFLUSH, &shown);
	sigprocmask(SIG_UNBLOCK, &ends, NULL);
	close(a->signals);
	return result;
}

/* -- setting ----------------------------------------------------------------------------------- */

static int set(const char *dir, enum pw_role role)
{
	struct asking a = { .signals = -1 };
	char why[400];
	int result;

	result = isatty(STDIN_FILENO) ? ask_terminal(&a, pw_role_name(role))
				      : take_line(a.signals, a.first);
	if (result == 0 && pw_pin_set(dir, role, a.first, why, sizeof(why)) < 0)
		result = fail("%s; nothing was changed", why);
	sodium_memzero(&a, sizeof(a));
	if (result == 0)
		printf("the %s's PIN is set\n", pw_role_name(role));
	return result;
}

int pw_pin(int argc, char **argv)
{
	static const struct option options[] = {
		{ "state", required_argument, NULL, 's' },
		{ 0 },
	};
	const char *dir = NULL;
	enum pw_role role;
	char why[400];
	int c;

	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c != 's')
			return usage();
		dir = optarg;
	}
	if (dir == NULL || optind != argc - 1)
		return usage();
	role = pw_role_find(argv[optind]);
	if (role == PW_NOBODY) {
		fail("expected installer or mechanic, not \"%s\"", argv[optind]);
		return PW_EXIT_BAD;
	}
	if (pw_act_as_owner(dir, why, sizeof(why)) < 0) {
		fail("%s", why);
		return PW_EXIT_BAD;
	}
	return set(dir, role) == 0 ? PW_EXIT_OK : PW_EXIT_BAD;
}

/* SPDX-License-Identifier: Apache-2.0 */
/* tell_help.h - what the tests of telling share: a folder, servers beside the test, tools. */
#ifndef OFFICE_TELL_HELP_H
#define OFFICE_TELL_HELP_H

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <poll.h>
#include <pthread.h>
#include <setjmp.h>
#include <signal.h>
#include <sodium.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "office/tell_internal.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define NOW INT64_C(1760474520000) /* date -d @1760474520: Tue 14 Oct 2025 15:42 in Chicago */
#define MINUTE INT64_C(60000)
#define PATIENCE_MS 20000 /* until something has gone wrong */

/* -- a folder ---------------------------------------------------------------------------------- */

static char folder[64];

__attribute__((format(printf, 1, 2)))
static inline int run(const char *format, ...)
{
	char command[2048];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	return system(command);
}

static inline int make_folder(void **state)
{
	(void)state;
	strcpy(folder, "/tmp/postwalk-tell-XXXXXX");
	return mkdtemp(folder) == NULL;
}

static inline int remove_folder(void **state)
{
	(void)state;
	return run("rm -rf %s", folder);
}

static inline void put_file(const char *name, const char *text)
{
	char path[160];
	FILE *file;

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	file = fopen(path, "we");
	assert_non_null(file);
	fputs(text, file);
	assert_int_equal(fclose(file), 0);
}

/* -- what a command says, line by line --------------------------------------------------------- */

struct output {
	FILE *pipe;
	char line[8192];
};

__attribute__((format(printf, 2, 3)))
static inline void begin_output(struct output *o, const char *format, ...)
{
	char command[2048];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	o->pipe = popen(command, "re");
	assert_non_null(o->pipe);
}

static inline bool next_line(struct output *o)
{
	if (fgets(o->line, sizeof(o->line), o->pipe) == NULL)
		return false;
	o->line[strcspn(o->line, "\n")] = '\0';
	return true;
}

static inline void end_output(struct output *o)
{
	pclose(o->pipe);
}

/* -- a server beside the test ------------------------------------------------------------------ */

/* Prints its port as its first line, and ends when its standard input does. */
struct server {
	pid_t pid;
	int in, out; /* its standard input, its output */
	int port;
	char buffered[65536];
	size_t length;
};

static inline void start_server(struct server *s, const char *const argv[])
{
	int in[2], out[2];

	*s = (struct server){ .pid = 0 };
	assert_int_equal(pipe2(in, O_CLOEXEC), 0);
	assert_int_equal(pipe2(out, O_CLOEXEC), 0);
	s->pid = fork();
	if (s->pid == 0) {
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		dup2(in[0], 0);
		dup2(out[1], 1);
		execv(argv[0], (char *const *)(uintptr_t)argv);
		_exit(127);
	}
	close(in[0]);
	close(out[1]);
	s->in = in[1];
	s->out = out[0];
}

/* The next line that it prints; fails when there is none in time. */
static inline void hear(struct server *s, char *line, size_t size)
{
	struct pollfd one = { .fd = s->out, .events = POLLIN };
	char *end;
	ssize_t n;

	while ((end = memchr(s->buffered, '\n', s->length)) == NULL) {
		assert_int_equal(poll(&one, 1, PATIENCE_MS), 1);
		n = read(s->out, s->buffered + s->length, sizeof(s->buffered) - s->length);
		assert_true(n > 0);
		s->length += (size_t)n;
	}
	*end = '\0';
	snprintf(line, size, "%.*s", (int)size - 1, s->buffered);
	s->length -= (size_t)(end + 1 - s->buffered);
	memmove(s->buffered, end + 1, s->length);
}

static inline void hear_port(struct server *s)
{
	char line[64];

	hear(s, line, sizeof(line));
	s->port = atoi(line);
	assert_true(s->port > 0);
}

static inline void end_server(struct server *s)
{
	close(s->in);
	assert_int_equal(waitpid(s->pid, NULL, 0), s->pid);
	close(s->out);
}

/* A listener that takes connections (the kernel does) and never says a word. */
static inline int listen_and_say_nothing(int *port)
{
	struct sockaddr_in at = { .sin_family = AF_INET,
				  .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t length = sizeof(at);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	assert_true(fd >= 0);
	assert_int_equal(bind(fd, (struct sockaddr *)&at, sizeof(at)), 0);
	assert_int_equal(listen(fd, 16), 0);
	assert_int_equal(getsockname(fd, (struct sockaddr *)&at, &length), 0);
	*port = ntohs(at.sin_port);
	return fd;
}

/* A port at which nobody listens: it was one a moment ago. */
static inline int closed_port(void)
{
	int port;

	close(listen_and_say_nothing(&port));
	return port;
}

/* A self-signed certificate for loopback and 0.0.0.0, by openssl. */
static inline void make_certificate(void)
{
	assert_int_equal(run("openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes "
			     "-keyout %s/tls.key -out %s/tls.crt -days 2 -subj /CN=localhost "
			     "-addext "
			     "subjectAltName=IP:127.0.0.1,IP:0.0.0.0,DNS:localhost 2>/dev/null",
			     folder, folder), 0);
}

/* -- JSON -------------------------------------------------------------------------------------- */

static inline json_t *parsed(const char *line)
{
	json_t *value = json_loads(line, JSON_REJECT_DUPLICATES, NULL);

	if (value == NULL)
		fail_msg("no JSON: %s", line);
	return value;
}

static inline const char *text_of(const json_t *object, const char *key)
{
	const char *text = json_string_value(json_object_get(object, key));

	if (text == NULL)
		fail_msg("no text %s", key);
	return text;
}

/* -- matters ----------------------------------------------------------------------------------- */

static inline struct pw_matter a_matter(enum pw_matter_kind kind)
{
	struct pw_matter m = { .id = 17, .kind = kind, .bus = "14", .epoch = "0123456789abcdef",
			       .seq = 812, .at_ms = NOW - MINUTE, .came_ms = NOW };

	memset(m.hash, 'a', 64);
	pw_matter_say(&m, kind == PW_MATTER_RUNG ? "office" : "");
	return m;
}

static inline int begin_tests(void)
{
	char why[200];

	signal(SIGPIPE, SIG_IGN);
	if (sodium_init() >= 0 && pw_hours_set("America/Chicago", why, sizeof(why)) == 0)
		return 0;
	fprintf(stderr, "%s\n", why);
	return 1;
}

#endif

/* SPDX-License-Identifier: Apache-2.0 */
/* A client of the bench board: one line, a trace in real time, outputs as they change, a page. */
#include <errno.h>
#include <getopt.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "bench_internal.h"

#define ANSWER_MS 5000
#define POLL_MAX_MS 60000
#define SPEED_MAX 1000000

struct bench {
	const char *path;
	int fd;
	size_t fill;
	char in[1024]; /* what has come and is no whole line yet */
};

struct moment {
	int64_t at_ms;
	long number; /* of the trace's line */
	uint8_t mask, levels;
};

struct play {
	struct moment *moment;
	size_t count, room;
	int64_t end_ms;
};

__attribute__((format(printf, 1, 2)))
static int fail(const char *format, ...)
{
	va_list args;

	fputs("postwalk bench: ", stderr);
	va_start(args, format);
	vfprintf(stderr, format, args);
	va_end(args);
	fputc('\n', stderr);
	return -1;
}

/* -- the socket -------------------------------------------------------------------------------- */

static int connect_bench(struct bench *b, const char *path)
{
	char why[300];

	*b = (struct bench){ .path = path };
	b->fd = pw_bench_connect(path, ANSWER_MS, why, sizeof(why));
	return b->fd < 0 ? fail("%s", why) : 0;
}

static int send_line(struct bench *b, const char *line)
{
	size_t left = strlen(line);

	while (left > 0) {
		ssize_t n = send(b->fd, line, left, MSG_NOSIGNAL);

		if (n < 0 && errno != EINTR)
			return fail("%s: the bench is gone: %s", b->path, strerror(errno));
		line += n > 0 ? n : 0;
		left -= n > 0 ? (size_t)n : 0;
	}
	return 0;
}

/* Waits until deadline_ms. 1: something came; 0: nothing did; -1: it is gone. */
static int receive(struct bench *b, int64_t deadline_ms)
{
	struct pollfd p = { .fd = b->fd, .events = POLLIN };
	int64_t left;
	ssize_t n;

	do {
		left = deadline_ms - pw_bench_now_ms();
		if (left <= 0)
			return 0;
	} while (poll(&p, 1, left > POLL_MAX_MS ? POLL_MAX_MS : (int)left) <= 0);
	n = recv(b->fd, b->in + b->fill, sizeof(b->in) - b->fill, 0);
	if (n <= 0 || b->fill + (size_t)n == sizeof(b->in))
		return -1;
	b->fill += (size_t)n;
	return 1;
}

/* The next whole line, without its end. 1; 0: none by then; -1: the bench is gone. */
static int read_line(struct bench *b, int64_t deadline_ms, char line[sizeof(b->in)])
{
	char *end;
	size_t n;
	int got;

	while (!(end = memchr(b->in, '\n', b->fill)))
		if ((got = receive(b, deadline_ms)) <= 0)
			return got;
	n = (size_t)(end - b->in);
	memcpy(line, b->in, n);
	line[n] = '\0';
	b->fill -= n + 1;
	memmove(b->in, end + 1, b->fill);
	return 1;
}

/* Sends a line and takes its answer. 0: ok. */
static int ask(struct bench *b, const char *line, char answer[sizeof(b->in)])
{
	int got;

	answer[0] = '\0';
	if (send_line(b, line))
		return -1;
	got = read_line(b, pw_bench_now_ms() + ANSWER_MS, answer);
	if (got == 0)
		return fail("%s: no answer within 5 s", b->path);
	if (got < 0)
		return fail("%s: the bench is gone", b->path);
	return strcmp(answer, "ok") == 0 ? 0 : -1;
}

/* -- one line ---------------------------------------------------------------------------------- */

static int set_lines(struct bench *b, char **word, int count)
{
	char line[1024], answer[sizeof(b->in)];
	size_t n = 0;

	for (int i = 0; i < count; i++) {
		if (!strchr(word[i], '=') || strpbrk(word[i], " \t\r\n"))
			return fail("expected NAME=VALUE, not \"%s\"", word[i]);
		if (n + strlen(word[i]) + 2 > sizeof(line))
			return fail("expected fewer words: a line of the bench is shorter");
		n += (size_t)snprintf(line + n, sizeof(line) - n, "%s%s", i ? " " : "", word[i]);
	}
	snprintf(line + n, sizeof(line) - n, "\n");
	if (ask(b, line, answer)) {
		if (answer[0])
			fprintf(stderr, "%s\n", answer);
		return -1;
	}
	puts(answer);
	return 0;
}

static int watch(struct bench *b)
{
	char line[sizeof(b->in)];

	setvbuf(stdout, NULL, _IOLBF, 0);
	if (ask(b, "watch\n", line)) {
		if (line[0])
			fail("%s: %s", b->path, line);
		return -1;
	}
	while (read_line(b, INT64_MAX, line) == 1)
		puts(line);
	return 0;
}

/* -- a trace ----------------------------------------------------------------------------------- */

static int add_moment(struct play *p, const struct moment *m)
{
	if (p->count == p->room) {
		size_t room = p->room ? 2 * p->room : 256;
		struct moment *more = realloc(p->moment, room * sizeof(*more));

		if (!more)
			return fail("no memory for so long a trace");
		p->moment = more;
		p->room = room;
	}
	p->moment[p->count++] = *m;
	return 0;
}

/* The bench has wires and nothing else: its power, clock and service are the watch's own. */
static int take_line(struct play *p, const char *path, const struct pw_trace *t,
		     const struct pw_trace_line *l)
{
	const char *what = l->power ? "power=" : l->service >= 0 ? "service=" : NULL;

	p->end_ms = l->at_ms;
	if (l->end)
		return 0;
	if (what) {
		fprintf(stderr, "%s:%ld: expected levels of lines only, not %s: a bench plays "
			"wires\n", path, pw_trace_number(t), what);
		return -1;
	}
	return add_moment(p, &(struct moment){ .at_ms = l->at_ms, .mask = l->mask,
					       .levels = l->levels, .number = pw_trace_number(t) });
}

/* Read and judged whole before anything is played. */
static int load(struct play *p, const char *path, const struct pw_policy *policy)
{
	struct pw_trace *t = pw_trace_open(path, policy);
	struct pw_trace_line l;
	int got;

	if (!t)
		return -1;
	while ((got = pw_trace_next(t, &l)) == 1)
		if ((got = take_line(p, path, t, &l)) < 0)
			break;
	pw_trace_close(t);
	if (got == 0 && p->count == 0) {
		fprintf(stderr, "%s:1: expected levels at power-on\n", path);
		got = -1;
	}
	return got;
}

static int play_moment(struct bench *b, const char *path, const struct pw_policy *policy,
		       const struct moment *m)
{
	char line[PW_INPUTS * (PW_NAME_MAX + 3)], answer[sizeof(b->in)];
	size_t n = 0;

	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (m->mask >> i & 1)
			n += (size_t)snprintf(line + n, sizeof(line) - n, "%s%s=%u", n ? " " : "",
					      policy->line[i].name, m->levels >> i & 1);
	printf("%lld.%03d %s\n", (long long)(m->at_ms / 1000), (int)(m->at_ms % 1000), line);
	snprintf(line + n, sizeof(line) - n, "\n");
	if (ask(b, line, answer) == 0)
		return 0;
	if (answer[0])
		fprintf(stderr, "%s:%ld: %s\n", path, m->number, answer);
	return -1;
}

static int wait_until(struct bench *b, int64_t at_ms)
{
	int got;

	while ((got = receive(b, at_ms)) > 0)
		b->fill = 0; /* nobody asked */
	return got < 0 ? fail("%s: the bench is gone", b->path) : 0;
}

/* Deadlines are absolute, so that lateness does not add up. */
static int play(struct bench *b, const char *path, const struct pw_policy *policy,
		const struct play *p, double speed)
{
	const int64_t start_ms = pw_bench_now_ms(), first_ms = p->moment[0].at_ms;

	setvbuf(stdout, NULL, _IOLBF, 0);
	for (size_t i = 0; i < p->count; i++) {
		const struct moment *m = &p->moment[i];

		if (wait_until(b, start_ms + (int64_t)((double)(m->at_ms - first_ms) / speed)) ||
		    play_moment(b, path, policy, m))
			return -1;
	}
	return wait_until(b, start_ms + (int64_t)((double)(p->end_ms - first_ms) / speed));
}

static int play_trace(const char *socket_path, const char *path, double speed)
{
	struct play p = { 0 };
	struct pw_policy policy;
	struct bench b;
	int result;

	/* any standard input may be named: the bench itself knows which ones it has */
	pw_policy_init(&policy, true);
	policy.line[PW_PARK_BRAKE].configured = policy.line[PW_REAR_BUTTON_NC].configured = true;
	result = load(&p, path, &policy);
	if (result == 0 && (result = connect_bench(&b, socket_path)) == 0) {
		result = play(&b, path, &policy, &p, speed);
		close(b.fd);
	}
	free(p.moment);
	return result;
}

/* -- the command ------------------------------------------------------------------------------- */

static int usage(void)
{
	fputs("usage: postwalk bench SOCKET NAME=VALUE...\n"
	      "       postwalk bench SOCKET --play TRACE [--speed N]\n"
	      "       postwalk bench SOCKET --watch\n"
	      "       postwalk bench SOCKET --page HOST:PORT [--bus URL] [--reachable]\n", stderr);
	return PW_EXIT_BAD;
}

static int read_speed(const char *text, double *speed)
{
	char *end;

	*speed = strtod(text, &end);
	if (end == text || *end != '\0' || !(*speed > 0 && *speed <= SPEED_MAX))
		return fail("expected a --speed above 0 and of %d at most, not \"%s\"", SPEED_MAX,
			    text);
	return 0;
}

static int talk(const char *path, char **word, int count)
{
	struct bench b;
	int result;

	if (connect_bench(&b, path))
		return -1;
	result = word ? set_lines(&b, word, count) : watch(&b);
	close(b.fd);
	return result;
}

struct asked {
	const char *trace, *speed, *page, *bus;
	bool watch, reachable;
};

static int read_options(int argc, char **argv, struct asked *a)
{
	static const struct option options[] = {
		{ "play", required_argument, NULL, 'p' },
		{ "speed", required_argument, NULL, 's' },
		{ "watch", no_argument, NULL, 'w' },
		{ "page", required_argument, NULL, 'P' },
		{ "bus", required_argument, NULL, 'b' },
		{ "reachable", no_argument, NULL, 'r' },
		{ 0 },
	};
	int c;

	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		switch (c) {
		case 'p': a->trace = optarg; break;
		case 's': a->speed = optarg; break;
		case 'w': a->watch = true; break;
		case 'P': a->page = optarg; break;
		case 'b': a->bus = optarg; break;
		case 'r': a->reachable = true; break;
		default: return -1;
		}
	}
	return 0;
}

static bool fits_together(const struct asked *a, int words)
{
	return words >= 0 && (a->trace != NULL) + (a->page != NULL) + a->watch + (words > 0) == 1 &&
	       (a->trace || !a->speed) && (a->page || (!a->bus && !a->reachable));
}

int pw_bench(int argc, char **argv)
{
	struct asked a = { 0 };
	double speed = 1;
	int result, words;

	if (read_options(argc, argv, &a))
		return usage();
	words = argc - optind - 1;
	if (!fits_together(&a, words))
		return usage();
	if (a.speed && read_speed(a.speed, &speed))
		return PW_EXIT_BAD;
	if (a.page)
		return pw_bench_page(&(struct pw_bench_page_options){
			.socket = argv[optind], .listen = a.page, .bus = a.bus,
			.reachable = a.reachable });
	if (a.trace)
		result = play_trace(argv[optind], a.trace, speed);
	else
		result = talk(argv[optind], a.watch ? NULL : argv + optind + 1, words);
	if (fflush(stdout) || ferror(stdout))
		result = fail("standard output cannot be written");
	return result ? PW_EXIT_BAD : PW_EXIT_OK;
}

/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A board made of a Unix socket: "NAME=VALUE ..." lines are the wires, "watch" tells the outputs,
 * "lines" every line there is, "in NAME=VALUE" or "out NAME=VALUE": all, then each that changes.
 * Answers go out at once or not at all: whoever does not take them is dropped, so that a bench
 * never holds up the watch.
 */
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "board_internal.h"

#define LISTENER PW_BENCH_CLIENTS /* its tag in epoll; clients have their index */
#define DEAF_MS 5000 /* no descriptor was left for a new client: listen again after that */
#define ANSWER_MAX 200

/* Every edge takes "N=V" and a separator; so what all clients may have sent fits the queue. */
_Static_assert(PW_BENCH_CLIENTS * (PW_BENCH_LINE_MAX + 1) / 4 <= PW_QUEUE, "queue too small");

struct client {
	int fd; /* -1: free */
	bool watch, lines;
	size_t fill;
	char in[PW_BENCH_LINE_MAX + 1];
};

struct pw_bench {
	struct pw_board board; /* first: the board is the whole */
	int listen_fd;
	struct sockaddr_un at;
	struct client client[PW_BENCH_CLIENTS];
};

static struct pw_bench *bench_of(struct pw_board *b)
{
	return (struct pw_bench *)b;
}

/* -- words ------------------------------------------------------------------------------------- */

static int refuse(char *why, size_t size, const char *before, const char *word, size_t len,
		  const char *after)
{
	char shown[PW_NAME_MAX];
	size_t n = len < sizeof(shown) - 1 ? len : sizeof(shown) - 1;

	for (size_t i = 0; i < n; i++)
		shown[i] = word[i];
	for (size_t i = 0; i < n; i++)
		if (shown[i] < ' ' || shown[i] > '~')
			shown[i] = '?';
	shown[n] = '\0';
	snprintf(why, size, "%s%s%s%s", before, shown, n < len ? "..." : "", after);
	return -1;
}

static int find_line(const struct pw_policy *p, const char *name, size_t len)
{
	for (int i = 0; i < PW_LINES; i++)
		if (strlen(p->line[i].name) == len && memcmp(p->line[i].name, name, len) == 0)
			return i;
	return -1;
}

static int parse_word(const struct pw_policy *p, const char *word, size_t len, uint32_t *mask,
		      uint32_t *levels, char *why, size_t size)
{
	const char *equals = memchr(word, '=', len);
	size_t name = equals ? (size_t)(equals - word) : len;
	int line;

	if (!equals || name == 0)
		return refuse(why, size, "expected NAME=0 or NAME=1, got \"", word, len, "\"");
	line = find_line(p, word, name);
	if (line < 0)
		return refuse(why, size, "no line is named \"", word, name, "\"");
	if (!p->line[line].configured)
		return refuse(why, size, "", word, name, " is not configured");
	if (pw_board_is_output(p, (unsigned)line))
		return refuse(why, size, "", word, name, " is an output: expected an input");
	if (len != name + 2 || (equals[1] != '0' && equals[1] != '1'))
		return refuse(why, size, "expected 0 or 1 after \"", word, name + 1, "\"");
	if (*mask >> line & 1)
		return refuse(why, size, "", word, name, " stands twice");
	*mask |= UINT32_C(1) << line;
	*levels |= (uint32_t)(equals[1] - '0') << line;
	return 0;
}

static bool is_blank(char c)
{
	return c == ' ' || c == '\t' || c == '\r';
}

/* The next word from *at on; its length, 0 at the end. */
static size_t next_word(const char *text, size_t len, size_t *at)
{
	size_t end;

	while (*at < len && is_blank(text[*at]))
		++*at;
	for (end = *at; end < len && !is_blank(text[end]); end++)
		;
	return end - *at;
}

int pw_bench_parse(const struct pw_policy *p, const char *text, size_t len, uint32_t *mask,
		   uint32_t *levels, char *why, size_t size)
{
	size_t at = 0, n;

	*mask = *levels = 0;
	while ((n = next_word(text, len, &at)) > 0) {
		if (parse_word(p, text + at, n, mask, levels, why, size) < 0)
			return -1;
		at += n;
	}
	return 0;
}

/* Is this word all that stands there? */
static bool is_word(const char *text, size_t len, const char *word)
{
	size_t at = 0, n = next_word(text, len, &at);
	bool is = n == strlen(word) && memcmp(text + at, word, n) == 0;

	at += n;
	return is && next_word(text, len, &at) == 0;
}

/* -- clients ----------------------------------------------------------------------------------- */

static void drop(struct client *c)
{
	close(c->fd); /* epoll forgets it with this */
	*c = (struct client){.fd = -1};
}

static void answer(struct client *c, const char *text, size_t len)
{
	ssize_t n;

	if (c->fd < 0)
		return;
	do {
		n = send(c->fd, text, len, MSG_NOSIGNAL | MSG_DONTWAIT);
	} while (n < 0 && errno == EINTR);
	if (n < 0 || (size_t)n != len)
		drop(c);
}

static void answer_error(struct client *c, const char *why)
{
	char text[ANSWER_MAX + 16];
	int n = snprintf(text, sizeof(text), "error: %.*s\n", ANSWER_MAX, why);

	answer(c, text, (size_t)n);
}

static uint32_t configured_lines(const struct pw_policy *p)
{
	uint32_t mask = 0;

	for (unsigned i = 0; i < PW_LINES; i++)
		if (p->line[i].configured)
			mask |= UINT32_C(1) << i;
	return mask;
}

/* Tells the lines of mask, one a line; with their directions to whoever asked for lines. */
static void tell(const struct pw_board *b, struct client *c, uint32_t mask)
{
	char text[PW_LINES * (PW_NAME_MAX + 7)];
	size_t len = 0;

	for (unsigned i = 0; i < PW_LINES; i++)
		if (mask >> i & 1)
			len += (size_t)snprintf(text + len, sizeof(text) - len, "%s%s=%u\n",
						!c->lines ? "" : pw_board_is_output(b->policy, i) ?
						"out " : "in ",
						b->policy->line[i].name, b->levels >> i & 1);
	if (len > 0)
		answer(c, text, len);
}

static void tell_all(struct pw_bench *s, uint32_t changed)
{
	const uint32_t outputs = pw_board_outputs(s->board.policy);

	for (unsigned i = 0; i < PW_BENCH_CLIENTS; i++) {
		struct client *c = &s->client[i];

		if (c->fd >= 0 && (c->lines || c->watch))
			tell(&s->board, c, c->lines ? changed : changed & outputs);
	}
}

static void apply(struct pw_board *b, uint32_t mask, uint32_t levels, int64_t now_ms)
{
	const uint32_t before = b->levels;

	for (unsigned i = 0; i < PW_LINES; i++)
		if (mask >> i & 1)
			pw_board_note(b, i, levels >> i & 1, now_ms, now_ms);
	tell_all(bench_of(b), b->levels ^ before);
}

static void take_line(struct pw_board *b, struct client *c, const char *text, size_t len,
		      int64_t now_ms)
{
	char why[ANSWER_MAX];
	uint32_t mask, levels;

	if (is_word(text, len, "watch")) {
		c->watch = true;
		c->lines = false;
		answer(c, "ok\n", 3);
		tell(b, c, pw_board_outputs(b->policy));
	} else if (is_word(text, len, "lines")) {
		c->lines = true;
		answer(c, "ok\n", 3);
		tell(b, c, configured_lines(b->policy));
	} else if (pw_bench_parse(b->policy, text, len, &mask, &levels, why, sizeof(why)) < 0) {
		answer_error(c, why);
	} else {
		apply(b, mask, levels, now_ms);
		answer(c, "ok\n", 3);
	}
}

/* Every whole line that has come; what is begun stays for the next reading. */
static void take_lines(struct pw_board *b, struct client *c, int64_t now_ms)
{
	size_t at = 0;
	const char *end;

	while (c->fd >= 0 && (end = memchr(c->in + at, '\n', c->fill - at)) != NULL) {
		take_line(b, c, c->in + at, (size_t)(end - c->in) - at, now_ms);
		at = (size_t)(end - c->in) + 1;
	}
	if (c->fd < 0)
		return;
	c->fill -= at;
	memmove(c->in, c->in + at, c->fill);
	if (c->fill < sizeof(c->in))
		return;
	answer_error(c, "the line is longer than 512 bytes");
	if (c->fd >= 0)
		drop(c);
}

static void read_client(struct pw_board *b, struct client *c, int64_t now_ms)
{
	ssize_t n;

	do {
		n = recv(c->fd, c->in + c->fill, sizeof(c->in) - c->fill, MSG_DONTWAIT);
	} while (n < 0 && errno == EINTR);
	if (n < 0 && errno == EAGAIN)
		return;
	if (n <= 0) {
		drop(c);
		return;
	}
	c->fill += (size_t)n;
	take_lines(b, c, now_ms);
}

static struct client *free_client(struct pw_bench *s)
{
	for (unsigned i = 0; i < PW_BENCH_CLIENTS; i++)
		if (s->client[i].fd < 0)
			return &s->client[i];
	return NULL;
}

static int listen_now(struct pw_bench *s, bool on)
{
	struct epoll_event ev = {.events = on ? EPOLLIN : 0, .data.u32 = LISTENER};

	return epoll_ctl(s->board.epoll_fd, EPOLL_CTL_MOD, s->listen_fd, &ev);
}

static void take_client(struct pw_bench *s, int fd)
{
	struct client over = {.fd = fd};
	struct client *c = free_client(s);
	struct epoll_event ev = {.events = EPOLLIN};

	if (!c) {
		answer_error(&over, "8 clients are here already");
		if (over.fd >= 0)
			close(over.fd);
		return;
	}
	*c = over;
	ev.data.u32 = (uint32_t)(c - s->client);
	if (epoll_ctl(s->board.epoll_fd, EPOLL_CTL_ADD, fd, &ev) < 0)
		drop(c);
}

static void accept_client(struct pw_bench *s, int64_t now_ms)
{
	int fd = accept4(s->listen_fd, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC);

	if (fd >= 0) {
		take_client(s, fd);
	} else if (errno != EAGAIN && errno != EINTR && errno != ECONNABORTED) {
		listen_now(s, false);
		s->board.next_ms = now_ms + DEAF_MS;
	}
}

/* -- the socket -------------------------------------------------------------------------------- */

static int cannot(char *why, size_t size, const char *place, const char *what)
{
	snprintf(why, size, "bench socket %s: %s", place, what);
	return -1;
}

/* Makes way for the socket: what a dead bench left is removed. */
static int clear_place(const struct sockaddr_un *at, char *why, size_t size)
{
	struct stat st;
	int fd, connected, error;

	if (lstat(at->sun_path, &st) < 0)
		return errno == ENOENT ? 0 : cannot(why, size, at->sun_path, strerror(errno));
	if (!S_ISSOCK(st.st_mode))
		return cannot(why, size, at->sun_path,
			      "something stands there that is no socket: move it or name another "
			      "path");
	fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	if (fd < 0)
		return cannot(why, size, at->sun_path, strerror(errno));
	connected = connect(fd, (const struct sockaddr *)at, sizeof(*at));
	error = errno;
	close(fd);
	if (connected == 0 || error == EAGAIN)
		return cannot(why, size, at->sun_path,
			      "another bench is listening there: end it or name another path");
	if (error != ECONNREFUSED)
		return cannot(why, size, at->sun_path, strerror(error));
	if (unlink(at->sun_path) < 0)
		return cannot(why, size, at->sun_path, strerror(errno));
	return 0;
}

/* fchmod before bind: the file is never there with a wider mode. */
static int open_listener(struct pw_bench *s, char *why, size_t size)
{
	struct epoll_event ev = {.events = EPOLLIN, .data.u32 = LISTENER};
	const char *place = s->at.sun_path;
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);

	if (fd < 0)
		return cannot(why, size, place, strerror(errno));
	if (fchmod(fd, 0600) < 0 || bind(fd, (const struct sockaddr *)&s->at, sizeof(s->at)) < 0) {
		cannot(why, size, place, strerror(errno));
		close(fd);
		return -1;
	}
	if (listen(fd, PW_BENCH_CLIENTS) < 0 ||
	    epoll_ctl(s->board.epoll_fd, EPOLL_CTL_ADD, fd, &ev) < 0) {
		cannot(why, size, place, strerror(errno));
		unlink(place);
		close(fd);
		return -1;
	}
	s->listen_fd = fd;
	return 0;
}

/* -- the kind ---------------------------------------------------------------------------------- */

static int bench_open(struct pw_board *b, const char *place, int64_t now_ms, char *why,
		      size_t size)
{
	struct pw_bench *s = bench_of(b);

	if (!place || !place[0]) {
		snprintf(why, size, "a bench needs the path of its socket");
		return -1;
	}
	if (strlen(place) >= sizeof(s->at.sun_path))
		return cannot(why, size, place, "the path is longer than a socket's may be");
	s->at.sun_family = AF_UNIX;
	memcpy(s->at.sun_path, place, strlen(place) + 1);
	for (unsigned i = 0; i < PW_BENCH_CLIENTS; i++)
		s->client[i].fd = -1;
	if (clear_place(&s->at, why, size) < 0 || open_listener(s, why, size) < 0)
		return -1;
	if (b->policy->line[PW_REAR_BUTTON_NC].configured) /* nobody presses yet */
		pw_board_note(b, PW_REAR_BUTTON_NC, 1, now_ms, now_ms);
	return 0;
}

static void bench_read(struct pw_board *b, int64_t now_ms)
{
	struct epoll_event ev[PW_BENCH_CLIENTS + 1];
	struct pw_bench *s = bench_of(b);
	int n;

	if (now_ms >= b->next_ms) {
		b->next_ms = PW_NEVER;
		listen_now(s, true);
	}
	do {
		n = epoll_wait(b->epoll_fd, ev, PW_BENCH_CLIENTS + 1, 0);
	} while (n < 0 && errno == EINTR);
	for (int i = 0; i < n; i++)
		if (ev[i].data.u32 != LISTENER && s->client[ev[i].data.u32].fd >= 0)
			read_client(b, &s->client[ev[i].data.u32], now_ms);
	for (int i = 0; i < n; i++)
		if (ev[i].data.u32 == LISTENER)
			accept_client(s, now_ms);
}

static void bench_drive(struct pw_board *b, uint32_t outputs, int64_t now_ms)
{
	struct pw_bench *s = bench_of(b);
	const uint32_t changed = (b->levels ^ outputs) & pw_board_outputs(b->policy);

	(void)now_ms;
	b->outputs = outputs;
	b->levels ^= changed;
	tell_all(s, changed);
}

static void bench_close(struct pw_board *b)
{
	struct pw_bench *s = bench_of(b);

	for (unsigned i = 0; i < PW_BENCH_CLIENTS; i++)
		if (s->client[i].fd >= 0)
			drop(&s->client[i]);
	unlink(s->at.sun_path);
	close(s->listen_fd);
}

const struct pw_board_kind pw_bench_kind = {
	.name = "bench",
	.size = sizeof(struct pw_bench),
	.open = bench_open,
	.read = bench_read,
	.drive = bench_drive,
	.close = bench_close,
};

/* SPDX-License-Identifier: Apache-2.0 */
/* The link against servers that drip, cut, flood, or are none: each comes to an end, and says which. */
#include "uplink_journal.h"

#include <arpa/inet.h>
#include <poll.h>
#include <pthread.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "postwalk/delivery.h"

#define MOST_MS 8000
#define TOKEN "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"

struct rough {
	int listener;
	uint16_t port;
	void (*serve)(int fd);
	unsigned taken;
	pthread_t thread;
};

static int64_t clock_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- a server ---------------------------------------------------------------------------------- */

static void *serve_all(void *ctx)
{
	struct rough *r = ctx;
	int fd;

	while ((fd = accept(r->listener, NULL, NULL)) >= 0) {
		r->taken++;
		if (r->serve)
			r->serve(fd);
		close(fd);
	}
	return NULL;
}

static void open_rough(struct rough *r, void (*serve)(int fd))
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t length = sizeof(a);

	*r = (struct rough){ .listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), .serve = serve };
	assert_int_equal(bind(r->listener, (struct sockaddr *)&a, sizeof(a)), 0);
	assert_int_equal(listen(r->listener, 8), 0);
	assert_int_equal(getsockname(r->listener, (struct sockaddr *)&a, &length), 0);
	r->port = ntohs(a.sin_port);
	assert_int_equal(pthread_create(&r->thread, NULL, serve_all, r), 0);
}

static void close_rough(struct rough *r)
{
	shutdown(r->listener, SHUT_RDWR);
	pthread_join(r->thread, NULL);
	close(r->listener);
}

static void send_text(int fd, const char *text)
{
	send(fd, text, strlen(text), MSG_NOSIGNAL);
}

/* The request's head, at least. */
static void read_request(int fd)
{
	char text[8192] = "";
	size_t n = 0;
	ssize_t got;

	while (!strstr(text, "\r\n\r\n") && n < sizeof(text) - 1) {
		got = recv(fd, text + n, sizeof(text) - 1 - n, 0);
		if (got <= 0)
			return;
		n += (size_t)got;
		text[n] = '\0';
	}
}

/* Until the other side is gone: a byte now and then, or none. */
static void until_gone(int fd, const char *byte)
{
	const int64_t end_ms = clock_ms() + MOST_MS;
	struct pollfd p = { .fd = fd, .events = POLLIN | POLLRDHUP };
	char waste[4096];

	while (clock_ms() < end_ms) {
		if (poll(&p, 1, 20) > 0 && recv(fd, waste, sizeof(waste), MSG_DONTWAIT) <= 0)
			return;
		if (byte && send(fd, byte, 1, MSG_NOSIGNAL) < 0)
			return;
	}
}

/* -- what it does ------------------------------------------------------------------------------ */

#define OK_HEAD "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"

static void says_nothing(int fd) { until_gone(fd, NULL); }
static void hangs_up(int fd) { (void)fd; }
static void hangs_up_after_the_request(int fd) { read_request(fd); }

static void drips_the_head(int fd)
{
	read_request(fd);
	send_text(fd, "HTTP/1.1 200 OK\r\nX: ");
	until_gone(fd, "x");
}

static void drips_the_body(int fd)
{
	read_request(fd);
	send_text(fd, OK_HEAD "Content-Length: 100000\r\n\r\n");
	until_gone(fd, " ");
}

static void cuts_the_head(int fd)
{
	read_request(fd);
	send_text(fd, "HTTP/1.1 200 OK\r\nContent-Le");
}

/* Without a length: the end of the connection is the end of the body. */
static void cuts_a_body_without_length(int fd)
{
	read_request(fd);
	send_text(fd, OK_HEAD "Connection: close\r\n\r\n{\"office\":\"postwalk-office-v1\",");
}

static void cuts_the_body(int fd)
{
	read_request(fd);
	send_text(fd, OK_HEAD "Content-Length: 1000\r\n\r\n{\"office\":\"postwalk-office-v1\",");
}

static void is_no_http(int fd)
{
	read_request(fd);
	send_text(fd, "220 mail.example ESMTP\r\n");
}

static void flood(int fd, const char *head, const char *piece)
{
	read_request(fd);
	send_text(fd, head);
	for (int i = 0; i < 4000 && send(fd, piece, strlen(piece), MSG_NOSIGNAL) > 0; i++)
		;
}

#define KIB "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
	"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"

static void is_endless(int fd) { flood(fd, OK_HEAD "\r\n", KIB); }
static void is_endless_in_pieces(int fd) { flood(fd, OK_HEAD "Transfer-Encoding: chunked\r\n\r\n", "400\r\n" KIB "\r\n"); }
static void says_it_is_huge(int fd) { flood(fd, OK_HEAD "Content-Length: 1048577\r\n\r\n", KIB); }
static void has_an_endless_head(int fd) { flood(fd, OK_HEAD, "X: " KIB "\r\n"); }
static void goes_on_and_on(int fd) { flood(fd, "", "HTTP/1.1 100 Continue\r\n\r\n"); }

static void is_packed(int fd)
{
	read_request(fd);
	send_text(fd, OK_HEAD "Content-Encoding: gzip\r\nContent-Length: 4\r\n\r\n\x1f\x8b\x08\x01");
}

static const struct row {
	void (*serve)(int fd);
	enum pw_said said;
	const char *words;
	int most_ms; /* and not sooner than a second where it is slowness that ends it */
	bool slow;
} rows[] = {
	{ says_nothing, PW_SAID_LATER, "not reached", 3000, true },
	{ hangs_up, PW_SAID_LATER, "not reached", 1000, false },
	{ hangs_up_after_the_request, PW_SAID_LATER, "not reached", 1000, false },
	{ drips_the_head, PW_SAID_LATER, "not reached", 3000, true },
	{ drips_the_body, PW_SAID_LATER, "not reached", 3000, true },
	{ cuts_the_head, PW_SAID_LATER, "cut off", 1000, false },
	{ cuts_the_body, PW_SAID_LATER, "not reached", 1000, false },
	{ cuts_a_body_without_length, PW_SAID_LATER, "cut off", 1000, false },
	{ is_no_http, PW_SAID_LATER, "not reached", 1000, false },
	{ is_endless, PW_SAID_LATER, "longer than 1048576 bytes", 2000, false },
	{ is_endless_in_pieces, PW_SAID_LATER, "longer than 1048576 bytes", 2000, false },
	{ says_it_is_huge, PW_SAID_LATER, "longer than 1048576 bytes", 2000, false },
	{ has_an_endless_head, PW_SAID_LATER, "not reached", 3000, false },
	{ goes_on_and_on, PW_SAID_LATER, "not reached", 3000, false },
	{ is_packed, PW_SAID_REFUSED, "cannot be understood", 1000, false },
};

/* -- tests ------------------------------------------------------------------------------------- */

static struct pw_link *link_to(uint16_t port)
{
	static const struct pw_patience patience = { .connect_s = 2, .whole_s = 5, .slow_bytes_s = 1000,
						     .slow_s = 1 };
	struct pw_place place = { .token = TOKEN };
	struct pw_link *link;
	char why[200];

	snprintf(place.url, sizeof(place.url), "http://127.0.0.1:%u", port);
	assert_int_equal(pw_link_open(&place, &patience, &link, why, sizeof(why)), 0);
	return link;
}

static void each_comes_to_an_end(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		struct pw_reply reply;
		struct pw_link *link;
		struct rough r;
		int64_t begun_ms;

		open_rough(&r, rows[i].serve);
		link = link_to(r.port);
		begun_ms = clock_ms();
		pw_link_heads(link, BUS, EPOCH, &reply);
		begun_ms = clock_ms() - begun_ms;
		if (reply.said != rows[i].said || !strstr(reply.why, rows[i].words))
			fail_msg("row %zu: %d \"%s\"", i, reply.said, reply.why);
		if (begun_ms > rows[i].most_ms || (rows[i].slow && begun_ms < 900))
			fail_msg("row %zu: after %d ms", i, (int)begun_ms);
		pw_link_close(link);
		close_rough(&r);
	}
}

/* A receipt that is cut off is none, and what was sent is sent again. */
static void a_cut_receipt_is_none(void **state)
{
	struct pw_reply reply;
	struct pw_link *link;
	struct journal j;
	struct rough r;
	char *text;

	(void)state;
	journal_make(&j, 4, 0);
	text = journal_text(&j, 1, 4);
	open_rough(&r, cuts_the_body);
	link = link_to(r.port);
	pw_link_records(link, BUS, text, strlen(text), false, &reply);
	assert_int_equal(reply.said, PW_SAID_LATER);
	free(text);
	pw_link_close(link);
	close_rough(&r);
}

static void nobody_there(void **state)
{
	struct pw_reply reply;
	struct pw_link *link;
	struct rough r;

	(void)state;
	open_rough(&r, NULL);
	close_rough(&r);
	link = link_to(r.port);
	pw_link_heads(link, BUS, EPOCH, &reply);
	assert_int_equal(reply.said, PW_SAID_LATER);
	assert_non_null(strstr(reply.why, "not reached"));
	pw_link_close(link);
}

static uint16_t elsewhere;

static void points_elsewhere(int fd)
{
	char text[200];

	read_request(fd);
	snprintf(text, sizeof(text), "HTTP/1.1 302 Found\r\nLocation: http://127.0.0.1:%u/v1/office\r\n"
		 "Content-Length: 0\r\n\r\n", elsewhere);
	send_text(fd, text);
}

static void nobody_is_sent_elsewhere(void **state)
{
	struct pw_reply reply;
	struct pw_link *link;
	struct rough r, other;

	(void)state;
	open_rough(&other, hangs_up);
	elsewhere = other.port;
	open_rough(&r, points_elsewhere);
	link = link_to(r.port);
	pw_link_heads(link, BUS, EPOCH, &reply);
	assert_int_equal(reply.said, PW_SAID_REFUSED);
	assert_non_null(strstr(reply.why, "302"));
	pw_link_close(link);
	close_rough(&r);
	close_rough(&other);
	assert_int_equal(other.taken, 0);
}

/* A proxy of the environment is nobody that the installer named. */
static void no_proxy_of_the_environment(void **state)
{
	struct pw_reply reply;
	struct pw_link *link;
	struct rough r, proxy;
	char text[64];

	(void)state;
	open_rough(&proxy, hangs_up);
	open_rough(&r, is_packed);
	snprintf(text, sizeof(text), "http://127.0.0.1:%u", proxy.port);
	setenv("http_proxy", text, 1);
	setenv("all_proxy", text, 1);
	link = link_to(r.port);
	pw_link_heads(link, BUS, EPOCH, &reply);
	unsetenv("http_proxy");
	unsetenv("all_proxy");
	pw_link_close(link);
	close_rough(&r);
	close_rough(&proxy);
	assert_int_equal(proxy.taken, 0);
	assert_int_equal(r.taken, 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_comes_to_an_end),
		cmocka_unit_test(a_cut_receipt_is_none),
		cmocka_unit_test(nobody_there),
		cmocka_unit_test(nobody_is_sent_elsewhere),
		cmocka_unit_test(no_proxy_of_the_environment),
	};

	return cmocka_run_group_tests_name("uplink: rough servers", tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* The page's process: its address, its rights, its deadlines, its deaths. */
#include "page_client.h"

#include <grp.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>

static struct world *world_at(const char *listen)
{
	struct world *w = calloc(1, sizeof *w);

	assert_non_null(w);
	w->snapshot = sample();
	assert_int_equal(pw_page_start(listen, &w->page), 0);
	return w;
}

static void a_bad_address_is_said(void **state)
{
	static const struct { const char *listen, *part; } bad[] = {
		{ "", "is not HOST:PORT" },          { "127.0.0.1", "is not HOST:PORT" },
		{ "127.0.0.1:", "is not HOST:PORT" },  { "127.0.0.1:0", "is not HOST:PORT" },
		{ "127.0.0.1:65536", "is not HOST:PORT" }, { "127.0.0.1:80x", "is not HOST:PORT" },
		{ "127.0.0.1: 80", "is not HOST:PORT" }, { "bus.example:80", "is not HOST:PORT" },
		{ "::1:8787", "is not HOST:PORT" },  { "[::1]8787", "is not HOST:PORT" },
		{ "[::1:8787", "is not HOST:PORT" }, { "127.1:8787", "is not HOST:PORT" },
		{ "192.0.2.1:8787", "192.0.2.1:8787 is no address of this machine now" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		struct world *w = world_at(bad[i].listen);

		assert_true(pw_page_tend(w->page, 1000));
		assert_non_null(pw_page_fault(w->page));
		if (!strstr(pw_page_fault(w->page), bad[i].part))
			fail_msg("%s: %s", bad[i].listen, pw_page_fault(w->page));
		assert_int_equal(pw_page_pid(w->page), 0);
		assert_false(pw_page_tend(w->page, 1001));
		assert_true(pw_page_next_ms(w->page) == (i == 12 ? 6000 : PW_NEVER));
		world_free(w);
	}
}

static void a_taken_port_is_said_and_tried_again(void **state)
{
	struct sockaddr_in a = client_address(0);
	socklen_t len = sizeof a;
	int other = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	char listen_at[32], want[64];

	(void)state;
	assert_int_equal(bind(other, (struct sockaddr *)&a, sizeof a), 0);
	assert_int_equal(listen(other, 1), 0);
	assert_int_equal(getsockname(other, (struct sockaddr *)&a, &len), 0);
	snprintf(listen_at, sizeof listen_at, "localhost:%u", ntohs(a.sin_port));
	snprintf(want, sizeof want, "%s is taken by another program: ", listen_at);

	struct world *w = world_at(listen_at);

	w->port = ntohs(a.sin_port);
	assert_true(pw_page_tend(w->page, 1000));
	assert_int_equal(strncmp(pw_page_fault(w->page), want, strlen(want)), 0);
	assert_int_equal(pw_page_next_ms(w->page), 6000);
	close(other);
	assert_false(pw_page_tend(w->page, 5999));
	assert_int_equal(pw_page_pid(w->page), 0);
	w->last_now_ms = 6000;
	pw_page_tend(w->page, 6000);
	assert_true(pw_page_pid(w->page) > 0);
	wait_ready(w);
	assert_int_equal(ask(w, "GET", "/", ""), 200);
	world_free(w);
}

static void version_six_is_served(void **state)
{
	struct sockaddr_in6 a = { .sin6_family = AF_INET6, .sin6_addr = IN6ADDR_LOOPBACK_INIT };
	socklen_t len = sizeof a;
	int fd = socket(AF_INET6, SOCK_STREAM | SOCK_CLOEXEC, 0);
	char listen_at[32];

	(void)state;
	if (fd < 0 || bind(fd, (struct sockaddr *)&a, sizeof a) < 0) {
		close(fd);
		skip(); /* a machine without IPv6 */
	}
	assert_int_equal(getsockname(fd, (struct sockaddr *)&a, &len), 0);
	close(fd);
	snprintf(listen_at, sizeof listen_at, "[::1]:%u", ntohs(a.sin6_port));
	struct world *w = world_at(listen_at);

	pw_page_tend(w->page, 0);
	wait_ready(w);
	fd = socket(AF_INET6, SOCK_STREAM | SOCK_CLOEXEC, 0);
	assert_int_equal(connect(fd, (struct sockaddr *)&a, sizeof a), 0);
	client_send(fd, "GET / HTTP/1.1\r\nHost: [::1]:80\r\nConnection: close\r\n\r\n");
	client_read(w, fd);
	close(fd);
	assert_int_equal(strncmp(w->reply, "HTTP/1.1 200", 12), 0);
	world_free(w);
}

/* Death is seen through the descriptor; the clock of the restart is an argument. */
static void kill_page(struct world *w)
{
	pid_t pid = pw_page_pid(w->page);
	int64_t end = pw_boot_ms() + DEADLINE_MS;

	kill(pid, SIGKILL);
	while (pw_page_pid(w->page) == pid) {
		struct pollfd p = { .fd = pw_page_fd(w->page), .events = POLLIN };

		poll(&p, 1, 20);
		serve_page(w);
		assert_true(pw_boot_ms() < end);
	}
}

static void a_killed_page_is_started_again(void **state)
{
	struct world *w = world_new();
	pid_t first = pw_page_pid(w->page);

	(void)state;
	kill_page(w);
	assert_non_null(strstr(pw_page_fault(w->page), "ended by signal 9"));
	assert_true(pw_page_pid(w->page) > 0 && pw_page_pid(w->page) != first);
	wait_ready(w);
	assert_int_equal(ask(w, "GET", "/", ""), 200);

	w->last_now_ms = 500; /* again, within the same second: not at once */
	kill_page(w);
	assert_int_equal(pw_page_pid(w->page), 0);
	assert_int_equal(pw_page_next_ms(w->page), 1000);
	pw_page_tend(w->page, 999);
	assert_int_equal(pw_page_pid(w->page), 0);
	w->last_now_ms = 1000;
	pw_page_tend(w->page, 1000);
	assert_true(pw_page_pid(w->page) > 0);
	wait_ready(w);
	assert_int_equal(ask(w, "GET", "/", ""), 200);
	world_free(w);
}

static void a_stopped_page_holds_nobody_up(void **state)
{
	struct world *w = world_new();

	(void)state;
	kill(pw_page_pid(w->page), SIGSTOP);
	int64_t begin = pw_boot_ms();
	struct pw_act act;
	uint32_t serial;

	for (int i = 0; i < 5000; i++) { /* far more than the channel holds */
		pw_page_answer(w->page, &w->snapshot);
		pw_page_asked(w->page, &act, &serial);
		pw_page_tend(w->page, 0);
	}
	assert_true(pw_boot_ms() - begin < DEADLINE_MS);
	assert_null(pw_page_fault(w->page));
	kill(pw_page_pid(w->page), SIGCONT);
	assert_int_equal(ask(w, "GET", "/", ""), 200);
	assert_int_equal(w->asked, 1); /* what nobody asked for was thrown away */
	world_free(w);
}

static void number_line(const char *status, const char *name, unsigned long want, int base)
{
	const char *at = strstr(status, name);

	assert_non_null(at);
	assert_int_equal(strtoul(at + strlen(name), NULL, base), want);
}

static void rights_are_given_up(void **state)
{
	static const gid_t groups[] = { 4, 20 }; /* that the watch is in, when it is root */
	int marker = open("/dev/null", O_RDONLY); /* one that the watch holds */
	char path[64], text[4096], link[128];

	(void)state;
	if (geteuid() == 0)
		assert_int_equal(setgroups(2, groups), 0);
	struct world *w = world_new();

	snprintf(path, sizeof path, "/proc/%d/status", pw_page_pid(w->page));
	int fd = open(path, O_RDONLY);
	ssize_t n = read(fd, text, sizeof text - 1);

	close(fd);
	assert_true(n > 0);
	text[n] = '\0';
	assert_non_null(strstr(text, "Name:\tpostwalk-page\n"));
	number_line(text, "NoNewPrivs:\t", 1, 10);
	number_line(text, "CapEff:\t", 0, 16);
	number_line(text, "CapPrm:\t", 0, 16);
	number_line(text, "SigBlk:\t", 0, 16);
	if (geteuid() == 0) {
		assert_non_null(strstr(text, "Uid:\t65534\t65534\t65534\t65534\n"));
		assert_non_null(strstr(text, "Gid:\t65534\t65534\t65534\t65534\n"));
		const char *in = strstr(text, "Groups:");

		assert_non_null(in);
		assert_int_equal(strcspn(in, "0123456789\n"), strcspn(in, "\n"));
	}
	for (int i = 0; i < 64; i++) {
		snprintf(path, sizeof path, "/proc/%d/fd/%d", pw_page_pid(w->page), i);
		n = readlink(path, link, sizeof link - 1);
		if (n < 0 || i <= 2)
			continue;
		link[n] = '\0';
		if (strncmp(link, "socket:", 7) != 0 && strncmp(link, "anon_inode:", 11) != 0 &&
		    strncmp(link, "pipe:", 5) != 0)
			fail_msg("the page holds %s", link);
	}
	close(marker);
	world_free(w);
}

/* The page must not outlive its watch: nobody would know. */
static void the_page_ends_with_the_watch(void **state)
{
	int pair[2], status;
	pid_t page = 0;

	(void)state;
	prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0);
	assert_int_equal(pipe2(pair, O_CLOEXEC), 0);
	pid_t watch = fork();

	if (watch == 0) {
		struct world *w = world_new();

		page = pw_page_pid(w->page);
		_exit(write(pair[1], &page, sizeof page) == sizeof page ? 0 : 1);
	}
	close(pair[1]);
	assert_int_equal(read(pair[0], &page, sizeof page), sizeof page);
	close(pair[0]);
	assert_int_equal(waitpid(watch, &status, 0), watch);
	assert_int_equal(waitpid(page, &status, 0), page);
}

/* A byte now and then is no idleness; the deadline counts all the same. */
static void a_dripping_client_is_ended(void **state)
{
	const struct pw_page_limits l = { .idle_s = 60, .deadline_ms = 300, .ask_wait_ms = 100,
					  .ask_rest_ms = 100 };
	uint16_t port;
	int channel, status;
	pid_t pid = serve_with(&l, &port, &channel);
	int fd = client_open(port);
	int64_t begin = pw_boot_ms();

	(void)state;
	client_send(fd, "GET / HTTP/1.1\r\nX: ");
	assert_true(ends_while_fed(fd, 20));
	assert_true(pw_boot_ms() - begin >= 300);
	close(fd);
	fd = client_open(port); /* says nothing at all */
	assert_true(ends_while_fed(fd, DEADLINE_MS));
	close(fd);
	close(channel); /* and with the watch gone it ends by itself */
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_int_equal(status, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_bad_address_is_said),
		cmocka_unit_test(a_taken_port_is_said_and_tried_again),
		cmocka_unit_test(version_six_is_served),
		cmocka_unit_test(a_killed_page_is_started_again),
		cmocka_unit_test(a_stopped_page_holds_nobody_up),
		cmocka_unit_test(rights_are_given_up),
		cmocka_unit_test(the_page_ends_with_the_watch),
		cmocka_unit_test(a_dripping_client_is_ended),
	};

	return cmocka_run_group_tests_name("page: its process", tests, NULL, NULL);
}

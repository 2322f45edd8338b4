/* SPDX-License-Identifier: Apache-2.0 */
/*
 * page POSTWALKD COMMAND: figures of the page on the bench board, one line each: name, figure.
 *
 * First what /status.json takes at 500 requests a second, from when each was due to its last byte.
 * Then COMMAND runs with the page's PORT in its environment. Then 10,000 broken connections pass
 * through the page, and a crowd of 10,000 sockets is held to it from 2,000 addresses, each of them
 * silent, dripping, broken or endless, while edges are timed and an alarm falls due.
 */
#include <fcntl.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/resource.h>

#include "bus.h"

#define REQUESTS 4000
#define REQUEST_US 2000 /* 500 a second */
#define ASKERS 4
#define CROWD 10000
#define RUSH 48 /* at once, of those that pass through: the kernel queues no more than 64 */
#define ADDRESSES 2000
#define EDGES 2000
#define DUE_S 30

/* What measures does not stand in the queue of what is measured. */
static const struct sched_param instrument = { .sched_priority = 2 };

/* -- /status.json at its pace ------------------------------------------------------------------- */

static void wait_until(int64_t at_us)
{
	const struct timespec t = { .tv_sec = at_us / 1000000, .tv_nsec = at_us % 1000000 * 1000 };

	clock_nanosleep(CLOCK_BOOTTIME, TIMER_ABSTIME, &t, NULL);
}

/* The head and as much as it says; the connection is kept. */
static void read_answer(int fd)
{
	char text[65536];
	size_t have = 0, want = sizeof(text);

	while (have < want) {
		ssize_t n = recv(fd, text + have, sizeof(text) - 1 - have, 0);

		if (n <= 0)
			give_up("status.json");
		text[have += (size_t)n] = '\0';
		char *end = strstr(text, "\r\n\r\n"), *length = strstr(text, "Content-Length: ");

		if (end && length && strncmp(text, "HTTP/1.1 200", 12) == 0)
			want = (size_t)(end + 4 - text) + strtoul(length + 16, NULL, 10);
	}
}

static void measure_status(void)
{
	static const char ask[] = "GET /status.json HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n";
	int64_t *took = mmap(NULL, REQUESTS * sizeof(*took), PROT_READ | PROT_WRITE,
			     MAP_SHARED | MAP_ANONYMOUS, -1, 0), begin = now_us() + 100000;

	for (int a = 0; a < ASKERS; a++)
		if (fork() == 0) {
			int fd = dial_page();

			sched_setscheduler(0, SCHED_RR, &instrument);
			for (int i = a; i < REQUESTS; i += ASKERS) {
				wait_until(begin + i * REQUEST_US);
				send(fd, ask, sizeof(ask) - 1, MSG_NOSIGNAL);
				read_answer(fd);
				took[i] = now_us() - (begin + i * REQUEST_US);
			}
			_exit(0);
		}
	for (int a = 0, status; a < ASKERS; a++)
		if (wait(&status) < 0 || status != 0)
			give_up("status.json");
	print_quantiles("status", took, REQUESTS);
}

/* -- the crowd ----------------------------------------------------------------------------------- */

enum kind { SILENT, DRIPPING, BROKEN, ENDLESS, KINDS };
struct tally { unsigned long begun, reached, ended; };

static struct tally *tally; /* shared with the crowd */

static int crowd_open(int epoll, int i)
{
	struct sockaddr_in to = { .sin_family = AF_INET, .sin_port = htons((uint16_t)port),
				  .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	struct sockaddr_in from = { .sin_family = AF_INET,
				    .sin_addr.s_addr = htonl(0x7f010001u + (uint32_t)(i % ADDRESSES)) };
	struct epoll_event ready = { .events = EPOLLIN | EPOLLOUT | EPOLLET | EPOLLRDHUP,
				     .data.u32 = (uint32_t)i };
	int one = 1, fd = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);

	setsockopt(fd, IPPROTO_IP, IP_BIND_ADDRESS_NO_PORT, &one, sizeof(one));
	if (fd < 0 || bind(fd, (struct sockaddr *)&from, sizeof(from)) ||
	    (connect(fd, (struct sockaddr *)&to, sizeof(to)) && errno != EINPROGRESS) ||
	    epoll_ctl(epoll, EPOLL_CTL_ADD, fd, &ready))
		give_up("crowd");
	tally->begun++;
	return fd;
}

/* False when the connection is over. */
static bool crowd_act(int fd, enum kind kind, bool first)
{
	static const char half[] = "GET / HTTP/1.1\r\nHost: local", noise[] = "\x16\x03\x01\x02\r\n\r\n";
	static char text[4096];
	const struct linger reset = { .l_onoff = 1 };
	ssize_t n;

	memset(text, 'x', sizeof(text));
	while ((n = recv(fd, text, sizeof(text), 0)) > 0)
		;
	if (n == 0 || (errno != EAGAIN && errno != EINTR))
		return false;
	if (kind == DRIPPING)
		return send(fd, half, 1, MSG_NOSIGNAL) == 1 || errno == EAGAIN;
	if (kind == BROKEN) {
		send(fd, first ? half : noise, first ? sizeof(half) - 1 : sizeof(noise), MSG_NOSIGNAL);
		setsockopt(fd, SOL_SOCKET, SO_LINGER, &reset, sizeof(reset));
		return false;
	}
	if (kind == ENDLESS && first)
		send(fd, "POST /found HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/"
		     "x-www-form-urlencoded\r\nTransfer-Encoding: chunked\r\n\r\n7fffffff\r\n", 128,
		     MSG_NOSIGNAL);
	if (kind == ENDLESS)
		return send(fd, text, sizeof(text), MSG_NOSIGNAL) > 0 || errno == EAGAIN;
	return true;
}

static _Noreturn void crowd(bool mixed)
{
	static int fd[CROWD];
	static bool reached[CROWD];
	const struct rlimit files = { CROWD + 100, CROWD + 100 };
	int epoll = epoll_create1(0);
	int64_t drip_us = now_us();

	prctl(PR_SET_PDEATHSIG, SIGKILL);
	if (setrlimit(RLIMIT_NOFILE, &files))
		give_up("10,000 files");
	for (int i = 0; i < (mixed ? CROWD : RUSH); i++)
		fd[i] = crowd_open(epoll, i);
	for (;;) {
		struct epoll_event ready[64];
		int n = epoll_wait(epoll, ready, 64, 100);

		for (int k = 0; k < n; k++) {
			int i = (int)ready[k].data.u32;
			bool first = !reached[i], up = ready[k].events & EPOLLOUT;

			tally->reached += first && up;
			reached[i] |= up;
			if (!(ready[k].events & (EPOLLERR | EPOLLHUP)) &&
			    crowd_act(fd[i], mixed ? (enum kind)(i % KINDS) : BROKEN, first))
				continue;
			close(fd[i]);
			tally->ended++;
			reached[i] = false;
			fd[i] = crowd_open(epoll, i);
		}
		if (now_us() - drip_us < 1000000)
			continue;
		drip_us = now_us();
		for (int i = DRIPPING; i < CROWD; i += KINDS)
			if (mixed && reached[i])
				send(fd[i], "G", 1, MSG_NOSIGNAL);
	}
}

/* -- the watch meanwhile --------------------------------------------------------------------------- */

static pid_t crowd_begin(bool mixed)
{
	pid_t all;

	tally = mmap(NULL, sizeof(*tally), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
	all = fork();
	if (all == 0)
		crowd(mixed);
	return all;
}

static void crowd_end(pid_t all)
{
	if (waitpid(all, NULL, WNOHANG) != 0)
		give_up("the crowd went home");
	kill(all, SIGKILL);
	waitpid(all, NULL, 0);
}

static void measure_edges(int wires, int outputs)
{
	static int64_t took[EDGES];
	char answer[64];

	for (int i = 0; i < EDGES; i++) {
		int64_t from;

		rest();
		while (recv(wires, answer, sizeof(answer), MSG_DONTWAIT) > 0)
			;
		from = now_us();
		send(wires, i % 2 ? "ignition=1\n" : "ignition=0\n", 11, 0);
		await_output(outputs, i % 2 ? "dome=0" : "dome=1");
		took[i] = now_us() - from;
	}
	print_quantiles("crowd_edge", took, EDGES);
}

/* From when it is due by the policy to the horn's first sound. */
static void measure_alarm(int wires, int outputs)
{
	int64_t off_us;

	rest();
	off_us = now_us();
	send(wires, "ignition=0\n", 11, 0);
	await_output(outputs, "horn=1");
	printf("crowd_alarm_late_us %lld\n", (long long)(now_us() - off_us - DUE_S * 1000000LL));
}

static void measure_crowd(pid_t watch)
{
	int outputs = dial_unix(bench_path), wires = dial_unix(bench_path);
	const struct timespec gather = { .tv_sec = 3 }, second = { .tv_sec = 1 };
	pid_t page = child_of(watch, 1), all;

	printf("page_peak_kb %ld\n", field(page, "VmHWM"));
	fflush(stdout);
	if (send(outputs, "watch\n", 6, 0) != 6 || send(wires, "ignition=1\n", 11, 0) != 11)
		give_up("crowd");
	all = crowd_begin(false);
	for (int s = 0; s < 60 && tally->ended < CROWD; s++)
		nanosleep(&second, NULL);
	printf("crowd_broken %lu\n", tally->ended);
	crowd_end(all);
	all = crowd_begin(true);
	nanosleep(&gather, NULL);
	measure_edges(wires, outputs);
	measure_alarm(wires, outputs);
	printf("crowd_begun %lu\ncrowd_reached %lu\n", tally->begun, tally->reached);
	crowd_end(all);
	printf("crowd_peak_kb %ld\ncrowd_page_lives %d\n", field(page, "VmHWM"),
	       child_of(watch, 1) == page);
}

int main(int argc, char **argv)
{
	char more[128], text[16];
	pid_t watch;

	if (argc != 3) {
		fputs("usage: page POSTWALKD COMMAND\n", stderr);
		return 2;
	}
	signal(SIGPIPE, SIG_IGN);
	snprintf(more, sizeof(more), "[sweep]\ndue_s = %d\n"
		 "[rung all]\nafter_s = 0\noutputs = horn\npattern = steady\n", DUE_S);
	make_folder(more);
	watch = start(argv[1]);
	await_ready();
	measure_status();
	fflush(stdout);
	snprintf(text, sizeof(text), "%d", port);
	setenv("PORT", text, 1);
	if (system(argv[2]) != 0)
		give_up(argv[2]);
	sched_setscheduler(0, SCHED_RR | SCHED_RESET_ON_FORK, &instrument);
	measure_crowd(watch);
	stop(watch);
	return 0;
}

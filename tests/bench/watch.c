/* SPDX-License-Identifier: Apache-2.0 */
/*
 * watch POSTWALKD: figures of the running watch on the bench board, one line each:
 * name, figure, unit. The page is under load and the writer stopped while edges are timed: from
 * before the edge is sent to the output's line read back, over one socket each way. Beside it, under
 * the same load, what an echo over a socket takes on this machine without us.
 */
#include <errno.h>
#include <poll.h>
#include <sched.h>
#include <signal.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <arpa/inet.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define EDGES 5000
#define GAP_US 4000
#define STARTS 21
#define LOADERS 4
#define QUIET_MS 10000

static char dir[] = "/tmp/postwalk-bench-XXXXXX";
static char config[64], state[64], bench_path[64], manager_path[64];
static int port, manager = -1;

static void give_up(const char *what)
{
	fprintf(stderr, "bench: %s: %s\n", what, strerror(errno));
	exit(2);
}

static int64_t now_us(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

static int dial_unix(const char *path)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);

	snprintf(a.sun_path, sizeof(a.sun_path), "%s", path);
	if (fd < 0 || connect(fd, (struct sockaddr *)&a, sizeof(a)))
		give_up(path);
	return fd;
}

static int dial_page(void)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((uint16_t)port),
				 .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	if (fd < 0 || connect(fd, (struct sockaddr *)&a, sizeof(a)))
		give_up("the page");
	return fd;
}

static void make_folder(void)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	struct sockaddr_un m = { .sun_family = AF_UNIX };
	socklen_t n = sizeof(a);
	int fd = socket(AF_INET, SOCK_STREAM, 0);
	FILE *f;

	if (!mkdtemp(dir) || bind(fd, (struct sockaddr *)&a, sizeof(a)) ||
	    getsockname(fd, (struct sockaddr *)&a, &n))
		give_up(dir);
	port = ntohs(a.sin_port);
	close(fd);
	snprintf(config, sizeof(config), "%s/policy", dir);
	snprintf(state, sizeof(state), "%s/state", dir);
	snprintf(bench_path, sizeof(bench_path), "%s/state/bench.sock", dir);
	snprintf(manager_path, sizeof(manager_path), "%s/manager", dir);
	memcpy(m.sun_path, manager_path, sizeof(manager_path));
	manager = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
	if (bind(manager, (struct sockaddr *)&m, sizeof(m)))
		give_up(manager_path);
	f = fopen(config, "w");
	if (!f)
		give_up(config);
	fprintf(f, "[bus]\nid = bench\n[page]\nlisten = 127.0.0.1:%d\n[line ignition]\nsettle_ms = 0\n"
		"[line rear_button]\n[line rear_door]\n[line service_door]\n[line beeper]\n[line horn]\n"
		"[line lamp]\n[line dome]\n", port);
	fclose(f);
}

static pid_t start(const char *program)
{
	pid_t pid = fork();

	if (pid == 0) {
		prctl(PR_SET_PDEATHSIG, SIGTERM);
		setenv("NOTIFY_SOCKET", manager_path, 1);
		if (!freopen("/dev/null", "w", stderr))
			_exit(126);
		execl(program, program, "--config", config, "--board", "bench", "--state", state,
		      (char *)NULL);
		_exit(127);
	}
	return pid;
}

static void await_ready(void)
{
	struct pollfd p = { .fd = manager, .events = POLLIN };
	char text[64] = "";

	while (!strstr(text, "READY=1")) {
		ssize_t n = poll(&p, 1, 10000) == 1 ? recv(manager, text, sizeof(text) - 1, 0) : -1;

		if (n < 0)
			give_up("not ready");
		text[n] = '\0';
	}
}

static void stop(pid_t pid)
{
	kill(pid, SIGTERM);
	waitpid(pid, NULL, 0);
}

static int by_size(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

static void measure_start(const char *program, const char *what)
{
	int64_t took[STARTS];

	for (int i = 0; i < STARTS; i++) {
		int64_t from = now_us();
		pid_t pid = start(program);

		await_ready();
		took[i] = now_us() - from;
		stop(pid);
	}
	qsort(took + 1, STARTS - 1, sizeof(took[0]), by_size); /* the first makes the journal */
	printf("%s_first_ms %.1f\n%s_median_ms %.1f\n%s_max_ms %.1f\n", what,
	       (double)took[0] / 1e3, what, (double)took[STARTS / 2] / 1e3, what,
	       (double)took[STARTS - 1] / 1e3);
}

/* The same with a journal of two years: 60,000 records each. */
static void grow(const char *year)
{
	char command[512];

	snprintf(command, sizeof(command), "rm -rf '%s' && mkdir '%s' && '%s' '%s' 120000 '%s'", state,
		 state, year, state, config);
	if (system(command) != 0)
		give_up(year);
}

static long field(pid_t pid, const char *name)
{
	char path[64], line[128];
	long value = -1;
	FILE *f;

	snprintf(path, sizeof(path), "/proc/%d/status", (int)pid);
	f = fopen(path, "r");
	while (f && fgets(line, sizeof(line), f))
		if (strncmp(line, name, strlen(name)) == 0)
			value = atol(line + strlen(name) + 1);
	if (f)
		fclose(f);
	return value;
}

/* The n-th child of the watch: the writer is started first, the page second. */
static pid_t child_of(pid_t pid, int n)
{
	char path[64];
	int child = 0;
	FILE *f;

	snprintf(path, sizeof(path), "/proc/%d/task/%d/children", (int)pid, (int)pid);
	f = fopen(path, "r");
	for (; f && n >= 0; n--)
		if (fscanf(f, "%d", &child) != 1)
			give_up("no such child");
	if (f)
		fclose(f);
	return child;
}

static void load_page(void)
{
	static const char ask[] = "GET /status.json HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n";
	char answer[16384];
	int fd = dial_page();

	for (;;)
		if (send(fd, ask, sizeof(ask) - 1, MSG_NOSIGNAL) < 0 ||
		    recv(fd, answer, sizeof(answer), 0) <= 0) {
			close(fd);
			fd = dial_page();
		}
}

/* Waits for the next line that tells the dome's level. */
static void await_dome(int fd, int level)
{
	static char buf[4096];
	static size_t have;
	char want[16];
	char *end;

	snprintf(want, sizeof(want), "dome=%d", level);
	for (;;) {
		while ((end = memchr(buf, '\n', have))) {
			size_t n = (size_t)(end - buf) + 1;
			bool hit = n == strlen(want) + 1 && memcmp(buf, want, n - 1) == 0;

			memmove(buf, end + 1, have -= n);
			if (hit)
				return;
		}
		ssize_t got = recv(fd, buf + have, sizeof(buf) - have, 0);

		if (got <= 0)
			give_up("outputs");
		have += (size_t)got;
	}
}

static void print_quantiles(const char *what, int64_t *took)
{
	qsort(took, EDGES, sizeof(took[0]), by_size);
	printf("%s_p50_us %lld\n%s_p99_us %lld\n%s_p999_us %lld\n%s_max_us %lld\n", what,
	       (long long)took[EDGES / 2], what, (long long)took[EDGES * 99 / 100], what,
	       (long long)took[EDGES * 999 / 1000], what, (long long)took[EDGES - 1]);
}

static void rest(void)
{
	const struct timespec gap = { .tv_nsec = GAP_US * 1000 };

	nanosleep(&gap, NULL);
}

static _Noreturn void echo(int fd)
{
	const struct sched_param as_watch = { .sched_priority = 1 };
	char byte;

	prctl(PR_SET_PDEATHSIG, SIGKILL);
	sched_setscheduler(0, SCHED_RR, &as_watch);
	while (read(fd, &byte, 1) == 1 && write(fd, &byte, 1) == 1)
		;
	_exit(0);
}

/* What the machine itself takes: a byte there and back, to a process of the watch's priority. */
static void measure_echo(void)
{
	static int64_t took[EDGES];
	char byte = 0;
	int pair[2];
	pid_t other;

	if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, pair) || (other = fork()) < 0)
		give_up("echo");
	if (other == 0) {
		close(pair[0]);
		echo(pair[1]);
	}
	close(pair[1]);
	for (int i = 0; i < EDGES; i++) {
		int64_t from;

		rest();
		from = now_us();
		if (write(pair[0], &byte, 1) != 1 || read(pair[0], &byte, 1) != 1)
			give_up("echo");
		took[i] = now_us() - from;
	}
	close(pair[0]);
	waitpid(other, NULL, 0);
	print_quantiles("echo", took);
}

static void measure_edges(pid_t watch)
{
	static int64_t took[EDGES];
	int outputs = dial_unix(bench_path), wires = dial_unix(bench_path);
	pid_t writer = child_of(watch, 0), loader[LOADERS];
	char answer[64];

	if (send(outputs, "watch\n", 6, 0) != 6)
		give_up("watch");
	kill(writer, SIGSTOP);
	for (int i = 0; i < LOADERS; i++)
		if ((loader[i] = fork()) == 0) {
			prctl(PR_SET_PDEATHSIG, SIGKILL);
			load_page();
		}
	send(wires, "ignition=1\n", 11, 0);
	for (int i = 0; i < EDGES; i++) {
		const char *edge = i % 2 ? "ignition=1\n" : "ignition=0\n";
		int64_t from;

		rest();
		while (recv(wires, answer, sizeof(answer), MSG_DONTWAIT) > 0)
			;
		from = now_us();
		send(wires, edge, 11, 0);
		await_dome(outputs, i % 2 == 0);
		took[i] = now_us() - from;
	}
	measure_echo();
	for (int i = 0; i < LOADERS; i++) {
		kill(loader[i], SIGKILL);
		waitpid(loader[i], NULL, 0);
	}
	kill(writer, SIGCONT);
	close(outputs);
	close(wires);
	print_quantiles("edge", took);
}

static void measure_quiet(pid_t watch)
{
	static const char *const who[] = { "watch", "writer", "page" };
	pid_t pid[3] = { watch };
	const struct timespec settle = { .tv_sec = 2 }, quiet = { .tv_sec = QUIET_MS / 1000 };
	long before[3];

	nanosleep(&settle, NULL);
	pid[1] = child_of(watch, 0);
	pid[2] = child_of(watch, 1);
	for (int i = 0; i < 3; i++)
		before[i] = field(pid[i], "voluntary_ctxt_switches");
	nanosleep(&quiet, NULL);
	for (int i = 0; i < 3; i++)
		printf("wakeups_%s %ld\n", who[i],
		       field(pid[i], "voluntary_ctxt_switches") - before[i]);
	for (int i = 0; i < 3; i++)
		printf("resident_%s_kb %ld\n", who[i], field(pid[i], "VmRSS"));
}

int main(int argc, char **argv)
{
	/* what measures does not stand in the queue of what is measured */
	const struct sched_param instrument = { .sched_priority = 2 };
	pid_t watch;

	if (argc != 3) {
		fputs("usage: watch POSTWALKD YEAR\n", stderr);
		return 2;
	}
	signal(SIGPIPE, SIG_IGN);
	sched_setscheduler(0, SCHED_RR | SCHED_RESET_ON_FORK, &instrument);
	make_folder();
	measure_start(argv[1], "start");
	grow(argv[2]);
	measure_start(argv[1], "long_start");
	watch = start(argv[1]);
	await_ready();
	measure_quiet(watch);
	measure_edges(watch);
	stop(watch);
	return 0;
}

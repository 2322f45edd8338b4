/* SPDX-License-Identifier: Apache-2.0 */
/* bus.h - the watch on the bench board, in a folder of its own, for what measures it. */
#ifndef POSTWALK_BENCH_BUS_H
#define POSTWALK_BENCH_BUS_H

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

#define GAP_US 4000

static char dir[] = "/tmp/postwalk-bench-XXXXXX";
static char config[64], state[64], bench_path[64], manager_path[64];
static int port, manager = -1;

static inline void give_up(const char *what)
{
	fprintf(stderr, "bench: %s: %s\n", what, strerror(errno));
	exit(2);
}

static inline int64_t now_us(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

static inline int dial_unix(const char *path)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);

	snprintf(a.sun_path, sizeof(a.sun_path), "%s", path);
	if (fd < 0 || connect(fd, (struct sockaddr *)&a, sizeof(a)))
		give_up(path);
	return fd;
}

static inline int dial_page(void)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((uint16_t)port),
				 .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	if (fd < 0 || connect(fd, (struct sockaddr *)&a, sizeof(a)))
		give_up("the page");
	return fd;
}

/* more: of the policy. */
static inline void make_folder(const char *more)
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
		"[line lamp]\n[line dome]\n%s", port, more);
	fclose(f);
}

static inline pid_t start(const char *program)
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

static inline void await_ready(void)
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

static inline void stop(pid_t pid)
{
	kill(pid, SIGTERM);
	waitpid(pid, NULL, 0);
}

static inline int by_size(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

static inline long field(pid_t pid, const char *name)
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
static inline pid_t child_of(pid_t pid, int n)
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

/* Waits for the next line that says so: "dome=1". */
static inline void await_output(int fd, const char *want)
{
	static char buf[4096];
	static size_t have;
	char *end;

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

static inline void print_quantiles(const char *what, int64_t *took, size_t count)
{
	qsort(took, count, sizeof(took[0]), by_size);
	printf("%s_p50_us %lld\n%s_p99_us %lld\n%s_p999_us %lld\n%s_max_us %lld\n", what,
	       (long long)took[count / 2], what, (long long)took[count * 99 / 100], what,
	       (long long)took[count * 999 / 1000], what, (long long)took[count - 1]);
}

static inline void rest(void)
{
	const struct timespec gap = { .tv_nsec = GAP_US * 1000 };

	nanosleep(&gap, NULL);
}

#endif

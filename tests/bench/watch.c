/* SPDX-License-Identifier: Apache-2.0 */
/*
 * watch POSTWALKD: figures of the running watch on the bench board, one line each:
 * name, figure, unit. The page is under load and the writer stopped while edges are timed: from
 * before the edge is sent to the output's line read back, over one socket each way. Beside it, under
 * the same load, what an echo over a socket takes on this machine without us.
 */
#include "bus.h"

#define EDGES 5000
#define STARTS 21
#define LOADERS 4
#define QUIET_MS 10000

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
	print_quantiles("echo", took, EDGES);
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
		await_output(outputs, i % 2 ? "dome=0" : "dome=1");
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
	print_quantiles("edge", took, EDGES);
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
	make_folder("");
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

/* SPDX-License-Identifier: Apache-2.0 */
#include "world.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

int64_t now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

int shell(const char *format, ...)
{
	char command[2048];
	va_list args;
	int status;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	status = system(command);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}

static const char *program(const char *variable, const char *otherwise)
{
	const char *path = getenv(variable);

	return path && path[0] ? path : otherwise;
}

/* -- what happens ------------------------------------------------------------------------------ */

static void take_output(struct world *w, char *line, int64_t at_ms)
{
	char *equals = strchr(line, '=');
	struct heard *h = &w->heard[w->heard_count];

	if (!equals) /* "ok" of watch */
		return;
	assert_true(w->heard_count < HEARD_MAX);
	*equals = '\0';
	*h = (struct heard){ .at_ms = at_ms, .level = equals[1] - '0' };
	snprintf(h->name, sizeof(h->name), "%.31s", line);
	w->heard_count++;
}

static void close_fd(int *fd)
{
	if (*fd >= 0)
		close(*fd);
	*fd = -1;
}

static void read_outputs(struct world *w)
{
	char bytes[4096];
	ssize_t n = recv(w->outputs, bytes, sizeof(bytes), MSG_DONTWAIT);
	int64_t at_ms = now_ms();

	if (n <= 0) {
		close_fd(&w->outputs);
		return;
	}
	for (ssize_t i = 0; i < n; i++) {
		if (bytes[i] != '\n') {
			assert_true(w->line_len < sizeof(w->line) - 1);
			w->line[w->line_len++] = bytes[i];
			continue;
		}
		w->line[w->line_len] = '\0';
		w->line_len = 0;
		take_output(w, w->line, at_ms);
	}
}

static void read_words(struct world *w)
{
	ssize_t n = read(w->err, w->said + w->said_len, sizeof(w->said) - 1 - w->said_len);

	if (n <= 0)
		close_fd(&w->err);
	else
		w->said_len += (size_t)n;
	w->said[w->said_len] = '\0';
}

static void read_manager(struct world *w)
{
	char text[256];
	ssize_t n = recv(w->manager, text, sizeof(text) - 1, MSG_DONTWAIT);

	text[n > 0 ? n : 0] = '\0';
	if (strstr(text, "READY=1"))
		w->ready_ms = now_ms();
	if (strstr(text, "WATCHDOG=1"))
		w->watchdogs++;
}

bool world_turn(struct world *w, int fd, int64_t until_ms)
{
	struct pollfd p[5] = {
		{ .fd = w->outputs, .events = POLLIN }, { .fd = w->err, .events = POLLIN },
		{ .fd = w->manager, .events = POLLIN }, { .fd = fd, .events = POLLIN },
		{ .fd = -1 },
	};
	int64_t left_ms = until_ms - now_ms();

	poll(p, 4, left_ms > 0 ? (int)left_ms : 0);
	if (p[0].revents)
		read_outputs(w);
	if (p[1].revents)
		read_words(w);
	if (p[2].revents)
		read_manager(w);
	return p[3].revents != 0;
}

void world_until(struct world *w, int64_t moment_ms)
{
	while (now_ms() < moment_ms)
		world_turn(w, -1, moment_ms);
}

bool world_said(const struct world *w, const char *text)
{
	return strstr(w->said, text) != NULL;
}

int64_t world_says(struct world *w, const char *text, size_t *from, int64_t until_ms)
{
	size_t start = from ? *from : 0;
	const char *at;

	while (!(at = strstr(w->said + start, text))) {
		if (now_ms() >= until_ms)
			fail_msg("not said: \"%s\"; but:\n%s", text, w->said + start);
		world_turn(w, -1, until_ms);
	}
	if (from)
		*from = (size_t)(at - w->said) + strlen(text);
	return now_ms();
}

/* -- the folder and the policy ----------------------------------------------------------------- */

static int free_port(void)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t len = sizeof(a);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof(a)), 0);
	assert_int_equal(getsockname(fd, (struct sockaddr *)&a, &len), 0);
	close(fd);
	return ntohs(a.sin_port);
}

int world_setup(void **state)
{
	struct world *w = calloc(1, sizeof(*w));
	struct sockaddr_un a = { .sun_family = AF_UNIX };

	assert_non_null(w);
	strcpy(w->dir, "/tmp/postwalk-world-XXXXXX");
	assert_non_null(mkdtemp(w->dir));
	snprintf(w->config, sizeof(w->config), "%s/policy", w->dir);
	snprintf(w->state, sizeof(w->state), "%s/state", w->dir);
	snprintf(w->socket, sizeof(w->socket), "%s/bench.sock", w->dir);
	snprintf(w->manager_path, sizeof(w->manager_path), "%s/manager", w->dir);
	snprintf(a.sun_path, sizeof(a.sun_path), "%s/manager", w->dir);
	w->port = free_port();
	w->watch_fd = w->bench = w->outputs = w->err = -1;
	w->manager = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
	assert_int_equal(bind(w->manager, (struct sockaddr *)&a, sizeof(a)), 0);
	/* a walk of 0.3 s, so that R24 lets a sweep be due after 5.3 s; a dip is up to 2 s */
	w->choose = (struct choices){ .rows = 0, .aisle_m = "0.3", .due_s = "5.3",
				      .restart_s = "2", .return_max_s = "600", .outside_s = "1.6",
				      .more = "" };
	*state = w;
	return 0;
}

void world_write_policy(struct world *w)
{
	const struct choices *c = &w->choose;
	FILE *f = fopen(w->config, "w");

	assert_non_null(f);
	fprintf(f, "[bus]\nid = bus-9\n[page]\nlisten = 127.0.0.1:%d\n", w->port);
	fprintf(f, "[walk]\nrows = %d\naisle_m = %s\npace_mps = 1\nlook_s = 0.5\n", c->rows,
		c->aisle_m);
	fprintf(f, "[sweep]\ndue_s = %s\ncarried_due_s = %s\nleave_grace_s = %s\nrestart_s = %s\n"
		"return_max_s = %s\n", c->due_s, c->due_s, c->due_s, c->restart_s, c->return_max_s);
	fputs("[line ignition]\nsettle_ms = 20\n[line rear_button]\nsettle_ms = 20\n"
	      "[line rear_door]\nsettle_ms = 20\n[line service_door]\nsettle_ms = 20\n"
	      "[line park_brake]\nsettle_ms = 20\n[line lamps]\nsettle_ms = 20\n"
	      "[line beeper]\n[line horn]\n[line lamp]\n[line dome]\n"
	      "[rung cabin]\nafter_s = 0\noutputs = beeper lamp\npattern = 250 150\n", f);
	fprintf(f, "[rung outside]\nafter_s = %s\noutputs = beeper horn lamp\n"
		"pattern = 500 300\n[rung office]\nafter_s = 4\noutputs = beeper horn lamp\n"
		"pattern = 400 150 200 150\nnotify = yes\n%s", c->outside_s, c->more);
	assert_int_equal(fclose(f), 0);
}

int64_t world_due_ms(const struct world *w)
{
	return (int64_t)(strtod(w->choose.due_s, NULL) * 1000 + 0.5);
}

/* -- the watch --------------------------------------------------------------------------------- */

static _Noreturn void become_watch(const struct world *w, int err, const char *const more[])
{
	const char *argv[16] = { program("POSTWALKD", "build/postwalkd"), "--config", w->config,
				 "--state", w->state, "--board" };
	char board[128];
	size_t n = 7;

	snprintf(board, sizeof(board), "bench:%s", w->socket);
	argv[6] = board;
	for (; more && *more && n < 15; more++)
		argv[n++] = *more;
	prctl(PR_SET_PDEATHSIG, SIGKILL);
	dup2(err, STDERR_FILENO);
	unsetenv("JOURNAL_STREAM");
	unsetenv("WATCHDOG_PID");
	unsetenv("NOTIFY_SOCKET");
	unsetenv("WATCHDOG_USEC");
	if (!w->no_manager)
		setenv("NOTIFY_SOCKET", w->manager_path, 1);
	if (w->usec)
		setenv("WATCHDOG_USEC", w->usec, 1);
	execv(argv[0], (char *const *)(uintptr_t)argv);
	perror(argv[0]);
	_exit(127);
}

static int process_fd(pid_t pid)
{
	return (int)syscall(SYS_pidfd_open, pid, 0);
}

void world_launch(struct world *w, const char *const more_arguments[])
{
	int pair[2];

	close_fd(&w->err);
	w->said_len = 0;
	w->said[0] = '\0';
	w->ready_ms = 0;
	w->watchdogs = 0;
	assert_int_equal(pipe2(pair, O_CLOEXEC), 0);
	w->watch = fork();
	assert_true(w->watch >= 0);
	if (w->watch == 0)
		become_watch(w, pair[1], more_arguments);
	close(pair[1]);
	w->err = pair[0];
	w->watch_fd = process_fd(w->watch);
	assert_true(w->watch_fd >= 0);
}

static int bench_open(const struct world *w)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);

	snprintf(a.sun_path, sizeof(a.sun_path), "%s", w->socket);
	if (connect(fd, (struct sockaddr *)&a, sizeof(a)) < 0)
		fail_msg("%s: %s; but:\n%s", w->socket, strerror(errno), w->said);
	return fd;
}

void world_connect(struct world *w)
{
	close_fd(&w->bench);
	close_fd(&w->outputs);
	w->line_len = 0;
	w->outputs = bench_open(w);
	assert_int_equal(send(w->outputs, "watch\n", 6, MSG_NOSIGNAL), 6);
	w->bench = bench_open(w);
	world_set(w, "");
}

void world_start_again(struct world *w)
{
	int64_t until_ms = now_ms() + PATIENCE_MS;

	world_launch(w, NULL);
	while (!w->ready_ms)
		if (world_turn(w, w->watch_fd, until_ms) || now_ms() >= until_ms)
			fail_msg("it does not start:\n%s", w->said);
	world_connect(w);
	w->writer = world_next_child(w, "postwalk-writer", 0);
	w->page = w->no_page ? 0 : world_next_child(w, "postwalk-page", 0);
}

void world_start(struct world *w)
{
	world_write_policy(w);
	world_start_again(w);
}

int world_exit(struct world *w)
{
	int64_t until_ms = now_ms() + PATIENCE_MS;
	int status;

	while (!world_turn(w, w->watch_fd, until_ms))
		if (now_ms() >= until_ms)
			fail_msg("it does not end:\n%s", w->said);
	assert_int_equal(waitpid(w->watch, &status, 0), w->watch);
	while (w->err >= 0 && w->said_len < sizeof(w->said) - 1 &&
	       world_turn(w, w->err, now_ms()))
		;
	close_fd(&w->watch_fd);
	while (w->outputs >= 0) /* to its end */
		world_turn(w, -1, now_ms());
	close_fd(&w->bench);
	w->watch = 0;
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

int world_stop(struct world *w)
{
	kill(w->watch, SIGTERM);
	return world_exit(w);
}

void world_gone(struct world *w, pid_t pid)
{
	int64_t until_ms = now_ms() + PATIENCE_MS;
	int fd = pid > 0 ? process_fd(pid) : -1;

	while (fd >= 0 && !world_turn(w, fd, until_ms))
		if (now_ms() >= until_ms)
			fail_msg("process %d does not end", (int)pid);
	close_fd(&fd);
}

void world_cut(struct world *w)
{
	pid_t writer = world_child(w, "postwalk-writer"), page = world_child(w, "postwalk-page");

	kill(w->watch, SIGKILL);
	assert_int_equal(world_exit(w), 128 + SIGKILL);
	world_gone(w, writer);
	world_gone(w, page);
}

static pid_t child_named(const char *list, const char *comm)
{
	char path[64], name[32] = "";
	pid_t pid = (pid_t)atoi(list);
	FILE *f;

	snprintf(path, sizeof(path), "/proc/%d/comm", (int)pid);
	f = fopen(path, "r");
	if (f && !fgets(name, sizeof(name), f))
		name[0] = '\0';
	if (f)
		fclose(f);
	name[strcspn(name, "\n")] = '\0';
	return strcmp(name, comm) == 0 ? pid : 0;
}

pid_t world_child(const struct world *w, const char *comm)
{
	char path[64], list[256] = "";
	FILE *f;
	pid_t found = 0;

	snprintf(path, sizeof(path), "/proc/%d/task/%d/children", (int)w->watch, (int)w->watch);
	f = fopen(path, "r");
	if (!f)
		return 0;
	if (!fgets(list, sizeof(list), f))
		list[0] = '\0';
	fclose(f);
	for (const char *at = list; !found && *at; at += strcspn(at, " "), at += strspn(at, " "))
		found = child_named(at, comm);
	return found;
}

void world_signal(pid_t pid, int sig)
{
	assert_true(pid > 1);
	assert_int_equal(kill(pid, sig), 0);
}

pid_t world_next_child(struct world *w, const char *comm, pid_t before)
{
	int64_t until_ms = now_ms() + PATIENCE_MS;
	pid_t pid;

	while ((pid = world_child(w, comm)) == 0 || pid == before) {
		if (now_ms() >= until_ms)
			fail_msg("no other %s comes:\n%s", comm, w->said);
		world_turn(w, -1, now_ms() + 5);
	}
	return pid;
}

/* -- wires ------------------------------------------------------------------------------------- */

void world_set(struct world *w, const char *levels)
{
	char text[256], answer[256] = "";
	size_t len = 0;
	int n = snprintf(text, sizeof(text), "%s\n", levels);
	int64_t until_ms = now_ms() + PATIENCE_MS;

	w->sent_ms = now_ms();
	assert_int_equal(send(w->bench, text, (size_t)n, MSG_NOSIGNAL), n);
	while (!strchr(answer, '\n')) {
		if (now_ms() >= until_ms)
			fail_msg("the bench does not answer \"%s\"", levels);
		if (!world_turn(w, w->bench, until_ms))
			continue;
		ssize_t got = recv(w->bench, answer + len, sizeof(answer) - 1 - len, 0);

		if (got <= 0)
			fail_msg("the bench has hung up:\n%s", w->said);
		len += (size_t)got;
		answer[len] = '\0';
	}
	assert_string_equal(answer, "ok\n");
}

static const struct heard *find(const struct world *w, const char *output, int level,
				int64_t since_ms)
{
	for (size_t i = 0; i < w->heard_count; i++)
		if (w->heard[i].at_ms >= since_ms && w->heard[i].level == level &&
		    strcmp(w->heard[i].name, output) == 0)
			return &w->heard[i];
	return NULL;
}

bool world_heard(const struct world *w, const char *output, int level, int64_t since_ms)
{
	return find(w, output, level, since_ms) != NULL;
}

int64_t world_hears(struct world *w, const char *output, int level, int64_t since_ms,
		    int64_t until_ms)
{
	const struct heard *h;

	while (!(h = find(w, output, level, since_ms))) {
		if (now_ms() >= until_ms)
			fail_msg("%s=%d is not heard in time; said:\n%s", output, level, w->said);
		world_turn(w, -1, until_ms);
	}
	return h->at_ms;
}

int world_level(const struct world *w, const char *output)
{
	for (size_t i = w->heard_count; i > 0; i--)
		if (strcmp(w->heard[i - 1].name, output) == 0)
			return w->heard[i - 1].level;
	return -1;
}

void assert_at(int64_t at_ms, int64_t due_ms)
{
	if (at_ms < due_ms - ON_TIME_MS || at_ms > due_ms + ON_TIME_MS)
		fail_msg("%+lld ms off its time", (long long)(at_ms - due_ms));
}

void world_pattern(struct world *w, const char *output, int64_t on_ms, const int *ms, size_t n)
{
	int64_t due_ms = on_ms, at_ms = on_ms;

	for (size_t i = 0; i < n; i++) {
		due_ms += ms[i];
		at_ms = world_hears(w, output, i % 2, at_ms, due_ms + PATIENCE_MS);
		assert_at(at_ms, due_ms);
	}
}

void world_tap(struct world *w)
{
	int64_t pressed_ms;

	world_set(w, "rear_button=1");
	pressed_ms = w->sent_ms;
	world_until(w, pressed_ms + 60); /* longer than its settling */
	world_set(w, "rear_button=0");
	w->sent_ms = pressed_ms;
}

int64_t world_key_off(struct world *w)
{
	size_t from = w->said_len;

	world_set(w, "ignition=1");
	world_hears(w, "lamp", 1, w->sent_ms, now_ms() + PATIENCE_MS); /* the check at key-on */
	world_set(w, "ignition=0");
	world_hears(w, "dome", 1, w->sent_ms, now_ms() + PATIENCE_MS);
	world_says(w, "rung prompt", &from, now_ms() + PATIENCE_MS);
	return w->sent_ms;
}

int64_t world_overdue(struct world *w)
{
	int64_t due_ms = world_key_off(w) + world_due_ms(w), at_ms;
	size_t from = w->said_len;

	at_ms = world_says(w, "rung cabin", &from, due_ms + PATIENCE_MS);
	assert_at(at_ms, due_ms);
	world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + ON_TIME_MS);
	return due_ms;
}

/* -- the end: what was journaled says the same when it is replayed (J9) ------------------------ */

static int replay_agrees(const struct world *w)
{
	const char *tool = program("POSTWALK", "build/postwalk"), *d = w->dir;
	char path[128];

	snprintf(path, sizeof(path), "%s/journal.db", w->state);
	if (access(path, F_OK) < 0)
		return 0;
	if (shell("t='%s' s='%s' d='%s'; $t trace --policy $s >$d/j9.conf &&"
		  "$t trace $s >$d/j9.trace && $t trace --records $s >$d/j9.records &&"
		  "$t replay --config $d/j9.conf $d/j9.trace >$d/j9.all", tool, w->state, d)) {
		fprintf(stderr, "J9: the journal cannot be told or replayed\n");
		return -1;
	}
	if (!shell("cd '%s'; grep -v '\"kind\":\"standing\"' j9.all | diff j9.records - >j9.diff", d))
		return 0;
	fprintf(stderr, "J9: < recorded, > replayed; then the trace\n");
	shell("cat '%s/j9.diff' '%s/j9.trace' >&2", d, d);
	return -1;
}

static void end_all(struct world *w)
{
	pid_t left[2] = { w->page, w->writer };

	if (w->watch > 0) {
		kill(w->watch, SIGKILL);
		waitpid(w->watch, NULL, 0);
	}
	for (size_t i = 0; i < 2; i++) {
		struct pollfd p = { .fd = left[i] > 0 ? process_fd(left[i]) : -1, .events = POLLIN };

		if (p.fd < 0)
			continue;
		syscall(SYS_pidfd_send_signal, p.fd, SIGCONT, NULL, 0);
		if (poll(&p, 1, 2000) == 0)
			syscall(SYS_pidfd_send_signal, p.fd, SIGKILL, NULL, 0);
		poll(&p, 1, 2000);
		close(p.fd);
	}
}

int world_teardown(void **state)
{
	struct world *w = *state;
	int result = 0;

	if (w->watch > 0 && (!w->ready_ms || world_stop(w) != 0))
		result = -1;
	end_all(w);
	close_fd(&w->watch_fd);
	close_fd(&w->bench);
	close_fd(&w->outputs);
	close_fd(&w->err);
	close_fd(&w->manager);
	if (!w->lossy && replay_agrees(w))
		result = -1;
	if (w->mounted)
		umount2(w->state, MNT_DETACH);
	shell("rm -rf '%s'", w->dir);
	free(w);
	return result;
}

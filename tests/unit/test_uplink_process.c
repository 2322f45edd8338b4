/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The processes of `postwalk uplink`: who lives when, with which rights. The program is $POSTWALK; the test
 * is the writer that it connects to. Nobody needs to be the office: its address leads nowhere.
 */
#include "uplink_writer.h"

#include <dirent.h>
#include <errno.h>
#include <grp.h>
#include <net/if.h>
#include <sched.h>
#include <signal.h>
#include <sys/ioctl.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/un.h>
#include <sys/wait.h>

#include "../../daemon/uplink/uplink_internal.h"

#define PATIENCE_MS 20000

struct yard {
	char dir[64], said[16384];
	int listener, err;
	pid_t parent;
	struct pw_place place;
};

static const char *program(const char *variable, const char *otherwise)
{
	const char *path = getenv(variable);

	return path && path[0] ? path : otherwise;
}

__attribute__((format(printf, 1, 2)))
static int shell(const char *format, ...)
{
	char command[1000];
	va_list args;
	int status;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	status = system(command);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}

/* -- a state folder and its socket ------------------------------------------------------------- */

static void listen_there(struct yard *y)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };

	snprintf(a.sun_path, sizeof(a.sun_path), "%s/" PW_UPLINK_SOCKET, y->dir);
	unlink(a.sun_path);
	y->listener = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
	assert_int_equal(bind(y->listener, (struct sockaddr *)&a, sizeof(a)), 0);
	assert_int_equal(listen(y->listener, 4), 0);
}

static void enrol(struct yard *y)
{
	char why[300];

	assert_int_equal(pw_place_save(y->dir, &y->place, why, sizeof(why)), 0);
}

static int begin(void **state)
{
	static const unsigned char seed[32] = "the office of a made-up yard";
	struct yard *y = calloc(1, sizeof(*y));
	struct pw_secret_key key;

	assert_non_null(y);
	strcpy(y->dir, "/tmp/postwalk-yard-XXXXXX");
	assert_non_null(mkdtemp(y->dir)); /* 0700 */
	y->listener = y->err = -1;
	pw_secret_key_from(seed, &key);
	y->place = (struct pw_place){ .url = "http://127.0.0.1:9", .token = TOKEN, .key = key.public };
	prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0);
	*state = y;
	return 0;
}

static int end(void **state)
{
	struct yard *y = *state;

	if (y->parent > 0) {
		kill(y->parent, SIGKILL);
		waitpid(y->parent, NULL, 0);
	}
	while (waitpid(-1, NULL, 0) > 0) /* what outlived it: pdeathsig ends it */
		;
	close(y->listener);
	close(y->err);
	assert_int_equal(shell("rm -rf '%s'", y->dir), 0);
	free(y);
	return 0;
}

/* -- the program ------------------------------------------------------------------------------- */

static void launch(struct yard *y)
{
	int pair[2];

	assert_int_equal(pipe2(pair, O_CLOEXEC), 0);
	y->parent = fork();
	assert_true(y->parent >= 0);
	if (y->parent == 0) {
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		dup2(pair[1], 2);
		unsetenv("JOURNAL_STREAM");
		execl(program("POSTWALK", "build/postwalk"), "postwalk", "uplink", "--state", y->dir,
		      (char *)NULL);
		_exit(127);
	}
	close(pair[1]);
	y->err = pair[0];
	assert_int_equal(fcntl(y->err, F_SETFL, O_NONBLOCK), 0);
}

static void read_said(struct yard *y)
{
	const size_t n = strlen(y->said);
	ssize_t got = read(y->err, y->said + n, sizeof(y->said) - 1 - n);

	if (got > 0)
		y->said[n + (size_t)got] = '\0';
}

static void until_said(struct yard *y, const char *words)
{
	const int64_t end_ms = clock_ms() + PATIENCE_MS;
	struct pollfd p = { .fd = y->err, .events = POLLIN };

	while (!strstr(y->said, words)) {
		if (clock_ms() > end_ms)
			fail_msg("not said: %s; but: %s", words, y->said);
		poll(&p, 1, 100);
		read_said(y);
	}
}

/* The child that connects: its socket, and its pid. */
static int take_child(struct yard *y, pid_t *pid)
{
	struct pollfd p = { .fd = y->listener, .events = POLLIN };
	struct ucred who;
	socklen_t length = sizeof(who);
	struct pw_hand h;
	int fd;

	if (poll(&p, 1, PATIENCE_MS) != 1)
		fail_msg("nobody connects: %s", y->said);
	fd = accept4(y->listener, NULL, NULL, SOCK_CLOEXEC);
	assert_int_equal(getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &who, &length), 0);
	*pid = who.pid;
	p.fd = fd;
	assert_int_equal(poll(&p, 1, PATIENCE_MS), 1); /* it asks when it has given up its rights */
	assert_int_equal(recv(fd, &h, sizeof(h), 0), sizeof(h));
	assert_int_equal(h.kind, PW_H_WHERE);
	return fd;
}

static void until_gone(int fd)
{
	struct pollfd p = { .fd = fd, .events = POLLIN };
	char waste[sizeof(struct pw_hand)];

	do
		assert_int_equal(poll(&p, 1, PATIENCE_MS), 1);
	while (recv(fd, waste, sizeof(waste), 0) > 0);
	close(fd);
}

static int end_of(struct yard *y, int sig)
{
	int status;

	kill(y->parent, sig);
	assert_int_equal(waitpid(y->parent, &status, 0), y->parent);
	y->parent = 0;
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

/* -- rights ------------------------------------------------------------------------------------ */

static void assert_number(const char *status, const char *name, unsigned long want, int base)
{
	const char *at = strstr(status, name);

	assert_non_null(at);
	assert_int_equal(strtoul(at + strlen(name), NULL, base), want);
}

static void assert_few_files(pid_t pid)
{
	char path[300], link[128];
	struct dirent *e;
	DIR *d;

	snprintf(path, sizeof(path), "/proc/%d/fd", pid);
	d = opendir(path);
	assert_non_null(d);
	while ((e = readdir(d))) {
		ssize_t n;

		snprintf(path, sizeof(path), "/proc/%d/fd/%s", pid, e->d_name);
		n = readlink(path, link, sizeof(link) - 1);
		if (n < 0 || atoi(e->d_name) <= 2)
			continue;
		link[n] = '\0';
		if (strncmp(link, "socket:", 7) != 0 && strncmp(link, "pipe:", 5) != 0 &&
		    strncmp(link, "anon_inode:", 11) != 0)
			fail_msg("it holds %s", link);
	}
	closedir(d);
}

static void rights_are_given_up(void **state)
{
	struct yard *y = *state;
	char path[64], text[4096];
	pid_t pid;
	ssize_t n;
	int fd, status;

	listen_there(y);
	enrol(y);
	launch(y);
	fd = take_child(y, &pid);
	assert_true(pid != y->parent);
	snprintf(path, sizeof(path), "/proc/%d/status", pid);
	status = open(path, O_RDONLY);
	n = read(status, text, sizeof(text) - 1);
	close(status);
	assert_true(n > 0);
	text[n] = '\0';
	assert_non_null(strstr(text, "Name:\tpostwalk-uplink\n"));
	assert_number(text, "NoNewPrivs:\t", 1, 10);
	assert_number(text, "CapEff:\t", 0, 16);
	assert_number(text, "CapPrm:\t", 0, 16);
	assert_number(text, "CapInh:\t", 0, 16);
	assert_number(text, "SigBlk:\t", 0, 16);
	if (geteuid() == 0) {
		assert_non_null(strstr(text, "Uid:\t65534\t65534\t65534\t65534\n"));
		assert_non_null(strstr(text, "Gid:\t65534\t65534\t65534\t65534\n"));
		assert_int_equal(strcspn(strstr(text, "Groups:"), "0123456789\n"),
				 strcspn(strstr(text, "Groups:"), "\n"));
	}
	assert_few_files(pid);
	close(fd);
}

/* What a process with those rights can do, tried: 0, or a number that says which it could. */
static int try_folder(const char *dir, int hands)
{
	char path[100];
	int network = -1;

	if (pw_uplink_drop(&hands, &network) < 0)
		return 1;
	snprintf(path, sizeof(path), "%s/bus.key", dir);
	if (open(path, O_RDONLY) >= 0 || errno != EACCES)
		return 2;
	if (opendir(dir) || errno != EACCES)
		return 3;
	if (setuid(0) == 0 || setgid(0) == 0)
		return 4;
	if (fcntl(5, F_GETFD) >= 0 || hands != 3)
		return 5;
	if (open("/tmp/postwalk-drop", O_RDWR | O_CREAT, 0600) >= 0 && write(5, "x", 1) == 1)
		return 6; /* not a byte into any file */
	return send(hands, "x", 1, 0) == 1 ? 0 : 7;
}

static void the_key_cannot_be_read(void **state)
{
	struct yard *y = *state;
	int pair[2], status;
	pid_t pid;

	if (geteuid() != 0)
		skip();
	assert_int_equal(shell("echo secret >%s/bus.key && chmod 600 %s/bus.key", y->dir, y->dir), 0);
	assert_int_equal(socketpair(AF_UNIX, SOCK_SEQPACKET, 0, pair), 0);
	pid = fork();
	if (pid == 0) {
		signal(SIGXFSZ, SIG_IGN);
		_exit(try_folder(y->dir, pair[1]));
	}
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_int_equal(status, 0);
	close(pair[0]);
	close(pair[1]);
	shell("rm -f /tmp/postwalk-drop");
}

/* -- lives ------------------------------------------------------------------------------------- */

static void not_enrolled_is_said_once(void **state)
{
	struct yard *y = *state;
	const char *at;
	pid_t pid;

	listen_there(y);
	launch(y);
	until_said(y, "not enrolled yet");
	enrol(y); /* seen at once, and not at the next look in 30 s */
	close(take_child(y, &pid));
	read_said(y);
	at = strstr(y->said, "not enrolled yet");
	assert_null(strstr(at + 1, "not enrolled yet"));
}

static void a_bad_file_is_said_and_mended(void **state)
{
	struct yard *y = *state;
	pid_t pid;

	listen_there(y);
	assert_int_equal(shell("echo nonsense >%s/office.conf", y->dir), 0);
	launch(y);
	until_said(y, "office.conf:1: expected KEY = VALUE");
	enrol(y);
	close(take_child(y, &pid));
}

static void a_killed_child_is_started_again(void **state)
{
	struct yard *y = *state;
	pid_t first, second;
	int fd;

	listen_there(y);
	enrol(y);
	launch(y);
	fd = take_child(y, &first);
	kill(first, SIGKILL);
	until_gone(fd);
	fd = take_child(y, &second);
	assert_int_not_equal(first, second);
	until_said(y, "ended by signal 9");
	close(fd);
}

static void a_watch_that_goes_and_comes(void **state)
{
	struct yard *y = *state;
	pid_t pid;
	int fd;

	enrol(y);
	launch(y); /* before the watch */
	until_said(y, "is postwalkd running?");
	listen_there(y);
	fd = take_child(y, &pid);
	close(y->listener);
	close(fd);
	until_said(y, "the watch has gone");
	listen_there(y);
	close(take_child(y, &pid));
}

static void another_office_is_in_force_at_once(void **state)
{
	struct yard *y = *state;
	pid_t first, second;
	int fd;

	listen_there(y);
	enrol(y);
	launch(y);
	fd = take_child(y, &first);
	strcpy(y->place.url, "http://127.0.0.1:10");
	enrol(y);
	until_gone(fd);
	close(take_child(y, &second));
	assert_int_not_equal(first, second);
}

static void it_ends_when_told(void **state)
{
	struct yard *y = *state;
	const int signals[] = { SIGTERM, SIGINT };
	pid_t pid;
	int fd;

	listen_there(y);
	enrol(y);
	for (size_t i = 0; i < 2; i++) {
		launch(y);
		fd = take_child(y, &pid);
		assert_int_equal(end_of(y, signals[i]), 0);
		until_gone(fd);
		close(y->err);
	}
}

/* Killed, it leaves no child behind that nobody sees to. */
static void the_child_ends_with_its_parent(void **state)
{
	struct yard *y = *state;
	pid_t pid;
	int fd;

	listen_there(y);
	enrol(y);
	launch(y);
	fd = take_child(y, &pid);
	assert_int_equal(end_of(y, SIGKILL), 128 + SIGKILL);
	until_gone(fd);
}

static void it_cannot_begin(void **state)
{
	struct yard *y = *state;
	const char *path = program("POSTWALK", "build/postwalk");

	assert_int_equal(shell("%s uplink --state %s/none 2>%s/said", path, y->dir, y->dir), 2);
	assert_int_equal(shell("grep -q 'none: No such file or directory' %s/said", y->dir), 0);
	assert_int_equal(shell("%s uplink 2>%s/said", path, y->dir), 2);
	assert_int_equal(shell("grep -q 'usage: postwalk uplink --state DIR' %s/said", y->dir), 0);
}

/* -- what the watch does not carry ------------------------------------------------------------- */

/* readelf of binutils: libcurl is needed by the tool, and by the watch it is not. */
static void nothing_of_it_is_in_the_watch(void **state)
{
	(void)state;
	assert_int_equal(shell("readelf -d %s | grep -q libcurl", program("POSTWALK", "build/postwalk")), 0);
	assert_int_equal(shell("readelf -d %s | grep -q NEEDED", program("POSTWALKD", "build/postwalkd")), 0);
	assert_int_equal(shell("readelf -d %s | grep -q libcurl",
			       program("POSTWALKD", "build/postwalkd")), 1);
}

/* -- the network ------------------------------------------------------------------------------- */

/* In a network of its own: loopback comes up, and with it an address and a route (rtnetlink(7)). */
static int hear_network(void)
{
	struct ifreq lo = { .ifr_name = "lo" };
	struct pollfd p = { .events = POLLIN };
	int any = socket(AF_INET, SOCK_DGRAM, 0);

	if (unshare(CLONE_NEWNET) < 0)
		return 77;
	close(any);
	any = socket(AF_INET, SOCK_DGRAM, 0);
	p.fd = pw_network_open();
	if (p.fd < 0 || pw_network_came(p.fd))
		return 1;
	lo.ifr_flags = IFF_UP;
	if (ioctl(any, SIOCSIFFLAGS, &lo) < 0 || poll(&p, 1, PATIENCE_MS) != 1)
		return 2;
	if (!pw_network_came(p.fd) || pw_network_came(p.fd)) /* told once */
		return 3;
	lo.ifr_flags = 0; /* it goes: that is no reason to try */
	if (ioctl(any, SIOCSIFFLAGS, &lo) < 0 || poll(&p, 1, PATIENCE_MS) != 1)
		return 4;
	return pw_network_came(p.fd) ? 5 : 0;
}

static void the_network_is_heard(void **state)
{
	int status;
	pid_t pid = fork();

	(void)state;
	if (pid == 0)
		_exit(hear_network());
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_true(WIFEXITED(status));
	if (WEXITSTATUS(status) == 77)
		skip(); /* no network of its own for who may not have one */
	assert_int_equal(WEXITSTATUS(status), 0);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
	const struct CMUnitTest tests[] = {
		TEST(rights_are_given_up),
		TEST(the_key_cannot_be_read),
		TEST(not_enrolled_is_said_once),
		TEST(a_bad_file_is_said_and_mended),
		TEST(a_killed_child_is_started_again),
		TEST(a_watch_that_goes_and_comes),
		TEST(another_office_is_in_force_at_once),
		TEST(it_ends_when_told),
		TEST(the_child_ends_with_its_parent),
		TEST(it_cannot_begin),
		cmocka_unit_test(nothing_of_it_is_in_the_watch),
		cmocka_unit_test(the_network_is_heard),
	};

	return cmocka_run_group_tests_name("uplink: its processes", tests, NULL, NULL);
}

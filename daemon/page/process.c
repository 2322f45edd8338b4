/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <linux/capability.h>
#include <signal.h>
#include <sys/epoll.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#include "page_internal.h"

#define NOBODY 65534
#define LISTENER 3
#define CHANNEL 4

const struct pw_page_limits pw_page_limits = {
	.idle_s = 8, .deadline_ms = 15000, .ask_wait_ms = 500, .ask_rest_ms = 1000,
	.act_wait_ms = 3000,
};

/* The two sockets as 3 and 4, standard error, and nothing else. */
static int keep_fds(int listener, int channel)
{
	int high_listener = fcntl(listener, F_DUPFD, 16);
	int high_channel = fcntl(channel, F_DUPFD, 16);
	int null = open("/dev/null", O_RDWR);

	if (high_listener < 0 || high_channel < 0 || null < 0)
		return -1;
	if (dup2(null, 0) < 0 || dup2(null, 1) < 0 || dup2(high_listener, LISTENER) < 0 ||
	    dup2(high_channel, CHANNEL) < 0)
		return -1;
	return close_range(CHANNEL + 1, ~0U, 0);
}

/* Keys and hang-ups of the terminal are the watch's matter: it ends this process. */
static void plain_signals(void)
{
	static const int ignored[] = { SIGINT, SIGHUP, SIGPIPE, SIGXFSZ };
	sigset_t none;

	for (int s = 1; s < NSIG; s++)
		signal(s, SIG_DFL);
	for (size_t i = 0; i < sizeof ignored / sizeof ignored[0]; i++)
		signal(ignored[i], SIG_IGN);
	sigemptyset(&none);
	sigprocmask(SIG_SETMASK, &none, NULL);
}

static int set_limits(void)
{
	static const struct { __rlimit_resource_t what; rlim_t most; } limit[] = {
		{ RLIMIT_CORE, 0 }, { RLIMIT_FSIZE, 0 }, { RLIMIT_NPROC, 0 }, { RLIMIT_NOFILE, 64 },
#ifndef __SANITIZE_ADDRESS__ /* its shadow is larger than any limit */
		{ RLIMIT_DATA, 32 << 20 },
#endif
	};

	for (size_t i = 0; i < sizeof limit / sizeof limit[0]; i++) {
		struct rlimit r = { limit[i].most, limit[i].most };

		if (setrlimit(limit[i].what, &r) < 0)
			return -1;
	}
	return 0;
}

static int drop_rights(void)
{
	struct __user_cap_header_struct head = { .version = _LINUX_CAPABILITY_VERSION_3 };
	struct __user_cap_data_struct none[_LINUX_CAPABILITY_U32S_3] = { { 0 } };

	if (geteuid() == 0 && (setgroups(0, NULL) < 0 || setgid(NOBODY) < 0 || setuid(NOBODY) < 0))
		return -1;
	if (syscall(SYS_capset, &head, none) < 0)
		return -1;
	return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
}

static void serve(int channel, struct pw_ask *ask, struct pw_http *http, int epoll)
{
	for (;;) {
		struct epoll_event ready[2];
		int n = epoll_wait(epoll, ready, 2, pw_http_wait_ms(http, pw_boot_ms()));

		for (int i = 0; i < n; i++)
			if (ready[i].data.fd == channel && !pw_ask_drain(ask))
				return;
		pw_http_run(http, pw_boot_ms());
	}
}

int pw_page_serve(int listener, int channel, const struct pw_page_limits *l)
{
	struct pw_ask ask = { .channel = channel, .fresh_ms = 100, .wait_ms = l->ask_wait_ms,
			      .rest_ms = l->ask_rest_ms, .act_wait_ms = l->act_wait_ms };
	struct pw_http *http = pw_http_new(listener, &ask, l);
	int epoll = epoll_create1(EPOLL_CLOEXEC), status = PW_PAGE_NO_HTTP;

	if (!http || epoll < 0)
		goto out;
	struct epoll_event of_channel = { .events = EPOLLIN, .data.fd = channel };
	struct epoll_event of_http = { .events = EPOLLIN, .data.fd = pw_http_fd(http) };

	if (epoll_ctl(epoll, EPOLL_CTL_ADD, channel, &of_channel) < 0 ||
	    epoll_ctl(epoll, EPOLL_CTL_ADD, pw_http_fd(http), &of_http) < 0 ||
	    !pw_call_send(channel, PW_CALL_READY, 0, NULL))
		goto out;
	serve(channel, &ask, http, epoll);
	status = 0;
out:
	if (epoll >= 0)
		close(epoll);
	if (http)
		pw_http_free(http);
	return status;
}

_Noreturn void pw_page_process(int listener, int channel, pid_t watch)
{
	prctl(PR_SET_NAME, "postwalk-page");
	tzset(); /* while the zone's file can surely be read */
	if (keep_fds(listener, channel) < 0 || drop_rights() < 0 || set_limits() < 0)
		_exit(PW_PAGE_NO_RIGHTS);
	plain_signals();
	/* Last: a change of user makes the kernel forget it. */
	if (prctl(PR_SET_PDEATHSIG, SIGKILL) < 0 || getppid() != watch)
		_exit(PW_PAGE_NO_RIGHTS);
	_exit(pw_page_serve(LISTENER, CHANNEL, &pw_page_limits));
}

/* SPDX-License-Identifier: Apache-2.0 */
/* The process that talks to the office. What it needs of the folder it takes while it still may. */
#include "uplink_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <linux/capability.h>
#include <signal.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#define NOBODY 65534
#define HANDS 3
#define NETWORK 4

/* -- rights ------------------------------------------------------------------------------------ */

static int keep_fds(int *hands, int *network)
{
	int null = open("/dev/null", O_RDWR);
	int high_hands = fcntl(*hands, F_DUPFD, 16);
	int high_network = *network < 0 ? null : fcntl(*network, F_DUPFD, 16);

	if (null < 0 || high_hands < 0 || high_network < 0 || dup2(null, 0) < 0 || dup2(null, 1) < 0
	    || dup2(high_hands, HANDS) < 0 || dup2(high_network, NETWORK) < 0
	    || close_range(NETWORK + 1, ~0U, 0) < 0)
		return -1;
	*hands = HANDS;
	*network = *network < 0 ? -1 : NETWORK;
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

/* No limit on processes: libcurl resolves names in a thread, and threads count as such. */
static int set_limits(void)
{
	static const struct { __rlimit_resource_t what; rlim_t most; } limit[] = {
		{ RLIMIT_CORE, 0 }, { RLIMIT_FSIZE, 0 }, { RLIMIT_NOFILE, 64 },
#ifndef __SANITIZE_ADDRESS__ /* its shadow is larger than any limit */
		{ RLIMIT_DATA, 128 << 20 },
#endif
	};

	for (size_t i = 0; i < sizeof(limit) / sizeof(limit[0]); i++) {
		struct rlimit r = { limit[i].most, limit[i].most };

		if (setrlimit(limit[i].what, &r) < 0)
			return -1;
	}
	return 0;
}

int pw_uplink_drop(int *hands, int *network)
{
	return keep_fds(hands, network) < 0 || drop_rights() < 0 || set_limits() < 0 ? -1 : 0;
}

/* Keys and hang-ups of the terminal are the parent's matter: it ends this process. */
static void plain_signals(void)
{
	static const int ignored[] = { SIGINT, SIGHUP, SIGPIPE, SIGXFSZ };
	sigset_t none;

	for (int s = 1; s < NSIG; s++)
		signal(s, SIG_DFL);
	for (size_t i = 0; i < sizeof(ignored) / sizeof(ignored[0]); i++)
		signal(ignored[i], SIG_IGN);
	sigemptyset(&none);
	sigprocmask(SIG_SETMASK, &none, NULL);
}

/* -- life -------------------------------------------------------------------------------------- */

static int open_link(const char *dir, struct pw_link **link)
{
	struct pw_place place;
	char why[600];

	if (pw_place_load(dir, &place, why, sizeof(why)) == 0
	    && pw_link_open(&place, &pw_patience, link, why, sizeof(why)) == 0)
		return 0;
	pw_uplink_log(LOG_WARNING, "%s", why);
	return -1;
}

_Noreturn void pw_uplink_child(const char *dir, pid_t parent)
{
	struct pw_uplink u = { .pace = &pw_uplink_pace, .network = -1,
			       .hands = { .wait_ms = pw_uplink_pace.answer_ms } };

	prctl(PR_SET_NAME, "postwalk-uplink");
	u.hands.fd = pw_hands_open(dir);
	if (u.hands.fd < 0)
		_exit(PW_UPLINK_NO_WATCH);
	if (open_link(dir, &u.link) < 0)
		_exit(PW_UPLINK_NO_PLACE);
	u.network = pw_network_open();
	if (pw_uplink_drop(&u.hands.fd, &u.network) < 0)
		_exit(PW_UPLINK_NO_RIGHTS);
	plain_signals();
	/* Last: a change of user makes the kernel forget it. */
	if (prctl(PR_SET_PDEATHSIG, SIGKILL) < 0 || getppid() != parent)
		_exit(PW_UPLINK_NO_RIGHTS);
	pw_uplink_turns(&u);
	_exit(PW_UPLINK_GONE);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* The uplink's parent: it starts the process that delivers, again and again, and sees to it that
 * what was enrolled is in force. */
#include "uplink_internal.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/signalfd.h>
#include <sys/wait.h>
#include <unistd.h>

#define LOOK_MS 30000  /* is it enrolled by now? */
#define STEADY_MS 60000 /* a child that lived so long did not die of its start */

struct parent {
	const char *dir;
	int signals, folder; /* signalfd, inotify */
	pid_t child;         /* 0: none */
	int64_t start_ms, started_ms;
	unsigned deaths;
	bool ends;
	char said[600];
};

/* Once, until something else is to be said. */
static void say(struct parent *p, const char *words)
{
	if (strcmp(p->said, words) == 0)
		return;
	snprintf(p->said, sizeof(p->said), "%s", words);
	pw_uplink_log(LOG_INFO, "%s", words);
}

/* -- the child --------------------------------------------------------------------------------- */

static void start(struct parent *p, int64_t now_ms)
{
	const pid_t parent = getpid();

	p->child = fork();
	if (p->child == 0)
		pw_uplink_child(p->dir, parent);
	if (p->child < 0) {
		p->child = 0;
		p->start_ms = now_ms + LOOK_MS;
		say(p, strerror(errno));
	}
	p->started_ms = now_ms;
}

static void consider(struct parent *p, int64_t now_ms)
{
	struct pw_place place;
	char why[500], words[600];
	int got;

	if (p->child != 0 || now_ms < p->start_ms)
		return;
	got = pw_place_load(p->dir, &place, why, sizeof(why));
	sodium_memzero(&place, sizeof(place));
	if (got == 0) {
		start(p, now_ms);
		return;
	}
	p->start_ms = now_ms + LOOK_MS;
	snprintf(words, sizeof(words), "%s%s", why,
		 got > 0 ? ": the bus is not enrolled yet: see postwalk enrol" : "");
	say(p, words);
}

static void say_end(struct parent *p, int status)
{
	char words[400];

	if (WIFSIGNALED(status))
		snprintf(words, sizeof(words), "ended by signal %d", WTERMSIG(status));
	else if (WEXITSTATUS(status) == PW_UPLINK_NO_WATCH)
		snprintf(words, sizeof(words), "no watch listens at %.300s/" PW_UPLINK_SOCKET
			 ": is postwalkd running?", p->dir);
	else if (WEXITSTATUS(status) == PW_UPLINK_NO_RIGHTS)
		snprintf(words, sizeof(words), "rights cannot be given up: nothing is sent");
	else if (WEXITSTATUS(status) == PW_UPLINK_GONE)
		snprintf(words, sizeof(words), "the watch has gone, or another uplink is there");
	else
		return; /* the child has said it */
	say(p, words);
}

static void reap(struct parent *p, int64_t now_ms)
{
	int status;

	if (p->child == 0 || waitpid(p->child, &status, WNOHANG) != p->child)
		return;
	p->child = 0;
	if (now_ms - p->started_ms > STEADY_MS)
		p->deaths = 0;
	p->start_ms = now_ms + pw_backoff_ms(p->deaths++, true, 0, randombytes_random());
	if (!p->ends)
		say_end(p, status);
}

static void end_child(struct parent *p)
{
	if (p->child == 0)
		return;
	kill(p->child, SIGKILL); /* in the middle of whatever: what has no receipt is sent again */
	waitpid(p->child, NULL, 0);
	p->child = 0;
}

/* -- what happens ------------------------------------------------------------------------------ */

static void take_signal(struct parent *p)
{
	struct signalfd_siginfo info;

	while (read(p->signals, &info, sizeof(info)) == sizeof(info))
		p->ends = p->ends || info.ssi_signo != SIGCHLD;
}

/* An office is there anew, or is no more; or the watch has come. */
static void take_name(struct parent *p, const char *name, int64_t now_ms)
{
	const bool conf = strcmp(name, "office.conf") == 0;

	if (!conf && strcmp(name, PW_UPLINK_SOCKET) != 0)
		return;
	if (conf)
		end_child(p);
	p->start_ms = now_ms;
	p->said[0] = '\0';
}

static void take_names(struct parent *p, int64_t now_ms)
{
	union { struct inotify_event one; char room[4096]; } events;
	const struct inotify_event *e;
	ssize_t n;

	while ((n = read(p->folder, &events, sizeof(events))) > 0)
		for (ssize_t at = 0; at < n; at += (ssize_t)(sizeof(*e) + e->len)) {
			e = (const struct inotify_event *)(const void *)(events.room + at);
			if (e->len > 0)
				take_name(p, e->name, now_ms);
		}
}

static void wait_for_more(struct parent *p, int64_t now_ms)
{
	struct pollfd from[] = { { .fd = p->signals, .events = POLLIN },
				 { .fd = p->folder, .events = POLLIN } };
	int64_t left_ms = p->child != 0 ? -1 : p->start_ms > now_ms ? p->start_ms - now_ms : 0;

	poll(from, 2, (int)left_ms);
	take_signal(p);
	now_ms = pw_uplink_now_ms();
	reap(p, now_ms);
	take_names(p, now_ms);
}

static int begin(struct parent *p)
{
	sigset_t wanted;

	sigemptyset(&wanted);
	sigaddset(&wanted, SIGTERM);
	sigaddset(&wanted, SIGINT);
	sigaddset(&wanted, SIGCHLD);
	p->signals = p->folder = -1;
	if (sodium_init() < 0 || sigprocmask(SIG_BLOCK, &wanted, NULL) < 0
	    || (p->signals = signalfd(-1, &wanted, SFD_CLOEXEC | SFD_NONBLOCK)) < 0
	    || (p->folder = inotify_init1(IN_CLOEXEC | IN_NONBLOCK)) < 0
	    || inotify_add_watch(p->folder, p->dir,
				 IN_ONLYDIR | IN_CREATE | IN_MOVED_TO | IN_DELETE) < 0) {
		pw_uplink_log(LOG_ERR, "%s: %s", p->dir, strerror(errno));
		return -1;
	}
	return 0;
}

int pw_uplink_run(const char *dir)
{
	struct parent p = { .dir = dir };
	int status = 2;

	if (begin(&p) == 0) {
		while (!p.ends) {
			consider(&p, pw_uplink_now_ms());
			wait_for_more(&p, pw_uplink_now_ms());
		}
		end_child(&p);
		status = 0;
	}
	if (p.folder >= 0)
		close(p.folder);
	if (p.signals >= 0)
		close(p.signals);
	return status;
}

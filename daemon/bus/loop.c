/* SPDX-License-Identifier: Apache-2.0 */
/* One epoll loop, one clock read a wake-up, absolute deadlines. */
#include <errno.h>
#include <signal.h>
#include <sodium.h>
#include <stddef.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/signalfd.h>
#include <sys/timerfd.h>
#include <unistd.h>

#include "bus_internal.h"

enum source { SRC_BOARD = 1, SRC_TIMER, SRC_SIGNALS, SRC_WALL, SRC_WRITER, SRC_PAGE };

static int watch_fd(struct pw_bus *b, int fd, enum source source, uint32_t events)
{
	struct epoll_event ev = { .events = events, .data.u32 = source };

	if (epoll_ctl(b->epoll, EPOLL_CTL_ADD, fd, &ev) == 0)
		return 0;
	return errno == EEXIST ? epoll_ctl(b->epoll, EPOLL_CTL_MOD, fd, &ev) : -1;
}

static int open_signals(void)
{
	sigset_t set;

	sigemptyset(&set);
	sigaddset(&set, SIGTERM);
	sigaddset(&set, SIGINT);
	sigaddset(&set, SIGHUP);
	sigaddset(&set, SIGCHLD);
	sigprocmask(SIG_BLOCK, &set, NULL);
	signal(SIGPIPE, SIG_IGN);
	return signalfd(-1, &set, SFD_NONBLOCK | SFD_CLOEXEC);
}

int pw_loop_open(struct pw_bus *b)
{
	b->writer_fd = b->page_fd = -1;
	b->armed_ms = PW_NEVER;
	b->epoll = epoll_create1(EPOLL_CLOEXEC);
	b->timer = timerfd_create(CLOCK_BOOTTIME, TFD_NONBLOCK | TFD_CLOEXEC);
	b->signals = open_signals();
	b->wall_timer = pw_clock_watch();
	if (b->epoll < 0 || b->timer < 0 || b->signals < 0)
		return -1;
	if (b->wall_timer >= 0)
		watch_fd(b, b->wall_timer, SRC_WALL, EPOLLIN);
	return watch_fd(b, b->timer, SRC_TIMER, EPOLLIN) ||
	       watch_fd(b, b->signals, SRC_SIGNALS, EPOLLIN) ? -1 : 0;
}

void pw_loop_close(struct pw_bus *b)
{
	close(b->wall_timer);
	close(b->signals);
	close(b->timer);
	close(b->epoll);
}

static void take_signals(struct pw_bus *b)
{
	struct signalfd_siginfo info;

	while (read(b->signals, &info, sizeof(info)) == sizeof(info)) {
		if (info.ssi_signo == SIGHUP)
			pw_reload(b);
		else if (info.ssi_signo != SIGCHLD)
			b->stop = true;
	}
}

static void drain_timer(struct pw_bus *b)
{
	uint64_t count;

	if (read(b->timer, &count, sizeof(count)) > 0)
		b->armed_ms = PW_NEVER;
}

/* The helpers behind the walls: neither can hold the loop up. True when the writer's fault changed. */
static bool tend_writer(struct pw_bus *b)
{
	bool changed = pw_writer_tend(b->writer, b->now_ms);
	int fd = pw_writer_fd(b->writer);
	bool out = pw_writer_wants_out(b->writer);

	if (fd < 0 || (fd == b->writer_fd && out == b->writer_out))
		return changed;
	watch_fd(b, fd, SRC_WRITER, EPOLLIN | (out ? EPOLLOUT : 0u));
	b->writer_fd = fd;
	b->writer_out = out;
	return changed;
}

static void take_act(struct pw_bus *b, const struct pw_act *act, uint32_t serial)
{
	struct pw_done_act done;

	if (pw_act_take(b, act, serial, &done))
		pw_page_answer_act(b->page, serial, &done);
	sodium_memzero(&done, sizeof(done));
}

/* Whose session it is was looked at with the page itself: this keeps none open. */
static void take_wires(struct pw_bus *b, const struct pw_act *act, uint32_t serial)
{
	const struct pw_done_act none = { .answer = PW_SESSION_NONE, .role = PW_NOBODY };

	if (pw_session_is(b, act->session, PW_INSTALLER))
		pw_show_wires(b, serial);
	else
		pw_page_answer_act(b->page, serial, &none);
}

/* True: something may have changed by it. */
static bool take_asked(struct pw_bus *b)
{
	bool acted = false;
	struct pw_act act = { 0 };
	enum pw_asked asked;
	uint32_t serial;

	while ((asked = pw_page_asked(b->page, &act, &serial)) != PW_ASKED_NOTHING) {
		if (asked == PW_ASKED_SNAPSHOT)
			pw_show(b);
		else if (asked == PW_ASKED_WIRES)
			take_wires(b, &act, serial);
		else
			take_act(b, &act, serial);
		acted = acted || asked == PW_ASKED_ACT;
	}
	sodium_memzero(&act, sizeof(act));
	return acted;
}

static void tend_page(struct pw_bus *b)
{
	struct pw_done_act done;
	uint32_t serial;

	if (!b->page)
		return;
	if (take_asked(b))
		pw_signals_drive(b); /* what an act has changed is heard at once */
	if (pw_gate_tend(b, &serial, &done))
		pw_page_answer_act(b->page, serial, &done);
	sodium_memzero(&done, sizeof(done));
	pw_tries_tell(b);
	pw_page_tend(b->page, b->now_ms);
}

static int64_t earliest(const int64_t *at, size_t n)
{
	int64_t first = PW_NEVER;

	for (size_t i = 0; i < n; i++)
		if (at[i] < first)
			first = at[i];
	return first;
}

static void arm(struct pw_bus *b)
{
	const int64_t at[] = {
		pw_next_ms(&b->state, &b->active.policy),
		pw_board_next_ms(b->board),
		pw_signals_next_ms(b),
		pw_writer_next_ms(b->writer),
		b->page ? pw_page_next_ms(b->page) : PW_NEVER,
		b->watchdog_next_ms,
		pw_gate_next_ms(b),
		pw_tries_next_ms(b),
		pw_faults_next_ms(b),
	};
	int64_t next_ms = earliest(at, sizeof(at) / sizeof(at[0]));
	struct itimerspec t = { 0 };

	if (next_ms == b->armed_ms)
		return;
	b->armed_ms = next_ms;
	if (next_ms != PW_NEVER) {
		if (next_ms <= b->now_ms)
			next_ms = b->now_ms + 1;
		t.it_value.tv_sec = next_ms / 1000;
		t.it_value.tv_nsec = (long)(next_ms % 1000) * 1000000;
	}
	timerfd_settime(b->timer, TFD_TIMER_ABSTIME, &t, NULL);
}

/* The alarm first; then what is kept, shown and told. */
static void wake(struct pw_bus *b)
{
	pw_clock_tick(b);
	pw_clock_look(b);
	pw_feed(b);
	pw_feed_service_end(b);
	pw_signals_drive(b);
	take_signals(b);
	tend_page(b);
	do {
		pw_faults_look(b);
		pw_feed_flush(b);
	} while (tend_writer(b)); /* nothing else may wake us to tell of it */
	pw_manager_beat(b);
	arm(b);
}

void pw_loop_run(struct pw_bus *b)
{
	struct epoll_event ev[8];

	watch_fd(b, pw_board_fd(b->board), SRC_BOARD, EPOLLIN);
	if (b->page)
		watch_fd(b, pw_page_fd(b->page), SRC_PAGE, EPOLLIN);
	wake(b);
	while (!b->stop) {
		int n = epoll_wait(b->epoll, ev, 8, -1);

		for (int i = 0; i < n; i++)
			if (ev[i].data.u32 == SRC_TIMER)
				drain_timer(b);
		wake(b);
	}
}

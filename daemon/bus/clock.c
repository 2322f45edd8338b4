/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/timerfd.h>
#include <time.h>
#include <unistd.h>

#include "bus_internal.h"

/* The step that is worth a record; smaller ones add up until they are. */
#define STEP_MS 1000

static int64_t now_ms(clockid_t clock)
{
	struct timespec t;

	clock_gettime(clock, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

int64_t pw_boot_now_ms(void)
{
	return now_ms(CLOCK_BOOTTIME);
}

int64_t pw_wall_now_ms(void)
{
	return now_ms(CLOCK_REALTIME);
}

int64_t pw_built_ms(void)
{
	return (int64_t)PW_BUILT * 1000;
}

/* The kernel's name for this boot; empty when it has none to tell. */
void pw_boot_id(char id[40])
{
	int fd = open("/proc/sys/kernel/random/boot_id", O_RDONLY | O_CLOEXEC);
	ssize_t n = fd < 0 ? -1 : read(fd, id, 36);

	id[n == 36 ? 36 : 0] = '\0';
	if (fd >= 0)
		close(fd);
}

bool pw_wall_ok(const struct pw_bus *b)
{
	return b->wall_ms >= b->clocks.believed_ms;
}

void pw_clock_tick(struct pw_bus *b)
{
	b->now_ms = pw_boot_now_ms();
	b->wall_ms = pw_wall_now_ms();
}

static int arm(int fd)
{
	const struct itimerspec never = { .it_value = { .tv_sec = INT64_C(1) << 40 } };

	return timerfd_settime(fd, TFD_TIMER_ABSTIME | TFD_TIMER_CANCEL_ON_SET, &never, NULL);
}

int pw_clock_watch(void)
{
	int fd = timerfd_create(CLOCK_REALTIME, TFD_NONBLOCK | TFD_CLOEXEC);

	if (fd >= 0 && arm(fd)) {
		close(fd);
		return -1;
	}
	return fd;
}

static void take_word(struct pw_bus *b)
{
	uint64_t count;

	if (read(b->wall_timer, &count, sizeof(count)) < 0 && errno == ECANCELED)
		arm(b->wall_timer);
}

/* Slewing moves both clocks alike: only a step parts them. The kernel's word for it only wakes us, and may
 * come a wake-up later than the clock that is read: so they are compared at each. */
void pw_clock_look(struct pw_bus *b)
{
	const int64_t before_ms = b->clocks.wall_ms + (b->now_ms - b->clocks.boot_ms);
	const int64_t step_ms = b->wall_ms - before_ms;
	struct pw_note n = pw_note_new(b, PW_K_CLOCK);

	take_word(b);
	if (step_ms < STEP_MS && step_ms > -STEP_MS)
		return;
	b->clocks.boot_ms = b->now_ms;
	b->clocks.wall_ms = b->wall_ms;
	pw_info("the wall clock was set by %lld ms", (long long)step_ms);
	n.of.clock.before_ms = before_ms;
	n.of.clock.after_ms = b->wall_ms;
	pw_writer_note(b->writer, &n);
	b->keep = true;
}

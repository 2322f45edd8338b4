/* SPDX-License-Identifier: Apache-2.0 */
#include "postwalk/board.h"
#include "postwalk/core.h"

#define CHECK_BEEP_MS 300   /* the beeper's part of the check at key-on */
#define STEADY_ONCE_MS 1000 /* how long a steady pattern lasts that is to be played once */

static bool is_steady(const struct pw_pattern *pt)
{
	return pt->count == 1 && pt->ms[0] == 0;
}

static int64_t length_ms(const struct pw_pattern *pt)
{
	int64_t sum = 0;

	for (uint32_t i = 0; i < pt->count; i++)
		sum += pt->ms[i];
	return sum;
}

/* t: ms since the pattern began. */
static bool is_on(const struct pw_pattern *pt, int64_t t)
{
	int64_t length = length_ms(pt);

	if (is_steady(pt))
		return true;
	if (length == 0 || (pt->once && t >= length))
		return false;
	t %= length;
	for (uint32_t i = 0; i < pt->count; i++) {
		if (t < pt->ms[i])
			return i % 2 == 0;
		t -= pt->ms[i];
	}
	return false;
}

/* The first change after t, in ms since the pattern began; PW_NEVER: none. */
static int64_t change_after(const struct pw_pattern *pt, int64_t t)
{
	int64_t length = length_ms(pt);
	bool on = is_on(pt, t);
	int64_t at;

	if (length == 0 || (pt->once && t >= length))
		return PW_NEVER;
	at = t - t % length;
	for (uint32_t i = 0; i < 2 * pt->count; i++) {
		at += pt->ms[i % pt->count];
		if (at > t && is_on(pt, at) != on)
			return at;
	}
	return PW_NEVER;
}

static bool is_signal(enum pw_signal s)
{
	return s > PW_SIGNAL_NONE && s < PW_SIGNALS;
}

static int64_t since(int64_t from_ms, int64_t now_ms)
{
	return now_ms > from_ms ? now_ms - from_ms : 0;
}

static int64_t once_end_ms(const struct pw_player *pl, const struct pw_policy *p)
{
	const struct pw_pattern *pt;

	if (!is_signal(pl->once))
		return PW_NO_TIME;
	pt = &p->signal[pl->once].pattern;
	return pl->once_ms + (is_steady(pt) ? STEADY_ONCE_MS : length_ms(pt));
}

void pw_player_init(struct pw_player *pl)
{
	*pl = (struct pw_player){.signal = PW_SIGNAL_NONE,
				 .once = PW_SIGNAL_NONE,
				 .check_end_ms = PW_NO_TIME};
}

void pw_player_signal(struct pw_player *pl, enum pw_signal signal, int64_t now_ms)
{
	if (signal == pl->signal)
		return;
	pl->signal = signal;
	pl->signal_ms = now_ms;
}

void pw_player_once(struct pw_player *pl, enum pw_signal signal, int64_t now_ms)
{
	pl->once = signal;
	pl->once_ms = now_ms;
}

void pw_player_check(struct pw_player *pl, int64_t now_ms)
{
	pl->check_end_ms = now_ms + PW_CHECK_MS;
}

static int64_t check_beep_end_ms(const struct pw_player *pl)
{
	return pl->check_end_ms == PW_NO_TIME ? PW_NO_TIME
					      : pl->check_end_ms - PW_CHECK_MS + CHECK_BEEP_MS;
}

/* The check belongs to no signal: it lights what at least one signal may light now. */
static uint32_t check_levels(const struct pw_player *pl, const uint32_t may[PW_SIGNALS],
			     int64_t now_ms)
{
	uint32_t any = 0, levels = 0;

	for (int s = PW_SIGNAL_NONE; s < PW_SIGNALS; s++)
		any |= may[s];
	if (now_ms < pl->check_end_ms)
		levels |= UINT32_C(1) << PW_LAMP;
	if (now_ms < check_beep_end_ms(pl))
		levels |= UINT32_C(1) << PW_BEEPER;
	return levels & any;
}

uint32_t pw_player_levels(const struct pw_player *pl, const struct pw_policy *p,
			  const uint32_t may[PW_SIGNALS], int64_t now_ms)
{
	const struct pw_signal_policy *sp;
	uint32_t levels = 0, over;

	if (is_signal(pl->signal)) {
		sp = &p->signal[pl->signal];
		if (is_on(&sp->pattern, since(pl->signal_ms, now_ms)))
			levels = sp->outputs & may[pl->signal];
	}
	if (now_ms < once_end_ms(pl, p)) {
		sp = &p->signal[pl->once];
		over = sp->outputs & may[pl->once];
		levels &= ~over;
		if (is_on(&sp->pattern, since(pl->once_ms, now_ms)))
			levels |= over;
	}
	return levels | check_levels(pl, may, now_ms);
}

static void take_earlier(int64_t *next_ms, int64_t at_ms, int64_t now_ms)
{
	if (at_ms > now_ms && at_ms < *next_ms)
		*next_ms = at_ms;
}

static void take_change(int64_t *next_ms, const struct pw_pattern *pt, int64_t from_ms,
			int64_t now_ms)
{
	int64_t t = change_after(pt, since(from_ms, now_ms));

	if (t != PW_NEVER)
		take_earlier(next_ms, from_ms + t, now_ms);
}

int64_t pw_player_next_ms(const struct pw_player *pl, const struct pw_policy *p, int64_t now_ms)
{
	int64_t next_ms = PW_NEVER;
	int64_t once_end = once_end_ms(pl, p);

	if (is_signal(pl->signal))
		take_change(&next_ms, &p->signal[pl->signal].pattern, pl->signal_ms, now_ms);
	if (now_ms < once_end) {
		take_change(&next_ms, &p->signal[pl->once].pattern, pl->once_ms, now_ms);
		take_earlier(&next_ms, once_end, now_ms);
	}
	take_earlier(&next_ms, check_beep_end_ms(pl), now_ms);
	take_earlier(&next_ms, pl->check_end_ms, now_ms);
	return next_ms;
}

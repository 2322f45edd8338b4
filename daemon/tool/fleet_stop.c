/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What is done at a stop that owes a sweep, scene by scene, and what is to be expected of it. That
 * stands in a table and was worked out from docs/rules.md: nothing here asks the rules.
 */
#include <assert.h>
#include <stdio.h>
#include <string.h>

#include "fleet_day_internal.h"

#define SECOND INT64_C(1000)
#define MINUTE (60 * SECOND)

/* -- deeds ------------------------------------------------------------------------------------- */

struct pw_deed *pw_script_do(struct pw_script *s, int64_t at_ms, enum pw_doing what)
{
	struct pw_fleet_day *d = s->day;

	assert(d->deeds < PW_DEEDS_MAX);
	d->deed[d->deeds] = (struct pw_deed){ .at_ms = at_ms, .what = what };
	return &d->deed[d->deeds++];
}

void pw_script_edge(struct pw_script *s, int64_t at_ms, enum pw_line line, unsigned level)
{
	struct pw_deed *deed;

	if (line == PW_SERVICE_DOOR && s->carry->stuck)
		return;
	if (!s->bus->policy.line[line].configured)
		return;
	deed = pw_script_do(s, at_ms, PW_DO_EDGE);
	deed->line = (uint8_t)line;
	deed->level = (uint8_t)level;
}

void pw_script_open(struct pw_script *s, int64_t at_ms, enum pw_line door, int64_t for_ms)
{
	pw_script_edge(s, at_ms, door, 1);
	pw_script_edge(s, at_ms + for_ms, door, 0);
}

static int64_t in(struct pw_script *s, int64_t least, int64_t most)
{
	return pw_chance_in(&s->chance, least, most);
}

static int64_t walk_min(const struct pw_script *s)
{
	return pw_walk_min_ms(&s->bus->policy);
}

static int64_t return_min(const struct pw_script *s)
{
	return pw_return_min_ms(&s->bus->policy);
}

/* Contacts that bounce, the one that opens a moment ahead; or hanging, so that the two disagree. */
static void press(struct pw_script *s, int64_t at_ms)
{
	const bool hangs = s->carry->scene == PW_SCENE_CONTACTS;
	const int64_t let_go_ms = at_ms + in(s, 250, 900) + (hangs ? 1600 : 0);

	pw_script_edge(s, at_ms + (hangs ? in(s, 900, 1400) : -4), PW_REAR_BUTTON_NC, 0);
	pw_script_edge(s, at_ms, PW_REAR_BUTTON, 1);
	if (in(s, 0, 3) == 0) {
		pw_script_edge(s, at_ms + 2, PW_REAR_BUTTON, 0);
		pw_script_edge(s, at_ms + 5, PW_REAR_BUTTON, 1);
	}
	pw_script_edge(s, let_go_ms, PW_REAR_BUTTON, 0);
	pw_script_edge(s, let_go_ms + 4, PW_REAR_BUTTON_NC, 1);
}

/* How long whoever drives today needs from the key to the rear. */
static int64_t walk_ms(struct pw_script *s)
{
	const struct pw_habits *h = &s->bus->habits;

	return h->key_ms + walk_min(s) * h->walk_percent / 100 + in(s, 0, 3000);
}

static int64_t leave(struct pw_script *s, int64_t press_ms)
{
	const int64_t at_ms = press_ms + return_min(s) * s->bus->habits.return_percent / 100
			      + in(s, 800, 5000);

	pw_script_open(s, at_ms, PW_SERVICE_DOOR, in(s, 2500, 6000));
	return at_ms + 6000;
}

static int64_t press_and_leave(struct pw_script *s, int64_t press_ms)
{
	press(s, press_ms);
	return leave(s, press_ms);
}

static enum pw_found_what draw_found(struct pw_script *s)
{
	static const struct { int64_t percent; enum pw_found_what what; } shares[] = {
		{ 92, PW_FOUND_NOTHING }, { 4, PW_FOUND_ARTICLE }, { 1, PW_FOUND_DAMAGE },
		{ 1, PW_FOUND_LEFT_OPEN }, { 2, PW_FOUND_MECHANICAL },
	};
	int64_t drawn = in(s, 0, 99);
	unsigned i = 0;

	while ((drawn -= shares[i].percent) >= 0)
		i++;
	return shares[i].what;
}

static void found(struct pw_script *s, int64_t at_ms, enum pw_found_what what)
{
	struct pw_deed *deed = pw_script_do(s, at_ms, PW_DO_FOUND);

	deed->value = what;
	snprintf(deed->who, sizeof(deed->who), "%s", s->driver);
}

static void tell_found(struct pw_script *s, int64_t at_ms)
{
	if (pw_chance_is(&s->chance, s->bus->habits.tells_percent))
		found(s, at_ms, draw_found(s));
}

/* -- scenes: when whoever drives has gone ------------------------------------------------------ */

static int64_t walked(struct pw_script *s, int64_t t0_ms)
{
	const int64_t gone_ms = press_and_leave(s, t0_ms + walk_ms(s));

	tell_found(s, gone_ms + 9 * SECOND);
	return gone_ms;
}

static int64_t hurried(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_min(s) + in(s, 2000, 8000);

	press(s, t0_ms + walk_min(s) * in(s, 45, 75) / 100);
	return press_and_leave(s, press_ms);
}

static int64_t short_return(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_ms(s);
	const int64_t exit_ms = press_ms + in(s, 1000, return_min(s) - 500);

	press(s, press_ms);
	pw_script_open(s, exit_ms, PW_SERVICE_DOOR, 4000);
	return exit_ms + 5000;
}

/* Papers to be done: nobody is seen to leave. */
static int64_t sat_on(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_ms(s), gone_ms = press_ms + in(s, 640, 1000) * SECOND;

	press(s, press_ms);
	pw_script_open(s, gone_ms, PW_SERVICE_DOOR, 4000);
	return gone_ms + 5000;
}

static int64_t door_open(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_ms(s), shut_ms = press_ms + in(s, 640, 1000) * SECOND;

	pw_script_edge(s, t0_ms - 4000, PW_SERVICE_DOOR, 1);
	press(s, press_ms);
	pw_script_edge(s, shut_ms, PW_SERVICE_DOOR, 0);
	return shut_ms;
}

/* Out, and back at the sound of it. */
static int64_t called_back(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + s->bus->policy.due_ms
				 + pw_chance_bell(&s->chance, 4, 110) * SECOND;
	const int64_t gone_ms = press_and_leave(s, press_ms);

	pw_script_open(s, t0_ms + in(s, 6000, 10000), PW_SERVICE_DOOR, 3000);
	pw_script_open(s, press_ms - walk_min(s) - 9 * SECOND, PW_SERVICE_DOOR, 4000);
	tell_found(s, gone_ms + 9 * SECOND);
	return gone_ms;
}

static int64_t never_walked(struct pw_script *s, int64_t t0_ms)
{
	pw_script_open(s, t0_ms + in(s, 5000, 12000), PW_SERVICE_DOOR, in(s, 2500, 5000));
	return t0_ms + 20 * SECOND;
}

static int64_t drove_off(struct pw_script *s, int64_t t0_ms)
{
	const int64_t back_ms = t0_ms + in(s, 90, 240) * SECOND;

	never_walked(s, t0_ms);
	pw_script_open(s, back_ms - 8 * SECOND, PW_SERVICE_DOOR, 3000);
	return back_ms;
}

/* Pressed from outside, and then from inside by somebody who goes on by the rear. */
static int64_t rear_door(struct pw_script *s, int64_t t0_ms)
{
	const int64_t shut_ms = t0_ms + 21 * SECOND;
	const int64_t press_ms = shut_ms + walk_min(s) + in(s, 600, 3000);

	pw_script_open(s, t0_ms + 5000, PW_SERVICE_DOOR, 3000);
	pw_script_open(s, t0_ms + 18 * SECOND, PW_REAR_DOOR, 3 * SECOND);
	press(s, t0_ms + 19 * SECOND);
	press(s, shut_ms + 1000);
	press(s, press_ms);
	pw_script_open(s, press_ms + 1300, PW_REAR_DOOR, 2000);
	return press_ms + 11 * MINUTE;
}

/* Off and on again, to be rid of it. */
static int64_t key_turned(struct pw_script *s, int64_t t0_ms)
{
	pw_script_edge(s, t0_ms - 6500, PW_IGNITION, 0);
	pw_script_edge(s, t0_ms - 6500 + in(s, 2000, 4000), PW_IGNITION, 1);
	return walked(s, t0_ms);
}

static void cut(struct pw_script *s, int64_t at_ms)
{
	pw_script_do(s, at_ms, PW_DO_CUT);
	s->carry->off = true;
	pw_script_open(s, at_ms + 1500, PW_SERVICE_DOOR, 3000);
}

/* The battery switch as the last thing. What is known of a cut is up to 5 s early (J12). */
static int64_t switched_off(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_ms(s);
	const int64_t cut_ms = press_ms + return_min(s) * s->bus->habits.return_percent / 100
			       + in(s, 6000, 11000);

	press(s, press_ms);
	cut(s, cut_ms);
	return cut_ms + 5000;
}

static int64_t cut_short(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_ms(s);

	press(s, press_ms);
	cut(s, press_ms + in(s, 1300, 2500));
	return press_ms + 8000;
}

static int64_t fuse_pulled(struct pw_script *s, int64_t t0_ms)
{
	cut(s, t0_ms + in(s, 4000, 7000));
	s->carry->owes = true;
	return t0_ms + 20 * SECOND;
}

/* Nobody turned the key: a later search finds it so. t0: idle after the door was opened. */
static int64_t left_running(struct pw_script *s, int64_t t0_ms)
{
	const int64_t come_ms = t0_ms + in(s, 15, 40) * MINUTE;
	const int64_t press_ms = come_ms + walk_min(s) + in(s, 3000, 9000);
	const int64_t out_ms = press_ms + return_min(s) + in(s, 4000, 9000);

	pw_script_edge(s, come_ms, PW_SERVICE_DOOR, 1);
	press(s, press_ms);
	pw_script_edge(s, out_ms - 2000, PW_IGNITION, 0);
	pw_script_edge(s, out_ms, PW_SERVICE_DOOR, 0);
	return out_ms;
}

/* A loose plug: power goes and comes, and the clock with it. */
static int64_t clock_lost(struct pw_script *s, int64_t t0_ms)
{
	const int64_t back_ms = t0_ms + 45 * SECOND;
	const int64_t press_ms = back_ms + walk_min(s) + in(s, 1500, 5000);

	pw_script_do(s, t0_ms + 5000, PW_DO_CUT);
	pw_script_do(s, back_ms - 1, PW_DO_CLOCK)->value = 20 * SECOND - back_ms;
	pw_script_do(s, back_ms, PW_DO_POWER);
	pw_script_do(s, t0_ms + 40 * MINUTE, PW_DO_CLOCK)->value = 0;
	return press_and_leave(s, press_ms);
}

static int64_t taped(struct pw_script *s, int64_t t0_ms)
{
	const int64_t at_ms = t0_ms - in(s, 12, 20) * MINUTE;

	pw_script_edge(s, at_ms - 4, PW_REAR_BUTTON_NC, 0);
	pw_script_edge(s, at_ms, PW_REAR_BUTTON, 1);
	s->carry->taped = true;
	return never_walked(s, t0_ms);
}

static int64_t muted(struct pw_script *s, int64_t t0_ms)
{
	pw_script_do(s, t0_ms - in(s, 12, 20) * MINUTE, PW_DO_SERVICE)->level = 1;
	return walked(s, t0_ms);
}

static int64_t child(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_ms(s);

	press(s, press_ms);
	found(s, press_ms + 5000, PW_FOUND_CHILD);
	return leave(s, press_ms + 20 * SECOND);
}

/* The contact reads open, whatever the door does. */
static int64_t stuck_door(struct pw_script *s, int64_t t0_ms)
{
	const int64_t press_ms = t0_ms + walk_ms(s);

	press(s, press_ms);
	return press_ms + s->bus->policy.return_max_ms + SECOND;
}

static int64_t unwatched(struct pw_script *s, int64_t t0_ms)
{
	struct pw_stop *stop = &s->day->stop[s->day->stops - 1];

	stop->walked = pw_chance_is(&s->chance, 75);
	return stop->walked ? walked(s, t0_ms) : never_walked(s, t0_ms);
}

/* In the morning, when the fuse is back and the alarm sounds at once (R20). */
void pw_script_make_good(struct pw_script *s, int64_t power_ms)
{
	press_and_leave(s, power_ms + walk_min(s) + in(s, 8, 60) * SECOND);
	s->carry->owes = false;
}

void pw_script_untape(struct pw_script *s, int64_t at_ms)
{
	pw_script_edge(s, at_ms, PW_REAR_BUTTON, 0);
	pw_script_edge(s, at_ms + 4, PW_REAR_BUTTON_NC, 1);
	s->carry->taped = false;
}

/* -- what is to be expected -------------------------------------------------------------------- */

static const struct outcome {
	int64_t (*play)(struct pw_script *s, int64_t t0_ms);
	bool walked, waits;
	enum pw_verdict expected;
} outcomes[PW_SCENES] = {
	[PW_SCENE_WALKED] = { walked, true, false, PW_DONE },
	[PW_SCENE_HURRIED] = { hurried, true, false, PW_DONE }, /* R11 line 2, then 3 */
	[PW_SCENE_SHORT_RETURN] = { short_return, true, false, PW_DOUBTFUL }, /* R16 */
	[PW_SCENE_SAT_ON] = { sat_on, true, false, PW_DONE }, /* R16, exit_unseen */
	[PW_SCENE_DOOR_OPEN] = { door_open, true, false, PW_DOUBTFUL }, /* R16, door_left_open */
	[PW_SCENE_CALLED_BACK] = { called_back, true, false, PW_LATE }, /* R11, R14 */
	[PW_SCENE_NEVER_WALKED] = { never_walked, false, true, PW_MISSED }, /* R18, then R15 */
	[PW_SCENE_ERRAND] = { walked, true, false, PW_DONE },
	[PW_SCENE_DROVE_OFF] = { drove_off, false, true, PW_MISSED }, /* R15 */
	[PW_SCENE_REAR_DOOR] = { rear_door, false, false, PW_DOUBTFUL }, /* R11 line 1, R12 */
	[PW_SCENE_KEY_TURNED] = { key_turned, true, false, PW_DONE }, /* R15, a stall */
	[PW_SCENE_SWITCHED_OFF] = { switched_off, true, true, PW_DONE }, /* R20, powered_down */
	[PW_SCENE_CUT_SHORT] = { cut_short, true, true, PW_DOUBTFUL }, /* R20, power_lost */
	[PW_SCENE_FUSE_PULLED] = { fuse_pulled, false, true, PW_DOUBTFUL }, /* R20, power_lost */
	[PW_SCENE_LEFT_RUNNING] = { left_running, true, false, PW_LATE }, /* R25 */
	[PW_SCENE_CLOCK_LOST] = { clock_lost, true, false, PW_DOUBTFUL }, /* R21, clock_unsure */
	[PW_SCENE_TAPED] = { taped, false, true, PW_MISSED }, /* R3, R4 */
	[PW_SCENE_MUTED] = { muted, true, false, PW_DOUBTFUL }, /* R23 */
	[PW_SCENE_CHILD] = { child, true, false, PW_DONE },
	[PW_SCENE_STUCK_DOOR] = { stuck_door, true, false, PW_DOUBTFUL }, /* R16, door_left_open */
	[PW_SCENE_CONTACTS] = { walked, true, false, PW_DOUBTFUL }, /* R5 */
	[PW_SCENE_UNWATCHED] = { unwatched, true, false, 0 },
};

static void note_stop(struct pw_script *s, const char *what, int64_t t0_ms, enum pw_scene scene)
{
	struct pw_fleet_day *d = s->day;

	assert(d->stops < PW_STOPS_MAX);
	d->stop[d->stops] = (struct pw_stop){
		.run = s->run, .what = what, .t0_ms = t0_ms, .scene = scene,
		.walked = outcomes[scene].walked, .expected = outcomes[scene].expected,
		.waits = outcomes[scene].waits,
	};
	snprintf(d->stop[d->stops].driver, PW_CODE_MAX, "%s", s->driver);
	d->stops++;
}

int64_t pw_script_key_off(struct pw_script *s, const char *what, int64_t t0_ms, enum pw_scene scene)
{
	note_stop(s, what, t0_ms, scene);
	if (scene != PW_SCENE_LEFT_RUNNING)
		pw_script_edge(s, t0_ms, PW_IGNITION, 0);
	return outcomes[scene].play(s, t0_ms);
}

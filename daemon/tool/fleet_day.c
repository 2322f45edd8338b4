/* SPDX-License-Identifier: Apache-2.0 */
/* A day of a bus, from the power in the morning to the report at night. */
#include <assert.h>
#include <stdio.h>
#include <string.h>

#include "fleet_day_internal.h"

#define SECOND INT64_C(1000)
#define MINUTE (60 * SECOND)
#define CLOCK(hour, minute) (((hour) * 60 + (minute)) * MINUTE)

/* Of an arrival, before the key-off: brake set, door open for those who get off, door shut. */
#define BRAKE_MS 48000
#define DOOR_MS 40000
#define SHUT_MS 8000

static const struct {
	const char *code;
	unsigned begin_min, end_min;
	bool to_yard;
} shifts[][PW_RUNS_MAX] = {
	{ { "am1", 380, 430, false }, { "pm1", 885, 940, true } },
	{ { "am1", 380, 430, false }, { "am2", 460, 505, false }, { "pm1", 885, 935, false },
	  { "pm2", 970, 1015, true } },
	{ { "am1", 380, 430, false }, { "mid", 690, 735, false }, { "pm1", 885, 940, true } },
};

/* Which runs of its day a scene is played at. */
enum which { NOWHERE, ANYWHERE, AT_LAST, EVERYWHERE, ON_THE_WAY };
static const enum which which[PW_SCENES] = {
	[PW_SCENE_HURRIED] = ANYWHERE,      [PW_SCENE_SHORT_RETURN] = ANYWHERE,
	[PW_SCENE_SAT_ON] = AT_LAST,        [PW_SCENE_DOOR_OPEN] = AT_LAST,
	[PW_SCENE_CALLED_BACK] = ANYWHERE,  [PW_SCENE_NEVER_WALKED] = ANYWHERE,
	[PW_SCENE_ERRAND] = ON_THE_WAY,     [PW_SCENE_DROVE_OFF] = ON_THE_WAY,
	[PW_SCENE_STALLED] = ON_THE_WAY,    [PW_SCENE_REAR_DOOR] = AT_LAST,
	[PW_SCENE_KEY_TURNED] = ANYWHERE,   [PW_SCENE_SWITCHED_OFF] = AT_LAST,
	[PW_SCENE_CUT_SHORT] = AT_LAST,     [PW_SCENE_FUSE_PULLED] = AT_LAST,
	[PW_SCENE_LEFT_RUNNING] = AT_LAST,  [PW_SCENE_CLOCK_LOST] = AT_LAST,
	[PW_SCENE_TAPED] = AT_LAST,         [PW_SCENE_MUTED] = AT_LAST,
	[PW_SCENE_CHILD] = ANYWHERE,        [PW_SCENE_STUCK_DOOR] = EVERYWHERE,
	[PW_SCENE_CONTACTS] = EVERYWHERE,   [PW_SCENE_UNWATCHED] = EVERYWHERE,
};

static int64_t in(struct pw_script *s, int64_t least, int64_t most)
{
	return pw_chance_in(&s->chance, least, most);
}

static struct pw_deed *at_clock(struct pw_script *s, int64_t clock_ms, enum pw_doing what)
{
	return pw_script_do(s, s->day->begin_ms + clock_ms, what);
}

/* -- the wheels -------------------------------------------------------------------------------- */

static void set_off(struct pw_script *s, int64_t at_ms)
{
	pw_script_edge(s, at_ms, PW_IGNITION, 1);
	pw_script_edge(s, at_ms + 25 * SECOND, PW_PARK_BRAKE, 0);
}

static void halt(struct pw_script *s, int64_t at_ms)
{
	const int64_t shut_ms = at_ms + in(s, 10, 28) * SECOND;

	pw_script_edge(s, at_ms, PW_LAMPS, 1);
	pw_script_open(s, at_ms + 2000, PW_SERVICE_DOOR, shut_ms - at_ms - 2000);
	pw_script_edge(s, shut_ms + 1500, PW_LAMPS, 0);
}

static void arrive(struct pw_script *s, int64_t end_ms)
{
	pw_script_edge(s, end_ms - BRAKE_MS, PW_PARK_BRAKE, 1);
	pw_script_edge(s, end_ms - DOOR_MS - 2000, PW_LAMPS, 1);
	pw_script_open(s, end_ms - DOOR_MS, PW_SERVICE_DOOR, DOOR_MS - SHUT_MS);
	pw_script_edge(s, end_ms - SHUT_MS + 1500, PW_LAMPS, 0);
}

static void board(struct pw_script *s, int64_t begin_ms)
{
	pw_script_open(s, begin_ms - 60 * SECOND, PW_SERVICE_DOOR, 4000);
}

/* In mid-route, far from any halt: the engine off and on again. */
static void on_the_way(struct pw_script *s, int64_t at_ms)
{
	const enum pw_scene scene = s->day->scene;
	int64_t on_ms = at_ms + in(s, 3000, 8000);

	if (scene == PW_SCENE_STALLED) {
		pw_script_edge(s, at_ms, PW_IGNITION, 0);
		pw_script_edge(s, on_ms, PW_IGNITION, 1);
		return;
	}
	pw_script_edge(s, at_ms - 6000, PW_PARK_BRAKE, 1);
	on_ms = pw_script_key_off(s, "errand", at_ms, scene);
	if (scene == PW_SCENE_ERRAND) {
		on_ms += in(s, 50, 120) * SECOND;
		pw_script_open(s, on_ms - 9000, PW_SERVICE_DOOR, 3000);
	}
	set_off(s, on_ms);
}

/* From key-on to the stop that ends it. When whoever drives has gone. */
static int64_t drive(struct pw_script *s, const struct pw_run *run, enum pw_scene scene)
{
	const int64_t begin_ms = s->day->begin_ms + run->begin_min * MINUTE
				 + in(s, -180, 300) * SECOND;
	int64_t end_ms = s->day->begin_ms + run->end_min * MINUTE + in(s, -240, 360) * SECOND;
	const int64_t halts = in(s, 1, 2), span_ms = end_ms - begin_ms;

	board(s, begin_ms);
	set_off(s, begin_ms);
	for (int64_t i = 1; i <= halts; i++)
		halt(s, begin_ms + i * span_ms / (halts + 1));
	if (which[scene] == ON_THE_WAY) {
		on_the_way(s, begin_ms + span_ms * 85 / 100);
		end_ms += 8 * MINUTE;
		scene = PW_SCENE_WALKED;
	}
	arrive(s, end_ms);
	if (scene == PW_SCENE_LEFT_RUNNING)
		end_ms += s->bus->policy.idle_ms - DOOR_MS;
	return pw_script_key_off(s, "run", end_ms, scene);
}

/* -- moves that no run sheet has --------------------------------------------------------------- */

/* Does a key-off after so long owe a sweep, without lamps and nothing carried (R7)? */
static bool owes(const struct pw_script *s, int64_t ran_ms)
{
	const struct pw_policy *p = &s->bus->policy;

	return p->owed_when == PW_EVERY_KEY_OFF
	       || (p->owed_when == PW_RUN && ran_ms >= p->run_min_ms);
}

static void move(struct pw_script *s, const char *what, int64_t at_ms, int64_t ran_ms)
{
	s->run = -1;
	pw_script_open(s, at_ms - 20 * SECOND, PW_SERVICE_DOOR, 3000);
	set_off(s, at_ms);
	pw_script_edge(s, at_ms + ran_ms - 2000, PW_PARK_BRAKE, 1);
	if (owes(s, ran_ms)) {
		pw_script_key_off(s, what, at_ms + ran_ms, PW_SCENE_WALKED);
		return;
	}
	pw_script_edge(s, at_ms + ran_ms, PW_IGNITION, 0);
	pw_script_open(s, at_ms + ran_ms + 9000, PW_SERVICE_DOOR, 4000);
}

/* Back to the yard from the last school of the morning. */
static void go_back(struct pw_script *s, int64_t gone_ms)
{
	move(s, "return", gone_ms + in(s, 3, 7) * MINUTE, in(s, 9, 18) * MINUTE);
}

static void move_over(struct pw_script *s, int64_t gone_ms)
{
	move(s, "move", gone_ms + in(s, 4, 6) * MINUTE, in(s, 28, 45) * SECOND);
}

/* -- the runs ---------------------------------------------------------------------------------- */

static void draw_driver(struct pw_script *s, char code[PW_CODE_MAX])
{
	if (pw_chance_is(&s->chance, 6))
		snprintf(code, PW_CODE_MAX, "D-%u",
			 901 + s->bus->index / 24 * 3 + (unsigned)in(s, 0, 2));
	else
		snprintf(code, PW_CODE_MAX, "%s", s->bus->driver);
}

static void plan_runs(struct pw_script *s)
{
	struct pw_fleet_day *d = s->day;
	const struct pw_fleet_bus *b = s->bus;

	for (unsigned i = 0; i < PW_RUNS_MAX && shifts[b->shift][i].code; i++) {
		struct pw_run *run = &d->run[d->runs++];

		snprintf(run->code, sizeof(run->code), "%s", shifts[b->shift][i].code);
		snprintf(run->place, sizeof(run->place), "%s",
			 shifts[b->shift][i].to_yard ? b->yard : b->school);
		run->begin_min = shifts[b->shift][i].begin_min + b->later_min;
		run->end_min = shifts[b->shift][i].end_min + b->later_min;
		draw_driver(s, run->driver);
	}
}

static enum pw_scene scene_of(const struct pw_script *s, unsigned run, unsigned chosen)
{
	const struct pw_fleet_day *d = s->day;
	const enum which w = which[d->scene];
	const bool last = run + 1 == d->runs;

	if (w == EVERYWHERE || (w == AT_LAST && last)
	    || ((w == ANYWHERE || w == ON_THE_WAY) && run == chosen))
		return d->scene;
	if (last && s->bus->battery_switch && !s->carry->keeps_power)
		return PW_SCENE_SWITCHED_OFF;
	return PW_SCENE_WALKED;
}

static void drive_runs(struct pw_script *s)
{
	struct pw_fleet_day *d = s->day;
	const unsigned chosen = (unsigned)in(s, 0, d->runs - 1);
	int64_t gone_ms = 0;

	for (unsigned i = 0; i < d->runs; i++) {
		s->run = (int)i;
		s->driver = d->run[i].driver;
		gone_ms = drive(s, &d->run[i], scene_of(s, i, chosen));
		if (d->scene == PW_SCENE_MOVED && i == 0)
			move_over(s, gone_ms);
		if (d->scene == PW_SCENE_WALKED && i + 1 < d->runs && d->run[i].end_min < 600
		    && d->run[i + 1].begin_min > 600 && pw_chance_is(&s->chance, 35))
			go_back(s, gone_ms);
	}
	if (pw_chance_is(&s->chance, 90))
		snprintf(pw_script_do(s, gone_ms + 3 * MINUTE, PW_DO_SIGN)->who, PW_CODE_MAX, "%s",
			 s->driver);
}

/* -- the morning ------------------------------------------------------------------------------- */

static void power_up(struct pw_script *s, int64_t at_ms)
{
	pw_script_do(s, at_ms, PW_DO_POWER);
	s->carry->off = false;
}

/* What the evening before left: no power, a walk that is owed, a tape. */
static void begin_morning(struct pw_script *s, int64_t begin_ms)
{
	if (s->carry->off && s->day->scene != PW_SCENE_UNWATCHED)
		power_up(s, begin_ms - 14 * MINUTE);
	if (s->carry->owes)
		pw_script_make_good(s, begin_ms - 14 * MINUTE);
	if (s->carry->taped)
		pw_script_untape(s, begin_ms - 10 * MINUTE);
}

/* The round before the first run: doors, on Mondays the exits and the horn as well. */
static void look_round(struct pw_script *s, int64_t begin_ms)
{
	const bool monday = (s->day->date + 3) % 7 == 0;
	struct pw_deed *deed;

	pw_script_open(s, begin_ms - 330 * SECOND, PW_SERVICE_DOOR, 4000);
	pw_script_open(s, begin_ms - 300 * SECOND, PW_REAR_DOOR, 4000);
	snprintf(pw_script_do(s, begin_ms - 270 * SECOND, PW_DO_REVIEW)->who, PW_CODE_MAX, "%s",
		 s->day->run[0].driver);
	if (!monday)
		return;
	pw_script_open(s, begin_ms - 240 * SECOND, PW_EXITS, 3000);
	deed = pw_script_do(s, begin_ms - 200 * SECOND, PW_DO_HEARD);
	deed->line = PW_HORN;
	deed->level = in(s, 0, 199) > 0;
}

static void school_day(struct pw_script *s)
{
	int64_t begin_ms;

	plan_runs(s);
	begin_ms = s->day->begin_ms + s->day->run[0].begin_min * MINUTE;
	begin_morning(s, begin_ms);
	look_round(s, begin_ms - 3 * MINUTE);
	if (pw_chance_is(&s->chance, 30))
		snprintf(at_clock(s, CLOCK(12, 50), PW_DO_REPAIR)->who, PW_CODE_MAX, "M-%02u",
			 s->bus->index / 24 + 1);
	drive_runs(s);
}

/* -- what befalls the board -------------------------------------------------------------------- */

static void cold(struct pw_script *s, enum pw_doing before)
{
	at_clock(s, CLOCK(4, 30), PW_DO_CUT);
	at_clock(s, CLOCK(5, 4), before);
	power_up(s, s->day->begin_ms + CLOCK(5, 5));
}

static void clock_1970(struct pw_script *s)
{
	const int64_t on_ms = s->day->begin_ms + CLOCK(5, 10);

	at_clock(s, CLOCK(4, 40), PW_DO_CUT);
	pw_script_do(s, on_ms - 1, PW_DO_CLOCK)->value = 20 * SECOND - on_ms;
	power_up(s, on_ms);
	at_clock(s, CLOCK(18, 30), PW_DO_CLOCK)->value = 0;
}

static void clock_2099(struct pw_script *s)
{
	at_clock(s, CLOCK(10, 40), PW_DO_CLOCK)->value = INT64_C(4070908800000) - s->day->begin_ms;
	at_clock(s, CLOCK(18, 50), PW_DO_CLOCK)->value = 0;
}

static void clock_step(struct pw_script *s)
{
	const int64_t step_ms = in(s, 5, 5400) * SECOND + in(s, 0, 999);

	at_clock(s, CLOCK(10, 20), PW_DO_CLOCK)->value = in(s, 0, 1) ? step_ms : -step_ms;
	at_clock(s, CLOCK(18, 45), PW_DO_CLOCK)->value = 0;
}

static void restarted(struct pw_script *s)
{
	at_clock(s, CLOCK(10, 30), PW_DO_STOP)->level = 1;
}

static void crashed(struct pw_script *s)
{
	at_clock(s, CLOCK(10, 30), PW_DO_STOP)->level = 0;
}

static void unwatched(struct pw_script *s)
{
	at_clock(s, CLOCK(4, 50), PW_DO_CUT);
	power_up(s, s->day->begin_ms + CLOCK(19, 30));
	s->carry->off = true; /* all day */
}

static void aside(struct pw_script *s)
{
	cold(s, PW_DO_ASIDE);
}

static void rewound(struct pw_script *s)
{
	if (s->day->begins)
		at_clock(s, CLOCK(20, 0), PW_DO_COPY);
	if (s->day->number + 1 == s->carry->until)
		cold(s, PW_DO_PUT_BACK);
}

static void cloned(struct pw_script *s)
{
	at_clock(s, CLOCK(20, 0), PW_DO_COPY);
}

static void befall(struct pw_script *s)
{
	static void (*const boards[PW_SCENES])(struct pw_script *s) = {
		[PW_SCENE_CLOCK_1970] = clock_1970, [PW_SCENE_CLOCK_2099] = clock_2099,
		[PW_SCENE_CLOCK_STEP] = clock_step, [PW_SCENE_RESTARTED] = restarted,
		[PW_SCENE_CRASHED] = crashed,       [PW_SCENE_UNWATCHED] = unwatched,
		[PW_SCENE_ASIDE] = aside,           [PW_SCENE_REWOUND] = rewound,
		[PW_SCENE_CLONED] = cloned,
	};
	const enum pw_scene scene = s->day->scene;

	s->carry->keeps_power = scene == PW_SCENE_REWOUND || scene == PW_SCENE_CLONED;
	if (boards[scene])
		boards[scene](s);
	if (s->carry->stuck != (scene == PW_SCENE_STUCK_DOOR)) {
		s->carry->stuck = false;
		pw_script_edge(s, s->day->begin_ms + CLOCK(5, 30), PW_SERVICE_DOOR,
			       scene == PW_SCENE_STUCK_DOOR);
		s->carry->stuck = scene == PW_SCENE_STUCK_DOOR;
	}
	if (s->carry->dead != (scene == PW_SCENE_DEAD_SOUNDER)) {
		s->carry->dead = !s->carry->dead;
		at_clock(s, CLOCK(5, 30), PW_DO_SOUNDERS)->level = !s->carry->dead;
	}
}

/* -- the first day, and any -------------------------------------------------------------------- */

/* Fitted before the first run, and tried: a short drive, and a walk. */
static void install(struct pw_script *s)
{
	const int64_t on_ms = s->day->begin_ms + CLOCK(4, 10), off_ms = on_ms + 3 * MINUTE;

	s->driver = "I-01";
	at_clock(s, CLOCK(4, 0), PW_DO_POWER);
	set_off(s, on_ms);
	halt(s, on_ms + 60 * SECOND);
	pw_script_edge(s, off_ms - 20 * SECOND, PW_PARK_BRAKE, 1);
	pw_script_key_off(s, "trial", off_ms, PW_SCENE_WALKED);
}

/* By time; of one time, in the order of writing. */
static void sort(struct pw_fleet_day *d)
{
	for (unsigned i = 1; i < d->deeds; i++) {
		const struct pw_deed one = d->deed[i];
		unsigned at = i;

		for (; at > 0 && d->deed[at - 1].at_ms > one.at_ms; at--)
			d->deed[at] = d->deed[at - 1];
		d->deed[at] = one;
	}
}

/* What the bus cannot show, or what would hide what the evening before left, is not played. */
static bool can_be(const struct pw_script *s)
{
	const struct pw_carry *c = s->carry;

	if (c->scene == PW_SCENE_LEFT_RUNNING)
		return s->bus->policy.idle_ms > 0;
	return c->since != s->day->number || !(c->owes || c->taped);
}

void pw_fleet_day_make(const struct pw_fleet *f, const struct pw_fleet_bus *b, bool second,
		       unsigned number, struct pw_carry *carry, struct pw_fleet_day *d)
{
	struct pw_script s = {
		.day = d, .bus = b, .carry = carry, .run = -1, .driver = b->driver,
		.chance = pw_chance_begin(f->seed, PW_OF_DAY, b->index * 2u + second, number),
	};

	if (second)
		*carry = (struct pw_carry){ .off = carry->off, .scene = PW_SCENE_WALKED,
					    .since = number, .until = number + 1 };
	else
		pw_scene_choose(f, b->index, number, carry);
	*d = (struct pw_fleet_day){ .number = number, .date = f->from + (int32_t)number };
	d->begin_ms = pw_date_ms(d->date);
	d->school = pw_date_is_school_day(d->date);
	if (!can_be(&s))
		carry->scene = PW_SCENE_WALKED;
	d->scene = carry->scene;
	d->begins = carry->since == number;
	d->days = carry->until - carry->since;
	if (number == 0)
		install(&s);
	befall(&s);
	if (d->school)
		school_day(&s);
	if (d->scene == PW_SCENE_UNWATCHED)
		carry->off = false;
	sort(d);
}

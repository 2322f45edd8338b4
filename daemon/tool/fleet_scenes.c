/* SPDX-License-Identifier: Apache-2.0 */
/* What befalls which bus when. Every figure here is made up; none is of real drivers. */
#include <string.h>

#include "fleet_internal.h"

static const struct scene {
	int64_t in_100000; /* of a bus on a school day */
	uint8_t days_least, days_most;
	bool people;       /* who drives makes it likelier or not */
	bool parts;        /* the journal from what it was */
} scenes[PW_SCENES] = {
	[PW_SCENE_HURRIED] = { 1500, 1, 1, true, false },
	[PW_SCENE_SHORT_RETURN] = { 700, 1, 1, true, false },
	[PW_SCENE_SAT_ON] = { 900, 1, 1, true, false },
	[PW_SCENE_DOOR_OPEN] = { 600, 1, 1, true, false },
	[PW_SCENE_CALLED_BACK] = { 2000, 1, 1, true, false },
	[PW_SCENE_NEVER_WALKED] = { 1200, 1, 1, true, false },
	[PW_SCENE_ERRAND] = { 600, 1, 1, true, false },
	[PW_SCENE_DROVE_OFF] = { 700, 1, 1, true, false },
	[PW_SCENE_REAR_DOOR] = { 150, 1, 1, true, false },
	[PW_SCENE_KEY_TURNED] = { 200, 1, 1, true, false },
	[PW_SCENE_STALLED] = { 800, 1, 1, false, false },
	[PW_SCENE_MOVED] = { 1500, 1, 1, false, false },
	[PW_SCENE_SWITCHED_OFF] = { 500, 1, 1, true, false },
	[PW_SCENE_CUT_SHORT] = { 120, 1, 1, true, false },
	[PW_SCENE_FUSE_PULLED] = { 100, 1, 1, true, false },
	[PW_SCENE_LEFT_RUNNING] = { 200, 1, 1, true, false },
	[PW_SCENE_CLOCK_LOST] = { 60, 1, 1, false, false },
	[PW_SCENE_TAPED] = { 100, 1, 1, true, false },
	[PW_SCENE_MUTED] = { 200, 1, 1, false, false },
	[PW_SCENE_CHILD] = { 2, 1, 1, false, false },
	[PW_SCENE_DEAD_SOUNDER] = { 60, 2, 4, false, false },
	[PW_SCENE_STUCK_DOOR] = { 80, 1, 3, false, false },
	[PW_SCENE_CONTACTS] = { 80, 1, 2, false, false },
	[PW_SCENE_CLOCK_1970] = { 60, 1, 1, false, false },
	[PW_SCENE_CLOCK_2099] = { 20, 1, 1, false, false },
	[PW_SCENE_CLOCK_STEP] = { 200, 1, 1, false, false },
	[PW_SCENE_RESTARTED] = { 150, 1, 1, false, false },
	[PW_SCENE_CRASHED] = { 80, 1, 1, false, false },
	[PW_SCENE_UNWATCHED] = { 60, 1, 1, false, false },
	[PW_SCENE_SILENT] = { 40, 3, 7, false, false },
	[PW_SCENE_ASIDE] = { 8, 1, 1, false, true },
	[PW_SCENE_REWOUND] = { 2, 5, 7, false, true },
	[PW_SCENE_CLONED] = { 1, 1, 1, false, true },
};

const char *pw_scene_name(enum pw_scene scene)
{
	static const char *const names[PW_SCENES] = {
#define X(up, low) [PW_SCENE_##up] = #low,
		PW_SCENE_LIST(X)
#undef X
	};

	return scene > PW_SCENE_NONE && scene < PW_SCENES ? names[scene] : "none";
}

/* -- a place for each -------------------------------------------------------------------------- */

/* With a day between them: what one leaves behind is over before the next. */
static bool is_free(const struct pw_fleet *f, const struct pw_placed *p)
{
	for (unsigned i = 0; i < PW_SCENES; i++) {
		const struct pw_placed *o = &f->placed[i];

		if (o->days > 0 && o->bus == p->bus && o->day <= p->day + p->days
		    && p->day <= o->day + o->days)
			return false;
	}
	return true;
}

static bool has_school(const struct pw_fleet *f, unsigned day, unsigned end)
{
	for (; day < end; day++)
		if (pw_date_is_school_day(f->from + (int32_t)day))
			return true;
	return false;
}

/* From one school day to another, with one between if it is long, and one more shown day after. */
static bool is_fit(const struct pw_fleet *f, const struct pw_placed *p)
{
	const unsigned last = p->day + p->days - 1;

	return has_school(f, p->day, p->day + 1) && has_school(f, last, last + 1)
	       && has_school(f, last + 1, PW_SHOWN_DAYS)
	       && (p->days < 4 || has_school(f, p->day + 1, last)) && is_free(f, p);
}

/* On that bus, or on the next that has room. */
static void place(struct pw_fleet *f, enum pw_scene scene, unsigned bus, struct pw_chance *c)
{
	struct pw_placed p = { .bus = bus };

	for (unsigned tries = 0; tries < 4000;
	     tries++, p.bus = (bus + tries / 100) % PW_SHOWN_BUSES) {
		p.day = (unsigned)pw_chance_in(c, 1, PW_SHOWN_DAYS - 2);
		p.days = (unsigned)pw_chance_in(c, scenes[scene].days_least,
						scenes[scene].days_most);
		if (!is_fit(f, &p))
			continue;
		f->placed[scene] = p;
		return;
	}
}

/* Silent still when the shown days are over: a bus that nobody has heard of for days. */
static void place_silent(struct pw_fleet *f, unsigned bus)
{
	f->placed[PW_SCENE_SILENT] =
		(struct pw_placed){ .bus = bus, .day = PW_SHOWN_DAYS - 5, .days = 9 };
}

void pw_fleet_place(struct pw_fleet *f)
{
	struct pw_chance c = pw_chance_begin(f->seed, PW_OF_PLACE, (uint64_t)f->from, 0);
	unsigned bus = (unsigned)pw_chance_in(&c, 0, PW_SHOWN_BUSES - 1);

	memset(f->placed, 0, sizeof(f->placed));
	place_silent(f, bus);
	/* the last of the list want the most room */
	for (unsigned scene = PW_SCENES - 1; scene > PW_SCENE_WALKED; scene--) {
		bus = (bus + 5)
		      % PW_SHOWN_BUSES; /* 5 and 24 share no factor: all take their turn */
		if (scene != PW_SCENE_SILENT)
			place(f, (enum pw_scene)scene, bus, &c);
	}
}

/* -- the scene of a day ------------------------------------------------------------------------ */

static bool find_placed(const struct pw_fleet *f, unsigned bus, unsigned day,
			struct pw_carry *carry)
{
	for (unsigned i = 0; i < PW_SCENES; i++) {
		const struct pw_placed *p = &f->placed[i];

		if (p->days == 0 || p->bus != bus || p->day != day)
			continue;
		carry->scene = (enum pw_scene)i;
		carry->until = day + p->days;
		return true;
	}
	return false;
}

/* Among the shown ones nothing that is drawn may reach into what is placed, or leave traces. */
#define NEAR 5
static bool has_room(const struct pw_fleet *f, unsigned bus, unsigned day, const struct scene *s)
{
	if (bus < PW_SHOWN_BUSES && day < PW_SHOWN_DAYS && (s->days_most > 1 || s->parts))
		return false;
	for (unsigned i = 0; i < PW_SCENES; i++) {
		const struct pw_placed *p = &f->placed[i];

		if (p->days > 0 && p->bus == bus && p->day > day && p->day - day <= NEAR)
			return false;
	}
	return true;
}

/* Some are ten times as careful as others: percents, one for each bus and whoever drives it. */
static int64_t care(const struct pw_fleet *f, unsigned bus)
{
	static const uint16_t cares[] = { 30, 30, 40, 50, 60, 80, 100, 120, 190, 300 };
	struct pw_chance c = pw_chance_begin(f->seed, PW_OF_CARE, bus, 0);

	return cares[pw_chance_in(&c, 0, sizeof(cares) / sizeof(cares[0]) - 1)];
}

static void draw(const struct pw_fleet *f, unsigned bus, unsigned day, struct pw_carry *carry)
{
	struct pw_chance c = pw_chance_begin(f->seed, PW_OF_SCENE, bus, day);
	int64_t drawn = pw_chance_in(&c, 0, 99999), cares = care(f, bus);

	for (unsigned i = 0; i < PW_SCENES; i++) {
		const struct scene *s = &scenes[i];

		drawn -= s->people ? s->in_100000 * cares / 100 : s->in_100000;
		if (drawn >= 0)
			continue;
		if (!has_room(f, bus, day, s) || (s->parts && carry->parted))
			return;
		carry->scene = (enum pw_scene)i;
		carry->until = day + (unsigned)pw_chance_in(&c, s->days_least, s->days_most);
		return;
	}
}

void pw_scene_choose(const struct pw_fleet *f, unsigned bus, unsigned day, struct pw_carry *carry)
{
	if (day > 0 && day < carry->until)
		return;
	carry->scene = PW_SCENE_WALKED;
	carry->since = day;
	carry->until = day + 1;
	if (day > 0 && !find_placed(f, bus, day, carry)
	    && pw_date_is_school_day(f->from + (int32_t)day))
		draw(f, bus, day, carry);
	carry->parted = carry->parted || scenes[carry->scene].parts;
}

/* SPDX-License-Identifier: Apache-2.0 */
#include "page_internal.h"

int64_t pw_span_ms(int64_t a_ms, int64_t b_ms)
{
	if (a_ms == PW_NO_TIME || a_ms == PW_NEVER || b_ms == PW_NO_TIME || b_ms == PW_NEVER)
		return -1;
	return b_ms > a_ms ? b_ms - a_ms : 0;
}

bool pw_line_level(const struct pw_snapshot *s, unsigned line)
{
	return line < PW_LINES && ((s->line[line].out ? s->outputs : s->levels) >> line & 1);
}

static bool always(const struct pw_snapshot *s)
{
	(void)s;
	return true;
}

static bool carried(const struct pw_snapshot *s)
{
	return s->carried;
}

static bool owed_always(const struct pw_snapshot *s)
{
	return s->owed_when == PW_EVERY_KEY_OFF;
}

static bool left_running(const struct pw_snapshot *s)
{
	return (s->findings >> PW_F_LEFT_RUNNING & 1) && pw_line_level(s, PW_IGNITION);
}

static bool spent(const struct pw_snapshot *s)
{
	return s->sounding == PW_SPENT;
}

/* The first row that holds is said. */
static const struct saying {
	enum pw_phase phase;
	bool (*when)(const struct pw_snapshot *s);
	const char *look;
	enum pw_word state, headline, next;
} sayings[] = {
	{ PW_PARKED, always, "parked", PW_W_PARKED, PW_W_NOTHING_OWED, PW_W_NEXT_PARKED },
	{ PW_DRIVING, carried, "carried", PW_W_DRIVING, PW_W_LAST_MISSED, PW_W_NEXT_CARRIED },
	{ PW_DRIVING, owed_always, "driving", PW_W_DRIVING, PW_W_KEY_ON, PW_W_NEXT_DRIVING },
	{ PW_DRIVING, always, "driving", PW_W_DRIVING, PW_W_KEY_ON, PW_W_NEXT_DRIVING_SOME },
	{ PW_OWED, left_running, "owed", PW_W_OWED, PW_W_WALK_NOW, PW_W_NEXT_RUNNING },
	{ PW_OWED, always, "owed", PW_W_OWED, PW_W_WALK_NOW, PW_W_NEXT_OWED },
	{ PW_OVERDUE, left_running, "overdue", PW_W_OVERDUE, PW_W_IS_OVERDUE, PW_W_NEXT_RUNNING },
	{ PW_OVERDUE, spent, "overdue", PW_W_OVERDUE, PW_W_IS_OVERDUE, PW_W_NEXT_SPENT },
	{ PW_OVERDUE, always, "overdue", PW_W_OVERDUE, PW_W_IS_OVERDUE, PW_W_NEXT_OVERDUE },
	{ PW_WALK_BACK, always, "walk_back", PW_W_WALK_BACK, PW_W_LOOK_AGAIN,
	  PW_W_NEXT_WALK_BACK },
};

/* R11, as things stand now: what is open comes before what was. */
static void say_hindrance(const struct pw_snapshot *s, struct pw_said *said)
{
	if (pw_line_level(s, PW_REAR_DOOR)) {
		said->hindrance = PW_W_REAR_DOOR_OPEN;
	} else if (pw_line_level(s, PW_EXITS)) {
		said->hindrance = PW_W_EXIT_OPEN;
	} else if (s->refused_ms == PW_NO_TIME) {
		return;
	} else if (s->refused_why == PW_REAR_OPEN) {
		said->hindrance = PW_W_REAR_WAS_OPEN;
	} else {
		said->more_ms = s->basis_ms == PW_NO_TIME
			? 0 : pw_span_ms(s->now_ms, s->basis_ms + s->walk_min_ms);
		said->hindrance = said->more_ms > 0 ? PW_W_TOO_SOON : PW_W_WAS_TOO_SOON;
	}
}

static void say_clock(const struct pw_snapshot *s, struct pw_said *said)
{
	switch (s->phase) {
	case PW_OWED:
		said->clock = PW_W_LEFT;
		said->clock_ms = pw_span_ms(s->now_ms, s->due_ms);
		break;
	case PW_OVERDUE:
		said->clock = PW_W_OVER;
		said->clock_ms = pw_span_ms(s->due_ms, s->now_ms);
		break;
	case PW_WALK_BACK:
		said->clock = PW_W_MORE;
		said->clock_ms = s->press_ms == PW_NO_TIME
			? -1 : pw_span_ms(s->now_ms, s->press_ms + s->return_min_ms);
		if (said->clock_ms == 0)
			said->clock_ms = -1;
		break;
	default:
		said->clock_ms = -1;
		break;
	}
	if (said->clock_ms < 0)
		said->clock = PW_W_NONE;
}

void pw_say(const struct pw_snapshot *s, struct pw_said *said)
{
	const struct saying *say = sayings;

	while (say->phase != s->phase || !say->when(s))
		say++;
	*said = (struct pw_said){ .look = say->look, .state = say->state,
				  .headline = say->headline, .next = say->next };
	if (s->phase == PW_OWED || s->phase == PW_OVERDUE)
		say_hindrance(s, said);
	say_clock(s, said);
}

enum pw_word pw_say_verdict(enum pw_verdict verdict)
{
	static const enum pw_word word[] = {
		[PW_DONE] = PW_W_DONE, [PW_LATE] = PW_W_LATE, [PW_DOUBTFUL] = PW_W_DOUBTFUL,
		[PW_MISSED] = PW_W_MISSED,
	};

	return word[verdict];
}

enum pw_word pw_say_finding(enum pw_finding finding)
{
	static const enum pw_word word[PW_FINDINGS] = {
#define X(up, low) [PW_F_##up] = PW_W_F_##up,
		PW_FINDING_LIST(X)
#undef X
	};

	return word[finding];
}

/* Standard lines: what each is called, and what its levels 0 and 1 are. */
static const struct line_words {
	enum pw_word name, level[2];
} line_words[PW_EXTRA] = {
	[PW_IGNITION] = { PW_W_L_IGNITION, { PW_W_V_KEY_OFF, PW_W_V_KEY_ON } },
	[PW_PARK_BRAKE] = { PW_W_L_PARK_BRAKE, { PW_W_V_BRAKE_OFF, PW_W_V_BRAKE_SET } },
	[PW_REAR_BUTTON] = { PW_W_L_REAR_BUTTON, { PW_W_V_RELEASED, PW_W_V_PRESSED } },
	[PW_REAR_BUTTON_NC] = { PW_W_L_REAR_BUTTON_NC, { PW_W_V_PRESSED, PW_W_V_RELEASED } },
	[PW_REAR_DOOR] = { PW_W_L_REAR_DOOR, { PW_W_V_SHUT, PW_W_V_OPEN } },
	[PW_EXITS] = { PW_W_L_EXITS, { PW_W_V_EXITS_SHUT, PW_W_V_EXITS_OPEN } },
	[PW_SERVICE_DOOR] = { PW_W_L_SERVICE_DOOR, { PW_W_V_SHUT, PW_W_V_OPEN } },
	[PW_LAMPS] = { PW_W_L_LAMPS, { PW_W_V_LAMPS_DARK, PW_W_V_LAMPS_LIT } },
	[PW_BEEPER] = { PW_W_L_BEEPER, { PW_W_V_QUIET, PW_W_V_SOUNDING } },
	[PW_HORN] = { PW_W_L_HORN, { PW_W_V_QUIET, PW_W_V_SOUNDING } },
	[PW_LAMP] = { PW_W_L_LAMP, { PW_W_V_DARK, PW_W_V_LIT } },
	[PW_DOME] = { PW_W_L_DOME, { PW_W_V_DARK, PW_W_V_LIT } },
};

enum pw_word pw_say_line(unsigned line)
{
	return line < PW_EXTRA ? line_words[line].name : PW_W_NONE;
}

enum pw_word pw_say_level_of(unsigned line, bool level)
{
	if (line < PW_EXTRA)
		return line_words[line].level[level];
	return level ? PW_W_V_ON : PW_W_V_OFF;
}

enum pw_word pw_say_level(const struct pw_snapshot *s, unsigned line)
{
	return pw_say_level_of(line, pw_line_level(s, line));
}

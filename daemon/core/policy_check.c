/* SPDX-License-Identifier: Apache-2.0 */
/* R24: a policy that cannot be obeyed is refused, with the key, both numbers and the reason. */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "policy_internal.h"

#define SPARE_MS 5000
#define UNLOAD_MAX_MS 600000
#define ALARM_MIN_MS 180000

__attribute__((format(printf, 4, 5)))
static int refuse(struct pw_policy_error *e, const char *section, const char *key,
		  const char *text, ...)
{
	va_list args;

	snprintf(e->section, sizeof(e->section), "%s", section);
	snprintf(e->key, sizeof(e->key), "%s", key);
	va_start(args, text);
	vsnprintf(e->text, sizeof(e->text), text, args);
	va_end(args);
	return -1;
}

static int room_to_walk(const char *key, int64_t ms, int64_t walk_ms, struct pw_policy_error *e)
{
	if (ms >= walk_ms + SPARE_MS)
		return 0;
	return refuse(e, "sweep", key, "expected %s of " PW_S_FMT " or more, not " PW_S_FMT
		      ": the walk itself takes " PW_S_FMT " and 5 s are needed to spare", key,
		      PW_S_ARG(walk_ms + SPARE_MS), PW_S_ARG(ms), PW_S_ARG(walk_ms));
}

static int check_walk(const struct pw_policy *p, struct pw_policy_error *e)
{
	int64_t walk_ms = pw_walk_min_ms(p);

	if (room_to_walk("due_s", p->due_ms, walk_ms, e) ||
	    room_to_walk("carried_due_s", p->carried_due_ms, walk_ms, e))
		return -1;
	return p->door_rule == PW_GRACE ? room_to_walk("leave_grace_s", p->leave_grace_ms, walk_ms, e)
					: 0;
}

static int check_restart(const struct pw_policy *p, struct pw_policy_error *e)
{
	bool carried = p->carried_due_ms < p->due_ms;
	int64_t due_ms = carried ? p->carried_due_ms : p->due_ms;

	if (p->restart_ms < due_ms)
		return 0;
	return refuse(e, "sweep", "restart_s", "expected restart_s below %s of " PW_S_FMT ", not "
		      PW_S_FMT ": a sweep that is overdue is no stall",
		      carried ? "carried_due_s" : "due_s", PW_S_ARG(due_ms), PW_S_ARG(p->restart_ms));
}

static int check_ladder(const struct pw_policy *p, struct pw_policy_error *e)
{
	const struct pw_signal_policy *rung = &p->signal[PW_LADDER];
	char section[48];

	for (unsigned i = 0; i < p->rungs; i++) {
		snprintf(section, sizeof(section), "rung %.31s", rung[i].name);
		if (rung[i].after_ms < 0)
			return refuse(e, section, "", "expected after_s in [%s]", section);
		if (i == 0 && rung[i].after_ms != 0)
			return refuse(e, section, "after_s", "expected after_s 0 for the first rung, not "
				      PW_S_FMT ": the alarm does not wait", PW_S_ARG(rung[i].after_ms));
		if (i > 0 && rung[i].after_ms <= rung[i - 1].after_ms)
			return refuse(e, section, "after_s", "expected after_s above the " PW_S_FMT
				      " of rung %s, not " PW_S_FMT ": rungs follow one another",
				      PW_S_ARG(rung[i - 1].after_ms), rung[i - 1].name,
				      PW_S_ARG(rung[i].after_ms));
	}
	if (p->alarm_max_ms > rung[p->rungs - 1].after_ms)
		return 0;
	return refuse(e, "sweep", "alarm_max_s", "expected alarm_max_s above the " PW_S_FMT
		      " of the last rung, %s, not " PW_S_FMT ": it would never sound",
		      PW_S_ARG(rung[p->rungs - 1].after_ms), rung[p->rungs - 1].name,
		      PW_S_ARG(p->alarm_max_ms));
}

static int check_bounds(const struct pw_policy *p, struct pw_policy_error *e)
{
	if (p->unload_ms > UNLOAD_MAX_MS)
		return refuse(e, "sweep", "unload_s", "expected unload_s of 600 at most, not " PW_S_FMT
			      ": a door left open must not hold the alarm back for longer",
			      PW_S_ARG(p->unload_ms));
	if (p->alarm_max_ms < ALARM_MIN_MS)
		return refuse(e, "sweep", "alarm_max_s", "expected alarm_max_s of 180 or more, not "
			      PW_S_FMT ": an alarm that gives up sooner is not heard",
			      PW_S_ARG(p->alarm_max_ms));
	return 0;
}

static int needs(const struct pw_policy *p, enum pw_line line, const char *key, const char *reason,
		 struct pw_policy_error *e)
{
	if (p->line[line].configured)
		return 0;
	return refuse(e, key[0] ? "sweep" : "", key, "expected a section [line %s]: %s",
		      p->line[line].name, reason);
}

static int check_lines(const struct pw_policy *p, struct pw_policy_error *e)
{
	if (needs(p, PW_IGNITION, "", "nothing begins without the key", e) ||
	    needs(p, PW_REAR_BUTTON, "", "nothing can be proven without the button", e))
		return -1;
	if (p->owed_when == PW_USED &&
	    needs(p, PW_LAMPS, "owed_when", "owed_when = lamps goes by it", e))
		return -1;
	if (p->idle_ms > 0 &&
	    (needs(p, PW_PARK_BRAKE, "idle_s", "idle_s above 0 goes by it", e) ||
	     needs(p, PW_SERVICE_DOOR, "idle_s", "idle_s above 0 goes by it", e)))
		return -1;
	return 0;
}

static bool same_pin(const struct pw_line_policy *a, const struct pw_line_policy *b)
{
	if (!a->configured || !b->configured)
		return false;
	if (a->label[0] != '\0' && strcmp(a->label, b->label) == 0)
		return true;
	return a->offset >= 0 && a->offset == b->offset && strcmp(a->chip, b->chip) == 0;
}

static int check_pins(const struct pw_policy *p, struct pw_policy_error *e)
{
	char section[48];

	for (unsigned i = 0; i < PW_LINES; i++) {
		for (unsigned k = 0; k < i; k++) {
			if (!same_pin(&p->line[i], &p->line[k]))
				continue;
			snprintf(section, sizeof(section), "line %.31s", p->line[i].name);
			if (p->line[i].offset >= 0)
				return refuse(e, section, "offset", "expected one line an offset: %s and "
					      "%s both have %d", p->line[k].name, p->line[i].name,
					      p->line[i].offset);
			return refuse(e, section, "name", "expected one line a name: %s and %s both "
				      "have %s", p->line[k].name, p->line[i].name, p->line[i].label);
		}
	}
	return 0;
}

static int check_extra(const struct pw_policy *p, struct pw_policy_error *e)
{
	char section[48];

	for (unsigned i = PW_BEEPER; i < PW_LINES; i++) {
		const struct pw_line_policy *line = &p->line[i];
		int sense = line->sense[0] ? pw_line_find(p, line->sense) : -1;

		snprintf(section, sizeof(section), "line %.31s", line->name);
		if (line->configured && line->direction == 0)
			return refuse(e, section, "", "expected direction = in or out in [%s]: it is none "
				      "of the standard lines", section);
		if (line->sense[0] && (sense < 0 || p->line[sense].direction != PW_IN ||
				       !p->line[sense].configured))
			return refuse(e, section, "sense", "expected the name of a configured input line, "
				      "not \"%s\"", line->sense);
	}
	return 0;
}

static int check_patterns(const struct pw_policy *p, struct pw_policy_error *e)
{
	char section[48];

	for (unsigned i = PW_PROMPT; i < PW_LADDER + p->rungs; i++) {
		const char *wrong = pw_pattern_taken_for(&p->signal[i].pattern);

		snprintf(section, sizeof(section), "rung %.31s", p->signal[i].name);
		if (wrong)
			return refuse(e, section, "pattern", "expected a pattern of our own: %s", wrong);
	}
	return 0;
}

int pw_policy_check(const struct pw_policy *p, bool need_bus, struct pw_policy_error *e)
{
	if (need_bus && p->bus[0] == '\0')
		return refuse(e, "bus", "id", "expected id in [bus]: the bus's own number or code");
	if (check_lines(p, e) || check_walk(p, e) || check_restart(p, e) || check_bounds(p, e) ||
	    check_ladder(p, e) || check_pins(p, e) || check_extra(p, e) || check_patterns(p, e))
		return -1;
	return 0;
}

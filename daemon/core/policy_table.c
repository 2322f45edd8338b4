/* SPDX-License-Identifier: Apache-2.0 */
#include "policy_internal.h"

static const char *const owed_when[] = { "every_key_off", "run", "lamps", NULL };
static const char *const door_rule[] = { "grace", "at_once", "ignore", NULL };
static const char *const direction[] = { "in", "out", NULL };
static const char *const bias[] = { "as_is", "disabled", "pull_up", "pull_down", NULL };

#define HOURS(h) ((h) * INT64_C(3600000))
#define WHOLE(type) offsetof(struct pw_policy, type), sizeof(((struct pw_policy *)0)->type)
#define LINE(type) offsetof(struct pw_line_policy, type), sizeof(((struct pw_line_policy *)0)->type)
#define RUNG(type) \
	offsetof(struct pw_signal_policy, type), sizeof(((struct pw_signal_policy *)0)->type)

const char *const pw_plain_section[PW_S_LINE] = {
	[PW_S_BUS] = "bus", [PW_S_PAGE] = "page", [PW_S_JOURNAL] = "journal", [PW_S_YARD] = "yard",
	[PW_S_WALK] = "walk",
	[PW_S_SWEEP] = "sweep",
};

const struct pw_key pw_keys[] = {
	{ PW_S_BUS, "id", PW_V_WORD, WHOLE(bus), 0, 0, NULL, "the bus's own number or code" },
	{ PW_S_PAGE, "listen", PW_V_PLACE, WHOLE(listen), 0, 0, NULL,
	  "address and port of the local page" },
	{ PW_S_JOURNAL, "keep_days", PW_V_COUNT, WHOLE(keep_days), 1, 36500, NULL,
	  "records are kept for so many days" },
	{ PW_S_YARD, "call", PW_V_SAID, WHOLE(call), 0, 0, NULL,
	  "whom to call when a child is found, in the yard's own words" },
	{ PW_S_YARD, "proof_s", PW_V_TIME, WHOLE(proof_ms), 60000, HOURS(8760), NULL,
	  "a line or signal counts as proven for so long" },
	{ PW_S_WALK, "rows", PW_V_COUNT, WHOLE(rows), 0, 60, NULL, "rows of seats" },
	{ PW_S_WALK, "aisle_m", PW_V_MICRO, WHOLE(aisle_um), 0, 60000000, NULL,
	  "length of the aisle, front to rear button, metres" },
	{ PW_S_WALK, "pace_mps", PW_V_MICRO, WHOLE(pace_um_s), 100000, 10000000, NULL,
	  "walking pace, metres a second" },
	{ PW_S_WALK, "look_s", PW_V_MICRO, WHOLE(look_us), 0, 60000000, NULL,
	  "looking time a row, seconds" },
	{ PW_S_SWEEP, "due_s", PW_V_TIME, WHOLE(due_ms), 0, HOURS(24), NULL,
	  "from key-off until a sweep is overdue" },
	{ PW_S_SWEEP, "carried_due_s", PW_V_TIME, WHOLE(carried_due_ms), 0, HOURS(24), NULL,
	  "the same after a missed sweep" },
	{ PW_S_SWEEP, "restart_s", PW_V_TIME, WHOLE(restart_ms), 0, HOURS(24), NULL,
	  "a key-on sooner than this is a stall" },
	{ PW_S_SWEEP, "owed_when", PW_V_CHOICE, WHOLE(owed_when), 0, 0, owed_when,
	  "which stops make a sweep due" },
	{ PW_S_SWEEP, "run_min_s", PW_V_TIME, WHOLE(run_min_ms), 0, HOURS(24), NULL,
	  "owed_when = run: the shortest run that counts" },
	{ PW_S_SWEEP, "unload_s", PW_V_TIME, WHOLE(unload_ms), 0, HOURS(24), NULL,
	  "standstill of the due clock while the first door opening lasts" },
	{ PW_S_SWEEP, "door_rule", PW_V_CHOICE, WHOLE(door_rule), 0, 0, door_rule,
	  "what the service door means before the press" },
	{ PW_S_SWEEP, "leave_grace_s", PW_V_TIME, WHOLE(leave_grace_ms), 0, HOURS(24), NULL,
	  "door_rule = grace: overdue this long after the door closed" },
	{ PW_S_SWEEP, "idle_s", PW_V_TIME, WHOLE(idle_ms), 0, HOURS(24), NULL,
	  "left running with the brake set and the door opened; 0: never" },
	{ PW_S_SWEEP, "return_max_s", PW_V_TIME, WHOLE(return_max_ms), 0, HOURS(24), NULL,
	  "the walk back is over at the latest" },
	{ PW_S_SWEEP, "held_max_s", PW_V_TIME, WHOLE(held_max_ms), 0, HOURS(24), NULL,
	  "a button pressed for longer is held or taped" },
	{ PW_S_SWEEP, "disagree_s", PW_V_TIME, WHOLE(disagree_ms), 0, HOURS(24), NULL,
	  "contacts that disagree for longer are a fault" },
	{ PW_S_SWEEP, "alarm_max_s", PW_V_TIME, WHOLE(alarm_max_ms), 0, HOURS(24), NULL,
	  "the ladder falls back to the lamp after this" },
	{ PW_S_SWEEP, "service_max_s", PW_V_TIME, WHOLE(service_max_ms), 0, HOURS(24), NULL,
	  "service ends by itself after this" },
	{ PW_S_SWEEP, "doubt_on", PW_V_FINDINGS, WHOLE(doubt_on), 0, 0, NULL,
	  "findings that make a walked sweep doubtful" },
	{ PW_S_LINE, "direction", PW_V_CHOICE, LINE(direction), 0, 0, direction,
	  "in or out, for lines of the board's own" },
	{ PW_S_LINE, "settle_ms", PW_V_COUNT, LINE(settle_ms), 0, 60000, NULL,
	  "a level counts when it has stayed this long, milliseconds" },
	{ PW_S_LINE, "chip", PW_V_PLACE, LINE(chip), 0, 0, NULL, "GPIO chip: gpiochip0 or a path" },
	{ PW_S_LINE, "offset", PW_V_OFFSET, LINE(offset), 0, 1023, NULL, "line offset on the chip" },
	{ PW_S_LINE, "name", PW_V_WORD, LINE(label), 0, 0, NULL,
	  "or the line's name as the kernel knows it" },
	{ PW_S_LINE, "active_low", PW_V_YES, LINE(active_low), 0, 0, NULL, "yes: low means 1" },
	{ PW_S_LINE, "bias", PW_V_CHOICE, LINE(bias), 0, 0, bias, "the pin's own resistor" },
	{ PW_S_LINE, "sense", PW_V_WORD, LINE(sense), 0, 0, NULL,
	  "output: the input line that sees it work" },
	{ PW_S_LINE, "outside", PW_V_YES, LINE(outside), 0, 0, NULL,
	  "output: heard or seen by traffic" },
	{ PW_S_RUNG, "after_s", PW_V_TIME, RUNG(after_ms), 0, HOURS(24), NULL,
	  "after the start of the ladder" },
	{ PW_S_RUNG, "outputs", PW_V_OUTPUTS, RUNG(outputs), 0, 0, NULL, "lines that it drives" },
	{ PW_S_RUNG, "pattern", PW_V_PATTERN, RUNG(pattern), 0, 0, NULL,
	  "steady, or on and off in milliseconds by turns" },
	{ PW_S_RUNG, "notify", PW_V_YES, RUNG(notify), 0, 0, NULL,
	  "yes: tell the office, once a sweep" },
};
const size_t pw_key_count = sizeof(pw_keys) / sizeof(pw_keys[0]);

/* SPDX-License-Identifier: Apache-2.0 */
/*
 * words.h - every sentence and word that the page shows, in one table, so that languages can come.
 *
 * {1} and {2} stand for what is filled in. No sentence says or implies that a bus is empty: a press
 * says that somebody stood at the rear.
 */
#ifndef POSTWALK_PAGE_WORDS_H
#define POSTWALK_PAGE_WORDS_H

/* X(NAME, name, text): templates ask for {{=name}}. */
#define PW_WORD_LIST(X)                                                                            \
	X(LANGUAGE, language, "en")                                                                \
	X(BUS, bus, "Bus")                                                                         \
	/* the phase in a word or two */                                                           \
	X(PARKED, parked, "Parked")                                                                \
	X(DRIVING, driving, "Driving")                                                             \
	X(OWED, owed, "Sweep owed")                                                                \
	X(OVERDUE, overdue, "Sweep overdue")                                                       \
	X(WALK_BACK, walk_back, "Second look")                                                     \
	X(SILENT, silent, "No answer")                                                             \
	/* the one large sentence */                                                               \
	X(NOTHING_OWED, nothing_owed, "Nothing owed.")                                             \
	X(KEY_ON, key_on, "Key on.")                                                               \
	X(LAST_MISSED, last_missed, "The last sweep was missed.")                                  \
	X(WALK_NOW, walk_now, "Walk to the rear now.")                                             \
	X(IS_OVERDUE, is_overdue, "The sweep is overdue.")                                         \
	X(ACKNOWLEDGED, acknowledged, "Press acknowledged.")                                       \
	X(WATCH_SILENT, watch_silent, "The watch does not answer.")                                \
	/* what to do next */                                                                      \
	X(NEXT_PARKED, next_parked, "The key is off and no sweep is open.")                        \
	X(NEXT_DRIVING, next_driving, "A sweep will be owed when the key goes off.")               \
	X(NEXT_DRIVING_SOME, next_driving_some,                                                    \
	  "When the key goes off, a sweep will be owed, unless the yard's policy excuses the "     \
	  "stop.")                                                                                 \
	X(NEXT_CARRIED, next_carried,                                                              \
	  "The key went on before a press at the rear. At the next safe stop: key off, walk row "  \
	  "by row to the very rear and press the button there.")                                   \
	X(NEXT_OWED, next_owed,                                                                    \
	  "Row by row, look in and under every seat. Press the button at the very rear.")          \
	X(NEXT_RUNNING, next_running,                                                              \
	  "The engine was left running. Key off, walk row by row to the very rear and press the "  \
	  "button there.")                                                                         \
	X(NEXT_OVERDUE, next_overdue,                                                              \
	  "Walk row by row to the very rear and press the button there.")                          \
	X(NEXT_SPENT, next_spent,                                                                  \
	  "The alarm has sounded as long as it may. The sweep is still owed: walk row by row to "  \
	  "the very rear and press the button there.")                                             \
	X(NEXT_WALK_BACK, next_walk_back,                                                          \
	  "Look a second time on the way forward and leave by the service door.")                  \
	X(NEXT_SILENT, next_silent,                                                                \
	  "The alarm is not shown here. Look at the telltale, walk row by row to the very rear "   \
	  "as always, and call the shop.")                                                         \
	/* why a press did not count */                                                            \
	X(REAR_DOOR_OPEN, rear_door_open, "The rear door is open: shut it, walk from the front.")  \
	X(EXIT_OPEN, exit_open, "An emergency exit is open: shut it, walk from the front.")        \
	X(REAR_WAS_OPEN, rear_was_open,                                                            \
	  "The press did not count: a rear door or exit was open. Walk from the front and press "  \
	  "again.")                                                                                \
	X(TOO_SOON, too_soon, "Too soon to have looked under {1} rows: {2} s more.")               \
	X(WAS_TOO_SOON, was_too_soon,                                                              \
	  "The press came too soon to have looked under {1} rows. Look under each of them and "    \
	  "press again.")                                                                          \
	/* the large figure */                                                                     \
	X(LEFT, left, "left")                                                                      \
	X(OVER, over, "overdue")                                                                   \
	X(MORE, more, "more")                                                                      \
	/* notes */                                                                                \
	X(NOTE_SERVICE, note_service,                                                              \
	  "Service is on: beeper and horn are muted until {1}, {2} more.")                         \
	X(NOTE_SERVICE_NO_END, note_service_no_end, "Service is on: beeper and horn are muted.")   \
	X(NOTE_CARRIED, note_carried, "The last sweep was missed: this one is owed for it too.")   \
	X(NOTE_RUNG, note_rung, "Signal now: {1}.")                                                \
	X(NOTE_KEY_OFF, note_key_off, "This sweep has been open for {1}.")                         \
	X(NOTE_SO_FAR, note_so_far, "Noted so far:")                                               \
	/* tables */                                                                               \
	X(FAULTS, faults, "Faults")                                                                \
	X(LINES, lines, "Lines")                                                                   \
	X(COL_LINE, col_line, "Line")                                                              \
	X(COL_LEVEL, col_level, "Level")                                                           \
	X(COL_CHANGED, col_changed, "Changed")                                                     \
	X(AGO, ago, "{1} ago")                                                                     \
	X(NOT_SEEN, not_seen, "not seen to change")                                                \
	X(SWEEPS, sweeps, "The last ten sweeps")                                                   \
	X(COL_WHEN, col_when, "Stopped at")                                                        \
	X(COL_VERDICT, col_verdict, "Verdict")                                                     \
	X(COL_PRESS, col_press, "Press after")                                                     \
	X(COL_LATE, col_late, "Late by")                                                           \
	X(NO_SWEEPS, no_sweeps, "None yet.")                                                       \
	X(NO_PRESS, no_press, "no press")                                                          \
	X(NOT_LATE, not_late, "\342\200\223")                                                      \
	X(SEEN_AT, seen_at, "As the watch saw it at {1}.")                                         \
	X(KEPT, kept, "Records kept: {1}; not yet on the disk: {2}.")                              \
	X(WHAT_IT_SAYS, what_it_says,                                                              \
	  "A press says that somebody stood at the rear, and nothing else.")                       \
	/* lines and their levels */                                                               \
	X(L_IGNITION, l_ignition, "Ignition key") X(L_PARK_BRAKE, l_park_brake, "Parking brake")   \
	X(L_REAR_BUTTON, l_rear_button, "Rear button")                                             \
	X(L_REAR_BUTTON_NC, l_rear_button_nc, "Rear button, second contact")                       \
	X(L_REAR_DOOR, l_rear_door, "Rear door") X(L_EXITS, l_exits, "Emergency exits")            \
	X(L_SERVICE_DOOR, l_service_door, "Service door") X(L_LAMPS, l_lamps, "Red warning lamps") \
	X(L_BEEPER, l_beeper, "Beeper") X(L_HORN, l_horn, "Horn")                                  \
	X(L_LAMP, l_lamp, "Telltale") X(L_DOME, l_dome, "Inside lighting")                         \
	X(V_ON, v_on, "on") X(V_OFF, v_off, "off") X(V_OPEN, v_open, "open")                       \
	X(V_SHUT, v_shut, "shut") X(V_PRESSED, v_pressed, "pressed")                               \
	X(V_RELEASED, v_released, "released") X(V_SET, v_set, "set") X(V_LIT, v_lit, "lit")        \
	X(V_DARK, v_dark, "dark") X(V_SOUNDING, v_sounding, "sounding")                            \
	X(V_QUIET, v_quiet, "quiet")                                                               \
	/* findings */                                                                             \
	X(F_ALARM_SPENT, f_alarm_spent, "the alarm sounded as long as it may")                     \
	X(F_BUTTON_CONTACTS, f_button_contacts, "the button's two contacts disagreed")             \
	X(F_BUTTON_HELD, f_button_held, "the button was held down")                                \
	X(F_CARRIED, f_carried, "the sweep before was missed")                                     \
	X(F_CLOCK_UNSURE, f_clock_unsure, "the clock was unsure over a power cut")                 \
	X(F_DOOR_BEFORE_PRESS, f_door_before_press, "the door was used before a press")            \
	X(F_DOOR_LEFT_OPEN, f_door_left_open, "the service door was left open")                    \
	X(F_DRIVEN_OFF, f_driven_off, "driven off before a press")                                 \
	X(F_EXIT_UNSEEN, f_exit_unseen, "leaving by the service door was not seen")                \
	X(F_LEFT_BY_REAR, f_left_by_rear, "a rear door or exit opened on the way back")            \
	X(F_LEFT_RUNNING, f_left_running, "the engine was left running")                           \
	X(F_MUTED, f_muted, "sounds were muted for service")                                       \
	X(F_POWER_LOST, f_power_lost, "power was lost")                                            \
	X(F_POWERED_DOWN, f_powered_down, "the battery switch was opened on leaving")              \
	X(F_REAR_OPENED, f_rear_opened, "a rear door or exit was opened")                          \
	X(F_RETURN_SHORT, f_return_short, "too soon at the door for a second look")                \
	/* verdicts */                                                                             \
	X(DONE, done, "done") X(LATE, late, "late")                                                \
	X(DOUBTFUL, doubtful, "doubtful") X(MISSED, missed, "missed")                              \
	/* answers to bad requests */                                                              \
	X(NO_SUCH_PAGE, no_such_page, "There is no such page here.")                               \
	X(NO_SUCH_METHOD, no_such_method, "This page is only read: GET or HEAD.")                  \
	X(FOREIGN_HOST, foreign_host,                                                              \
	  "This page answers only to the address that it listens on, or to localhost.")            \
	X(BAD_REQUEST, bad_request, "One Host header and no body are expected.")                   \
	X(TOO_LONG, too_long, "What is to be shown does not fit the page.")

enum pw_word {
	PW_W_NONE,
#define X(up, low, text) PW_W_##up,
	PW_WORD_LIST(X)
#undef X
	PW_WORDS
};

/* The text; "" for PW_W_NONE. */
const char *pw_word(enum pw_word word);
/* The word of that name (length len), or PW_W_NONE. */
enum pw_word pw_word_find(const char *name, size_t len);

#endif

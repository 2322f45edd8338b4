/* SPDX-License-Identifier: Apache-2.0 */
/* words_en.h - the English of words.h, and the names of the words. po.awk reads it too: one string
 * or strings side by side, with \" and \\ as the only escapes. */
#ifndef POSTWALK_PAGE_WORDS_EN_H
#define POSTWALK_PAGE_WORDS_EN_H

/* X(NAME, name, text); N(NAME, name, text of one, text of more). Templates ask for {{=name}}. */
#define PW_WORD_LIST(X, N)                                                                         \
	X(BUS, bus, "Bus")                                                                         \
	/* the phase in a word or two */                                                           \
	X(PARKED, parked, "Parked") X(DRIVING, driving, "Driving")                                 \
	X(OWED, owed, "Sweep owed") X(OVERDUE, overdue, "Sweep overdue")                           \
	X(WALK_BACK, walk_back, "Press acknowledged") X(SILENT, silent, "No answer")               \
	/* the one large sentence */                                                               \
	X(NOTHING_OWED, nothing_owed, "Nothing owed.") X(KEY_ON, key_on, "Key on.")                \
	X(LAST_MISSED, last_missed, "The last sweep was missed.")                                  \
	X(WALK_NOW, walk_now, "Walk to the rear now.")                                             \
	X(IS_OVERDUE, is_overdue, "The sweep is overdue.")                                         \
	X(LOOK_AGAIN, look_again, "Look again, rear to front.")                                    \
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
	N(TOO_SOON, too_soon, "Too soon to have looked under {1} row: {2} s more.",                \
	  "Too soon to have looked under {1} rows: {2} s more.")                                   \
	N(WAS_TOO_SOON, was_too_soon,                                                              \
	  "The press came too soon to have looked under {1} row. Look under it and press again.",  \
	  "The press came too soon to have looked under {1} rows. Look under each of them and "    \
	  "press again.")                                                                          \
	/* the large figure */                                                                     \
	X(LEFT, left, "left") X(OVER, over, "overdue") X(MORE, more, "more")                       \
	/* the aisle: what the pace alone says */                                                  \
	N(AISLE_ALT, aisle_alt,                                                                    \
	  "The bus from above, front at the left, {1} row of seats. The mark stands where the "    \
	  "walk should be by the policy's pace. It does not show where anybody is, nor who or "    \
	  "what is in any row.",                                                                   \
	  "The bus from above, front at the left, {1} rows of seats. The mark stands where the "   \
	  "walk should be by the policy's pace. It does not show where anybody is, nor who or "    \
	  "what is in any row.")                                                                   \
	X(PACE_ROW, pace_row, "Pace: row {1} of {2}")                                              \
	X(PACE_REAR, pace_rear, "Pace: at the rear")                                               \
	X(PACE_DOOR, pace_door, "Pace: at the door")                                               \
	X(PACE_FRONT, pace_front, "Pace: from the front")                                          \
	X(FRONT, front, "Front") X(REAR, rear, "Rear")                                             \
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
	X(LINES, lines, "Lines") X(COL_LINE, col_line, "Line")                                     \
	X(COL_LEVEL, col_level, "Level") X(COL_CHANGED, col_changed, "Changed")                    \
	X(AGO, ago, "{1} ago")                                                                     \
	X(SECONDS, seconds, "{1} s") X(MINUTES, minutes, "{1} min") X(HOURS, hours, "{1} h")       \
	X(DAYS, days, "{1} d")                                                                     \
	X(NOT_SEEN, not_seen, "not seen to change")                                                \
	X(SWEEPS, sweeps, "The last ten sweeps")                                                   \
	X(COL_WHEN, col_when, "Stopped at") X(COL_VERDICT, col_verdict, "Verdict")                 \
	X(COL_PRESS, col_press, "Press after") X(COL_LATE, col_late, "Late by")                    \
	X(NO_SWEEPS, no_sweeps, "None yet.") X(NO_PRESS, no_press, "no press")                     \
	X(SEEN_AT, seen_at, "As the watch saw it at {1}.")                                         \
	X(KEPT, kept, "Records kept: {1}; not yet on the disk: {2}.")                              \
	X(WHAT_IT_SAYS, what_it_says,                                                              \
	  "A press says that somebody stood at the rear, and nothing else.")                       \
	/* lines and their levels; a level has a word of its own where another tongue needs one */ \
	X(L_IGNITION, l_ignition, "Ignition key") X(L_PARK_BRAKE, l_park_brake, "Parking brake")   \
	X(L_REAR_BUTTON, l_rear_button, "Rear button")                                             \
	X(L_REAR_BUTTON_NC, l_rear_button_nc, "Rear button, second contact")                       \
	X(L_REAR_DOOR, l_rear_door, "Rear door") X(L_EXITS, l_exits, "Emergency exits")            \
	X(L_SERVICE_DOOR, l_service_door, "Service door") X(L_LAMPS, l_lamps, "Red warning lamps") \
	X(L_BEEPER, l_beeper, "Beeper") X(L_HORN, l_horn, "Horn")                                  \
	X(L_LAMP, l_lamp, "Telltale") X(L_DOME, l_dome, "Inside lighting")                         \
	X(V_ON, v_on, "on") X(V_OFF, v_off, "off") X(V_KEY_ON, v_key_on, "on")                     \
	X(V_KEY_OFF, v_key_off, "off") X(V_LIT, v_lit, "lit") X(V_DARK, v_dark, "dark")          \
	X(V_BRAKE_SET, v_brake_set, "set") X(V_BRAKE_OFF, v_brake_off, "released")                 \
	X(V_PRESSED, v_pressed, "pressed") X(V_RELEASED, v_released, "released")                   \
	X(V_OPEN, v_open, "open") X(V_SHUT, v_shut, "shut")                                        \
	X(V_EXITS_OPEN, v_exits_open, "open") X(V_EXITS_SHUT, v_exits_shut, "shut")                \
	X(V_LAMPS_LIT, v_lamps_lit, "lit") X(V_LAMPS_DARK, v_lamps_dark, "dark")                   \
	X(V_SOUNDING, v_sounding, "sounding") X(V_QUIET, v_quiet, "quiet")                         \
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
	X(DONE, done, "done") X(LATE, late, "late") X(DOUBTFUL, doubtful, "doubtful")              \
	X(MISSED, missed, "missed")                                                              \
	/* choices of whoever reads */                                                             \
	X(CHOOSE, choose, "Language and colours")                                                  \
	X(LIGHT, light, "Light") X(DARK, dark, "Dark") X(AUTO, auto, "As the device")              \
	X(HOLD, hold, "Hold still") X(GO_ON, go_on, "Follow the watch again")                      \
	X(HELD, held, "Held still: this page does not follow the watch.")                          \
	X(STALE, stale, "This picture is old. Show it anew.")                                      \
	/* answers to forms */                                                                     \
	X(TOO_MUCH, too_much, "Too much is asked of the watch at once. Try again in a moment.")    \
	X(NO_SUCH_USE, no_such_use, "This page does not take that method. Nothing was changed.")   \
	X(UNANSWERED, unanswered,                                                                  \
	  "The watch has not answered in time. See whether it was done before it is sent again.")  \
	/* answers to bad requests */                                                              \
	X(NO_SUCH_PAGE, no_such_page, "There is no such page here.")                               \
	X(NO_SUCH_METHOD, no_such_method, "This page is only read: GET or HEAD.")                  \
	X(NO_SUCH_LANGUAGE, no_such_language,                                                      \
	  "This page speaks English, Spanish and French: to=en, es or fr. Nothing was changed.")   \
	X(NO_SUCH_THEME, no_such_theme,                                                            \
	  "The colours are to=light, dark or auto. Nothing was changed.")                          \
	X(FOREIGN_HOST, foreign_host,                                                              \
	  "This page answers only to the address that it listens on, or to localhost.")            \
	X(BAD_REQUEST, bad_request, "One Host header and no body are expected.")                   \
	X(TOO_LONG, too_long, "What is to be shown does not fit the page.")                        \
	/* pages */                                                                                \
	X(PAGES, pages, "Pages") X(P_DRIVER, p_driver, "Driver")                                   \
	X(P_BEFORE, p_before, "Before the run") X(P_FOUND, p_found, "After the run")               \
	X(P_REPORT, p_report, "Vehicle report") X(P_PIN, p_pin, "PIN")                             \
	X(P_INSTALLER, p_installer, "Installer")                                                   \
	X(P_WIRING, p_wiring, "Walk through the wiring") X(P_SETUP, p_setup, "Set-up record")      \
	X(P_MECHANIC, p_mechanic, "Mechanic") X(P_LEAVE, p_leave, "Leave")                         \
	X(P_REFUSED, p_refused, "Not done")                                                        \
	/* answers of the watch */                                                                 \
	X(A_PIN_WRONG, a_pin_wrong, "That PIN is wrong. Nothing was opened.")                      \
	X(A_PIN_SOON, a_pin_soon, "Too many wrong PINs. The next try will be looked at in {1}.")   \
	X(A_PIN_UNSET, a_pin_unset,                                                                \
	  "No PIN has been set for this page. On the bus computer, somebody with its "             \
	  "administrator's rights sets one with the command: postwalk pin")                        \
	X(A_PIN_IN_HAND, a_pin_in_hand,                                                            \
	  "Another try is being looked at. Try again in a moment.")                                \
	X(A_TAKEN, a_taken,                                                                        \
	  "Somebody else has the installer's or the mechanic's page open. There is one at a "      \
	  "time: it ends 10 minutes after its last step.")                                         \
	X(A_NO_SESSION, a_no_session,                                                              \
	  "This page needs a PIN. If one was given, it has ended: it lasts until 10 minutes "      \
	  "after the last step.")                                                                  \
	X(A_NOT_NOW, a_not_now, "That cannot be done now. Nothing was changed.")                   \
	X(A_NOT_SUCH, a_not_such, "There is no such thing here. Nothing was changed.")             \
	X(A_NOT_DONE, a_not_done, "That did not work. Nothing was changed: try again.")            \
	/* forms that are turned down */                                                           \
	X(E_FORGED, e_forged,                                                                      \
	  "This form did not come from this page. Nothing was changed: open the page anew.")       \
	X(E_OLD, e_old, "This form is too old. Nothing was changed: open the page anew.")          \
	X(E_USED, e_used, "This form was sent before. It was not taken a second time.")            \
	X(E_ORIGIN, e_origin, "This form came from another site. Nothing was changed.")            \
	X(E_LONG, e_long, "This form is longer than 4096 bytes. Nothing was changed.")             \
	X(E_TYPE, e_type,                                                                          \
	  "A form is expected as application/x-www-form-urlencoded. Nothing was changed.")         \
	X(E_FORM, e_form, "This form cannot be read. Nothing was changed: open the page anew.")    \
	X(E_CODE, e_code,                                                                          \
	  "Give a code of 1 to 15 letters, digits, dots, dashes or underscores.")                  \
	X(E_WORDS, e_words, "Give a shorter text, on one line: 163 bytes at most.")                \
	X(E_WHAT, e_what, "Choose what the walk found.") X(E_PART, e_part, "Choose the part.")     \
	X(E_PIN, e_pin, "Give the PIN: 6 to 64 characters.")                                       \
	X(E_DEFECT, e_defect, "Choose a defect.")                                                  \
	X(E_CERTIFY, e_certify, "Choose whether it was repaired or needs no repair.")              \
	X(E_LINE, e_line, "There is no such output.")                                              \
	/* fields */                                                                               \
	X(OWN_WORDS, own_words, "In your own words, if need be. Never a child's name.")            \
	X(LEAVE_LEAD, leave_lead,                                                                  \
	  "Leaving ends this session. It ends by itself 10 minutes after the last step. What "     \
	  "was switched on stays on.")                                                             \
	X(WAY_ON, way_on, "Go on")

#endif

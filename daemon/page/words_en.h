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
	X(WAY_ON, way_on, "Go on")                                                                 \
	/* before the run */                                                                       \
	X(B_LEAD, b_lead,                                                                          \
	  "The usual pre-trip proves this by itself: doors, rear door, key, rear button, a "       \
	  "walk. Nothing else is asked for.")                                                      \
	X(B_LEFT, b_left, "Left to prove")                                                         \
	X(B_ALL, b_all, "Every line and every signal has been proven.")                            \
	X(B_PROOFS, b_proofs, "Proofs") X(B_NOT_MOVED, b_not_moved, "not seen to move today.")     \
	X(B_NOT_HEARD, b_not_heard, "not heard or seen today.")                                    \
	X(B_WAS_NOT_HEARD, b_was_not_heard, "tried, and not heard or seen. Tell the shop.")        \
	X(B_DO_IGNITION, b_do_ignition, "Turn the key on and off.")                                \
	X(B_DO_PARK_BRAKE, b_do_park_brake, "Set and release the parking brake.")                  \
	X(B_DO_BUTTON, b_do_button, "Press the rear button and let go.")                           \
	X(B_DO_DOOR, b_do_door, "Open and shut it.")                                               \
	X(B_DO_EXITS, b_do_exits, "Open and shut an emergency exit.")                              \
	X(B_DO_LAMPS, b_do_lamps, "Switch the red warning lamps on and off.")                      \
	X(B_DO_OTHER, b_do_other, "Make it change and change back.")                               \
	X(B_DO_OUTPUT, b_do_output, "Try it, then say whether it was heard or seen.")              \
	X(B_PROVEN, b_proven, "proven") X(B_OLD, b_old, "proven, but older than {1}")              \
	X(B_UNPROVEN, b_unproven, "not proven") X(HOW_MOVED, how_moved, "seen to move")            \
	X(HOW_SENSED, how_sensed, "sensed while it was driven")                                    \
	X(HOW_HEARD, how_heard, "heard or seen by somebody")                                       \
	X(HOW_NOT_HEARD, how_not_heard, "not heard or seen by somebody who tried it")              \
	X(B_COL_PROOF, b_col_proof, "Proof") X(B_COL_WHEN, b_col_when, "When")                     \
	X(B_SIGNALS, b_signals, "Try the signals") X(B_TRY, b_try, "Try for 2 s: {1}")             \
	X(B_OUTSIDE, b_outside,                                                                    \
	  "Loud outside: keep people away from it first, and protect your own ears.")              \
	X(B_TRYING, b_trying, "Being tried now.") X(B_ASK, b_ask, "Did you hear or see it? {1}")   \
	X(YES, yes, "Yes") X(NO, no, "No")                                                         \
	X(B_WHY_SWEEP, b_why_sweep, "A sweep is open: signals are not tried until it is done.")    \
	X(B_WHY_KEY, b_why_key,                                                                    \
	  "The key is on: an outside signal is tried only with the key off or the parking "        \
	  "brake set.")                                                                            \
	X(B_REVIEW, b_review, "The last vehicle report has not been reviewed yet. Review it.")     \
	/* after the run */                                                                        \
	X(F_ASK, f_ask, "What did the walk find?")                                                 \
	X(W_NOTHING, w_nothing, "The walk found nothing")                                          \
	X(W_ARTICLE, w_article, "An article left behind") X(W_DAMAGE, w_damage, "Damage")          \
	X(W_LEFT_OPEN, w_left_open, "A window or exit left open")                                  \
	X(W_MECHANICAL, w_mechanical, "A mechanical fault") X(W_CHILD, w_child, "A child")         \
	X(F_CONFIRM, f_confirm, "Yes, note it")                                                    \
	X(F_CONFIRM_CHILD, f_confirm_child, "Yes: a child is on board. Tell the office now")       \
	X(F_BACK, f_back, "No, go back") X(F_SURE, f_sure, "Is that so?")                          \
	X(F_TAKEN, f_taken, "It was noted.") X(F_LAST, f_last, "Noted last:")                      \
	X(F_MORE, f_more, "Note something more")                                                   \
	X(F_SAYS, f_says, "This notes what a walk found, and nothing else.")                       \
	X(C_HEAD, c_head, "A child was found.") X(C_STAY, c_stay, "Stay with the child.")          \
	X(C_DANGER, c_danger,                                                                      \
	  "Is the child hurt, ill or in danger? Call the emergency number first.")                 \
	X(C_CALL, c_call, "Call: {1}") X(C_DISPATCHER, c_dispatcher, "Call your dispatcher.")      \
	X(C_ABOARD, c_aboard,                                                                      \
	  "Do not leave the bus to make the call, and do not leave the child alone.")              \
	X(C_TOLD, c_told,                                                                          \
	  "Noted for the office at once. It may not have heard yet: make the call.")               \
	X(C_HAS, c_has,                                                                            \
	  "The office's computer has had it since {2}. It may not have been read yet: make the "   \
	  "call.")                                                                                 \
	X(C_NOTED, c_noted, "Noted at {2}.") X(YOUR_CODE, your_code, "Your driver code")           \
	X(YOUR_CODE_MAY, your_code_may, "Your driver code, if you like") X(PART, part, "Part")     \
	X(PART_CHOOSE, part_choose, "Choose the part")                                             \
	X(M_SERVICE_BRAKES, m_service_brakes, "Service brakes")                                    \
	X(M_PARKING_BRAKE, m_parking_brake, "Parking brake")                                       \
	X(M_STEERING, m_steering, "Steering")                                                      \
	X(M_LIGHTING, m_lighting, "Lighting and reflectors") X(M_TIRES, m_tires, "Tires")          \
	X(M_HORN, m_horn, "Horn") X(M_WIPERS, m_wipers, "Windshield wipers")                       \
	X(M_MIRRORS, m_mirrors, "Mirrors") X(M_COUPLING, m_coupling, "Coupling devices")           \
	X(M_WHEELS, m_wheels, "Wheels and rims")                                                   \
	X(M_EMERGENCY_EQUIPMENT, m_emergency_equipment, "Emergency equipment")                     \
	X(M_OTHER, m_other, "Other")                                                               \
	/* vehicle report */                                                                       \
	X(R_LEAD, r_lead,                                                                          \
	  "A day-end report in the sense of 49 CFR 396.11 and 396.13 (United States). Local "      \
	  "law decides what must be reported, by whom, and in what form.")                         \
	X(R_OPEN, r_open, "Open defects")                                                          \
	X(R_NONE_OPEN, r_none_open, "No open defect has been noted.")                              \
	X(R_CERTIFIED, r_certified, "Certified defects")                                           \
	N(R_MORE, r_more,                                                                          \
	  "{1} older defect is not listed here: the journal has it.",                              \
	  "{1} older defects are not listed here: the journal has them.")                          \
	X(R_NOTED, r_noted, "Noted at {2}, by {1}.")                                               \
	X(R_NOTED_AT, r_noted_at, "Noted at {2}{1}.")                                              \
	X(R_REPORTED, r_reported, "In the signed report.")                                         \
	X(R_UNREPORTED, r_unreported, "Not in a signed report yet.")                               \
	X(R_REPAIRED, r_repaired, "Repaired, as {1} certifies.")                                   \
	X(R_NO_NEED, r_no_need, "No repair is needed, as {1} certifies.")                          \
	X(R_SIGNED, r_signed, "Signed by {1}, {2}.")                                               \
	X(R_NOT_SIGNED, r_not_signed, "Not signed yet.")                                           \
	X(R_REVIEWED, r_reviewed, "Reviewed by {1}, {2}.")                                         \
	X(R_NOT_REVIEWED, r_not_reviewed, "Not reviewed yet.")                                     \
	X(R_SIGN_HEAD, r_sign_head, "End of the day: sign")                                        \
	X(R_SIGN_LEAD, r_sign_lead,                                                                \
	  "With your code you report the open defects above, or that you know of none.")           \
	X(R_SIGN, r_sign, "Sign the report")                                                       \
	X(R_REVIEW_HEAD, r_review_head, "Before the next run: review")                             \
	X(R_REVIEW_LEAD, r_review_lead,                                                            \
	  "With your code you say that you have read the last report and what was certified.")     \
	X(R_REVIEW, r_review, "I have read it")                                                    \
	X(R_INK_DRIVER, r_ink_driver, "Signature of the driver")                                   \
	X(R_INK_MECHANIC, r_ink_mechanic, "Signature for repairs")                                 \
	X(R_INK_REVIEW, r_ink_review, "Signature of the next driver")                              \
	X(R_INK_DATE, r_ink_date, "Date")                                                          \
	X(R_PRINT, r_print, "To print it, use the browser's menu.")                                \
	/* the PIN */                                                                              \
	X(D_INSTALLER, d_installer, "The installer's PIN")                                         \
	X(D_MECHANIC, d_mechanic, "The mechanic's PIN")                                            \
	X(D_LEAD, d_lead, "6 to 64 characters; letters count. Each try is kept in the journal.")   \
	X(D_SET, d_set,                                                                            \
	  "If none has been set: on the bus computer, somebody with its administrator's rights "   \
	  "sets one with the command {1}.")                                                        \
	X(D_OPEN, d_open, "Open")                                                                  \
	/* mechanic */                                                                             \
	X(S_HEAD, s_head, "Service") X(S_ON, s_on, "Service is on until {1}, {2} more.")           \
	X(S_ON_NO_END, s_on_no_end, "Service is on.") X(S_OFF, s_off, "Service is off.")           \
	X(S_DOES, s_does,                                                                          \
	  "Service mutes beeper and horn for a while and ends by itself. The telltale still "      \
	  "works, and the driver's page says that service is on.")                                 \
	X(S_SWEEP, s_sweep,                                                                        \
	  "It ends no sweep: one that is owed meanwhile stays owed, and is marked doubtful as "    \
	  "muted.")                                                                                \
	X(S_TURN_ON, s_turn_on, "Turn service on") X(S_TURN_OFF, s_turn_off, "Turn service off")   \
	X(S_CERTIFY, s_certify, "Certify a defect") X(S_WHICH, s_which, "Which defect")            \
	X(S_AS, s_as, "What was done") X(S_REPAIRED, s_repaired, "It was repaired")                \
	X(S_NO_NEED, s_no_need, "No repair is needed") X(S_CODE, s_code, "Your code")              \
	X(S_DO_CERTIFY, s_do_certify, "Certify")                                                   \
	X(SESSION_LEFT, session_left, "This session ends in {1} if nothing is done.")              \
	X(R_SIGN_AGAIN, r_sign_again, "Sign a new one instead")                                    \
	/* installer */                                                                            \
	X(I_CAUTION, i_caution,                                                                    \
	  "Secure the bus against moving. Before wires are touched, take the supply off as the "   \
	  "makers' instructions and local rules ask, and measure that it is off.")                 \
	X(I_COUNTED, i_counted, "Counted for {1}.") X(I_COUNT, i_count, "Count anew")              \
	X(I_CAPTURE, i_capture, "Raw edges as VCD (IEEE 1364)") X(I_SPAN, i_span, "Strips show")   \
	X(I_10, i_10, "the last 10 s") X(I_60, i_60, "the last minute")                            \
	X(I_600, i_600, "the last 10 min")                                                         \
	X(I_AXIS, i_axis, "Left: {1} ago. Right: now. Up: 1. Down: 0.")                            \
	N(I_STRIP, i_strip, "{1} edge shown, {2}", "{1} edges shown, {2}")                         \
	X(I_CUT, i_cut, "Earlier edges are no longer kept.") X(I_EDGES, i_edges, "Edges")          \
	X(I_SHORTEST, i_shortest, "Shortest pulse")                                                \
	X(I_CHATTER, i_chatter, "Shorter than {1} ms") X(I_MS, i_ms, "{1} ms")                     \
	X(I_BELOW, i_below, "under {1} ms") X(I_ABOVE, i_above, "{1} ms and up")                   \
	X(I_BINS, i_bins, "Short pulses by width")                                                 \
	X(I_PAIR, i_pair, "The button's two contacts") X(I_AGREE, i_agree, "They agree: {1}.")     \
	X(I_DISAGREE, i_disagree, "They disagree, for {1}:") X(I_SAYS, i_says, "{1} reads {2}.")   \
	X(I_OUTPUTS, i_outputs, "Try the outputs")                                                 \
	X(I_LINE_WELL, i_line_well, "Well: it moves both ways.")                                   \
	X(I_LINE_UNSEEN, i_line_unseen,                                                            \
	  "Has not moved since counting began. Work it; if nothing comes, look for a broken "      \
	  "wire or a wrong terminal.")                                                             \
	X(I_LINE_ONE_WAY, i_line_one_way,                                                          \
	  "Moved once and not back. Work it again; if it stays, look for a stuck contact or a "    \
	  "wire that broke off.")                                                                  \
	X(I_LINE_CHATTERS, i_line_chatters,                                                        \
	  "Chatters: many pulses too short to settle. Look for a loose terminal, a worn "          \
	  "contact, or a wire that picks up noise.")                                               \
	X(I_LINE_BOTH_OPEN, i_line_both_open,                                                      \
	  "Both contacts read open: a broken common wire or no supply at the button.")             \
	X(I_LINE_BOTH_CLOSED, i_line_both_closed,                                                  \
	  "Both contacts read closed: shorted together, or a contact that stuck.")                 \
	X(I_LINE_STUCK, i_line_stuck,                                                              \
	  "Reads pressed for too long: a jammed button, or a wire shorted to the supply.")         \
	X(I_LINE_FAULT, i_line_fault, "The board cannot have this line: see its fault.")           \
	X(I_OUT_UNSEEN, i_out_unseen, "Not driven since counting began. Try it.")                  \
	/* walk through the wiring */                                                              \
	X(G_LEAD, g_lead,                                                                          \
	  "One step for each line and level: do what it says, wait for what is seen, go on. It "   \
	  "ends in a set-up record.")                                                              \
	X(G_BEGIN, g_begin, "Begin") X(G_BEGIN_ANEW, g_begin_anew, "Begin anew")                   \
	X(G_NEXT, g_next, "Next") X(G_AGAIN, g_again, "The last step again")                       \
	X(G_SKIP, g_skip, "Skip") X(G_END, g_end, "To the set-up record")                          \
	X(G_STEP, g_step, "Step {1} of {2}")                                                       \
	X(G_ALL, g_all, "Every step has been judged. Sign the set-up record.")                     \
	X(G_STEPS, g_steps, "Steps so far") X(G_IGNITION_1, g_ignition_1, "Turn the key on.")      \
	X(G_IGNITION_0, g_ignition_0, "Turn the key off.")                                         \
	X(G_PARK_BRAKE_1, g_park_brake_1, "Set the parking brake.")                                \
	X(G_PARK_BRAKE_0, g_park_brake_0,                                                          \
	  "Release the parking brake, if the bus stands safely without it.")                       \
	X(G_BUTTON_1, g_button_1, "Press and hold the rear button.")                               \
	X(G_BUTTON_0, g_button_0, "Let go of the rear button.")                                    \
	X(G_REAR_DOOR_1, g_rear_door_1, "Open the rear door.")                                     \
	X(G_REAR_DOOR_0, g_rear_door_0, "Shut the rear door.")                                     \
	X(G_EXITS_1, g_exits_1, "Open an emergency exit.")                                         \
	X(G_EXITS_0, g_exits_0, "Shut every emergency exit.")                                      \
	X(G_SERVICE_DOOR_1, g_service_door_1, "Open the service door.")                            \
	X(G_SERVICE_DOOR_0, g_service_door_0, "Shut the service door.")                            \
	X(G_LAMPS_1, g_lamps_1, "Switch the red warning lamps on.")                                \
	X(G_LAMPS_0, g_lamps_0, "Switch the red warning lamps off.")                               \
	X(G_OTHER_1, g_other_1, "Make it come to 1.")                                              \
	X(G_OTHER_0, g_other_0, "Make it come to 0.")                                              \
	N(G_EDGES_ON, g_edges_on, "{1} edge on {2}", "{1} edges on {2}")                           \
	X(G_SAW_NOTHING, g_saw_nothing, "Saw: nothing on {1} yet.")                                \
	X(G_SAW_RIGHT, g_saw_right, "Saw: {2}. Right.")                                            \
	X(G_SAW_SWAPPED, g_saw_swapped, "Saw: nothing on {1}, {2}: are they swapped?")             \
	X(G_SAW_INVERTED, g_saw_inverted,                                                          \
	  "Saw: {2}, to the other level. Is it inverted (active_low)?")                            \
	X(G_SAW_NO_EDGE, g_saw_no_edge,                                                            \
	  "Saw: nothing on {1}: a broken wire, a wrong terminal, or no supply?")                   \
	X(G_SAW_EXCHANGED, g_saw_exchanged,                                                        \
	  "Saw: both contacts of {1} to the other level: are their two wires exchanged?")          \
	X(G_SAW_SHORTED, g_saw_shorted,                                                            \
	  "Saw: {1} moved, and with it {2}: are they shorted together?")                           \
	X(G_SAW_CROSSTALK, g_saw_crosstalk,                                                        \
	  "Saw: {1} moved, and meanwhile {2}, in short pulses: do their wires run side by "        \
	  "side, or is a ground missing?")                                                         \
	X(G_SAW_CHATTER, g_saw_chatter,                                                            \
	  "Saw: {2}, with short pulses among them: a loose terminal or a worn contact?")           \
	X(G_SAW_SKIPPED, g_saw_skipped, "Skipped.") X(G_RIGHT, g_right, "right")                   \
	X(G_SWAPPED, g_swapped, "swapped") X(G_INVERTED, g_inverted, "inverted")                   \
	X(G_NO_EDGE, g_no_edge, "no edge") X(G_SHORTED, g_shorted, "shorted")                      \
	X(G_CROSSTALK, g_crosstalk, "cross-talk") X(G_CHATTER, g_chatter, "chatter")               \
	X(G_SKIPPED, g_skipped, "skipped") X(G_OPEN, g_open, "open")                               \
	/* set-up record */                                                                        \
	X(U_SIGNED, u_signed, "Last signed by {1}, {2}.")                                          \
	X(U_NONE, u_none, "No set-up record has been signed yet.")                                 \
	X(U_NO_WALK, u_no_walk, "The wiring has not been walked through since the watch began.")   \
	X(U_STEPS, u_steps, "The walk through the wiring") X(U_COL_STEP, u_col_step, "Step")       \
	X(U_COL_RESULT, u_col_result, "Result")                                                    \
	X(U_EVIDENCE, u_evidence, "Evidence of each line")                                         \
	X(U_SIGN_LEAD, u_sign_lead,                                                                \
	  "Your code ends the walk and signs the record as it stands.")                            \
	X(U_SIGN, u_sign, "Sign and end") X(U_CODE, u_code, "Your installer's code")               \
	X(U_INK, u_ink, "Signature of the installer")                                              \
	X(U_POLICY, u_policy, "Policy in force, SHA-256:")                                         \
	X(U_NOT_YET, u_not_yet,                                                                    \
	  "The record is signed when every step has a result or was skipped.")                     \
	X(COLON, colon, ":")

#endif

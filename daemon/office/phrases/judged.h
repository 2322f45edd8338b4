/* SPDX-License-Identifier: Apache-2.0 */
/* How one sweep was judged, rule by rule: what was asked, what was seen, what followed. */
#define PW_PHRASES_JUDGED(X, N)                                                                   \
	X(JUDGED_ASK_NO_POLICY, judged_ask_no_policy, "the policy then in force does not stand "  \
		"here")                                                                           \
	X(JUDGED_ASK_EVERY, judged_ask_every, "a sweep after every key-off")                      \
	X(JUDGED_ASK_RUN, judged_ask_run, "a sweep after a run of {1} or more")                   \
	X(JUDGED_ASK_LAMPS, judged_ask_lamps, "a sweep after the red lamps were used")            \
	X(JUDGED_ASK_CARRIED, judged_ask_carried, "a sweep at this stop in any case, since the "  \
		"one before was missed")                                                          \
	X(JUDGED_ASK_IDLE, judged_ask_idle, "a sweep when the engine runs with the brake set "    \
		"and {1} have passed since the door was opened")                                  \
	X(JUDGED_SEE_KEY_OFF, judged_see_key_off, "key off at {1}")                               \
	X(JUDGED_SEE_RUNNING, judged_see_running, "engine left running with the brake set; "      \
		"counted from {1}")                                                               \
	X(JUDGED_SO_OWED, judged_so_owed, "a sweep was owed from then on")                        \
	X(JUDGED_ASK_WALK, judged_ask_walk, "{1} at least for the walk: {2} rows of seats and "   \
		"{3} of aisle")                                                                   \
	X(JUDGED_ASK_REAR_SHUT, judged_ask_rear_shut, "rear door and exits shut at the press")    \
	X(JUDGED_SEE_PRESS, judged_see_press, "press at {1}, {2} after the stop")                 \
	X(JUDGED_SEE_MORE, judged_see_more, "{1} more presses")                                   \
	X(JUDGED_SEE_NO_PRESS, judged_see_no_press, "no press that counts")                       \
	X(JUDGED_SEE_AFTER, judged_see_after, "a press that counts after {1}")                    \
	X(JUDGED_SO_TOO_SOON, judged_so_too_soon, "refused: too soon for the walk")               \
	X(JUDGED_SO_TOO_SOON_ANEW, judged_so_too_soon_anew, "refused: too soon; the walk "        \
		"counted anew from when the rear was shut or power came back")                    \
	X(JUDGED_SO_REAR_OPEN, judged_so_rear_open, "refused: a rear door or exit was open")      \
	X(JUDGED_SO_REFUSED, judged_so_refused, "refused as well")                                \
	X(JUDGED_SO_ACCEPTED, judged_so_accepted, "accepted: somebody stood at the rear")         \
	X(JUDGED_ASK_DUE, judged_ask_due, "a press within {1}")                                   \
	X(JUDGED_ASK_DUE_UNLOAD, judged_ask_due_unload, "a press within {1}, and up to {2} "      \
		"more while unloading")                                                           \
	X(JUDGED_SO_IN_TIME, judged_so_in_time, "in time")                                        \
	X(JUDGED_SO_LATE, judged_so_late, "late by {1}: it was due at {2}")                       \
	X(JUDGED_ASK_REAR_SHUT_ALL, judged_ask_rear_shut_all, "rear door and exits shut from "    \
		"the stop to the press")                                                          \
	X(JUDGED_SEE_OPENED, judged_see_opened, "{1}: opened at {2}")                             \
	X(JUDGED_SEE_REAR_OPEN, judged_see_rear_open, "a rear door or exit was open already")     \
	X(JUDGED_SO_REAR, judged_so_rear, "a finding; the walk counts anew from when all of "     \
		"them are shut")                                                                  \
	X(JUDGED_ASK_AT_ONCE, judged_ask_at_once, "no door opened before the press")              \
	X(JUDGED_ASK_GRACE, judged_ask_grace, "a press within {1} once the service door has "     \
		"shut again")                                                                     \
	X(JUDGED_SEE_DOOR_USED, judged_see_door_used, "the service door was used before a press") \
	X(JUDGED_SO_DOOR, judged_so_door, "the press was due earlier, and the sweep has a "       \
		"finding")                                                                        \
	X(JUDGED_ASK_FIRST_RUNG, judged_ask_first_rung, "signals from when the press was due")    \
	X(JUDGED_ASK_RUNG, judged_ask_rung, "a stronger signal {1} after they began")             \
	X(JUDGED_ASK_SPENT, judged_ask_spent, "an end of the sounding {1} after it began")        \
	X(JUDGED_SEE_RUNG, judged_see_rung, "signal {1} at {2}")                                  \
	X(JUDGED_SO_SOUNDED, judged_so_sounded, "it lasted until the next one, a press or the "   \
		"key")                                                                            \
	X(JUDGED_SO_TOLD, judged_so_told, "likewise, and a message to the office")                \
	X(JUDGED_SO_SPENT, judged_so_spent, "the lamp alone; a press still counts")               \
	X(JUDGED_ASK_KEY_STAYS, judged_ask_key_stays, "the key off until a press")                \
	X(JUDGED_SEE_DRIVEN_OFF, judged_see_driven_off, "driven off at {1}, {2} after the stop")  \
	X(JUDGED_SO_DRIVEN_OFF, judged_so_driven_off, "the sweep closed as missed, and the "      \
		"next stop owes one for it")                                                      \
	X(JUDGED_ASK_RETURN, judged_ask_return, "{1} at least and {2} at most for the way back")  \
	X(JUDGED_SEE_EXIT, judged_see_exit, "end of the second look at {1}, {2} after the press") \
	X(JUDGED_SEE_NO_EXIT, judged_see_no_exit, "leaving by the service door was not seen")     \
	X(JUDGED_SEE_DOOR_STOOD, judged_see_door_stood, "the service door stood open until the "  \
		"time was over")                                                                  \
	X(JUDGED_SEE_POWERED_DOWN, judged_see_powered_down, "power was switched off on the way "  \
		"out")                                                                            \
	X(JUDGED_SO_RETURN, judged_so_return, "time enough for the way back")                     \
	X(JUDGED_SO_RETURN_SHORT, judged_so_return_short, "too short for the way back: a "        \
		"finding")                                                                        \
	X(JUDGED_SO_TIME_OVER, judged_so_time_over, "the sweep closed when the time was over")    \
	X(JUDGED_SO_POWERED_DOWN, judged_so_powered_down, "taken for leaving, and noted")         \
	X(JUDGED_ASK_REAR_BACK, judged_ask_rear_back, "rear door and exits shut on the way back") \
	X(JUDGED_SO_FINDING, judged_so_finding, "a finding: {1}")                                 \
	X(JUDGED_ASK_POWER, judged_ask_power, "power until the sweep is closed")                  \
	X(JUDGED_SEE_POWER, judged_see_power, "no power from {1} to {2}")                         \
	X(JUDGED_SEE_POWER_LOST, judged_see_power_lost, "no power up to {1}, for how long is "    \
		"not known")                                                                      \
	X(JUDGED_SEE_GAP_BEFORE, judged_see_gap_before, "power was gone for a time before the "   \
		"stop")                                                                           \
	X(JUDGED_SO_DIP, judged_so_dip, "a dip: it changed nothing")                              \
	X(JUDGED_SO_POWER, judged_so_power, "a finding: what happened meanwhile is not known")    \
	X(JUDGED_SO_NOTED, judged_so_noted, "noted")                                              \
	X(JUDGED_ASK_CLOCK, judged_ask_clock, "a clock that can vouch for the time without "      \
		"power")                                                                          \
	X(JUDGED_SEE_CLOCK, judged_see_clock, "it could not")                                     \
	X(JUDGED_ASK_SERVICE, judged_ask_service, "no service while a sweep is owed")             \
	X(JUDGED_SEE_SERVICE, judged_see_service, "beeper and horn were muted by a mechanic's "   \
		"service")                                                                        \
	X(JUDGED_ASK_HELD, judged_ask_held, "the button let go within {1}")                       \
	X(JUDGED_SEE_HELD, judged_see_held, "it was held down for longer")                        \
	X(JUDGED_ASK_CONTACTS, judged_ask_contacts, "the button's two contacts in agreement "     \
		"within {1}")                                                                     \
	X(JUDGED_SEE_CONTACTS, judged_see_contacts, "they disagreed for longer")                  \
	X(JUDGED_ASK_VERDICT, judged_ask_verdict, "the first that applies: no press that "        \
		"counts, missed; a finding that the policy doubts, doubtful; a late press, "      \
		"late; else walked")                                                              \
	X(JUDGED_SEE_DOUBTS, judged_see_doubts, "what the policy doubts: {1}")                    \
	X(JUDGED_SEE_LATE, judged_see_late, "nothing that the policy doubts, and a press late "   \
		"by {1}")                                                                         \
	X(JUDGED_SEE_DONE, judged_see_done, "a press in time, and nothing that the policy "       \
		"doubts")                                                                         \
	X(JUDGED_SO_VERDICT, judged_so_verdict, "verdict: {1}")                                   \
	X(JUDGED_F_ALARM_SPENT, judged_f_alarm_spent, "Nobody answered the signals until they "   \
		"were spent.")                                                                    \
	X(JUDGED_F_BUTTON_CONTACTS, judged_f_button_contacts, "The two contacts of the rear "     \
		"button disagreed: one of them may be worn, or wired wrong.")                     \
	X(JUDGED_F_BUTTON_HELD, judged_f_button_held, "The rear button was held down long; it "   \
		"may be stuck, or blocked.")                                                      \
	X(JUDGED_F_CARRIED, judged_f_carried, "The sweep before was missed, so this one had "     \
		"less time.")                                                                     \
	X(JUDGED_F_CLOCK_UNSURE, judged_f_clock_unsure, "Power was gone, and the clock could "    \
		"not say for how long.")                                                          \
	X(JUDGED_F_DOOR_BEFORE_PRESS, judged_f_door_before_press, "The service door was used "    \
		"before the press: the driver may have left.")                                    \
	X(JUDGED_F_DOOR_LEFT_OPEN, judged_f_door_left_open, "The service door stood open, so "    \
		"leaving was not seen.")                                                          \
	X(JUDGED_F_DRIVEN_OFF, judged_f_driven_off, "The bus was driven off before a press "      \
		"that counts.")                                                                   \
	X(JUDGED_F_EXIT_UNSEEN, judged_f_exit_unseen, "Nobody was seen to leave by the service "  \
		"door.")                                                                          \
	X(JUDGED_F_LEFT_BY_REAR, judged_f_left_by_rear, "A rear door or exit opened on the way "  \
		"back: the second look may have been cut short.")                                 \
	X(JUDGED_F_LEFT_RUNNING, judged_f_left_running, "The bus stood with its engine running "  \
		"and the brake set for so long that somebody may have left.")                     \
	X(JUDGED_F_MUTED, judged_f_muted, "A mechanic's service muted beeper and horn while "     \
		"the sweep was owed.")                                                            \
	X(JUDGED_F_POWER_LOST, judged_f_power_lost, "Power was gone for a time: what happened "   \
		"meanwhile was not seen.")                                                        \
	X(JUDGED_F_POWERED_DOWN, judged_f_powered_down, "Power was switched off when the way "    \
		"back was over: taken for leaving.")                                              \
	X(JUDGED_F_REAR_OPENED, judged_f_rear_opened, "A rear door or exit was open between "     \
		"stop and press: the button can be reached from there without a walk.")           \
	X(JUDGED_F_RETURN_SHORT, judged_f_return_short, "From press to leaving was less time "    \
		"than the way back takes.")

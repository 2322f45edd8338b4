/* SPDX-License-Identifier: Apache-2.0 */
/* What every page has, and what codes are called wherever they stand in a table. */
#define PW_PHRASES_FRAME(X, N)                                                                 \
	/* the page around it */                                                                  \
	X(SITE, site, "Sweep records of the yard") X(SKIP, skip, "To the content")                \
	X(PAGES, pages, "Pages") X(LANGUAGE, language, "Language")                                \
	X(SIGNED_IN_AS, signed_in_as, "Signed in as {1}") X(SIGN_OUT, sign_out, "Sign out")       \
	X(TIMES_OF, times_of, "All times are by the clock of {1}.")                               \
	X(WHAT_A_PRESS_SAYS, what_a_press_says,                                                   \
	  "A press says that somebody stood at the rear, and nothing else.")                      \
	X(YES, yes, "yes") X(NO, no, "no") X(ON, on, "on") X(OFF, off, "off")                     \
	X(NOT_KNOWN, not_known, "not known") X(NOTHING_HERE, nothing_here, "Nothing here.")       \
	X(MORE, more, "More rows") X(AS_CSV, as_csv, "as CSV")                                    \
	X(AS_LINES, as_lines, "as JSON Lines") X(PRINT, print, "Print") X(SHOW, show, "Show")     \
	X(BACK, back, "Back") X(REQUIRED, required, "required") X(ANY, any, "any")                \
	X(TO_TYPE, to_type, "To type or to copy") X(UNIT_DAY, unit_day, "d")                      \
	/* columns and fields that many tables have */                                            \
	X(COL_BUS, col_bus, "Bus") X(COL_DAY, col_day, "Day")                                     \
	X(COL_DRIVER, col_driver, "Driver code") X(COL_ROUTE, col_route, "Route")                 \
	X(COL_RUN, col_run, "Run") X(COL_PLACE, col_place, "Place")                               \
	X(COL_RESULT, col_result, "Result") X(COL_VERDICT, col_verdict, "Verdict")                \
	X(COL_FINDINGS, col_findings, "Findings") X(COL_RUNG, col_rung, "Rung")                   \
	X(COL_LINE, col_line, "Line") X(COL_WHY, col_why, "Why") X(COL_WHAT, col_what, "What")    \
	X(COL_WHO, col_who, "Who") X(COL_WORDS, col_words, "Words") X(COL_AT, col_at, "At")       \
	X(COL_FROM, col_from, "From") X(COL_TO, col_to, "To")                                     \
	X(COL_KEY_OFF, col_key_off, "Key off")                                                    \
	X(COL_PRESS_AFTER, col_press_after, "Press after")                                        \
	X(COL_LEFT_AFTER, col_left_after, "Left after") X(COL_LATE_BY, col_late_by, "Late by")    \
	X(COL_UNCHECKED, col_unchecked, "Time unchecked")                                         \
	X(COL_REFUSED, col_refused, "Presses refused") X(COL_NEXT, col_next, "Next step")         \
	X(COL_COUNT, col_count, "Count")                                                          \
	/* verdicts and results */                                                                \
	X(DONE, done, "walked") X(WALKED, walked, "walked") X(LATE, late, "late")                 \
	X(DOUBTFUL, doubtful, "doubtful") X(MISSED, missed, "missed")                             \
	X(NO_RECORD, no_record, "no record") X(UNPLANNED, unplanned, "no planned run")            \
	X(NOT_YET, not_yet, "not yet known") X(OPEN, open, "still open")                          \
	X(CORRECTED, corrected, "corrected by hand")                                              \
	/* why there is no record */                                                              \
	X(BUS_SILENT, bus_silent, "nothing was heard of the bus")                                 \
	X(NO_KEY_OFF, no_key_off, "no key-off near the planned end")                              \
	X(CLOCK_DOUBTFUL, clock_doubtful, "the bus’s clock cannot vouch for the time")            \
	X(OTHER_BUS, other_bus, "another bus has a stop that would fit")                          \
	/* why this stop was taken for the run */                                                 \
	X(ONLY, only, "the only stop within the window")                                          \
	X(NEAREST, nearest, "the stop nearest to the planned end")                                \
	X(TOTAL, total, "a nearer stop serves another run better")                                \
	/* findings */                                                                            \
	X(ALARM_SPENT, alarm_spent, "the alarm sounded as long as it may")                        \
	X(BUTTON_CONTACTS, button_contacts, "the button’s two contacts disagreed")                \
	X(BUTTON_HELD, button_held, "the button was held down")                                   \
	X(CARRIED, carried, "the sweep before was missed")                                        \
	X(CLOCK_UNSURE, clock_unsure, "the clock was unsure over a power cut")                    \
	X(DOOR_BEFORE_PRESS, door_before_press, "the door was used before a press")               \
	X(DOOR_LEFT_OPEN, door_left_open, "the service door was left open")                       \
	X(DRIVEN_OFF, driven_off, "key on again before a press")                                  \
	X(EXIT_UNSEEN, exit_unseen, "leaving by the service door was not seen")                   \
	X(LEFT_BY_REAR, left_by_rear, "a rear door or exit opened on the way back")               \
	X(LEFT_RUNNING, left_running, "the engine was left running")                              \
	X(MUTED, muted, "sounds were muted for service")                                          \
	X(POWER_LOST, power_lost, "power was lost")                                               \
	X(POWERED_DOWN, powered_down, "the battery switch was opened on leaving")                 \
	X(REAR_OPENED, rear_opened, "a rear door or exit was opened")                             \
	X(RETURN_SHORT, return_short, "too soon at the door for a second look")                   \
	/* why a press was refused */                                                             \
	X(REAR_OPEN, rear_open, "a rear door or exit was open")                                   \
	X(TOO_SOON, too_soon, "too soon to have looked into every row")                           \
	/* rungs and signals by their usual names */                                              \
	X(NO_SIGNAL, none, "none") X(PROMPT, prompt, "prompt") X(SPENT, spent, "alarm spent")     \
	X(ACCEPTED, accepted, "accepted") X(CABIN, cabin, "beeper inside")                        \
	X(OUTSIDE, outside, "horn outside") X(OFFICE, office, "office told")                      \
	/* phases */                                                                              \
	X(PARKED, parked, "parked") X(DRIVING, driving, "key on") X(OWED, owed, "sweep owed")     \
	X(OVERDUE, overdue, "sweep overdue") X(WALK_BACK, walk_back, "walking back")              \
	/* lines */                                                                               \
	X(IGNITION, ignition, "Ignition key") X(PARK_BRAKE, park_brake, "Parking brake")          \
	X(REAR_BUTTON, rear_button, "Rear button")                                                \
	X(REAR_BUTTON_NC, rear_button_nc, "Rear button, second contact")                          \
	X(REAR_DOOR, rear_door, "Rear door") X(EXITS, exits, "Emergency exits")                   \
	X(SERVICE_DOOR, service_door, "Service door") X(LAMPS, lamps, "Red warning lamps")        \
	X(BEEPER, beeper, "Beeper") X(HORN, horn, "Horn") X(LAMP, lamp, "Telltale")               \
	X(DOME, dome, "Inside lighting")                                                          \
	/* matters */                                                                             \
	X(CHILD, child, "a child was found") X(FORK, fork, "two histories of one bus")            \
	X(HOLE, hole, "records that are nowhere any more")                                        \
	X(KEY, key, "another key asks to be this bus") X(REFUSED, refused, "refused")             \
	/* faults; {1} is a line */                                                               \
	X(EDGES_DROPPED, edges_dropped, "edges came too fast and were dropped")                   \
	X(DELIVERY, delivery, "records do not reach the office")                                  \
	X(PAGE, page, "the bus’s own page does not run") X(CHATTERING, chattering, "chatters")    \
	X(FAULT_SILENT, fault_silent, "{1}: told to sound, and its sense did not see it")         \
	X(FAULT_LINE, fault_line, "{1}: its line cannot be read or driven")                       \
	X(FAULT_UNHEARD, fault_unheard, "{1}: tried, and nobody saw or heard it")                 \
	/* kinds of records; words that are a matter, a fault as well */                          \
	X(BOOT, boot, "start of the watch") X(POLICY, policy, "policy")                           \
	X(EDGES, edges, "edges of a line") X(LEVEL, level, "levels") X(SWEEP, sweep, "sweep")     \
	X(RESTART, restart, "stall, started again") X(EXCUSED, excused, "excused by the policy")  \
	X(RUNG, rung, "rung of the alarm") X(FAULT, fault, "fault")                               \
	X(SERVICE, service, "service") X(CLOCK, clock, "clock")                                   \
	X(PROOF, proof, "test of a line") X(FOUND, found, "what a walk found")                    \
	X(SETUP, setup, "set-up") X(PIN, pin, "PIN")                                              \
	X(LOST, lost, "records lost before the disk")                                             \
	X(RECEIPT, receipt, "receipt of the office") X(PRUNE, prune, "old records put aside")     \
	X(EPOCH, epoch, "beginning of a journal") X(JOURNAL, journal, "journal")                  \
	X(REPORT, report, "vehicle report")                                                       \
	/* what a walk found, and what was signed */                                              \
	X(NOTHING, nothing, "nothing") X(ARTICLE, article, "an article left behind")              \
	X(DAMAGE, damage, "damage") X(LEFT_OPEN, left_open, "a window or exit left open")         \
	X(MECHANICAL, mechanical, "a mechanical fault") X(SIGNED, signed, "signed")               \
	X(REVIEWED, reviewed, "reviewed") X(REPAIRED, repaired, "repaired")                       \
	X(NO_NEED, no_need, "no repair needed") X(MOVED, moved, "its level went both ways")       \
	X(SENSED, sensed, "its sense saw it") X(HEARD, heard, "somebody saw or heard it")         \
	X(NOT_HEARD, not_heard, "nobody saw or heard it")                                         \
	/* parts that a vehicle report covers */                                                  \
	X(SERVICE_BRAKES, service_brakes, "service brakes")                                       \
	X(PARKING_BRAKE, parking_brake, "parking brake") X(STEERING, steering, "steering")        \
	X(LIGHTING, lighting, "lighting") X(TIRES, tires, "tires")                                \
	X(WIPERS, wipers, "windshield wipers") X(MIRRORS, mirrors, "mirrors")                     \
	X(COUPLING, coupling, "coupling devices") X(WHEELS, wheels, "wheels and rims")            \
	X(EMERGENCY_EQUIPMENT, emergency_equipment, "emergency equipment")                        \
	X(OTHER, other, "other")                                                                  \
	/* what an account may do */                                                              \
	X(SEE, see, "may see") X(ACT, act, "may act")                                             \
	X(ADMINISTER, administer, "may administer") X(CLOSED, closed, "closed")                   \
	/* what is kept */                                                                        \
	X(RECORDS, records, "records") X(ROWS, rows, "rows") X(WARMTH, warmth, "temperatures")    \
	X(VIEWS, views, "views of a driver’s record")                                             \
	/* days of the week, by their numbers in ISO 8601 */                                      \
	X(WEEKDAY_1, weekday_1, "Monday") X(WEEKDAY_2, weekday_2, "Tuesday")                      \
	X(WEEKDAY_3, weekday_3, "Wednesday") X(WEEKDAY_4, weekday_4, "Thursday")                  \
	X(WEEKDAY_5, weekday_5, "Friday") X(WEEKDAY_6, weekday_6, "Saturday")                     \
	X(WEEKDAY_7, weekday_7, "Sunday")

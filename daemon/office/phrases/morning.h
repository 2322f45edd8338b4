/* SPDX-License-Identifier: Apache-2.0 */
/* What needs a person this morning, and what the office cannot know. */
#define PW_PHRASES_MORNING(X, N)                                                                  \
	X(MORNING, morning, "This morning")                                                       \
	/* the answer, first; parts of one sentence */                                            \
	X(MORNING_SINCE, morning_since, "Since {1}: {2}.")                                        \
	X(MORNING_CALM, morning_calm, "Nothing waits for a person in what came in since {1}.")    \
	N(MORNING_N_ALERTS, morning_n_alerts, "{1} alert waits", "{1} alerts wait")               \
	N(MORNING_N_MATTERS, morning_n_matters, "{1} other matter waits",                         \
	  "{1} other matters wait")                                                               \
	N(MORNING_N_MISSED, morning_n_missed, "{1} sweep was not walked",                         \
	  "{1} sweeps were not walked")                                                           \
	N(MORNING_N_DOUBTFUL, morning_n_doubtful, "{1} sweep is doubtful",                        \
	  "{1} sweeps are doubtful")                                                              \
	N(MORNING_N_LOST, morning_n_lost, "{1} planned run has no record",                        \
	  "{1} planned runs have no record")                                                      \
	N(MORNING_N_SILENT, morning_n_silent, "{1} bus has not been heard of",                    \
	  "{1} buses have not been heard of")                                                     \
	N(MORNING_N_FAULTS, morning_n_faults, "{1} fault of a signal, wire or board stands",      \
	  "{1} faults of signals, wires or boards stand")                                         \
	N(MORNING_N_MUTED, morning_n_muted, "{1} bus is muted", "{1} buses are muted")            \
	N(MORNING_N_CLOCKS, morning_n_clocks, "{1} clock is off", "{1} clocks are off")           \
	/* what waits */                                                                          \
	X(MORNING_MATTERS, morning_matters, "Waits for somebody to take it")                      \
	X(MORNING_MATTERS_NONE, morning_matters_none, "Every alert and matter has been taken.")   \
	X(MORNING_MATTER, morning_matter, "Matter") X(MORNING_CAME, morning_came, "Came in")      \
	X(MORNING_NEXT_CHILD, morning_next_child,                                                 \
	  "Call the driver and the yard now, follow your plan for a child left behind, then take it.") \
	X(MORNING_NEXT_RUNG, morning_next_rung,                                                   \
	  "Have somebody go to the bus and look into every row, then take it.")                   \
	X(MORNING_NEXT_FORK, morning_next_fork,                                                   \
	  "Ask who put a journal back or copied a board; keep both histories.")                   \
	X(MORNING_NEXT_REFUSED, morning_next_refused,                                             \
	  "Nothing of it was taken in: ask the mechanic what was changed on the bus.")            \
	X(MORNING_NEXT_KEY, morning_next_key,                                                     \
	  "Ask who changed the board, then accept or refuse the key (postwalk-office keys).")     \
	X(MORNING_NEXT_JOURNAL, morning_next_journal,                                             \
	  "Have the board’s disk looked at, and keep the journal that was set aside.")            \
	X(MORNING_NEXT_HOLE, morning_next_hole,                                                   \
	  "Ask the mechanic for journals that were set aside: what is missing can be taken in (postwalk-office take-in).")        \
	X(MORNING_NEXT_CLOCK, morning_next_clock,                                                 \
	  "Have the board’s clock and its battery looked at.")                                    \
	X(MORNING_TAKE, morning_take, "Take a matter")                                            \
	X(MORNING_TAKE_WORDS, morning_take_words, "What you do about it")                         \
	X(MORNING_TAKE_IT, morning_take_it, "Take it")                                            \
	X(MORNING_TOOK, morning_took, "Matter {1} is taken by {2}.")                              \
	X(MORNING_NO_MATTER, morning_no_matter, "expected the number of a matter that waits")     \
	X(MORNING_TAKEN_BEFORE, morning_taken_before, "it was taken before, by {1}")              \
	X(MORNING_NO_WORDS, morning_no_words, "expected 1 to 160 bytes of words on one line")     \
	/* sweeps */                                                                              \
	X(MORNING_BAD, morning_bad, "Missed and doubtful sweeps, the longest unchecked first")    \
	X(MORNING_BAD_NEXT, morning_bad_next,                                                     \
	  "Open the sweep, ask the driver and the yard, and see whether somebody has walked the bus since.") \
	X(MORNING_BAD_NONE, morning_bad_none,                                                     \
	  "None in what came in. Look below at what the office cannot know.")                     \
	/* would we know? */                                                                      \
	X(MORNING_KNOW, morning_know, "Would we know?")                                           \
	X(MORNING_KNOW_RUNS, morning_know_runs,                                                   \
	  "Of {1} runs planned since {2} and over by now, {3} have a record. About the other {4} the office cannot say whether anybody walked.") \
	X(MORNING_KNOW_ALL, morning_know_all,                                                     \
	  "All {1} runs planned since {2} and over by now have a record.")                        \
	X(MORNING_KNOW_NO_PLAN, morning_know_no_plan,                                             \
	  "No runs are planned here since {1}: a run without any record would not be noticed. Import the run sheet.") \
	X(MORNING_KNOW_BUSES, morning_know_buses,                                                 \
	  "{1} of {2} buses were heard of on {3}. A bus that is silent may have missed anything, and its alerts have not come in.") \
	X(MORNING_KNOW_FAULTS, morning_know_faults,                                               \
	  "While a signal or a wire does not work, an alarm may not have been heard and a press may not have counted.") \
	X(MORNING_KNOW_UNSEEN, morning_know_unseen,                                               \
	  "A bus without a board, and a run that no sheet has, are not seen here at all.")        \
	X(MORNING_TO_RUNS, morning_to_runs, "Planned runs")                                       \
	X(MORNING_LOST, morning_lost, "Planned runs with no record")                              \
	X(MORNING_LOST_NEXT, morning_lost_next,                                                   \
	  "Ask the yard which bus and driver did the run, and whether the bus was walked; correct the run with what you know.") \
	X(MORNING_LOST_NONE, morning_lost_none, "No planned run lacks a record.")                 \
	X(MORNING_PLANNED_END, morning_planned_end, "Planned end")                                \
	X(MORNING_SILENT, morning_silent, "Buses not heard of, though expected")                  \
	X(MORNING_SILENT_NEXT, morning_silent_next,                                               \
	  "Look at the bus: is its board powered, has it a network in the yard? Its journal goes on and is delivered later.") \
	X(MORNING_SILENT_NONE, morning_silent_none, "Every bus that was expected has been heard of.") \
	X(MORNING_LAST_HEARD, morning_last_heard, "Last heard of")                                \
	X(MORNING_ENROLLED, morning_enrolled, "Enrolled")                                         \
	X(MORNING_FAULTS, morning_faults, "Signals, wires and boards with a fault that stands")   \
	X(MORNING_FAULTS_NEXT, morning_faults_next,                                               \
	  "Have it mended, and tested on the bus: until then a skipped walk may not be heard.")   \
	X(MORNING_FAULTS_NONE, morning_faults_none, "No fault stands.")                           \
	X(MORNING_FAULT, morning_fault, "Fault") X(MORNING_STANDS_SINCE, morning_stands_since, "Since") \
	X(MORNING_MUTED, morning_muted, "Muted for a mechanic")                                   \
	X(MORNING_MUTED_NEXT, morning_muted_next,                                                 \
	  "Ask whether the work is done, and have the muting ended before the bus carries anybody.") \
	X(MORNING_MUTED_NONE, morning_muted_none, "No bus is muted.")                             \
	X(MORNING_CLOCKS, morning_clocks, "Clocks that are off")                                  \
	X(MORNING_CLOCKS_NEXT, morning_clocks_next,                                               \
	  "Have the board’s clock looked at: what it says of times may not be so, and runs may not be matched.") \
	X(MORNING_CLOCKS_NONE, morning_clocks_none, "No clock is known to be off.")

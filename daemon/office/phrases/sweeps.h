/* SPDX-License-Identifier: Apache-2.0 */
/* Rows by a filter; one sweep: its drawing, how it was judged, its records, corrections. */
#define PW_PHRASES_SWEEPS(X, N)                                                                   \
	X(SWEEPS_NAME, sweeps_name, "Sweeps")                                                     \
	X(SWEEPS_ABOUT, sweeps_about, "What became of each planned run, and of each stop that "   \
		"no run was planned for.")                                                        \
	X(SWEEPS_ORDER, sweeps_order, "Order")                                                    \
	X(SWEEPS_NEWEST, sweeps_newest, "newest first")                                           \
	X(SWEEPS_LONGEST, sweeps_longest, "longest unchecked first")                              \
	X(SWEEPS_ROWS, sweeps_rows, "Rows")                                                       \
	X(SWEEPS_NONE, sweeps_none, "No row is like that.")                                       \
	X(SWEEPS_BEGIN, sweeps_begin, "Planned begin")                                            \
	X(SWEEPS_END, sweeps_end, "Planned end")                                                  \
	X(SWEEPS_MATCHED, sweeps_matched, "Why this stop")                                        \
	X(SWEEPS_STOPS, sweeps_stops, "Stops in its window")                                      \
	X(SWEEPS_OFF, sweeps_off, "Key off after the planned end, s")                             \
	X(SWEEPS_CLOCK, sweeps_clock, "Clock vouched for")                                        \
	X(SWEEPS_CORRECTED_BY, sweeps_corrected_by, "Corrected by")                               \
	X(SWEEPS_CORRECTED_WORDS, sweeps_corrected_words, "Words of the correction")              \
	X(SWEEPS_EPOCH, sweeps_epoch, "Epoch")                                                    \
	X(SWEEPS_BRANCH, sweeps_branch, "Branch")                                                 \
	X(SWEEPS_SEQ, sweeps_seq, "Record")                                                       \
	X(SWEEPS_NO_DAY, sweeps_no_day, "Expected a day as YYYY-MM-DD, not “{1}”.")               \
	X(SWEEPS_NO_SUCH, sweeps_no_such, "“{1}” is none of the choices.")                        \
	X(SWEEPS_BACKWARDS, sweeps_backwards, "The first day is later than the last.")            \
	X(SWEEPS_NO_KEY, sweeps_no_key, "Expected an address that names a row: a bus, a day, "    \
		"and a run or a record.")                                                         \
	X(SWEEPS_ONE, sweeps_one, "Bus {1}, {2}: {3}")                                            \
	X(SWEEPS_NO_ROW, sweeps_no_row, "There is no such row: its runs may have been matched "   \
		"anew, or it is not kept any more.")                                              \
	X(SWEEPS_NO_RECORDS, sweeps_no_records, "Its records are not kept here any more: there "  \
		"is no drawing, and nothing to check.")                                           \
	X(SWEEPS_NO_SWEEP, sweeps_no_sweep, "No record of a sweep stands for it, so there is "    \
		"nothing to draw.")                                                               \
	X(SWEEPS_VALUE, sweeps_value, "Value")                                                    \
	X(SWEEPS_FACTS, sweeps_facts, "What is known of it")                                      \
	X(SWEEPS_PLANNED, sweeps_planned, "Planned run")                                          \
	X(SWEEPS_FROMTO, sweeps_fromto, "{1} to {2}")                                             \
	X(SWEEPS_DRAWING, sweeps_drawing, "The sweep over time")                                  \
	X(SWEEPS_DESCRIBED, sweeps_described, "Stop at {1}. From the stop to the press that "     \
		"counts: {2}. From the press to leaving: {3}. Presses refused: {4}.")             \
	X(SWEEPS_LANE_PHASE, sweeps_lane_phase, "Phase")                                          \
	X(SWEEPS_LANE_ASKED, sweeps_lane_asked, "Asked for")                                      \
	X(SWEEPS_LANE_WAS, sweeps_lane_was, "What was")                                           \
	X(SWEEPS_LANE_SIGNALS, sweeps_lane_signals, "Signals")                                    \
	X(SWEEPS_DUE, sweeps_due, "due")                                                          \
	X(SWEEPS_NO_PRESS, sweeps_no_press, "no press that counts")                               \
	X(SWEEPS_NO_POWER, sweeps_no_power, "no power")                                           \
	X(SWEEPS_KEY_ACCEPTED, sweeps_key_accepted, "press that counts")                          \
	X(SWEEPS_KEY_REFUSED, sweeps_key_refused, "press refused")                                \
	X(SWEEPS_KEY_EDGE, sweeps_key_edge, "edge, as recorded")                                  \
	X(SWEEPS_KEY_CUT, sweeps_key_cut, "cut: nothing happened")                                \
	X(SWEEPS_JUDGED, sweeps_judged, "How it was judged, rule by rule")                        \
	X(SWEEPS_RULE, sweeps_rule, "Rule")                                                       \
	X(SWEEPS_ASKED, sweeps_asked, "What was asked")                                           \
	X(SWEEPS_SEEN, sweeps_seen, "What was seen")                                              \
	X(SWEEPS_FOLLOWED, sweeps_followed, "What followed")                                      \
	X(SWEEPS_POLICY, sweeps_policy, "By the policy of record {1}, SHA-256 {2}.")              \
	X(SWEEPS_RULES, sweeps_rules, "Rules by their numbers in docs/rules.md, records as in "   \
		"docs/journal.md.")                                                               \
	X(SWEEPS_FINDINGS, sweeps_findings, "Findings")                                           \
	X(SWEEPS_WEIGHT, sweeps_weight, "By the policy")                                          \
	X(SWEEPS_DOUBT, sweeps_doubt, "a reason to doubt")                                        \
	X(SWEEPS_NOTE, sweeps_note, "a note")                                                     \
	X(SWEEPS_RECORDS, sweeps_records, "Its records, from the stop before to the seal")        \
	X(SWEEPS_KIND, sweeps_kind, "Kind")                                                       \
	X(SWEEPS_HASH, sweeps_hash, "SHA-256")                                                    \
	X(SWEEPS_SEAL, sweeps_seal, "Seal")                                                       \
	X(SWEEPS_SEALED, sweeps_sealed, "The seal of record {1} covers it. Fingerprint of the "   \
		"bus’s key: {2}")                                                                 \
	X(SWEEPS_UNSEALED, sweeps_unsealed, "No seal covers it yet.")                             \
	X(SWEEPS_SEAL_WRONG, sweeps_seal_wrong, "There is a seal of record {1}, and it is not "   \
		"by a key of this bus: it vouches for nothing.")                                  \
	X(SWEEPS_BROKEN, sweeps_broken, "The chain does not hold at record {1}: nothing "         \
		"vouches for it.")                                                                \
	X(SWEEPS_CHECK, sweeps_check, "Check it yourself")                                        \
	X(SWEEPS_CHECK_RECORD, sweeps_check_record, "The record as it was hashed. The last "      \
		"line answers “record.txt: OK”.")                                                 \
	X(SWEEPS_CHECK_SEAL, sweeps_check_seal, "The seal over record {1}, by the bus’s key. "    \
		"The last line answers “Signature Verified Successfully”.")                       \
	X(SWEEPS_CHECK_KEY, sweeps_check_key, "The key counts where its fingerprint is the one "  \
		"that was noted at installation: compare it with what the first line here "       \
		"prints.")                                                                        \
	X(SWEEPS_CHECK_CHAIN, sweeps_check_chain, "All records of that bus up to there, on the "  \
		"office’s machine, by somebody who may open its folder.")                         \
	X(SWEEPS_CORRECTIONS, sweeps_corrections, "Corrections by hand")                          \
	X(SWEEPS_NO_CORRECTIONS, sweeps_no_corrections, "Nobody has corrected it.")               \
	X(SWEEPS_CORRECT, sweeps_correct, "Correct it by hand")                                   \
	X(SWEEPS_CORRECT_ABOUT, sweeps_correct_about, "A correction stands beside the record, "   \
		"with who and why, and never in its place.")                                      \
	X(SWEEPS_UNCORRECTED, sweeps_uncorrected, "as it was matched")                            \
	X(SWEEPS_WORDS, sweeps_words, "Why, in your own words; no names")                         \
	X(SWEEPS_KEEP, sweeps_keep, "Keep this correction")                                       \
	X(SWEEPS_KEPT, sweeps_kept, "The correction is kept.")                                    \
	X(SWEEPS_NO_WORDS, sweeps_no_words, "Expected words of 1 to 160 bytes on one line.")

/* SPDX-License-Identifier: Apache-2.0 */
/* Planned runs, what became of them, and run sheets that are imported. */
#define PW_PHRASES_RUNS(X, N)                                                                     \
	X(RUNS, runs, "Planned runs")                                                             \
	X(RUNS_LEAD, runs_lead, "From {1} to {2}, {3} runs were planned, and {4} of them have no record.") \
	X(RUNS_LEAD_NONE, runs_lead_none, "No runs are planned here from {1} to {2}.")            \
	X(RUNS_UNSEEN, runs_unseen,                                                               \
	  "A run that no sheet has is not missed by anybody: import a sheet of every run before the day begins.") \
	X(RUNS_WRONG_DAYS, runs_wrong_days, "expected a first and a last day as 2026-11-27, the first not later") \
	X(RUNS_WRONG_RESULT, runs_wrong_result, "expected one of the results")                    \
	X(RUNS_WRONG_AFTER, runs_wrong_after, "expected the row behind which to go on")           \
	/* counts */                                                                              \
	X(RUNS_COUNTS, runs_counts, "Counts, as matched")                                         \
	X(RUNS_PLANNED, runs_planned, "runs planned")                                             \
	X(RUNS_NO_RECORD, runs_no_record, "of them with no record")                               \
	X(RUNS_SILENT, runs_silent, "and of these, nothing was heard of the bus")                 \
	X(RUNS_SWEEPS, runs_sweeps, "sweeps closed, with a run or without")                       \
	X(RUNS_WALKED, runs_walked, "of sweeps: walked")                                          \
	X(RUNS_LATE, runs_late, "of sweeps: late")                                                \
	X(RUNS_DOUBTFUL, runs_doubtful, "of sweeps: doubtful")                                    \
	X(RUNS_MISSED, runs_missed, "of sweeps: missed")                                          \
	X(RUNS_UNPLANNED, runs_unplanned, "stops that no planned run has")                        \
	X(RUNS_CORRECTED, runs_corrected, "corrected by hand")                                    \
	/* rows */                                                                                \
	X(RUNS_ROWS, runs_rows, "Runs, the newest first")                                         \
	X(RUNS_ROWS_NONE, runs_rows_none, "No run is like that.")                                 \
	X(RUNS_BEGIN, runs_begin, "Planned begin") X(RUNS_END, runs_end, "Planned end")           \
	X(RUNS_MATCHED, runs_matched, "As matched") X(RUNS_HOW, runs_how, "How it was matched")   \
	X(RUNS_TO, runs_to, "Corrected to") X(RUNS_TO_AT, runs_to_at, "Corrected at")             \
	X(RUNS_TO_WORDS, runs_to_words, "Why it was corrected")                                   \
	X(RUNS_OFF_AFTER, runs_off_after, "key-off {1} after the planned end; {2}")               \
	X(RUNS_OFF_BEFORE, runs_off_before, "key-off {1} before the planned end; {2}")            \
	X(RUNS_OFF_AT, runs_off_at, "key-off at the planned end; {1}")                            \
	X(RUNS_NEAREST, runs_nearest, "the nearest of {1} stops")                                 \
	X(RUNS_TOTAL, runs_total, "of {1} stops, since a nearer one serves another run better")   \
	X(RUNS_NOT_OVER, runs_not_over, "its window is not over yet")                             \
	X(RUNS_NO_PLAN, runs_no_plan, "no planned run has this stop")                             \
	/* run sheets */                                                                          \
	X(RUNS_IMPORTS, runs_imports, "Run sheets and feeds that were imported")                       \
	X(RUNS_IMPORTS_NONE, runs_imports_none, "None was imported yet.")                          \
	X(RUNS_IMPORT, runs_import, "Import") X(RUNS_FILE, runs_file, "File")                     \
	X(RUNS_HASH, runs_hash, "SHA-256") X(RUNS_TAKEN, runs_taken, "Runs taken")                \
	X(RUNS_LEFT, runs_left, "Lines refused")                                                  \
	X(RUNS_BRING, runs_bring, "Import a run sheet")                                            \
	X(RUNS_BRING_TEXT, runs_bring_text,                                                       \
	  "A table of text (CSV) with the headings date, bus, run, begin and end; route, driver (a code, never a name), place and zone may be there. A run of the same date, bus and id is replaced.") \
	X(RUNS_SHEET, runs_sheet, "Run sheet (CSV)") X(RUNS_SEND, runs_send, "Import")           \
	X(RUNS_PARTLY, runs_partly, "Take the good lines although others are refused")            \
	X(RUNS_NO_FILE, runs_no_file, "expected a run sheet")                                     \
	X(RUNS_NO_SHEET, runs_no_sheet, "nothing was taken: {1}")                                 \
	X(RUNS_NO_RUNS, runs_no_runs, "nothing was taken: there is no run in it that can be")     \
	X(RUNS_NOT_TAKEN, runs_not_taken, "nothing was taken, since lines of it are refused: see below") \
	X(RUNS_ACCOUNT, runs_account, "What was read")                                            \
	X(RUNS_ACCOUNT_LEAD, runs_account_lead,                                                   \
	  "Of {1}, {2} runs could be taken and {3} lines not. Nothing has been taken yet. Mend the sheet and import it again, or import it as it is with the tick.") \
	X(RUNS_LINES, runs_lines, "Lines, and what is to be said of them")                        \
	X(RUNS_LINE, runs_line, "Line") X(RUNS_IS_TAKEN, runs_is_taken, "Can be taken")           \
	X(RUNS_DONE, runs_done, "{1}: {2} runs taken, {3} lines refused.")                        \
	X(RUNS_REMARK, runs_remark, "Line {1}: {2}.")                                             \
	/* what is to be said of a line; docs/runs.md */                                          \
	X(NO_DAY, no_day, "there is no such day") X(NO_TIME, no_time, "there is no such time")    \
	X(SKIPPED_HOUR, skipped_hour, "the clocks go past that time on that day")                 \
	X(DOUBLED_HOUR, doubled_hour, "that hour is there twice, and the first is taken")         \
	X(NO_ZONE, no_zone, "there is no such time zone")                                         \
	X(NO_BUS, no_bus, "no such bus is enrolled here") X(NO_CODE, no_code, "that is no code")  \
	X(NO_TEXT, no_text, "a text is missing or too long")                                      \
	X(BACKWARDS, backwards, "it ends before it begins")                                       \
	X(TOO_LONG, too_long, "it is longer than 16 hours")                                       \
	X(DUPLICATE, duplicate, "the same date, bus and run as an earlier line")                  \
	X(COLUMNS, columns, "more cells than headings")                                           \
	X(FREQUENCY, frequency, "it runs by headway and has no time of its own")                  \
	X(IGNORED, ignored, "a column that is not used")

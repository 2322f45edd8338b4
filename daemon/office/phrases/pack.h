/* SPDX-License-Identifier: Apache-2.0 */
/* The pack for an auditor or a regulator: its page, and its report. */
#define PW_PHRASES_PACK(X, N) \
	X(PACK_NAME, pack_name, "Pack for an auditor") \
	X(PACK_ABOUT, pack_about, \
	  "A pack holds what the office knows of some days and buses: a report to print, " \
	  "tables, the records as the buses signed them, keys, receipts, and the lines to " \
	  "check all of it without this office.") \
	X(PACK_LOGGED, pack_logged, \
	  "A pack shows driver codes, so making one is written into the office’s log. " \
	  "Signed records begin before the period and may go beyond it: a chain can only " \
	  "be checked from where it begins.") \
	X(PACK_LARGE, pack_large, \
	  "It is one .zip file. A year of many buses takes a while and much room.") \
	X(PACK_BUSES, pack_buses, "Buses: codes, spaces between; empty: all") \
	X(PACK_MAKE, pack_make, "Make the pack") \
	X(PACK_NO_DAY, pack_no_day, "Expected a day as YYYY-MM-DD, not “{1}”.") \
	X(PACK_NO_DAYS, pack_no_days, "Expected a first day and a last day.") \
	X(PACK_BACKWARDS, pack_backwards, "The last day is before the first one.") \
	X(PACK_NO_BUS, pack_no_bus, "The office knows no bus “{1}”.") \
	X(PACK_TITLE, pack_title, "Sweep records from {1} to {2}") \
	X(PACK_LEAD_SWEEPS, pack_lead_sweeps, \
	  "Of {1} sweeps, {2} were missed and {3} are doubtful.") \
	X(PACK_LEAD_RUNS, pack_lead_runs, "Of {1} planned runs, {2} have no record.") \
	X(PACK_MADE, pack_made, \
	  "Made at {1} by {2}. Its numbers are also in numbers.csv, under the names given " \
	  "here.") \
	X(PACK_OF_BUSES, pack_of_buses, "Buses: {1}") \
	X(PACK_OF_ALL, pack_of_all, "Buses: all that the office knows, {1}.") \
	X(PACK_NUMBERS, pack_numbers, "Numbers") \
	X(PACK_RESULTS, pack_results, "What became of planned runs and stops") \
	X(PACK_VERDICTS, pack_verdicts, "Sweeps, by verdict") \
	X(PACK_WHYS, pack_whys, "Planned runs without a record, and why") \
	X(PACK_FINDINGS, pack_findings, "Findings on sweeps") \
	X(PACK_RECORDED, pack_recorded, \
	  "What the buses recorded on these days, by kind of record") \
	X(PACK_BY_BUS, pack_by_bus, "By bus") \
	X(PACK_BAD, pack_bad, "Missed, doubtful and late sweeps, and runs without a record") \
	X(PACK_CORRECTIONS_LIST, pack_corrections_list, "Corrections by hand") \
	X(PACK_SILENT, pack_silent, "Buses that were silent") \
	X(PACK_MATTERS, pack_matters, "What asked for a person") \
	X(PACK_JOURNALS, pack_journals, "Journals: where each begins, forks and holes") \
	X(PACK_FAULTS, pack_faults, "Faults that the buses recorded") \
	X(PACK_HOLDS, pack_holds, "Holds: what must not be purged") \
	X(PACK_PURGES, pack_purges, "What the office purged") \
	X(PACK_LIMITS, pack_limits, "What the office cannot know") \
	X(PACK_LIMIT_PRESS, pack_limit_press, \
	  "A press says that somebody stood at the rear, and nothing else. No figure here " \
	  "says anything about who or what was on a bus.") \
	X(PACK_LIMIT_SILENT, pack_limit_silent, \
	  "Where there is no record, nothing is known: neither that a walk was made nor " \
	  "that it was missed. Planned runs are known as far as the office was given run " \
	  "sheets.") \
	X(PACK_LIMIT_CLOCK, pack_limit_clock, \
	  "Times are by the bus’s clock. Where it could not vouch for the time, this is " \
	  "counted and said.") \
	X(PACK_LIMIT_KEY, pack_limit_key, \
	  "Chain and seals show what was changed by somebody without the bus’s key. They " \
	  "do not show what somebody with that key did, nor whether the wires told the " \
	  "truth.") \
	X(PACK_LIMIT_LAW, pack_limit_law, \
	  "Whether a duty was met is for local law and those who apply it. This report is " \
	  "no legal advice, and a result is no judgement of a person.") \
	X(PACK_CHECK, pack_check, "How to check it") \
	X(PACK_CHECK_WORDS, pack_check_words, \
	  "verify.txt has the lines to type: they need sha256sum, openssl and python3, " \
	  "and nothing of this office but the fingerprint of its key, from somewhere else " \
	  "than this pack.") \
	X(PACK_FIRST_OF, pack_first_of, \
	  "The first {1} of {2} are shown; all of them are in {3}.") \
	X(PACK_NUMBER, pack_number, "Name in numbers.csv") \
	X(PACK_ROWS, pack_rows, "Rows: planned runs, and stops that no run has") \
	X(PACK_RUNS, pack_runs, "Planned runs") \
	X(PACK_SWEEPS, pack_sweeps, "Sweeps") \
	X(PACK_REFUSED, pack_refused, "Presses refused") \
	X(PACK_CLOCK_DOUBTED, pack_clock_doubted, \
	  "Sweeps at a time that the bus’s clock cannot vouch for") \
	X(PACK_CORRECTED, pack_corrected, "Rows that stand corrected") \
	X(PACK_CORRECTIONS, pack_corrections, "Corrections in all") \
	X(PACK_UNCHECKED_MISSED_MS, pack_unchecked_missed_ms, \
	  "Time unchecked of missed sweeps, in milliseconds") \
	X(PACK_CHAINS, pack_chains, "Files of signed records") \
	X(PACK_RECORDS, pack_records, "Signed records in them") \
	X(PACK_SEALS, pack_seals, "Seals in them") \
	X(PACK_HEARD, pack_heard, "Last heard of") \
	X(PACK_NO_RECORDS, pack_no_records, "Runs without a record, bus silent") \
	X(PACK_BEGINS, pack_begins, "Begins as") \
	X(PACK_FIRST, pack_first, "first of its journal") \
	X(PACK_FIRST_SEQ, pack_first_seq, "First record") \
	X(PACK_LAST_SEQ, pack_last_seq, "Last record") \
	X(PACK_PURGED, pack_purged, "Purged before it") \
	X(PACK_FILE, pack_file, "File") \
	X(PACK_CAME, pack_came, "Came") \
	X(PACK_TAKEN_BY, pack_taken_by, "Taken by") \
	X(PACK_FIRST_AT, pack_first_at, "First") \
	X(PACK_LAST_AT, pack_last_at, "Last") \
	X(PACK_LIFTED, pack_lifted, "Lifted") \
	X(PACK_BEFORE, pack_before, "Of days before") \
	X(PACK_HELD, pack_held, "Left because of a hold")

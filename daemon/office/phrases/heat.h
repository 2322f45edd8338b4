/* SPDX-License-Identifier: Apache-2.0 */
/* How bad was it: missed sweeps by time and temperature; temperatures of a CSV file. */
#define PW_PHRASES_HEAT(X, N)                                                                     \
	X(HEAT_NAME, heat_name, "How bad was it")                                                 \
	N(HEAT_LEAD, heat_lead, "{1} sweep was missed from {2} to {3}.",                          \
		"{1} sweeps were missed from {2} to {3}.")                                        \
	X(HEAT_CAUTION, heat_caution, "This orders a list. It does not say who was aboard, or "   \
		"that anybody was in danger.")                                                    \
	X(HEAT_CARS, heat_cars, "Measured in closed cars; no bus was measured. The curves are "   \
		"of cars in the sun: without sun, a closed vehicle comes to the temperature "     \
		"outside.")                                                                       \
	X(HEAT_ORDER, heat_order, "Ordered by degree-hours: how far from 21 °C (70 °F), by "      \
		"what is known or by the highest curve over it, and for how long. It is a "       \
		"way to order a list, and no measure of harm.")                                   \
	X(HEAT_ORDER_TIME, heat_order_time, "No temperature is known for these: they are "        \
		"ordered by time unchecked alone.")                                               \
	X(HEAT_HELD, heat_held, "Two of the curves end at 60 minutes, the third at 90; beyond, "  \
		"their last figures stand. What passed by then is marked.")                       \
	X(HEAT_COLD, heat_cold, "Cold counts as well: for how long it was 0 °C (32 °F) or less "  \
		"has a column of its own.")                                                       \
	X(HEAT_SOURCES, heat_sources, "Curves: Pediatrics 116:e109 (2005), dark sedan at 72–96 "  \
		"°F (C1, seen); a fit to figures at second hand, 10 to 90 min (C3, "              \
		"computed); BAMS 2010, largest rates (C4, seen). Cold: a case of 6–7 h in "       \
		"the 20s °F (C6, at second hand). Nothing here is medical or legal advice.")      \
	X(HEAT_CAPPED, heat_capped, "Only the {1} that were unchecked for longest are looked "    \
		"at here; the files have the same.")                                              \
	X(HEAT_KNOWN, heat_known, "Missed sweeps with a known temperature")                       \
	X(HEAT_UNKNOWN, heat_unknown, "Missed sweeps without one")                                \
	X(HEAT_NONE_KNOWN, heat_none_known, "No temperature is known for any of them.")           \
	X(HEAT_NONE, heat_none, "None.")                                                          \
	X(HEAT_MEASURED, heat_measured, "Measured")                                               \
	X(HEAT_CABIN, heat_cabin, "inside the bus")                                               \
	X(HEAT_YARD, heat_yard, "outside")                                                        \
	X(HEAT_KNOWN_LOW, heat_known_low, "Known, low °C")                                        \
	X(HEAT_KNOWN_HIGH, heat_known_high, "Known, high °C")                                     \
	X(HEAT_INSIDE_LOW, heat_inside_low, "By curves, low °C")                                  \
	X(HEAT_INSIDE_HIGH, heat_inside_high, "By curves, high °C")                               \
	X(HEAT_INSIDE_HIGH_F, heat_inside_high_f, "By curves, high °F")                           \
	X(HEAT_FREEZING, heat_freezing, "At 0 °C or less")                                        \
	X(HEAT_NOT_KNOWN_FOR, heat_not_known_for, "Not known for")                                \
	X(HEAT_BEYOND, heat_beyond, "Beyond the curves")                                          \
	X(HEAT_DEGREE_HOURS, heat_degree_hours, "Degree-hours")                                   \
	X(HEAT_SOURCE, heat_source, "Source")                                                     \
	X(HEAT_SWEEP, heat_sweep, "The sweep")                                                    \
	X(HEAT_LOOK, heat_look, "drawing")                                                        \
	X(HEAT_ADD, heat_add, "Add temperatures")                                                 \
	X(HEAT_ADD_ABOUT, heat_add_about, "A CSV file with the columns at, celsius or "           \
		"fahrenheit, and where wanted bus. at is 2026-11-24T07:42:00-06:00, or "          \
		"2026-11-24 07:42 by the clock of this office. Without a bus it is the "          \
		"weather at the yard.")                                                           \
	X(HEAT_FILE, heat_file, "CSV file")                                                       \
	X(HEAT_FROM, heat_from, "Where the figures are from")                                     \
	X(HEAT_TAKE, heat_take, "Add them")                                                       \
	X(HEAT_TAKEN, heat_taken, "Taken: {1}. Not taken: {2}.")                                  \
	X(HEAT_LINE, heat_line, "Line {1}: {2}.")                                                 \
	X(HEAT_MORE_LINES, heat_more_lines, "And {1} lines more.")                                \
	X(HEAT_NO_FILE, heat_no_file, "Expected a CSV file.")                                     \
	X(HEAT_NO_TABLE, heat_no_table, "It cannot be taken: {1}")                                \
	X(HEAT_NO_SOURCE, heat_no_source, "Expected words of 1 to 100 bytes that say where the "  \
		"figures are from.")                                                              \
	X(HEAT_NO_TIME, heat_no_time, "“{1}” is no time: expected 2026-11-24T07:42:00-06:00 or "  \
		"2026-11-24 07:42")                                                               \
	X(HEAT_SKIPPED_HOUR, heat_skipped_hour, "the clocks skipped {1}")                         \
	X(HEAT_DOUBLED_HOUR, heat_doubled_hour, "{1} was twice that day: write it with its "      \
		"offset")                                                                         \
	X(HEAT_NO_NUMBER, heat_no_number, "“{1}” is no temperature: expected a number")           \
	X(HEAT_RANGE, heat_range, "{1} is out of range: expected -90 to 90 °C")                   \
	X(HEAT_NO_BUS, heat_no_bus, "“{1}” is the code of no bus")                                \
	X(HEAT_DUPLICATE, heat_duplicate, "the same time and bus stand before")

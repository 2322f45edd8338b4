/* SPDX-License-Identifier: Apache-2.0 */
/* Trends, and drift of lines. Words that are codes in their tables have their names. */
#define PW_PHRASES_TRENDS(X, N) \
	X(TRENDS_NAME, trends_name, "Trends") X(TRENDS_TITLE, trends_title, "Trends by {1}, {2}") \
	X(TRENDS_TITLE_ONE, trends_title_one, "Trends of {1} {2}, {3}") \
	X(TRENDS_MONTH, trends_month, "month {1}") X(TRENDS_BY, trends_by, "By") \
	X(TRENDS_BY_BUS, trends_by_bus, "bus") \
	X(TRENDS_BY_DRIVER, trends_by_driver, "driver code") \
	X(TRENDS_BY_ROUTE, trends_by_route, "route") \
	X(TRENDS_BY_HOUR, trends_by_hour, "hour of the day") \
	X(TRENDS_BY_WEEKDAY, trends_by_weekday, "day of the week") \
	X(TRENDS_SPAN, trends_span, "Time") X(TRENDS_YEAR, trends_year, "school year {1}–{2}") \
	X(TRENDS_COUNT, trends_count, "Counted") \
	X(TRENDS_OF_MISSED, trends_of_missed, "missed sweeps") \
	X(TRENDS_OF_UNPROVEN, trends_of_unproven, "missed or doubtful sweeps") \
	X(TRENDS_OF_LATE, trends_of_late, "late sweeps") \
	X(TRENDS_OF_NO_RECORD, trends_of_no_record, "runs with no record") \
	X(TRENDS_WRONG_BY, trends_wrong_by, "“{1}” is none of bus, driver, route, hour, weekday.") \
	X(TRENDS_WRONG_SPAN, trends_wrong_span, \
	  "“{1}” is no time: a month as 2026-11 was expected, or a school year by the year it " \
	  "begins in, as 2026.") \
	X(TRENDS_WRONG_COUNT, trends_wrong_count, \
	  "“{1}” is nothing that is counted here: missed, unproven, late or no_record was expected.") \
	X(TRENDS_WRONG_STEP, trends_wrong_step, "“{1}” is neither week nor month.") \
	X(TRENDS_WRONG_NAME, trends_wrong_name, "Nothing was counted of “{1}” in that time.") \
	X(TRENDS_NOTHING, trends_nothing, "Nothing was counted in that time.") \
	X(TRENDS_LEAD_MISSED, trends_lead_missed, "Missed: {1} of {2} sweeps, {3}.") \
	X(TRENDS_LEAD_UNPROVEN, trends_lead_unproven, \
	  "Missed or doubtful: {1} of {2} sweeps, {3}.") \
	X(TRENDS_LEAD_LATE, trends_lead_late, "Late: {1} of {2} sweeps, {3}.") \
	X(TRENDS_LEAD_NO_RECORD, trends_lead_no_record, \
	  "No record: {1} of {2} planned runs, {3}.") \
	N(TRENDS_OF_BUSES, trends_of_buses, "{1} bus", "{1} buses") \
	N(TRENDS_OF_DRIVERS, trends_of_drivers, "{1} driver code", "{1} driver codes") \
	N(TRENDS_OF_ROUTES, trends_of_routes, "{1} route", "{1} routes") \
	N(TRENDS_OF_HOURS, trends_of_hours, "{1} hour of the day", "{1} hours of the day") \
	N(TRENDS_OF_WEEKDAYS, trends_of_weekdays, "{1} day of the week", "{1} days of the week") \
	X(TRENDS_LOOKS, trends_looks, \
	  "You are looking at {1}. By chance alone about {2} of them would stand out at 95 %. So " \
	  "many do: {3}. After accounting for how many are looked at: {4}.") \
	N(TRENDS_UNNAMED, trends_unnamed, \
	  "{1} more has no such code or name on record, and is in none of these.", \
	  "{1} more have no such code or name on record, and are in none of these.") \
	X(TRENDS_FALSE_ALARM, trends_false_alarm, \
	  "Were they all alike, the chance that one or more of them stands out would be {1}.") \
	X(TRENDS_WIDE, trends_wide, \
	  "They differ among themselves {1} times as much as chance alone would make them. The " \
	  "limits are too narrow for that: a point outside is no news by itself. Look first for " \
	  "what many of them share.") \
	X(TRENDS_ALIKE, trends_alike, \
	  "They differ among themselves no more than chance makes them.") \
	X(TRENDS_ONE_IS_CHOSEN, trends_one_is_chosen, \
	  "This one is judged beside all the others, as if nobody had picked it out. Whoever picks " \
	  "the worst of many will find it bad.") \
	X(TRENDS_TABLE, trends_table, "Beside all of them, the least likely first") \
	X(TRENDS_TABLE_IN_ORDER, trends_table_in_order, "Beside all of them, in their order") \
	X(TRENDS_POINTS, trends_points, "The picture’s points") \
	X(TRENDS_FUNNEL_CAPTION, trends_funnel_caption, \
	  "Share by how many it is of. Within the bands, chance alone explains it: the inner one at " \
	  "95 %, the outer one at 99.8 %.") \
	X(TRENDS_BARS_CAPTION, trends_bars_caption, "Share with its 95 % interval.") \
	N(TRENDS_SEVERAL, trends_several, "{1} of them", "{1} of them") \
	X(TRENDS_COL_NAME, trends_col_name, "Name") \
	X(TRENDS_COL_SWEEPS, trends_col_sweeps, "Sweeps") \
	X(TRENDS_COL_MISSED, trends_col_missed, "Missed") \
	X(TRENDS_COL_DOUBTFUL, trends_col_doubtful, "Doubtful") \
	X(TRENDS_COL_LATE, trends_col_late, "Late") \
	X(TRENDS_COL_RUNS, trends_col_runs, "Planned runs") \
	X(TRENDS_COL_NO_RECORD, trends_col_no_record, "No record") \
	X(TRENDS_COL_SHARE, trends_col_share, "Share") \
	X(TRENDS_COL_LOWER, trends_col_lower, "95 % from") \
	X(TRENDS_COL_UPPER, trends_col_upper, "95 % to") \
	X(TRENDS_COL_PLACE, trends_col_place, "In the funnel") X(TRENDS_COL_P, trends_col_p, "p") \
	X(TRENDS_COL_ADJUSTED, trends_col_adjusted, "p, all looks") \
	X(TRENDS_COL_X, trends_col_x, "Counted") X(TRENDS_COL_N, trends_col_n, "Of") \
	X(TRENDS_COL_GROUPS, trends_col_groups, "How many") \
	X(TRENDS_COL_TARGET, trends_col_target, "All") \
	X(TRENDS_COL_WARNING_LOWER, trends_col_warning_lower, "95 % limit, lower") \
	X(TRENDS_COL_WARNING_UPPER, trends_col_warning_upper, "95 % limit, upper") \
	X(TRENDS_COL_ALARM_LOWER, trends_col_alarm_lower, "99.8 % limit, lower") \
	X(TRENDS_COL_ALARM_UPPER, trends_col_alarm_upper, "99.8 % limit, upper") \
	X(TRENDS_COL_WALKED, trends_col_walked, "Walked") \
	X(TRENDS_COL_SILENT, trends_col_silent, "Bus silent") \
	X(TRENDS_COL_UNPLANNED, trends_col_unplanned, "No planned run") \
	X(TRENDS_COL_CORRECTED, trends_col_corrected, "Corrected by hand") \
	X(WITHIN, within, "within") X(ABOVE_95, above_95, "above 95 %") \
	X(ABOVE_998, above_998, "above 99.8 %") X(BELOW_95, below_95, "below 95 %") \
	X(BELOW_998, below_998, "below 99.8 %") \
	X(TRENDS_WHY_NOT, trends_why_not, \
	  "No figure here says why a share is high or low, or that anybody did wrong. A bus, a " \
	  "route, a sheet or a button can be the reason.") \
	X(TRENDS_FEW, trends_few, \
	  "A share of few goes far up and down by itself. The 95 % interval says how little is " \
	  "known of it.") \
	X(TRENDS_LOW, trends_low, \
	  "A share that is low is no proof of walks: a button that is pressed by other means looks " \
	  "good here.") \
	X(TRENDS_METHODS, trends_methods, \
	  "Intervals: Wilson. Limits: of the binomial, exact where fewer than 10 are to be " \
	  "expected; a count is outside where so many or more, or so few or fewer, have a chance of " \
	  "2.5 % (0.1 %) or less. p: exact binomial test, two-sided, beside the share of all. All " \
	  "looks: Benjamini and Hochberg, at 5 %.") \
	X(TRENDS_OVER_WEEKS, trends_over_weeks, "Week by week, school year {1}–{2}") \
	X(TRENDS_OVER_MONTHS, trends_over_months, "Month by month, school year {1}–{2}") \
	X(TRENDS_CHART_TABLE, trends_chart_table, "Shares over time, with limits at 3 sigma") \
	X(TRENDS_CHART_CAPTION, trends_chart_caption, \
	  "Each point beside the mean of all of them; the band is what chance alone keeps to. A " \
	  "square: a rule ends there.") \
	X(TRENDS_REFUSALS_TABLE, trends_refusals_table, \
	  "Presses refused for each sweep, with limits at 3 sigma") \
	X(TRENDS_REFUSALS_CAPTION, trends_refusals_caption, \
	  "Presses refused for each sweep, beside the mean.") \
	X(TRENDS_REFUSALS, trends_refusals, "Presses refused") \
	X(TRENDS_RULE_ABOVE, trends_rule_above, "From {1}: {2}; above the mean.") \
	X(TRENDS_RULE_BELOW, trends_rule_below, "From {1}: {2}; below the mean.") \
	X(TRENDS_NO_RULE, trends_no_rule, \
	  "No rule ends at any of these {1} points: nothing here that chance does not make.") \
	X(TRENDS_RULES_RARELY, trends_rules_rarely, \
	  "By chance alone the first rule ends about once in {1} points, the first four together " \
	  "about once in {2}; here are {3}.") \
	X(TRENDS_CHART_WIDE, trends_chart_wide, \
	  "These points differ {1} times as much as chance alone would make them: there is more " \
	  "between weeks or months than chance, and the limits are too narrow for it. Points " \
	  "outside are no news by themselves.") \
	X(TRENDS_CHART_NONE, trends_chart_none, "There are no points yet.") \
	X(TRENDS_SHORT_CHART, trends_short_chart, \
	  "Of fewer than {1} points no run rule but the first can end with much meaning.") \
	X(TRENDS_STEP, trends_step, "Points") X(TRENDS_STEP_WEEK, trends_step_week, "weeks") \
	X(TRENDS_STEP_MONTH, trends_step_month, "months") \
	X(TRENDS_COL_BEGIN, trends_col_begin, "From") X(TRENDS_COL_MEAN, trends_col_mean, "Mean") \
	X(TRENDS_COL_LIMIT_LOWER, trends_col_limit_lower, "Lower limit") \
	X(TRENDS_COL_LIMIT_UPPER, trends_col_limit_upper, "Upper limit") \
	X(TRENDS_COL_SIGMAS, trends_col_sigmas, "Sigmas above") \
	X(TRENDS_COL_RULES, trends_col_rules, "Rules") \
	X(TRENDS_COL_REFUSED, trends_col_refused, "Refused") \
	X(TRENDS_COL_RATE, trends_col_rate, "For each sweep") \
	X(BEYOND_3_SIGMA, beyond_3_sigma, "one point beyond 3 sigma") \
	X(2_OF_3_BEYOND_2, 2_of_3_beyond_2, "2 of 3 in a row beyond 2 sigma on one side") \
	X(4_OF_5_BEYOND_1, 4_of_5_beyond_1, "4 of 5 in a row beyond 1 sigma on one side") \
	X(8_ON_ONE_SIDE, 8_on_one_side, "8 in a row on one side of the mean") \
	X(6_RISING_OR_FALLING, 6_rising_or_falling, "6 in a row rising, or 6 falling") \
	X(TRENDS_TIMES, trends_times, "From key-off to press and to leaving") \
	X(TRENDS_TIMES_TABLE, trends_times_table, "Times from key-off, in seconds") \
	X(TRENDS_TIMES_CAPTION, trends_times_caption, \
	  "The middle half, and from 5 % to 95 %; the broken line is the least time of a walk by " \
	  "this bus’s policy.") \
	X(TRENDS_PRESS_TABLE, trends_press_table, "Times to the press, counted") \
	X(TRENDS_LEAVING_TABLE, trends_leaving_table, "Times to leaving, counted") \
	X(TRENDS_PRESS_CAPTION, trends_press_caption, "How often each time to the press came.") \
	X(TRENDS_TO_PRESS, trends_to_press, "to the press") \
	X(TRENDS_TO_LEAVING, trends_to_leaving, "to leaving") \
	X(TRENDS_COL_Q05, trends_col_q05, "5 %") X(TRENDS_COL_Q25, trends_col_q25, "25 %") \
	X(TRENDS_COL_MEDIAN, trends_col_median, "Half") X(TRENDS_COL_Q75, trends_col_q75, "75 %") \
	X(TRENDS_COL_Q95, trends_col_q95, "95 %") \
	X(TRENDS_COL_MINIMUM, trends_col_minimum, "Least time of a walk") \
	X(TRENDS_COL_SECONDS, trends_col_seconds, "Seconds") \
	X(TRENDS_COL_BELOW, trends_col_below, "Sooner than that") \
	X(TRENDS_WALK_MINIMUM, trends_walk_minimum, \
	  "By the newest policy that this bus recorded, a walk takes {1} at the least. Half of its " \
	  "presses came within {2} of key-off.") \
	N(TRENDS_WALK_NEAR, trends_walk_near, \
	  "{1} press of {2} came in the first {3} after that least time.", \
	  "{1} presses of {2} came in the first {3} after that least time.") \
	X(TRENDS_NO_MINIMUM, trends_no_minimum, \
	  "No policy of this bus has come that can be read: its least time of a walk is not known " \
	  "here.") \
	X(TRENDS_TIMES_SAY, trends_times_say, \
	  "A time says how long it took until the rear was pressed, and not how anybody looked.") \
	X(TRENDS_TO_SWEEPS, trends_to_sweeps, "Its sweeps") \
	X(TRENDS_TO_DRIFT, trends_to_drift, "What its lines do from day to day") \
	X(TRENDS_PAGE_WRONG, trends_page_wrong, "“{1}” is no page.") \
	X(TRENDS_TO_ALL, trends_to_all, "All of them") \
	X(TRENDS_TO_EXAMPLE, trends_to_example, "An example: a worst year that is no signal") \
	X(TRENDS_EXAMPLE_TITLE, trends_example_title, "A worst year that is no signal") \
	X(TRENDS_EXAMPLE_LEAD, trends_example_lead, \
	  "{1} in {2} is the most of nine years, and it lies within the limits: from {3} to {4}.") \
	X(TRENDS_EXAMPLE_TEXT, trends_example_text, \
	  "These are public counts of children found left on school buses in one state. The mean of " \
	  "the nine years is {1}. Chance alone, with nothing changed, makes a worst of nine years " \
	  "as bad as this about one time in four. Whoever asks why that year was so bad asks for a " \
	  "reason that may not be there; whoever cheers the next, better year does so too.") \
	X(TRENDS_EXAMPLE_NOT, trends_example_not, \
	  "It does not say that the counts are small enough: each of them is one too many.") \
	X(TRENDS_EXAMPLE_SOURCE, trends_example_source, \
	  "Source: public counts of one state, 2010 to 2018, second-hand: read in a report of them. " \
	  "Limits: c chart at 3 sigma, computed.") \
	X(TRENDS_EXAMPLE_TABLE, trends_example_table, "Nine years") \
	X(TRENDS_EXAMPLE_CAPTION, trends_example_caption, \
	  "Nine years beside their mean, and the limits of chance.") \
	X(TRENDS_COL_YEAR, trends_col_year, "Year") X(DRIFT_NAME, drift_name, "Drift") \
	X(DRIFT_TITLE, drift_title, "Drift of buttons and doors") \
	X(DRIFT_TITLE_ONE, drift_title_one, "Lines of bus {1}, {2} to {3}") \
	X(DRIFT_TO, drift_to, "Up to") \
	X(DRIFT_WRONG_DAY, drift_wrong_day, "“{1}” is no day: expected as 2026-11-24.") \
	N(DRIFT_LEAD, drift_lead, \
	  "{1} line does more than it did, beyond what chance makes.", \
	  "{1} lines do more than they did, beyond what chance makes.") \
	X(DRIFT_NONE, drift_none, "No line does more than it did, beyond what chance makes.") \
	X(DRIFT_NOTHING, drift_nothing, "No edges of this bus are known in that time.") \
	X(DRIFT_BOUNCES_SINCE, drift_bounces_since, \
	  "{1}: bounces {2} times a day of late, and did {3} times before. It may have been going " \
	  "on since {4}.") \
	X(DRIFT_FAULTS_SINCE, drift_faults_since, \
	  "{1}: chatters or disagrees {2} times a day of late, and did {3} times before. It may " \
	  "have been going on since {4}.") \
	X(DRIFT_NEXT, drift_next, \
	  "Look at its contact, its plug and its wiring before it fails; then try it and sign the " \
	  "test on the bus.") \
	X(DRIFT_MORE_RUNS, drift_more_runs, \
	  "A day with more runs has more edges, and more bounces. Edges stand beside them.") \
	X(DRIFT_METHODS, drift_methods, \
	  "Beside the first {1} days with edges of the last {2} days: a CUSUM (k one half, h 5) and " \
	  "an EWMA (0.2, 3 sigma), sigma no less than 1. On steady days either gives a false alarm " \
	  "about once in {3} days.") \
	X(DRIFT_BEFORE_BAD, drift_before_bad, \
	  "If a line was bad from the beginning of that time on, nothing shows here: it does what " \
	  "it did.") \
	X(DRIFT_LOOKS, drift_looks, \
	  "Here are {1} lines and {2} days of lines after those that are their usual. On steady " \
	  "days chance alone gives about {3} signals in so many, most of them over again soon.") \
	X(DRIFT_OF_BUS, drift_of_bus, "Bus {1}, {2}") \
	X(DRIFT_LOOKED_AT, drift_looked_at, \
	  "Looked at: the {1} buses whose lines bounced, chattered or disagreed most on any of the " \
	  "last {2} days, each line beside its own days before.") \
	X(DRIFT_LINES_TABLE, drift_lines_table, \
	  "Lines, those that do most above what they did first") \
	X(DRIFT_DAYS_TABLE, drift_days_table, "Day by day: {1}") \
	X(DRIFT_DAYS, drift_days, "Day by day") \
	X(DRIFT_CAPTION, drift_caption, \
	  "Bounces a day, and the sum of what is above usual (CUSUM) with the limit that it must " \
	  "pass.") \
	X(DRIFT_QUIET, drift_quiet, \
	  "No line of any bus has bounced, chattered or disagreed in these days.") \
	X(DRIFTING, drifting, "drifting") X(STEADY, steady, "steady") \
	X(DRIFTED, drifted, "drifted, and is back") X(TOO_FEW_DAYS, too_few_days, "too few days") \
	X(DRIFT_COL_STATE, drift_col_state, "State") \
	X(DRIFT_COL_SINCE, drift_col_since, "Since, perhaps") \
	X(DRIFT_COL_DAYS, drift_col_days, "Days") X(DRIFT_COL_EDGES, drift_col_edges, "Edges") \
	X(DRIFT_COL_BOUNCES, drift_col_bounces, "Bounces") \
	X(DRIFT_COL_BEFORE, drift_col_before, "Bounces a day, before") \
	X(DRIFT_COL_RECENT, drift_col_recent, "Bounces a day, of late") \
	X(DRIFT_COL_FAR, drift_col_far, "Beside its limit") \
	X(DRIFT_COL_CHATTERS, drift_col_chatters, "Chattered") \
	X(DRIFT_COL_DISAGREEMENTS, drift_col_disagreements, "Disagreed") \
	X(DRIFT_COL_FAULTS, drift_col_faults, "Faults") \
	X(DRIFT_COL_FAULTS_SINCE, drift_col_faults_since, "Faults since, perhaps") \
	X(DRIFT_COL_SHORTEST, drift_col_shortest, "Shortest pulse, ms") \
	X(DRIFT_COL_CUSUM, drift_col_cusum, "CUSUM") \
	X(DRIFT_COL_LIMIT, drift_col_limit, "Its limit") X(DRIFT_COL_EWMA, drift_col_ewma, "EWMA") \
	X(DRIFT_COL_EWMA_LIMIT, drift_col_ewma_limit, "Its limit (EWMA)")

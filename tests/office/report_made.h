/* SPDX-License-Identifier: Apache-2.0 */
/* report_made.h - a page about a made-up yard, with a table of every kind, every picture, and forms. */
#ifndef OFFICE_REPORT_MADE_H
#define OFFICE_REPORT_MADE_H

#include <math.h>

#include "office/report.h"

/* Wednesday 2026-11-25, 14:42:05.123 UTC: worked out with date(1). */
#define MADE_MS INT64_C(1795617725123)
#define MADE_BUSES 24
#define MADE_DAYS 40

/* What somebody who means harm, or a broken program, might have written. */
#define MADE_HARM "<script>alert(1)</script> & \"x' \x01\x7f\x1b[31m \xff\xc3( \xe2\x80\xae back"

static inline void made_sweeps(struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ .name = "key_off", .title = PW_P_COL_KEY_OFF, .kind = PW_COL_MOMENT },
		{ .name = "bus", .title = PW_P_COL_BUS, .kind = PW_COL_TEXT },
		{ .name = "day", .title = PW_P_COL_DAY, .kind = PW_COL_DAY },
		{ .name = "verdict", .title = PW_P_COL_VERDICT, .kind = PW_COL_WORD },
		{ .name = "findings", .title = PW_P_COL_FINDINGS, .kind = PW_COL_WORD },
		{ .name = "press_after", .title = PW_P_COL_PRESS_AFTER, .kind = PW_COL_SPAN },
		{ .name = "refused", .title = PW_P_COL_REFUSED, .kind = PW_COL_COUNT },
		{ .name = "share", .title = PW_P_COL_COUNT, .kind = PW_COL_SHARE, .decimals = 1 },
		{ .name = "warmest", .title = PW_P_COL_WHAT, .kind = PW_COL_NUMBER, .decimals = 2 },
		{ .name = "words", .title = PW_P_COL_WORDS, .kind = PW_COL_TEXT },
		{ .name = "hash", .kind = PW_COL_TEXT, .file_only = true },
		{ 0 }
	};
	static const struct { enum pw_phrase verdict; const char *findings, *words; } rows[] = {
		{ PW_P_MISSED, "driven_off muted", MADE_HARM },
		{ PW_P_DOUBTFUL, "silent_horn line_rear_door", "=HYPERLINK(\"http://x.invalid\")" },
		{ PW_P_LATE, "", "-1+2" },
		{ PW_P_WALKED, "of_a_newer_bus", "line\nand\tline" },
		{ PW_P_NO_RECORD, "bus_silent", "" },
		{ PW_P_NOT_YET, "", "comma, \"quote\"; caf\xc3\xa9 \xe6\xbc\xa2" },
	};
	struct pw_table *t = pw_report_table(r, "sweeps", PW_P_SWEEP, columns);

	for (int i = 0; i < 6; i++) {
		pw_cell_put_time(t, MADE_MS - i * INT64_C(7654321));
		pw_cell_link(t, "/sweep?bus=%d&day=\"%d\"", 12 + i, 20261125);
		pw_cell_put_text(t, i == 3 ? "+14" : "12");
		pw_cell_put_day(t, 20261125 - i);
		pw_cell_put_word(t, rows[i].verdict);
		pw_cell_put_words(t, rows[i].findings);
		pw_cell_put_time(t, i == 2 ? INT64_MIN : (i - 1) * INT64_C(61234));
		pw_cell_put_count(t, i == 1 ? 7200000 : i);
		pw_cell_put_number(t, i == 4 ? NAN : i / 7.0);
		pw_cell_put_number(t, i == 5 ? INFINITY : -12345.678 * i);
		pw_cell_put_text(t, rows[i].words);
		pw_cell_put_text(t, "5d41402abc4b2a76b9719d911017c592");
		pw_row_mark(t, rows[i].verdict);
	}
	pw_table_more(t, "/sweeps?behind=2&bus=12");
}

/* -- tables under pictures --------------------------------------------------------------------- */

/* Numbers that look drawn by lot and are the same on every machine. */
static inline double made_lot(unsigned i)
{
	return fmod(fabs(sin(12.9898 * (i + 1)) * 43758.5453), 1);
}

static inline void made_funnel(struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ .name = "bus", .title = PW_P_COL_BUS, .kind = PW_COL_TEXT },
		{ .name = "n", .title = PW_P_COL_COUNT, .kind = PW_COL_COUNT },
		{ .name = "missed_share", .title = PW_P_MISSED, .kind = PW_COL_SHARE, .decimals = 1 },
		{ .name = "target", .title = PW_P_COL_RESULT, .kind = PW_COL_SHARE, .decimals = 1 },
		{ .name = "warning_lower", .title = PW_P_COL_FROM, .kind = PW_COL_SHARE, .decimals = 2 },
		{ .name = "warning_upper", .title = PW_P_COL_TO, .kind = PW_COL_SHARE, .decimals = 2 },
		{ .name = "alarm_lower", .title = PW_P_COL_FROM, .kind = PW_COL_SHARE, .decimals = 2 },
		{ .name = "alarm_upper", .title = PW_P_COL_TO, .kind = PW_COL_SHARE, .decimals = 2 },
		{ 0 }
	};
	const double target = 0.04;
	struct pw_table *t = pw_report_table(r, "funnel", PW_P_MISSED, columns);

	for (unsigned i = 0; i < MADE_BUSES; i++) {
		const double n = 20 + 14 * i, s = sqrt(target * (1 - target) / n);
		double share = target + s * 3 * (made_lot(i) - 0.5);
		char bus[8];

		if (i == 17)
			share = target + 4.5 * s;
		if (i == 8)
			share = target + 2.3 * s;
		snprintf(bus, sizeof(bus), "%u", 101 + i);
		pw_cell_put_text(t, bus);
		pw_cell_put_count(t, (int64_t)n);
		pw_cell_put_number(t, fmax(0, share));
		pw_cell_put_number(t, target);
		pw_cell_put_number(t, fmax(0, target - 1.96 * s));
		pw_cell_put_number(t, target + 1.96 * s);
		pw_cell_put_number(t, fmax(0, target - 3.09 * s));
		pw_cell_put_number(t, target + 3.09 * s);
	}
	pw_report_picture_of(r, "funnel", t, "share=missed_share", PW_P_COL_WHY);
}

static inline void made_chart(struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ .name = "day", .title = PW_P_COL_DAY, .kind = PW_COL_DAY },
		{ .name = "value", .title = PW_P_MISSED, .kind = PW_COL_NUMBER, .decimals = 1 },
		{ .name = "mean", .title = PW_P_COL_COUNT, .kind = PW_COL_NUMBER, .decimals = 2 },
		{ .name = "lower", .title = PW_P_COL_FROM, .kind = PW_COL_NUMBER, .decimals = 2 },
		{ .name = "upper", .title = PW_P_COL_TO, .kind = PW_COL_NUMBER, .decimals = 2 },
		{ .name = "rules", .title = PW_P_COL_WHAT, .kind = PW_COL_TEXT },
		{ .name = "bounces", .title = PW_P_EDGES, .kind = PW_COL_COUNT },
		{ .name = "cusum", .title = PW_P_COL_COUNT, .kind = PW_COL_NUMBER, .decimals = 1 },
		{ .name = "limit", .title = PW_P_COL_TO, .kind = PW_COL_NUMBER, .decimals = 1 },
		{ 0 }
	};
	struct pw_table *t = pw_report_table(r, "days", PW_P_COL_DAY, columns);
	double cusum = 0;

	for (int i = 0; i < MADE_DAYS; i++) {
		const double value = floor(8 * made_lot((unsigned)i + 50)) + (i == 31 ? 9 : 0);
		const int64_t bounces = (int64_t)(3 * made_lot((unsigned)i + 90)) + (i > 25 ? (i - 25) / 3 : 0);

		cusum = fmax(0, cusum + (double)bounces - 1.8);
		pw_cell_put_day(t, pw_date_from(pw_date_days(20260914) + i));
		pw_cell_put_number(t, value);
		pw_cell_put_number(t, 3.9);
		pw_cell_put_number(t, 0);
		pw_cell_put_number(t, 9.8 + made_lot((unsigned)i));
		pw_cell_put_text(t, i == 31 ? "one beyond 3 sigma" : "");
		pw_cell_put_count(t, bounces);
		pw_cell_put_number(t, cusum);
		pw_cell_put_number(t, 6);
	}
	pw_report_picture(r, "chart", t, PW_P_COL_WHAT);
	pw_report_picture(r, "drift", t, PW_P_COL_LINE);
}

static inline void made_spread(struct pw_report *r)
{
	static const struct pw_column counts[] = {
		{ .name = "at", .title = PW_P_COL_PRESS_AFTER, .kind = PW_COL_SPAN },
		{ .name = "count", .title = PW_P_COL_COUNT, .kind = PW_COL_COUNT },
		{ .name = "minimum", .title = PW_P_COL_FROM, .kind = PW_COL_SPAN },
		{ 0 }
	};
	static const struct pw_column buses[] = {
		{ .name = "bus", .title = PW_P_COL_BUS, .kind = PW_COL_TEXT },
		{ .name = "q05", .title = PW_P_COL_FROM, .kind = PW_COL_SPAN },
		{ .name = "q25", .title = PW_P_COL_FROM, .kind = PW_COL_SPAN },
		{ .name = "median", .title = PW_P_COL_PRESS_AFTER, .kind = PW_COL_SPAN },
		{ .name = "q75", .title = PW_P_COL_TO, .kind = PW_COL_SPAN },
		{ .name = "q95", .title = PW_P_COL_TO, .kind = PW_COL_SPAN },
		{ .name = "minimum", .title = PW_P_COL_FROM, .kind = PW_COL_SPAN },
		{ .name = "value", .title = PW_P_MISSED, .kind = PW_COL_SHARE, .decimals = 1 },
		{ .name = "lower", .title = PW_P_COL_FROM, .kind = PW_COL_SHARE, .decimals = 1 },
		{ .name = "upper", .title = PW_P_COL_TO, .kind = PW_COL_SHARE, .decimals = 1 },
		{ 0 }
	};
	struct pw_table *t = pw_report_table(r, "spread", PW_P_COL_PRESS_AFTER, counts);

	for (int s = 20; s < 80; s++) {
		pw_cell_put_time(t, s * 1000);
		pw_cell_put_count(t, (int64_t)(90 * exp(-(s - 42) * (s - 42) / 160.0) + 4 * made_lot((unsigned)s)));
		pw_cell_put_time(t, 30000);
	}
	pw_report_picture(r, "spread", t, PW_P_COL_PRESS_AFTER);
	t = pw_report_table(r, "buses", PW_P_COL_BUS, buses);
	for (int i = 0; i < 8; i++) {
		const int64_t middle = 38000 + (int64_t)(20000 * made_lot((unsigned)i));
		const double share = 0.02 + 0.1 * made_lot((unsigned)i + 20);
		char bus[16];

		snprintf(bus, sizeof(bus), "%d", 101 + i);
		pw_cell_put_text(t, bus);
		for (int q = -2; q <= 2; q++)
			pw_cell_put_time(t, middle + q * 6000);
		pw_cell_put_time(t, 26000 + 1000 * i);
		pw_cell_put_number(t, share);
		pw_cell_put_number(t, share / 2);
		pw_cell_put_number(t, share * 1.8);
	}
	pw_report_picture(r, "spread", t, PW_P_COL_BUS);
	pw_report_picture(r, "bars", t, PW_P_MISSED);
}

/* -- forms, and the whole ---------------------------------------------------------------------- */

static inline void made_forms(struct pw_report *r)
{
	pw_report_form(r, "/sweeps", true);
	pw_report_field(r, PW_FIELD_CODE, "bus", PW_P_COL_BUS, "12", false);
	pw_report_field(r, PW_FIELD_DAY, "from", PW_P_COL_FROM, "2026-11-01", false);
	pw_report_field(r, PW_FIELD_CHOICE, "verdict", PW_P_COL_VERDICT, NULL, false);
	pw_report_choice(r, "", PW_P_ANY, false);
	pw_report_choice(r, "missed", PW_P_MISSED, true);
	pw_report_choice_text(r, MADE_HARM, MADE_HARM, false);
	pw_report_form_end(r, PW_P_SHOW);

	pw_report_form(r, "/sweep?x=1&y=\"2\"", false);
	pw_report_field(r, PW_FIELD_HIDDEN, "run", PW_P_NONE, MADE_HARM, false);
	pw_report_field(r, PW_FIELD_CODE, "who", PW_P_COL_WHO, "d17", true);
	pw_report_field(r, PW_FIELD_WORDS, "words", PW_P_COL_WORDS, "</textarea>" MADE_HARM, true);
	pw_report_field(r, PW_FIELD_TICK, "sure", PW_P_YES, "1", false);
	pw_report_field(r, PW_FIELD_FILE, "sheet", PW_P_COL_RUN, NULL, false);
	pw_report_field(r, PW_FIELD_PASSWORD, "password", PW_P_PIN, "secret", true);
	pw_report_form_end(r, PW_P_SIGNED);
}

static inline struct pw_report *made_report(enum pw_tongue tongue, const struct pw_zone *zone)
{
	struct pw_report *r = pw_report_new(tongue, zone);
	static const struct pw_column nobody[] = { { .name = "bus", .title = PW_P_COL_BUS }, { 0 } };

	if (!r)
		return NULL;
	pw_report_wrong(r, "words", PW_P_SIGNED_IN_AS, MADE_HARM);
	pw_report_say(r, PW_SAY_TITLE, PW_P_SITE, NULL);
	pw_report_say(r, PW_SAY_LEAD, PW_P_TIMES_OF, "America/Denver", NULL);
	pw_report_say(r, PW_SAY_ALARM, PW_P_SIGNED_IN_AS, MADE_HARM, NULL);
	pw_report_say(r, PW_SAY_NEXT, PW_P_SIGNED_IN_AS, "d17", NULL);
	pw_report_say(r, PW_SAY_CAUTION, PW_P_WHAT_A_PRESS_SAYS, NULL);
	made_forms(r);
	pw_report_say(r, PW_SAY_HEADING, PW_P_SWEEP, NULL);
	made_sweeps(r);
	pw_report_link(r, "/sweeps?a=1&b=2", PW_P_MORE);
	pw_report_link(r, "/runs", PW_P_BACK);
	pw_report_table(r, "nobody", PW_P_COL_DRIVER, nobody);
	pw_report_said(r, PW_SAY_SOURCE, "Made up: " MADE_HARM);
	pw_report_verbatim(r, "sha256sum <records.jsonl\n\tpostwalk verify & echo \"done\"\n");
	pw_report_svg(r, "<svg role=\"img\" aria-label=\"x\" viewBox=\"0 0 40 10\" width=\"400\" height=\"100\">"
			 "<path d=\"M1 1h38v8h-38z\" fill=\"none\" stroke=\"currentColor\"/></svg>", PW_P_COL_VERDICT);
	made_funnel(r);
	made_chart(r);
	made_spread(r);
	return r;
}

#endif

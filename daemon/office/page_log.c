/* SPDX-License-Identifier: Apache-2.0 */
/* The office's own log: views of what is about a driver, and every act. */
#include <string.h>

#include "tell_internal.h"
#include "web.h"

#define SHOWN 200
#define DAYS 7
#define PIECE 2000 /* lines looked at in one piece of work: the buses are not held up */
#define STEPPED_MS INT64_C(86400000) /* the clock may have been put back by so much */

struct looking {
	const struct pw_asked *q;
	int64_t from_ms, to_ms;
	const char *who, *did;
	struct pw_table *table;
	uint64_t before;       /* where the next piece begins */
	unsigned looked, most; /* in this piece; rows of the table, 0: all */
	size_t shown;
	bool over, more;
};

static int take_line(void *ctx, uint64_t id, int64_t at_ms, const char *who, const char *did)
{
	struct looking *l = ctx;

	l->before = id;
	l->looked++;
	l->over |= at_ms < l->from_ms - STEPPED_MS;
	if (at_ms < l->from_ms || at_ms >= l->to_ms || (l->who[0] && strcmp(l->who, who) != 0) ||
	    (l->did[0] && !strcasestr(did, l->did)))
		return 0;
	if (l->most > 0 && l->shown == l->most) {
		l->more = l->over = true;
		return 1;
	}
	l->shown++;
	pw_cell_put_time(l->table, at_ms);
	pw_cell_put_text(l->table, who);
	pw_cell_put_text(l->table, did);
	return 0;
}

static int work_look(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct looking *l = ctx;
	const int result = pw_store_logs_back(s, l->before, PIECE, take_line, l, why, size);

	return result < 0 ? result : 0;
}

static void put_filter(const struct pw_asked *q, struct pw_report *r, int32_t from, int32_t to)
{
	pw_report_form(r, "/log", true);
	pw_report_field(r, PW_FIELD_DAY, "from", PW_P_LOG_FROM, pw_report_day(r, from), false);
	pw_report_field(r, PW_FIELD_DAY, "to", PW_P_LOG_TO, pw_report_day(r, to), false);
	pw_report_field(r, PW_FIELD_CODE, "who", PW_P_LOG_WHO, pw_asked_value(q, "who"), false);
	pw_report_field(r, PW_FIELD_TEXT, "did", PW_P_LOG_CONTAINS, pw_asked_value(q, "did"),
			false);
	pw_report_form_end(r, PW_P_LOG_SHOW);
}

static int look(struct pw_asked *q, struct looking *l)
{
	int result;

	do {
		l->looked = 0;
		result = pw_asked_desk(q, work_look, l);
	} while (result == 0 && l->looked == PIECE && !l->over);
	return result;
}

int pw_log_get(struct pw_asked *q, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "at", PW_P_LOG_AT, PW_COL_MOMENT, 0, false },
		{ "who", PW_P_LOG_WHO, PW_COL_TEXT, 0, false },
		{ "did", PW_P_LOG_DID, PW_COL_TEXT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	int32_t from = pw_asked_day(q, "from"), to = pw_asked_day(q, "to");
	struct looking l = { .q = q, .who = pw_asked_value(q, "who"),
			     .did = pw_asked_value(q, "did"), .before = UINT64_MAX,
			     .most = q->whole ? 0 : SHOWN };
	int result;

	if (from < 0 || to < 0)
		return pw_asked_wrong(q, from < 0 ? "from" : "to", PW_P_KEEPING_BAD_DAY, NULL);
	to = to ? to : q->today;
	from = from ? from : pw_hours_add(to, 1 - DAYS);
	l.from_ms = pw_hours_moment(from, 0);
	l.to_ms = pw_hours_moment(pw_hours_add(to, 1), 0);
	pw_report_say(r, PW_SAY_TITLE, PW_P_LOG_NAME, NULL);
	pw_report_say(r, PW_SAY_LEAD, PW_P_LOG_LEAD, NULL);
	put_filter(q, r, from, to);
	l.table = pw_report_table(r, "log", PW_P_NONE, columns);
	pw_table_none(l.table, PW_P_LOG_NONE);
	result = look(q, &l);
	if (l.more)
		pw_report_say(r, PW_SAY_TEXT, PW_P_LOG_MORE, pw_report_count(r, SHOWN), NULL);
	return result;
}

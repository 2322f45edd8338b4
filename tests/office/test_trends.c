/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The page of trends over a made-up yard's sweeps in both stores. tests/office/data/trends_*.csv
 * are R's (trends_reference.R), of the same sweeps: what the page writes as JSON Lines is that, to
 * 1e-9.
 */
/* The store and reports each have a pw_table of their own. */
#define pw_table pw_store_table
#include "store_world.h"
#undef pw_table

#include <jansson.h>
#include <math.h>

#include "office/web.h"
#include "office/zone.h"

#define DATA "tests/office/data/trends_"
#define NOW_MS (NOON_MS + 33 * DAY_MS) /* 2026-11-27 */
#define BUSES 14

/* -- a yard ------------------------------------------------------------------------------------ */

struct swept { int bus, day, minute, press_s, leave_s; unsigned refused; char verdict[12]; };

static FILE *open_data(const char *name)
{
	char path[100], head[400];
	FILE *f;

	snprintf(path, sizeof(path), DATA "%s.csv", name);
	f = fopen(path, "r");
	assert_non_null(f);
	assert_non_null(fgets(head, sizeof(head), f));
	return f;
}

static bool read_swept(FILE *f, struct swept *s)
{
	return fscanf(f, "%d,%d,%d,%11[^,],%u,%d,%d\n", &s->bus, &s->day, &s->minute, s->verdict,
		      &s->refused, &s->press_s, &s->leave_s) == 7;
}

static enum pw_verdict verdict_of(const char *name)
{
	return name[0] == 'm' ? PW_MISSED : name[1] == 'o' && name[2] == 'u' ? PW_DOUBTFUL : PW_DONE;
}

static struct pw_sweep_row sweep_of(const struct swept *s, uint64_t seq)
{
	const int64_t off_ms = pw_date_days(s->day) * DAY_MS + s->minute * INT64_C(60000);
	const bool missed = verdict_of(s->verdict) == PW_MISSED;
	const int64_t walk_ms = s->press_s * INT64_C(1000), leave_ms = s->leave_s * INT64_C(1000);

	return (struct pw_sweep_row){
		.seq = seq, .key_off_ms = off_ms, .closed_ms = off_ms + 300000,
		.walk_ms = missed ? PW_NO_TIME : walk_ms,
		.return_ms = missed ? PW_NO_TIME : leave_ms - walk_ms, .late_ms = PW_NO_TIME,
		.came_ms = off_ms + 360000, .wall_ok = true, .refused = s->refused,
		.verdict = verdict_of(s->verdict), .rung = "none" };
}

/* Of etc/postwalk.conf: what an installer begins with. */
static const char *policy_body(void)
{
	static char body[20000];
	char text[16000];
	FILE *f = fopen("etc/postwalk.conf", "r");
	json_t *o;

	assert_non_null(f);
	text[fread(text, 1, sizeof(text) - 1, f)] = '\0';
	fclose(f);
	assert_non_null(o = json_pack("{s:s}", "text", text));
	assert_true(json_dumpb(o, body, sizeof(body) - 1, JSON_COMPACT) < sizeof(body));
	json_decref(o);
	return body;
}

/* A record for each sweep, and one of the policy before them; hashes are true. */
static void make_bus(struct made *m, struct pw_sweep_row *sweep, int bus)
{
	FILE *f = open_data("sweeps");
	struct pw_put *p = &m->put;
	const char *prev = ORIGIN;
	char name[PW_NAME_MAX];
	struct swept s;
	size_t n = 1;

	snprintf(name, sizeof(name), "%d", bus);
	make_put(m, name, NULL, 1);
	m->record[0].kind = PW_K_POLICY;
	m->record[0].body = policy_body();
	p->sweeps = 0;
	p->sweep = sweep;
	while (read_swept(f, &s)) {
		struct pw_record *r = &m->record[n];

		if (s.bus != bus)
			continue;
		*r = (struct pw_record){ .seq = n + 1, .boot = 1, .wall_ok = true, .body = "{}",
					 .mono_ms = (int64_t)n * 60000, .kind = PW_K_SWEEP };
		memcpy(r->epoch, p->to.epoch, sizeof(r->epoch));
		sweep[p->sweeps] = sweep_of(&s, ++n);
		r->wall_ms = sweep[p->sweeps++].closed_ms;
	}
	fclose(f);
	p->records = p->to.head = n;
	p->to.moved_ms = NOW_MS;
	for (size_t i = 0; i < n; i++, prev = m->record[i - 1].hash) {
		memcpy(m->record[i].prev, prev, sizeof(m->record[i].prev));
		pw_record_hash(name, &m->record[i], m->record[i].hash);
	}
	memcpy(p->to.hash, prev, sizeof(p->to.hash));
	m->seal[0].seq = n;
	memcpy(m->seal[0].hash, prev, sizeof(m->seal[0].hash));
	pw_seal_make(name, p->to.epoch, &m->seal[0], made_key());
}

static void make_yard(struct world *w)
{
	static struct pw_sweep_row sweep[MADE_MAX];
	static struct made m;
	struct pw_zone *zone;
	int more = 1;

	assert_int_equal(pw_zone_open("UTC", &zone, WHY), 0);
	FINE(pw_store_begin(w->s, WHY));
	for (int bus = 1; bus <= BUSES; bus++) {
		char name[PW_NAME_MAX];

		snprintf(name, sizeof(name), "%d", bus);
		make_bus(&m, sweep, bus);
		put_bus(w->s, name);
		FINE(pw_store_put(w->s, &m.put, WHY));
	}
	FINE(pw_store_commit(w->s, WHY));
	while (more == 1) {
		FINE(pw_store_begin(w->s, WHY));
		more = pw_audit_renew(w->s, zone, NOW_MS, 1000, WHY);
		FINE(more);
		FINE(pw_store_commit(w->s, WHY));
	}
	pw_zone_free(zone);
}

/* -- what a page says -------------------------------------------------------------------------- */

struct page {
	int result;
	struct pw_asked q;
	char *lines, *text, *html;
};

static void ask_field(struct pw_asked *q, char *pair)
{
	char *value = strchr(pair, '=');

	*value++ = '\0';
	snprintf(q->field[q->fields].name, sizeof(q->field[0].name), "%s", pair);
	snprintf(q->field[q->fields++].value, PW_ASK_VALUE, "%s", value);
}

static void write_page(struct page *p, struct pw_report *r)
{
	size_t size;
	FILE *f = open_memstream(&p->lines, &size);

	assert_non_null(f);
	pw_report_lines(r, f);
	assert_int_equal(fclose(f), 0);
	assert_non_null(f = open_memstream(&p->text, &size));
	pw_report_text(r, f);
	assert_int_equal(fclose(f), 0);
	assert_non_null(f = open_memstream(&p->html, &size));
	pw_report_html(r, "/trends", "", false, f);
	assert_int_equal(fclose(f), 0);
}

/* asks: "by=bus&span=2026". */
static struct page ask(struct world *w, const char *leaf, const char *asks, bool whole)
{
	struct pw_office o = { .dir = "" };
	struct page p = { .q = { .o = &o, .tongue = PW_ENGLISH, .now_ms = NOW_MS,
				 .today = 20261127, .role = PW_MAY_SEE, .who = "office1",
				 .whole = whole } };
	struct pw_zone *zone;
	struct pw_report *r;
	char copy[400], *rest = copy, *pair;

	assert_int_equal(pw_zone_open("UTC", &zone, WHY), 0);
	snprintf(copy, sizeof(copy), "%s", asks);
	while ((pair = strsep(&rest, "&")) != NULL && *pair)
		ask_field(&p.q, pair);
	p.q.zone = zone;
	for (size_t i = 0; i < pw_leaves_office_count; i++)
		if (strcmp(pw_leaves_office[i].path, leaf) == 0)
			p.q.leaf = &pw_leaves_office[i];
	assert_non_null(p.q.leaf);
	pw_store_close(w->s);
	FINE(pw_desk_start(w->where, &o.desk, WHY));
	assert_non_null(r = pw_report_new(PW_ENGLISH, zone));
	p.result = p.q.leaf->get(&p.q, r);
	pw_desk_stop(o.desk);
	FINE(pw_store_open(w->where, false, &w->s, WHY));
	assert_true(pw_report_ok(r));
	write_page(&p, r);
	pw_report_free(r);
	pw_zone_free(zone);
	return p;
}

static void page_free(struct page *p)
{
	free(p->lines);
	free(p->text);
	free(p->html);
}

static void says(const struct page *p, const char *words)
{
	if (strstr(p->text, words) == NULL)
		fail_msg("not said: %s\n%s", words, p->text);
}

/* The rows of one table, in their order. */
static json_t *rows_of(const struct page *p, const char *table)
{
	json_t *rows = json_array();
	const char *line = p->lines;

	while (*line) {
		size_t length = strcspn(line, "\n");
		json_t *row = json_loadb(line, length, 0, NULL);

		assert_non_null(row);
		if (strcmp(json_string_value(json_object_get(row, "table")), table) == 0)
			json_array_append(rows, row);
		json_decref(row);
		line += length + (line[length] == '\n');
	}
	return rows;
}

static json_t *row_named(json_t *rows, const char *column, const char *name)
{
	size_t i;
	json_t *row;

	json_array_foreach(rows, i, row)
		if (strcmp(json_string_value(json_object_get(row, column)), name) == 0)
			return row;
	fail_msg("no row of %s", name);
	return NULL;
}

static void number_is(const json_t *row, const char *column, double want)
{
	const json_t *value = json_object_get(row, column);
	double got = json_is_number(value) ? json_number_value(value) : NAN;

	if (!(fabs(got - want) <= 1e-9 * fabs(want) + 1e-15))
		fail_msg("%s: %.17g, and R has %.17g", column, got, want);
}

static void word_is(const json_t *row, const char *column, const char *want)
{
	const char *got = json_string_value(json_object_get(row, column));

	if (got == NULL || strcmp(got, want) != 0)
		fail_msg("%s: %s, expected %s", column, got ? got : "nothing", want);
}

/* -- beside R ---------------------------------------------------------------------------------- */

static void groups_are_as_r_has_them(struct world *w)
{
	static const char *const columns[] = { "x", "n", "share", "share_lower", "share_upper",
		"warning_lower", "warning_upper", "alarm_lower", "alarm_upper", "p_value",
		"p_adjusted", NULL, "doubtful", "refused" };
	FILE *f = open_data("yard");
	struct page p;
	json_t *rows;
	char line[600];

	make_yard(w);
	p = ask(w, "/trends", "by=bus&span=2026", true);
	assert_int_equal(p.result, 0);
	rows = rows_of(&p, "trends");
	assert_int_equal(json_array_size(rows), BUSES);
	while (fgets(line, sizeof(line), f)) {
		char *rest = line, *word = strsep(&rest, ",\n");
		json_t *row = row_named(rows, "bus", word);

		for (size_t i = 0; (word = strsep(&rest, ",\n")) != NULL && *word; i++) {
			if (columns[i] == NULL)
				word_is(row, "place", word);
			else
				number_is(row, columns[i], strtod(word, NULL));
		}
	}
	fclose(f);
	json_decref(rows);
	page_free(&p);
}

/* p.adjust(p, "BH") of R says how many are found; the sentence has its count. */
static void looks_are_said_as_r_counts_them(struct world *w)
{
	FILE *f = open_data("yard_set");
	unsigned looks, x, n, outside, found;
	char words[300];
	struct page p;

	assert_int_equal(fscanf(f, "%u,%u,%u,%u,%*u,%u", &looks, &x, &n, &outside, &found), 5);
	fclose(f);
	make_yard(w);
	p = ask(w, "/trends", "by=bus&span=2026", false);
	snprintf(words, sizeof(words), "You are looking at %u buses. By chance alone about %.1f of "
		 "them would stand out at 95 %%. So many do: %u. After accounting for how many are "
		 "looked at: %u.", looks, 0.05 * looks, outside, found);
	says(&p, words);
	snprintf(words, sizeof(words), "Missed: %u of %u sweeps,", x, n);
	says(&p, words);
	page_free(&p);
}

static void weeks_are_as_r_has_them(struct world *w)
{
	FILE *f = open_data("weeks");
	double count, size, value, mean, lower, upper, sigmas, refused, u_mean, u_lower, u_upper;
	struct page p;
	json_t *rows, *refusals;
	size_t weeks = 0;
	int begin;

	make_yard(w);
	p = ask(w, "/trends", "span=2026", true);
	rows = rows_of(&p, "chart");
	refusals = rows_of(&p, "refusals");
	while (fscanf(f, "%d,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf\n", &begin, &count, &size,
		      &value, &mean, &lower, &upper, &sigmas, &refused, &u_mean, &u_lower,
		      &u_upper) == 12) {
		const json_t *row = json_array_get(rows, weeks);
		const json_t *u = json_array_get(refusals, weeks++);
		char day[32];

		snprintf(day, sizeof(day), "%d-%02d-%02d", begin / 10000, begin / 100 % 100,
			 begin % 100);
		word_is(row, "begin", day);
		number_is(row, "count", count);
		number_is(row, "size", size);
		number_is(row, "value", value);
		number_is(row, "mean", mean);
		number_is(row, "lower", lower);
		number_is(row, "upper", upper);
		number_is(row, "sigmas", sigmas);
		number_is(u, "refused", refused);
		number_is(u, "mean", u_mean);
		number_is(u, "lower", u_lower);
		number_is(u, "upper", u_upper);
	}
	fclose(f);
	assert_true(weeks > 8);
	assert_int_equal(json_array_size(rows), weeks);
	json_decref(rows);
	json_decref(refusals);
	page_free(&p);
}

static void times_are_as_r_has_them(struct world *w)
{
	static const char *const columns[] = { "count", "q05", "q25", "median", "q75", "q95" };
	static const char *const names[] = { "trends_to_press", "trends_to_leaving" };
	FILE *f = open_data("times");
	struct page p;
	json_t *rows;

	make_yard(w);
	p = ask(w, "/trends", "by=bus&span=2026&name=3", true);
	assert_int_equal(p.result, 0);
	rows = rows_of(&p, "times");
	for (size_t what = 0; what < 2; what++) {
		const json_t *row = row_named(rows, "what", names[what]);

		assert_int_equal(fscanf(f, "%*[^,]"), 0);
		for (size_t i = 0; i < 6; i++) {
			double want;

			assert_int_equal(fscanf(f, ",%lf", &want), 1);
			number_is(row, columns[i], want);
		}
	}
	fclose(f);
	json_decref(rows);
	page_free(&p);
}

/* -- of one bus -------------------------------------------------------------------------------- */

static void the_least_time_is_that_of_the_bus_s_policy(struct world *w)
{
	struct pw_policy policy;
	char text[16384], minimum[100];
	struct page p;

	make_yard(w);
	assert_int_equal(pw_audit_policy(w->s, "3", text, sizeof(text), WHY), 1);
	assert_int_equal(pw_policy_read(text, &policy, WHY), 0);
	assert_int_equal(pw_audit_policy(w->s, "99", text, sizeof(text), WHY), 0);
	p = ask(w, "/trends", "by=bus&span=2026&name=3", true);
	snprintf(minimum, sizeof(minimum), "\"minimum\":%g,", (double)pw_walk_min_ms(&policy) / 1000);
	assert_non_null(strstr(p.lines, minimum));
	says(&p, "By the newest policy that this bus recorded, a walk takes");
	page_free(&p);
}

static void of_one_its_own_row_is_shown(struct world *w)
{
	struct page p;
	json_t *rows;

	make_yard(w);
	p = ask(w, "/trends", "by=bus&span=2026&name=3", false);
	rows = rows_of(&p, "trends");
	assert_int_equal(json_array_size(rows), 1);
	word_is(json_array_get(rows, 0), "place", "above_998");
	says(&p, "You are looking at 14 buses.");
	assert_non_null(strstr(p.html, "/drift?bus=3"));
	json_decref(rows);
	page_free(&p);
}

static void of_nobody_nothing_is_said(struct world *w)
{
	struct page p = ask(w, "/trends", "by=route&span=2026&name=R9", false);

	assert_int_equal(p.result, 0);
	says(&p, "Nothing was counted of “R9” in that time.");
	page_free(&p);
	p = ask(w, "/trends", "by=driver&span=2025-03", false);
	assert_int_equal(p.result, 0);
	says(&p, "Nothing was counted in that time.");
	page_free(&p);
}

/* -- what is asked ----------------------------------------------------------------------------- */

static void what_cannot_be_asked_is_told(struct world *w)
{
	static const struct { const char *asks, *field; enum pw_phrase wrong; } cases[] = {
		{ "by=rung", "by", PW_P_TRENDS_WRONG_BY },
		{ "span=2026-13", "span", PW_P_TRENDS_WRONG_SPAN },
		{ "span=26", "span", PW_P_TRENDS_WRONG_SPAN },
		{ "span=2026-11-02", "span", PW_P_TRENDS_WRONG_SPAN },
		{ "span=20261", "span", PW_P_TRENDS_WRONG_SPAN },
		{ "count=walked", "count", PW_P_TRENDS_WRONG_COUNT },
		{ "step=day", "step", PW_P_TRENDS_WRONG_STEP },
		{ "page=0", "page", PW_P_TRENDS_PAGE_WRONG },
		{ "page=-1", "page", PW_P_TRENDS_PAGE_WRONG },
		{ "page=x", "page", PW_P_TRENDS_PAGE_WRONG },
	};

	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct page p = ask(w, "/trends", cases[i].asks, false);

		assert_int_equal(p.result, 1);
		assert_string_equal(p.q.wrong_field, cases[i].field);
		assert_int_equal(p.q.wrong, cases[i].wrong);
		page_free(&p);
	}
}

static int count_log(void *ctx, int64_t at_ms, const char *who, const char *did)
{
	(void)at_ms;
	if (strcmp(who, "office1") == 0 && strncmp(did, PW_LOG_SAW, strlen(PW_LOG_SAW)) == 0)
		++*(int *)ctx;
	return 0;
}

static int views(struct world *w)
{
	int count = 0;

	FINE(pw_store_logs(w->s, 0, count_log, &count, WHY));
	return count;
}

static void views_of_drivers_are_logged_and_those_of_buses_not(struct world *w)
{
	struct page p = ask(w, "/trends", "by=bus&span=2026", false);

	page_free(&p);
	assert_int_equal(views(w), 0);
	p = ask(w, "/trends", "by=driver&span=2026", false);
	page_free(&p);
	p = ask(w, "/trends", "by=driver&span=2026&name=417", false);
	page_free(&p);
	assert_int_equal(views(w), 2);
}

/* Tallies of many, put there by sqlite3 and psql. */
static void many_buses_go_in_pages_and_all_into_a_file(struct world *w)
{
	char said[400], sql[600];
	struct page p;
	json_t *rows;

	snprintf(sql, sizeof(sql), "WITH RECURSIVE k(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM k "
		 "WHERE n < 250) INSERT INTO tally SELECT 2, 3, 'T-' || n, 20260000, 0, 100, 98, 0, "
		 "0, 1 + n %% 3, 0, 0, 100, 0, 0, 0 FROM k");
	assert_int_equal(outside(w, said, sizeof(said), sql), 0);
	p = ask(w, "/trends", "by=bus&span=2026", false);
	rows = rows_of(&p, "trends");
	assert_int_equal(json_array_size(rows), 100);
	assert_non_null(strstr(p.html, "&amp;page=2"));
	json_decref(rows);
	rows = rows_of(&p, "funnel"); /* three shares of one n */
	assert_int_equal(json_array_size(rows), 3);
	json_decref(rows);
	page_free(&p);
	p = ask(w, "/trends", "by=bus&span=2026&page=3", false);
	rows = rows_of(&p, "trends");
	assert_int_equal(json_array_size(rows), 50);
	json_decref(rows);
	page_free(&p);
	p = ask(w, "/trends", "by=bus&span=2026", true);
	rows = rows_of(&p, "trends");
	assert_int_equal(json_array_size(rows), 250);
	json_decref(rows);
	page_free(&p);
}

static void hours_and_weekdays_stand_in_their_order(struct world *w)
{
	static const char *const want[] = { "weekday_1", "weekday_2", "weekday_3", "weekday_4",
					    "weekday_5" };
	const char *before = "";
	struct page p;
	json_t *rows, *row;
	size_t i;

	make_yard(w);
	p = ask(w, "/trends", "by=weekday&span=2026", false);
	rows = rows_of(&p, "trends");
	assert_int_equal(json_array_size(rows), 5);
	json_array_foreach(rows, i, row)
		word_is(row, "weekday", want[i]);
	json_decref(rows);
	page_free(&p);
	p = ask(w, "/trends", "by=hour&span=2026-10", false);
	rows = rows_of(&p, "trends");
	assert_true(json_array_size(rows) > 5);
	json_array_foreach(rows, i, row) {
		const char *hour = json_string_value(json_object_get(row, "hour"));

		assert_true(strcmp(hour, before) > 0);
		before = hour;
	}
	json_decref(rows);
	page_free(&p);
}

/* F7: mean 22.33, limits 8.16 and 36.51, second-hand. */
static void the_worst_year_is_within_the_limits(struct world *w)
{
	struct page p = ask(w, "/trends", "example=worst-year", false);

	assert_int_equal(p.result, 0);
	says(&p, "32 in 2018");
	says(&p, "22.33");
	says(&p, "8.16");
	says(&p, "36.51");
	says(&p, "second-hand");
	page_free(&p);
}

static const struct world_case cases[] = {
	CASE(groups_are_as_r_has_them),
	CASE(looks_are_said_as_r_counts_them),
	CASE(weeks_are_as_r_has_them),
	CASE(times_are_as_r_has_them),
	CASE(the_least_time_is_that_of_the_bus_s_policy),
	CASE(of_one_its_own_row_is_shown),
	CASE(of_nobody_nothing_is_said),
	CASE(what_cannot_be_asked_is_told),
	CASE(views_of_drivers_are_logged_and_those_of_buses_not),
	CASE(many_buses_go_in_pages_and_all_into_a_file),
	CASE(hours_and_weekdays_stand_in_their_order),
	CASE(the_worst_year_is_within_the_limits),
};

int main(void)
{
	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}

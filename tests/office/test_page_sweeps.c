/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The pages of sweeps over a real store: made-up days that the rules judged, as a bus sealed them, matched,
 * asked for, corrected by hand; temperatures; and the lines that a page says can be typed, typed.
 */
#include "office/sweep.h"
#include "office/warmth.h"
#include "told.h"

int pw_export(int argc, char **argv); /* of the tool */

#define DAY 20260921
#define DAY_TEXT "2026-09-21"
#define NOW_MS (WALL_MS + 3 * INT64_C(86400000))

static struct pw_zone *chicago;

struct yard {
	struct tool *t;
	char office[100], store[120];
	struct pw_desk *desk;
	struct pw_office o;
	struct pw_asked q;
};

static const struct pw_leaf leaf = { .path = "/sweeps" };
static char why[300];

/* -- a yard's office --------------------------------------------------------------------------- */

/* Five stops: walked; one refused; driven off and made good; a long alarm, driven off in the end; walked. */
#define DAY_TRACE                                                                              \
	"0 ignition=1\n300 ignition=0\n320 rear_button=1\n320.4 rear_button=0\n334 service_door=1\n" \
	"336 service_door=0\n400 ignition=1\n600 ignition=0\n605 rear_button=1\n605.3 rear_button=0\n" \
	"625 rear_button=1\n625.3 rear_button=0\n640 service_door=1\n641 service_door=0\n"      \
	"700 ignition=1\n900 ignition=0\n930 ignition=1\n1000 ignition=0\n1020 rear_button=1\n" \
	"1020.3 rear_button=0\n1040 service_door=1\n1041 service_door=0\n1100 ignition=1\n"      \
	"1400 ignition=0\n12200 ignition=1\n12300 ignition=0\n12325 rear_button=1\n12326 rear_button=0\n" \
	"12340 service_door=1\n12341 service_door=0\n12400 end\n"

static char *exported(struct tool *t)
{
	pid_t child;
	char *text = NULL;
	size_t length = 0;
	FILE *f;

	fflush(NULL);
	child = fork();
	if (child == 0) {
		char command[] = "export";
		char *argv[] = { command, t->dir, NULL };

		if (!freopen(tool_path(t, "bus.jsonl"), "w", stdout))
			_exit(3);
		_exit(pw_export(2, argv) || fflush(stdout));
	}
	assert_int_equal(waitpid(child, &t->status, 0), child);
	assert_int_equal(t->status, 0);
	f = fopen(tool_path(t, "bus.jsonl"), "r");
	assert_non_null(f);
	assert_true(getdelim(&text, &length, '\0', f) > 0);
	fclose(f);
	return text;
}

static int work_put(struct pw_store *s, void *ctx, char *said, size_t size)
{
	const struct pw_batch *b = ctx;
	struct pw_bus_row bus = { .has_key = true, .key = b->key, .enrolled_ms = 1 };
	struct pw_put put = { .begins = true, .record = b->record, .records = b->records, .seal = b->seal,
			      .seals = b->seals, .sweep = b->sweep, .sweeps = b->sweeps };
	int result;

	snprintf(bus.bus, sizeof(bus.bus), "%s", b->bus);
	put.to = (struct pw_branch){ .why = PW_BRANCH_FIRST, .first = 1, .head = b->records,
				     .begun_ms = NOW_MS, .moved_ms = NOW_MS };
	snprintf(put.to.bus, sizeof(put.to.bus), "%s", b->bus);
	snprintf(put.to.epoch, sizeof(put.to.epoch), "%s", b->epoch);
	memset(put.to.first_prev, '0', 64);
	memcpy(put.to.hash, b->record[b->records - 1].hash, sizeof(put.to.hash));
	result = pw_store_bus_put(s, &bus, said, size);
	return result < 0 ? result : pw_store_put(s, &put, said, size);
}

static int work_renew(struct pw_store *s, void *ctx, char *said, size_t size)
{
	int result = 1;

	(void)ctx;
	while (result == 1)
		result = pw_audit_renew(s, chicago, NOW_MS, 1000, said, size);
	return result;
}

#define ON_DESK(y, work, ctx)                                                                  \
	do {                                                                                   \
		if (pw_desk_do((y)->desk, work, ctx, why, sizeof(why)))                        \
			fail_msg("%s: %s", #work, why);                                        \
	} while (0)

static int yard_begin(void **state)
{
	struct yard *y = calloc(1, sizeof(*y));
	struct pw_wrong wrong = { .status = 0 };
	struct pw_batch *b;
	void *tool;
	char *text;

	assert_non_null(y);
	tool_begin(&tool);
	y->t = tool;
	told_play(y->t, TOLD_POLICY, DAY_TRACE);
	text = exported(y->t);
	snprintf(y->office, sizeof(y->office), "%s/office", y->t->dir);
	snprintf(y->store, sizeof(y->store), "%s/office.db", y->office);
	assert_int_equal(mkdir(y->office, 0700), 0);
	if (pw_desk_start(y->store, &y->desk, why, sizeof(why)))
		fail_msg("%s", why);
	if (pw_batch_read(text, strlen(text), "bus-07", &journal_key()->public, false, NOW_MS, &b, &wrong))
		fail_msg("line %u: %s", wrong.line, wrong.words);
	ON_DESK(y, work_put, b);
	ON_DESK(y, work_renew, NULL);
	pw_batch_free(b);
	free(text);
	y->o.desk = y->desk;
	snprintf(y->o.dir, sizeof(y->o.dir), "%s", y->office);
	*state = y;
	return 0;
}

static int yard_end(void **state)
{
	struct yard *y = *state;
	void *tool = y->t;

	if (y->desk)
		pw_desk_stop(y->desk);
	tool_end(&tool);
	free(y);
	return 0;
}

/* -- asking ------------------------------------------------------------------------------------ */

static void ask_for(struct yard *y, const char *fields)
{
	char text[1000], *save, *field;

	y->q = (struct pw_asked){ .o = &y->o, .leaf = &leaf, .tongue = PW_ENGLISH, .zone = chicago,
				  .now_ms = NOW_MS, .today = 20260924, .role = PW_MAY_ACT, .who = "safety" };
	snprintf(text, sizeof(text), "%s", fields);
	for (field = strtok_r(text, "&", &save); field; field = strtok_r(NULL, "&", &save)) {
		char *value = strchr(field, '=');

		*value++ = '\0';
		snprintf(y->q.field[y->q.fields].name, sizeof(y->q.field[0].name), "%s", field);
		snprintf(y->q.field[y->q.fields++].value, sizeof(y->q.field[0].value), "%s", value);
	}
}

enum as { AS_HTML, AS_CSV, AS_LINES };

static char *page(struct yard *y, int (*get)(struct pw_asked *q, struct pw_report *r), enum as as,
		  const char *table, int expected)
{
	struct pw_report *r = pw_report_new(y->q.tongue, chicago);
	char *text = NULL;
	size_t length;
	FILE *out = open_memstream(&text, &length);

	assert_int_equal(get(&y->q, r), expected);
	assert_true(pw_report_ok(r));
	if (as == AS_CSV)
		assert_int_equal(pw_report_csv(r, table, out), 0);
	else if (as == AS_LINES)
		pw_report_lines(r, out);
	else
		pw_report_html(r, "/test", "token", false, out);
	fclose(out);
	pw_report_free(r);
	return text;
}

static unsigned lines_in(const char *text)
{
	unsigned count = 0;

	for (; *text; text++)
		count += *text == '\n';
	return count;
}

static void assert_says(const char *text, const char *words)
{
	if (!strstr(text, words))
		fail_msg("expected \"%s\" in\n%s", words, text);
}

/* -- the list ---------------------------------------------------------------------------------- */

static const struct { int line; const char *asked; unsigned rows; } filters[] = {
	{ __LINE__, "", 6 },
	{ __LINE__, "bus=bus-07", 6 },
	{ __LINE__, "bus=bus-08", 0 },
	{ __LINE__, "verdict=missed", 2 },
	{ __LINE__, "verdict=done", 4 },
	{ __LINE__, "verdict=missed done", 6 },
	{ __LINE__, "result=unplanned", 6 },
	{ __LINE__, "result=no_record", 0 },
	{ __LINE__, "finding=driven_off", 2 },
	{ __LINE__, "finding=carried", 2 },
	{ __LINE__, "rung=spent", 1 },
	{ __LINE__, "driver=D-1", 0 },
	{ __LINE__, "from=" DAY_TEXT "&to=" DAY_TEXT, 6 },
	{ __LINE__, "from=2026-09-22", 0 },
	{ __LINE__, "to=2026-09-20", 0 },
	{ __LINE__, "verdict=missed&rung=prompt", 1 },
};

static void rows_are_those_of_the_filter(void **state)
{
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(filters); i++) {
		char *csv;

		ask_for(y, filters[i].asked);
		csv = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
		if (lines_in(csv) != filters[i].rows + 1)
			fail_msg("%d: %s:\n%s", filters[i].line, filters[i].asked, csv);
		free(csv);
		ask_for(y, filters[i].asked);
		y->q.whole = true; /* for a file: the same */
		csv = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
		assert_int_equal(lines_in(csv), filters[i].rows + 1);
		free(csv);
	}
}

static void what_is_no_filter_is_told_beside_its_field(void **state)
{
	static const char *const wrong[] = { "verdict=gone", "result=done", "finding=lost", "from=2026-02-30",
					     "to=tomorrow", "order=up", "bus=bus 7", "from=2026-09-22&to=2026-09-21",
					     "driver=a-driver-of-many-letters" };
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(wrong); i++) {
		char *html;

		ask_for(y, wrong[i]);
		html = page(y, pw_sweeps_get, AS_HTML, NULL, 0);
		assert_true(y->q.wrong);
		assert_says(html, "class=\"wrong\"");
		free(html);
		ask_for(y, wrong[i]);
		y->q.whole = true;
		free(page(y, pw_sweeps_get, AS_HTML, NULL, 1)); /* for a file: nothing */
	}
}

static void the_longest_unchecked_can_come_first(void **state)
{
	struct yard *y = *state;
	char *csv;

	ask_for(y, "order=longest&verdict=missed");
	csv = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	/* 12200 s - 1400 s, as a key-on settles: before the 30 s of the one that was driven off */
	assert_true(strstr(csv, ",108") < strstr(csv, ",302"));
	assert_non_null(strstr(csv, ",302"));
	free(csv);
}

/* -- one sweep --------------------------------------------------------------------------------- */

struct find { const char *rung; enum pw_verdict verdict; struct pw_audit_row row; bool found; };

static int take_found(void *ctx, const struct pw_audit_row *row)
{
	struct find *f = ctx;

	if (row->verdict != f->verdict || strcmp(row->rung, f->rung) != 0)
		return 0;
	f->row = *row;
	f->found = true;
	return 1;
}

static int work_find(struct pw_store *s, void *ctx, char *said, size_t size)
{
	const struct pw_audit_filter all = { .bus = "bus-07" };
	int result = pw_audit_rows(s, &all, NULL, 100, take_found, ctx, said, size);

	return result < 0 ? result : 0;
}

/* Asks for the newest of that verdict and rung, by its own address. */
static void ask_for_sweep(struct yard *y, enum pw_verdict verdict, const char *rung, const char *more)
{
	struct find f = { .rung = rung, .verdict = verdict };
	char address[PW_ROW_ADDRESS], fields[PW_ROW_ADDRESS + 300];

	ON_DESK(y, work_find, &f);
	assert_true(f.found);
	pw_row_address(&f.row.key, address);
	snprintf(fields, sizeof(fields), "%s%s", strchr(address, '?') + 1, more);
	ask_for(y, fields);
}

static void the_next_page_goes_on_behind_the_last_row(void **state)
{
	struct yard *y = *state;
	char address[PW_SWEEPS_ADDRESS];
	struct pw_audit_key key = { .bus = "bus-07", .day = DAY, .epoch = "0123456789abcdef", .seq = 12 }, back;

	ask_for(y, "");
	pw_sweeps_address(&y->q, &key, address);
	assert_string_equal(address, "/sweeps?behind=bus-07~20260921~0123456789abcdef~0~12~");
	ask_for(y, "behind=bus-07~20260921~0123456789abcdef~0~12~");
	assert_int_equal(pw_sweeps_behind(&y->q, &back), 1);
	assert_memory_equal(&key, &back, sizeof(key));
	ask_for(y, "behind=bus-07~20260921~~0~0~AM 1~2");
	assert_int_equal(pw_sweeps_behind(&y->q, &back), 1);
	assert_string_equal(back.run, "AM 1~2");
	ask_for(y, "behind=bus-07~x");
	assert_int_equal(pw_sweeps_behind(&y->q, &back), -2);
}

/* Behind each row of the list come those that are left, none twice and none left out. */
static void behind_a_row_come_those_that_are_left(void **state)
{
	struct yard *y = *state;
	struct find f = { .rung = "prompt", .verdict = PW_DONE }; /* the newest */
	char fields[300], *first, *rest;

	ON_DESK(y, work_find, &f);
	snprintf(fields, sizeof(fields), "behind=bus-07~%d~%s~0~%d~", DAY, f.row.key.epoch,
		 (int)f.row.key.seq);
	ask_for(y, "");
	first = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	ask_for(y, fields);
	rest = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	assert_int_equal(lines_in(rest), lines_in(first) - 1);
	assert_non_null(strstr(first, strchr(rest, '\n')));
	free(first);
	free(rest);
}

static void one_sweep_is_drawn_judged_and_listed(void **state)
{
	struct yard *y = *state;
	char *text;

	ask_for_sweep(y, PW_MISSED, "spent", "");
	text = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	assert_says(text, "<h1>Bus bus-07, 2026-09-21 09:36: missed</h1>");
	assert_says(text, "<svg class=\"timeline\"");
	assert_says(text, "driven off at 12:36:40, 3 h 00 min after the stop");
	assert_says(text, "The seal of record ");
	assert_says(text, "sha256sum --check");
	assert_says(text, "name=\"words\"");
	assert_null(strcasestr(text, "empty"));
	free(text);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	y->q.role = PW_MAY_SEE; /* no form */
	y->q.tongue = PW_SPANISH;
	text = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	assert_null(strstr(text, "name=\"words\""));
	assert_says(text, "Compruébelo usted mismo");
	free(text);
	ask_for_sweep(y, PW_DONE, "prompt", "");
	text = page(y, pw_sweep_get, AS_LINES, NULL, 0);
	assert_says(text, "{\"table\":\"judged\",\"rule\":\"R22\"");
	free(text);
}

static void an_address_of_no_row_is_told(void **state)
{
	static const char *const none[] = { "", "bus=bus-07", "bus=bus-07&day=" DAY_TEXT,
		"bus=bus-07&day=" DAY_TEXT "&run=AM1",
		"bus=bus-07&day=" DAY_TEXT "&epoch=0123456789abcdef&branch=0&seq=1",
		"bus=bus-07&day=" DAY_TEXT "&epoch=0123456789abcdeg&branch=0&seq=1",
		"bus=bus-07&day=" DAY_TEXT "&epoch=0123456789abcdef&branch=-1&seq=1" };
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(none); i++) {
		ask_for(y, none[i]);
		free(page(y, pw_sweep_get, AS_HTML, NULL, 1));
		assert_true(y->q.wrong);
	}
}

/* -- check it yourself: the lines of the page, by sh ------------------------------------------- */

/* What stands in <pre><code>, as it was. */
static void write_lines(const char *html, const char *path)
{
	static const struct { const char *name; char is; } entities[] = {
		{ "&amp;", '&' }, { "&lt;", '<' }, { "&gt;", '>' }, { "&quot;", '"' }, { "&#39;", '\'' },
	};
	FILE *out = fopen(path, "w");
	unsigned blocks = 0;

	assert_non_null(out);
	fputs("set -e\n", out);
	for (const char *p = html; (p = strstr(p, "<code>")); blocks++) {
		for (p += 6; strncmp(p, "</code>", 7) != 0; p++) {
			char is = *p;

			for (size_t i = 0; i < COUNT(entities); i++)
				if (strncmp(p, entities[i].name, strlen(entities[i].name)) == 0) {
					is = entities[i].is;
					p += strlen(entities[i].name) - 1;
					break;
				}
			putc(is, out);
		}
		putc('\n', out);
	}
	fclose(out);
	assert_int_equal(blocks, 3);
}

static void the_lines_of_the_page_work_as_they_are_typed(void **state)
{
	struct yard *y = *state;
	char command[800], said[4000], *html, fingerprint[65];
	const char *postwalk = getenv("POSTWALK");
	FILE *pipe;
	size_t n;

	assert_non_null(postwalk);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	html = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	write_lines(html, tool_path(y->t, "lines.sh"));
	free(html);
	pw_desk_stop(y->desk); /* the store is one process's alone */
	y->desk = NULL;
	snprintf(command, sizeof(command), "mkdir '%s/typed' && cd '%s/typed' && PATH=\"$(dirname %s):$PATH\" "
		 "LC_ALL=C sh ../lines.sh 2>&1", y->t->dir, y->t->dir, postwalk);
	pipe = popen(command, "r");
	n = fread(said, 1, sizeof(said) - 1, pipe);
	said[n] = '\0';
	if (pclose(pipe) != 0)
		fail_msg("%s", said);
	assert_says(said, "record.txt: OK\n");
	assert_says(said, "Signature Verified Successfully\n");
	assert_says(said, "bus.jsonl: bus bus-07, epoch ");
	assert_says(said, ": sound: ");
	pw_public_key_print(&journal_key()->public, fingerprint);
	assert_says(said, fingerprint);
	/* and they tell when something was touched */
	snprintf(command, sizeof(command), "cd '%s/typed' && sed -i 's/spent/cabin/' ../lines.sh && LC_ALL=C sh "
		 "../lines.sh >../said 2>&1", y->t->dir);
	assert_int_not_equal(system(command), 0);
	snprintf(command, sizeof(command), "grep -q 'record.txt: FAILED' '%s/said'", y->t->dir);
	assert_int_equal(system(command), 0);
}

/* -- a correction ------------------------------------------------------------------------------ */

static void a_correction_stands_beside_the_record(void **state)
{
	struct yard *y = *state;
	char *text;

	ask_for_sweep(y, PW_MISSED, "spent", "&result=walked&words=The driver walked; the button was dead");
	assert_int_equal(pw_sweep_post(&y->q), 0);
	assert_says(y->q.then, "/sweep?bus=bus-07&day=" DAY_TEXT "&epoch=");
	ON_DESK(y, work_renew, NULL);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	text = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	assert_says(text, ": walked</h1>");
	assert_says(text, "The driver walked; the button was dead");
	assert_says(text, "verdict: missed"); /* the record says what it said */
	free(text);
	ask_for(y, "result=walked");
	text = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	assert_int_equal(lines_in(text), 2);
	assert_says(text, ",walked,safety,\"The driver walked; the button was dead\",");
	free(text);
	ask_for_sweep(y, PW_MISSED, "spent", "&result=none&words=It was another bus");
	assert_int_equal(pw_sweep_post(&y->q), 0);
	ON_DESK(y, work_renew, NULL);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	text = page(y, pw_sweep_get, AS_CSV, "corrections", 0);
	assert_int_equal(lines_in(text), 3); /* both are kept */
	free(text);
}

static void a_form_that_lacks_something_is_turned_down(void **state)
{
	static const char *const wrong[] = { "&result=walked", "&result=gone&words=x", "&words=x",
					     "&result=unplanned&words=x" };
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(wrong); i++) {
		ask_for_sweep(y, PW_MISSED, "spent", wrong[i]);
		assert_int_equal(pw_sweep_post(&y->q), 1);
		assert_true(y->q.wrong);
	}
	ask_for(y, "bus=bus-07&day=" DAY_TEXT "&run=AM1&result=walked&words=x");
	assert_int_equal(pw_sweep_post(&y->q), 1);
}

/* -- how bad was it ---------------------------------------------------------------------------- */

static void post_file(struct yard *y, const char *csv, const char *fields)
{
	ask_for(y, fields);
	y->q.file = csv;
	y->q.file_length = strlen(csv);
	snprintf(y->q.file_name, sizeof(y->q.file_name), "warmth.csv");
}

static void the_list_is_ordered_by_time_and_by_what_is_known(void **state)
{
	struct yard *y = *state;
	char *text;

	ask_for(y, "from=" DAY_TEXT "&to=" DAY_TEXT);
	text = page(y, pw_heat_get, AS_HTML, NULL, 0);
	assert_says(text, "2 sweeps were missed from " DAY_TEXT " to " DAY_TEXT);
	assert_says(text, "No temperature is known for any of them.");
	assert_says(text, "ordered by time unchecked alone");
	assert_says(text, "Measured in closed cars; no bus was measured.");
	assert_null(strcasestr(text, "was in danger,"));
	free(text);
	/* at the short one's time alone, then outside at the long one's */
	post_file(y, "at,fahrenheit\n2026-09-21 09:28,86\n2026-09-21 09:40,95\nlater,5\n",
		  "source=the airport's station");
	assert_int_equal(pw_heat_post(&y->q), 0);
	assert_says(y->q.said, "Taken: 2. Not taken: 1.");
	assert_says(y->q.said, "Line 4: “later” is no time");
	ask_for(y, "from=" DAY_TEXT "&to=" DAY_TEXT);
	text = page(y, pw_heat_get, AS_CSV, "known", 0);
	assert_int_equal(lines_in(text), 3);
	assert_says(text, ",heat_yard,30,30,"); /* 86 degrees Fahrenheit */
	assert_true(strstr(text, ",108") < strstr(text, ",302")); /* three hours at 35 before 30 s at 30 */
	assert_says(text, "the airport's station");
	free(text);
	/* inside a bus: no curve */
	post_file(y, "bus,at,celsius\nbus-07,2026-09-21 09:36,40\n", "source=its own sensor");
	assert_int_equal(pw_heat_post(&y->q), 0);
	ON_DESK(y, work_renew, NULL);
	ask_for(y, "from=" DAY_TEXT "&to=" DAY_TEXT);
	text = page(y, pw_heat_get, AS_LINES, NULL, 0);
	assert_says(text, "\"measured\":\"heat_cabin\"");
	free(text);
}

static int count_warm(void *ctx, int64_t at_ms, int32_t c10, const char *source)
{
	(void)at_ms;
	(void)c10;
	(void)source;
	++*(unsigned *)ctx;
	return 0;
}

static int work_count_warm(struct pw_store *s, void *ctx, char *said, size_t size)
{
	return pw_audit_warmths(s, "", 0, INT64_MAX, count_warm, ctx, said, size);
}

static void what_is_turned_down_leaves_nothing(void **state)
{
	static const struct { const char *csv, *fields; } wrong[] = {
		{ "when,celsius\n2026-09-21 09:28,5\n", "source=x" },
		{ "at,celsius\n2026-09-21 09:28,5\n\"2026-09-21 10:28,5\n", "source=x" },
		{ "at,celsius\n2026-09-21 09:28,5\n", "" },
		{ "", "source=x" },
	};
	struct yard *y = *state;
	unsigned count = 0;

	for (size_t i = 0; i < COUNT(wrong); i++) {
		post_file(y, wrong[i].csv, wrong[i].fields);
		assert_int_equal(pw_heat_post(&y->q), 1);
		assert_true(y->q.wrong);
	}
	ON_DESK(y, work_count_warm, &count);
	assert_int_equal(count, 0);
}

static int take_log(void *ctx, int64_t at_ms, const char *who, const char *did)
{
	(void)at_ms;
	assert_string_equal(who, "safety");
	strcat(ctx, did);
	strcat(ctx, "\n");
	return 0;
}

static int work_logs(struct pw_store *s, void *ctx, char *said, size_t size)
{
	return pw_store_logs(s, 0, take_log, ctx, said, size);
}

/* Who looked at a driver's rows, and every act, is in the office's log. */
static void views_and_acts_are_logged(void **state)
{
	struct yard *y = *state;
	char log[4000] = "";

	ask_for(y, "driver=D-1");
	free(page(y, pw_sweeps_get, AS_HTML, NULL, 0));
	ask_for_sweep(y, PW_MISSED, "spent", "");
	free(page(y, pw_sweep_get, AS_HTML, NULL, 0));
	ask_for_sweep(y, PW_MISSED, "spent", "&result=walked&words=x");
	assert_int_equal(pw_sweep_post(&y->q), 0);
	post_file(y, "at,celsius\n2026-09-21 09:28,5\n", "source=the yard's own");
	assert_int_equal(pw_heat_post(&y->q), 0);
	ON_DESK(y, work_logs, log);
	assert_says(log, "saw the rows of driver D-1\n");
	assert_says(log, "saw a row of bus bus-07, day 20260921, driver -\n");
	assert_says(log, "corrected bus bus-07, day 20260921, a stop to walked: x\n");
	assert_says(log, "warmth: 1 temperatures of warmth.csv taken, 0 lines not; source: the yard's own\n");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, yard_begin, yard_end)
		TEST(rows_are_those_of_the_filter),
		TEST(what_is_no_filter_is_told_beside_its_field),
		TEST(the_longest_unchecked_can_come_first),
		TEST(the_next_page_goes_on_behind_the_last_row),
		TEST(behind_a_row_come_those_that_are_left),
		TEST(one_sweep_is_drawn_judged_and_listed),
		TEST(an_address_of_no_row_is_told),
		TEST(the_lines_of_the_page_work_as_they_are_typed),
		TEST(a_correction_stands_beside_the_record),
		TEST(a_form_that_lacks_something_is_turned_down),
		TEST(the_list_is_ordered_by_time_and_by_what_is_known),
		TEST(what_is_turned_down_leaves_nothing),
		TEST(views_and_acts_are_logged),
#undef TEST
	};
	int failed;

	if (pw_zone_open("America/Chicago", &chicago, why, sizeof(why)))
		return 1;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	pw_zone_free(chicago);
	return failed;
}

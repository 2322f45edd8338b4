/* SPDX-License-Identifier: Apache-2.0 */
/*
 * page_yard.h - a yard's office for the pages: a made-up day that the rules judged, as a bus sealed it,
 * put into a store and matched; and pages asked for without a listener.
 */
#ifndef OFFICE_PAGE_YARD_H
#define OFFICE_PAGE_YARD_H

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

static inline char *exported(struct tool *t)
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

static inline int work_put(struct pw_store *s, void *ctx, char *said, size_t size)
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

static inline int work_renew(struct pw_store *s, void *ctx, char *said, size_t size)
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

static inline int yard_begin(void **state)
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

static inline int yard_end(void **state)
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

static inline void ask_for(struct yard *y, const char *fields)
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

/* Not inline: the compiler takes the stream for one that outlives it. */
__attribute__((noinline, unused))
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

static inline unsigned lines_in(const char *text)
{
	unsigned count = 0;

	for (; *text; text++)
		count += *text == '\n';
	return count;
}

static inline void assert_says(const char *text, const char *words)
{
	if (!strstr(text, words))
		fail_msg("expected \"%s\" in\n%s", words, text);
}

/* -- rows ---------------------------------------------------------------------------------------- */

struct find { const char *rung; enum pw_verdict verdict; struct pw_audit_row row; bool found; };

static inline int take_found(void *ctx, const struct pw_audit_row *row)
{
	struct find *f = ctx;

	if (row->verdict != f->verdict || strcmp(row->rung, f->rung) != 0)
		return 0;
	f->row = *row;
	f->found = true;
	return 1;
}

static inline int work_find(struct pw_store *s, void *ctx, char *said, size_t size)
{
	const struct pw_audit_filter all = { .bus = "bus-07" };
	int result = pw_audit_rows(s, &all, NULL, 100, take_found, ctx, said, size);

	return result < 0 ? result : 0;
}

/* Asks for the newest of that verdict and rung, by its own address. */
static inline void ask_for_sweep(struct yard *y, enum pw_verdict verdict, const char *rung, const char *more)
{
	struct find f = { .rung = rung, .verdict = verdict };
	char address[PW_ROW_ADDRESS], fields[PW_ROW_ADDRESS + 300];

	ON_DESK(y, work_find, &f);
	assert_true(f.found);
	pw_row_address(&f.row.key, address);
	snprintf(fields, sizeof(fields), "%s%s", strchr(address, '?') + 1, more);
	ask_for(y, fields);
}

static inline void post_file(struct yard *y, const char *csv, const char *fields)
{
	ask_for(y, fields);
	y->q.file = csv;
	y->q.file_length = strlen(csv);
	snprintf(y->q.file_name, sizeof(y->q.file_name), "warmth.csv");
}

#endif

/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A pack of a made-up yard's days, checked by what is outside of it: the lines of its verify.txt as they
 * stand there (sha256sum, openssl, basenc, sed), `postwalk verify`, recompute.py, Python's readers of zip
 * and HTML. Then something in it is changed, and that is told.
 */
#include "web_help.h"
#include "office/zone.h"
#include "postwalk/store.h"

#include <libgen.h>

#define DAYS "--since 2026-10-05 --until 2026-10-11"

static struct pages yard;
static const char *dir; /* of the office; pack/ in it is the pack that is whole */

__attribute__((format(printf, 2, 3)))
static char *run(int expected, const char *format, ...)
{
	char command[1500], *text;
	int status;
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	text = shell(&status, "%s", command);
	if (status != expected)
		fail_msg("%s: %d, not %d: %s", command, status, expected, text);
	return text;
}

__attribute__((format(printf, 1, 2)))
static void must(const char *format, ...)
{
	char command[1500];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	free(run(0, "%s", command));
}

static const char *tool(void)
{
	const char *program = getenv("POSTWALK");

	if (!program)
		fail_msg("POSTWALK is not set");
	return program;
}

/* -- a yard ------------------------------------------------------------------------------------ */

static char why[240];
#define WHY why, sizeof(why)

static int take_first(void *ctx, const struct pw_audit_row *row)
{
	memcpy(ctx, row, sizeof(*row));
	return 1;
}

static void renew(struct pw_store *s)
{
	struct pw_zone *zone;
	int more = 1;

	assert_int_equal(pw_zone_open("America/Denver", &zone, WHY), 0);
	while (more == 1) {
		assert_int_equal(pw_store_begin(s, WHY), 0);
		more = pw_audit_renew(s, zone, pw_office_now_ms(), 1000, WHY);
		assert_int_equal(pw_store_commit(s, WHY), 0);
	}
	assert_int_equal(more, 0);
	pw_zone_free(zone);
}

static struct pw_correction correction_of(struct pw_store *s, uint32_t results, const char *words)
{
	const struct pw_audit_filter f = { .results = results };
	struct pw_correction c = { .result = PW_RESULT_MISSED, .at_ms = 1792929600000 };
	struct pw_audit_row row;

	assert_int_equal(pw_audit_rows(s, &f, NULL, 1, take_first, &row, WHY), 1);
	c.key = row.key;
	strcpy(c.who, "O-2");
	snprintf(c.words, sizeof(c.words), "%s", words);
	return c;
}

/* One that stands, and one that was taken back. */
static void correct(struct pw_store *s)
{
	struct pw_correction one = correction_of(s, 1U << PW_RESULT_UNPLANNED, "=seen on \"paper\", <twice>");
	struct pw_correction other = correction_of(s, 1U << PW_RESULT_WALKED, "by mistake");

	assert_int_equal(pw_store_begin(s, WHY), 0);
	assert_int_equal(pw_audit_correct(s, &one, WHY), 0);
	assert_int_equal(pw_audit_correct(s, &other, WHY), 0);
	other.result = PW_RESULT_NONE;
	other.at_ms++;
	assert_int_equal(pw_audit_correct(s, &other, WHY), 0);
	assert_int_equal(pw_store_commit(s, WHY), 0);
}

/* With nobody else at the store: rows are whole, and then they stand still. */
static void settle(void)
{
	struct pw_store *s;
	char path[100];

	assert_int_equal(office_stop(&yard.office, SIGTERM), 0);
	snprintf(path, sizeof(path), "%s/office.db", dir);
	assert_int_equal(pw_store_open(path, false, &s, WHY), 0);
	renew(s);
	correct(s);
	renew(s);
	pw_store_close(s);
	assert_true(office_start(&yard.office));
	pages_hear(&yard);
}

static int yard_begins(void **state)
{
	(void)state;
	pages_begin(&yard, "zone = America/Denver\n");
	dir = yard.office.dir;
	must("%s enrol --office %s $(seq -f T-%%04.0f 4) >%s/codes", office_program(), dir, dir);
	must("%s fleet --buses 4 --days 5 --seed 7 --from 2026-10-05 --zone America/Denver --state %s/fleet "
	     "--codes %s/codes --runs %s/runs.csv --quiet --to http://127.0.0.1:%d", tool(), dir, dir, dir,
	     yard.office.port);
	must("%s runs --office %s %s/runs.csv --zone America/Denver --by O-1", office_program(), dir, dir);
	settle();
	must("%s pack --office %s %s/pack " DAYS, office_program(), dir, dir);
	return 0;
}

static int yard_ends(void **state)
{
	(void)state;
	office_end(&yard.office);
	return 0;
}

/* -- whole ------------------------------------------------------------------------------------- */

/* The lines that begin with four spaces, with postwalk where they look for it. */
static char *verify(int expected, const char *folder)
{
	char program[300];

	snprintf(program, sizeof(program), "%s", tool());
	return run(expected, "cd %s && sed -n 's/^    //p' verify.txt >../lines && PATH=%s:$PATH sh -e ../lines",
		   folder, dirname(program));
}

static void the_lines_of_verify_txt_hold(void **state)
{
	char folder[100], *said;

	(void)state;
	snprintf(folder, sizeof(folder), "%s/pack", dir);
	said = verify(0, folder);
	assert_has(said, "Signature Verified Successfully");
	assert_has(said, "every file is as it was listed");
	assert_has(said, ": all as the pack says");
	assert_has(said, "the seals were looked at");
	assert_has(said, "the receipts were looked at");
	assert_has(said, "bus T-0004, epoch ");
	assert_has_not(said, "does not hold");
	assert_has_not(said, "no file has");
	assert_has_not(said, "not sound");
	free(said);
}

static void the_report_has_the_numbers_of_the_table(void **state)
{
	char *report;

	(void)state;
	must("python3 tests/office/pack_report.py %s/pack 62", dir);
	report = read_whole(dir, "pack/report.html", PAGE_MAX);
	assert_has(report, "A press says that somebody stood at the rear");
	assert_has(report, "no legal advice");
	assert_has(report, "=seen on &quot;paper&quot;, &lt;twice&gt;");
	assert_has(report, "by mistake");
	assert_has_not(report, "<form");
	free(report);
}

/* Corrections are counted one by one; a row stands corrected where the newest one says so. */
static void corrections_are_told_with_who_and_why(void **state)
{
	char *said;

	(void)state;
	said = read_whole(dir, "pack/numbers.csv", PAGE_MAX);
	assert_has(said, "\r\n,corrections,3\r\n");
	assert_has(said, "\r\n,corrected,1\r\n");
	free(said);
	said = read_whole(dir, "pack/corrections.jsonl", PAGE_MAX);
	assert_has(said, "\"who\":\"O-2\"");
	assert_has(said, "\"words\":\"=seen on \\\"paper\\\", <twice>\"");
	free(said);
}

static void an_export_is_the_same_byte_for_byte(void **state)
{
	(void)state;
	must("cd %s/pack/records && for f in T-0003-*-0.jsonl; do "
	     "%s export T-0003 --office %s | cmp - $f; done", dir, office_program(), dir);
	must("cmp %s/office.pub %s/pack/keys/office.pub", dir, dir);
}

/* Only the bus that was asked for, and what is recomputed of it. */
static void some_buses_alone(void **state)
{
	char *said;

	(void)state;
	must("%s pack --office %s %s/some " DAYS " T-0002 T-0004", office_program(), dir, dir);
	said = run(0, "python3 %s/some/recompute.py", dir);
	assert_has(said, " numbers of 2 buses: all as the pack says");
	free(said);
	said = run(0, "ls %s/some/records %s/some/keys", dir, dir);
	assert_has(said, "T-0004.pub");
	assert_has_not(said, "T-0003");
	free(said);
	must("rm -r %s/some", dir);
}

/* A day in the middle: rows of the days beside are none of it. */
static void one_day_alone(void **state)
{
	char *said;

	(void)state;
	must("%s pack --office %s %s/day --since 2026-10-07 --until 2026-10-07", office_program(), dir, dir);
	free(run(0, "python3 %s/day/recompute.py", dir));
	said = run(0, "cut -d, -f2 %s/day/rows.csv | sort -u", dir);
	assert_string_equal(said, "2026-10-07\nday\n");
	free(said);
	must("rm -r %s/day", dir);
}

/* -- by the web -------------------------------------------------------------------------------- */

static void a_zip_has_the_same(void **state)
{
	struct page page;
	char *said;

	(void)state;
	make_person(&yard, "A-1", "see");
	page = fetch(&yard, "A-1", "/pack", "");
	assert_page(&page, 200, "action=\"/pack.zip\"");
	page_free(&page);
	page = fetch(&yard, "A-1", "/pack.zip?from=2026-10-05&to=2026-10-11&buses=", "");
	assert_int_equal(page.status, 200);
	assert_has(page.head, "application/zip");
	assert_has(page.head, "filename=\"postwalk-pack-20261005-20261011.zip\"");
	page_free(&page);
	must("cd %s && mv body pack.zip && python3 -m zipfile -t pack.zip && python3 -m zipfile -e pack.zip zip", dir);
	must("cd %s/zip/* && for f in rows.csv rows.jsonl corrections.jsonl numbers.csv chains.txt; do "
	     "cmp $f %s/pack/$f; done", dir, dir);
	said = run(0, "python3 %s/zip/postwalk-pack-20261005-20261011/recompute.py", dir);
	assert_has(said, ": all as the pack says");
	free(said);
	free(run(1, "ls %s | grep '^pack-'", dir)); /* what it was made in is gone */
	must("rm -r %s/zip %s/pack.zip", dir, dir);
}

static void what_cannot_be_asked_is_refused(void **state)
{
	static const struct { const char *path, *words; } asked[] = {
		{ "/pack.zip?from=2026-10-32&to=2026-10-11", "2026-10-32" },
		{ "/pack.zip?from=2026-10-12&to=2026-10-11", "before the first one" },
		{ "/pack.zip?from=2026-10-05", "a last day" },
		{ "/pack.zip?from=2026-10-05&to=2026-10-11&buses=T-9999", "no bus “T-9999”" },
	};
	struct page page;

	(void)state;
	for (size_t i = 0; i < sizeof(asked) / sizeof(asked[0]); i++) {
		page = fetch(&yard, "A-1", asked[i].path, "");
		assert_page(&page, 400, asked[i].words);
		page_free(&page);
	}
	page = fetch(&yard, "nobody", "/pack.zip?from=2026-10-05&to=2026-10-11", "");
	assert_int_equal(page.status, 303);
	page_free(&page);
}

static void the_shell_refuses_it_too(void **state)
{
	static const struct { const char *words, *said; } asked[] = {
		{ "pack " DAYS, "not there yet" },
		{ "other --since 2026-02-30 --until 2026-10-11", "2026-02-30" },
		{ "other --since 2026-10-12 --until 2026-10-11", "not before" },
		{ "other " DAYS " T-9999", "T-9999" },
		{ "other " DAYS " ../T-1", "../T-1" },
		{ "other", "expected postwalk-office pack DIR" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof(asked) / sizeof(asked[0]); i++) {
		char *said = run(2, "cd %s && %s pack --office . %s", dir, office_program(), asked[i].words);

		assert_has(said, asked[i].said);
		free(said);
	}
	free(run(1, "test -e %s/other", dir));
}

static void a_pack_is_in_the_office_s_log(void **state)
{
	char *said, *sums;

	(void)state;
	said = office_do(&yard.office, "log");
	assert_has(said, "view pack 20261005 to 20261011, with driver codes, of buses all");
	assert_has(said, "view pack 20261005 to 20261011, with driver codes, of buses T-0002 T-0004");
	sums = run(0, "sha256sum %s/pack/SHA256SUMS | cut -c 1-64 | tr -d '\\n'", dir);
	assert_has(said, sums);
	free(sums);
	free(said);
}

/* -- touched ----------------------------------------------------------------------------------- */

/* How it is touched, in the folder; what recompute.py says of it. FILE is a bus's records. */
static const struct { const char *how, *said; } touches[] = {
	{ "sed -i '20s/\"wall_ms\":1/\"wall_ms\":2/' $FILE", "its hash is not that of its text" },
	{ "sed -i '20s/\\(\"hash\":\"\\)[0-9a-f]\\{8\\}/\\100000000/' $FILE", "its hash is not that of its text" },
	{ "sed -i '20d' $FILE", "records are missing, or twice" },
	{ "sed -i '20{h;p;g}' $FILE", "records are missing, or twice" },
	{ "sed -i '$d' $FILE", "it is cut off" },
	{ "rm $FILE", "it is not there, and" },
	{ "sed -i '0,/\"verdict\":\"done\"/s//\"verdict\":\"late\"/' rows.jsonl", "the row says verdict 'late'" },
	{ "sed -i '0,/\"late_ms\":0/s//\"late_ms\":7/' rows.jsonl", "the row says late_ms 7, the signed record 0" },
	{ "sed -i '/\"seq\":[1-9]/{x;s/^/x/;/^x$/{x;d};x}' rows.jsonl", "is a sweep of these days that no row has" },
	{ "sed -i '0,/\"result\":\"walked\"/s//\"result\":\"missed\"/' rows.jsonl", "by its JSON Lines" },
	{ "sed -i '5s/,walked,/,late,/' rows.csv", "rows.csv, row 4: result" },
	{ "sed -i '$d' rows.csv", "have not the same number of rows" },
	{ "sed -i '1d' corrections.jsonl", "corrections is 3 in the pack, and 2 by its JSON Lines" },
	{ "sed -i '0,/\"verdict_missed\":[0-9]*/s//\"verdict_missed\":99/' numbers.json",
	  "verdict_missed is 99 in the pack" },
	{ "sed -i '0,/^,refused,.*/s//,refused,99\\r/' numbers.csv", "refused of all is 99" },
	{ "sed -i '1d' chains.jsonl", "which are not in the pack" },
	{ "echo more >notes.txt", "notes.txt: it is not in SHA256SUMS" },
	{ "sed -i 's/missed/walked/' report.html", "report.html: it is not as SHA256SUMS has it" },
};

static void what_was_touched_is_told(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(touches) / sizeof(touches[0]); i++) {
		char *said;

		said = run(1, "cd %s && rm -rf touched && cp -r pack touched && cd touched && "
			   "FILE=$(ls records/T-0004-*-0.jsonl) && %s && python3 recompute.py", dir,
			   touches[i].how);
		assert_has(said, touches[i].said);
		assert_has(said, "SHA256SUMS");
		assert_has(said, " things differ");
		free(said);
	}
}

/* Who changes a record, and all hashes behind it, and the lists of files, has neither key. */
static void what_was_made_to_fit_is_told_by_signatures(void **state)
{
	char folder[100], *said;

	(void)state;
	snprintf(folder, sizeof(folder), "%s/touched", dir);
	must("cd %s && rm -rf touched && cp -r pack touched && cd touched && "
	     "sed -i '$!s/\\(\"sig\":\"\\)[0-9a-f]/\\1f/;$!s/\\(\"sig\":\"f\\)[0-9a-f]/\\1f/' "
	     "records/T-0004-*-0.jsonl && sed -i 's/\\(\"time_ms\":\\)1/\\12/' receipts.jsonl && "
	     "cut -c 67- SHA256SUMS | xargs sha256sum >sums; mv sums SHA256SUMS", dir);
	said = run(0, "python3 %s/recompute.py", folder); /* hashes and numbers fit */
	free(said);
	said = run(1, "cd %s && sed -n 's/^    //p' verify.txt | grep -v 'postwalk verify' >../lines && sh ../lines; "
		   "openssl pkeyutl -verify -rawin -pubin -inkey keys/office.pub -in SHA256SUMS "
		   "-sigfile SHA256SUMS.sig", folder);
	assert_has(said, "Signature Verification Failure");
	assert_has(said, "its newest seal does not hold");
	assert_has(said, "the receipt of T-0001, seq ");
	free(said);
}

/* -- purged ------------------------------------------------------------------------------------ */

static void purge(void)
{
	struct pw_purged p = { .kind = PW_KEEP_NONE };
	struct pw_store *s;
	char path[100];
	int more = 1;

	snprintf(path, sizeof(path), "%s/office.db", dir);
	assert_int_equal(pw_store_open(path, false, &s, WHY), 0);
	while (more == 1) {
		assert_int_equal(pw_store_begin(s, WHY), 0);
		more = pw_keep_purge(s, PW_KEEP_RECORDS, 20991231, "O-3", pw_office_now_ms(), 5000, &p, WHY);
		assert_int_equal(pw_store_commit(s, WHY), 0);
	}
	assert_int_equal(more, 0);
	assert_true(p.count > 100);
	pw_store_close(s);
}

/* Rows stay when their records go: that is noted, and what is left is as sound as before. */
static void what_was_purged_is_noted(void **state)
{
	char folder[100], *said;

	(void)state;
	assert_int_equal(office_stop(&yard.office, SIGTERM), 0);
	purge();
	assert_true(office_start(&yard.office));
	pages_hear(&yard);
	must("%s pack --office %s %s/less " DAYS, office_program(), dir, dir);
	must("cmp %s/pack/rows.csv %s/less/rows.csv", dir, dir);
	snprintf(folder, sizeof(folder), "%s/less", dir);
	said = verify(0, folder);
	assert_has(said, "sweeps the records were purged; their rows alone say what they were");
	assert_has(said, ": all as the pack says");
	assert_has(said, "earlier ones were purged by an office");
	assert_has_not(said, "does not hold");
	assert_has_not(said, "not sound");
	free(said);
	said = read_whole(dir, "less/report.html", PAGE_MAX);
	assert_has(said, "O-3");
	free(said);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_lines_of_verify_txt_hold),
		cmocka_unit_test(the_report_has_the_numbers_of_the_table),
		cmocka_unit_test(corrections_are_told_with_who_and_why),
		cmocka_unit_test(an_export_is_the_same_byte_for_byte),
		cmocka_unit_test(some_buses_alone),
		cmocka_unit_test(one_day_alone),
		cmocka_unit_test(a_zip_has_the_same),
		cmocka_unit_test(what_cannot_be_asked_is_refused),
		cmocka_unit_test(the_shell_refuses_it_too),
		cmocka_unit_test(a_pack_is_in_the_office_s_log),
		cmocka_unit_test(what_was_touched_is_told),
		cmocka_unit_test(what_was_made_to_fit_is_told_by_signatures),
		cmocka_unit_test(what_was_purged_is_noted),
	};

	return cmocka_run_group_tests(tests, yard_begins, yard_ends);
}

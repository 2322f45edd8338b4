/* SPDX-License-Identifier: Apache-2.0 */
/* What proofs, finds, reports and set-ups add up to, as they come and as a start reads them back (J8). */
#include "record_help.h"
#include "record_watch.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define FIRST INT64_C(1790000000000)
#define TOLD_INDEXES "('record_told', 'record_defect')"

/* -- notes ----------------------------------------------------------------------------------------- */

static struct pw_note note_of(enum pw_kind kind, int64_t at)
{
	struct pw_note n = { .version = PW_NOTE_VERSION, .kind = (uint16_t)kind, .mono_ms = at,
			     .wall_ms = FIRST + at, .wall_ok = 1 };

	return n;
}

static struct pw_note proof(const char *line, enum pw_proof_how how, int64_t at)
{
	struct pw_note n = note_of(PW_K_PROOF, at);

	strcpy(n.of.proof.line, line);
	n.of.proof.how = how;
	return n;
}

static struct pw_note found(enum pw_found_what what, uint32_t id, int64_t at)
{
	struct pw_note n = note_of(PW_K_FOUND, at);

	n.of.found.what = what;
	n.of.found.id = id;
	n.of.found.part = id != 0 ? PW_PART_MIRRORS : PW_PART_NONE;
	strcpy(n.of.found.who, "d-12");
	snprintf(n.of.found.words, sizeof(n.of.found.words), "number %u", (unsigned)id);
	return n;
}

static struct pw_note report(enum pw_report_act act, uint32_t id, const char *who, int64_t at)
{
	struct pw_note n = note_of(PW_K_REPORT, at);

	n.of.report.act = act;
	n.of.report.id = id;
	strcpy(n.of.report.who, who);
	return n;
}

static struct pw_note setup(const char *who, int64_t at)
{
	struct pw_note n = note_of(PW_K_SETUP, at);

	strcpy(n.of.setup.who, who);
	n.of.setup.wiring.steps = 1;
	n.of.setup.wiring.step[0] = (struct pw_wiring_step){ .result = PW_WIRING_RIGHT };
	return n;
}

static void take(struct pw_day *d, struct pw_note n)
{
	pw_day_take(d, &n);
}

/* -- as they come ---------------------------------------------------------------------------------- */

static void a_proof_replaces_the_line_s(void **state)
{
	struct pw_day d = { 0 };

	(void)state;
	assert_null(pw_day_proof(&d, "horn"));
	take(&d, proof("horn", PW_NOT_HEARD, 1));
	take(&d, proof("rear_door", PW_MOVED, 2));
	take(&d, proof("horn", PW_HEARD, 3));
	assert_int_equal(d.proofs, 2);
	assert_int_equal(pw_day_proof(&d, "horn")->how, PW_HEARD);
	assert_int_equal(pw_day_proof(&d, "horn")->wall_ms, FIRST + 3);
	assert_int_equal(pw_day_proof(&d, "rear_door")->wall_ms, FIRST + 2);
	assert_null(pw_day_proof(&d, "hor"));
}

/* Lines may be named anew: the oldest proof makes room. */
static void more_lines_than_there_are(void **state)
{
	struct pw_day d = { 0 };
	char name[PW_NAME_MAX];

	(void)state;
	for (unsigned i = 0; i < PW_LINES; i++) {
		snprintf(name, sizeof(name), "line_%u", i);
		take(&d, proof(name, PW_MOVED, i));
	}
	take(&d, proof("line_0", PW_MOVED, 100));
	take(&d, proof("another", PW_MOVED, 101));
	assert_int_equal(d.proofs, PW_LINES);
	assert_null(pw_day_proof(&d, "line_1")); /* the oldest: line_0 was seen again */
	assert_int_equal(pw_day_proof(&d, "line_0")->wall_ms, FIRST + 100);
	assert_int_equal(pw_day_proof(&d, "another")->wall_ms, FIRST + 101);
	for (unsigned i = 2; i < PW_LINES; i++) {
		snprintf(name, sizeof(name), "line_%u", i);
		assert_non_null(pw_day_proof(&d, name));
	}
}

static void what_a_walk_found(void **state)
{
	struct pw_day d = { 0 };

	(void)state;
	take(&d, found(PW_FOUND_NOTHING, 0, 1));
	assert_int_equal(d.found.what, PW_FOUND_NOTHING);
	assert_int_equal(d.found.wall_ms, FIRST + 1);
	take(&d, found(PW_FOUND_CHILD, 0, 2));
	take(&d, found(PW_FOUND_DAMAGE, 1, 3));
	take(&d, found(PW_FOUND_LEFT_OPEN, 2, 4));
	take(&d, found(PW_FOUND_MECHANICAL, 5, 5));
	take(&d, found(PW_FOUND_ARTICLE, 0, 6));
	assert_int_equal(d.child_wall_ms, FIRST + 2);
	assert_int_equal(d.found.what, PW_FOUND_ARTICLE);
	assert_int_equal(d.defects, 3);
	assert_int_equal(d.last_id, 5);
	assert_int_equal(d.defect[0].what, PW_FOUND_DAMAGE);
	assert_int_equal(d.defect[0].part, PW_PART_MIRRORS);
	assert_int_equal(d.defect[0].wall_ms, FIRST + 3);
	assert_string_equal(d.defect[0].who, "d-12");
	assert_string_equal(d.defect[2].words, "number 5");
	assert_int_equal(d.defect[2].certified, 0);
	assert_false(d.defect[2].reported);
	/* ids count up: what was there is not there twice */
	take(&d, found(PW_FOUND_DAMAGE, 5, 7));
	take(&d, found(PW_FOUND_DAMAGE, 3, 8));
	assert_int_equal(d.defects, 3);
	assert_int_equal(d.last_id, 5);
}

/* 49 CFR 396.11 (from memory): signed, certified, reviewed by the next driver (396.13). */
static void a_report_and_what_becomes_of_it(void **state)
{
	struct pw_day d = { 0 };

	(void)state;
	take(&d, found(PW_FOUND_DAMAGE, 1, 1));
	take(&d, found(PW_FOUND_MECHANICAL, 2, 2));
	take(&d, report(PW_REPORT_REPAIRED, 1, "m-3", 3));
	take(&d, report(PW_REPORT_SIGNED, 0, "d-12", 4));
	assert_string_equal(d.report.who, "d-12");
	assert_int_equal(d.report.wall_ms, FIRST + 4);
	assert_int_equal(d.review.wall_ms, 0);
	assert_int_equal(d.defect[0].certified, PW_REPORT_REPAIRED);
	assert_string_equal(d.defect[0].by, "m-3");
	assert_false(d.defect[0].reported); /* repaired before it was signed */
	assert_true(d.defect[1].reported);
	take(&d, found(PW_FOUND_LEFT_OPEN, 3, 5));
	assert_false(d.defect[2].reported);
	take(&d, report(PW_REPORT_REVIEWED, 0, "d-7", 6));
	assert_string_equal(d.review.who, "d-7");
	assert_int_equal(d.review.wall_ms, FIRST + 6);
	take(&d, report(PW_REPORT_NO_NEED, 2, "m-4", 7));
	assert_int_equal(d.defect[1].certified, PW_REPORT_NO_NEED);
	assert_true(d.defect[1].reported); /* until the next one is signed */
	take(&d, report(PW_REPORT_REPAIRED, 99, "m-4", 8)); /* none of ours any more */
	take(&d, report(PW_REPORT_SIGNED, 0, "d-7", 9));
	assert_int_equal(d.review.wall_ms, 0);
	assert_string_equal(d.review.who, "");
	assert_false(d.defect[1].reported);
	assert_true(d.defect[2].reported);
	assert_int_equal(d.defect[2].certified, 0);
}

static void a_certified_one_makes_room_first(void **state)
{
	struct pw_day d = { 0 };

	(void)state;
	for (uint32_t id = 1; id <= PW_DEFECTS_MAX; id++)
		take(&d, found(PW_FOUND_DAMAGE, id, id));
	take(&d, report(PW_REPORT_REPAIRED, 9, "m-3", 20));
	take(&d, report(PW_REPORT_NO_NEED, 5, "m-3", 21));
	take(&d, found(PW_FOUND_DAMAGE, 17, 22));
	assert_int_equal(d.defects, PW_DEFECTS_MAX);
	assert_int_equal(d.defects_dropped, 0);
	assert_int_equal(d.defect[3].id, 4); /* 5 has gone: of the two the older */
	assert_int_equal(d.defect[4].id, 6);
	assert_int_equal(d.defect[15].id, 17);
	take(&d, found(PW_FOUND_DAMAGE, 18, 23));
	assert_int_equal(d.defects_dropped, 0);
	assert_int_equal(d.defect[7].id, 10);
	take(&d, found(PW_FOUND_DAMAGE, 19, 24)); /* all open: the oldest, and it is told */
	assert_int_equal(d.defects_dropped, 1);
	assert_int_equal(d.defects, PW_DEFECTS_MAX);
	assert_int_equal(d.defect[0].id, 2);
	assert_int_equal(d.defect[15].id, 19);
	for (uint32_t i = 1; i < d.defects; i++)
		assert_true(d.defect[i - 1].id < d.defect[i].id);
}

static void a_set_up(void **state)
{
	struct pw_day d = { 0 };

	(void)state;
	take(&d, setup("i-1", 1));
	take(&d, setup("i-2", 2));
	assert_string_equal(d.setup.who, "i-2");
	assert_int_equal(d.setup.wall_ms, FIRST + 2);
}

/* Any other kind, and what means nothing, changes nothing. */
static void what_is_none_changes_nothing(void **state)
{
	static const struct pw_day none;
	struct pw_day d = { 0 };

	(void)state;
	for (unsigned kind = 0; kind < PW_KINDS + 3; kind++) {
		struct pw_note n = note_of((enum pw_kind)kind, 1);

		take(&d, n);
	}
	take(&d, proof("", PW_MOVED, 1));
	take(&d, proof("horn", PW_PROOF_HOWS, 1));
	take(&d, found(PW_FOUND_WHATS, 0, 1));
	take(&d, found(PW_FOUND_DAMAGE, 0, 1));
	take(&d, report(PW_REPORT_ACTS, 0, "m-3", 1));
	take(&d, report(PW_REPORT_REPAIRED, 0, "m-3", 1));
	assert_memory_equal(&d, &none, sizeof(d));
}

/* Texts without their closing zero get one. */
static void texts_without_an_end(void **state)
{
	struct pw_note n = found(PW_FOUND_DAMAGE, 1, 1), r = report(PW_REPORT_SIGNED, 0, "", 2);
	struct pw_day d = { 0 };

	(void)state;
	memset(n.of.found.who, 'w', sizeof(n.of.found.who));
	memset(n.of.found.words, 'w', sizeof(n.of.found.words));
	memset(r.of.report.who, 'w', sizeof(r.of.report.who));
	take(&d, n);
	take(&d, r);
	assert_int_equal(strlen(d.defect[0].who), PW_CODE_MAX - 1);
	assert_int_equal(strlen(d.defect[0].words), PW_SAID_MAX - 1);
	assert_int_equal(strlen(d.report.who), PW_CODE_MAX - 1);
	n = proof("x", PW_MOVED, 3);
	memset(n.of.proof.line, 'w', sizeof(n.of.proof.line));
	take(&d, n);
	assert_int_equal(strlen(d.proof[0].line), PW_NAME_MAX - 1);
}

/* -- what people type ------------------------------------------------------------------------------ */

static void codes(void **state)
{
	static const char *const good[] = { "a", "D-12", "0._-", "abcdefghijklmno" };
	static const char *const bad[] = { "", "abcdefghijklmnop", "d 12", "d/12", "d12\n", "\xc3\xbc" };

	(void)state;
	for (size_t i = 0; i < COUNT(good); i++)
		assert_true(pw_code_ok(good[i]));
	for (size_t i = 0; i < COUNT(bad); i++)
		if (pw_code_ok(bad[i]))
			fail_msg("\"%s\"", bad[i]);
	assert_false(pw_code_ok(NULL));
}

/* UTF-8 (RFC 3629) on one line: no control (Unicode's Cc), no separator of lines or paragraphs. */
static void words(void **state)
{
	static const char *const good[] = {
		"", "left rear, flat", "\"quoted\" \\ & <b>", "T\xc3\xbcr", "\xc2\xa0", "\xe2\x82\xac",
		"\xe2\x80\xa7", "\xe2\x80\xaa", "\xf0\x9f\x9a\x8c", "\xf4\x8f\xbf\xbf",
	};
	static const char *const bad[] = {
		"a\tb", "a\nb", "\x01", "\x1b[2J", "\x7f", "\xc2\x80", "\xc2\x9b", "\xc2\x9f",
		"\xe2\x80\xa8", "\xe2\x80\xa9", "\xff", "\xc3", "\xc0\xaf", "\xed\xa0\x80",
		"\xf4\x90\x80\x80", "caf\xe9",
	};
	char longest[PW_SAID_MAX + 1] = "";

	(void)state;
	for (size_t i = 0; i < COUNT(good); i++)
		if (!pw_said_ok(good[i]))
			fail_msg("case %zu: %s", i, good[i]);
	for (size_t i = 0; i < COUNT(bad); i++)
		if (pw_said_ok(bad[i]))
			fail_msg("case %zu is taken", i);
	memset(longest, 'x', PW_SAID_MAX - 1);
	assert_true(pw_said_ok(longest));
	longest[PW_SAID_MAX - 1] = 'x';
	assert_false(pw_said_ok(longest));
	longest[PW_SAID_MAX - 1] = '\0';
	longest[PW_SAID_MAX - 2] = '\xc3'; /* cut in the middle */
	assert_false(pw_said_ok(longest));
	assert_false(pw_said_ok(NULL));
}

/* -- read back by a start -------------------------------------------------------------------------- */

static void note(struct watch *x, struct pw_day *d, struct pw_note n)
{
	pw_writer_note(x->w, &n);
	pw_day_take(d, &n);
}

static void keep(struct watch *x)
{
	struct pw_state s = phase(PW_PARKED);

	pw_writer_keep(x->w, &s, x->now_ms, FIRST + x->now_ms);
	settle(x);
}

static struct pw_day day_of(const struct folder *f)
{
	struct watch x = start_at(f, &quick);
	struct pw_kept_state kept = kept_of(&x);

	pw_writer_stop(x.w, PATIENCE_MS);
	return kept.day;
}

static struct watch begin_watch(const struct folder *f)
{
	struct watch x = start_at(f, &quick);
	struct pw_kept_state kept = kept_of(&x);

	assert_int_equal(kept.day.proofs, 0);
	assert_int_equal(kept.day.defects, 0);
	return x;
}

/* All of it, in the order in which it came, and the other kinds between. */
static void a_start_has_the_same_day(void **state)
{
	struct folder *f = *state;
	struct watch x = begin_watch(f);
	struct pw_day d = { 0 }, back;

	note(&x, &d, proof("horn", PW_NOT_HEARD, 1));
	note(&x, &d, found(PW_FOUND_DAMAGE, 1, 2));
	note(&x, &d, numbered(3));
	note(&x, &d, report(PW_REPORT_SIGNED, 0, "d-12", 4));
	note(&x, &d, found(PW_FOUND_MECHANICAL, 2, 5));
	note(&x, &d, report(PW_REPORT_REVIEWED, 0, "d-7", 6));
	note(&x, &d, report(PW_REPORT_REPAIRED, 1, "m-3", 7));
	note(&x, &d, setup("i-1", 8));
	note(&x, &d, found(PW_FOUND_CHILD, 0, 9));
	note(&x, &d, proof("horn", PW_HEARD, 10));
	note(&x, &d, walked(11));
	note(&x, &d, found(PW_FOUND_NOTHING, 0, 12));
	keep(&x);
	pw_writer_stop(x.w, PATIENCE_MS);
	back = day_of(f);
	assert_memory_equal(&back, &d, sizeof(d));
	assert_int_equal(back.child_wall_ms, FIRST + 9);
	assert_true(back.defect[0].reported);
	assert_int_equal(back.last_id, 2);
}

/* A month of walks that found nothing, reports signed each day, and a proof each morning: what is open
 * stays open, what was certified stays certified, and ids go on. */
static void what_is_old_and_open_is_not_forgotten(void **state)
{
	struct folder *f = *state;
	struct watch x = begin_watch(f);
	struct pw_day d = { 0 }, back;

	note(&x, &d, setup("i-1", 1));
	note(&x, &d, found(PW_FOUND_DAMAGE, 1, 2));
	note(&x, &d, found(PW_FOUND_DAMAGE, 2, 3));
	note(&x, &d, report(PW_REPORT_REPAIRED, 1, "m-3", 4));
	for (int64_t at = 10; at < 210; at++) {
		note(&x, &d, proof("horn", PW_HEARD, at));
		note(&x, &d, found(PW_FOUND_NOTHING, 0, at));
		note(&x, &d, report(PW_REPORT_SIGNED, 0, "d-12", at));
	}
	keep(&x);
	pw_writer_stop(x.w, PATIENCE_MS);
	back = day_of(f);
	assert_memory_equal(&back, &d, sizeof(d));
	assert_int_equal(back.defect[0].certified, PW_REPORT_REPAIRED);
	assert_true(back.defect[1].reported);
	assert_int_equal(back.last_id, 2);
}

/* Bodies that are none of ours (of another version, say) are passed over; the rest counts. By hand. */
static void bad_ones_are_skipped(void **state)
{
	static const struct {
		enum pw_kind kind;
		const char *body;
	} bad[] = {
		{ PW_K_PROOF, "{\"line\":\"horn\",\"seen\":true}" },
		{ PW_K_FOUND, "{\"what\":\"a coat\"}" },
		{ PW_K_REPORT, "no JSON" },
		{ PW_K_SETUP, "[]" },
	};
	struct folder *f = *state;
	struct watch x = begin_watch(f);
	struct pw_day d = { 0 }, back;
	struct pw_secret_key key;
	struct pw_kept_row row;
	struct pw_journal *j;
	char why[256];
	bool drawn;

	note(&x, &d, proof("horn", PW_HEARD, 1));
	note(&x, &d, found(PW_FOUND_DAMAGE, 1, 2));
	keep(&x);
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_int_equal(pw_secret_key_load(f->path, "bus", &key, &drawn, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_open(in(f, "journal.db"), BUS, true, &j, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_kept(j, &row, why, sizeof(why)), 1);
	assert_int_equal(pw_journal_begin(j, why, sizeof(why)), 0);
	for (size_t i = 0; i < COUNT(bad); i++) {
		struct pw_record r = { .boot = row.boot, .mono_ms = 3, .wall_ms = FIRST + 3,
				       .wall_ok = true, .kind = bad[i].kind, .body = bad[i].body };

		assert_int_equal(pw_journal_add(j, &r, why, sizeof(why)), 0);
	}
	assert_int_equal(pw_journal_keep(j, &row, &key, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_commit(j, why, sizeof(why)), 0);
	pw_journal_close(j);
	back = day_of(f);
	assert_memory_equal(&back, &d, sizeof(d));
}

static void assert_indexes(const struct folder *f, const char *count)
{
	char answer[32];

	ask(answer, sizeof(answer), "sqlite3 '%s' \"SELECT count(*) FROM sqlite_schema WHERE name IN "
	    TOLD_INDEXES "\"", in(f, "journal.db"));
	assert_string_equal(answer, count);
}

/* A journal from before there were such kinds: it is judged as ever, gets the indexes, and goes on. */
static void an_old_journal_gets_its_indexes(void **state)
{
	struct folder *f = *state;
	struct watch x = begin_watch(f);
	struct pw_day d = { 0 }, back;

	note_and_keep(&x, 300, PW_PARKED);
	settle(&x);
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_int_equal(run("sqlite3 '%s' 'DROP INDEX record_told; DROP INDEX record_defect'",
			     in(f, "journal.db")), 0);
	assert_indexes(f, "0");
	x = begin_watch(f);
	note(&x, &d, found(PW_FOUND_DAMAGE, 1, 1000));
	keep(&x);
	assert_null(pw_writer_fault(x.w));
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_indexes(f, "2");
	assert_int_equal(assert_chain(f), 301);
	back = day_of(f);
	assert_memory_equal(&back, &d, sizeof(d));
	assert_int_equal(run("test ! -e '%s'", in(f, "journal.db.damaged-1")), 0);
}

/* Each is found by its index and not by a search: so sqlite3 says. */
static void by_the_index(void **state)
{
	static const char *const wanted[] = {
		"kind IN ('proof', 'found', 'report', 'setup') AND kind = 'found'",
		"kind IN ('found', 'report') AND instr(body, '\\\"id\\\":0,') = 0",
	};
	static const char *const used[] = { "USING INDEX record_told (kind=?)",
					    "USING INDEX record_defect" };
	struct folder *f = *state;
	struct watch x = begin_watch(f);
	char answer[256];

	pw_writer_stop(x.w, PATIENCE_MS);
	for (size_t i = 0; i < COUNT(wanted); i++) {
		ask(answer, sizeof(answer), "sqlite3 '%s' \"EXPLAIN QUERY PLAN SELECT body FROM record"
		    " WHERE %s ORDER BY seq DESC LIMIT 64\" | grep -c '%s'", in(f, "journal.db"),
		    wanted[i], used[i]);
		assert_string_equal(answer, "1");
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_proof_replaces_the_line_s),
		cmocka_unit_test(more_lines_than_there_are),
		cmocka_unit_test(what_a_walk_found),
		cmocka_unit_test(a_report_and_what_becomes_of_it),
		cmocka_unit_test(a_certified_one_makes_room_first),
		cmocka_unit_test(a_set_up),
		cmocka_unit_test(what_is_none_changes_nothing),
		cmocka_unit_test(texts_without_an_end),
		cmocka_unit_test(codes),
		cmocka_unit_test(words),
		cmocka_unit_test_setup_teardown(a_start_has_the_same_day, with_folder, without_folder),
		cmocka_unit_test_setup_teardown(what_is_old_and_open_is_not_forgotten, with_folder,
						without_folder),
		cmocka_unit_test_setup_teardown(bad_ones_are_skipped, with_folder, without_folder),
		cmocka_unit_test_setup_teardown(an_old_journal_gets_its_indexes, with_folder,
						without_folder),
		cmocka_unit_test_setup_teardown(by_the_index, with_folder, without_folder),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Alerts: sealed by themselves (J4), handed out by themselves, pending until the office has them. */
#include "record_uplink.h"

#include "../../daemon/record/journal_internal.h"

static struct watch started(const struct folder *f, int64_t now_ms)
{
	struct watch x = start_at(f, &quick);

	x.now_ms = now_ms;
	kept_of(&x);
	return x;
}

/* Head, that record, its seal, end: four lines, and the seal holds. */
static void assert_alone(const struct folder *f, const struct uplink *u, uint64_t seq)
{
	struct pw_export_line line[4];
	struct pw_public_key key;
	char why[256] = "", hash[65], *at = u->text, *end;

	assert_non_null(at);
	assert_int_equal(pw_public_key_load(in(f, "bus.pub"), &key, why, sizeof(why)), 0);
	for (int i = 0; i < 4; i++, at = end + 1) {
		end = strchr(at, '\n');
		assert_non_null(end);
		assert_int_equal(pw_export_read(at, (size_t)(end - at), &line[i], why, sizeof(why)), 0);
		assert_int_equal(line[i].kind, PW_X_HEAD + i);
	}
	assert_int_equal(*at, '\0');
	assert_int_equal(line[1].record.seq, seq);
	pw_record_hash(BUS, &line[1].record, hash);
	assert_string_equal(line[1].record.hash, hash);
	assert_int_equal(line[2].seal.seq, seq);
	assert_string_equal(line[2].seal.hash, hash);
	assert_true(pw_seal_holds(BUS, line[1].record.epoch, &line[2].seal, &key));
	assert_int_equal(line[3].records, 1);
	assert_int_equal(line[3].seals, 1);
	assert_int_equal(u->in.seq, seq);
	assert_string_equal(u->in.hash, hash);
	for (int i = 0; i < 4; i++)
		pw_export_free(&line[i]);
}

/* J4, J8: each has a seal of its own in the batch; what stands between and behind has none. */
static void an_alert_is_sealed_by_itself(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f, 1000);
	struct pw_note n[] = { rung_note(false), rung_note(true), rung_note(false), child_note(),
			       rung_note(false) };
	char text[512];

	notes(&x, n, sizeof(n) / sizeof(n[0]));
	ask(text, sizeof(text), "sqlite3 -readonly '%s' 'SELECT group_concat(seq) FROM seal'",
	    in(f, "journal.db"));
	assert_string_equal(text, "2,4");
	column_of(f, "body", 1, text);
	assert_string_equal(text, "{\"name\":\"cabin\",\"at_ms\":0}");
	column_of(f, "body", 2, text);
	assert_string_equal(text, "{\"name\":\"cabin\",\"at_ms\":0,\"notify\":true}");
	until_delivery(&x, d->alerts == 2);
	stop(&x);
}

/* Words that speak of it are none; nor is anything else that a walk found. */
static void what_is_no_alert(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f, 1000);
	struct pw_note n[] = { child_note(), child_note(), rung_note(false), plain(PW_K_FAULT) };

	n[0].of.found.what = PW_FOUND_ARTICLE;
	strcpy(n[0].of.found.words, "\"what\":\"child\" \"notify\":true");
	n[1].of.found.what = PW_FOUND_NOTHING;
	strcpy(n[2].of.rung.name, "notify");
	strcpy(n[3].of.fault.words, "\"notify\":true");
	notes(&x, n, sizeof(n) / sizeof(n[0]));
	batch(&x, PW_K_SWEEP, 1, PW_PARKED); /* sealed are they all now */
	stop(&x);
	assert_int_equal(count_of(f, "SELECT count(*) FROM seal"), 1);
	x = started(f, 101000);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	assert_int_equal(pw_writer_delivery(x.w)->alerts, 0);
	stop(&x);
}

static void the_oldest_comes_first(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f, 1000);
	struct pw_note n[] = { rung_note(true), child_note(), rung_note(true) };
	struct uplink u;

	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	notes(&x, n, 3); /* 2, 3, 4 */
	u = uplink_open(f);
	uplink_from(&u, PW_H_ALERT, 0);
	assert_alone(f, &u, 2);
	uplink_from(&u, PW_H_ALERT, 2);
	assert_alone(f, &u, 2);
	uplink_from(&u, PW_H_ALERT, 3);
	assert_alone(f, &u, 3);
	uplink_from(&u, PW_H_ALERT, 4);
	assert_alone(f, &u, 4);
	uplink_from(&u, PW_H_ALERT, 5);
	assert_null(u.text);
	assert_int_equal(u.in.seq, 0);
	uplink_from(&u, PW_H_ALERT, UINT64_MAX);
	assert_null(u.text);
	uplink_where(&u);
	assert_int_equal(u.in.alerts, 3);
	uplink_close(&u);
	stop(&x);
}

/* Its own receipt, one by one; and a receipt of all before it, which covers the rest. */
static void until_there_is_a_receipt(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f, 1000);
	struct pw_note n[] = { rung_note(true), child_note(), rung_note(true), rung_note(true) };
	struct pw_receipt r;
	struct uplink u;

	enrol(f);
	notes(&x, n, 3);
	u = uplink_open(f);
	r = receipt_of(f, 2, true);
	assert_true(uplink_receipt(&u, &r));
	until_delivery(&x, d->alerts == 2);
	assert_int_equal(pw_writer_delivery(x.w)->alert_ms, r.time_ms);
	uplink_from(&u, PW_H_ALERT, 0);
	assert_alone(f, &u, 1);
	uplink_from(&u, PW_H_ALERT, 2);
	assert_alone(f, &u, 3);
	notes(&x, n, 1); /* 5; 4 is the receipt */
	r = receipt_of(f, 3, false);
	assert_true(uplink_receipt(&u, &r));
	until_delivery(&x, d->alerts == 1);
	assert_int_equal(pw_writer_delivery(x.w)->receipted, 3);
	assert_int_equal(pw_writer_delivery(x.w)->receipted_ms, r.time_ms);
	uplink_from(&u, PW_H_ALERT, 0);
	assert_alone(f, &u, 5);
	r = receipt_of(f, 5, true);
	assert_true(uplink_receipt(&u, &r));
	until_delivery(&x, d->alerts == 0);
	uplink_from(&u, PW_H_ALERT, 0);
	assert_null(u.text);
	uplink_close(&u);
	stop(&x);
}

/* J12 is not asked: a journal that power left says itself what is pending. */
static void they_are_found_again(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f, 1000);
	struct pw_note n[] = { rung_note(true), child_note(), rung_note(true) };
	struct pw_receipt r;
	struct uplink u;

	enrol(f);
	notes(&x, n, 3);
	u = uplink_open(f);
	r = receipt_of(f, 1, true);
	assert_true(uplink_receipt(&u, &r));
	uplink_close(&u);
	kill(pw_writer_pid(x.w), SIGKILL);
	pw_writer_stop(x.w, 0);
	x = started(f, 101000);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	until_delivery(&x, d->alerts == 2 && d->alert_ms == r.time_ms);
	assert_true(pw_writer_delivery(x.w)->child_wall_ms == 0);
	u = uplink_open(f);
	uplink_from(&u, PW_H_ALERT, 0);
	assert_alone(f, &u, 2);
	uplink_close(&u);
	stop(&x);
}

/* -- a child ----------------------------------------------------------------------------------- */

/* Since when the office has the last one, by its own receipt or by the first that covers it. */
static void since_when_the_office_has_it(void **state)
{
	for (int by_itself = 0; by_itself < 2; by_itself++) {
		struct folder *f = *state;
		struct watch x = started(f, 1000 + by_itself * 1000000);
		const int64_t first_ms = 1790000000000 + x.now_ms;
		struct pw_note n = child_note();
		struct pw_receipt r, later;
		struct uplink u;
		uint64_t seq;

		enrol(f);
		notes(&x, &n, 1);
		seq = count_of(f, "SELECT max(seq) FROM record WHERE kind = 'found'");
		until_delivery(&x, d->alerts == 1);
		assert_int_not_equal(pw_writer_delivery(x.w)->child_wall_ms, first_ms);
		u = uplink_open(f);
		r = receipt_of(f, seq, by_itself == 1);
		assert_true(uplink_receipt(&u, &r));
		until_delivery(&x, d->child_wall_ms == first_ms);
		assert_int_equal(pw_writer_delivery(x.w)->child_ms, r.time_ms);
		batch(&x, PW_K_SWEEP, 1, PW_PARKED);
		later = receipt_of(f, seq + 2, false);
		assert_true(uplink_receipt(&u, &later));
		uplink_close(&u);
		stop(&x);
		x = started(f, x.now_ms + 100000);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		until_delivery(&x, d->receipted == seq + 2);
		assert_int_equal(pw_writer_delivery(x.w)->child_wall_ms, first_ms);
		assert_int_equal(pw_writer_delivery(x.w)->child_ms, r.time_ms);
		notes(&x, &n, 1); /* another one: of that it has not heard yet */
		until_delivery(&x, d->alerts == 1 && d->child_wall_ms == 0);
		stop(&x);
	}
}

/* -- long journals ----------------------------------------------------------------------------- */

static int count_step(void *steps)
{
	++*(uint64_t *)steps;
	return 0;
}

/* However long the journal: what is asked at a start costs as much as there are alerts. Steps of SQLite's
 * machine, which no other load on this one changes. */
static void a_long_journal_costs_no_more(void **state)
{
	uint64_t steps[2] = { 0, 0 };

	for (int i = 0; i < 2; i++) {
		struct folder *f = *state;
		struct pw_kept_row row = { .state = "{}", .boot = 1, .batch = 1 };
		struct pw_secret_key key;
		struct pw_delivery d = { .alerts = 0 };
		struct pw_journal *j;
		char why[256] = "";
		bool drawn;

		assert_int_equal(run("rm -f '%s'/journal.db*", f->path), 0);
		assert_int_equal(pw_secret_key_load(f->path, "bus", &key, &drawn, why, sizeof(why)), 0);
		assert_int_equal(pw_journal_open(in(f, "journal.db"), BUS, true, &j, why, sizeof(why)), 0);
		assert_int_equal(pw_journal_begin(j, why, sizeof(why)), 0);
		for (int n = 0; n < (i == 0 ? 100 : 20000); n++) {
			struct pw_record r = { .boot = 1, .mono_ms = n, .wall_ms = n, .kind = PW_K_FOUND };

			r.body = n == 50 ? "{\"what\":\"child\"}" : "{\"what\":\"nothing\"}";
			assert_int_equal(pw_journal_add(j, &r, why, sizeof(why)), 0);
			if (n == 50 || n % 256 == 0)
				assert_int_equal(pw_journal_seal(j, &key, why, sizeof(why)), 0);
		}
		assert_int_equal(pw_journal_keep(j, &row, &key, why, sizeof(why)), 0);
		assert_int_equal(pw_journal_commit(j, why, sizeof(why)), 0);
		sqlite3_progress_handler(j->db, 1, count_step, &steps[i]);
		assert_int_equal(pw_journal_delivered(j, &d, why, sizeof(why)), 0);
		assert_int_equal(d.alerts, 1);
		sqlite3_progress_handler(j->db, 0, NULL, NULL);
		pw_journal_close(j);
	}
	if (steps[1] > steps[0] + 50)
		fail_msg("%" PRIu64 " steps, and %" PRIu64 " in a long one", steps[0], steps[1]);
}

/* One from before there were alerts gets what finds them, and what it holds is found. */
static void a_journal_from_before(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f, 1000);
	struct pw_note n = child_note();

	notes(&x, &n, 1);
	stop(&x);
	assert_int_equal(run("sqlite3 '%s' 'DROP INDEX record_alert; DROP INDEX record_alerted'",
			     in(f, "journal.db")), 0);
	x = started(f, 101000);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	until_delivery(&x, d->alerts == 1);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
	assert_int_equal(count_of(f, "SELECT count(*) FROM sqlite_schema WHERE name IN"
				     " ('record_alert', 'record_alerted')"), 2);
}

int main(void)
{
#define IN_FOLDER(test) cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		IN_FOLDER(an_alert_is_sealed_by_itself),
		IN_FOLDER(what_is_no_alert),
		IN_FOLDER(the_oldest_comes_first),
		IN_FOLDER(until_there_is_a_receipt),
		IN_FOLDER(they_are_found_again),
		IN_FOLDER(since_when_the_office_has_it),
		IN_FOLDER(a_long_journal_costs_no_more),
		IN_FOLDER(a_journal_from_before),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}

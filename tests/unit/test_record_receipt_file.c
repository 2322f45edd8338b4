/* SPDX-License-Identifier: Apache-2.0 */
/*
 * J6: the office's last receipt, outside the database, as a witness at a start. Each case begins with a
 * copy of one folder:
 *
 *	seq 1 rung, 2 sweep (sealed), 3 receipt of 2      before: a copy of it as it was here
 *	seq 4 rung, 5 sweep (sealed), 6 receipt of 5      an orderly stop: 6 is sealed
 */
#include "record_uplink.h"

#include "record_aged.h"

#define OTHER_EPOCH "00112233aabbccdd"

struct made {
	struct folder f;
	struct pw_receipt two, five;
};

static int make(void **state)
{
	struct made *m = calloc(1, sizeof(*m));
	struct watch x;
	struct uplink u;

	folder_make(&m->f);
	enrol(&m->f);
	x = start_later(&m->f, &quick, 1000);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(&m->f);
	m->two = receipt_of(&m->f, 2, false);
	must_shell(&m->f, "mkdir before && sqlite3 journal.db '.backup before/journal.db' &&"
			  " cp seal.* bus.* office.pub before");
	assert_true(uplink_receipt(&u, &m->two));
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	m->five = receipt_of(&m->f, 5, false);
	assert_true(uplink_receipt(&u, &m->five));
	uplink_close(&u);
	stop(&x);
	*state = m;
	return 0;
}

static int drop(void **state)
{
	struct made *m = *state;

	folder_remove(&m->f);
	free(m);
	return 0;
}

static struct folder copy(const struct made *m)
{
	struct folder f;

	folder_make(&f);
	must_shell(&m->f, "cp -a . '%s'", f.path);
	return f;
}

/* A receipt of that record of the made folder with something else in it, put there as the file. */
static void put_receipt(const struct folder *f, const struct pw_receipt *r, const struct pw_secret_key *key)
{
	struct pw_receipt put = *r;

	pw_receipt_sign(&put, key);
	assert_int_equal(pw_receipt_file_write(f->path, &put), 0);
}

static bool file_is(const struct folder *f, const struct pw_receipt *r)
{
	struct pw_receipt read;

	return pw_receipt_file_read(f->path, &read) == 1 && memcmp(&read, r, sizeof(read)) == 0;
}

/* Starts, commits a batch, and stops. What the watch was told while it ran; "": nothing. */
static void starts(const struct folder *f, char words[256])
{
	struct watch x = start_later(f, &quick, 101000);

	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	snprintf(words, 256, "%s", pw_writer_fault(x.w) ? pw_writer_fault(x.w) : "");
	stop(&x);
}

/* -- all is well, or only remarked ------------------------------------------------------------- */

static void goes_on(const struct folder *f, const char *words, int line)
{
	char said[256];

	starts(f, said);
	if (words[0] == '\0' ? said[0] != '\0' : strstr(said, words) == NULL)
		fail_msg("line %d: \"%s\"", line, said);
	assert_false(exists(f, "journal.db.damaged-1"));
	assert_int_equal(count_of(f, "SELECT max(seq) FROM record"), 7);
}

static void what_is_not_whole_is_remarked_and_written_again(void **state)
{
	static const char *const ways[] = {
		"rm receipt", ": > receipt", "sed -i 8d receipt", "sed -i '4s/5/05/' receipt",
		"sed -i '1s/receipt/alert/' receipt", "sed -i '6s/179/189/' receipt",
		"tac receipt > x && mv x receipt", "echo >> receipt", "rm receipt; mkdir receipt",
	};
	const struct made *m = *state;

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		struct folder f = copy(m);

		must_shell(&f, "%s", ways[i]);
		goes_on(&f, i == sizeof(ways) / sizeof(ways[0]) - 1 ? "the receipt file is not reaching the disk"
			: "the receipt file is gone, or not the office's", __LINE__);
		assert_true(file_is(&f, &m->five) || exists(&f, "receipt/."));
		folder_remove(&f);
	}
}

/* Signed by somebody else: it witnesses nothing, whatever it says. */
static void a_forged_one_is_remarked(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);
	struct pw_receipt r = m->five;

	r.seq = 1000;
	put_receipt(&f, &r, fixed_key());
	goes_on(&f, "the receipt file is gone, or not the office's", __LINE__);
	assert_true(file_is(&f, &m->five));
	folder_remove(&f);
}

/* Power went between the commit and the file. */
static void an_older_one_is_brought_up_to_date(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);

	put_receipt(&f, &m->two, office_key());
	goes_on(&f, "", __LINE__);
	assert_true(file_is(&f, &m->five));
	folder_remove(&f);
}

/* A bus that is enrolled nowhere, or with another office by now. */
static void of_another_office_nothing_is_known(void **state)
{
	static const char *const ways[] = { "rm office.pub", "cp bus.pub office.pub",
					    "rm office.pub receipt", "cp bus.pub office.pub; rm receipt" };
	const struct made *m = *state;

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		struct folder f = copy(m);

		must_shell(&f, "%s", ways[i]);
		goes_on(&f, "", __LINE__);
		folder_remove(&f);
	}
}

/* -- older than it says ------------------------------------------------------------------------ */

static void is_put_aside(const struct folder *f, const struct pw_receipt *receipt, const char *words, int line)
{
	struct pw_check c;
	struct first first;
	char said[256], body[512], had[512];
	struct pw_receipt aside;

	starts(f, said);
	if (strncmp(said, "a new journal was begun: ", 25) != 0 || strstr(said, words) == NULL
	    || strstr(said, "; the old one is journal.db.damaged-1") == NULL)
		fail_msg("line %d: \"%s\"", line, said);
	assert_true(exists(f, "journal.db.damaged-1"));
	assert_sound(f, &c);
	first = first_of(f);
	assert_string_equal(first.kind, "epoch");
	if (receipt != NULL) {
		pw_receipt_body(receipt, body, sizeof(body));
		ask(had, sizeof(had), "sqlite3 -readonly '%s' \"SELECT body ->> '$.receipt' FROM record"
		    " WHERE seq = 1\"", in(f, "journal.db"));
		assert_string_equal(had, body);
	}
	/* it stays as it was, beside the journal that it is of */
	assert_false(exists(f, "receipt"));
	must_shell(f, "mv receipt.damaged-1 receipt");
	assert_int_equal(pw_receipt_file_read(f->path, &aside), 1);
	must_shell(f, "rm receipt");
	starts(f, said);
	assert_string_equal(said, "");
}

/* With its seals, its key and its kept state: all of it but what the office signed meanwhile. */
static void a_journal_that_was_put_back(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);

	must_shell(&f, "rm seal.a seal.b journal.db; mv before/* .");
	is_put_aside(&f, &m->five, "it is older than its receipt: the office has seq 5, and no record says so",
		     __LINE__);
	folder_remove(&f);
	f = copy(m);
	put_receipt(&f, &m->two, office_key()); /* all of the records are there, but not that receipt */
	must_shell(&f, "rm seal.a seal.b journal.db; mv before/* .");
	is_put_aside(&f, &m->two, "it is older than its receipt: the office has seq 2", __LINE__);
	folder_remove(&f);
}

static void a_receipt_of_another_record(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);
	struct pw_receipt r = m->two;

	memset(r.hash, '0', 64);
	put_receipt(&f, &r, office_key());
	is_put_aside(&f, NULL, "seq 2 is not the record that the office has", __LINE__);
	folder_remove(&f);
}

static void a_receipt_of_another_epoch_or_bus(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);
	struct pw_receipt r = m->five;
	char said[256];

	strcpy(r.epoch, OTHER_EPOCH);
	put_receipt(&f, &r, office_key());
	is_put_aside(&f, NULL, "the receipt is of epoch " OTHER_EPOCH ", and the journal of ", __LINE__);
	folder_remove(&f);
	f = copy(m);
	r = m->five;
	strcpy(r.bus, "bus-8");
	put_receipt(&f, &r, office_key());
	starts(&f, said);
	assert_non_null(strstr(said, "the receipt is of bus bus-8"));
	assert_true(exists(&f, "journal.db.damaged-1"));
	folder_remove(&f);
}

/* -- from one epoch into the next -------------------------------------------------------------- */

/* Everything but the receipt was taken away: it says what there was. */
static void a_journal_that_was_taken_away(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);
	struct first first;
	char said[256];

	must_shell(&f, "rm journal.db seal.a seal.b");
	starts(&f, said);
	assert_string_equal(said, "a new journal was begun: journal.db was not there");
	first = first_of(&f);
	assert_string_equal(first.kind, "epoch");
	assert_string_equal(first.before, m->five.epoch);
	assert_int_equal(first.seq, 5);
	assert_string_equal(first.hash, m->five.hash);
	assert_false(exists(&f, "receipt"));
	assert_true(exists(&f, "receipt.damaged-1"));
	starts(&f, said);
	assert_string_equal(said, "");
	folder_remove(&f);
}

/* A journal that had records, and the file of it is empty now. */
static void an_empty_journal_of_its_epoch(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);
	char said[256];

	must_shell(&f, "rm seal.a seal.b; sqlite3 journal.db 'DROP TRIGGER record_no_delete;"
		       " DROP TRIGGER seal_no_delete; DELETE FROM record; DELETE FROM seal; DELETE FROM kept'");
	starts(&f, said);
	assert_non_null(strstr(said, "its records are gone"));
	assert_true(exists(&f, "journal.db.damaged-1"));
	folder_remove(&f);
}

/* The start that put the old journal aside was cut before its receipt could follow. */
static void one_of_the_epoch_before_is_no_witness(void **state)
{
	const struct made *m = *state;
	struct folder f = copy(m);
	char said[256];

	must_shell(&f, "sqlite3 journal.db \"DROP TRIGGER record_no_update; UPDATE record SET body = '{}'"
		       " WHERE seq = 6\"");
	starts(&f, said);
	assert_non_null(strstr(said, "a new journal was begun"));
	must_shell(&f, "mv receipt.damaged-1 receipt");
	starts(&f, said);
	assert_string_equal(said, "");
	assert_false(exists(&f, "journal.db.damaged-2"));
	folder_remove(&f);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_is_not_whole_is_remarked_and_written_again),
		cmocka_unit_test(a_forged_one_is_remarked),
		cmocka_unit_test(an_older_one_is_brought_up_to_date),
		cmocka_unit_test(of_another_office_nothing_is_known),
		cmocka_unit_test(a_journal_that_was_put_back),
		cmocka_unit_test(a_receipt_of_another_record),
		cmocka_unit_test(a_receipt_of_another_epoch_or_bus),
		cmocka_unit_test(a_journal_that_was_taken_away),
		cmocka_unit_test(an_empty_journal_of_its_epoch),
		cmocka_unit_test(one_of_the_epoch_before_is_no_witness),
	};

	disk_make();
	return cmocka_run_group_tests(tests, make, drop);
}

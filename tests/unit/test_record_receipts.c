/* SPDX-License-Identifier: Apache-2.0 */
/* Receipts that the uplink hands over: held against the office's key and the journal, then a record. */
#include "record_uplink.h"

#include "record_aged.h"

/* seq 1 and 2 rung, 3 sweep (sealed), 4 rung with notify (sealed), 5 rung. */
static struct watch five_records(const struct folder *f, struct uplink *u)
{
	struct watch x = start_at(f, &quick);
	struct pw_note alert = rung_note(true);

	kept_of(&x);
	enrol(f);
	batch(&x, PW_K_RUNG, 2, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_OVERDUE);
	notes(&x, &alert, 1);
	batch(&x, PW_K_RUNG, 1, PW_OVERDUE);
	*u = uplink_open(f);
	return x;
}

static void refused(struct uplink *u, const struct pw_receipt *r, const char *words, int line)
{
	if (uplink_receipt(u, r))
		fail_msg("line %d: it was taken", line);
	if (strstr(u->in.words, words) == NULL)
		fail_msg("line %d: \"%s\"", line, u->in.words);
}

/* -- taken ------------------------------------------------------------------------------------- */

/* J8: what the record says, and that it stands at the time of the one before it; it is bound to the kept
 * state, and the next batch goes on from it. */
static void it_is_a_record(void **state)
{
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	struct pw_receipt r = receipt_of(f, 3, false);
	struct pw_check c;
	char text[512], want[512];

	assert_true(uplink_receipt(&u, &r));
	assert_string_equal(u.in.words, "");
	column_of(f, "kind", 6, text);
	assert_string_equal(text, "receipt");
	column_of(f, "body", 6, text);
	snprintf(want, sizeof(want), "{\"seq\":3,\"hash\":\"%s\",\"time_ms\":%" PRId64 ",\"nonce\":\"" NONCE
		 "\",\"sig\":\"%s\"}", r.hash, r.time_ms, r.sig);
	assert_string_equal(text, want);
	column_of(f, "(boot, mono_ms, wall_ms, wall_ok) ="
	      " (SELECT boot, mono_ms, wall_ms, wall_ok FROM record WHERE seq = 5)", 6, text);
	assert_string_equal(text, "1");
	assert_int_equal(count_of(f, "SELECT seq FROM kept"), 6);
	until_delivery(&x, d->receipted == 3);
	assert_int_equal(pw_writer_seq(x.w), 6);
	x.now_ms += 1000;
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	assert_null(pw_writer_fault(x.w));
	uplink_close(&u);
	stop(&x);
	assert_sound(f, &c);
	assert_int_equal(c.records, 7);
	x = start_later(f, &quick, 101000);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
}

/* So that receipts do not chase themselves: it is not sealed, is no news, and leaves with what comes. */
static void it_waits_for_the_next_seal(void **state)
{
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	struct pw_receipt r = receipt_of(f, 4, false);
	uint64_t seals;

	uplink_where(&u);
	seals = u.in.seq;
	assert_true(uplink_receipt(&u, &r));
	assert_false(uplink_receive(&u, 0));
	uplink_where(&u);
	assert_int_equal(u.in.seq, seals);
	assert_int_equal(u.in.receipted, 4);
	assert_int_equal(count_of(f, "SELECT max(seq) FROM seal"), 4);
	uplink_from(&u, PW_H_STRETCH, 5);
	assert_null(u.text);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	uplink_from(&u, PW_H_STRETCH, 5);
	assert_int_equal(u.in.seq, 7);
	assert_non_null(strstr(u.text, "\"kind\":\"receipt\""));
	uplink_close(&u);
	stop(&x);
}

static void what_was_said_before_is_not_said_again(void **state)
{
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	struct pw_receipt alert = receipt_of(f, 4, true), two = receipt_of(f, 2, false),
			  three = receipt_of(f, 3, false), four = receipt_of(f, 4, false);
	const struct {
		const struct pw_receipt *r;
		uint64_t records;
	} said[] = { { &two, 6 }, { &two, 6 }, { &alert, 7 }, { &alert, 7 }, { &three, 8 }, { &two, 8 },
		     { &three, 8 }, { &alert, 8 }, { &four, 9 }, { &alert, 9 }, { &three, 9 } };

	for (size_t i = 0; i < sizeof(said) / sizeof(said[0]); i++) {
		if (!uplink_receipt(&u, said[i].r))
			fail_msg("%zu: %s", i, u.in.words);
		assert_int_equal(count_of(f, "SELECT max(seq) FROM record"), said[i].records);
	}
	uplink_close(&u);
	stop(&x);
}

/* The receipt of an alert comes late: all before it was receipted already, and that covers it. */
static void an_alert_that_is_covered_already(void **state)
{
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	struct pw_receipt alert = receipt_of(f, 4, true), four = receipt_of(f, 4, false);

	assert_true(uplink_receipt(&u, &four));
	assert_true(uplink_receipt(&u, &alert));
	assert_int_equal(count_of(f, "SELECT max(seq) FROM record"), 6);
	uplink_close(&u);
	stop(&x);
}

/* -- refused ----------------------------------------------------------------------------------- */

static void what_is_not_true_is_refused(void **state)
{
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	const struct pw_receipt good = receipt_of(f, 3, false);
	struct pw_receipt r;

#define BENT(change, sign, words) do { \
		r = good; \
		change; \
		if (sign) \
			pw_receipt_sign(&r, office_key()); \
		refused(&u, &r, words, __LINE__); \
	} while (0)
	BENT(r.time_ms++, false, "not signed by the office's key");
	BENT(r.nonce[0] = '1', false, "not signed by the office's key");
	BENT(r.sig[0] = r.sig[0] == '0' ? '1' : '0', false, "not signed by the office's key");
	BENT(r.sig[0] = '\0', false, "not signed by the office's key");
	BENT(r.alert = true, false, "not signed by the office's key");
	BENT(pw_receipt_sign(&r, fixed_key()), false, "not signed by the office's key");
	BENT(strcpy(r.bus, "bus-8"), true, "of bus bus-8, not bus-7");
	BENT(strcpy(r.bus, ""), true, "of bus , not bus-7");
	BENT(memset(r.epoch, '0', 16), true, "of epoch 0000000000000000, not ");
	BENT(r.seq = 0, true, "of seq 0, which never left");
	BENT(r.seq = 5, true, "of seq 5, which never left"); /* there, and not sealed */
	BENT(r.seq = 6, true, "of seq 6, which never left");
	BENT(r.seq = UINT64_MAX, true, "which never left");
	BENT(r.seq = 2, true, "of another record than seq 2");
	BENT(r.hash[0] = r.hash[0] == '0' ? '1' : '0', true, "of another record than seq 3");
	BENT(r.hash[63] = '\0', true, "of another record than seq 3");
	BENT(r.alert = true, true, "of an alert, and seq 3 is none");
#undef BENT
	assert_int_equal(count_of(f, "SELECT max(seq) FROM record"), 5);
	assert_false(exists(f, "receipt"));
	assert_true(uplink_receipt(&u, &good));
	uplink_close(&u);
	stop(&x);
}

static void without_an_office_none_is_taken(void **state)
{
	static const char *const ways[] = { "rm office.pub", "echo x > office.pub", "mkdir office.pub" };
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	const struct pw_receipt r = receipt_of(f, 3, false);

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		must_shell(f, "rm -f office.pub; touch office.pub; %s", i < 2 ? ways[i] : "rm office.pub");
		if (i == 2)
			must_shell(f, "%s", ways[i]);
		refused(&u, &r, "office.pub: ", __LINE__);
	}
	must_shell(f, "rmdir office.pub");
	enrol(f); /* the key is looked at each time */
	assert_true(uplink_receipt(&u, &r));
	uplink_close(&u);
	stop(&x);
}

/* J11: what was dropped cannot be held against a receipt any more. */
static void what_was_dropped_before_it_was_receipted(void **state)
{
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	const struct pw_receipt two = receipt_of(f, 2, false), three = receipt_of(f, 3, false);
	struct pw_secret_key key;
	struct pw_kept_row row;
	struct pw_journal *j;
	char why[256] = "";
	bool drawn;

	uplink_close(&u);
	stop(&x);
	assert_int_equal(pw_secret_key_load(f->path, "bus", &key, &drawn, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_open(in(f, "journal.db"), BUS, true, &j, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_kept(j, &row, why, sizeof(why)), 1);
	assert_int_equal(pw_journal_prune(j, &row, INT64_C(1791000000000), 1, &key, why, sizeof(why)), 1);
	pw_journal_close(j);
	x = start_later(f, &quick, 101000);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_where(&u);
	assert_true(u.in.first > 3);
	refused(&u, &two, "of seq 2, which is not there any more", __LINE__);
	refused(&u, &three, "of seq 3, which is not there any more", __LINE__);
	uplink_close(&u);
	stop(&x);
}

/* -- outside the database ---------------------------------------------------------------------- */

/* The first seven lines are what is signed, the eighth is the signature (RFC 8032). */
static void the_file_as_openssl_checks_it(void **state)
{
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	struct pw_receipt r = receipt_of(f, 3, false), alert = receipt_of(f, 4, true), read;
	char answer[64];

	assert_true(uplink_receipt(&u, &r));
	assert_true(uplink_receipt(&u, &alert)); /* stands in the journal alone */
	ask(answer, sizeof(answer), "cd '%s' && head -n 7 receipt > text &&"
	    " tail -n +8 receipt | tr a-f A-F | basenc --base16 -d > sig &&"
	    " openssl pkeyutl -verify -rawin -pubin -inkey office.pub -in text -sigfile sig", f->path);
	assert_string_equal(answer, "Signature Verified Successfully");
	assert_int_equal(pw_receipt_file_read(f->path, &read), 1);
	assert_memory_equal(&read, &r, sizeof(r));
	uplink_close(&u);
	stop(&x);
}

static void every_cut_of_the_file_shows(void **state)
{
	struct folder *f = *state;
	struct pw_receipt r = { .bus = BUS, .epoch = "00112233aabbccdd", .seq = 7, .time_ms = OFFICE_MS,
				.nonce = NONCE }, read;
	char text[1024];
	size_t length;
	FILE *file;

	memset(r.hash, 'a', 64);
	pw_receipt_sign(&r, office_key());
	assert_int_equal(pw_receipt_file_read(f->path, &read), 0);
	assert_int_equal(pw_receipt_file_write(f->path, &r), 0);
	file = fopen(in(f, "receipt"), "r");
	assert_non_null(file);
	length = fread(text, 1, sizeof(text), file);
	fclose(file);
	for (size_t cut = 0; cut <= length; cut++) {
		assert_int_equal(truncate(in(f, "receipt"), (off_t)(length - cut)), 0);
		assert_int_equal(pw_receipt_file_read(f->path, &read), cut == 0 ? 1 : -2);
	}
	file = fopen(in(f, "receipt"), "w");
	assert_non_null(file);
	assert_int_equal(fwrite(text, 1, length, file), length);
	fclose(file);
	assert_int_equal(pw_receipt_file_read(f->path, &read), 1);
	must_shell(f, "echo >> receipt");
	assert_int_equal(pw_receipt_file_read(f->path, &read), -2);
	assert_int_equal(pw_receipt_file_read("/nowhere", &read), -1);
}

/* One more sweep is receipted while the n-th call fails. True: none did. */
static bool one_that_fails(struct watch *x, struct uplink *u, uint64_t seq, int n, int error)
{
	struct pw_hand h = hand(PW_H_RECEIPT);
	bool clean;

	batch(x, PW_K_SWEEP, 1, PW_PARKED);
	h.receipt = receipt_of(x->f, seq, false);
	memset(&u->in, 0, sizeof(u->in));
	disk_tell(n, false, error);
	uplink_send(u, &h);
	while (uplink_receive(u, PATIENCE_MS) && u->in.kind == PW_H_NEWS)
		;
	clean = atomic_load(&disk->failed) == 0;
	disk_tell(0, false, 0);
	if (u->in.kind != PW_H_RECEIPT) { /* hung up: the journal is opened anew, or its writer is */
		uplink_close(u);
		pw_writer_tend(x->w, x->now_ms);
		until_well(x);
		batch(x, PW_K_RUNG, 0, PW_PARKED);
		*u = uplink_open(x->f);
		uplink_ask(u, &h);
	}
	until_well(x);
	assert_int_equal(u->in.done, 1);
	return clean;
}

/* Each call of the journal and of the file fails once, or is what a power cut comes before: the receipt is
 * there once in the end, outside as well, and the chain is sound. */
static void a_disk_that_fails(void **state)
{
	static const int errors[] = { EIO, ENOSPC, DISK_DIES };
	struct folder *f = *state;
	struct uplink u;
	struct watch x = five_records(f, &u);
	struct pw_receipt r;
	struct pw_check c;
	uint64_t seq = 5, receipts = 0;

	atomic_store(&disk->small, true);
	for (size_t i = 0; i < sizeof(errors) / sizeof(errors[0]); i++) {
		bool clean = false;
		int n;

		for (n = 1; !clean; n++) {
			clean = one_that_fails(&x, &u, ++seq, n, errors[i]);
			receipts++;
			assert_int_equal(count_of(f, "SELECT count(*) FROM record WHERE kind ="
						     " 'receipt'"), receipts);
			assert_int_equal(count_of(f, "SELECT max(seq) FROM record"), ++seq);
		}
		assert_true(n > 5);
	}
	atomic_store(&disk->small, false);
	uplink_close(&u);
	stop(&x);
	assert_sound(f, &c);
	assert_int_equal(c.records, seq);
	assert_int_equal(pw_receipt_witness(f->path, &r), 1);
	assert_int_equal(r.seq, seq - 1);
}

int main(void)
{
#define IN_FOLDER(test) cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		IN_FOLDER(it_is_a_record),
		IN_FOLDER(it_waits_for_the_next_seal),
		IN_FOLDER(what_was_said_before_is_not_said_again),
		IN_FOLDER(an_alert_that_is_covered_already),
		IN_FOLDER(what_is_not_true_is_refused),
		IN_FOLDER(without_an_office_none_is_taken),
		IN_FOLDER(what_was_dropped_before_it_was_receipted),
		IN_FOLDER(the_file_as_openssl_checks_it),
		IN_FOLDER(every_cut_of_the_file_shows),
		IN_FOLDER(a_disk_that_fails),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}

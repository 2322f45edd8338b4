/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A made-up bus and an office that answers otherwise than one would like: gaps, later, receipts
 * that are not its own or not for what was sent. The real office is in tests/office/test_fleet.c.
 */
#include "fleet_office.h"

#include "postwalk/stretch.h"

struct meeting {
	struct tool t;
	struct fake_office office;
	struct fleet_export own; /* the bus's journal, as it exports it */
};

#define DAYS "--buses 1 --days 16 --seed 7 --from 2026-10-05 --zone UTC"
#define BUS "--buses", "1", "--days", "16", "--seed", "7", "--from", "2026-10-05", "--zone", "UTC"

static int begin(void **state)
{
	struct meeting *m = calloc(1, sizeof(*m));

	assert_non_null(m);
	snprintf(m->t.dir, sizeof(m->t.dir), "/tmp/postwalk-fleet-XXXXXX");
	assert_non_null(mkdtemp(m->t.dir));
	assert_int_equal(FLEET(&m->t, BUS, "--out", tool_path(&m->t, "out")), 0);
	fleet_read(tool_path(&m->t, "out/T-0001.jsonl"), &m->own);
	tool_write(tool_path(&m->t, "codes"), "T-0001 AAAA\n");
	fake_begin(&m->office);
	*state = m;
	return 0;
}

static int end(void **state)
{
	struct meeting *m = *state;
	char command[100];

	fake_end(&m->office);
	fleet_free(&m->own);
	snprintf(command, sizeof(command), "rm -rf '%s'", m->t.dir);
	assert_int_equal(system(command), 0);
	free(m);
	return 0;
}

/* A program of its own: the office has threads here, and a fork of them could wait for ever. */
static int bring(struct meeting *m, const char *patience)
{
	const char *program = getenv("POSTWALK");
	char command[1000];
	int status;

	if (!program)
		fail_msg("POSTWALK is not set");
	snprintf(command, sizeof(command),
		 "'%s' fleet " DAYS
		 " --quiet --to %s --codes %s/codes --patience %s >%s/OUT 2>%s/ERR",
		 program, m->office.url, m->t.dir, patience, m->t.dir, m->t.dir);
	status = system(command);
	assert_true(WIFEXITED(status));
	tool_read(tool_path(&m->t, "OUT"), m->t.out);
	tool_read(tool_path(&m->t, "ERR"), m->t.err);
	return WEXITSTATUS(status);
}

static void assert_told(const struct meeting *m, const char *part)
{
	assert_has(m->t.out, part);
	assert_ptr_equal(strchr(m->t.out, '\n'), m->t.out + strlen(m->t.out) - 1);
}

/* The batches that were asked to be kept, without alerts. */
static unsigned batches(const struct fake_office *o, const struct asked *batch[ASKED_MAX])
{
	unsigned n = 0;

	for (unsigned i = 0; i < o->count; i++)
		if (!o->asked[i].alert)
			batch[n++] = &o->asked[i];
	return n;
}

/* Of 64 to 256 KiB, each from seal to seal, one behind the other; the last may be shorter. */
static void stretches_are_as_long_as_a_bus_makes_them(void **state)
{
	struct meeting *m = *state;
	const struct asked *batch[ASKED_MAX];
	unsigned n;

	assert_int_equal(bring(m, "10s"), 0);
	n = batches(&m->office, batch);
	assert_true(n >= 3);
	for (unsigned i = 0; i < n; i++) {
		assert_int_equal(batch[i]->first, i > 0 ? batch[i - 1]->last + 1 : 1);
		assert_true(m->own.record[batch[i]->last - 1].sealed);
		assert_true(batch[i]->bytes <= PW_STRETCH_MOST);
		assert_true(i + 1 == n || batch[i]->bytes >= PW_STRETCH_LEAST);
	}
	assert_int_equal(batch[n - 1]->last, m->own.count);
	assert_told(m, "refused 0");
}

static void it_goes_on_from_the_head_that_it_has_itself(void **state)
{
	struct meeting *m = *state;
	const struct asked *batch[ASKED_MAX];

	m->office.head_seq = 150;
	strcpy(m->office.head_hash, m->own.record[149].r.hash);
	assert_int_equal(bring(m, "10s"), 0);
	assert_true(batches(&m->office, batch) > 0);
	assert_int_equal(batch[0]->first, 151);
	assert_told(m, "already there 150");
}

/* A head of somebody else's history is no place to go on from. */
static void a_head_that_it_does_not_know_is_passed_over(void **state)
{
	struct meeting *m = *state;
	const struct asked *batch[ASKED_MAX];

	m->office.head_seq = 150;
	strcpy(m->office.head_hash, m->own.record[148].r.hash);
	assert_int_equal(bring(m, "10s"), 0);
	assert_true(batches(&m->office, batch) > 0);
	assert_int_equal(batch[0]->first, 1);
	assert_told(m, "already there 0");
}

/* 409: the heads in the answer say from where; never again from where it just was. */
static void a_gap_is_followed(void **state)
{
	struct meeting *m = *state;
	const struct asked *batch[ASKED_MAX];

	m->office.head_seq = 150;
	strcpy(m->office.head_hash, m->own.record[149].r.hash);
	m->office.gaps = 1;
	assert_int_equal(bring(m, "10s"), 0);
	assert_true(batches(&m->office, batch) > 1);
	assert_int_equal(batch[0]->first, 151);
	assert_int_equal(batch[1]->first, 1);
}

static void an_office_that_takes_nothing_is_given_up(void **state)
{
	struct meeting *m = *state;
	const struct asked *batch[ASKED_MAX];

	m->office.gaps = 50;
	assert_int_equal(bring(m, "10s"), 1);
	assert_int_equal(batches(&m->office, batch), 1);
	assert_has(m->t.err, "T-0001: the office takes this journal from nowhere on");
	assert_told(m, "receipted 0, already there 0, forks 0, refused 1");
}

static void later_is_tried_again(void **state)
{
	struct meeting *m = *state;
	const struct asked *batch[ASKED_MAX];

	m->office.later = 1;
	assert_int_equal(bring(m, "60s"), 0);
	assert_true(batches(&m->office, batch) > 1);
	assert_int_equal(m->office.asked[0].first, m->office.asked[1].first);
	assert_told(m, "refused 0");
}

static void enrolment_is_tried_again_as_well(void **state)
{
	struct meeting *m = *state;

	m->office.enrol_later = 1;
	assert_int_equal(bring(m, "60s"), 0);
	assert_int_equal(m->office.enrol_later, 0);
	assert_told(m, "refused 0");
}

static void patience_has_an_end(void **state)
{
	struct meeting *m = *state;

	m->office.later = 1000;
	assert_int_equal(bring(m, "0s"), 1);
	assert_has(m->t.err, "T-0001: ");
	assert_told(m, "sent 0, receipted 0");
}

/* What another signed, or what is for another record, is no receipt. */
static void receipts_are_held_against_key_and_record(void **state)
{
	struct meeting *m = *state;

	m->office.lies = true;
	assert_int_equal(bring(m, "10s"), 1);
	assert_told(m, "receipted 0, already there 0, forks 0, refused 1");
	m->office.lies = false;
	m->office.names = 17;
	assert_int_equal(bring(m, "10s"), 1);
	assert_told(m, "receipted 0");
}

/* The office has it all, and its receipt was lost on the way: the last record goes there again. */
static void the_last_record_is_sent_again_for_its_receipt(void **state)
{
	struct meeting *m = *state;
	const struct asked *batch[ASKED_MAX];

	m->office.head_seq = m->own.count;
	strcpy(m->office.head_hash, m->own.record[m->own.count - 1].r.hash);
	assert_int_equal(bring(m, "10s"), 0);
	assert_int_equal(batches(&m->office, batch), 1);
	assert_true(batch[0]->first == m->own.count && batch[0]->last == m->own.count);
}

int main(void)
{
#define T(test) cmocka_unit_test_setup_teardown(test, begin, end)
	const struct CMUnitTest tests[] = {
		T(stretches_are_as_long_as_a_bus_makes_them),
		T(it_goes_on_from_the_head_that_it_has_itself),
		T(a_head_that_it_does_not_know_is_passed_over),
		T(a_gap_is_followed),
		T(an_office_that_takes_nothing_is_given_up),
		T(later_is_tried_again),
		T(enrolment_is_tried_again_as_well),
		T(patience_has_an_end),
		T(receipts_are_held_against_key_and_record),
		T(the_last_record_is_sent_again_for_its_receipt),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

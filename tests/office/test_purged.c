/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What the office says after a purge: to a bus that sends old records again, and to who checks an
 * export with `postwalk verify`, or its first link with openssl alone.
 */
#include <stdbool.h>

#include "made.h"
#include "office.h"
#include "pg_server.h"
#include "postwalk/keys.h"

#define EPOCH "00000000000000a1"
#define OTHER "00000000000000a2"
#define DAY_MS INT64_C(86400000)

static struct pg_server pg;
static struct office office; /* its folder; nothing runs */
static struct made journal, other;
static char why[300];
#define WHY why, sizeof(why)
#define FINE(call)                                                                                \
	do {                                                                                      \
		int result_ = (call);                                                             \
		if (result_ < 0)                                                                  \
			fail_msg("%s: %d: %s", #call, result_, why);                              \
	} while (0)

/* Ten records a day from sixty days ago on; from record `from` on another history, where spice is another. */
static void make_journal(struct made *m, const char *epoch, size_t part)
{
	made_begin(m, "14", epoch, 1);
	while (m->records < 100) {
		struct pw_record *r;

		m->spice = m->records + 1 >= part ? 7 : 0;
		made_add(m, PW_K_EDGES, NULL);
		r = &m->record[m->records];
		r->wall_ms = MADE_NOW - 60 * DAY_MS + (int64_t)r->seq * (DAY_MS / 10);
		r->mono_ms = (int64_t)r->seq * (DAY_MS / 10);
		pw_record_hash(m->bus, r, r->hash);
		m->sealed[m->records] = m->records % 5 == 0;
	}
}

static struct pw_store *open_store(int kind)
{
	struct pw_bus_row bus = { .bus = "14", .has_key = true, .enrolled_ms = 1 };
	struct pw_secret_key key;
	char path[300];
	struct pw_store *s;

	made_key(1, &key);
	bus.key = key.public;
	memset(bus.token, '0', 64);
	snprintf(path, sizeof(path), "%s/office.db", office.dir);
	FINE(pw_store_open(kind == 0 ? path : pg.uri, false, &s, WHY));
	FINE(pw_store_begin(s, WHY));
	FINE(pw_store_bus_put(s, &bus, WHY));
	FINE(pw_store_commit(s, WHY));
	return s;
}

static struct pw_took take(struct pw_store *s, const struct made *m, size_t from, size_t upto)
{
	struct pw_batch *b = made_batch(m, from, upto, false);
	struct pw_took took;

	FINE(pw_store_begin(s, WHY));
	FINE(pw_take(s, b, m->record[upto].wall_ms, &took, WHY));
	FINE(pw_store_commit(s, WHY));
	pw_batch_free(b);
	return took;
}

/* Ten records a day from 15 August, 13:53 UTC on; 20 August begins somewhere at 10:00 on the 19th: up to 38,
 * and whole stretches: 35. */
static void purge(struct pw_store *s)
{
	struct pw_purged p;
	int result;

	do {
		FINE(pw_store_begin(s, WHY));
		result = pw_keep_purge(s, PW_KEEP_RECORDS, 20250820, "O-1", MADE_NOW, 20, &p, WHY);
		FINE(result);
		FINE(pw_store_commit(s, WHY));
	} while (result == 1);
}

static int see_branch(void *ctx, const struct pw_branch *b)
{
	static const char *const name[] = { "?", "first", "fork", "hole" };
	char *text = ctx;

	snprintf(text + strlen(text), 200 - strlen(text), "%u:%d-%d %s; ", b->branch, (int)b->first,
		 (int)b->head, name[b->why]);
	return 0;
}

static const char *branches(struct pw_store *s, const char *epoch)
{
	static char text[200];

	text[0] = '\0';
	FINE(pw_store_branches(s, "14", epoch, see_branch, text, WHY));
	return text;
}

static int count_matter(void *ctx, const struct pw_matter *m)
{
	*(int *)ctx += m->kind == PW_MATTER_FORK || m->kind == PW_MATTER_HOLE;
	return 0;
}

static int oddities(struct pw_store *s)
{
	int count = 0;

	FINE(pw_store_matters(s, true, 0, count_matter, &count, WHY));
	return count;
}

#define assert_took(took, how_, fresh_)                                                           \
	do {                                                                                      \
		struct pw_took took_ = (took);                                                    \
		assert_int_equal(took_.how, how_);                                                \
		assert_int_equal(took_.fresh, fresh_);                                            \
	} while (0)

/* -- a bus that sends what was purged ---------------------------------------------------------- */

static void old_records_are_no_other_history(struct pw_store *s)
{
	make_journal(&journal, EPOCH, 1000);
	assert_took(take(s, &journal, 1, 50), PW_TAKEN_SO, 50);
	assert_took(take(s, &journal, 51, 80), PW_TAKEN_SO, 30);
	purge(s);
	assert_string_equal(branches(s, EPOCH), "0:36-80 first; ");
	assert_took(take(s, &journal, 1, 20), PW_TAKEN_GAP, 0);  /* it is told the head */
	assert_took(take(s, &journal, 21, 34), PW_TAKEN_GAP, 0);
	assert_took(take(s, &journal, 21, 35), PW_TAKEN_SO, 0);  /* up to the hash that is left */
	assert_took(take(s, &journal, 1, 60), PW_TAKEN_SO, 0);
	assert_took(take(s, &journal, 36, 60), PW_TAKEN_SO, 0);
	assert_took(take(s, &journal, 31, 90), PW_TAKEN_SO, 10); /* and goes on */
	assert_took(take(s, &journal, 91, 100), PW_TAKEN_SO, 10);
	assert_string_equal(branches(s, EPOCH), "0:36-100 first; ");
	assert_int_equal(oddities(s), 0);
}

/* Where they parted was purged; that they did can be told from the hash that is left. */
static void another_history_is_still_told(struct pw_store *s)
{
	int before = oddities(s);

	make_journal(&journal, OTHER, 1000);
	make_journal(&other, OTHER, 31);
	assert_took(take(s, &journal, 1, 50), PW_TAKEN_SO, 50);
	assert_took(take(s, &journal, 51, 80), PW_TAKEN_SO, 30);
	purge(s);
	assert_took(take(s, &other, 21, 34), PW_TAKEN_GAP, 0);
	assert_true(take(s, &other, 31, 50).fork);
	assert_string_equal(branches(s, OTHER), "0:36-80 first; 1:31-50 fork; ");
	assert_took(take(s, &other, 51, 60), PW_TAKEN_SO, 10);
	assert_int_equal(oddities(s), before + 1);
}

static void test_old_records(void **state)
{
	(void)state;
	for (int kind = 0; kind < 2; kind++) {
		struct pw_store *s = open_store(kind);

		old_records_are_no_other_history(s);
		another_history_is_still_told(s);
		pw_store_close(s);
	}
}

/* -- who checks it ----------------------------------------------------------------------------- */

static char *verify_edited(const char *edit, int *status)
{
	return shell(status, "cd %s && sed '%s' x.jsonl >y.jsonl && %s verify y.jsonl", office.dir,
		     edit, getenv("POSTWALK"));
}

/* The folder's store is as the test above left it. */
static void test_export(void **state)
{
	int status;
	char *text = shell(&status, "cd %s && %s export 14 --epoch " EPOCH " --office . >x.jsonl && "
			   "%s verify x.jsonl", office.dir, office_program(), getenv("POSTWALK"));

	(void)state;
	if (status)
		fail_msg("%s", text);
	assert_non_null(strstr(text, "sound: 65 records, seq 36 to 100"));
	assert_non_null(strstr(text, "an office says that it let go what it had up to seq 35"));
	assert_non_null(strstr(text, "earlier ones were purged by an office"));
	free(text);
	/* without its word, or with one of another record, nothing says why it begins there */
	text = verify_edited("2d", &status);
	assert_int_equal(status, 1);
	assert_non_null(strstr(text, "it begins here, and no sealed prune record says why"));
	free(text);
	text = verify_edited("2s/\"seq\":35/\"seq\":34/", &status);
	assert_int_equal(status, 1);
	free(text);
	text = verify_edited("2s/\"sig\":\"../\"sig\":\"00/", &status);
	assert_int_equal(status, 1);
	assert_non_null(strstr(text, "not by its key"));
	free(text);
	text = verify_edited("2{h;d};3G", &status); /* behind a record */
	assert_int_equal(status, 2);
	free(text);
}

/* openssl: RFC 8032 signatures; the text is as docs/journal.md has it (J10). */
static void test_openssl(void **state)
{
	int status;
	char *text = shell(&status,
		"cd %s && sed -n 2p x.jsonl >word && "
		"printf 'postwalk-purged-v1\\n14\\n" EPOCH "\\n35\\n%%s\\n' "
		"$(sed 's/.*\"hash\":\"\\([0-9a-f]*\\)\".*/\\1/' word) >text && "
		"sed 's/.*\"sig\":\"\\([0-9a-f]*\\)\".*/\\1/' word | "
		"python3 -c 'import sys; sys.stdout.buffer.write(bytes.fromhex(sys.stdin.read()))' >sig && "
		"openssl pkeyutl -verify -rawin -pubin -inkey office.pub -in text -sigfile sig",
		office.dir);

	(void)state;
	if (status)
		fail_msg("%s", text);
	assert_non_null(strstr(text, "Signature Verified Successfully"));
	free(text);
}

/* Both branches of the other history begin behind what was purged. */
static void test_export_of_a_fork(void **state)
{
	(void)state;
	for (int branch = 0; branch < 2; branch++) {
		int status;
		char *text = shell(&status, "cd %s && %s export 14 --epoch " OTHER " --branch %d "
				   "--office . >f.jsonl && %s verify f.jsonl", office.dir,
				   office_program(), branch, getenv("POSTWALK"));

		if (status)
			fail_msg("branch %d: %s", branch, text);
		assert_non_null(strstr(text, "purged by an office"));
		free(text);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_old_records),
		cmocka_unit_test(test_export),
		cmocka_unit_test(test_openssl),
		cmocka_unit_test(test_export_of_a_fork),
	};
	int failed, status;

	pg_begin(&pg, NULL);
	office_dir(&office);
	failed = cmocka_run_group_tests_name("purged", tests, NULL, NULL);
	free(shell(&status, "rm -rf %s", office.dir));
	pg_end(&pg);
	return failed;
}

/* SPDX-License-Identifier: Apache-2.0 */
/* What a store in SQLite has of its own: its file, its schema, a full disk, copies, its auditor. */
#include "store_help.h"

#include <sys/resource.h>
#include <sys/stat.h>

struct place {
	char dir[64], file[80];
};

static int begin(void **state)
{
	struct place *p = calloc(1, sizeof(*p));

	*state = p;
	if (p == NULL)
		return -1;
	snprintf(p->dir, sizeof(p->dir), "%s/postwalk-store-XXXXXX", pg_place());
	if (mkdtemp(p->dir) == NULL)
		return -1;
	snprintf(p->file, sizeof(p->file), "%s/office.db", p->dir);
	return 0;
}

static int end(void **state)
{
	struct place *p = *state;
	char said[200];
	int status = shell(said, sizeof(said), "rm -rf '%s'", p->dir);

	free(p);
	return status;
}

static struct pw_store *owner(const struct place *p)
{
	struct pw_store *s;

	FINE(pw_store_open(p->file, false, &s, WHY));
	return s;
}

/* What sqlite3 says. */
static const char *says(const char *file, const char *sql)
{
	static char said[4000];

	assert_int_equal(shell(said, sizeof(said), "sqlite3 -bail '%s' \"%s\"", file, sql), 0);
	return said;
}

/* -- the file ---------------------------------------------------------------------------------- */

static void file_is_made_as_promised(void **state)
{
	const struct place *p = *state;

	pw_store_close(owner(p));
	assert_string_equal(says(p->file, "PRAGMA journal_mode; PRAGMA page_size; PRAGMA "
				 "user_version;"
				 "PRAGMA application_id; PRAGMA integrity_check"),
			    "wal\n4096\n3\n1347899206\nok");
	assert_string_equal(says(p->file, "SELECT group_concat(name) FROM pragma_table_list WHERE "
				 "schema = 'main'"
				 " AND type = 'table' AND name NOT LIKE 'sqlite%' AND NOT strict"),
			    "");
}

static void other_files_are_refused(void **state)
{
	const struct place *p = *state;
	struct pw_store *s;
	char expected[300];
	FILE *file;

	says(p->file, "CREATE TABLE t (x)");
	assert_int_equal(pw_store_open(p->file, false, &s, WHY), -2);
	snprintf(expected, sizeof(expected), "%s: is a database, but not a store of "
		 "postwalk-office", p->file);
	assert_string_equal(why, expected);
	assert_string_equal(says(p->file, "PRAGMA journal_mode; SELECT group_concat(name) FROM "
				 "sqlite_schema"),
			    "delete\nt"); /* as it was */
	file = fopen(p->file, "w");
	assert_non_null(file);
	fputs("no database, but long enough to be read as one, were it not for its first sixteen "
	      "bytes", file);
	fclose(file);
	assert_int_equal(pw_store_open(p->file, false, &s, WHY), -2);
	snprintf(expected, sizeof(expected), "%s/none/office.db", p->dir);
	assert_int_equal(pw_store_open(expected, false, &s, WHY), -1);
	assert_non_null(strstr(why, "unable to open"));
	assert_null(s);
}

/* -- its schema -------------------------------------------------------------------------------- */

/* A file that the first schema made, with rows in it, by sqlite3. */
static void older_schema_is_brought_up_to_date(void **state)
{
	const struct place *p = *state;
	struct pw_store *s;

	says(p->file, ".read daemon/office/schema/sqlite-1.sql");
	says(p->file, "PRAGMA application_id = 1347899206; PRAGMA user_version = 1;"
	     "INSERT INTO bus VALUES ('14', zeroblob(32), x'', 5, 6);"
	     "INSERT INTO branch VALUES ('14', x'" EPOCH "', 0, 'first', 1, 2, zeroblob(32), "
	     "zeroblob(32), 1, 2, 0, 1,"
	     " 0, 1); INSERT INTO record VALUES ('14', x'" EPOCH "', 0, 1, 1, 2, 3, 1, 'boot', "
	     "zeroblob(32), '{}'),"
	     " ('14', x'" EPOCH "', 0, 2, 1, 2, 3, 1, 'sweep', zeroblob(32), '{}');"
	     "INSERT INTO sweep VALUES ('14', x'" EPOCH "', 0, 2, 9, 9, 9, 9, 9, 9, 1, 'carried', "
	     "0, 'missed', '')");
	/* an auditor changes nothing */
	assert_int_equal(pw_store_open(p->file, true, &s, WHY), -2);
	assert_non_null(strstr(why, "has schema 1; postwalk-office has to bring it to 3 first"));
	s = owner(p);
	assert_int_equal(figures_of(s).records, 2);
	assert_int_equal(figures_of(s).missed, 1);
	assert_int_equal(records_of(s, "14"), 2);
	pw_store_close(s);
	assert_string_equal(says(p->file, "PRAGMA user_version; SELECT records, missed FROM "
				 "audit_buses;"
				 "SELECT findings FROM audit_sweeps"), "3\n2|1\ncarried");
	pw_store_close(owner(p)); /* and once more, where nothing is missing */
}

static void newer_schema_is_refused(void **state)
{
	const struct place *p = *state;
	struct pw_store *s;

	pw_store_close(owner(p));
	says(p->file, "PRAGMA user_version = 7");
	assert_int_equal(pw_store_open(p->file, false, &s, WHY), -2);
	assert_non_null(strstr(why, "has schema 7, made by a newer postwalk-office; this one knows "
			       "3"));
	assert_int_equal(pw_store_open(p->file, true, &s, WHY), -2);
}

/* A migration that fails half way leaves the file as it was. */
static void broken_migration_leaves_nothing(void **state)
{
	const struct place *p = *state;
	struct pw_store *s;

	says(p->file, ".read daemon/office/schema/sqlite-1.sql");
	says(p->file, "PRAGMA application_id = 1347899206; PRAGMA user_version = 1; CREATE TABLE "
	     "audit_buses (x)");
	assert_int_equal(pw_store_open(p->file, false, &s, WHY), -2);
	assert_non_null(strstr(why, "audit_buses already exists"));
	assert_string_equal(says(p->file, "PRAGMA user_version; SELECT count(*) FROM sqlite_schema "
				 "WHERE type = 'view'"),
			    "1\n0");
}

/* -- a full disk ------------------------------------------------------------------------------- */

static void limit_files(rlim_t bytes)
{
	const struct rlimit limit = { .rlim_cur = bytes, .rlim_max = RLIM_INFINITY };

	assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
}

/* The limit of a file's size stands for the end of the disk; it falls into a put, and into a
 * commit. */
static void disk_that_is_full_takes_nothing_by_half(void **state)
{
	const struct place *p = *state;
	struct pw_store *s = owner(p);
	unsigned refused = 0;
	struct pw_branch head;
	static struct made m;
	struct stat log;
	char path[100];
	int result;

	signal(SIGXFSZ, SIG_IGN);
	put_now(s, &m, "14", NULL, MADE_MAX);
	snprintf(path, sizeof(path), "%s-wal", p->file);
	for (unsigned round = 0; round < 12; round++) {
		head = head_of(s, "14");
		assert_int_equal(stat(path, &log), 0);
		limit_files((rlim_t)log.st_size + round * 16384);
		result = pw_store_begin(s, WHY);
		make_put(&m, "14", &head, MADE_MAX);
		if (result == 0)
			result = pw_store_put(s, &m.put, WHY);
		if (result == 0)
			result = pw_store_commit(s, WHY);
		limit_files(RLIM_INFINITY);
		pw_store_rollback(s);
		assert_true(result == 0 || result == -1);
		refused += result < 0;
		pw_store_close(s);
		s = owner(p);
		assert_int_equal(head_of(s, "14").head, head.head + (result == 0 ? MADE_MAX : 0));
		assert_int_equal(records_of(s, "14"), head_of(s, "14").head);
	}
	assert_true(refused > 0 && refused < 12);
	pw_store_close(s);
	assert_string_equal(says(p->file, "PRAGMA integrity_check"), "ok");
}

/* After an error by which SQLite rolls back, what follows is not committed row by row. */
static void transaction_that_is_gone_stays_gone(void **state)
{
	const struct place *p = *state;
	struct pw_store *s = owner(p);
	static struct made m[2];
	int result = 0;

	signal(SIGXFSZ, SIG_IGN);
	put_now(s, &m[0], "14", NULL, 10);
	FINE(pw_store_begin(s, WHY));
	limit_files(20 * 4096);
	for (unsigned i = 0; result == 0 && i < 1000; i++) {
		make_put(&m[(i + 1) % 2], "14", &m[i % 2].put.to, MADE_MAX);
		result = pw_store_put(s, &m[(i + 1) % 2].put, WHY);
	}
	limit_files(RLIM_INFINITY);
	assert_int_equal(result, -1);
	if (pw_store_log(s, NOON_MS, "dh.2", "made up", WHY) == 0)
		pw_store_commit(s, WHY);
	pw_store_close(s);
	s = owner(p);
	assert_true(head_of(s, "14").head == 10 || head_of(s, "14").head == records_of(s, "14"));
	assert_int_equal(records_of(s, "14"), head_of(s, "14").head);
	pw_store_close(s);
}

/* -- kill -9 ----------------------------------------------------------------------------------- */

/* Killed in the middle of a put, of a transaction, at a commit: at a moment drawn at random.
 * What was told as committed is there, and nothing by half. */
static void killed_owner_leaves_whole_transactions(void **state)
{
	const struct place *p = *state;
	unsigned seed = (unsigned)time(NULL);
	uint64_t told, count = 0;
	struct pw_branch before;
	struct pw_store *s = owner(p);
	static struct made m;

	print_message("seed %u\n", seed);
	srandom(seed);
	put_now(s, &m, "14", NULL, 10);
	pw_store_close(s);
	for (int round = 0; round < 8; round++) {
		int out[2];
		pid_t pid;

		assert_int_equal(pipe(out), 0);
		pid = fork();
		if (pid == 0) {
			s = owner(p);
			for (before = head_of(s, "14");; before = m.put.to) {
				put_now(s, &m, "14", &before, 100);
				if (write(out[1], &m.put.to.head, sizeof(m.put.to.head)) < 0)
					_exit(1);
			}
		}
		close(out[1]);
		assert_int_equal(read(out[0], &told, sizeof(told)), sizeof(told));
		poll(NULL, 0, (int)(random() % 8));
		kill(pid, SIGKILL);
		waitpid(pid, NULL, 0);
		while (read(out[0], &told, sizeof(told)) == sizeof(told))
			count++;
		close(out[0]);
		s = owner(p);
		assert_true(head_of(s, "14").head == told || head_of(s, "14").head == told + 100);
		assert_int_equal(records_of(s, "14"), head_of(s, "14").head);
		assert_int_equal(figures_of(s).seals, 1 + (head_of(s, "14").head - 10) / 100);
		pw_store_close(s);
	}
	print_message("%" PRIu64 " commits told\n", count);
	assert_string_equal(says(p->file, "PRAGMA integrity_check"), "ok");
}

/* -- copies and auditors ----------------------------------------------------------------------- */

static void auditor_reads_a_copy_and_changes_nothing(void **state)
{
	const struct place *p = *state;
	struct pw_bus_row row = { .bus = "15" };
	struct pw_store *s = owner(p), *auditor;
	static struct made m, more;
	char copy[100], said[100];

	put_now(s, &m, "14", NULL, 100);
	snprintf(copy, sizeof(copy), "%s/a copy?.db", p->dir);
	assert_int_equal(pw_store_open(p->file, true, &auditor, WHY), -1);
	assert_non_null(strstr(why, "another process has it"));
	FINE(pw_store_begin(s, WHY)); /* a transaction that has written nothing yet */
	FINE(pw_store_copy(s, copy, WHY));
	make_put(&more, "14", &m.put.to, 100);
	FINE(pw_store_put(s, &more.put, WHY));
	FINE(pw_store_commit(s, WHY));
	assert_int_equal(pw_store_copy(s, copy, WHY), -2);
	assert_non_null(strstr(why, "is there already"));
	pw_store_close(s);
	assert_int_equal(chmod(copy, 0444), 0);
	FINE(pw_store_open(copy, true, &auditor, WHY));
	assert_int_equal(figures_of(auditor).records, 100);
	assert_int_equal(records_of(auditor, "14"), 100);
	FINE(pw_store_begin(auditor, WHY));
	assert_int_equal(pw_store_bus_put(auditor, &row, WHY), -2);
	pw_store_close(auditor);
	assert_int_equal(shell(said, sizeof(said), "ls '%s'", p->dir), 0);
	assert_string_equal(said, "a copy?.db\noffice.db");
	assert_string_equal(says(copy, "PRAGMA integrity_check"), "ok");
}

static void copy_that_fails_is_not_left(void **state)
{
	const struct place *p = *state;
	struct pw_store *s = owner(p);
	static struct made m;
	char copy[100];

	signal(SIGXFSZ, SIG_IGN);
	put_now(s, &m, "14", NULL, 100);
	snprintf(copy, sizeof(copy), "%s/copy.db", p->dir);
	limit_files(8192);
	assert_int_equal(pw_store_copy(s, copy, WHY), -1);
	limit_files(RLIM_INFINITY);
	assert_int_equal(access(copy, F_OK), -1);
	FINE(pw_store_copy(s, copy, WHY));
	pw_store_close(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(file_is_made_as_promised, begin, end),
		cmocka_unit_test_setup_teardown(other_files_are_refused, begin, end),
		cmocka_unit_test_setup_teardown(older_schema_is_brought_up_to_date, begin, end),
		cmocka_unit_test_setup_teardown(newer_schema_is_refused, begin, end),
		cmocka_unit_test_setup_teardown(broken_migration_leaves_nothing, begin, end),
		cmocka_unit_test_setup_teardown(disk_that_is_full_takes_nothing_by_half, begin,
						end),
		cmocka_unit_test_setup_teardown(transaction_that_is_gone_stays_gone, begin, end),
		cmocka_unit_test_setup_teardown(killed_owner_leaves_whole_transactions, begin, end),
		cmocka_unit_test_setup_teardown(auditor_reads_a_copy_and_changes_nothing, begin,
						end),
		cmocka_unit_test_setup_teardown(copy_that_fails_is_not_left, begin, end),
	};

	return cmocka_run_group_tests_name("store, sqlite", tests, NULL, NULL);
}

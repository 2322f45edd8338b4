/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The commands of the shell, with an office running and without. Exports are judged by `postwalk
 * verify` ($POSTWALK), which the office knows nothing of; copies by sqlite3(1).
 */
#include "office.h"

static struct office office;
static struct bus bus;
static struct made journal;

static int set_up(void **state)
{
	(void)state;
	office_begin(&office, "zone = America/Chicago\n");
	bus_enrol(&office, &bus, "14", 14);
	made_begin(&journal, "14", "0123456789abcdef", 14);
	made_grow(&journal, 40);
	return 0;
}

static int tear_down(void **state)
{
	(void)state;
	office_end(&office);
	return 0;
}

static void assert_says(const char *text, const char *words)
{
	if (!strstr(text, words))
		fail_msg("expected \"%s\" in: %s", words, text);
}

/* A command that fails so, with these words. */
static void assert_fails(int expected, const char *words, const char *command)
{
	int status;
	char *text = shell(&status, "cd %s && %s %s --office %s", office.dir, office_program(),
			   command, office.dir);

	if (status != expected)
		fail_msg("%s: %d: %s", command, status, text);
	assert_says(text, words);
	free(text);
}

/* -- orders ------------------------------------------------------------------------------------ */

static void test_bad_orders(void **state)
{
	(void)state;
	assert_fails(2, "expected a command, not \"dance\"", "dance");
	assert_fails(2, "expected postwalk-office take ID", "take");
	assert_fails(2, "expected postwalk-office take ID", "take 1 --by R.O.");
	assert_fails(2, "expected postwalk-office take ID", "take 1 2 --by R.O. --words x");
	assert_fails(2, "expected postwalk-office buses", "buses --all");
	assert_fails(2, "--by a code", "take 1 --by 'R O' --words x");
	assert_fails(2, "--words", "take 1 --by R.O. --words ''");
	assert_fails(2, "the number of a matter", "take one --by R.O. --words x");
	assert_fails(2, "there is no matter 999", "take 999 --by R.O. --words x");
	assert_fails(2, "a bus to be", "enrol 'a bus'");
	assert_fails(2, "a day as", "log --since yesterday");
	assert_fails(2, "a day as", "digest --day 2025-02-30");
	assert_fails(2, "no such key of bus 14 waits", "accept 14 --by R.O. --words x");
	assert_fails(2, "there is no such record of bus 99", "export 99");
}

/* Whoever owns the folder has it alone. */
static void test_two_offices(void **state)
{
	struct office other = office;

	(void)state;
	assert_false(office_start(&other));
	assert_int_equal(office_stop(&other, 0), 1);
}

/* The same orders are carried out where no office runs. */
static void test_alone(void **state)
{
	char *running = office_do(&office, "buses"), *alone;
	int status;

	(void)state;
	assert_int_equal(office_stop(&office, SIGTERM), 0);
	alone = office_do(&office, "buses");
	assert_string_equal(running, alone);
	free(running);
	free(alone);
	alone = shell(&status, "%s buses --office /nowhere", office_program());
	assert_int_equal(status, 1);
	assert_says(alone, "/nowhere: No such file");
	free(alone);
	assert_true(office_start(&office));
}

/* Lists are for people in columns, in the office's time, and for programs as JSON Lines. */
static void test_lists(void **state)
{
	char *text = office_do(&office, "buses"), *second = strchr(text, '\n') + 1;
	char *json = office_do(&office, "buses --json"), *codes;
	json_t *row = json_loads(json, 0, NULL);
	int status;

	(void)state;
	assert_int_equal(strstr(text, "enrolled") - text,
			 strchr(second, '2') - second); /* 2025-... */
	assert_string_equal(json_string_value(json_object_get(row, "bus")), "14");
	assert_int_equal(strlen(json_string_value(json_object_get(row, "key"))), 64);
	json_decref(row);
	free(text);
	free(json);
	codes = office_do(&office, "enrol 16 17 18 --by R.O.");
	text = shell(&status, "TZ=America/Chicago date -d '14 days' '+%%Y-%%m-%%d %%H:'");
	text[strcspn(text, "\n")] = '\0';
	assert_says(codes, text);
	free(text);
	free(codes);
	text = office_do(&office, "log --since 2025-01-01");
	assert_says(text, "R.O.");
	assert_says(text, "made a code for bus 17");
	free(text);
}

/* -- exports ----------------------------------------------------------------------------------- */

static void assert_sound(const char *options, const char *verdict)
{
	int status;
	char *text = shell(
		&status, "%s export 14 %s --office %s >%s/x.jsonl && %s verify %s/x.jsonl",
		office_program(), options, office.dir, office.dir, getenv("POSTWALK"), office.dir);

	if (status)
		fail_msg("export 14 %s: %s", options, text);
	assert_says(text, verdict);
	free(text);
}

/* What comes out is what went in, byte for byte. */
static void test_export(void **state)
{
	struct text t = made_text(&journal, 1, 40);
	char *text;

	(void)state;
	deliver(&office, &bus, &journal, 1, 40, 40, false);
	text = office_do(&office, "export 14");
	assert_string_equal(text, t.at);
	free(text);
	free(t.at);
	assert_sound("", "sound");
}

/* A branch comes with what stands before it; an epoch of an older key with that key. */
static void test_export_branches(void **state)
{
	static struct made other;
	char command[120], hex[65], *text;
	struct bus again;

	(void)state;
	other = journal;
	for (size_t n = 1; n <= other.records; n++)
		other.record[n].body = other.body[n];
	made_rewind(&other, 22, 1);
	made_grow(&other, 35);
	deliver(&office, &bus, &other, 16, 35, 13, true);
	assert_sound("--branch 0", "sound");
	assert_sound("--branch 1", "sound");
	text = office_do(&office, "export 14 --branch 1");
	assert_says(text, other.record[35].hash);
	assert_says(text, other.record[1].hash);
	assert_null(strstr(text, journal.record[23].hash));
	free(text);
	text = office_do(&office, "matters");
	assert_says(text, "fork");
	free(text);
	/* Another board: its key is accepted, and its journal is of another epoch. */
	again = bus;
	made_key(15, &again.key);
	char code[PW_CODE_MAX_TEXT];

	office_code(&office, "14", code);
	struct answer a = enrol_with(&office, "14", code, &again.key);

	assert_int_equal(a.status, 202);
	snprintf(again.token, sizeof(again.token), "%s", answer_text(&a, "token"));
	answer_free(&a);
	pw_public_key_print(&again.key.public, hex);
	snprintf(command, sizeof(command), "accept 14 --key %.8s --by R.O. --words 'new board'",
		 hex);
	free(office_do(&office, command));
	made_begin(&other, "14", "00000000000000ff", 15);
	made_grow(&other, 10);
	deliver(&office, &again, &other, 1, 10, 10, false);
	assert_sound("", "sound");
	assert_sound("--epoch 00000000000000ff", "sound");
	assert_sound("--epoch 0123456789abcdef --branch 0", "sound");
}

/* -- taking in --------------------------------------------------------------------------------- */

static void put_file(const char *name, struct text t)
{
	char path[128];
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s", office.dir, name);
	f = fopen(path, "we");
	assert_int_equal(fwrite(t.at, 1, t.length, f), t.length);
	fclose(f);
	free(t.at);
}

static char *take_in(const char *name)
{
	int status;
	char *text = shell(&status, "cd %s && %s take-in %s --office %s", office.dir,
			   office_program(), name, office.dir);

	assert_int_equal(status, 0);
	return text;
}

/* A journal set aside, by a key that the bus had once; more than one batch of it, and twice. */
static void test_take_in(void **state)
{
	static struct made big;
	char *text;

	(void)state;
	made_begin(&big, "14", "00000000000000aa", 14);
	made_grow(&big, 2000);
	put_file("aside.jsonl", made_text(&big, 1, 2000));
	text = take_in("aside.jsonl");
	assert_says(text, "bus 14: 2000 records, 2000 of them new");
	free(text);
	text = take_in("./aside.jsonl");
	assert_says(text, "bus 14: 2000 records, 0 of them new");
	free(text);
	assert_sound("--epoch 00000000000000aa", "sound");
	/* One that begins late, since older records were dropped (J11). */
	made_begin(&big, "14", "00000000000000ab", 14);
	made_grow(&big, 100);
	put_file("aside.jsonl", made_text(&big, 51, 100));
	text = take_in("aside.jsonl");
	assert_says(text, "50 records, 50 of them new");
	free(text);
	text = office_do(&office, "matters");
	assert_says(text, "hole");
	free(text);
}

/* All of it is checked before the first of it is taken. */
static void test_take_in_bad(void **state)
{
	static struct made big;
	long before = office_count(&office, "records");
	struct text t;
	char *at;

	(void)state;
	made_begin(&big, "14", "00000000000000bb", 14);
	made_grow(&big, 2000);
	t = made_text(&big, 1, 2000);
	at = strstr(t.at, "\"seq\":1990,");
	at = strstr(at, "\"hash\":\"") + 8;
	*at = *at == 'a' ? 'b' : 'a';
	put_file("bad.jsonl", t);
	assert_fails(2, "bad.jsonl:2388: expected the hash of record 1990", "take-in bad.jsonl");
	t = made_text(&big, 1, 2000);
	t.length = (size_t)(strstr(t.at, "{\"end\"") - t.at);
	put_file("bad.jsonl", t);
	assert_fails(2, "bad.jsonl:2402: expected an end line", "take-in bad.jsonl");
	made_key(77, &big.key);
	put_file("bad.jsonl", made_text(&big, 1, 10));
	assert_fails(2, "bad.jsonl:1: expected a key that bus 14 is or was enrolled with",
		     "take-in bad.jsonl");
	put_file("bad.jsonl", (struct text){ strdup("{}\n"), 3 });
	assert_fails(2, "bad.jsonl:1: expected an object", "take-in bad.jsonl");
	assert_fails(2, "nothing.jsonl: No such file", "take-in nothing.jsonl");
	assert_int_equal(office_count(&office, "records"), before);
}

/* -- copies ------------------------------------------------------------------------------------ */

/* A sheet with a refused line is told, and taken only when somebody says so; docs/runs.md. */
static void test_runs(void **state)
{
	(void)state;
	office_write(&office, "sheet.csv", "date,bus,run,begin,end\n2026-11-24,14,AM1,06:25,07:15\n"
		     "2026-02-30,14,AM2,06:25,07:15\n");
	assert_fails(2, "sheet.csv:3: refused: no_day: there is no day 2026-02-30", "runs sheet.csv --by d-1");
	assert_fails(2, "nothing was taken", "runs sheet.csv --by d-1");
	assert_fails(2, "can be taken; 1 refused", "runs sheet.csv --by d-1 --try");
	assert_fails(0, "can be taken; 1 refused", "runs sheet.csv --by d-1 --try --partly");
	assert_fails(0, "1 runs of Tue 24 Nov 2026 taken as import 1; 1 refused",
		     "runs sheet.csv --by d-1 --partly");
	assert_fails(0, "imported sheet.csv as 1: 1 runs taken, 1 lines refused", "log");
	assert_fails(2, "expected postwalk-office runs SHEET", "runs sheet.csv");
	assert_fails(2, "with the folder of a feed, and", "runs sheet.csv --by d-1 --from 2026-11-24");
	assert_fails(2, "expected --from and --to", "runs . --by d-1");
	assert_fails(2, "nothing.csv: No such file", "runs nothing.csv --by d-1");
	assert_fails(2, "expected a file of at most 256 MiB", "runs /dev/null --by d-1");
}

static void test_copy(void **state)
{
	int status;
	char *text;
	long n;

	(void)state;
	text = shell(&status,
		     "cd %s && %s copy night.db --office %s && sqlite3 night.db "
		     "'PRAGMA integrity_check; SELECT count(*) FROM record'",
		     office.dir, office_program(), office.dir);
	assert_int_equal(status, 0);
	assert_says(text, "\nok\n");
	n = atol(strstr(text, "\nok\n") + 4);
	assert_int_equal(n, office_count(&office, "records"));
	free(text);
	assert_fails(2, "night.db", "copy night.db"); /* there is one */
}

/* -- how it ends ------------------------------------------------------------------------------- */

/* A command whose output nobody reads holds up nobody: not the buses, not the end. */
static void test_unread(void **state)
{
	int ends[2], fd;
	char *const argv[] = { "postwalk-office",  "export",   "14",	   "--epoch",
			       "00000000000000aa", "--office", office.dir, NULL };
	pid_t pid;

	(void)state;
	assert_int_equal(pipe2(ends, O_CLOEXEC), 0);
	fcntl(ends[1], F_SETPIPE_SZ, 4096);
	pid = fork();
	if (pid == 0) {
		dup2(ends[1], 1);
		execv(office_program(), argv);
		_exit(127);
	}
	close(ends[1]);
	assert_int_equal(
		poll(&(struct pollfd){ .fd = ends[0], .events = POLLIN }, 1, OFFICE_PATIENCE_MS),
		1);
	free(office_do(&office, "figures"));
	fd = office_connect(&office); /* and one that never sends its request */
	office_send(fd, "POST /v1", 8);
	assert_int_equal(office_stop(&office, SIGTERM), 0);
	close(fd);
	waitpid(pid, NULL, 0);
	close(ends[0]);
	assert_true(office_start(&office));
}

/* Killed at any time, it has what it has said to have. */
static void test_killed(void **state)
{
	static struct made other;
	struct bus b;

	(void)state;
	bus_enrol(&office, &b, "40", 40);
	made_begin(&other, "40", "0123456789abcdef", 40);
	made_grow(&other, 100);
	for (size_t from = 1; from < 100; from += 20) {
		deliver(&office, &b, &other, from, from + 19, 20, false);
		assert_int_equal(office_stop(&office, SIGKILL), 128 + SIGKILL);
		assert_true(office_start(&office));
	}
	deliver(&office, &b, &other, 1, 100, 0, false);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_bad_orders),
		cmocka_unit_test(test_two_offices),
		cmocka_unit_test(test_alone),
		cmocka_unit_test(test_lists),
		cmocka_unit_test(test_export),
		cmocka_unit_test(test_export_branches),
		cmocka_unit_test(test_take_in),
		cmocka_unit_test(test_take_in_bad),
		cmocka_unit_test(test_runs),
		cmocka_unit_test(test_copy),
		cmocka_unit_test(test_unread),
		cmocka_unit_test(test_killed),
	};

	return cmocka_run_group_tests(tests, set_up, tear_down);
}

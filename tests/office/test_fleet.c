/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A made-up district (docs/fleet.md) delivers to a real office: everything is there once and
 * receipted, over calls, restarts of the office and a store that is older than it was; what was put
 * back or cloned makes branches, and a silent bus is silent.
 */
#include "office.h"

#include "fleet_lines.h"

#define FLEET "--seed 7 --from 2026-10-05 --zone UTC"

static const char *tool(void)
{
	const char *program = getenv("POSTWALK");

	if (!program)
		fail_msg("POSTWALK is not set");
	return program;
}

/* Codes for all of them, in DIR/codes. */
static void enrol_all(const struct office *o, unsigned buses)
{
	int status;

	free(shell(&status, "%s enrol --office %s $(seq -f T-%%04.0f %u) >%s/codes",
		   office_program(), o->dir, buses, o->dir));
	assert_int_equal(status, 0);
}

/* `postwalk fleet` with the state in DIR/fleet; its last line of output, by its numbers. */
struct told { long buses, records, sent, receipted, there, forks, refused; int status; };

static void read_told(const char *text, struct told *t)
{
	const char *at = strstr(text, "buses ");

	if (!at
	    || sscanf(at,
		      "buses %ld, records %ld, sent %ld, receipted %ld, already there %ld, "
		      "forks %ld, refused %ld, seconds",
		      &t->buses, &t->records, &t->sent, &t->receipted, &t->there, &t->forks,
		      &t->refused)
		       != 7)
		fail_msg("no last line: %s", text);
}

static struct told bring(const struct office *o, const char *more)
{
	struct told t = { 0 };
	char *text = shell(&t.status, "%s fleet %s --state %s/fleet --codes %s/codes --quiet --to "
			   "http://127.0.0.1:%d", tool(), more, o->dir, o->dir, o->port);

	if (t.status == 2)
		fail_msg("%s", text);
	read_told(text, &t);
	free(text);
	return t;
}

static void run(const char *format, ...)
{
	char command[1000], *text;
	int status;
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	text = shell(&status, "%s", command);
	if (status)
		fail_msg("%s: %s", command, text);
	free(text);
}

/* -- everything once, with a receipt ----------------------------------------------------------- */

/* What the office gives back of a bus is what the bus itself exports, byte for byte. */
static void assert_same(const struct office *o, const char *bus)
{
	run("%s export %s --office %s | cmp - %s/out/%s.jsonl", office_program(), bus, o->dir,
	    o->dir, bus);
}

static unsigned count_receipts(const struct office *o, const char *bus)
{
	struct lines x;
	unsigned hold = 0;
	char path[200];

	snprintf(path, sizeof(path), "%s/out/%s.jsonl", o->dir, bus);
	lines_read(&x, path);
	for (size_t i = 0; i < x.count; i++)
		hold += lines_receipt_holds(&x, i, &o->key);
	lines_free(&x);
	return hold;
}

static void days_are_delivered_call_by_call(void **state)
{
	struct office o;
	struct told t, again;
	unsigned receipts = 0;
	char bus[PW_NAME_MAX];

	(void)state;
	office_begin(&o, "");
	enrol_all(&o, 6);
	t = bring(&o, "--buses 6 --days 4 " FLEET);
	assert_int_equal(t.status, 0);
	assert_true(t.records > 600 && t.sent == t.records && t.receipted == t.records
		    && t.there == 0);
	assert_int_equal(office_count(&o, "records"), t.records);
	again = bring(&o, "--days 0");
	assert_int_equal(again.status, 0);
	assert_true(again.sent == 0 && again.there == t.records && again.receipted == t.records);
	again = bring(&o, "--days 3");
	assert_int_equal(again.status, 0);
	assert_true(again.there == t.records && again.sent == again.records - t.records);
	run("%s fleet --days 0 --state %s/fleet --out %s/out", tool(), o.dir, o.dir);
	for (unsigned i = 1; i <= 6; i++) {
		snprintf(bus, sizeof(bus), "T-%04u", i);
		assert_same(&o, bus);
		receipts += count_receipts(&o, bus);
	}
	assert_in_range(receipts, 6, 20); /* of the first call, in the second one's records */
	office_end(&o);
}

/* -- an office that goes away ------------------------------------------------------------------ */

static void keep_port(const struct office *o)
{
	char conf[100];

	snprintf(conf, sizeof(conf), "[office]\nlisten = 127.0.0.1:%d\n", o->port);
	office_write(o, "office.conf", conf);
}

static pid_t send_beside(const struct office *o, const char *more)
{
	char command[800];
	pid_t pid;

	snprintf(command, sizeof(command),
		 "exec %s fleet %s --state %s/fleet --codes %s/codes --quiet --to "
		 "http://127.0.0.1:%d >%s/said 2>&1",
		 tool(), more, o->dir, o->dir, o->port, o->dir);
	pid = fork();
	if (pid == 0) {
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		execl("/bin/sh", "sh", "-c", command, (char *)NULL);
		_exit(127);
	}
	return pid;
}

/* Until the office has so many; a look at the running process each time. */
static long wait_for(const struct office *o, long records)
{
	const int64_t until_ms = office_now_ms() + OFFICE_PATIENCE_MS;
	long there;

	while ((there = office_count(o, "records")) < records)
		if (office_now_ms() > until_ms)
			fail_msg("the office never had %ld records", records);
	return there;
}

static void an_office_that_is_killed_misses_nothing(void **state)
{
	struct office o;
	struct told t;
	long there;
	int status;
	pid_t pid;

	(void)state;
	office_begin(&o, "");
	keep_port(&o);
	enrol_all(&o, 8);
	t = bring(&o, "--buses 8 --days 1 " FLEET);
	assert_int_equal(t.status, 0);
	pid = send_beside(&o, "--days 3 --within 2s");
	there = wait_for(&o, t.records + 100);
	assert_int_equal(office_stop(&o, SIGKILL), 128 + SIGKILL);
	assert_true(office_start(&o));
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
	t = bring(&o, "--days 0");
	print_message("killed when it had %ld of %ld records\n", there, t.records);
	assert_true(t.status == 0 && t.sent == 0 && t.there == t.records);
	assert_int_equal(office_count(&o, "records"), t.records);
	office_end(&o);
}

/* A store from before the last delivery is put back: buses go on from what it has. */
static void a_store_that_is_older_gets_the_rest_again(void **state)
{
	struct office o;
	struct told t, more;

	(void)state;
	office_begin(&o, "");
	enrol_all(&o, 4);
	t = bring(&o, "--buses 4 --days 3 " FLEET);
	assert_int_equal(office_stop(&o, SIGTERM), 0);
	run("mkdir -p %s/keep && cp %s/office.db* %s/keep/", o.dir, o.dir, o.dir);
	assert_true(office_start(&o));
	more = bring(&o, "--days 4");
	assert_true(more.status == 0 && more.sent == more.records - t.records);
	assert_int_equal(office_stop(&o, SIGTERM), 0);
	run("rm -f %s/office.db* && cp %s/keep/* %s/", o.dir, o.dir, o.dir);
	assert_true(office_start(&o));
	assert_int_equal(office_count(&o, "records"), t.records);
	more = bring(&o, "--days 0");
	assert_true(more.status == 0 && more.there == t.records
		    && more.sent == more.records - t.records);
	assert_int_equal(office_count(&o, "records"), more.records);
	office_end(&o);
}

static void a_wrong_code_is_refused_and_told(void **state)
{
	struct office o;
	struct told t;

	(void)state;
	office_begin(&o, "");
	enrol_all(&o, 2);
	run("sed -i 's/^\\(T-0002 *\\)[^ ]*/\\1AAAA-AAAA-AAAA-AAAA-AAAA/' %s/codes", o.dir);
	t = bring(&o, "--buses 2 --days 2 " FLEET);
	assert_true(t.status == 1 && t.refused == 1 && t.sent > 0);
	enrol_all(&o, 2);
	t = bring(&o, "--days 0");
	assert_true(t.status == 0 && t.receipted == t.records && t.refused == 0);
	office_end(&o);
}

/* -- three weeks of a yard --------------------------------------------------------------------- */

static json_t *scene(const json_t *list, const char *name)
{
	json_t *one;
	size_t i;

	json_array_foreach(list, i, one)
		if (json_object_get(one, "days") && strcmp(json_word(one, "scene"), name) == 0)
			return one;
	fail_msg("no %s", name);
	return NULL;
}

/* Is there a matter of that kind about the bus that the scene befalls? */
static void assert_matter(const json_t *list, const char *matters, const char *name,
			  const char *kind)
{
	json_t *all = lines_array(matters), *one;
	const char *bus = json_word(scene(list, name), "bus");
	bool there = false;
	size_t i;

	json_array_foreach(all, i, one)
		there = there || (strcmp(json_word(one, "kind"), kind) == 0
				  && strcmp(json_word(one, "bus"), bus) == 0);
	if (!there)
		fail_msg("no matter %s of %s, which %s befell:\n%s", kind, bus, name, matters);
	json_decref(all);
}

/* The records of an export, and how many of them the office has. */
static void assert_silent(const struct office *o, const char *bus)
{
	struct lines own, office;
	char path[200];

	snprintf(path, sizeof(path), "%s/out/%s.jsonl", o->dir, bus);
	lines_read(&own, path);
	run("%s export %s --office %s >%s/export", office_program(), bus, o->dir, o->dir);
	snprintf(path, sizeof(path), "%s/export", o->dir);
	lines_read(&office, path);
	assert_true(office.records > 100 && office.records + 100 < own.records);
	lines_free(&own);
	lines_free(&office);
}

static void three_weeks_of_a_yard_ask_for_a_person(void **state)
{
	static const struct { const char *scene, *kind;
	} asks[] = {
		{ "child", "child" },  { "never_walked", "rung" }, { "aside", "journal" },
		{ "rewound", "fork" }, { "cloned", "fork" },       { "clock_2099", "clock" },
	};
	struct office o;
	struct told t;
	char *text, *matters;
	json_t *list;
	int status;

	(void)state;
	office_begin(&o, "");
	enrol_all(&o, 24);
	t = bring(&o, "--buses 24 --days 21 " FLEET);
	assert_true(t.status == 0 && t.receipted == t.records && t.refused == 0);
	assert_int_equal(t.forks, 2);
	assert_int_equal(office_count(&o, "branches"),
			 24 + 3); /* a fork, a clone, a journal put aside */
	text = shell(&status, "%s fleet --days 0 --state %s/fleet --list --out %s/out", tool(),
		     o.dir, o.dir);
	assert_int_equal(status, 0);
	list = lines_array(text);
	matters = office_do(&o, "matters --json");
	for (size_t i = 0; i < sizeof(asks) / sizeof(asks[0]); i++)
		assert_matter(list, matters, asks[i].scene, asks[i].kind);
	assert_silent(&o, json_word(scene(list, "silent"), "bus"));
	free(matters);
	free(text);
	json_decref(list);
	office_end(&o);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(days_are_delivered_call_by_call),
		cmocka_unit_test(an_office_that_is_killed_misses_nothing),
		cmocka_unit_test(a_store_that_is_older_gets_the_rest_again),
		cmocka_unit_test(a_wrong_code_is_refused_and_told),
		cmocka_unit_test(three_weeks_of_a_yard_ask_for_a_person),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

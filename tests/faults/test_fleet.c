/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The watch of a made-up bus (daemon/tool/fleet_watch.c) against the real one: what the wires of
 * such a bus did is played through daemon/bus and the real writer (play.h), and the records are the
 * same, with the same times, in the same order, and sealed at the same places (J4, J8).
 */
#include "play.h"
#include "world.h"

#include <jansson.h>
#include <string.h>
#include <unistd.h>

#include "postwalk/journal.h"
#include "record/record_internal.h"

#define DAYS 7

/* What people, the wall clock and a sense tell is in no trace. */
static bool is_told_by_wires(const struct pw_record *r)
{
	static const enum pw_kind kinds[] = { PW_K_LEVEL, PW_K_EDGES, PW_K_SWEEP, PW_K_RESTART,
					      PW_K_EXCUSED, PW_K_RUNG, PW_K_SERVICE, PW_K_FAULT,
					      PW_K_PROOF };
	bool told = false;

	for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++)
		told = told || r->kind == kinds[i];
	if (r->kind == PW_K_FAULT || r->kind == PW_K_PROOF)
		told = !strstr(r->body, "beeper") && !strstr(r->body, "horn");
	return told;
}

struct texts { char *line[8192]; size_t count; };

/* Kind, time and body without wall times. */
static void add_text(struct texts *t, const struct pw_record *r)
{
	json_t *body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);
	char *text;

	assert_non_null(body);
	json_object_del(body, "key_off_wall_ms");
	json_object_del(body, "closed_wall_ms");
	text = json_dumps(body, JSON_COMPACT);
	assert_true(t->count < sizeof(t->line) / sizeof(t->line[0]));
	assert_true(asprintf(&t->line[t->count++], "%s %lld %s", pw_kind_name(r->kind),
			     (long long)r->mono_ms, text) > 0);
	free(text);
	json_decref(body);
}

static void mark_sealed(struct texts *t)
{
	char *was = t->line[t->count - 1];

	assert_true(asprintf(&t->line[t->count - 1], "%s sealed", was) > 0);
	free(was);
}

static void free_texts(struct texts *t)
{
	for (size_t i = 0; i < t->count; i++)
		free(t->line[i]);
	t->count = 0;
}

/* -- the two journals -------------------------------------------------------------------------- */

/* The made-up one: into texts, and as a journal that `postwalk trace` can open. */
static void read_export(const char *path, struct texts *t, struct pw_journal *j)
{
	char *text = NULL, why[300];
	struct pw_export_line line;
	bool counted = false;
	size_t room = 0;
	ssize_t n;
	FILE *f = fopen(path, "r");

	assert_non_null(f);
	while ((n = getline(&text, &room, f)) > 0) {
		assert_int_equal(pw_export_read(text, (size_t)n - 1, &line, why, sizeof(why)), 0);
		if (line.kind == PW_X_RECORD) {
			assert_int_equal(pw_journal_add(j, &line.record, why, sizeof(why)), 0);
			counted = is_told_by_wires(&line.record);
			if (counted)
				add_text(t, &line.record);
		}
		if (line.kind == PW_X_SEAL && counted)
			mark_sealed(t);
		pw_export_free(&line);
	}
	free(text);
	fclose(f);
}

static void take_export(const char *base, const char *bus, struct texts *t)
{
	char path[200], why[300];
	struct pw_journal *j;

	snprintf(path, sizeof(path), "%s/journal.db", base);
	unlink(path);
	assert_int_equal(pw_journal_open(path, bus, true, &j, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_begin(j, why, sizeof(why)), 0);
	snprintf(path, sizeof(path), "%s/out/%s.jsonl", base, bus);
	read_export(path, t, j);
	assert_int_equal(pw_journal_commit(j, why, sizeof(why)), 0);
	pw_journal_close(j);
}

/* What the real watch has written. */
static void take_journal(const char *dir, struct texts *t)
{
	struct pw_seal seal = { .seq = 0 };
	char path[200], why[300];
	struct pw_journal *j;
	struct pw_record r;
	int got = 1;

	snprintf(path, sizeof(path), "%s/journal.db", dir);
	assert_int_equal(pw_journal_open(path, NULL, false, &j, why, sizeof(why)), 0);
	for (uint64_t seq = 1; pw_journal_read(j, seq, &r, why, sizeof(why)) == 1;
	     seq = r.seq + 1) {
		while (got == 1 && seal.seq < r.seq)
			got = pw_journal_read_seal(j, seal.seq + 1, &seal, why, sizeof(why));
		if (!is_told_by_wires(&r))
			continue;
		add_text(t, &r);
		if (got == 1 && seal.seq == r.seq)
			mark_sealed(t);
	}
	pw_journal_close(j);
}

/* -- the comparison ---------------------------------------------------------------------------- */

/* The end of a trace wakes the watch once more, and its orderly stop seals what is last: so what
 * comes behind the last seal of the made-up bus is not looked at. */
static void compare(const char *bus, const struct texts *made, const struct texts *real)
{
	for (size_t i = 0; i < made->count; i++)
		if (i >= real->count || strcmp(made->line[i], real->line[i]) != 0)
			fail_msg("%s: record %zu of %zu: made up:\n%s\nreal:\n%s", bus, i,
				 made->count, made->line[i],
				 i < real->count ? real->line[i] : "nothing");
	assert_true(made->count > 200);
}

/* As play_trace, and with the wake-up with which the real loop begins. */
static void play_all(struct play *p, const char *path)
{
	struct pw_trace *t = pw_trace_open(path, &p->bus.active.policy);
	struct pw_trace_line l = { 0 };
	int said = play_hush();
	bool first = true;

	assert_non_null(t);
	while (pw_trace_next(t, &l) == 1) {
		play_line(p, &l);
		if (first)
			play_wake(p, l.at_ms);
		first = false;
	}
	play_until(p, l.at_ms);
	play_stop(p);
	play_speak(said);
	pw_trace_close(t);
}

static void judge(const char *base, const char *bus)
{
	static struct texts made, real;
	char trace[100], conf[100];
	struct play *p;

	take_export(base, bus, &made);
	snprintf(trace, sizeof(trace), "%s/trace", base);
	snprintf(conf, sizeof(conf), "%s/policy", base);
	assert_int_equal(shell("'%s' trace '%s/journal.db' >'%s'", getenv("POSTWALK"), base, trace),
			 0);
	assert_int_equal(
		shell("'%s' trace --policy '%s/journal.db' >'%s'", getenv("POSTWALK"), base, conf),
		0);
	p = play_new(base, conf);
	p->one_by_one = true;
	play_all(p, trace);
	take_journal(p->dir, &real);
	compare(bus, &made, &real);
	print_message("%s: %zu records are the same\n", bus, made.count);
	play_free(p);
	free_texts(&made);
	free_texts(&real);
}

/* Of a yard with a parking brake, and of one with lamps; the power of these buses stays on. */
static void a_made_up_bus_writes_what_a_real_one_writes_J8(void **state)
{
	static const char *const buses[] = { "T-0004", "T-0011", "T-0013", "T-0017",
					     "T-0050" };
	const char *base = *state;

	assert_int_equal(
		shell("'%s' fleet --buses 50 --days %d --seed 11 --from 2026-04-06 --zone UTC "
		      "--out '%s/out'",
		      getenv("POSTWALK"), DAYS, base),
		0);
	for (size_t i = 0; i < sizeof(buses) / sizeof(buses[0]); i++)
		judge(base, buses[i]);
}

static int make_folder(void **state)
{
	*state = strdup(access("/dev/shm", W_OK) == 0 ? "/dev/shm/postwalk-XXXXXX"
						      : "/tmp/postwalk-XXXXXX");
	return mkdtemp(*state) ? 0 : -1;
}

static int remove_folder(void **state)
{
	shell("rm -rf '%s'", (char *)*state);
	free(*state);
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_made_up_bus_writes_what_a_real_one_writes_J8),
	};

	return cmocka_run_group_tests(tests, make_folder, remove_folder);
}

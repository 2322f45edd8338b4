/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What nobody touched is sound; what nothing on the bus can show, a witness outside sees
 * (docs/threats.md); and a clock that was set is told of. Records and seals: copies.h.
 */
#include "forge.h"

#define NEXT_START_MS 6000000

/* -- what was not touched ---------------------------------------------------------------------- */

static void what_nobody_touched_is_sound_as_far_as_it_is_sealed(void **state)
{
	static const char *const sealed[] = { "early", "sealed" };
	struct copies *c = *state;

	for (size_t i = 0; i < 2; i++) {
		copies_take(c, sealed[i]);
		assert_int_equal(copies_verify(c, "now/state"), 0);
		assert_string_equal(copies_start(c, NEXT_START_MS), "");
		assert_int_equal(copies_verify(c, "now/state"), 0);
	}
	assert_int_equal(copies_verify(c, "driving/state"), 1);
	assert_non_null(strstr(c->said, "seq 54: nothing vouches for what stands from here on"));
	assert_non_null(strstr(c->said, "not sound: 1 finding"));
	copies_take(c, "driving");
	assert_string_equal(copies_start(c, NEXT_START_MS), "");
	assert_int_equal(copies_verify(c, "now/state"), 0);
}

/* -- witnesses outside ------------------------------------------------------------------------- */

static void assert_says(struct copies *c, const char *of, int status, const char *words)
{
	assert_int_equal(copies_verify(c, of), status);
	if (!strstr(c->said, words))
		fail_msg("\"%s\" is not said, but:\n%s", words, c->said);
}

/* J5: two boards from one copy, and each goes on. */
static void a_clone_shows_when_both_are_seen_J5(void **state)
{
	struct copies *c = *state;

	for (unsigned i = 0; i < 2; i++) {
		copies_take(c, "sealed");
		assert_string_equal(copies_start(c, NEXT_START_MS + 60000 * i), "");
		assert_int_equal(copies_verify(c, "now/state"), 0);
		assert_int_equal(shell("cd '%s' && rm -rf twin%u && mv now twin%u && '%s' export "
				       "twin%u/state >twin%u.export", c->base, i, i,
				       copies_tool(), i, i), 0);
	}
	assert_says(c, "twin0.export twin1.export", 1, "two branches from seq 54");
	assert_says(c, "twin0/state twin1/state", 1, "two branches from seq 54");
	assert_says(c, "sealed.export twin1.export", 0, "the same records from seq 1 to 53");
}

/* An export kept elsewhere sees a rewound folder as soon as the bus has gone on in it. */
static void a_rewound_folder_shows_against_an_export(void **state)
{
	struct copies *c = *state;

	copies_take(c, "early");
	assert_says(c, "sealed.export now/state", 0, "an older copy was put back");
	assert_string_equal(copies_start(c, NEXT_START_MS), "");
	assert_says(c, "sealed.export now/state", 1, "two branches from seq 27");
}

static void a_log_taken_away_shows_against_an_export(void **state)
{
	struct copies *c = *state;

	copies_take(c, "driving");
	copies_shell(c, "rm state/journal.db-wal state/journal.db-shm");
	assert_string_equal(copies_start(c, NEXT_START_MS), "");
	assert_says(c, "driving.export now/state", 1, "two branches from seq 54");
}

static void what_the_key_vouched_for_twice_shows_against_an_export(void **state)
{
	struct pw_secret_key key;
	struct copies *c = *state;

	copies_take(c, "sealed");
	copies_sql(c, "UPDATE record SET body = replace(body, 'done', 'late') WHERE seq = 11");
	forge_key(c, &key);
	forge(c, 11, &key);
	forge_files(c);
	assert_int_equal(copies_verify(c, "now/state"), 0);
	assert_says(c, "sealed.export now/state", 1, "two branches from seq 11");
}

/* The key that came along vouches for itself; the one that was noted at installation does not. */
static void a_board_in_place_of_another_shows_by_the_noted_key(void **state)
{
	struct copies *c = *state;

	assert_int_equal(shell("cd '%s' && '%s' verify other.export >words 2>&1", c->base,
			       copies_tool()), 0);
	assert_says(c, "other.export", 1, "the key in it is ");
}

/* -- the clock --------------------------------------------------------------------------------- */

static unsigned count(struct copies *c, const char *where)
{
	assert_int_equal(shell("sqlite3 -readonly '%s/now/state/journal.db' "
			       "\"SELECT count(*) FROM record WHERE %s\" >'%s/words'", c->base, where, c->base), 0);
	copies_read(c, "words");
	return (unsigned)atoi(c->said);
}

static struct play *begin(struct copies *c, int64_t at_ms, bool clock_lost)
{
	char base[80];
	struct play *p;

	copies_take(c, "sealed");
	snprintf(base, sizeof(base), "%s/now", c->base);
	p = play_open(base, NULL);
	p->raw = 1u << PW_IGNITION;
	play_start(p, at_ms, clock_lost);
	p->bus.wall_timer = -1;
	return p;
}

static void end(struct play *p, int64_t at_ms)
{
	play_until(p, at_ms);
	play_stop(p);
	play_free(p);
}

static void a_clock_set_back_while_off_is_told_by_the_boot_R21(void **state)
{
	struct copies *c = *state;
	int said = play_hush();

	end(begin(c, NEXT_START_MS, true), NEXT_START_MS + 1000);
	play_speak(said);
	assert_int_equal(count(c, "boot = 3 AND kind = 'boot' AND body ->> '$.clock' = 'lost' AND"
			       " wall_ok = 0"), 1);
	assert_int_equal(copies_verify(c, "now/state"), 0);
}

static void set_clock(struct play *p, int64_t by_ms)
{
	p->bus.wall_ms += by_ms;
	pw_clock_look(&p->bus);
}

static void a_clock_set_back_while_running_is_told_and_not_vouched_for(void **state)
{
	struct copies *c = *state;
	int said = play_hush();
	struct play *p = begin(c, NEXT_START_MS, false);

	play_until(p, NEXT_START_MS + 60000);
	set_clock(p, -6 * INT64_C(3600000));
	set_clock(p, 6 * INT64_C(3600000)); /* as the played clock has it */
	end(p, NEXT_START_MS + 61000);
	play_speak(said);
	assert_int_equal(count(c, "kind = 'clock' AND wall_ok = 0 AND wall_ms = body ->> 'after_ms'"
			       " AND body ->> 'before_ms' - body ->> 'after_ms' = 21600000"), 1);
	assert_int_equal(copies_verify(c, "now/state"), 0);
}

/* A step that was not told is a finding of its own, though chain and seals hold. */
static void a_clock_set_back_and_not_told_is_found(void **state)
{
	struct copies *c = *state;
	int said = play_hush();
	struct play *p = begin(c, NEXT_START_MS, false);
	struct pw_note n;

	play_until(p, NEXT_START_MS + 60000);
	p->bus.wall_ms -= 6 * INT64_C(3600000);
	n = pw_note_new(&p->bus, PW_K_SERVICE);
	pw_writer_note(p->bus.writer, &n);
	p->bus.keep = true;
	end(p, NEXT_START_MS + 61000);
	play_speak(said);
	assert_says(c, "now/state", 1,
		    "the wall clock steps by -21600000 ms, and no clock record says so");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_nobody_touched_is_sound_as_far_as_it_is_sealed),
		cmocka_unit_test(a_clone_shows_when_both_are_seen_J5),
		cmocka_unit_test(a_rewound_folder_shows_against_an_export),
		cmocka_unit_test(a_log_taken_away_shows_against_an_export),
		cmocka_unit_test(what_the_key_vouched_for_twice_shows_against_an_export),
		cmocka_unit_test(a_board_in_place_of_another_shows_by_the_noted_key),
		cmocka_unit_test(a_clock_set_back_while_off_is_told_by_the_boot_R21),
		cmocka_unit_test(a_clock_set_back_while_running_is_told_and_not_vouched_for),
		cmocka_unit_test(a_clock_set_back_and_not_told_is_found),
	};

	return cmocka_run_group_tests(tests, copies_make, copies_remove);
}

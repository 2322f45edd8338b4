/* SPDX-License-Identifier: Apache-2.0 */
/* What a record means to the office (J8): sweeps, what stands, matters and their words. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <string.h>

#include "office/tell_internal.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define NOW INT64_C(1760474520000)  /* date -d @1760474520: Tue 14 Oct 2025 15:42 in Chicago */
#define MINUTE INT64_C(60000)
#define EPOCH "0123456789abcdef"

/* A batch with room, as batch.c makes it. */
struct room {
	struct pw_batch batch;
	struct pw_sweep_row sweep[8];
	struct pw_standing standing[8];
	struct pw_matter matter[8];
};

static struct pw_batch *empty(struct room *room)
{
	memset(room, 0, sizeof(*room));
	strcpy(room->batch.bus, "14");
	room->batch.sweep = room->sweep;
	room->batch.standing = room->standing;
	room->batch.matter = room->matter;
	return &room->batch;
}

static struct pw_record record(enum pw_kind kind, const char *body)
{
	struct pw_record r = { .seq = 7, .boot = 1, .mono_ms = 5000, .wall_ms = NOW - MINUTE,
			       .wall_ok = true, .kind = kind, .body = body };

	strcpy(r.epoch, EPOCH);
	memset(r.hash, 'b', 64);
	return r;
}

static const struct pw_matter *only_matter(const struct pw_batch *b)
{
	assert_int_equal(b->matters, 1);
	return &b->matter[0];
}

static void assert_nothing(const struct pw_batch *b)
{
	assert_int_equal(b->sweeps + b->standings + b->matters, 0);
}

/* -- sweeps ------------------------------------------------------------------------------------ */

/* The body as the bus writes it; wall times stand beside those of its own clock. */
static void test_sweep(void **state)
{
	struct pw_note n = { .version = PW_NOTE_VERSION, .kind = PW_K_SWEEP, .mono_ms = 400000,
			     .wall_ms = NOW, .wall_ok = 1 };
	char body[PW_BODY_MAX + 1];
	struct room room;
	struct pw_batch *b = empty(&room);
	struct pw_record r;

	(void)state;
	n.of.sweep.sweep = (struct pw_sweep){
		.t0_ms = 300000, .press_ms = 375000, .exit_ms = 390000, .closed_ms = 390100,
		.late_ms = 15000, .verdict = PW_DOUBTFUL, .refused = 1,
		.findings = UINT32_C(1) << PW_F_REAR_OPENED,
		.refusal = { { 310000, PW_TOO_SOON } } };
	strcpy(n.of.sweep.rung, "cabin");
	assert_true(pw_text_body(&n, body, sizeof(body)) > 0);
	r = record(PW_K_SWEEP, body);
	pw_meaning(b, &r, NOW);
	assert_int_equal(b->sweeps, 1);
	assert_int_equal(b->matters + b->standings, 0);
	assert_int_equal(room.sweep[0].seq, 7);
	assert_int_equal(room.sweep[0].key_off_ms, NOW - 100000);
	assert_int_equal(room.sweep[0].closed_ms, NOW - 9900);
	assert_int_equal(room.sweep[0].came_ms, NOW);
	assert_int_equal(room.sweep[0].walk_ms, 75000);
	assert_int_equal(room.sweep[0].return_ms, 15000);
	assert_int_equal(room.sweep[0].late_ms, 15000);
	assert_int_equal(room.sweep[0].verdict, PW_DOUBTFUL);
	assert_int_equal(room.sweep[0].findings, UINT32_C(1) << PW_F_REAR_OPENED);
	assert_int_equal(room.sweep[0].refused, 1);
	assert_true(room.sweep[0].wall_ok);
	assert_string_equal(room.sweep[0].rung, "cabin");
}

#define MISSED(closed, closed_wall) "{\"key_off_ms\":300000,\"key_off_wall_ms\":1760474420000," \
	"\"verdict\":\"missed\",\"findings\":[\"driven_off\"],\"press_ms\":null,\"walk_ms\":null," \
	"\"late_ms\":0,\"refused\":[],\"exit_ms\":null,\"return_ms\":null,\"rung\":\"office\"," \
	"\"closed_ms\":" closed ",\"closed_wall_ms\":" closed_wall "}"
#define A_MISSED_SWEEP MISSED("390000", "1760474510000")

static void test_missed_sweep(void **state)
{
	struct room room;
	struct pw_batch *b = empty(&room);
	struct pw_record r = record(PW_K_SWEEP, A_MISSED_SWEEP);

	(void)state;
	pw_meaning(b, &r, NOW);
	assert_int_equal(b->sweeps, 1);
	assert_int_equal(room.sweep[0].verdict, PW_MISSED);
	assert_int_equal(room.sweep[0].walk_ms, PW_NO_TIME);
	assert_int_equal(room.sweep[0].return_ms, PW_NO_TIME);
	assert_int_equal(room.sweep[0].closed_ms, NOW - 10000);
}

/* -- what stands ------------------------------------------------------------------------------- */

static void test_standings(void **state)
{
	static const struct {
		int line;
		enum pw_kind kind;
		const char *body, *name, *words;
		bool on;
	} cases[] = {
		{ __LINE__, PW_K_FAULT, "{\"name\":\"line_horn\",\"on\":true,\"at_ms\":5000,"
		  "\"words\":\"commanded, and not heard\"}", "line_horn",
		  "commanded, and not heard", true },
		{ __LINE__, PW_K_FAULT, "{\"name\":\"line_horn\",\"on\":false,\"at_ms\":5000,"
		  "\"words\":\"\"}", "line_horn", "", false },
		{ __LINE__, PW_K_SERVICE, "{\"on\":true}", "service", "", true },
		{ __LINE__, PW_K_SERVICE, "{\"on\":false}", "service", "", false },
		/* nothing stands at power-on (R4, R5, R23), and none of it is told to be over */
		{ __LINE__, PW_K_BOOT, "{}", "", "", false },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct room room;
		struct pw_batch *b = empty(&room);
		struct pw_record r = record(cases[i].kind, cases[i].body);

		pw_meaning(b, &r, NOW);
		if (b->standings != 1 || b->sweeps + b->matters != 0)
			fail_msg("line %d: expected one standing", cases[i].line);
		assert_int_equal(room.standing[0].seq, 7);
		assert_string_equal(room.standing[0].name, cases[i].name);
		assert_string_equal(room.standing[0].words, cases[i].words);
		assert_int_equal(room.standing[0].on, cases[i].on);
		assert_int_equal(room.standing[0].since_ms, NOW - MINUTE);
	}
}

/* A clock that is not believed does not date what stands: the office's own does. */
static void test_since_by_the_office(void **state)
{
	static const struct { int64_t wall_ms; bool wall_ok; } clocks[] = {
		{ 0, true }, { INT64_C(4070908800000), true }, { NOW, false }, { INT64_MIN, true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(clocks); i++) {
		struct room room;
		struct pw_batch *b = empty(&room);
		struct pw_record r = record(PW_K_SERVICE, "{\"on\":true}");

		r.wall_ms = clocks[i].wall_ms;
		r.wall_ok = clocks[i].wall_ok;
		pw_meaning(b, &r, NOW - 1);
		assert_int_equal(room.standing[0].since_ms, NOW - 1);
	}
}

/* -- matters ----------------------------------------------------------------------------------- */

#define WHEN "15:41 CDT on Tue 14 Oct 2025"

static void test_matters(void **state)
{
	static const struct {
		int line;
		enum pw_kind kind;
		const char *body;
		enum pw_matter_kind matter; /* NONE: not a matter */
		const char *words;
	} cases[] = {
		{ __LINE__, PW_K_RUNG, "{\"name\":\"office\",\"at_ms\":1,\"notify\":true}",
		  PW_MATTER_RUNG, "The walk on bus 14 was long overdue at " WHEN "; its alarm has "
		  "reached \"office\": call the driver or the yard now, and have the bus walked to "
		  "the very rear." },
		{ __LINE__, PW_K_RUNG, "{\"name\":\"cabin\",\"at_ms\":1,\"notify\":false}", 0,
		  NULL },
		{ __LINE__, PW_K_RUNG, "{\"name\":\"office\",\"at_ms\":1}", 0, NULL },
		{ __LINE__, PW_K_FOUND,
		  "{\"what\":\"child\",\"part\":\"none\",\"id\":0,\"t0_ms\":1,"
		  "\"who\":\"d-12\",\"words\":\"asleep in row nine\",\"rung\":\"office\"}",
		  PW_MATTER_CHILD, "A walk on bus 14 found a child at " WHEN ": call the bus or "
									     "the "
		  "yard now, and follow your district's plan." },
		{ __LINE__, PW_K_FOUND, "{\"what\":\"nothing\",\"part\":\"none\",\"id\":0,"
		  "\"t0_ms\":1,\"who\":\"d-12\",\"words\":\"\",\"rung\":\"\"}", 0, NULL },
		{ __LINE__, PW_K_FOUND, "{\"what\":\"damage\",\"part\":\"tires\",\"id\":3,"
		  "\"t0_ms\":1,\"who\":\"d-12\",\"words\":\"child seat\",\"rung\":\"\"}", 0, NULL },
		{ __LINE__, PW_K_EPOCH,
		  "{\"before\":{\"epoch\":\"" EPOCH "\",\"seq\":4,\"hash\":\"\"},"
		  "\"why\":\"record 4 is not what its hash says\",\"receipt\":null}",
		  PW_MATTER_JOURNAL, "Bus 14 put its journal aside and began another at 15:42 CDT "
				     "on "
		  "Tue 14 Oct 2025; it says \"record 4 is not what its hash says\": leave the old "
		  "files on the board and have an export of them taken in." },
		{ __LINE__, PW_K_EPOCH, "{\"before\":null,\"why\":\"journal.db is not a database\","
		  "\"receipt\":null}", PW_MATTER_JOURNAL, NULL },
		{ __LINE__, PW_K_EPOCH, "{\"before\":null,\"why\":\"\",\"receipt\":null}", 0,
		  NULL },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct room room;
		struct pw_batch *b = empty(&room);
		struct pw_record r = record(cases[i].kind, cases[i].body);

		pw_meaning(b, &r, NOW);
		if (b->matters != (cases[i].matter != 0) || b->sweeps + b->standings != 0)
			fail_msg("line %d: %zu matters", cases[i].line, b->matters);
		if (b->matters == 0)
			continue;
		assert_int_equal(room.matter[0].kind, cases[i].matter);
		assert_string_equal(room.matter[0].bus, "14");
		assert_string_equal(room.matter[0].epoch, EPOCH);
		assert_int_equal(room.matter[0].seq, 7);
		assert_string_equal(room.matter[0].hash, r.hash);
		assert_int_equal(room.matter[0].at_ms, NOW - MINUTE);
		assert_int_equal(room.matter[0].came_ms, NOW);
		if (cases[i].words != NULL)
			assert_string_equal(room.matter[0].words, cases[i].words);
	}
}

/* What was typed in on the bus could be a name. */
static void test_child_is_not_named(void **state)
{
	struct room room;
	struct pw_batch *b = empty(&room);
	struct pw_record r = record(PW_K_FOUND, "{\"what\":\"child\",\"part\":\"none\",\"id\":0,"
				    "\"t0_ms\":null,\"who\":\"d-12\",\"words\":\"typed in here\","
				    "\"rung\":\"office\"}");

	(void)state;
	pw_meaning(b, &r, NOW);
	assert_null(strstr(only_matter(b)->words, "typed in here"));
	assert_null(strstr(only_matter(b)->words, "d-12"));
}

static void test_when_it_cannot_say(void **state)
{
	struct room room;
	struct pw_batch *b = empty(&room);
	struct pw_record r = record(PW_K_RUNG, "{\"name\":\"office\",\"at_ms\":1,\"notify\":true}");

	(void)state;
	r.wall_ok = false;
	pw_meaning(b, &r, NOW);
	assert_int_equal(only_matter(b)->at_ms, 0);
	assert_non_null(strstr(b->matter[0].words,
			       "was long overdue, when its clock cannot say; the "
			       "word came in at 15:42 CDT on Tue 14 Oct 2025; its alarm"));
}

/* It was on the road for two hours, and whoever reads it must not take it for now. */
static void test_word_that_comes_late(void **state)
{
	struct room room;
	struct pw_batch *b = empty(&room);
	struct pw_record r = record(PW_K_RUNG, "{\"name\":\"office\",\"at_ms\":1,\"notify\":true}");

	(void)state;
	r.wall_ms = NOW - 120 * MINUTE;
	pw_meaning(b, &r, NOW);
	assert_int_equal(only_matter(b)->at_ms, NOW - 120 * MINUTE);
	assert_non_null(strstr(b->matter[0].words,
			       "at 13:42 CDT on Tue 14 Oct 2025; the word came in "
			       "at 15:42 CDT on Tue 14 Oct 2025"));
}

/* -- the clock --------------------------------------------------------------------------------- */

static void test_clocks(void **state)
{
	static const struct {
		int line;
		enum pw_kind kind;
		int64_t wall_ms;
		bool wall_ok, off;
	} cases[] = {
		{ __LINE__, PW_K_EDGES, NOW, true, false },
		{ __LINE__, PW_K_EDGES, NOW + 10 * MINUTE, true, false },
		{ __LINE__, PW_K_EDGES, NOW + 10 * MINUTE + 1, true, true },
		{ __LINE__, PW_K_EDGES, INT64_C(4070908800000), true, true }, /* 2099 */
		{ __LINE__, PW_K_EDGES, INT64_MAX, true, true },
		{ __LINE__, PW_K_EDGES, 0, true, true },                      /* 1970 */
		{ __LINE__, PW_K_EDGES, INT64_MIN, true, true },
		/* days late is no matter of the clock */
		{ __LINE__, PW_K_EDGES, NOW - 90 * 1440 * MINUTE, true, false },
		/* it says itself that it does not know: a matter where a sweep is timed by it */
		{ __LINE__, PW_K_EDGES, 0, false, false },
		{ __LINE__, PW_K_SWEEP, NOW, false, true },
		{ __LINE__, PW_K_SWEEP, NOW, true, false },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct room room;
		struct pw_batch *b = empty(&room);
		struct pw_record r = record(cases[i].kind, A_MISSED_SWEEP);

		r.wall_ms = cases[i].wall_ms;
		r.wall_ok = cases[i].wall_ok;
		pw_meaning(b, &r, NOW);
		if (b->matters != cases[i].off)
			fail_msg("line %d: %zu matters", cases[i].line, b->matters);
		if (cases[i].off)
			assert_int_equal(room.matter[0].kind, PW_MATTER_CLOCK);
	}
}

/* The store keeps one of a key: whatever record showed it, a day of the office has one. */
static void test_clock_once_a_day(void **state)
{
	struct room room;
	struct pw_batch *b = empty(&room);
	struct pw_record r = record(PW_K_EDGES, "{}");
	const int64_t midnight_ms = NOW - (15 * 60 + 42) * MINUTE;

	(void)state;
	r.wall_ms = 0;
	for (r.seq = 1; r.seq <= 5; r.seq++)
		pw_meaning(b, &r, midnight_ms);
	assert_int_equal(only_matter(b)->seq, 0);
	assert_string_equal(b->matter[0].hash, "");
	assert_int_equal(b->matter[0].at_ms, 0);
	assert_string_equal(b->matter[0].epoch, "0000000020251014");
	assert_string_equal(b->matter[0].words,
			    "The clock of bus 14 could not be relied on at 00:00 CDT on "
			    "Tue 14 Oct 2025: have it and its battery looked at; until then the "
			    "times it "
			    "tells are in doubt.");
	b = empty(&room);
	pw_meaning(b, &r, midnight_ms - 1);
	assert_string_equal(only_matter(b)->epoch, "0000000020251013");
}

/* There is room for one matter a record: what cannot wait comes first. */
static void test_child_before_the_clock(void **state)
{
	struct room room;
	struct pw_batch *b = empty(&room);
	struct pw_record r = record(PW_K_RUNG, "{\"name\":\"office\",\"at_ms\":1,\"notify\":true}");

	(void)state;
	r.wall_ms = INT64_C(4070908800000);
	pw_meaning(b, &r, NOW);
	assert_int_equal(only_matter(b)->kind, PW_MATTER_RUNG);
}

/* -- bodies of no such shape (J8) -------------------------------------------------------------- */

static void test_other_shapes(void **state)
{
	static const struct { int line; enum pw_kind kind; const char *body; } cases[] = {
		{ __LINE__, PW_K_SWEEP, "" },
		{ __LINE__, PW_K_SWEEP, "{}" },
		{ __LINE__, PW_K_SWEEP, "[" A_MISSED_SWEEP "]" },
		{ __LINE__, PW_K_SWEEP, MISSED("390000", "1760474510001") },
		{ __LINE__, PW_K_SWEEP, MISSED("390000", "null") },
		{ __LINE__, PW_K_SWEEP, MISSED("390000", "\"never\"") },
		{ __LINE__, PW_K_SWEEP, MISSED("9e99", "1760474510000") },
		{ __LINE__, PW_K_RUNG, "{\"name\":7,\"notify\":true}" },
		{ __LINE__, PW_K_RUNG, "{\"name\":\"office\",\"notify\":1}" },
		{ __LINE__, PW_K_RUNG, "{\"name\":\"office\",\"notify\":false,\"notify\":true}" },
		{ __LINE__, PW_K_RUNG, "\"name\"" },
		{ __LINE__, PW_K_RUNG, "{\"name\":\"\xff\",\"notify\":true}" },
		{ __LINE__, PW_K_RUNG, "{\"name\":\"a\\u0000b\",\"notify\":true}" },
		{ __LINE__, PW_K_FAULT, "{\"name\":\"\",\"on\":false,\"words\":\"\"}" },
		{ __LINE__, PW_K_FAULT, "{\"name\":\"page\",\"on\":\"yes\",\"words\":\"\"}" },
		{ __LINE__, PW_K_FAULT, "{\"name\":\"page\",\"on\":true}" },
		{ __LINE__, PW_K_SERVICE, "{\"on\":1}" },
		{ __LINE__, PW_K_SERVICE, "true" },
		{ __LINE__, PW_K_FOUND, "{\"what\":\"child\"}" },
		{ __LINE__, PW_K_EPOCH, "{\"before\":{}}" },
		{ __LINE__, PW_K_EPOCH, "null" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct room room;
		struct pw_batch *b = empty(&room);
		struct pw_record r = record(cases[i].kind, cases[i].body);

		pw_meaning(b, &r, NOW);
		if (b->sweeps + b->standings + b->matters != 0)
			fail_msg("line %d: it meant something", cases[i].line);
	}
}

static void test_other_kinds(void **state)
{
	struct room room;
	struct pw_batch *b = empty(&room);

	(void)state;
	for (unsigned kind = 0; kind < PW_KINDS; kind++) {
		struct pw_record r = record(kind, "{\"notify\":true}");

		if (kind != PW_K_BOOT)
			pw_meaning(b, &r, NOW);
	}
	assert_nothing(b);
}

/* -- words ------------------------------------------------------------------------------------- */

/* The longest bus and the longest reason: what to do next is still said whole. */
static void test_longest_words(void **state)
{
	char why[1000];
	struct pw_matter m = { .came_ms = NOW };

	(void)state;
	memset(why, 'y', sizeof(why) - 1);
	why[sizeof(why) - 1] = '\0';
	memset(m.bus, 'B', sizeof(m.bus) - 1);
	for (m.kind = PW_MATTER_NONE + 1; m.kind < PW_MATTERS; m.kind++) {
		pw_matter_say(&m, m.kind == PW_MATTER_KEY ? "0123456789abcdef0123456789abcdef"
			      "0123456789abcdef0123456789abcdef" : why);
		if (m.words[strlen(m.words) - 1] != '.')
			fail_msg("%s: cut off: %s", pw_matter_title(m.kind), m.words);
		assert_null(strstr(m.words, "empty"));
		assert_non_null(strstr(m.words, m.bus));
		if (m.kind == PW_MATTER_KEY)
			assert_non_null(strstr(m.words, "89abcdef0123456789abcdef:"));
	}
}

static void test_words_are_one_line(void **state)
{
	char words[12];

	(void)state;
	pw_words_copy(words, sizeof(words), "a\r\nb\tc\x7f" "d");
	assert_string_equal(words, "a  b c d");
	pw_words_copy(words, sizeof(words), "1234567890\xc3\xa9");
	assert_string_equal(words, "1234567890");
	pw_words_copy(words, sizeof(words), "123456789\xc3\xa9");
	assert_string_equal(words, "123456789\xc3\xa9");
	pw_words_copy(words, sizeof(words), "\xff\xc3.\xe2\x82");
	assert_string_equal(words, "?" "?.?" "?");
	pw_words_copy(words, 1, "a");
	assert_string_equal(words, "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_sweep),
		cmocka_unit_test(test_missed_sweep),
		cmocka_unit_test(test_standings),
		cmocka_unit_test(test_since_by_the_office),
		cmocka_unit_test(test_matters),
		cmocka_unit_test(test_child_is_not_named),
		cmocka_unit_test(test_when_it_cannot_say),
		cmocka_unit_test(test_word_that_comes_late),
		cmocka_unit_test(test_clocks),
		cmocka_unit_test(test_clock_once_a_day),
		cmocka_unit_test(test_child_before_the_clock),
		cmocka_unit_test(test_other_shapes),
		cmocka_unit_test(test_other_kinds),
		cmocka_unit_test(test_longest_words),
		cmocka_unit_test(test_words_are_one_line),
	};
	char why[200];

	if (pw_hours_set("America/Chicago", why, sizeof(why)) < 0) {
		fprintf(stderr, "%s\n", why);
		return 1;
	}
	return cmocka_run_group_tests(tests, NULL, NULL);
}

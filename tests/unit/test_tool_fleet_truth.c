/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What really happened in a made-up district, against what its journals say. What is expected of
 * a stop stands in the scenes' own table and was worked out from docs/rules.md; what was recorded
 * comes of the real rules. The two meet only here.
 */
#include "fleet_help.h"

#include <glob.h>
#include <inttypes.h>
#include <time.h>

#include "tool/fleet_internal.h"

#define DAYS 21
#define BUSES 24

struct world {
	struct tool t;
	char dir[128];
	json_t *list;
};

/* -- a district -------------------------------------------------------------------------------- */

static void make(struct world *w, unsigned seed, const char *from)
{
	char number[16];

	snprintf(number, sizeof(number), "%u", seed);
	snprintf(w->dir, sizeof(w->dir), "%s/out", w->t.dir);
	if (FLEET(&w->t, "--buses", "24", "--days", "21", "--seed", number, "--from", from,
		  "--zone", "America/Chicago", "--list", "--out", w->dir))
		fail_msg("%s", w->t.err);
	w->list = fleet_lines(w->t.out);
}

static struct world *begin_with(unsigned seed, const char *from)
{
	struct world *w = calloc(1, sizeof(*w));

	assert_non_null(w);
	snprintf(w->t.dir, sizeof(w->t.dir), "/tmp/postwalk-fleet-XXXXXX");
	assert_non_null(mkdtemp(w->t.dir));
	make(w, seed, from);
	return w;
}

static int begin(void **state)
{
	*state = begin_with(7, "2026-10-05");
	return 0;
}

static int end(void **state)
{
	struct world *w = *state;
	char command[100];

	snprintf(command, sizeof(command), "rm -rf '%s'", w->t.dir);
	assert_int_equal(system(command), 0);
	json_decref(w->list);
	free(w);
	return 0;
}

static void read_export(const struct world *w, const char *bus, const char *more,
			struct fleet_export *x)
{
	char path[300];

	snprintf(path, sizeof(path), "%s/%s%s.jsonl", w->dir, bus, more);
	fleet_read(path, x);
}

static bool has_export(const struct world *w, const char *bus, const char *more)
{
	char path[300];

	snprintf(path, sizeof(path), "%s/%s%s.jsonl", w->dir, bus, more);
	return access(path, R_OK) == 0;
}

/* The scene's line. The first of them, where there are more. */
static const json_t *find_scene(const struct world *w, enum pw_scene scene)
{
	const json_t *one;
	size_t i;

	json_array_foreach(w->list, i, one)
		if (strcmp(json_word(one, "scene"), pw_scene_name(scene)) == 0
		    && json_object_get(one, "days"))
			return one;
	return NULL;
}

/* The bus that it befalls, and its journal. */
static const char *read_scene(const struct world *w, enum pw_scene scene, struct fleet_export *x)
{
	const json_t *one = find_scene(w, scene);
	const char *bus = one ? json_word(one, "bus") : "";

	if (!one)
		fail_msg("nobody plays %s", pw_scene_name(scene));
	read_export(w, bus, "", x);
	return bus;
}

/* -- sound ------------------------------------------------------------------------------------- */

static void each_journal_is_sound_and_forks_are_named(void **state)
{
	struct world *w = *state;
	char pattern[200];
	unsigned sound = 0, forks = 0;
	glob_t found;

	snprintf(pattern, sizeof(pattern), "%s/*.jsonl", w->dir);
	assert_int_equal(glob(pattern, 0, NULL, &found), 0);
	for (size_t i = 0; i < found.gl_pathc; i++) {
		if (RUN(&w->t, pw_verify, "verify", found.gl_pathv[i]))
			fail_msg("%s%s", w->t.out, w->t.err);
		sound += strstr(w->t.out, ": sound: ") != NULL;
		if (i == 0 || strncmp(found.gl_pathv[i], found.gl_pathv[i - 1],
				      strlen(w->dir) + strlen("/T-0001")))
			continue;
		forks += RUN(&w->t, pw_verify, "verify", found.gl_pathv[i - 1], found.gl_pathv[i])
				 == 1
			 && strstr(w->t.out, "two branches from seq ");
	}
	assert_int_equal(sound, found.gl_pathc);
	assert_int_equal(found.gl_pathc, BUSES + 3); /* put aside, before, clone */
	assert_int_equal(forks, 2);
	globfree(&found);
}

/* -- verdicts ---------------------------------------------------------------------------------- */

struct sweep { char verdict[16]; int64_t key_off_ms; };
struct sweeps { struct sweep *at; size_t count; };

static void add_sweeps(struct sweeps *s, const struct fleet_export *x)
{
	for (size_t i = 0; i < x->count; i++) {
		json_t *body;

		if (x->record[i].r.kind != PW_K_SWEEP)
			continue;
		s->at = reallocarray(s->at, s->count + 1, sizeof(*s->at));
		body = fleet_body(&x->record[i]);
		snprintf(s->at[s->count].verdict, sizeof(s->at[0].verdict), "%s",
			 json_word(body, "verdict"));
		s->at[s->count++].key_off_ms =
			json_integer_value(json_object_get(body, "key_off_wall_ms"));
		json_decref(body);
	}
}

static struct sweeps read_sweeps(const struct world *w, const char *bus, const char *more)
{
	struct sweeps s = { 0 };
	struct fleet_export x;

	if (more[0] == '\0' && has_export(w, bus, ".aside")) {
		read_export(w, bus, ".aside", &x);
		add_sweeps(&s, &x);
		fleet_free(&x);
	}
	read_export(w, bus, more, &x);
	add_sweeps(&s, &x);
	fleet_free(&x);
	return s;
}

/* A journal that was put back has lost what came after the copy, up to the morning of that. */
static bool is_lost(const struct world *w, const json_t *stop)
{
	const json_t *scene = find_scene(w, PW_SCENE_REWOUND);
	int32_t copied, at;

	if (!scene || strcmp(json_word(scene, "bus"), json_word(stop, "bus")) != 0)
		return false;
	assert_int_equal(pw_date_read(json_word(scene, "from"), &copied), 0);
	assert_int_equal(pw_date_read(json_word(stop, "date"), &at), 0);
	return at > copied
	       && at < copied + (int32_t)json_integer_value(json_object_get(scene, "days")) - 1;
}

struct count { unsigned stops, open, verdict[PW_MISSED + 1]; };

/* Does the clock of that bus tell another time at some stop? */
static bool clock_is_off(const json_t *stop)
{
	static const enum pw_scene off[] = { PW_SCENE_CLOCK_LOST, PW_SCENE_FUSE_PULLED };

	for (size_t i = 0; i < COUNT(off); i++)
		if (strcmp(json_word(stop, "scene"), pw_scene_name(off[i])) == 0)
			return true;
	return false;
}

static void compare(const json_t *stop, const struct sweep *got, bool clock, struct count *count)
{
	enum pw_verdict v = PW_DONE;

	if (strcmp(json_word(stop, "expected"), got->verdict) != 0)
		fail_msg("expected %s, not %s: %s", json_word(stop, "expected"), got->verdict,
			 json_dumps(stop, 0));
	if (clock && !clock_is_off(stop)
	    && got->key_off_ms != json_integer_value(json_object_get(stop, "t0_ms")))
		fail_msg("a stop at %" PRId64 ": %s", got->key_off_ms, json_dumps(stop, 0));
	while (v < PW_MISSED && strcmp(pw_verdict_name(v), got->verdict) != 0)
		v++;
	count->verdict[v]++;
	count->stops++;
}

static bool is_expected(const struct world *w, const json_t *stop, const char *bus,
			const char *copy)
{
	return json_object_get(stop, "stop") && strcmp(json_word(stop, "bus"), bus) == 0
	       && strcmp(json_word(stop, "copy"), copy) == 0
	       && json_is_string(json_object_get(stop, "expected")) && !is_lost(w, stop);
}

/* Stop by stop, in the order in which they came; those that are open have no record yet. */
static void judge_bus(const struct world *w, const char *bus, const char *copy, bool clock,
		      struct count *count)
{
	const bool clone = copy[0] != '\0';
	struct sweeps s = read_sweeps(w, bus, clone ? ".clone" : "");
	size_t i, at = 0;
	const json_t *one;

	if (clone) { /* what stands before the copy was made is the other vehicle's */
		struct sweeps own = read_sweeps(w, bus, "");

		while (at < s.count && at < own.count
		       && s.at[at].key_off_ms == own.at[at].key_off_ms)
			at++;
		free(own.at);
	}
	json_array_foreach(w->list, i, one) {
		if (!is_expected(w, one, bus, copy))
			continue;
		if (at < s.count)
			compare(one, &s.at[at++], clock, count);
		else if (json_is_true(json_object_get(one, "open")))
			count->open++;
		else
			fail_msg("no record of %s", json_dumps(one, 0));
	}
	if (at < s.count)
		fail_msg("%s: more sweeps than stops, from %" PRId64 " on", bus,
			 s.at[at].key_off_ms);
	free(s.at);
}

static bool has_clock_scene(const struct world *w, const char *bus)
{
	const json_t *one;
	size_t i;

	json_array_foreach(w->list, i, one)
		if (json_object_get(one, "days") && strcmp(json_word(one, "bus"), bus) == 0
		    && strncmp(json_word(one, "scene"), "clock_", 6) == 0)
			return true;
	return false;
}

static struct count judge(const struct world *w)
{
	struct count count = { 0 };
	const json_t *one;
	size_t i;

	json_array_foreach(w->list, i, one) {
		const char *bus = json_word(one, "bus");

		if (!json_object_get(one, "yard"))
			continue;
		judge_bus(w, bus, "", !has_clock_scene(w, bus), &count);
		if (has_export(w, bus, ".clone"))
			judge_bus(w, bus, "clone", true, &count);
	}
	print_message("%u stops: %u done, %u late, %u doubtful, %u missed; %u open\n", count.stops,
		      count.verdict[PW_DONE], count.verdict[PW_LATE], count.verdict[PW_DOUBTFUL],
		      count.verdict[PW_MISSED], count.open);
	return count;
}

static void verdicts_are_what_the_rules_let_expect(void **state)
{
	const struct count count = judge(*state);

	assert_in_range(count.stops, 700, 1400);
	assert_in_range(count.verdict[PW_DONE], count.stops * 9 / 10, count.stops * 99 / 100);
	assert_true(count.verdict[PW_LATE] >= 3 && count.verdict[PW_MISSED] >= 3);
	assert_true(count.verdict[PW_DOUBTFUL] >= 9);
}

/* Other districts, of another seed and another season each time. */
static void they_are_in_any_district(void **state)
{
	unsigned seed = (unsigned)time(NULL) % 1000000;
	char from[16];

	(void)state;
	if (getenv("SEED"))
		seed = (unsigned)atoi(getenv("SEED"));
	print_message("seed %u\n", seed);
	for (unsigned i = 0; i < 4; i++) {
		void *made;

		pw_date_print(20454 + (int32_t)((seed + 97 * i) % 365), from);
		made = begin_with(seed + i, from);
		judge(made);
		end(&made);
	}
}

/* -- what each scene leaves in the journal ----------------------------------------------------- */

/* The first record from seq on of that kind whose body has this; NULL: none. */
static const struct fleet_record *find(const struct fleet_export *x, uint64_t seq,
				       enum pw_kind kind, const char *part)
{
	for (size_t i = seq > 0 ? seq - 1 : 0; i < x->count; i++)
		if (x->record[i].r.kind == kind && strstr(x->record[i].r.body, part))
			return &x->record[i];
	return NULL;
}

static void each_kind_of_record_is_there(void **state)
{
	static const enum pw_kind kinds[] = {
		PW_K_BOOT,    PW_K_POLICY, PW_K_LEVEL, PW_K_EDGES,   PW_K_SWEEP, PW_K_RESTART,
		PW_K_EXCUSED, PW_K_RUNG,   PW_K_FAULT, PW_K_SERVICE, PW_K_CLOCK, PW_K_PROOF,
		PW_K_FOUND,   PW_K_PIN,    PW_K_EPOCH, PW_K_REPORT,
	};
	struct world *w = *state;
	bool there[PW_KINDS] = { false };
	char bus[PW_NAME_MAX];
	struct fleet_export x;

	for (unsigned i = 0; i < BUSES; i++) {
		snprintf(bus, sizeof(bus), "T-%04u", i + 1);
		read_export(w, bus, "", &x);
		for (size_t k = 0; k < x.count; k++)
			there[x.record[k].r.kind] = true;
		fleet_free(&x);
	}
	for (size_t i = 0; i < COUNT(kinds); i++)
		if (!there[kinds[i]])
			fail_msg("no %s", pw_kind_name(kinds[i]));
}

/* What a scene is known by: two records, the one behind the other. */
static void each_scene_leaves_its_traces(void **state)
{
	static const struct {
		enum pw_scene scene;
		enum pw_kind kind;
		const char *part;
		enum pw_kind then;
		const char *also; /* NULL: no more is looked for */
	} traces[] = {
		{ PW_SCENE_HURRIED, PW_K_SWEEP, "\"why\":\"too_soon\"", 0, NULL },
		{ PW_SCENE_SHORT_RETURN, PW_K_SWEEP, "[\"return_short\"]", 0, NULL },
		{ PW_SCENE_SAT_ON, PW_K_SWEEP, "[\"exit_unseen\"]", 0, NULL },
		{ PW_SCENE_DOOR_OPEN, PW_K_SWEEP, "[\"door_left_open\"]", 0, NULL },
		{ PW_SCENE_CALLED_BACK, PW_K_RUNG, "\"cabin\"", PW_K_SWEEP,
		  "\"verdict\":\"late\"" },
		{ PW_SCENE_NEVER_WALKED, PW_K_RUNG, "\"notify\":true", PW_K_SWEEP, "alarm_spent" },
		{ PW_SCENE_DROVE_OFF, PW_K_SWEEP, "\"driven_off\"", PW_K_SWEEP, "\"carried\"" },
		{ PW_SCENE_REAR_DOOR, PW_K_SWEEP, "\"why\":\"rear_open\"", 0, NULL },
		{ PW_SCENE_KEY_TURNED, PW_K_RESTART, "key_off_ms", PW_K_SWEEP, "\"done\"" },
		{ PW_SCENE_STALLED, PW_K_RESTART, "key_off_ms", PW_K_SWEEP, "\"done\"" },
		{ PW_SCENE_MOVED, PW_K_EXCUSED, "at_ms", 0, NULL },
		{ PW_SCENE_SWITCHED_OFF, PW_K_BOOT, "\"power\"", PW_K_SWEEP, "\"powered_down\"" },
		{ PW_SCENE_CUT_SHORT, PW_K_BOOT, "\"power\"", PW_K_SWEEP, "\"power_lost\"" },
		{ PW_SCENE_FUSE_PULLED, PW_K_BOOT, "\"power\"", PW_K_SWEEP, "\"power_lost\"" },
		{ PW_SCENE_LEFT_RUNNING, PW_K_SWEEP, "\"left_running\"", 0, NULL },
		{ PW_SCENE_CLOCK_LOST, PW_K_BOOT, "\"clock\":\"lost\"", PW_K_SWEEP,
		  "clock_unsure" },
		{ PW_SCENE_TAPED, PW_K_FAULT, "button_held", PW_K_SWEEP, "button_held" },
		{ PW_SCENE_MUTED, PW_K_SERVICE, "true", PW_K_SWEEP, "\"muted\"" },
		{ PW_SCENE_MUTED, PW_K_PIN, "mechanic", PW_K_SERVICE, "false" },
		{ PW_SCENE_CHILD, PW_K_FOUND, "\"child\"", PW_K_SWEEP, "\"done\"" },
		{ PW_SCENE_DEAD_SOUNDER, PW_K_FAULT, "silent_beeper\",\"on\":true", PW_K_FAULT,
		  "silent_beeper\",\"on\":false" },
		{ PW_SCENE_STUCK_DOOR, PW_K_SWEEP, "door_left_open", 0, NULL },
		{ PW_SCENE_CONTACTS, PW_K_FAULT, "button_contacts\",\"on\":true", PW_K_SWEEP,
		  "button_contacts" },
		{ PW_SCENE_CLOCK_1970, PW_K_BOOT, "\"clock\":\"lost\"", PW_K_CLOCK, "before_ms" },
		{ PW_SCENE_CLOCK_2099, PW_K_CLOCK, "\"after_ms\":40", PW_K_CLOCK,
		  "\"before_ms\":40" },
		{ PW_SCENE_CLOCK_STEP, PW_K_CLOCK, "before_ms", PW_K_CLOCK, "after_ms" },
		{ PW_SCENE_RESTARTED, PW_K_BOOT, "\"orderly\"", 0, NULL },
		{ PW_SCENE_CRASHED, PW_K_BOOT, "\"process\"", 0, NULL },
		{ PW_SCENE_UNWATCHED, PW_K_BOOT, "\"power\"", 0, NULL },
	};
	struct world *w = *state;
	struct fleet_export x;

	for (size_t i = 0; i < COUNT(traces); i++) {
		const char *bus = read_scene(w, traces[i].scene, &x);
		const struct fleet_record *r = find(&x, 1, traces[i].kind, traces[i].part);

		if (r && traces[i].also)
			r = find(&x, r->r.seq + 1, traces[i].then, traces[i].also);
		if (!r)
			fail_msg("%s: no trace of %s", bus, pw_scene_name(traces[i].scene));
		fleet_free(&x);
	}
}

/* J4: an alert is sealed by itself; what closes, or takes back, a sweep within its batch. */
static void seals_stand_where_J4_wants_them(void **state)
{
	struct world *w = *state;
	unsigned alerts = 0;
	char bus[PW_NAME_MAX];
	struct fleet_export x;

	for (unsigned i = 0; i < BUSES; i++) {
		snprintf(bus, sizeof(bus), "T-%04u", i + 1);
		read_export(w, bus, "", &x);
		for (size_t k = 0; k < x.count; k++) {
			const struct pw_record *r = &x.record[k].r;
			size_t last = k;

			if ((r->kind == PW_K_RUNG && strstr(r->body, "\"notify\":true"))
			    || (r->kind == PW_K_FOUND && strstr(r->body, "\"child\""))) {
				assert_true(x.record[k].sealed);
				alerts++;
			}
			if (r->kind != PW_K_SWEEP && r->kind != PW_K_RESTART
			    && r->kind != PW_K_EXCUSED)
				continue;
			while (last + 1 < x.count && !x.record[last].sealed)
				last++;
			if (x.record[last].r.mono_ms - r->mono_ms > 1)
				fail_msg("%s: seq %" PRIu64 " is not sealed with its batch", bus,
					 r->seq);
		}
		fleet_free(&x);
	}
	assert_true(alerts >= 4);
}

/* J6: the new journal says which one was before it, and where that ended. */
static void what_was_put_aside_is_named(void **state)
{
	struct world *w = *state;
	struct fleet_export new, old;
	const char *bus = read_scene(w, PW_SCENE_ASIDE, &new);
	json_t *body, *before;

	read_export(w, bus, ".aside", &old);
	assert_int_equal(new.record[0].r.kind, PW_K_EPOCH);
	assert_int_equal(new.record[1].r.kind, PW_K_POLICY);
	assert_int_equal(new.record[2].r.kind, PW_K_BOOT);
	assert_true(!new.record[0].sealed && new.record[1].sealed);
	body = fleet_body(&new.record[0]);
	before = json_object_get(body, "before");
	assert_string_equal(json_word(before, "epoch"), old.record[0].r.epoch);
	assert_string_not_equal(new.record[0].r.epoch, old.record[0].r.epoch);
	/* what was not sealed yet is not in its export */
	assert_true(json_integer_value(json_object_get(before, "seq")) >= (json_int_t)old.count);
	assert_true(json_is_null(json_object_get(body, "receipt")));
	json_decref(body);
	fleet_free(&new);
	fleet_free(&old);
}

/* The two journals of a fork are the same up to the evening of the copy, and then part. */
static void assert_parts(const struct world *w, enum pw_scene scene, const char *more)
{
	struct fleet_export own, other;
	const char *bus = read_scene(w, scene, &own);
	size_t same = 0;

	read_export(w, bus, more, &other);
	while (same < own.count && same < other.count
	       && strcmp(own.record[same].r.hash, other.record[same].r.hash) == 0)
		same++;
	assert_true(same > 50 && same < own.count && same < other.count);
	assert_string_equal(own.record[0].r.epoch, other.record[0].r.epoch);
	assert_int_equal(own.record[same].r.kind, scene == PW_SCENE_REWOUND ? PW_K_BOOT
						  : own.record[same].r.kind);
	assert_int_equal(own.record[same].r.seq, other.record[same].r.seq);
	fleet_free(&own);
	fleet_free(&other);
}

static void forks_part_at_the_copy(void **state)
{
	assert_parts(*state, PW_SCENE_REWOUND, ".before");
	assert_parts(*state, PW_SCENE_CLONED, ".clone");
}

/* A bus whose fuse is out all day drives its runs, and nobody would know but for the run sheet. */
static void an_unwatched_day_has_runs_and_no_record(void **state)
{
	struct world *w = *state;
	const json_t *scene = find_scene(w, PW_SCENE_UNWATCHED), *one;
	unsigned stops = 0;
	size_t i;

	assert_non_null(scene);
	json_array_foreach(w->list, i, one) {
		if (strcmp(json_word(one, "scene"), "unwatched") != 0
		    || !json_object_get(one, "stop"))
			continue;
		assert_string_equal(json_word(one, "stop"), "run");
		assert_true(json_is_null(json_object_get(one, "expected")));
		stops += strcmp(json_word(one, "bus"), json_word(scene, "bus")) == 0;
	}
	assert_in_range(stops, 2, 4);
}

/* -- the same again ---------------------------------------------------------------------------- */

/* Byte for byte, every file of it. */
static void the_same_call_makes_the_same_district(void **state)
{
	struct world *w = *state;
	char command[400];
	void *made = NULL;

	begin(&made);
	snprintf(command, sizeof(command), "diff -r '%s' '%s'", w->dir,
		 ((struct world *)made)->dir);
	assert_int_equal(system(command), 0);
	assert_true(json_equal(w->list, ((struct world *)made)->list));
	end(&made);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_journal_is_sound_and_forks_are_named),
		cmocka_unit_test(verdicts_are_what_the_rules_let_expect),
		cmocka_unit_test(they_are_in_any_district),
		cmocka_unit_test(each_kind_of_record_is_there),
		cmocka_unit_test(each_scene_leaves_its_traces),
		cmocka_unit_test(seals_stand_where_J4_wants_them),
		cmocka_unit_test(what_was_put_aside_is_named),
		cmocka_unit_test(forks_part_at_the_copy),
		cmocka_unit_test(an_unwatched_day_has_runs_and_no_record),
		cmocka_unit_test(the_same_call_makes_the_same_district),
	};

	return cmocka_run_group_tests(tests, begin, end);
}

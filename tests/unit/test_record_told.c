/* SPDX-License-Identifier: Apache-2.0 */
/* What wires and people tell (J8): proof, found, report, setup, pin as bodies, and read back. */
#include "record_help.h"

#define WALL INT64_C(1790000100000)
#define NOTE(kind_) .version = PW_NOTE_VERSION, .kind = PW_K_##kind_, .mono_ms = 100000, \
	.wall_ms = WALL, .wall_ok = 1
#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

static const char *body_of(const struct pw_note *n)
{
	static char body[PW_BODY_MAX + 1];
	int length = pw_text_body(n, body, sizeof(body));

	if (length < 0)
		fail_msg("kind %s has no body", pw_kind_name(n->kind));
	assert_int_equal(length, strlen(body));
	return body;
}

/* It says this; and read back, and written again, the same. */
static void assert_body(const struct pw_note *n, const char *expected)
{
	struct pw_note back;

	assert_string_equal(body_of(n), expected);
	assert_int_equal(pw_text_told(n->kind, expected, n->wall_ms, &back), 0);
	assert_int_equal(back.kind, n->kind);
	assert_int_equal(back.wall_ms, n->wall_ms);
	assert_string_equal(body_of(&back), expected);
}

static const struct pw_note a_proof = { NOTE(PROOF), .of.proof = { "rear_door", PW_MOVED } };

static const struct pw_note a_find = { NOTE(FOUND), .of.found = { .what = PW_FOUND_DAMAGE,
	.part = PW_PART_TIRES, .id = 7, .t0_ms = 90000, .who = "d-12", .words = "left rear, flat" } };

static const struct pw_note a_report = { NOTE(REPORT), .of.report = { .act = PW_REPORT_REPAIRED,
	.id = 7, .defects = 2, .who = "m-3", .words = "new tire" } };

static const struct pw_note a_pin = { NOTE(PIN), .of.pin = { .role = PW_INSTALLER, .accepted = 0,
	.tries = 3, .why = "wrong" } };

static struct pw_note a_setup(void)
{
	struct pw_note n = { NOTE(SETUP), .of.setup = { .who = "i-1", .policy = "ab",
		.begun_ms = 60000, .wiring = { .steps = 3, .at = 3 } } };
	struct pw_wiring_step *s = n.of.setup.wiring.step;

	s[0] = (struct pw_wiring_step){ .line = PW_IGNITION, .level = 1, .result = PW_WIRING_RIGHT,
					.edges = 1, .shortest_ms = -1 };
	s[1] = (struct pw_wiring_step){ .line = PW_REAR_BUTTON, .level = 1,
					.result = PW_WIRING_SWAPPED, .other = PW_SERVICE_DOOR,
					.other_edges = 3, .chatter = 2, .shortest_ms = 4 };
	s[2] = (struct pw_wiring_step){ .line = PW_REAR_DOOR, .level = 0,
					.result = PW_WIRING_CROSSTALK, .other = PW_EXTRA + 7,
					.edges = 65535, .other_edges = 65535, .chatter = 65535 };
	return n;
}

/* -- J8: what they say, letter by letter -------------------------------------------------------- */

static void bodies(void **state)
{
	struct pw_note n = a_find;
	const struct pw_note s = a_setup();

	(void)state;
	assert_body(&a_proof, "{\"line\":\"rear_door\",\"how\":\"moved\"}");
	assert_body(&a_find, "{\"what\":\"damage\",\"part\":\"tires\",\"id\":7,\"t0_ms\":90000,"
			     "\"who\":\"d-12\",\"words\":\"left rear, flat\",\"rung\":\"\"}");
	n.of.found.what = PW_FOUND_CHILD;
	n.of.found.part = PW_PART_NONE;
	n.of.found.id = 0;
	n.of.found.t0_ms = PW_NO_TIME;
	n.of.found.who[0] = n.of.found.words[0] = '\0';
	strcpy(n.of.found.rung, "office");
	assert_body(&n, "{\"what\":\"child\",\"part\":\"none\",\"id\":0,\"t0_ms\":null,\"who\":\"\","
			"\"words\":\"\",\"rung\":\"office\"}");
	assert_body(&a_report, "{\"act\":\"repaired\",\"id\":7,\"defects\":2,\"who\":\"m-3\","
			       "\"words\":\"new tire\"}");
	assert_body(&a_pin, "{\"role\":\"installer\",\"accepted\":false,\"tries\":3,\"why\":\"wrong\"}");
	assert_body(&s, "{\"who\":\"i-1\",\"policy\":\"ab\",\"begun_ms\":60000,\"steps\":["
			"{\"line\":\"ignition\",\"level\":1,\"result\":\"right\",\"other\":null,"
			"\"edges\":1,\"other_edges\":0,\"chatter\":0,\"shortest_ms\":null},"
			"{\"line\":\"rear_button\",\"level\":1,\"result\":\"swapped\","
			"\"other\":\"service_door\",\"edges\":0,\"other_edges\":3,\"chatter\":2,"
			"\"shortest_ms\":4},"
			"{\"line\":\"rear_door\",\"level\":0,\"result\":\"crosstalk\","
			"\"other\":\"extra_8\",\"edges\":65535,\"other_edges\":65535,"
			"\"chatter\":65535,\"shortest_ms\":0}]}");
}

/* Every value of every word: there, its own, and back. */
static void every_word(void **state)
{
	struct pw_note n, back;

	(void)state;
	n = a_proof;
	for (n.of.proof.how = PW_MOVED; n.of.proof.how < PW_PROOF_HOWS; n.of.proof.how++) {
		assert_int_equal(pw_text_told(PW_K_PROOF, body_of(&n), WALL, &back), 0);
		assert_int_equal(back.of.proof.how, n.of.proof.how);
	}
	n = a_find;
	for (n.of.found.what = PW_FOUND_NOTHING; n.of.found.what < PW_FOUND_WHATS; n.of.found.what++)
		for (n.of.found.part = 0; n.of.found.part < PW_PARTS; n.of.found.part++) {
			n.of.found.id = pw_is_defect(n.of.found.what) ? 9 : 0;
			assert_int_equal(pw_text_told(PW_K_FOUND, body_of(&n), WALL, &back), 0);
			assert_int_equal(back.of.found.what, n.of.found.what);
			assert_int_equal(back.of.found.part, n.of.found.part);
			assert_int_equal(pw_found_find(pw_found_name(n.of.found.what)),
					 n.of.found.what);
			assert_int_equal(pw_part_find(pw_part_name(n.of.found.part)), n.of.found.part);
		}
	n = a_report;
	for (n.of.report.act = PW_REPORT_SIGNED; n.of.report.act < PW_REPORT_ACTS; n.of.report.act++) {
		n.of.report.id = n.of.report.act >= PW_REPORT_REPAIRED;
		assert_int_equal(pw_text_told(PW_K_REPORT, body_of(&n), WALL, &back), 0);
		assert_int_equal(back.of.report.act, n.of.report.act);
	}
	n = a_pin;
	for (n.of.pin.role = PW_NOBODY; n.of.pin.role < PW_ROLES; n.of.pin.role++) {
		assert_int_equal(pw_text_told(PW_K_PIN, body_of(&n), WALL, &back), 0);
		assert_int_equal(back.of.pin.role, n.of.pin.role);
	}
	assert_int_equal(pw_found_find("none"), PW_FOUND_NONE);
	assert_int_equal(pw_found_find(NULL), PW_FOUND_NONE);
	assert_int_equal(pw_part_find("none"), PW_PART_NONE);
	assert_int_equal(pw_part_find(NULL), PW_PART_NONE);
}

static void every_step(void **state)
{
	struct pw_note n = a_setup(), back;
	struct pw_wiring_step *s = &n.of.setup.wiring.step[0];
	char word[64];

	(void)state;
	n.of.setup.wiring.steps = 1;
	for (s->line = 0; s->line < PW_LINES; s->line++)
		for (s->result = PW_WIRING_OPEN; s->result < PW_WIRING_RESULTS; s->result++) {
			const bool other = s->result == PW_WIRING_SWAPPED
					   || s->result == PW_WIRING_SHORTED
					   || s->result == PW_WIRING_CROSSTALK;

			s->other = other ? (uint8_t)(PW_LINES - 1 - s->line) : 0;
			snprintf(word, sizeof(word), "\"result\":\"%s\"", pw_wiring_name(s->result));
			assert_non_null(strstr(body_of(&n), word)); /* as the page has it */
			assert_int_equal(pw_text_told(PW_K_SETUP, body_of(&n), WALL, &back), 0);
			assert_int_equal(back.of.setup.wiring.steps, 1);
			assert_int_equal(back.of.setup.wiring.step[0].line, s->line);
			assert_int_equal(back.of.setup.wiring.step[0].other, s->other);
			assert_int_equal(back.of.setup.wiring.step[0].result, s->result);
			assert_int_equal(back.of.setup.wiring.step[0].shortest_ms, s->shortest_ms);
		}
}

/* -- limits --------------------------------------------------------------------------------------- */

/* Texts up to their closing zero; numbers up to their types' end; as many steps as there may be. */
static void the_longest(void **state)
{
	struct pw_note n = a_find, back;

	(void)state;
	n.of.found.id = UINT32_MAX;
	n.of.found.t0_ms = -PW_MOMENT_MAX;
	memset(n.of.found.who, 'a', PW_CODE_MAX - 1);
	memset(n.of.found.words, '"', PW_SAID_MAX - 1); /* twice as long in JSON */
	memset(n.of.found.rung, 'r', PW_NAME_MAX - 1);
	assert_int_equal(pw_text_told(PW_K_FOUND, body_of(&n), WALL, &back), 0);
	assert_memory_equal(&back.of.found, &n.of.found, sizeof(n.of.found));

	n = a_report;
	n.of.report.id = n.of.report.defects = UINT32_MAX;
	memset(n.of.report.words, '\\', PW_SAID_MAX - 1);
	assert_int_equal(pw_text_told(PW_K_REPORT, body_of(&n), WALL, &back), 0);
	assert_memory_equal(&back.of.report, &n.of.report, sizeof(n.of.report));

	n = a_setup();
	memset(n.of.setup.policy, 'f', 64);
	n.of.setup.wiring.steps = PW_WIRING_STEPS;
	for (unsigned i = 0; i < PW_WIRING_STEPS; i++)
		n.of.setup.wiring.step[i] = (struct pw_wiring_step){
			.line = PW_REAR_BUTTON_NC, .level = 1, .result = PW_WIRING_CROSSTALK,
			.other = PW_REAR_BUTTON_NC, .edges = UINT16_MAX, .other_edges = UINT16_MAX,
			.chatter = UINT16_MAX, .shortest_ms = PW_MOMENT_MAX };
	assert_int_equal(pw_text_told(PW_K_SETUP, body_of(&n), WALL, &back), 0);
	assert_int_equal(back.of.setup.wiring.steps, PW_WIRING_STEPS);
	assert_memory_equal(back.of.setup.wiring.step, n.of.setup.wiring.step,
			    sizeof(n.of.setup.wiring.step));
}

/* A text without its closing zero is cut where that belongs. */
static void a_text_without_an_end(void **state)
{
	struct pw_note n = a_find, back;

	(void)state;
	memset(n.of.found.words, 'w', sizeof(n.of.found.words));
	memset(n.of.found.who, 'w', sizeof(n.of.found.who));
	assert_int_equal(pw_text_told(PW_K_FOUND, body_of(&n), WALL, &back), 0);
	assert_int_equal(strlen(back.of.found.words), PW_SAID_MAX - 1);
	assert_int_equal(strlen(back.of.found.who), PW_CODE_MAX - 1);
}

/* RFC 3629: the record is kept whatever stands there, as JSON that jansson reads; and what nobody
 * could have sent is not taken for somebody's words. */
static void not_utf8(void **state)
{
	struct pw_note n = a_find, back;
	json_t *read;

	(void)state;
	strcpy(n.of.found.words, "T\xc3\xbcr \xe2\x82\xac \xf0\x9f\x9a\x8c");
	assert_int_equal(pw_text_told(PW_K_FOUND, body_of(&n), WALL, &back), 0);
	assert_string_equal(back.of.found.words, n.of.found.words);
	strcpy(n.of.found.words, "a\xff\xc0z\x01");
	read = json_loads(body_of(&n), JSON_REJECT_DUPLICATES, NULL);
	assert_string_equal(json_string_value(json_object_get(read, "words")),
			    "a\xef\xbf\xbd\xef\xbf\xbdz\x01");
	json_decref(read);
	assert_int_equal(pw_text_told(PW_K_FOUND, body_of(&n), WALL, &back), -1);
}

/* An index of the journal finds defects by what stands in the body; nobody's words can look so. */
static void words_that_look_like_a_key(void **state)
{
	struct pw_note n = a_find;

	(void)state;
	strcpy(n.of.found.words, "\"id\":0,");
	assert_null(strstr(body_of(&n), "\"id\":0,"));
	n.of.found.what = PW_FOUND_NOTHING;
	n.of.found.id = 0;
	assert_non_null(strstr(body_of(&n), "\"id\":0,"));
}

/* -- what is none -------------------------------------------------------------------------------- */

static void notes_that_mean_nothing(void **state)
{
	struct pw_note bad[] = {
		a_proof, a_proof, a_proof, a_find, a_find, a_find, a_find, a_find, a_report, a_report,
		a_report, a_report, a_pin, a_pin, a_setup(), a_setup(), a_setup(), a_setup(), a_setup(),
		a_setup(), a_setup(),
	};
	unsigned i = 0;

	(void)state;
	bad[i++].of.proof.line[0] = '\0';
	bad[i++].of.proof.how = 0;
	bad[i++].of.proof.how = PW_PROOF_HOWS;
	bad[i++].of.found.what = PW_FOUND_NONE;
	bad[i++].of.found.what = PW_FOUND_WHATS;
	bad[i++].of.found.part = PW_PARTS;
	bad[i++].of.found.id = 0;                  /* a defect without a number */
	bad[i++].of.found.what = PW_FOUND_ARTICLE; /* none with one */
	bad[i++].of.report.act = 0;
	bad[i++].of.report.act = PW_REPORT_ACTS;
	bad[i++].of.report.id = 0;
	bad[i++].of.report.act = PW_REPORT_SIGNED;
	bad[i++].of.pin.role = 0;
	bad[i++].of.pin.role = PW_ROLES;
	bad[i++].of.setup.wiring.steps = 0;
	bad[i++].of.setup.wiring.steps = PW_WIRING_STEPS + 1;
	bad[i++].of.setup.wiring.step[2].line = PW_LINES;
	bad[i++].of.setup.wiring.step[2].level = 2;
	bad[i++].of.setup.wiring.step[2].result = 0;
	bad[i++].of.setup.wiring.step[2].result = PW_WIRING_RESULTS;
	bad[i++].of.setup.wiring.step[2].other = PW_LINES;
	assert_int_equal(i, COUNT(bad));
	for (i = 0; i < COUNT(bad); i++) {
		char body[PW_BODY_MAX + 1];

		if (pw_note_size(&bad[i]) != 0 || pw_text_body(&bad[i], body, sizeof(body)) != -1)
			fail_msg("case %u is taken", i);
	}
}

static const struct {
	int line;
	enum pw_kind kind;
	const char *what, *by;
} spoilt[] = {
	{ __LINE__, PW_K_PROOF, "\"moved\"", "\"Moved\"" },
	{ __LINE__, PW_K_PROOF, "\"moved\"", "1" },
	{ __LINE__, PW_K_PROOF, "\"moved\"", "\"none\"" },
	{ __LINE__, PW_K_PROOF, "\"rear_door\"", "\"\"" },
	{ __LINE__, PW_K_PROOF, "\"rear_door\"", "\"a name that is longer than any may be\"" },
	{ __LINE__, PW_K_PROOF, "\"rear_door\"", "null" },
	{ __LINE__, PW_K_PROOF, "\"how\"", "\"by\"" },
	{ __LINE__, PW_K_PROOF, "{", "{\"more\":1," },
	{ __LINE__, PW_K_PROOF, "{", "{\"line\":\"horn\"," },
	{ __LINE__, PW_K_FOUND, "\"damage\"", "\"none\"" },
	{ __LINE__, PW_K_FOUND, "\"damage\"", "\"child\"" },
	{ __LINE__, PW_K_FOUND, "\"tires\"", "\"tyres\"" },
	{ __LINE__, PW_K_FOUND, "\"id\":7", "\"id\":0" },
	{ __LINE__, PW_K_FOUND, "\"id\":7", "\"id\":-1" },
	{ __LINE__, PW_K_FOUND, "\"id\":7", "\"id\":4294967296" },
	{ __LINE__, PW_K_FOUND, "\"id\":7", "\"id\":7.0" },
	{ __LINE__, PW_K_FOUND, "\"id\":7", "\"id\":\"7\"" },
	{ __LINE__, PW_K_FOUND, "90000", "\"never\"" },
	{ __LINE__, PW_K_FOUND, "90000", "9223372036854775807" },
	{ __LINE__, PW_K_FOUND, "\"d-12\"", "\"d 12\"" },
	{ __LINE__, PW_K_FOUND, "\"d-12\"", "\"a-code-of-sixteen\"" },
	{ __LINE__, PW_K_FOUND, "\"left rear, flat\"", "\"left\\u0000rear\"" },
	{ __LINE__, PW_K_FOUND, "\"left rear, flat\"", "\"left\\nrear\"" },
	{ __LINE__, PW_K_FOUND, "\"left rear, flat\"", "\"left\\u009brear\"" },
	{ __LINE__, PW_K_REPORT, "\"repaired\"", "\"signed\"" },
	{ __LINE__, PW_K_REPORT, "\"repaired\"", "\"none\"" },
	{ __LINE__, PW_K_REPORT, "\"id\":7", "\"id\":0" },
	{ __LINE__, PW_K_REPORT, "\"defects\":2", "\"defects\":null" },
	{ __LINE__, PW_K_PIN, "\"installer\"", "\"driver\"" },
	{ __LINE__, PW_K_PIN, "false", "0" },
	{ __LINE__, PW_K_PIN, "\"tries\":3", "\"tries\":-3" },
	{ __LINE__, PW_K_PIN, "\"wrong\"", "\"a word that is longer than there is room for\"" },
	{ __LINE__, PW_K_SETUP, "\"steps\":[", "\"steps\":[null," },
	{ __LINE__, PW_K_SETUP, "\"steps\":[", "\"steps\":[{}," },
	{ __LINE__, PW_K_SETUP, "\"steps\":[", "\"steps\":{},\"was\":[" },
	{ __LINE__, PW_K_SETUP, "\"ignition\"", "\"steering\"" },
	{ __LINE__, PW_K_SETUP, "\"level\":1", "\"level\":2" },
	{ __LINE__, PW_K_SETUP, "\"right\"", "\"left\"" },
	{ __LINE__, PW_K_SETUP, "\"right\"", "\"shorted\"" }, /* with whom? */
	{ __LINE__, PW_K_SETUP, "\"swapped\"", "\"right\"" },
	{ __LINE__, PW_K_SETUP, "\"edges\":65535", "\"edges\":65536" },
	{ __LINE__, PW_K_SETUP, "\"chatter\":2", "\"chatter\":-2" },
	{ __LINE__, PW_K_SETUP, "\"shortest_ms\":4", "\"shortest_ms\":-4" },
	{ __LINE__, PW_K_SETUP, "\"shortest_ms\":4", "\"shortest_ms\":4,\"more\":1" },
	{ __LINE__, PW_K_SETUP, "\"begun_ms\":60000", "\"begun_ms\":\"never\"" },
};

static const char *sound(enum pw_kind kind)
{
	const struct pw_note s = a_setup();

	return body_of(kind == PW_K_PROOF ? &a_proof : kind == PW_K_FOUND ? &a_find
		       : kind == PW_K_REPORT ? &a_report : kind == PW_K_PIN ? &a_pin : &s);
}

static void bodies_that_are_none(void **state)
{
	static const enum pw_kind kinds[] = { PW_K_PROOF, PW_K_FOUND, PW_K_REPORT, PW_K_SETUP, PW_K_PIN };
	char bad[PW_BODY_MAX + 128];
	struct pw_note n;

	(void)state;
	for (size_t i = 0; i < COUNT(spoilt); i++) {
		const char *body = sound(spoilt[i].kind), *at = strstr(body, spoilt[i].what);

		if (at == NULL)
			fail_msg("line %d: %s is not in %s", spoilt[i].line, spoilt[i].what, body);
		snprintf(bad, sizeof(bad), "%.*s%s%s", (int)(at - body), body, spoilt[i].by,
			 at + strlen(spoilt[i].what));
		if (pw_text_told(spoilt[i].kind, bad, WALL, &n) != -1)
			fail_msg("line %d: taken: %s", spoilt[i].line, bad);
	}
	for (size_t k = 0; k < COUNT(kinds); k++) {
		const char *body = sound(kinds[k]);

		for (size_t cut = 0; cut < strlen(body); cut++) {
			memcpy(bad, body, cut);
			bad[cut] = '\0';
			assert_int_equal(pw_text_told(kinds[k], bad, WALL, &n), -1);
		}
		assert_int_equal(pw_text_told(kinds[k], "[]", WALL, &n), -1);
	}
	assert_int_equal(pw_text_told(PW_K_RUNG, "{\"name\":\"a\",\"at_ms\":1}", WALL, &n), -1);
	assert_int_equal(pw_text_told(PW_KINDS, "{}", WALL, &n), -1);
}

static void too_many_steps(void **state)
{
	struct pw_note n = a_setup();
	char bad[PW_BODY_MAX + 512], *at;

	(void)state;
	n.of.setup.wiring.steps = PW_WIRING_STEPS;
	for (unsigned i = 0; i < PW_WIRING_STEPS; i++)
		n.of.setup.wiring.step[i] = n.of.setup.wiring.step[0];
	strcpy(bad, body_of(&n));
	assert_int_equal(pw_text_told(PW_K_SETUP, bad, WALL, &n), 0);
	at = strstr(bad, "]}");
	strcpy(at, ",{\"line\":\"ignition\",\"level\":1,\"result\":\"right\",\"other\":null,\"edges\":1,"
		   "\"other_edges\":0,\"chatter\":0,\"shortest_ms\":null}]}");
	assert_int_equal(pw_text_told(PW_K_SETUP, bad, WALL, &n), -1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(bodies),
		cmocka_unit_test(every_word),
		cmocka_unit_test(every_step),
		cmocka_unit_test(the_longest),
		cmocka_unit_test(a_text_without_an_end),
		cmocka_unit_test(not_utf8),
		cmocka_unit_test(words_that_look_like_a_key),
		cmocka_unit_test(notes_that_mean_nothing),
		cmocka_unit_test(bodies_that_are_none),
		cmocka_unit_test(too_many_steps),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Bodies (J8): what they say letter by letter, what jansson reads in them, sweeps read back. */
#include "record_help.h"

#define NOTE(kind_) .version = PW_NOTE_VERSION, .kind = PW_K_##kind_, .mono_ms = 100000, \
	.wall_ms = 1790000100000, .wall_ok = 1

static void assert_body(const struct pw_note *n, const char *expected)
{
	char body[PW_BODY_MAX + 1];
	int length = pw_text_body(n, body, sizeof(body));

	assert_string_equal(length < 0 ? "-1" : body, expected);
	assert_int_equal(length, strlen(expected));
}

static void a_boot(void **state)
{
	struct pw_note n = { NOTE(BOOT), .of.boot = { .cut_ms = PW_NO_TIME,
		.old_cut_ms = PW_NO_TIME, .clock = PW_CLOCK_FIRST, .reset = PW_RESET_FIRST, .version = "0.1",
		.policy = "ab" } };

	(void)state;
	assert_body(&n, "{\"version\":\"0.1\",\"reset\":\"first\",\"policy\":\"ab\",\"clock\":\"first\",\"cut_ms\":null,"
			"\"old_cut_ms\":null,\"dropped\":0}");
	n.of.boot.clock = PW_CLOCK_VOUCHED;
	n.of.boot.reset = PW_RESET_POWER;
	n.of.boot.cut_ms = -4000;
	n.of.boot.old_cut_ms = 812000;
	n.of.boot.dropped = 3;
	assert_body(&n, "{\"version\":\"0.1\",\"reset\":\"power\",\"policy\":\"ab\",\"clock\":\"vouched\",\"cut_ms\":-4000,"
			"\"old_cut_ms\":812000,\"dropped\":3}");
	n.of.boot.clock = PW_CLOCK_SAME_BOOT;
	n.of.boot.reset = PW_RESET_PROCESS;
	assert_body(&n, "{\"version\":\"0.1\",\"reset\":\"process\",\"policy\":\"ab\",\"clock\":\"same_boot\",\"cut_ms\":-4000,"
			"\"old_cut_ms\":812000,\"dropped\":3}");
	n.of.boot.clock = PW_CLOCK_LOST;
	n.of.boot.reset = PW_RESET_WATCHDOG;
	memset(n.of.boot.version, '9', sizeof(n.of.boot.version));
	assert_body(&n, "{\"version\":\"99999999999999999999999999999999\",\"reset\":\"watchdog\",\"policy\":\"ab\",\"clock\":\"lost\","
			"\"cut_ms\":-4000,\"old_cut_ms\":812000,\"dropped\":3}");
}

/* The hash is the file's: by sha256sum (GNU coreutils). */
static void a_policy(void **state)
{
	struct folder *f = *state;
	struct pw_note n = { NOTE(POLICY) };
	static const char text[] = "[bus]\nid = bus-7 ; \"north\"\n\tT\xc3\xbcr\x01\n";
	char expected[512], hash[80];

	n.of.policy.length = sizeof(text) - 1;
	memcpy(n.of.policy.text, text, sizeof(text) - 1);
	write_file(in(f, "policy"), text);
	ask(hash, sizeof(hash), "sha256sum '%s' | cut -c1-64", in(f, "policy"));
	snprintf(expected, sizeof(expected),
		 "{\"text\":\"[bus]\\nid = bus-7 ; \\\"north\\\"\\n\\tT\xc3\xbcr\\u0001\\n\","
		 "\"hash\":\"%s\"}", hash);
	assert_body(&n, expected);
}

static void edges_and_levels(void **state)
{
	struct pw_note n = { NOTE(EDGES), .of.edges = { .line = PW_REAR_BUTTON, .from = 0,
		.count = 3, .at_ms = { 1000, 1004, 1011 } } };
	struct pw_note l = { NOTE(LEVEL), .of.level.levels = 1u << PW_IGNITION | 1u << PW_LAMPS };

	(void)state;
	assert_body(&n, "{\"line\":\"rear_button\",\"from\":0,\"at_ms\":[1000,1004,1011]}");
	n.of.edges.count = 0;
	n.of.edges.from = 1;
	assert_body(&n, "{\"line\":\"rear_button\",\"from\":1,\"at_ms\":[]}");
	assert_body(&l, "{\"levels\":{\"ignition\":1,\"park_brake\":0,\"rear_button\":0,"
			"\"rear_button_nc\":0,\"rear_door\":0,\"exits\":0,\"service_door\":0,"
			"\"lamps\":1}}");
}

static void the_small_kinds(void **state)
{
	struct pw_note n = { NOTE(RESTART), .of.restart = { 5000, 7000 } };

	(void)state;
	assert_body(&n, "{\"key_off_ms\":5000,\"at_ms\":7000}");
	n = (struct pw_note){ NOTE(EXCUSED), .of.excused.at_ms = 9 };
	assert_body(&n, "{\"at_ms\":9}");
	n = (struct pw_note){ NOTE(RUNG), .of.rung = { "outside", 11 } };
	assert_body(&n, "{\"name\":\"outside\",\"at_ms\":11}");
	n = (struct pw_note){ NOTE(FAULT), .of.fault = { .at_ms = 12,
		.name = "button_held", .on = 1 } };
	assert_body(&n, "{\"name\":\"button_held\",\"on\":true,\"at_ms\":12,\"words\":\"\"}");
	n = (struct pw_note){ NOTE(FAULT), .of.fault = { .name = "journal",
		.words = "C:\\\"\x1f" } };
	assert_body(&n, "{\"name\":\"journal\",\"on\":false,\"at_ms\":0,"
			"\"words\":\"C:\\\\\\\"\\u001f\"}");
	n = (struct pw_note){ NOTE(SERVICE), .of.service.on = 1 };
	assert_body(&n, "{\"on\":true}");
	n = (struct pw_note){ NOTE(CLOCK), .of.clock = { 1790000000000, 1790003600000 } };
	assert_body(&n, "{\"before_ms\":1790000000000,\"after_ms\":1790003600000}");
	n = (struct pw_note){ NOTE(LOST), .of.lost.count = 12 };
	assert_body(&n, "{\"count\":12}");
}

static void a_sweep(void **state)
{
	struct pw_note n = walked(100000);

	(void)state;
	assert_body(&n, "{\"key_off_ms\":100000,\"key_off_wall_ms\":1790000100000,"
			"\"verdict\":\"done\",\"findings\":[],\"press_ms\":130000,"
			"\"walk_ms\":30000,\"late_ms\":0,\"refused\":[],\"exit_ms\":145000,"
			"\"return_ms\":15000,\"rung\":\"prompt\",\"closed_ms\":145000,"
			"\"closed_wall_ms\":1790000145000}");
	n.of.sweep.sweep.press_ms = n.of.sweep.sweep.exit_ms = PW_NO_TIME;
	n.of.sweep.sweep.verdict = PW_MISSED;
	n.of.sweep.sweep.findings = 1u << PW_F_DRIVEN_OFF | 1u << PW_F_CARRIED;
	n.of.sweep.sweep.refused = 1;
	n.of.sweep.sweep.refusal[0] = (struct pw_refusal){ 104000, PW_TOO_SOON };
	assert_body(&n, "{\"key_off_ms\":100000,\"key_off_wall_ms\":1790000100000,"
			"\"verdict\":\"missed\",\"findings\":[\"carried\",\"driven_off\"],"
			"\"press_ms\":null,\"walk_ms\":null,\"late_ms\":0,"
			"\"refused\":[{\"at_ms\":104000,\"why\":\"too_soon\"}],\"exit_ms\":null,"
			"\"return_ms\":null,\"rung\":\"prompt\",\"closed_ms\":145000,"
			"\"closed_wall_ms\":1790000145000}");
}

/* Every byte sequence of up to two bytes, and sequences by chance, as jansson reads them. */
static void strings_are_json(void **state)
{
	struct pw_note n = { NOTE(FAULT), .of.fault.name = "x" };
	char body[PW_BODY_MAX + 1];
	json_t *read;

	(void)state;
	for (unsigned pair = 0; pair < 0x10000; pair++) {
		memset(n.of.fault.words, 0, sizeof(n.of.fault.words));
		n.of.fault.words[0] = (char)(pair & 0xff);
		n.of.fault.words[1] = (char)(pair >> 8);
		assert_true(pw_text_body(&n, body, sizeof(body)) > 0);
		read = json_loads(body, JSON_REJECT_DUPLICATES, NULL);
		if (read == NULL)
			fail_msg("%s", body);
		if ((pair & 0xff) < 0x80 && pair >> 8 < 0x80)
			assert_string_equal(json_string_value(json_object_get(read, "words")),
					    n.of.fault.words);
		json_decref(read);
	}
}

/* RFC 3629: what is UTF-8 stays; what is not becomes U+FFFD, byte by byte. */
static void what_is_not_utf8_is_replaced(void **state)
{
#define R "\xef\xbf\xbd"
	static const struct {
		const char *in, *out;
	} cases[] = {
		{ "\xc3\xbc\xe2\x82\xac\xf0\x9f\x9a\x8c", "\xc3\xbc\xe2\x82\xac\xf0\x9f\x9a\x8c" },
		{ "\xed\x9f\xbf\xee\x80\x80\xf4\x8f\xbf\xbf",
		  "\xed\x9f\xbf\xee\x80\x80\xf4\x8f\xbf\xbf" },
		{ "\xc0\xaf", R R },                 /* overlong */
		{ "\xe0\x80\xaf", R R R },
		{ "\xf0\x80\x80\xaf", R R R R },
		{ "\xed\xa0\x80", R R R },           /* a surrogate */
		{ "\xf4\x90\x80\x80", R R R R },     /* above U+10FFFF */
		{ "T\xfcr", "T" R "r" },             /* Latin-1 */
		{ "a\xe2\x82", "a" R R },            /* cut short */
	};
	char expected[256];

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct pw_note n = { NOTE(RUNG) };

		strcpy(n.of.rung.name, cases[i].in);
		snprintf(expected, sizeof(expected), "{\"name\":\"%s\",\"at_ms\":0}", cases[i].out);
		assert_body(&n, expected);
	}
}

static void a_string_without_an_end_is_cut(void **state)
{
	struct pw_note n = { NOTE(RUNG) };

	(void)state;
	memset(n.of.rung.name, 'r', sizeof(n.of.rung.name));
	assert_body(&n, "{\"name\":\"rrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrr\",\"at_ms\":0}");
}

/* The longest of everything is within what a record may hold. */
static void the_longest_bodies_fit(void **state)
{
	struct pw_note n = walked(-(INT64_C(1) << 60));
	char body[PW_BODY_MAX + 1], rung[PW_NAME_MAX];
	struct pw_sweep back;

	(void)state;
	n.of.sweep.sweep.findings = (1u << PW_FINDINGS) - 1;
	n.of.sweep.sweep.refused = PW_REFUSALS_MAX + 7;
	for (int i = 0; i < PW_REFUSALS_MAX; i++)
		n.of.sweep.sweep.refusal[i] =
			(struct pw_refusal){ -(INT64_C(1) << 60), PW_REAR_OPEN };
	memset(n.of.sweep.rung, 0x1f, sizeof(n.of.sweep.rung));
	n.of.sweep.rung[PW_NAME_MAX - 1] = '\0';
	assert_true(pw_text_body(&n, body, sizeof(body)) > 0);
	assert_int_equal(pw_text_sweep(body, &back, rung), 0);
	assert_int_equal(back.refused, PW_REFUSALS_MAX + 7);
	n = (struct pw_note){ NOTE(EDGES), .of.edges = { .line = PW_REAR_BUTTON_NC,
		.count = PW_EDGES_MAX } };
	for (int i = 0; i < PW_EDGES_MAX; i++)
		n.of.edges.at_ms[i] = INT64_MIN + 1;
	assert_true(pw_text_body(&n, body, sizeof(body)) > 0);
}

static void a_policy_that_is_too_long_is_told(void **state)
{
	struct pw_note n = { NOTE(POLICY), .of.policy.length = PW_POLICY_TEXT_MAX };
	char body[2 * PW_BODY_MAX];

	(void)state;
	memset(n.of.policy.text, 'x', sizeof(n.of.policy.text));
	assert_true(pw_text_body(&n, body, sizeof(body)) > 0);
	memset(n.of.policy.text, '\n', sizeof(n.of.policy.text));
	assert_int_equal(pw_text_body(&n, body, sizeof(body)), -1);
}

static void a_small_buffer_is_told(void **state)
{
	struct pw_note n = walked(100000);
	char body[PW_BODY_MAX + 1];
	int length = pw_text_body(&n, body, sizeof(body));

	(void)state;
	for (int size = 0; size <= length; size++)
		assert_int_equal(pw_text_body(&n, body, (size_t)size), -1);
	assert_int_equal(pw_text_body(&n, body, (size_t)length + 1), length);
}

static void notes_that_mean_nothing_are_refused(void **state)
{
	const struct pw_note bad[] = {
		{ .version = 2, .kind = PW_K_EXCUSED },
		{ NOTE(NONE) },
		{ .version = PW_NOTE_VERSION, .kind = PW_KINDS },
		{ .version = PW_NOTE_VERSION, .kind = UINT16_MAX },
		{ NOTE(PROOF) }, { NOTE(FOUND) }, { NOTE(SETUP) }, { NOTE(PIN) },
		{ NOTE(RECEIPT) }, { NOTE(PRUNE) },
		{ NOTE(BOOT) },
		{ NOTE(BOOT), .of.boot.clock = PW_CLOCK_LOST + 1 },
		{ NOTE(POLICY), .of.policy.length = PW_POLICY_TEXT_MAX + 1 },
		{ NOTE(EDGES), .of.edges.line = PW_INPUTS },
		{ NOTE(EDGES), .of.edges.count = PW_EDGES_MAX + 1 },
		{ NOTE(EDGES), .of.edges.from = 2 },
		{ NOTE(SWEEP), .of.sweep.sweep = { .t0_ms = PW_NO_TIME } },
		{ NOTE(SWEEP), .of.sweep.sweep = { .closed_ms = PW_NO_TIME } },
	};
	char body[PW_BODY_MAX + 1];

	(void)state;
	for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
		assert_int_equal(pw_note_size(&bad[i]), 0);
		assert_int_equal(pw_text_body(&bad[i], body, sizeof(body)), -1);
	}
}

/* -- read back --------------------------------------------------------------------------------- */

static void a_sweep_comes_back(void **state)
{
	struct pw_note n = walked(100000);
	struct pw_sweep *s = &n.of.sweep.sweep, back;
	char body[PW_BODY_MAX + 1], rung[PW_NAME_MAX];

	(void)state;
	for (unsigned f = 0; f < PW_FINDINGS; f++)
		for (unsigned v = PW_DONE; v <= PW_MISSED; v++) {
			s->findings = 1u << f | 1u << (f * 7 % PW_FINDINGS);
			s->verdict = v;
			s->late_ms = (int64_t)f * 1000;
			s->refused = f;
			for (unsigned i = 0; i < f; i++)
				s->refusal[i] = (struct pw_refusal){ 100000 + i, 1 + i % 2 };
			assert_true(pw_text_body(&n, body, sizeof(body)) > 0);
			assert_int_equal(pw_text_sweep(body, &back, rung), 0);
			assert_string_equal(rung, "prompt");
			assert_int_equal(back.findings, s->findings);
			assert_int_equal(back.verdict, v);
			assert_int_equal(back.t0_ms, s->t0_ms);
			assert_int_equal(back.press_ms, s->press_ms);
			assert_int_equal(back.exit_ms, s->exit_ms);
			assert_int_equal(back.late_ms, s->late_ms);
			assert_int_equal(back.closed_ms, s->closed_ms);
			assert_int_equal(back.refused, f);
			assert_memory_equal(back.refusal, s->refusal, f * sizeof(s->refusal[0]));
		}
}

static const struct {
	int line;
	const char *what, *by;
} spoilt[] = {
	{ __LINE__, "{", "[" },
	{ __LINE__, "{", "{\"more\":1," },
	{ __LINE__, "{", "{\"late_ms\":0," },
	{ __LINE__, "\"late_ms\":0,", "" },
	{ __LINE__, "\"late_ms\":0", "\"late_ms\":null" },
	{ __LINE__, "\"late_ms\":0", "\"late_ms\":\"never\"" },
	{ __LINE__, "\"late_ms\":0", "\"late_ms\":0.5" },
	{ __LINE__, "\"late_ms\":0", "\"late_ms\":9223372036854775808" },
	{ __LINE__, "\"key_off_ms\":100000", "\"key_off_ms\":null" },
	{ __LINE__, "\"key_off_ms\":100000", "\"key_off_ms\":9223372036854775807" },
	{ __LINE__, "\"closed_ms\":145000", "\"closed_ms\":null" },
	{ __LINE__, "\"closed_wall_ms\":1790000145000", "\"closed_wall_ms\":1790000145001" },
	{ __LINE__, "\"walk_ms\":30000", "\"walk_ms\":30001" },
	{ __LINE__, "\"walk_ms\":30000", "\"walk_ms\":null" },
	{ __LINE__, "\"return_ms\":15000", "\"return_ms\":-15000" },
	{ __LINE__, "\"verdict\":\"done\"", "\"verdict\":\"empty\"" },
	{ __LINE__, "\"verdict\":\"done\"", "\"verdict\":1" },
	{ __LINE__, "\"findings\":[]", "\"findings\":[\"tidy\"]" },
	{ __LINE__, "\"findings\":[]", "\"findings\":[\"muted\",\"muted\"]" },
	{ __LINE__, "\"findings\":[]", "\"findings\":[1]" },
	{ __LINE__, "\"findings\":[]", "\"findings\":{}" },
	{ __LINE__, "\"refused\":[]", "\"refused\":[1]" },
	{ __LINE__, "\"refused\":[]", "\"refused\":[{\"at_ms\":1,\"why\":\"tired\"}]" },
	{ __LINE__, "\"refused\":[]", "\"refused\":[{\"why\":\"too_soon\"}]" },
	{ __LINE__, "\"refused\":[]", "\"refused\":[{\"at_ms\":1,\"why\":\"too_soon\",\"x\":1}]" },
	{ __LINE__, "\"refused\":[]", "\"refused\":[],\"refused_more\":1" },
	{ __LINE__, "\"rung\":\"prompt\"", "\"rung\":null" },
	{ __LINE__, "\"rung\":\"prompt\"", "\"rung\":\"a name that is longer than any may be\"" },
};

static void a_body_that_is_none_is_refused(void **state)
{
	struct pw_note n = walked(100000);
	char body[PW_BODY_MAX + 1], bad[PW_BODY_MAX + 128], rung[PW_NAME_MAX];
	struct pw_sweep back;

	(void)state;
	assert_true(pw_text_body(&n, body, sizeof(body)) > 0);
	for (size_t i = 0; i < sizeof(spoilt) / sizeof(spoilt[0]); i++) {
		const char *at = strstr(body, spoilt[i].what);

		if (at == NULL)
			fail_msg("line %d: %s is not in %s", spoilt[i].line, spoilt[i].what, body);
		snprintf(bad, sizeof(bad), "%.*s%s%s", (int)(at - body), body, spoilt[i].by,
			 at + strlen(spoilt[i].what));
		if (pw_text_sweep(bad, &back, rung) != -1)
			fail_msg("line %d: taken: %s", spoilt[i].line, bad);
	}
	for (size_t cut = 0; cut < strlen(body); cut++) {
		memcpy(bad, body, cut);
		bad[cut] = '\0';
		assert_int_equal(pw_text_sweep(bad, &back, rung), -1);
	}
	assert_int_equal(pw_text_sweep("null", &back, rung), -1);
	assert_int_equal(pw_text_sweep("{\"at_ms\":1}", &back, rung), -1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_boot),
		cmocka_unit_test_setup_teardown(a_policy, with_folder, without_folder),
		cmocka_unit_test(edges_and_levels),
		cmocka_unit_test(the_small_kinds),
		cmocka_unit_test(a_sweep),
		cmocka_unit_test(strings_are_json),
		cmocka_unit_test(what_is_not_utf8_is_replaced),
		cmocka_unit_test(a_string_without_an_end_is_cut),
		cmocka_unit_test(the_longest_bodies_fit),
		cmocka_unit_test(a_policy_that_is_too_long_is_told),
		cmocka_unit_test(a_small_buffer_is_told),
		cmocka_unit_test(notes_that_mean_nothing_are_refused),
		cmocka_unit_test(a_sweep_comes_back),
		cmocka_unit_test(a_body_that_is_none_is_refused),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* The kept state as text and back (R20), and the alive stamp (J12). */
#include "record_help.h"

static uint64_t seed = 20260921;

static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

static int64_t draw_time(void)
{
	switch (draw() % 8) {
	case 0:
		return PW_NO_TIME;
	case 1:
		return PW_NEVER;
	case 2:
		return -(int64_t)(draw() % 100000000);
	default:
		return (int64_t)(draw() % 4000000000000);
	}
}

/* Every field of the core's table, filled by chance but within what it can be. */
static struct pw_state draw_state(void)
{
	struct pw_state s = { 0 };

	for (size_t i = 0; i < pw_kept_count; i++) {
		void *at = (char *)&s + pw_kept[i].offset;

		switch (pw_kept[i].type) {
		case PW_FIELD_TIME:
		case PW_FIELD_SPAN:
			*(int64_t *)at = draw_time();
			break;
		case PW_FIELD_BOOL:
			*(bool *)at = draw() % 2;
			break;
		case PW_FIELD_U32:
			*(uint32_t *)at = (uint32_t)draw();
			break;
		case PW_FIELD_U8:
			*(uint8_t *)at = draw() % 2;
			break;
		}
	}
	s.phase = PW_PARKED + draw() % (PW_PHASES - 1);
	s.sweep.rung = draw() % PW_SIGNALS;
	s.sweep.findings &= (1u << PW_FINDINGS) - 1;
	s.sweep.refused = (uint32_t)(draw() % 200);
	for (uint32_t i = 0; i < s.sweep.refused && i < PW_REFUSALS_MAX; i++) {
		s.sweep.refusal[i].at_ms = (int64_t)(draw() % 4000000000000);
		s.sweep.refusal[i].why = draw() % 2 ? PW_REAR_OPEN : PW_TOO_SOON;
	}
	return s;
}

static void assert_same(const struct pw_state *a, const struct pw_state *b)
{
	static const size_t sizes[] = { 0, sizeof(int64_t), sizeof(int64_t), sizeof(bool),
					sizeof(uint32_t), sizeof(uint8_t) };

	for (size_t i = 0; i < pw_kept_count; i++)
		assert_memory_equal((const char *)a + pw_kept[i].offset,
				    (const char *)b + pw_kept[i].offset, sizes[pw_kept[i].type]);
	for (uint32_t i = 0; i < a->sweep.refused && i < PW_REFUSALS_MAX; i++) {
		assert_int_equal(a->sweep.refusal[i].at_ms, b->sweep.refusal[i].at_ms);
		assert_int_equal(a->sweep.refusal[i].why, b->sweep.refusal[i].why);
	}
}

static void what_is_kept_comes_back(void **state)
{
	char text[PW_KEPT_MAX], again[PW_KEPT_MAX];

	(void)state;
	print_message("seed %" PRIu64 "\n", seed);
	for (int i = 0; i < 2000; i++) {
		struct pw_state s = draw_state(), back;
		int n = pw_text_kept(&s, text, sizeof(text));

		assert_int_equal(n, strlen(text));
		assert_int_equal(pw_text_kept_read(text, &back), 0);
		assert_same(&s, &back);
		assert_int_equal(pw_text_kept(&back, again, sizeof(again)), n);
		assert_string_equal(text, again);
	}
}

static void the_longest_state_fits(void **state)
{
	struct pw_state s = draw_state(), back;
	char text[PW_KEPT_MAX];

	(void)state;
	for (size_t i = 0; i < pw_kept_count; i++)
		if (pw_kept[i].type == PW_FIELD_TIME)
			*(int64_t *)(void *)((char *)&s + pw_kept[i].offset) = -PW_MOMENT_MAX;
	s.sweep.refused = UINT32_MAX;
	for (int i = 0; i < PW_REFUSALS_MAX; i++)
		s.sweep.refusal[i] = (struct pw_refusal){ -PW_MOMENT_MAX, PW_REAR_OPEN };
	assert_true(pw_text_kept(&s, text, sizeof(text)) > 0);
	assert_int_equal(pw_text_kept_read(text, &back), 0);
	assert_same(&s, &back);
}

static void a_small_buffer_is_told(void **state)
{
	struct pw_state s = phase(PW_OWED);
	char text[PW_KEPT_MAX], small[PW_KEPT_MAX];
	int n = pw_text_kept(&s, text, sizeof(text));

	(void)state;
	for (int size = 0; size <= n; size++)
		assert_int_equal(pw_text_kept(&s, small, (size_t)size), -1);
	assert_int_equal(pw_text_kept(&s, small, (size_t)n + 1), n);
}

/* One thing changed in a good text: what, by what. */
static const struct {
	int line;
	const char *what, *by;
} spoilt[] = {
	{ __LINE__, "{", "[" },
	{ __LINE__, "}", "" },
	{ __LINE__, "{", "{\"more\":1," },
	{ __LINE__, "{", "{\"phase\":3," },
	{ __LINE__, "\"phase\":3,", "" },
	{ __LINE__, "\"phase\":3", "\"phase\":0" },
	{ __LINE__, "\"phase\":3", "\"phase\":6" },
	{ __LINE__, "\"phase\":3", "\"phase\":3.0" },
	{ __LINE__, "\"phase\":3", "\"phase\":-3" },
	{ __LINE__, "\"phase\":3", "\"phase\":4294967299" },
	{ __LINE__, "\"phase\":3", "\"phase\":true" },
	{ __LINE__, "\"carried\":false", "\"carried\":0" },
	{ __LINE__, "\"key_on_ms\":0", "\"key_on_ms\":\"soon\"" },
	{ __LINE__, "\"key_on_ms\":0", "\"key_on_ms\":9223372036854775808" },
	{ __LINE__, "\"level.ignition\":0", "\"level.ignition\":2" },
	{ __LINE__, "\"sweep.findings\":0", "\"sweep.findings\":65536" },
	{ __LINE__, "\"sweep.rung\":1", "\"sweep.rung\":99" },
	{ __LINE__, "\"sweep.refused\":0", "\"sweep.refused\":1" },
	{ __LINE__, "\"sweep.refusals\":[]", "\"sweep.refusals\":[{\"at_ms\":1}]" },
	{ __LINE__, "\"sweep.refusals\":[]", "\"sweep.refusals\":null" },
	{ __LINE__, "\"sweep.refusals\":[]",
	  "\"sweep.refusals\":[{\"at_ms\":1,\"why\":\"too_late\"}]" },
};

static void a_text_that_is_none_is_refused(void **state)
{
	struct pw_state s = phase(PW_OWED), back;
	char text[PW_KEPT_MAX], bad[PW_KEPT_MAX + 128];

	(void)state;
	assert_true(pw_text_kept(&s, text, sizeof(text)) > 0);
	assert_int_equal(pw_text_kept_read("", &back), -1);
	assert_int_equal(pw_text_kept_read("null", &back), -1);
	for (size_t i = 0; i < sizeof(spoilt) / sizeof(spoilt[0]); i++) {
		const char *at = strstr(text, spoilt[i].what);

		if (at == NULL)
			fail_msg("line %d: %s is not in %s", spoilt[i].line, spoilt[i].what, text);
		snprintf(bad, sizeof(bad), "%.*s%s%s", (int)(at - text), text, spoilt[i].by,
			 at + strlen(spoilt[i].what));
		if (pw_text_kept_read(bad, &back) != -1)
			fail_msg("line %d: taken: %s", spoilt[i].line, bad);
	}
	for (size_t cut = 0; cut < strlen(text); cut++) {
		memcpy(bad, text, cut);
		bad[cut] = '\0';
		assert_int_equal(pw_text_kept_read(bad, &back), -1);
	}
}

/* -- J12 --------------------------------------------------------------------------------------- */

static const struct pw_stamp extremes[] = {
	{ 1, 5000, 1790000005000, "6b0d6c5e-7e3f-4d0c-9a53-0d6f1f2e3a4b" },
	{ UINT64_MAX, INT64_MAX, INT64_MIN, "123456789012345678901234567890123456789" },
	{ 0, 0, 0, "" },
};

static void a_stamp_comes_back(void **state)
{
	struct folder *f = *state;
	struct pw_stamp s;
	int fd;

	for (size_t i = 0; i < sizeof(extremes) / sizeof(extremes[0]); i++) {
		fd = pw_stamp_open(f->path, true);
		assert_true(fd >= 0);
		assert_int_equal(pw_stamp_write(fd, &extremes[i]), 0);
		assert_int_equal(lseek(fd, 0, SEEK_END), PW_STAMP_SIZE);
		close(fd);
		fd = pw_stamp_open(f->path, false);
		assert_int_equal(pw_stamp_read(fd, &s), 0);
		close(fd);
		assert_int_equal(s.boot, extremes[i].boot);
		assert_int_equal(s.mono_ms, extremes[i].mono_ms);
		assert_int_equal(s.wall_ms, extremes[i].wall_ms);
		assert_string_equal(s.boot_id, extremes[i].boot_id);
	}
}

/* J12: a rewrite that stopped at any byte, or any other byte changed, counts for nothing, unless
 * the two texts do not differ there. */
static void a_torn_stamp_is_seen(void **state)
{
	struct pw_stamp later = extremes[0], s;
	char before[PW_STAMP_SIZE], after[PW_STAMP_SIZE], torn[PW_STAMP_SIZE];

	(void)state;
	later.mono_ms += 5000;
	later.wall_ms += 5000;
	pw_stamp_text(&extremes[0], before);
	pw_stamp_text(&later, after);
	for (size_t cut = 0; cut <= PW_STAMP_SIZE; cut++) {
		memcpy(torn, before, sizeof(torn));
		memcpy(torn, after, cut);
		assert_int_equal(pw_stamp_parse(torn, &s),
				 memcmp(torn, before, sizeof(torn)) == 0
						 || memcmp(torn, after, sizeof(torn)) == 0
					 ? 0 : -1);
	}
	for (size_t i = 0; i < PW_STAMP_SIZE; i++)
		for (int bit = 0; bit < 8; bit++) {
			memcpy(torn, before, sizeof(torn));
			torn[i] = (char)(torn[i] ^ (1 << bit));
			assert_int_equal(pw_stamp_parse(torn, &s), -1);
		}
}

static void a_stamp_can_be_missing(void **state)
{
	struct folder *f = *state;
	struct pw_stamp s;
	int fd;

	assert_int_equal(pw_stamp_open(f->path, false), -1);
	write_file(in(f, "alive"), "postwalk-alive-v1\n");
	fd = pw_stamp_open(f->path, false);
	assert_int_equal(pw_stamp_read(fd, &s), -1);
	close(fd);
}

/* The checksum in it is one that sha256sum (GNU coreutils) finds as well. */
static void a_stamp_as_sha256sum_has_it(void **state)
{
	struct folder *f = *state;
	char outside[80], inside[80];
	int fd = pw_stamp_open(f->path, true);

	assert_int_equal(pw_stamp_write(fd, &extremes[0]), 0);
	close(fd);
	ask(outside, sizeof(outside), "head -n 5 '%s' | sha256sum | cut -c1-64", in(f, "alive"));
	ask(inside, sizeof(inside), "sed -n 's/^sha256 //p' '%s'", in(f, "alive"));
	assert_string_equal(inside, outside);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_is_kept_comes_back),
		cmocka_unit_test(the_longest_state_fits),
		cmocka_unit_test(a_small_buffer_is_told),
		cmocka_unit_test(a_text_that_is_none_is_refused),
		cmocka_unit_test_setup_teardown(a_stamp_comes_back, with_folder, without_folder),
		cmocka_unit_test(a_torn_stamp_is_seen),
		cmocka_unit_test_setup_teardown(a_stamp_can_be_missing, with_folder,
						without_folder),
		cmocka_unit_test_setup_teardown(a_stamp_as_sha256sum_has_it, with_folder,
						without_folder),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Whatever is said to the bench: random lines against a second judge, random bytes. */
#include "board_bench_client.h"

static uint32_t draw(uint32_t *x, uint32_t below)
{
	*x ^= *x << 13;
	*x ^= *x >> 17;
	*x ^= *x << 5;
	return *x % below;
}

/* The same judgement made another way: a line is good when, taken apart at blanks, each word is
 * one of the settable ones and none of a name comes twice. */
static bool is_good(const char *line, uint32_t *levels)
{
	static const struct {
		const char *word;
		unsigned line;
	} words[] = {
		{"ignition", PW_IGNITION},         {"rear_button", PW_REAR_BUTTON},
		{"rear_button_nc", PW_REAR_BUTTON_NC}, {"rear_door", PW_REAR_DOOR},
		{"service_door", PW_SERVICE_DOOR}, {"lamps", PW_LAMPS},
		{"horn_current", SENSE},
	};
	const size_t count = sizeof(words) / sizeof(words[0]);
	char copy[600], off[40], on[40], *rest = copy, *word;
	uint32_t seen = 0, wanted = *levels;

	snprintf(copy, sizeof(copy), "%s", line);
	while ((word = strsep(&rest, " \t\r")) != NULL) {
		size_t i;

		if (!*word)
			continue;
		for (i = 0; i < count; i++) {
			snprintf(off, sizeof(off), "%s=0", words[i].word);
			snprintf(on, sizeof(on), "%s=1", words[i].word);
			if (strcmp(word, off) == 0 || strcmp(word, on) == 0)
				break;
		}
		if (i == count || seen & BIT(words[i].line))
			return false;
		seen |= BIT(words[i].line);
		wanted &= ~BIT(words[i].line);
		if (strcmp(word, on) == 0)
			wanted |= BIT(words[i].line);
	}
	*levels = wanted;
	return true;
}

static void random_line(uint32_t *x, char *line, size_t size)
{
	static const char *const pieces[] = {
		/* the first nine are good */
		"ignition=1", "ignition=0", "rear_button=1", "rear_button_nc=0", "rear_door=1",
		"lamps=1", "service_door=0", "horn_current=1", "horn_current=0",
		"horn=1", "exits=1", "dome=0", "lamps", "=", "lamps=", "lamps=2",
		"rear_button_n=1", "yard_light=1", "watch", "ignition=11",
	};
	static const char *const blanks[] = {" ", "  ", "\t", "\r", "", "="};
	const size_t likely = draw(x, 3) ? 9 : sizeof(pieces) / sizeof(pieces[0]);
	uint32_t n = draw(x, 6);

	line[0] = '\0';
	for (uint32_t i = 0; i < n; i++) {
		size_t len = strlen(line);

		snprintf(line + len, size - len, "%s%s", pieces[draw(x, (uint32_t)likely)],
			 blanks[draw(x, 10) ? draw(x, 3) : draw(x, 6)]);
	}
	if (n > 0 && draw(x, 10) == 0) {
		char *c = &line[draw(x, (uint32_t)strlen(line))];

		do {
			*c = (char)(1 + draw(x, 255));
		} while (*c == '\n');
	}
}

static uint32_t seed_of(const char *test)
{
	const char *given = getenv("SEED");
	uint32_t seed = given ? (uint32_t)strtoul(given, NULL, 0) : 27182818;

	print_message("%s: SEED=%u\n", test, seed);
	return seed;
}

static void random_lines_are_judged_right(void **state)
{
	uint32_t x = seed_of("random_lines_are_judged_right"), good = 0;
	struct bench *s = *state;

	for (int round = 0; round < 100000; round++) {
		char line[400], why[64];
		uint32_t levels = 0, mask, got;
		size_t len;
		bool want;

		random_line(&x, line, sizeof(line));
		len = strlen(line);
		want = is_good(line, &levels);
		why[0] = '\0';
		if ((pw_bench_parse(&s->p, line, len, &mask, &got, why, sizeof(why)) == 0) != want)
			fail_msg("\"%s\": expected %s, %s", line, want ? "good" : "bad", why);
		good += want;
		if (want)
			assert_int_equal(got, levels);
		else
			assert_true(why[0] && !strchr(why, '\n'));
	}
	assert_in_range(good, 10000, 90000); /* both kinds were drawn */
}

/* Random lines cut into random pieces: one answer a line, and the levels follow the good ones. */
static void random_talk_leaves_the_levels_right(void **state)
{
	uint32_t x = seed_of("random_talk_leaves_the_levels_right");
	struct bench *s = *state;
	uint32_t levels = pw_board_levels(s->b);
	int fd = join(s);

	for (int round = 0; round < 5000; round++) {
		char line[400];
		size_t len, at = 0, piece;
		bool good;

		random_line(&x, line, sizeof(line));
		if (strstr(line, "watch")) /* has an answer of its own */
			continue;
		good = is_good(line, &levels);
		len = strlen(line);
		line[len++] = '\n';
		for (; at < len; at += piece) {
			piece = 1 + draw(&x, (uint32_t)(len - at));
			say_bytes(fd, line + at, piece);
			serve(s, T0 + round);
		}
		assert_int_equal(strncmp(heard(fd), good ? "ok\n" : "error: ", good ? 3 : 7), 0);
		assert_int_equal(pw_board_levels(s->b), levels);
	}
	close(fd);
}

/* Bytes of any kind, zeros among them, from several clients that come and go. */
static void random_bytes_do_no_harm(void **state)
{
	uint32_t x = seed_of("random_bytes_do_no_harm");
	struct bench *s = *state;

	for (int round = 0; round < 3000; round++) {
		unsigned char bytes[1500];
		size_t len = draw(&x, sizeof(bytes));
		int fd = join(s);

		for (size_t i = 0; i < len; i++)
			bytes[i] = draw(&x, 12) ? (unsigned char)draw(&x, 256) : '\n';
		say_bytes(fd, bytes, len);
		serve(s, T0 + round);
		if (draw(&x, 2))
			heard(fd);
		close(fd);
		serve(s, T0 + round);
	}
	assert_int_equal(pw_board_levels(s->b), BIT(PW_REAR_BUTTON_NC));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(random_lines_are_judged_right),
		TEST(random_talk_leaves_the_levels_right),
		TEST(random_bytes_do_no_harm),
	};

	return cmocka_run_group_tests_name("board: bench, random", tests, NULL, NULL);
}

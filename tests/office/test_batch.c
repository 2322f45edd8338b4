/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Batches (docs/protocol.md) and their packing. Packed bodies are made by gzip(1) and zstd(1),
 * which are not ours; what may stand in a line is judged by tests/unit/test_lines.c.
 */
#include <stdbool.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "made.h"

static struct made journal;

static int set_up(void **state)
{
	(void)state;
	made_begin(&journal, "14", "0123456789abcdef", 1);
	made_grow(&journal, 30);
	made_add(&journal, PW_K_RUNG, "{\"name\":\"office\",\"notify\":true,\"at_ms\":5}");
	made_add(&journal, PW_K_SERVICE, "{\"on\":true}");
	made_grow(&journal, 40);
	return 0;
}

/* -- what is refused, by its word and line ----------------------------------------------------- */

struct verdict {
	int result;
	struct pw_wrong wrong;
};

static struct verdict judge(const char *text, size_t length, bool alert)
{
	struct verdict v = { .result = 0 };
	struct pw_batch *b;

	v.result = pw_batch_read(text, length, "14", &journal.key.public, alert, MADE_NOW, &b,
				 &v.wrong);
	assert_true((v.result == 0) == (b != NULL));
	pw_batch_free(b);
	return v;
}

static void assert_refused(const char *text, size_t length, unsigned status, const char *word,
			   unsigned line)
{
	struct verdict v = judge(text, length, false);

	assert_int_equal(v.result, -2);
	print_message("%u %s, line %u: %s\n", v.wrong.status, v.wrong.word, v.wrong.line,
		      v.wrong.words);
	assert_int_equal(v.wrong.status, status);
	assert_string_equal(v.wrong.word, word);
	assert_int_equal(v.wrong.line, line);
	assert_true(strlen(v.wrong.words) > 10);
}

/* The text with words instead of so many of its lines, from line on. */
static struct text edit(struct text t, unsigned line, unsigned lines, const char *instead)
{
	struct text made;
	FILE *f = open_memstream(&made.at, &made.length);
	const char *at = t.at, *end = t.at + t.length;

	for (unsigned n = 1; at < end; n++) {
		const char *next = (const char *)memchr(at, '\n', (size_t)(end - at)) + 1;

		if (n == line)
			fputs(instead, f);
		if (n < line || n >= line + lines)
			fwrite(at, 1, (size_t)(next - at), f);
		at = next;
	}
	fclose(f);
	return made;
}

static char *line_of(struct text t, unsigned line)
{
	const char *at = t.at;

	while (--line > 0)
		at = strchr(at, '\n') + 1;
	return strndup(at, strcspn(at, "\n") + 1);
}

/* Lines of made_text(6, 15): head; 6 to 10, seal; 11 to 15, seal; end. */
static void test_whole(void **state)
{
	struct pw_batch *b;

	(void)state;
	b = made_batch(&journal, 6, 40, false);
	assert_int_equal(b->records, 35);
	assert_int_equal(b->seals, 7);
	assert_string_equal(b->bus, "14");
	assert_string_equal(b->epoch, "0123456789abcdef");
	assert_int_equal(b->record[0].seq, 6);
	assert_string_equal(b->record[34].hash, journal.record[40].hash);
	assert_string_equal(b->record[25].body, journal.record[31].body);
	assert_int_equal(b->matters, 1);
	assert_int_equal(b->matter[0].kind, PW_MATTER_RUNG);
	assert_int_equal(b->standings, 1);
	assert_true(pw_batch_bytes(b) > 35 * sizeof(struct pw_record));
	pw_batch_free(b);
}

static const struct {
	unsigned line, lines; /* of the text that are taken out */
	unsigned from;        /* the line that is put there; 0: words */
	const char *words;
	unsigned status;
	const char *word;
	unsigned at;
} edits[] = {
	{ 1, 1, 0, "", 400, "bad", 1 },            /* no head */
	{ 1, 0, 1, NULL, 400, "bad", 2 },          /* two */
	{ 2, 1, 0, "", 422, "unsound", 13 },       /* from 7 on: the count is off */
	{ 3, 1, 0, "", 422, "unsound", 3 },        /* a record is missing */
	{ 3, 0, 2, NULL, 422, "unsound", 3 },      /* one twice */
	{ 7, 1, 0, "", 422, "unsound", 13 },       /* a seal is missing: the count is off */
	{ 7, 1, 13, NULL, 422, "unsound", 7 },     /* another's seal */
	{ 8, 0, 7, NULL, 422, "unsound", 8 },      /* a seal twice */
	{ 13, 1, 0, "", 422, "unsound", 13 },      /* the last one is not sealed */
	{ 14, 1, 0, "", 400, "bad", 14 },          /* cut off: no end line */
	{ 14, 1, 0, "{\"end\":{\"records\":11,\"seals\":2}}\n", 422, "unsound", 14 },
	{ 14, 1, 0, "{\"end\":{\"records\":10,\"seals\":3}}\n", 422, "unsound", 14 },
	{ 2, 1, 0, "\n", 400, "bad", 2 },
	{ 2, 1, 0, "{\"seq\":6}\n", 400, "bad", 2 },
	{ 2, 1, 0, "[]\n", 400, "bad", 2 },
	{ 2, 1, 0, "\xff\n", 400, "bad", 2 },
};

static void test_edits(void **state)
{
	struct text t = made_text(&journal, 6, 15);

	(void)state;
	for (size_t i = 0; i < sizeof(edits) / sizeof(edits[0]); i++) {
		char *instead = edits[i].from ? line_of(t, edits[i].from) : strdup(edits[i].words);
		struct text edited = edit(t, edits[i].line, edits[i].lines, instead);

		assert_refused(edited.at, edited.length, edits[i].status, edits[i].word,
			       edits[i].at);
		free(edited.at);
		free(instead);
	}
	free(t.at);
}

static void test_behind_the_end(void **state)
{
	struct text t = made_text(&journal, 6, 15);
	char *more = malloc(t.length + 100);

	(void)state;
	memcpy(more, t.at, t.length);
	strcpy(more + t.length, "{\"end\":{\"records\":10,\"seals\":2}}\n");
	assert_refused(more, t.length + strlen(more + t.length), 400, "bad", 15);
	assert_int_equal(judge(t.at, t.length - 1, false).result, 0); /* without the last LF */
	free(more);
	free(t.at);
}

static void test_nothing(void **state)
{
	(void)state;
	assert_refused("", 0, 400, "bad", 1);
	assert_refused("\n", 1, 400, "bad", 1);
	assert_refused("{}", 2, 400, "bad", 1);
}

/* All lines are right, and the batch is of somebody else, of two epochs, or not by this key. */
static void test_strangers(void **state)
{
	static struct made other;
	struct text t, u;
	char *head, *first;

	(void)state;
	made_begin(&other, "15", "0123456789abcdef", 1);
	made_grow(&other, 5);
	t = made_text(&other, 1, 5);
	assert_refused(t.at, t.length, 422, "unsound", 1);
	free(t.at);
	made_begin(&other, "14", "0123456789abcdef", 2);
	made_grow(&other, 5);
	t = made_text(&other, 1, 5);
	assert_refused(t.at, t.length, 403, "key", 1);
	u = made_text(&journal, 1, 1);
	head = line_of(u, 1);
	free(u.at);
	u = edit(t, 1, 1, head); /* the right key on top, the other's seals */
	assert_refused(u.at, u.length, 422, "unsound", 7);
	free(t.at);
	free(u.at);
	free(head);
	made_begin(&other, "14", "fedcba9876543210", 1);
	made_grow(&other, 8);
	t = made_text(&other, 6, 8);
	first = line_of(t, 2);
	free(t.at);
	u = made_text(&journal, 5, 7);
	t = edit(u, 4, 1, first);
	assert_refused(t.at, t.length, 422, "unsound", 4);
	free(first);
	free(u.at);
	free(t.at);
}

/* A chain that its key's owner recomputed holds in itself, and not at its edges. */
static void test_first_record(void **state)
{
	struct pw_record r = journal.record[1];
	char line[PW_EXPORT_LINE_MAX];
	struct text t, u;

	(void)state;
	r.prev[0] = '1';
	pw_record_hash("14", &r, r.hash);
	assert_true(pw_export_record(&r, line, sizeof(line)) > 0);
	strcat(line, "\n");
	t = made_text(&journal, 1, 5);
	u = edit(t, 2, 1, line);
	assert_refused(u.at, u.length, 422, "unsound", 2);
	free(u.at);
	free(t.at);
}

/* Not one byte may be another. A change in what JSON leaves free (white space; the escape of a
 * letter in a key) is none. */
static void test_flipped(void **state)
{
	struct text t = made_text(&journal, 6, 15);
	uint64_t seed = made_seed();
	unsigned refused = 0;

	(void)state;
	for (int i = 0; i < 300; i++) {
		const size_t at = made_random(&seed) % t.length;
		const char was = t.at[at];

		t.at[at] = (char)(was ^ (1 << made_random(&seed) % 8));
		struct verdict v = judge(t.at, t.length, false);

		if (v.result == 0)
			fail_msg("byte %zu: %c became %c, and nobody sees it", at, was, t.at[at]);
		refused += v.wrong.status == 400 || v.wrong.status == 403 || v.wrong.status == 422;
		t.at[at] = was;
	}
	assert_int_equal(refused, 300);
	free(t.at);
}

static void test_alert(void **state)
{
	struct text one = made_text(&journal, 31, 31), two = made_text(&journal, 31, 32),
		    none = made_text(&journal, 30, 30);
	struct verdict v;

	(void)state;
	assert_int_equal(judge(one.at, one.length, true).result, 0);
	v = judge(two.at, two.length, true);
	assert_int_equal(v.wrong.status, 400);
	assert_int_equal(v.wrong.line, 3);
	v = judge(none.at, none.length, true); /* edges: nothing that would be kept */
	assert_int_equal(v.wrong.status, 400);
	assert_string_equal(v.wrong.word, "bad");
	free(one.at);
	free(two.at);
	free(none.at);
}

/* -- record lines, fast and at large ----------------------------------------------------------- */

#define LINES 100000

/* As likely as not to be wrong somewhere. */
static size_t spoil(char *line, size_t length, uint64_t *seed)
{
	static const char *const bits[] = {
		"\\", "\"", "\\u0041", "\\u00e9", "\\ud83d\\ude00", "\\ud83d", "\\n", "\\x",
		"\xc3\xa9", "\xff", " ", "\t", "-", "0", "9223372036854775808", ".5", "e3", ",", "{",
		"}", "\"seq\":1,", "\"more\":1,", "\x7f", "\x1f", "null",
	};

	for (uint64_t n = made_random(seed) % 3; n > 0; n--) {
		const size_t at = made_random(seed) % length;
		const char *bit = bits[made_random(seed) % (sizeof(bits) / sizeof(bits[0]))];
		const size_t more = strlen(bit);

		switch (made_random(seed) % 3) {
		case 0:
			line[at] = (char)made_random(seed);
			break;
		case 1:
			memmove(line + at, line + at + 1, length-- - at);
			break;
		default:
			memmove(line + at + more, line + at, length - at);
			memcpy(line + at, bit, more);
			length += more;
		}
	}
	return length;
}

static void random_record(struct pw_record *r, char body[300], uint64_t *seed)
{
	const size_t n = made_random(seed) % 60;
	static const char *const bits[] = {
		"a", "\"", "\\", "/", "\n", "\t", "\x01", "\xc3\xa9", "\xf0\x9f\x98\x80", "{\"k\":1}",
		"~", "\x7f",
	};

	*r = (struct pw_record){ .seq = made_random(seed) >> (1 + made_random(seed) % 60 % 63),
				 .boot = made_random(seed) % 100,
				 .mono_ms = (int64_t)made_random(seed) >> made_random(seed) % 64,
				 .wall_ms = (int64_t)made_random(seed) >> made_random(seed) % 64,
				 .wall_ok = made_random(seed) % 2,
				 .kind = PW_K_NONE + 1 +
					 (enum pw_kind)(made_random(seed) % (PW_KINDS - 1)) };
	r->seq += r->seq == 0;
	body[0] = '\0';
	for (size_t i = 0; i < n; i++)
		strcat(body, bits[made_random(seed) % (made_random(seed) % 4 ? 6 : 12)]);
	r->body = body;
	for (int i = 0; i < 64; i++) {
		r->prev[i] = "0123456789abcdef"[made_random(seed) % 16];
		r->hash[i] = "0123456789abcdef"[made_random(seed) % 16];
		if (i < 16)
			r->epoch[i] = r->hash[i];
	}
}

static bool same_record(const struct pw_record *a, const struct pw_record *b)
{
	return a->seq == b->seq && a->boot == b->boot && a->mono_ms == b->mono_ms &&
	       a->wall_ms == b->wall_ms && a->wall_ok == b->wall_ok && a->kind == b->kind &&
	       !strcmp(a->epoch, b->epoch) && !strcmp(a->prev, b->prev) &&
	       !strcmp(a->hash, b->hash) && !strcmp(a->body, b->body);
}

/* What the fast one takes is what jansson makes of it; and it takes what is written by
 * pw_export_record, unless there is a character in it that it leaves alone. */
static void test_lines(void **state)
{
	unsigned fast = 0, whole = 0, refused = 0;
	uint64_t seed = made_seed();

	(void)state;
	for (int i = 0; i < LINES; i++) {
		char line[1200], body[1200], text[300], why[160];
		struct pw_export_line at_large;
		struct pw_record r, quick;
		size_t length;
		bool taken;

		random_record(&r, text, &seed);
		length = (size_t)pw_export_record(&r, line, sizeof(line));
		assert_true(length < sizeof(line));
		taken = pw_record_line(line, length, body, &quick);
		if (taken)
			assert_true(same_record(&quick, &r));
		else
			assert_true(strpbrk(text, "\x01\xc3\xf0") || r.seq >= 1000000000000000000 ||
				    llabs(r.mono_ms) >= 1000000000000000000 ||
				    llabs(r.wall_ms) >= 1000000000000000000);
		length = spoil(line, length, &seed);
		memset(&quick, 0, sizeof(quick));
		taken = pw_record_line(line, length, body, &quick);
		if (pw_export_read(line, length, &at_large, why, sizeof(why))) {
			refused++;
			if (taken)
				fail_msg("%s: %.*s", why, (int)length, line);
			continue;
		}
		whole++;
		fast += taken;
		if (taken &&
		    (at_large.kind != PW_X_RECORD || !same_record(&quick, &at_large.record)))
			fail_msg("another record: %.*s", (int)length, line);
		pw_export_free(&at_large);
	}
	print_message("%u are records, %u of them are read fast; %u are not\n", whole, fast,
		      refused);
	assert_true(fast > LINES / 20 && refused > LINES / 10);
}

/* -- packing ----------------------------------------------------------------------------------- */

/* What a program makes of a text. */
static struct text run(const char *command, const char *text, size_t length)
{
	char path[] = "/tmp/postwalk-batch-XXXXXX", line[200];
	struct text made;
	FILE *in = fdopen(mkstemp(path), "w"), *out = open_memstream(&made.at, &made.length), *pipe;

	fwrite(text, 1, length, in);
	fclose(in);
	snprintf(line, sizeof(line), "%s <%s", command, path);
	pipe = popen(line, "r");
	assert_non_null(pipe);
	for (int c; (c = fgetc(pipe)) != EOF; )
		fputc(c, out);
	assert_int_equal(pclose(pipe), 0);
	fclose(out);
	unlink(path);
	return made;
}

static int unpack(enum pw_packing packing, struct text body, size_t most, struct text *out)
{
	char why[160];

	return pw_unpack(packing, body.at, body.length, most, &out->at, &out->length, why,
			 sizeof(why));
}

static const struct {
	enum pw_packing packing;
	const char *command;
} packers[] = {
	{ PW_PACK_NONE, "cat" }, { PW_PACK_GZIP, "gzip -9" }, { PW_PACK_GZIP, "gzip -1 -n" },
	{ PW_PACK_ZSTD, "zstd -q -c -3" }, { PW_PACK_ZSTD, "zstd -q -c -19 --no-check" },
	{ PW_PACK_ZSTD, "sh -c 'cat | zstd -q -c -19'" },
};

static void test_packed(void **state)
{
	struct text t = made_text(&journal, 1, 40);

	(void)state;
	for (size_t i = 0; i < sizeof(packers) / sizeof(packers[0]); i++) {
		struct text packed = run(packers[i].command, t.at, t.length), out;
		const bool plain = packers[i].packing == PW_PACK_NONE;

		assert_int_equal(unpack(packers[i].packing, packed, t.length, &out), 0);
		assert_int_equal(out.length, t.length);
		assert_memory_equal(out.at, t.at, t.length);
		free(out.at);
		assert_int_equal(unpack(packers[i].packing, packed, t.length - 1, &out), -3);
		assert_null(out.at);
		for (size_t cut = 0; cut < packed.length && !plain; cut += 1 + cut / 3) {
			struct text part = { packed.at, cut };

			assert_int_equal(unpack(packers[i].packing, part, t.length, &out), -2);
		}
		free(packed.at);
	}
	free(t.at);
}

/* Members and frames may follow each other (RFC 1952, 2.2; RFC 8878, 3); nothing else may. */
static void test_behind_a_stream(void **state)
{
	static const char *const more[] = { "gzip", "zstd -q -c" };

	(void)state;
	for (int i = 0; i < 2; i++) {
		struct text packed = run(more[i], "walked\n", 7), twice, out;
		const enum pw_packing packing = i == 0 ? PW_PACK_GZIP : PW_PACK_ZSTD;

		twice.length = packed.length * 2;
		twice.at = malloc(twice.length);
		memcpy(twice.at, packed.at, packed.length);
		memcpy(twice.at + packed.length, packed.at, packed.length);
		assert_int_equal(unpack(packing, twice, 1000, &out), 0);
		assert_int_equal(out.length, 14);
		free(out.at);
		memcpy(twice.at + packed.length, "trailing garbage", 16);
		assert_int_equal(unpack(packing, twice, 1000, &out), -2);
		assert_int_equal(unpack(i == 0 ? PW_PACK_ZSTD : PW_PACK_GZIP, packed, 1000, &out),
				 -2);
		free(twice.at);
		free(packed.at);
	}
}

/* Hundreds of megabytes of zeros in some kilobytes: no more of it is unpacked than is
 * wanted. */
static void test_bombs(void **state)
{
	static const char *const bomb[] = { "sh -c 'head -c 100000000 /dev/zero | gzip -1'",
					    "sh -c 'head -c 300000000 /dev/zero | zstd -q -c'" };
	struct timespec begin, end;

	(void)state;
	for (int i = 0; i < 2; i++) {
		struct text packed = run(bomb[i], "", 0), out;

		clock_gettime(CLOCK_MONOTONIC, &begin);
		assert_int_equal(
			unpack(i == 0 ? PW_PACK_GZIP : PW_PACK_ZSTD, packed, 1 << 20, &out), -3);
		clock_gettime(CLOCK_MONOTONIC, &end);
		assert_null(out.at);
		print_message("%zu bytes: %ld us\n", packed.length,
			      (end.tv_sec - begin.tv_sec) * 1000000 +
				      (end.tv_nsec - begin.tv_nsec) / 1000);
		free(packed.at);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_whole),
		cmocka_unit_test(test_edits),
		cmocka_unit_test(test_behind_the_end),
		cmocka_unit_test(test_nothing),
		cmocka_unit_test(test_strangers),
		cmocka_unit_test(test_first_record),
		cmocka_unit_test(test_flipped),
		cmocka_unit_test(test_alert),
		cmocka_unit_test(test_lines),
		cmocka_unit_test(test_packed),
		cmocka_unit_test(test_behind_a_stream),
		cmocka_unit_test(test_bombs),
	};

	return cmocka_run_group_tests(tests, set_up, NULL);
}

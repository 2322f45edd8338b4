/* SPDX-License-Identifier: Apache-2.0 */
/* A whole export (J10), changed and cut: no byte of it goes unnoticed. */
#include "record_sealed.h"

#define EXPORT_LINES 20

struct lines {
	size_t count;
	char at[EXPORT_LINES][2048];
	int length[EXPORT_LINES];
};

static void put(struct lines *l, int length)
{
	assert_true(length > 0 && l->count < EXPORT_LINES);
	l->length[l->count++] = length;
}

static void export(const struct items *x, struct lines *l)
{
	uint64_t records = 0, seals = 0;

	l->count = 0;
	put(l, pw_export_head(BUS, &x->key.public, l->at[0], sizeof(l->at[0])));
	for (size_t i = 0; i < x->count; i++) {
		char *to = l->at[l->count];

		if (x->at[i].is_seal)
			put(l, pw_export_seal(&x->at[i].seal, to, sizeof(l->at[0])));
		else
			put(l, pw_export_record(&x->at[i].record, to, sizeof(l->at[0])));
		records += !x->at[i].is_seal;
		seals += x->at[i].is_seal;
	}
	put(l, pw_export_end(records, seals, l->at[l->count], sizeof(l->at[0])));
}

/* What a check of the lines says: -2: one is refused; else the count of flaws. */
static int judge(const struct lines *l)
{
	struct findings found = { 0 };
	struct pw_export_line head = { 0 }, line;
	struct pw_check c;
	char why[200];
	int result = 0;

	if (pw_export_read(l->at[0], (size_t)l->length[0], &head, why, sizeof(why)))
		return -2;
	if (head.kind != PW_X_HEAD)
		result = -2;
	pw_check_begin(&c, head.bus, &head.key, take_finding, &found);
	for (size_t i = 1; i < l->count && result == 0; i++) {
		bool last = i == l->count - 1;

		result = pw_export_read(l->at[i], (size_t)l->length[i], &line, why, sizeof(why));
		if (result)
			break;
		if (line.kind == PW_X_RECORD)
			pw_check_record(&c, &line.record);
		else if (line.kind == PW_X_SEAL)
			pw_check_seal(&c, &line.seal);
		if ((line.kind == PW_X_END) != last
		    || (last && (line.records != c.records || line.seals != c.seals)))
			result = -2;
		pw_export_free(&line);
	}
	pw_export_free(&head);
	pw_check_end(&c);
	return result ? result : (int)found.count;
}

/* The line as it would be written again. */
static void again(const char *text, int length, char *to, size_t size)
{
	struct pw_export_line line;
	char why[200];

	assert_int_equal(pw_export_read(text, (size_t)length, &line, why, sizeof(why)), 0);
	switch (line.kind) {
	case PW_X_HEAD:
		assert_true(pw_export_head(line.bus, &line.key, to, size) > 0);
		break;
	case PW_X_RECORD:
		assert_true(pw_export_record(&line.record, to, size) > 0);
		break;
	case PW_X_SEAL:
		assert_true(pw_export_seal(&line.seal, to, size) > 0);
		break;
	case PW_X_END:
		assert_true(pw_export_end(line.records, line.seals, to, size) > 0);
		break;
	case PW_X_PURGED:
		assert_true(pw_export_purged(&line.seal, &line.key, to, size) > 0);
		break;
	}
	pw_export_free(&line);
}

static const struct plan small[] = {
	{ PW_K_BOOT, 1, 1000, 1000, "{\"clock\":\"first\"}", false },
	{ PW_K_FAULT, 1, 62000, 62000, "{\"words\":\"T\xc3\xbcr \\n\x01\t\x1f\xe2\x80\xa8\"}", false },
	{ PW_K_SWEEP, 1, 300000, 300000, "{\"verdict\":\"late\"}", true },
	{ PW_K_CLOCK, 1, 400000, 4000000, CLOCK(1790000400000, 1790004000000), false },
	{ PW_K_BOOT, 2, 900, 9000000, "{\"clock\":\"vouched\"}", false },
	{ PW_K_SWEEP, 2, 90000, 9089100, "{\"verdict\":\"done\"}", true },
};

/* J10: every byte of an export, each of its bits and one more change (drawn; the seed is printed):
 * it is refused, or it is a flaw, or it is the very same content. */
static void every_byte_counts(void **state)
{
	const char *given = getenv("SEED");
	unsigned seed = given != NULL ? (unsigned)atoi(given) : 20260301, mask;
	unsigned long tried = 0, refused = 0, flawed = 0, same = 0;
	struct items x;
	static struct lines l;
	char before[2048], after[2048];
	int verdict;

	(void)state;
	print_message("SEED=%u\n", seed);
	srand(seed);
	items_make(&x, small, sizeof(small) / sizeof(small[0]));
	export(&x, &l);
	assert_int_equal(judge(&l), 0);
	for (size_t i = 0; i < l.count; i++)
		for (int at = 0; at < l.length[i]; at++)
			for (unsigned bit = 0; bit < 9; bit++) {
				mask = bit < 8 ? 1u << bit : 1u + (unsigned)rand() % 255;
				memcpy(before, l.at[i], sizeof(before));
				l.at[i][at] = (char)(l.at[i][at] ^ (char)mask);
				verdict = judge(&l);
				tried++;
				refused += verdict == -2;
				flawed += verdict > 0;
				same += verdict == 0;
				if (verdict == 0) {
					again(l.at[i], l.length[i], after, sizeof(after));
					if (strcmp(before, after) != 0)
						fail_msg("taken: %s", l.at[i]);
				}
				memcpy(l.at[i], before, sizeof(before));
			}
	print_message("%lu changes: %lu refused, %lu flawed, %lu the same content\n", tried, refused,
		      flawed, same);
	assert_true(refused > 0 && flawed > 0);
}

/* J10: an export that breaks off anywhere is no export. */
static void every_length_counts(void **state)
{
	struct items x;
	static struct lines l;
	int whole;

	(void)state;
	items_make(&x, small, sizeof(small) / sizeof(small[0]));
	export(&x, &l);
	for (size_t n = l.count; n-- > 1; l.count = n) {
		whole = l.length[n];
		for (l.length[n] = 0; l.length[n] < whole; l.length[n]++)
			assert_int_equal(judge(&l), -2);
	}
	for (l.length[0] = 0; l.count == 1 && l.length[0] < 40; l.length[0]++)
		assert_int_equal(judge(&l), -2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_byte_counts),
		cmocka_unit_test(every_length_counts),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Tables of text beside RFC 4180, Python's csv module and sqlite3's .import, both ways. Run from
 * the top of the tree.
 */
#include <regex.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

#include <cmocka.h>

#include "office/csv.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define TABLES 10000
#define WIDTHS 6

static struct pw_csv *open_text(const char *text, size_t length, FILE **f)
{
	struct pw_csv *csv;
	char why[200];

	*f = fmemopen((void *)(uintptr_t)text, length, "r");
	assert_non_null(*f);
	if (pw_csv_open(*f, &csv, why, sizeof(why)))
		fail_msg("%s", why);
	return csv;
}

/* All rows as one text: fields between < and >, lines before. Or why not. */
static const char *read_all(const char *text, size_t length)
{
	static char out[1 << 16];
	struct pw_csv_row row;
	char why[200];
	size_t used = 0;
	FILE *f;
	struct pw_csv *csv = open_text(text, length, &f);
	int result;

	out[0] = '\0';
	while ((result = pw_csv_next(csv, &row, why, sizeof(why))) == 1) {
		used += (size_t)snprintf(out + used, sizeof(out) - used, "%u", row.line);
		for (size_t i = 0; i < row.count; i++)
			used += (size_t)snprintf(out + used, sizeof(out) - used, "<%s>",
						 row.field[i]);
		used += (size_t)snprintf(out + used, sizeof(out) - used, " ");
	}
	pw_csv_close(csv);
	fclose(f);
	if (result < 0)
		snprintf(out, sizeof(out), "%d %s", result, why);
	return out;
}

/* RFC 4180, section 2, rules 1 to 7 with its own examples; then common practice. */
static void test_rules(void **state)
{
	static const struct { const char *text, *expected; } row[] = {
		{ "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "1<aaa><bbb><ccc> 2<zzz><yyy><xxx> " },
		{ "aaa,bbb,ccc\r\nzzz,yyy,xxx", "1<aaa><bbb><ccc> 2<zzz><yyy><xxx> " },
		{ "aaa, bbb ,ccc", "1<aaa>< bbb ><ccc> " },
		{ "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", "1<aaa><bbb><ccc> 2<zzz><yyy><xxx> " },
		{ "\"aaa\",\"b \r\nbb\",\"ccc\"\r\nzzz,yyy,xxx",
		  "1<aaa><b \r\nbb><ccc> 3<zzz><yyy><xxx> " },
		{ "\"aaa\",\"b\"\"bb\",\"ccc\"", "1<aaa><b\"bb><ccc> " },
		{ "a,b\nc,d\n", "1<a><b> 2<c><d> " },
		{ "a,b\rc,d\r", "1<a><b> 2<c><d> " },
		{ "a;b,c;d", "1<a><b,c><d> " },
		{ "a\tb;c\td\n1\t2\t3", "1<a><b;c><d> 2<1><2><3> " },
		{ "\"a;b;c\",d\n", "1<a;b;c><d> " },
		{ "a,b\n1;2;3;4\n", "1<a><b> 2<1;2;3;4> " }, /* the first line alone decides */
		{ "\r\n\na,b\n\n\nc,d\n\n", "3<a><b> 6<c><d> " },
		{ ",\n,,\n", "1<><> 2<><><> " },
		{ "\"\"\n\"\"\"\"\n", "1<> 2<\"> " },
		{ "a\n5\" pipe\n", "1<a> 2<5\" pipe> " },
		{ "\xef\xbb\xbf" "a,\xc3\xa9\n", "1<a><\xc3\xa9> " },
		{ "a,\xe9\x80\n", "1<a><\xc3\xa9\xe2\x82\xac> " },
		{ "\n", "" },
		{ "a,\"b\nc,d\n", "-2 line 1: a quote is opened and never closed" },
		{ "a,b\n\"c\"d,e\n",
		  "-2 line 2: text behind a closing quote; expected a separator" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++)
		assert_string_equal(read_all(row[i].text, strlen(row[i].text)), row[i].expected);
	assert_string_equal(read_all("a,b\nc\0,d\n", 9), "-2 line 2: a zero byte; expected text");
}

static void test_encodings(void **state)
{
	static const struct {
		const char *text;
		enum pw_csv_encoding encoding;
		char separator;
	} row[] = {
		{ "a,b\nplain\n", PW_CSV_UTF8, ',' },
		{ "\xef\xbb\xbf" "a;b\n", PW_CSV_UTF8_MARK, ';' },
		{ "a\tb\n\xf0\x9f\x98\x80\n", PW_CSV_UTF8, '\t' },
		{ "a\n\xc3\xa9\xe9\n", PW_CSV_WINDOWS_1252, ',' },
		/* RFC 3629, section 10 and the table of section 4: no UTF-8 */
		{ "\xc0\x80\n", PW_CSV_WINDOWS_1252, ',' },
		{ "\xed\xa1\x8c\n", PW_CSV_WINDOWS_1252, ',' },
		{ "\xf4\x90\x80\x80\n", PW_CSV_WINDOWS_1252, ',' },
		{ "\xe0\x9f\xbf\n", PW_CSV_WINDOWS_1252, ',' },
		{ "\xf0\x8f\xbf\xbf\n", PW_CSV_WINDOWS_1252, ',' },
		{ "a\xe2\x82", PW_CSV_WINDOWS_1252, ',' },
		{ "\x80\n", PW_CSV_WINDOWS_1252, ',' },
		/* its section 7 */
		{ "\x41\xe2\x89\xa2\xce\x91\x2e", PW_CSV_UTF8, ',' },
		{ "\xed\x95\x9c\xea\xb5\xad\xec\x96\xb4", PW_CSV_UTF8, ',' },
		{ "\xe6\x97\xa5\xe6\x9c\xac\xe8\xaa\x9e", PW_CSV_UTF8, ',' },
		{ "\xef\xbb\xbf\xf0\xa3\x8e\xb4", PW_CSV_UTF8_MARK, ',' },
	};
	struct pw_csv *csv;
	char why[200];
	FILE *f;

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		csv = open_text(row[i].text, strlen(row[i].text), &f);
		assert_int_equal(pw_csv_encoding(csv), row[i].encoding);
		assert_int_equal(pw_csv_separator(csv), row[i].separator);
		pw_csv_close(csv);
		fclose(f);
	}
	f = fmemopen((void *)(uintptr_t)"\xff\xfe" "a\0,\0", 6, "r");
	assert_int_equal(pw_csv_open(f, &csv, why, sizeof(why)), -2);
	assert_string_equal(why, "line 1: it is UTF-16; expected UTF-8: save it as CSV UTF-8");
	assert_null(csv);
	fclose(f);
}

/* What grows without end is told, with its line. */
static void test_limits(void **state)
{
	const size_t size = (3 << 20);
	char *text = malloc(size);

	(void)state;
	assert_non_null(text);
	memset(text, ',', PW_CSV_COLUMNS_MAX);
	assert_string_equal(read_all(text, PW_CSV_COLUMNS_MAX), "-2 line 1: too many columns");
	assert_memory_equal(read_all(text, PW_CSV_COLUMNS_MAX - 1), "1<><>", 5);
	memset(text, 'x', size);
	memcpy(text, "a,b\n\"", 5);
	assert_string_equal(read_all(text, size), "-2 line 2: more than a MiB; is a quote open?");
	memset(text + 4, '\xe9', size - 4);
	assert_string_equal(read_all(text, size), "-2 line 2: more than a MiB; is a quote open?");
	free(text);
}

/* Any bytes at all: rows or a sentence. Under the sanitizers it says more. */
static void test_any_bytes(void **state)
{
	static const char letter[] = "\"\",,;\t\r\n\n ab=\xe9\xc3\xa9";
	unsigned seed;
	char text[64];

	(void)state;
	assert_int_equal(getrandom(&seed, sizeof(seed), 0), sizeof(seed));
	printf("seed %u\n", seed);
	srandom(seed);
	for (int i = 0; i < 20000; i++) {
		const size_t length = 1 + (size_t)random() % sizeof(text);

		for (size_t k = 0; k < length; k++)
			text[k] = letter[(size_t)random() % (sizeof(letter) - 1)];
		assert_non_null(read_all(text, length));
	}
}

/* -- what is written ------------------------------------------------------------------------- */

static void test_formulas(void **state)
{
	static const struct { const char *field, *expected; } row[] = {
		{ "=1+1", "'=1+1\r\n" }, { "+1-555", "'+1-555\r\n" },
		{ "@SUM(A1)", "'@SUM(A1)\r\n" }, { "-cmd", "'-cmd\r\n" },
		{ "\tx", "\"'\tx\"\r\n" }, { "\rx", "\"'\rx\"\r\n" },
		{ "-5", "-5\r\n" }, { "-0.25", "-0.25\r\n" }, { "-1e-9", "-1e-9\r\n" },
		{ "+7", "+7\r\n" }, { "-", "'-\r\n" }, { "-5-3", "'-5-3\r\n" },
		{ "-1.", "'-1.\r\n" }, { "-.5", "'-.5\r\n" }, { "-1e", "'-1e\r\n" },
		{ "=\"x\"", "\"'=\"\"x\"\"\"\r\n" }, { "", "\"\"\r\n" },
		{ "a=b", "a=b\r\n" }, { "a;b", "\"a;b\"\r\n" },
		{ "two\nlines", "\"two\nlines\"\r\n" },
	};
	char *text = NULL;
	size_t length;
	FILE *f;

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		f = open_memstream(&text, &length);
		pw_csv_write(f, 1, &row[i].field);
		fclose(f);
		assert_string_equal(text, row[i].expected);
		free(text);
	}
}

/* Tables of one width are in one file. */
struct tables {
	char folder[32];
	FILE *csv[WIDTHS], *expected[WIDTHS]; /* what readers should say */
	char *text[WIDTHS];
	size_t length[WIDTHS];
	regex_t number;
};

static void random_field(char *field)
{
	static const char *const letter[] = {
		"a", "b", "0", "7", "9", ".", "e", "-", "+", "=", "@", "\"", "\"", ",", ";", "\t",
		"\r", "\n", "'", " ", "\xc3\xa9", "\xe2\x82\xac", "\xf0\x9f\x9a\x8c",
	};

	*field = '\0';
	for (long left = random() % 9; left > 0; left--)
		strcat(field, letter[(size_t)random() % COUNT(letter)]);
}

/* As a reader should have it, in hexadecimal. */
static void expect(struct tables *t, size_t width, const char *field, bool last)
{
	FILE *f = t->expected[width - 1];

	if (*field && strchr("=+-@\t\r\n", *field) && regexec(&t->number, field, 0, NULL, 0))
		fputs("27", f);
	for (const char *p = field; *p; p++)
		fprintf(f, "%02x", (unsigned char)*p);
	fputs(last ? "\n" : ",", f);
}

static void random_table(struct tables *t)
{
	const size_t width = 1 + (size_t)random() % WIDTHS;
	char field[WIDTHS][64];
	const char *const pointer[WIDTHS] = { field[0], field[1], field[2], field[3], field[4],
					      field[5] };

	for (long rows = 1 + random() % 5; rows > 0; rows--) {
		for (size_t c = 0; c < width; c++) {
			random_field(field[c]);
			expect(t, width, field[c], c == width - 1);
		}
		pw_csv_write(t->csv[width - 1], width, pointer);
	}
}

static void make_tables(struct tables *t)
{
	char path[64];

	assert_int_equal(regcomp(&t->number, "^[+-]?[0-9]+(\\.[0-9]+)?([eE][+-]?[0-9]+)?$",
				 REG_EXTENDED | REG_NOSUB), 0);
	for (int i = 0; i < WIDTHS; i++) {
		snprintf(path, sizeof(path), "%s/%d.csv", t->folder, i);
		t->csv[i] = fopen(path, "w");
		assert_non_null(t->csv[i]);
		t->expected[i] = open_memstream(&t->text[i], &t->length[i]);
	}
	for (int i = 0; i < TABLES; i++)
		random_table(t);
	for (int i = 0; i < WIDTHS; i++) {
		assert_int_equal(fclose(t->csv[i]), 0);
		fclose(t->expected[i]);
	}
	regfree(&t->number);
}

/* What sqlite3 is to do. */
static void write_sql(const struct tables *t)
{
	char path[64];
	FILE *f;

	snprintf(path, sizeof(path), "%s/sql", t->folder);
	f = fopen(path, "w");
	assert_non_null(f);
	for (int i = 0; i < WIDTHS; i++) {
		fprintf(f, "CREATE TABLE t%d(c0", i);
		for (int c = 1; c <= i; c++)
			fprintf(f, ", c%d", c);
		fprintf(f, ");\n.import --csv %s/%d.csv t%d\nSELECT lower(hex(c0))", t->folder, i,
			i);
		for (int c = 1; c <= i; c++)
			fprintf(f, " || ',' || lower(hex(c%d))", c);
		fprintf(f, " FROM t%d ORDER BY rowid;\n", i);
	}
	assert_int_equal(fclose(f), 0);
}

/* The program says the same, to the byte. */
static void assert_says(const char *command, const char *expected, size_t length)
{
	char *said = malloc(length + 2);
	FILE *f = popen(command, "r");

	assert_non_null(said);
	assert_non_null(f);
	assert_int_equal(fread(said, 1, length + 1, f), length);
	assert_int_equal(pclose(f), 0);
	assert_memory_equal(said, expected, length);
	free(said);
}

/* Our own reader, of all of them, after the same manner. */
static void read_back(FILE *out, const char *folder, int count)
{
	struct pw_csv_row row;
	char path[64], why[200];
	struct pw_csv *csv;
	FILE *f;

	for (int i = 0; i < count; i++) {
		snprintf(path, sizeof(path), "%s/%d.csv", folder, i);
		f = fopen(path, "r");
		assert_non_null(f);
		assert_int_equal(pw_csv_open(f, &csv, why, sizeof(why)), 0);
		while (pw_csv_next(csv, &row, why, sizeof(why)) == 1)
			for (size_t k = 0; k < row.count; k++) {
				for (const char *p = row.field[k]; *p; p++)
					fprintf(out, "%02x", (unsigned char)*p);
				fputs(k + 1 < row.count ? "," : "\n", out);
			}
		pw_csv_close(csv);
		fclose(f);
	}
}

static void remove_folder(const char *folder)
{
	char command[64];

	snprintf(command, sizeof(command), "rm -r %s", folder);
	assert_int_equal(system(command), 0);
}

static unsigned seed_random(void)
{
	unsigned seed;

	assert_int_equal(getrandom(&seed, sizeof(seed), 0), sizeof(seed));
	printf("seed %u\n", seed);
	srandom(seed);
	return seed;
}

/* Ten thousand random tables, read by Python's csv module, by sqlite3 and by us, say the same. */
static void test_others_read(void **state)
{
	struct tables t = { .folder = "/tmp/tables.XXXXXX" };
	char command[128], *expected, *ours;
	size_t length, our_length;
	FILE *f;

	(void)state;
	seed_random();
	assert_non_null(mkdtemp(t.folder));
	make_tables(&t);
	write_sql(&t);
	f = open_memstream(&expected, &length);
	for (int i = 0; i < WIDTHS; i++) {
		fputs(t.text[i], f);
		free(t.text[i]);
	}
	fclose(f);
	snprintf(command, sizeof(command), "python3 tests/office/csv_tables.py read %s %d",
		 t.folder, WIDTHS);
	assert_says(command, expected, length);
	snprintf(command, sizeof(command), "sqlite3 -batch :memory: <%s/sql", t.folder);
	assert_says(command, expected, length);
	f = open_memstream(&ours, &our_length);
	read_back(f, t.folder, WIDTHS);
	fclose(f);
	assert_string_equal(ours, expected);
	free(ours);
	free(expected);
	remove_folder(t.folder);
}

/* And what Python's writes, in every dialect, we read. */
static void test_others_write(void **state)
{
	char folder[] = "/tmp/tables.XXXXXX", command[128], *text = NULL;
	const unsigned seed = seed_random();
	size_t length, said_length;
	char *said;
	FILE *f, *out;

	(void)state;
	assert_non_null(mkdtemp(folder));
	snprintf(command, sizeof(command), "python3 tests/office/csv_tables.py write %s 1000 %u",
		 folder, seed);
	f = popen(command, "r");
	assert_non_null(f);
	out = open_memstream(&said, &said_length);
	for (int ch; (ch = getc(f)) != EOF;)
		putc(ch, out);
	fclose(out);
	assert_int_equal(pclose(f), 0);
	out = open_memstream(&text, &length);
	read_back(out, folder, 1000);
	fclose(out);
	assert_true(length > 30000);
	assert_int_equal(length, said_length);
	assert_memory_equal(text, said, length);
	free(text);
	free(said);
	remove_folder(folder);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_rules), cmocka_unit_test(test_encodings),
		cmocka_unit_test(test_limits), cmocka_unit_test(test_any_bytes),
		cmocka_unit_test(test_formulas), cmocka_unit_test(test_others_read),
		cmocka_unit_test(test_others_write),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

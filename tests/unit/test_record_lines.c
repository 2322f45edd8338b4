/* SPDX-License-Identifier: Apache-2.0 */
/* JSON Lines (J10): what is written reads back the same, here and in python; more is refused. */
#include "record_sealed.h"

#define HASH "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"
#define SIG HASH HASH

static struct pw_record sample(const char *body)
{
	struct pw_record r = { .seq = 7, .boot = 2, .mono_ms = 12, .wall_ms = 1790000000012,
		.wall_ok = true, .kind = PW_K_FAULT, .epoch = EPOCH, .body = body };

	memcpy(r.prev, HASH, 65);
	pw_record_hash(BUS, &r, r.hash);
	return r;
}

static int read_text(const char *text, struct pw_export_line *line, char why[200])
{
	why[0] = '\0';
	return pw_export_read(text, strlen(text), line, why, 200);
}

static void assert_same_record(const struct pw_record *a, const struct pw_record *b)
{
	assert_true(a->seq == b->seq && a->boot == b->boot && a->mono_ms == b->mono_ms);
	assert_true(a->wall_ms == b->wall_ms && a->wall_ok == b->wall_ok && a->kind == b->kind);
	assert_string_equal(a->epoch, b->epoch);
	assert_string_equal(a->prev, b->prev);
	assert_string_equal(a->hash, b->hash);
	assert_string_equal(a->body, b->body);
}

static void assert_comes_back(const struct pw_record *r)
{
	static char text[PW_EXPORT_LINE_MAX];
	struct pw_export_line line;
	char why[200];
	int n = pw_export_record(r, text, sizeof(text));

	assert_true(n > 0);
	assert_int_equal(n, strlen(text));
	assert_null(strchr(text, '\n'));
	if (read_text(text, &line, why))
		fail_msg("%s: %s", text, why);
	assert_int_equal(line.kind, PW_X_RECORD);
	assert_same_record(r, &line.record);
	pw_export_free(&line);
}

/* -- letter by letter -------------------------------------------------------------------------- */

/* J10. The key is that of RFC 8032, section 7.1, TEST 1 (memory); its text is by openssl pkey. */
static void the_very_text(void **state)
{
	struct pw_record r = { .seq = 1, .boot = 3, .mono_ms = -5, .wall_ms = 1790000000012,
		.kind = PW_K_EXCUSED, .epoch = EPOCH, .body = "{\"at_ms\":\"\\u00fc\"}" };
	struct pw_seal s = { 1, HASH, SIG };
	struct pw_secret_key key;
	char text[2048];
	int n;

	(void)state;
	memcpy(r.prev, PW_CHAIN_ORIGIN, 65);
	memcpy(r.hash, HASH, 65);
	key_from(&key, rfc8032_seed);
	n = pw_export_head(BUS, &key.public, text, sizeof(text));
	assert_int_equal(n, strlen(text));
	assert_string_equal(text, "{\"export\":\"postwalk-export-v1\",\"bus\":\"bus-7\",\"key\":"
		"\"-----BEGIN PUBLIC KEY-----\\n"
		"MCowBQYDK2VwAyEA11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=\\n"
		"-----END PUBLIC KEY-----\\n\"}");
	n = pw_export_record(&r, text, sizeof(text));
	assert_int_equal(n, strlen(text));
	assert_string_equal(text, "{\"seq\":1,\"epoch\":\"00112233aabbccdd\",\"boot\":3,"
		"\"mono_ms\":-5,\"wall_ms\":1790000000012,\"wall_ok\":0,\"kind\":\"excused\","
		"\"body\":\"{\\\"at_ms\\\":\\\"\\\\u00fc\\\"}\",\"prev\":"
		"\"0000000000000000000000000000000000000000000000000000000000000000\","
		"\"hash\":\"" HASH "\"}");
	n = pw_export_seal(&s, text, sizeof(text));
	assert_int_equal(n, strlen(text));
	assert_string_equal(text,
		"{\"seal\":{\"seq\":1,\"hash\":\"" HASH "\",\"sig\":\"" SIG "\"}}");
	n = pw_export_end(12, 3, text, sizeof(text));
	assert_int_equal(n, strlen(text));
	assert_string_equal(text, "{\"end\":{\"records\":12,\"seals\":3}}");
}

static void a_buffer_that_is_too_small(void **state)
{
	struct pw_record r = sample("{}");
	struct pw_seal s = { 1, HASH, SIG };
	struct pw_secret_key key;
	char text[1024];
	int whole[4];

	(void)state;
	key_from(&key, rfc8032_seed);
	whole[0] = pw_export_head(BUS, &key.public, text, sizeof(text));
	whole[1] = pw_export_record(&r, text, sizeof(text));
	whole[2] = pw_export_seal(&s, text, sizeof(text));
	whole[3] = pw_export_end(12, 3, text, sizeof(text));
	for (size_t size = 0; size < sizeof(text); size++) {
		int n = (int)size;

		assert_int_equal(pw_export_head(BUS, &key.public, text, size),
				 n > whole[0] ? whole[0] : -1);
		assert_int_equal(pw_export_record(&r, text, size), n > whole[1] ? whole[1] : -1);
		assert_int_equal(pw_export_seal(&s, text, size), n > whole[2] ? whole[2] : -1);
		assert_int_equal(pw_export_end(12, 3, text, size), n > whole[3] ? whole[3] : -1);
	}
}

/* -- there and back ---------------------------------------------------------------------------- */

/* J2: the body is kept verbatim, whatever stands in it. */
static void bodies_come_back(void **state)
{
	static const char *const bodies[] = {
		"", "{}", "\"", "\\", "\\\"", "\\u0000", "\\n", "/", "</script>", "\x7f",
		"T\xc3\xbcr", "\xe2\x80\xa8", "\xe2\x80\xa9", "\xef\xbb\xbf{}", "\xf0\x9f\x9a\x8c",
		"\xf4\x8f\xbf\xbf", "\xed\x9f\xbf", "\xee\x80\x80", "\xef\xbf\xbd", "\xef\xbf\xbf",
		" \t\r\n", "{\"a\":1,\"a\":2}", "not JSON at all",
	};
	char body[64], full[PW_BODY_MAX + 1];
	struct pw_record r;

	(void)state;
	for (size_t i = 0; i < sizeof(bodies) / sizeof(bodies[0]); i++) {
		r = sample(bodies[i]);
		assert_comes_back(&r);
	}
	for (int c = 1; c < 0x80; c++) {
		snprintf(body, sizeof(body), "{\"x\":\"%c%c\\%c\"}", c, c, c);
		r = sample(body);
		assert_comes_back(&r);
		memset(full, c, PW_BODY_MAX);
		full[PW_BODY_MAX] = '\0';
		r = sample(full);
		assert_comes_back(&r);
	}
}

/* What would not come back the same has no line: not UTF-8 (RFC 3629), too long, not a record. */
static void what_has_no_line(void **state)
{
	static const char *const bodies[] = {
		"\xff", "\x80", "\xc3", "\xc3(", "\xc0\xaf", "\xc1\xbf", "\xe2\x82", "\xe0\x80\xaf",
		"\xed\xa0\x80", "\xed\xbf\xbf", "\xf0\x80\x80\xaf", "\xf4\x90\x80\x80", "\xf8",
		"{\"words\":\"T\xfcr\"}",
	};
	static char text[PW_EXPORT_LINE_MAX], full[PW_BODY_MAX + 2];
	struct pw_secret_key key;
	struct pw_record r, bad[9];
	struct pw_seal s[4] = { { 1, HASH, SIG }, { 1, HASH, SIG }, { 1, HASH, SIG }, { 1, HASH, SIG } };

	(void)state;
	for (size_t i = 0; i < sizeof(bodies) / sizeof(bodies[0]); i++) {
		r = sample(bodies[i]);
		assert_int_equal(pw_export_record(&r, text, sizeof(text)), -1);
	}
	memset(full, 'x', PW_BODY_MAX + 1);
	r = sample(full);
	assert_int_equal(pw_export_record(&r, text, sizeof(text)), -1);
	for (size_t i = 0; i < 9; i++)
		bad[i] = sample("{}");
	bad[0].seq = 0;
	bad[1].seq = (uint64_t)INT64_MAX + 1;
	bad[2].boot = (uint64_t)INT64_MAX + 1;
	bad[3].kind = PW_K_NONE;
	bad[4].kind = PW_KINDS;
	bad[5].epoch[15] = '\0';
	bad[6].epoch[0] = 'A';
	bad[7].prev[0] = '\0';
	bad[8].hash[63] = 'g';
	for (size_t i = 0; i < 9; i++)
		assert_int_equal(pw_export_record(&bad[i], text, sizeof(text)), -1);
	s[0].seq = 0;
	s[1].seq = (uint64_t)INT64_MAX + 1;
	s[2].hash[0] = 'x';
	s[3].sig[127] = '\0';
	for (size_t i = 0; i < 4; i++)
		assert_int_equal(pw_export_seal(&s[i], text, sizeof(text)), -1);
	key_from(&key, rfc8032_seed);
	assert_int_equal(pw_export_head("", &key.public, text, sizeof(text)), -1);
	assert_int_equal(pw_export_head("bus 7", &key.public, text, sizeof(text)), -1);
	assert_int_equal(pw_export_head("a-name-of-thirty-two-characters-", &key.public, text,
					sizeof(text)), -1);
	assert_int_equal(pw_export_end((uint64_t)INT64_MAX + 1, 0, text, sizeof(text)), -1);
	assert_int_equal(pw_export_end(0, (uint64_t)INT64_MAX + 1, text, sizeof(text)), -1);
}

static void ends_come_back(void **state)
{
	struct pw_record r = sample("{}");
	struct pw_seal s = { INT64_MAX, HASH, SIG };
	struct pw_export_line line;
	struct pw_secret_key key;
	char text[1024], why[200];

	(void)state;
	r.seq = r.boot = INT64_MAX;
	r.mono_ms = INT64_MIN;
	r.wall_ms = INT64_MAX;
	r.wall_ok = false;
	assert_comes_back(&r);
	r.boot = 0;
	for (r.kind = PW_K_NONE + 1; r.kind < PW_KINDS; r.kind++)
		assert_comes_back(&r);
	pw_export_seal(&s, text, sizeof(text));
	assert_int_equal(read_text(text, &line, why), 0);
	assert_int_equal(line.kind, PW_X_SEAL);
	assert_true(line.seal.seq == INT64_MAX);
	assert_string_equal(line.seal.hash, HASH);
	assert_string_equal(line.seal.sig, SIG);
	pw_export_free(&line);
	pw_export_end(0, INT64_MAX, text, sizeof(text));
	assert_int_equal(read_text(text, &line, why), 0);
	assert_int_equal(line.kind, PW_X_END);
	assert_true(line.records == 0 && line.seals == INT64_MAX);
	pw_export_free(&line);
	key_from(&key, rfc8032_seed);
	pw_export_head("a-name-of-thirty-one-characters", &key.public, text, sizeof(text));
	assert_int_equal(read_text(text, &line, why), 0);
	assert_int_equal(line.kind, PW_X_HEAD);
	assert_string_equal(line.bus, "a-name-of-thirty-one-characters");
	assert_memory_equal(line.key.bytes, key.public.bytes, 32);
	pw_export_free(&line);
}

/* -- refused ----------------------------------------------------------------------------------- */

#define R(seq, wall_ok, kind, body, rest) "{\"seq\":" seq ",\"epoch\":\"" EPOCH "\",\"boot\":2," \
	"\"mono_ms\":12,\"wall_ms\":13,\"wall_ok\":" wall_ok ",\"kind\":" kind ",\"body\":" body \
	",\"prev\":\"" HASH "\",\"hash\":\"" HASH "\"" rest "}"
#define AS_IT_SHOULD_BE R("1", "1", "\"fault\"", "\"{}\"", "")
#define EPOCH_OF(epoch) "{\"seq\":1,\"epoch\":" epoch ",\"boot\":2,\"mono_ms\":12,\"wall_ms\":13," \
	"\"wall_ok\":1,\"kind\":\"fault\",\"body\":\"\",\"prev\":\"" HASH "\",\"hash\":\"" HASH "\"}"
#define TIMES(boot, mono, wall) "{\"seq\":1,\"epoch\":\"" EPOCH "\",\"boot\":" boot \
	",\"mono_ms\":" mono ",\"wall_ms\":" wall ",\"wall_ok\":1," \
	"\"kind\":\"fault\",\"body\":\"\",\"prev\":\"" HASH "\",\"hash\":\"" HASH "\"}"
#define LINKS(prev, hash) "{\"seq\":1,\"epoch\":\"" EPOCH "\",\"boot\":2,\"mono_ms\":12," \
	"\"wall_ms\":13,\"wall_ok\":1,\"kind\":\"fault\",\"body\":\"\",\"prev\":" prev ",\"hash\":" \
	hash "}"
#define PEM "-----BEGIN PUBLIC KEY-----\\n" \
	"MCowBQYDK2VwAyEA11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=" \
	"\\n-----END PUBLIC KEY-----\\n"
#define HEAD(version, bus, key) "{\"export\":" version ",\"bus\":" bus ",\"key\":" key "}"
#define V1 "\"postwalk-export-v1\""

static const struct {
	int line;
	const char *text, *why; /* NULL: taken */
} readings[] = {
	{ T, AS_IT_SHOULD_BE, NULL },
	{ T, HEAD(V1, "\"bus-7\"", "\"" PEM "\""), NULL },
	{ T, EPOCH_OF("\"" EPOCH "\""), NULL },
	{ T, TIMES("0", "-9223372036854775808", "9223372036854775807"), NULL },
	{ T, LINKS("\"" HASH "\"", "\"" HASH "\""), NULL },
	/* white space is no content, and neither is the order of keys */
	{ T, " {\t\"end\" : {\"seals\":3, \"records\":12} }\r", NULL },
	/* not JSON */
	{ T, "", "expected a whole JSON object, and the line ends before it does" },
	{ T, "seq 1", "expected a JSON object, which column 3 does not go on with" },
	{ T, "{\"seq\":1,", "expected a whole JSON object, and the line ends before it does" },
	{ T, AS_IT_SHOULD_BE "{}", "expected one JSON object, and nothing behind it" },
	{ T, "[1]", "expected an object with \"export\", \"seq\", \"seal\" or \"end\" in it" },
	{ T, "{}", "expected an object with \"export\", \"seq\", \"seal\" or \"end\" in it" },
	{ T, "1", "expected a JSON object, which column 1 does not go on with" },
	{ T, "null", "expected a JSON object, which column 4 does not go on with" },
	{ T, "{\"seq\":0x1}", "expected a JSON object, which column 9 does not go on with" },
	{ T, "{\"seq\":01}", "expected a JSON object, which column 8 does not go on with" },
	{ T, "{'seq':1}", "expected a JSON object, which column 2 does not go on with" },
	{ T, R("1", "1", "\"fault\"", "\"\t\"", ""),
	  "expected a JSON object, which column 106 does not go on with" },
	{ T, R("1", "1", "\"fault\"", "\"\\u0000\"", ""),
	  "expected no zero character in a string" },
	{ T, R("1", "1", "\"fault\"", "\"\\ud800\"", ""), "expected a JSON object, which "
	  "column 113 does not go on with" },
	{ T, R("1", "1", "\"fault\"", "\"T\xfcr\"", ""), "expected UTF-8" },
	{ T, R("1", "1", "\"fault\"", "\"\xed\xa0\x80\"", ""), "expected UTF-8" },
	/* keys */
	{ T, R("1", "1", "\"fault\"", "\"\"", ",\"seq\":1"), "expected no key twice" },
	{ T, R("1", "1", "\"fault\"", "\"\"", ",\"note\":1"),
	  "expected no other keys than the 10 of such a line" },
	{ T, R("1", "1", "\"fault\"", "\"\"", ",\"seal\":{}"),
	  "expected no other keys than the 10 of such a line" },
	{ T, R("1", "1", "\"fault\"", "\"\"", ",\"Seq\":1"),
	  "expected no other keys than the 10 of such a line" },
	{ T, "{\"seq\":1}", "expected \"epoch\" to be 16 digits of 0-9 a-f" },
	{ T, "{\"end\":{\"records\":1}}",
	  "expected \"seals\" to be an integer from 0 to 9223372036854775807" },
	{ T, "{\"end\":{\"records\":1,\"seals\":1,\"x\":1}}",
	  "expected no other keys than the 2 of such a line" },
	{ T, "{\"end\":{\"records\":1,\"seals\":1},\"x\":1}",
	  "expected \"end\" alone, and an object in it" },
	{ T, "{\"end\":[1,1]}", "expected \"end\" alone, and an object in it" },
	{ T, "{\"seal\":null}", "expected \"seal\" alone, and an object in it" },
	/* numbers */
	{ T, R("9223372036854775807", "1", "\"fault\"", "\"\"", ""), NULL },
	{ T, R("9223372036854775808", "1", "\"fault\"", "\"\"", ""),
	  "expected no integer beyond 9223372036854775807" },
	{ T, R("18446744073709551616", "1", "\"fault\"", "\"\"", ""),
	  "expected no integer beyond 9223372036854775807" },
	{ T, R("0", "1", "\"fault\"", "\"\"", ""),
	  "expected \"seq\" to be an integer from 1 to 9223372036854775807" },
	{ T, R("-1", "1", "\"fault\"", "\"\"", ""),
	  "expected \"seq\" to be an integer from 1 to 9223372036854775807" },
	{ T, R("1.0", "1", "\"fault\"", "\"\"", ""),
	  "expected \"seq\" to be an integer from 1 to 9223372036854775807" },
	{ T, R("1e0", "1", "\"fault\"", "\"\"", ""),
	  "expected \"seq\" to be an integer from 1 to 9223372036854775807" },
	{ T, R("\"1\"", "1", "\"fault\"", "\"\"", ""),
	  "expected \"seq\" to be an integer from 1 to 9223372036854775807" },
	{ T, R("null", "1", "\"fault\"", "\"\"", ""),
	  "expected \"seq\" to be an integer from 1 to 9223372036854775807" },
	{ T, R("1", "2", "\"fault\"", "\"\"", ""), "expected \"wall_ok\" to be 0 or 1" },
	{ T, R("1", "true", "\"fault\"", "\"\"", ""), "expected \"wall_ok\" to be 0 or 1" },
	{ T, TIMES("-1", "0", "0"),
	  "expected \"boot\" to be an integer from 0 to 9223372036854775807" },
	{ T, TIMES("0", "0.5", "0"), "expected \"mono_ms\" to be an integer" },
	{ T, TIMES("0", "0", "[]"), "expected \"wall_ms\" to be an integer" },
	{ T, TIMES("0", "-9223372036854775809", "0"),
	  "expected no integer beyond 9223372036854775807" },
	/* words */
	{ T, R("1", "1", "\"none\"", "\"\"", ""), "expected \"kind\" to be a kind of record" },
	{ T, R("1", "1", "\"Fault\"", "\"\"", ""), "expected \"kind\" to be a kind of record" },
	{ T, R("1", "1", "9", "\"\"", ""), "expected \"kind\" to be a kind of record" },
	{ T, R("1", "1", "\"fault\"", "{}", ""),
	  "expected \"body\" to be text of at most 8192 bytes" },
	{ T, EPOCH_OF("\"00112233AABBCCDD\""), "expected \"epoch\" to be 16 digits of 0-9 a-f" },
	{ T, EPOCH_OF("\"00112233aabbccd\""), "expected \"epoch\" to be 16 digits of 0-9 a-f" },
	{ T, EPOCH_OF("\"00112233aabbccdd0\""), "expected \"epoch\" to be 16 digits of 0-9 a-f" },
	{ T, EPOCH_OF("0"), "expected \"epoch\" to be 16 digits of 0-9 a-f" },
	{ T, LINKS("\"" HASH "0\"", "\"" HASH "\""),
	  "expected \"prev\" to be 64 digits of 0-9 a-f" },
	{ T, LINKS("\"" HASH "\"", "\"" EPOCH "\""),
	  "expected \"hash\" to be 64 digits of 0-9 a-f" },
	{ T, "{\"seal\":{\"seq\":0,\"hash\":\"" HASH "\",\"sig\":\"" SIG "\"}}",
	  "expected \"seq\" to be an integer from 1 to 9223372036854775807" },
	{ T, "{\"seal\":{\"seq\":1,\"hash\":\"" HASH "\",\"sig\":\"" HASH "\"}}",
	  "expected \"sig\" to be 128 digits of 0-9 a-f" },
	{ T, "{\"seal\":{\"seq\":1,\"hash\":\"" SIG "\",\"sig\":\"" SIG "\"}}",
	  "expected \"hash\" to be 64 digits of 0-9 a-f" },
	/* the head */
	{ T, HEAD("\"postwalk-export-v2\"", "\"bus-7\"", "\"" PEM "\""),
	  "expected \"export\" to be \"postwalk-export-v1\"" },
	{ T, HEAD("1", "\"bus-7\"", "\"" PEM "\""),
	  "expected \"export\" to be \"postwalk-export-v1\"" },
	{ T, HEAD(V1, "\"\"", "\"" PEM "\""),
	  "expected \"bus\" to be 1 to 31 characters of A-Z a-z 0-9 . _ -" },
	{ T, HEAD(V1, "\"bus 7\"", "\"" PEM "\""),
	  "expected \"bus\" to be 1 to 31 characters of A-Z a-z 0-9 . _ -" },
	{ T, HEAD(V1, "\"a-name-of-thirty-two-characters-\"", "\"" PEM "\""),
	  "expected \"bus\" to be 1 to 31 characters of A-Z a-z 0-9 . _ -" },
	{ T, HEAD(V1, "\"bus-7\"", "\"\""),
	  "expected \"key\" to be an Ed25519 public key as PEM" },
	{ T, HEAD(V1, "\"bus-7\"", "\"" PEM "x\""),
	  "expected \"key\" to be an Ed25519 public key as PEM" },
	{ T, HEAD(V1, "\"bus-7\"", "null"), "expected \"key\" to be an Ed25519 public key as PEM" },
};

static void readings_are_strict(void **state)
{
	struct pw_export_line line;
	char why[200];

	(void)state;
	for (size_t i = 0; i < sizeof(readings) / sizeof(readings[0]); i++) {
		const char *expected = readings[i].why ? readings[i].why : "";
		int result = read_text(readings[i].text, &line, why);

		if (result != (readings[i].why ? -2 : 0) || strcmp(why, expected) != 0)
			fail_msg("line %d: expected `%s`, got %d, `%s`", readings[i].line, expected,
				 result, why);
		pw_export_free(&line);
		pw_export_free(&line);
	}
}

static void bytes_that_no_line_has(void **state)
{
	static char text[PW_EXPORT_LINE_MAX + 1];
	struct pw_export_line line;
	char why[200];
	size_t n;

	(void)state;
	/* a zero byte, inside and behind */
	memcpy(text, AS_IT_SHOULD_BE, sizeof(AS_IT_SHOULD_BE));
	n = strlen(text);
	assert_int_equal(pw_export_read(text, n + 1, &line, why, sizeof(why)), -2);
	for (size_t i = 0; i < n; i++) {
		char held = text[i];

		text[i] = '\0';
		assert_int_equal(pw_export_read(text, n, &line, why, sizeof(why)), -2);
		text[i] = held;
	}
	/* white space up to the longest line, and one more */
	memset(text + n, ' ', sizeof(text) - n);
	assert_int_equal(pw_export_read(text, PW_EXPORT_LINE_MAX - 2, &line, why, sizeof(why)), 0);
	pw_export_free(&line);
	assert_int_equal(pw_export_read(text, PW_EXPORT_LINE_MAX - 1, &line, why, sizeof(why)), -2);
	assert_string_equal(why, "expected a line of at most 50174 bytes");
	/* a body that is longer than a record's */
	n = (size_t)snprintf(text, sizeof(text), R("1", "1", "\"fault\"", "\"%*s\"", ""),
			     PW_BODY_MAX, "");
	assert_int_equal(pw_export_read(text, n, &line, why, sizeof(why)), 0);
	pw_export_free(&line);
	n = (size_t)snprintf(text, sizeof(text), R("1", "1", "\"fault\"", "\"%*s\"", ""),
			     PW_BODY_MAX + 1, "");
	assert_int_equal(pw_export_read(text, n, &line, why, sizeof(why)), -2);
	assert_string_equal(why, "expected \"body\" to be text of at most 8192 bytes");
	/* brackets as deep as a line is long */
	for (const char *open = "[{"; *open != '\0'; open++) {
		memset(text, *open, PW_EXPORT_LINE_MAX - 2);
		assert_int_equal(pw_export_read(text, PW_EXPORT_LINE_MAX - 2, &line, why,
						sizeof(why)), -2);
	}
	/* a sentence that does not fit is cut, not written over what follows */
	memset(why, '#', sizeof(why));
	assert_int_equal(pw_export_read("{}", 2, &line, why, 10), -2);
	assert_string_equal(why, "expected ");
	assert_int_equal(why[10], '#');
}

/* -- outside ----------------------------------------------------------------------------------- */

/* Outside: python3's json (its strict reading of RFC 8259) and hashlib. The text of J3 is laid out
 * there anew from what json reads, so a hash that agrees says that every string came through. */
static void as_python_reads_it(void **state)
{
	static const char script[] =
		"import hashlib, json, sys\n"
		"def once(pairs):\n"
		"    assert len(pairs) == len(dict(pairs))\n"
		"    return dict(pairs)\n"
		"lines = open(sys.argv[1], 'rb').read().split(b'\\n')\n"
		"assert lines.pop() == b''\n"
		"rows = [json.loads(l.decode('utf-8', 'strict'), object_pairs_hook=once) for l in lines]\n"
		"bus, n = rows[0]['bus'], 0\n"
		"for r in rows[1:]:\n"
		"    if 'seq' not in r: continue\n"
		"    text = '\\n'.join(['postwalk-record-v1', bus, r['epoch'], str(r['seq']),\n"
		"        str(r['boot']), str(r['mono_ms']), str(r['wall_ms']), str(r['wall_ok']),\n"
		"        r['kind'], r['prev'], r['body']])\n"
		"    assert hashlib.sha256(text.encode()).hexdigest() == r['hash'], r\n"
		"    n += 1\n"
		"print(n, rows[-1]['end']['records'], len(rows))\n";
	struct folder *f = *state;
	struct pw_record r;
	struct pw_secret_key key;
	static char text[PW_EXPORT_LINE_MAX];
	char body[64], answer[80];
	FILE *file = fopen(in(f, "export"), "w");

	assert_non_null(file);
	key_from(&key, rfc8032_seed);
	pw_export_head(BUS, &key.public, text, sizeof(text));
	fprintf(file, "%s\n", text);
	for (int c = 1; c < 0x80; c++) {
		snprintf(body, sizeof(body), "%c \\%c \"%c\" T\xc3\xbcr \xe2\x80\xa8 "
			 "\xf0\x9f\x9a\x8c \xef\xbf\xbd %c", c, c, c, c);
		r = sample(body);
		assert_true(pw_export_record(&r, text, sizeof(text)) > 0);
		fprintf(file, "%s\n", text);
	}
	pw_export_end(127, 0, text, sizeof(text));
	fprintf(file, "%s\n", text);
	fclose(file);
	write_file(in(f, "script"), script);
	ask(answer, sizeof(answer), "python3 '%s' '%s' 2>&1", in(f, "script"), in(f, "export"));
	assert_string_equal(answer, "127 127 129");
}

/* Outside: what python3's json writes, in its own manner of escaping, reads the same here. */
static void as_python_writes_it(void **state)
{
	static const char script[] =
		"import json, sys\n"
		"body = ''.join(map(chr, range(1, 0x800))) + '\\u2028\\ufffd\\U0001f68c\\U0010ffff'\n"
		"open(sys.argv[1], 'wb').write(body.encode())\n"
		"print(json.dumps({'hash': '" HASH "', 'seq': 7, 'boot': 2, 'kind': 'fault',\n"
		"    'epoch': '" EPOCH "', 'mono_ms': -1, 'wall_ms': 1, 'wall_ok': 0, 'body': body,\n"
		"    'prev': '" HASH "'}))\n";
	struct folder *f = *state;
	static char text[PW_EXPORT_LINE_MAX];
	char body[PW_BODY_MAX], why[200];
	struct pw_export_line line;
	FILE *file;

	write_file(in(f, "script"), script);
	ask(text, sizeof(text), "python3 '%s' '%s'", in(f, "script"), in(f, "body"));
	file = fopen(in(f, "body"), "r");
	assert_non_null(file);
	body[fread(body, 1, sizeof(body) - 1, file)] = '\0';
	fclose(file);
	if (read_text(text, &line, why))
		fail_msg("%s", why);
	assert_true(strlen(body) > 0x800);
	assert_string_equal(line.record.body, body);
	assert_int_equal(line.record.mono_ms, -1);
	pw_export_free(&line);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_very_text),
		cmocka_unit_test(a_buffer_that_is_too_small),
		cmocka_unit_test(bodies_come_back),
		cmocka_unit_test(what_has_no_line),
		cmocka_unit_test(ends_come_back),
		cmocka_unit_test(readings_are_strict),
		cmocka_unit_test(bytes_that_no_line_has),
		cmocka_unit_test_setup_teardown(as_python_reads_it, with_folder, without_folder),
		cmocka_unit_test_setup_teardown(as_python_writes_it, with_folder, without_folder),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

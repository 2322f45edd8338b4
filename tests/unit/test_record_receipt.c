/* SPDX-License-Identifier: Apache-2.0 */
/* Receipts of the office, as openssl checks and makes them (RFC 8032). */
#include "record_help.h"

#include "postwalk/keys.h"

#define EPOCH "00112233aabbccdd"
/* FIPS 180-4, "abc" */
#define HASH "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
#define NONCE "0123456789abcdef0123456789abcdef"

static struct pw_receipt signed_one(bool alert)
{
	struct pw_receipt r = {
		.alert = alert, .bus = BUS, .epoch = EPOCH, .seq = 812, .hash = HASH,
		.time_ms = 1790000000000, .nonce = NONCE,
	};

	pw_receipt_sign(&r, fixed_key());
	return r;
}

/* docs/protocol.md: seven lines, each with its LF. */
static void the_text_that_is_signed(void **state)
{
	struct pw_receipt r = signed_one(false);
	char text[PW_RECEIPT_TEXT_MAX];
	int n = pw_receipt_text(&r, text);

	(void)state;
	assert_string_equal(text, "postwalk-receipt-v1\nbus-7\n" EPOCH "\n812\n" HASH
			    "\n1790000000000\n" NONCE "\n");
	assert_int_equal(n, strlen(text));
	r.alert = true;
	pw_receipt_text(&r, text);
	assert_string_equal(text, "postwalk-alert-v1\nbus-7\n" EPOCH "\n812\n" HASH
			    "\n1790000000000\n" NONCE "\n");
	r = (struct pw_receipt){ .seq = UINT64_MAX, .time_ms = INT64_MIN, .hash = HASH,
				 .nonce = NONCE, .bus = "a-name-as-long-as-a-bus-can-hav",
				 .epoch = EPOCH };
	n = pw_receipt_text(&r, text);
	assert_true(n < PW_RECEIPT_TEXT_MAX - 1);
	assert_int_equal(n, strlen(text));
}

static void as_openssl_checks_it(void **state)
{
	struct folder *f = *state;
	char text[PW_RECEIPT_TEXT_MAX], pem[PW_PEM_MAX], answer[64];

	pw_public_key_pem(&fixed_key()->public, pem);
	write_file(in(f, "office.pub"), pem);
	for (int alert = 0; alert < 2; alert++) {
		const struct pw_receipt r = signed_one(alert == 1);

		pw_receipt_text(&r, text);
		write_file(in(f, "text"), text);
		write_file(in(f, "hex"), r.sig);
		ask(answer, sizeof(answer), "cd '%s' && tr a-f A-F < hex | basenc --base16 -d > sig &&"
		    " openssl pkeyutl -verify -rawin -pubin -inkey office.pub -in text"
		    " -sigfile sig", f->path);
		assert_string_equal(answer, "Signature Verified Successfully");
	}
}

/* A signature of Ed25519 is the same whoever makes it. */
static void as_openssl_makes_it(void **state)
{
	struct folder *f = *state;
	struct pw_receipt r = signed_one(true);
	char text[PW_RECEIPT_TEXT_MAX], why[PW_WORDS_MAX], hex[160];
	struct pw_secret_key office;
	bool drawn;

	assert_int_equal(pw_secret_key_load(f->path, "office", &office, &drawn, why, sizeof(why)), 0);
	assert_true(drawn);
	pw_receipt_text(&r, text);
	write_file(in(f, "text"), text);
	ask(hex, sizeof(hex), "cd '%s' && openssl pkeyutl -sign -rawin -inkey office.key -in text |"
	    " basenc --base16 -w 0 | tr A-F a-f", f->path);
	pw_receipt_sign(&r, &office);
	assert_string_equal(r.sig, hex);
	assert_true(pw_receipt_holds(&r, &office.public));
	assert_false(pw_receipt_holds(&r, &fixed_key()->public));
}

static void every_field_is_signed(void **state)
{
	const struct pw_public_key *key = &fixed_key()->public;
	const struct pw_receipt good = signed_one(false);
	struct pw_receipt r;

	(void)state;
	assert_true(pw_receipt_holds(&good, key));
#define BENT(change) do { \
		r = good; \
		change; \
		assert_false(pw_receipt_holds(&r, key)); \
	} while (0)
	BENT(r.alert = true);
	BENT(r.bus[0] = 'B');
	BENT(r.epoch[15] = 'e');
	BENT(r.seq++);
	BENT(r.hash[0] = 'c');
	BENT(r.time_ms--);
	BENT(r.nonce[31] = '0');
	BENT(r.sig[0] = r.sig[0] == '0' ? '1' : '0');
	BENT(r.sig[127] = '\0');
	BENT(r.sig[0] = '\0');
#undef BENT
}

/* -- as JSON ----------------------------------------------------------------------------------- */

static void written_and_read_back(void **state)
{
	char text[1024], why[PW_WORDS_MAX] = "", want[1024];
	struct pw_receipt r, back;
	int n;

	(void)state;
	for (int alert = 0; alert < 2; alert++) {
		r = signed_one(alert == 1);
		n = pw_receipt_write(&r, text, sizeof(text));
		snprintf(want, sizeof(want), "{\"receipt\":\"postwalk-%s-v1\",\"bus\":\"bus-7\","
			 "\"epoch\":\"" EPOCH "\",\"seq\":812,\"hash\":\"" HASH "\","
			 "\"time_ms\":1790000000000,\"nonce\":\"" NONCE "\",\"sig\":\"%s\"}",
			 alert ? "alert" : "receipt", r.sig);
		assert_string_equal(text, want);
		assert_int_equal(n, strlen(text));
		assert_int_equal(pw_receipt_read(text, (size_t)n, &back, why, sizeof(why)), 0);
		assert_memory_equal(&back, &r, sizeof(r));
		assert_int_equal(pw_receipt_write(&r, text, (size_t)n), -1);
		assert_int_equal(pw_receipt_write(&r, text, (size_t)n + 1), n);
	}
}

/* An answer of the office says more than its receipt. */
static void what_else_stands_there_is_passed_over(void **state)
{
	const struct pw_receipt r = signed_one(false);
	char text[1024], why[PW_WORDS_MAX] = "";
	struct pw_receipt back;
	int n = pw_receipt_write(&r, text, sizeof(text));

	(void)state;
	n += snprintf(text + n - 1, sizeof(text) - (size_t)n, ",\"fresh\":256,\"fork\":false}") - 1;
	assert_int_equal(pw_receipt_read(text, (size_t)n, &back, why, sizeof(why)), 0);
	assert_memory_equal(&back, &r, sizeof(r));
}

static void what_does_not_fit_is_not_written(void **state)
{
	const struct pw_receipt good = signed_one(false);
	struct pw_receipt r;
	char text[1024];

	(void)state;
#define UNFIT(change) do { \
		r = good; \
		change; \
		assert_int_equal(pw_receipt_write(&r, text, sizeof(text)), -1); \
	} while (0)
	UNFIT(r.bus[0] = '\0');
	UNFIT(r.bus[1] = '"');
	UNFIT(r.epoch[0] = 'A');
	UNFIT(r.seq = 0);
	UNFIT(r.seq = (uint64_t)INT64_MAX + 1);
	UNFIT(r.hash[63] = '\0');
	UNFIT(r.nonce[0] = 'g');
	UNFIT(r.sig[127] = '\0');
#undef UNFIT
}

static void what_is_no_receipt(void **state)
{
	static const char *const spoils[] = { /* scripts of sed */
		"s/.$//", "s/^/ x/", "s/$/}/", "s/postwalk-receipt-v1/postwalk-receipt-v2/",
		"s/\"receipt\":[^,]*,//", "s/\"receipt\":\"[^,]*,/\"receipt\":1,/",
		"s/\"bus\":[^,]*,//", "s/bus-7/bus 7/", "s/bus-7//",
		"s/bus-7/a-name-that-is-longer-than-a-bus-id/", "s/\"epoch\":[^,]*,//",
		"s/00112233aabbccdd/00112233AABBCCDD/", "s/00112233aabbccdd/0011/", "s/812/0/",
		"s/812/-1/", "s/812/1.5/", "s/812/\"812\"/", "s/812/9223372036854775808/",
		"s/\"seq\":[^,]*,//", "s/\"hash\":\"./\"hash\":\"/", "s/\"hash\":[^,]*,//",
		"s/1790000000000/-1/", "s/1790000000000/1e3/", "s/\"time_ms\":[^,]*,//",
		"s/\"nonce\":\"./\"nonce\":\"/", "s/\"nonce\":[^,]*,//",
		"s/\"sig\":\"./\"sig\":\"/", "s/,\"sig\":[^}]*//", "s/\"seq\"/\"seq\":1,\"seq\"/",
		"s/.*/[]/", "s/.*/null/", "s/.*//", "s/bus-7/bus\\\\u0000/",
	};
	struct folder *f = *state;
	const struct pw_receipt good = signed_one(false);
	char text[1024], bent[2048], why[PW_WORDS_MAX];
	struct pw_receipt r;

	assert_true(pw_receipt_write(&good, text, sizeof(text)) > 0);
	write_file(in(f, "good"), text);
	for (size_t i = 0; i < sizeof(spoils) / sizeof(spoils[0]); i++) {
		ask(bent, sizeof(bent), "sed '%s' '%s'", spoils[i], in(f, "good"));
		assert_string_not_equal(bent, text);
		why[0] = '\0';
		if (pw_receipt_read(bent, strlen(bent), &r, why, sizeof(why)) != -2
		    || strncmp(why, "expected a receipt", 18) != 0)
			fail_msg("%s: %s", spoils[i], why);
	}
	for (size_t cut = 0; cut < strlen(text); cut++)
		assert_int_equal(pw_receipt_read(text, cut, &r, why, sizeof(why)), -2);
}

int main(void)
{
#define IN_FOLDER(test) \
	cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_text_that_is_signed),
		IN_FOLDER(as_openssl_checks_it),
		IN_FOLDER(as_openssl_makes_it),
		cmocka_unit_test(every_field_is_signed),
		cmocka_unit_test(written_and_read_back),
		cmocka_unit_test(what_else_stands_there_is_passed_over),
		cmocka_unit_test(what_does_not_fit_is_not_written),
		IN_FOLDER(what_is_no_receipt),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Tokens of forms: of this page, of this visitor, for half an hour, once. */
#include "page_sample.h"

#include <sodium.h>

#define VISIT "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"
#define NOW INT64_C(9000000)

static struct pw_tokens tokens;

static int begin(void **state)
{
	(void)state;
	pw_tokens_begin(&tokens);
	return 0;
}

static enum pw_token_answer take(const char *token, int64_t now_ms)
{
	return pw_token_take(&tokens, VISIT, "/found", token, now_ms);
}

static void a_token_is_taken_once(void **state)
{
	char a[PW_TOKEN_MAX], b[PW_TOKEN_MAX];

	(void)state;
	pw_token_new(&tokens, VISIT, "/found", NOW, a);
	pw_token_new(&tokens, VISIT, "/found", NOW, b);
	assert_string_not_equal(a, b);
	assert_int_equal(take(a, NOW + 1), PW_TOKEN_GOOD);
	assert_int_equal(take(a, NOW + 2), PW_TOKEN_USED_UP);
	assert_int_equal(take(b, NOW + 2), PW_TOKEN_GOOD);
	for (char *c = a; *c; c++) /* the same bits, written otherwise */
		if (*c >= 'a')
			*c = (char)(*c - 'a' + 'A');
	assert_int_equal(take(a, NOW + 3), PW_TOKEN_USED_UP);
}

static void it_is_good_for_half_an_hour(void **state)
{
	char a[PW_TOKEN_MAX];

	(void)state;
	pw_token_new(&tokens, VISIT, "/found", NOW, a);
	assert_int_equal(take(a, NOW + PW_TOKEN_MS + 1), PW_TOKEN_OLD);
	assert_int_equal(take(a, NOW + PW_TOKEN_MS), PW_TOKEN_GOOD);
	assert_int_equal(PW_TOKEN_MS, 30 * 60 * 1000);
}

static void it_is_of_one_visitor_and_one_path(void **state)
{
	static const char other[] =
		"10112233445566778899aabbccddeeff00112233445566778899aabbccddeeff";
	char a[PW_TOKEN_MAX];

	(void)state;
	pw_token_new(&tokens, VISIT, "/found", NOW, a);
	assert_int_equal(pw_token_take(&tokens, other, "/found", a, NOW), PW_TOKEN_FORGED);
	assert_int_equal(pw_token_take(&tokens, "", "/found", a, NOW), PW_TOKEN_FORGED);
	assert_int_equal(pw_token_take(&tokens, VISIT, "/foun", a, NOW), PW_TOKEN_FORGED);
	assert_int_equal(pw_token_take(&tokens, VISIT, "/mechanic", a, NOW), PW_TOKEN_FORGED);
	assert_int_equal(take(a, NOW), PW_TOKEN_GOOD);
}

/* Any bit changed, any length but its own, another key: forged, and the good one is still good. */
static void a_forged_one_is_not_taken(void **state)
{
	static const char *const noise[] = { "", "0", "zz", "00", "  ", "0x" };
	char good[PW_TOKEN_MAX], bad[2 * PW_TOKEN_MAX];
	size_t len;

	(void)state;
	pw_token_new(&tokens, VISIT, "/found", NOW, good);
	len = strlen(good);
	for (size_t i = 0; i < len; i++)
		for (int bit = 0; bit < 4; bit++) {
			static const char hex[] = "0123456789abcdef";

			strcpy(bad, good);
			bad[i] = hex[(strchr(hex, bad[i]) - hex) ^ (1 << bit)];
			assert_int_equal(take(bad, NOW), PW_TOKEN_FORGED);
		}
	for (size_t n = 0; n < len; n++) {
		snprintf(bad, sizeof bad, "%.*s", (int)n, good);
		assert_int_equal(take(bad, NOW), PW_TOKEN_FORGED);
	}
	snprintf(bad, sizeof bad, "%s00", good);
	assert_int_equal(take(bad, NOW), PW_TOKEN_FORGED);
	snprintf(bad, sizeof bad, "%s ", good);
	assert_int_equal(take(bad, NOW), PW_TOKEN_FORGED);
	for (size_t i = 0; i < sizeof noise / sizeof noise[0]; i++)
		assert_int_equal(take(noise[i], NOW), PW_TOKEN_FORGED);
	static struct pw_tokens other; /* as after a restart */

	pw_tokens_begin(&other);
	assert_int_equal(pw_token_take(&other, VISIT, "/found", good, NOW), PW_TOKEN_FORGED);
	assert_int_equal(take(good, NOW), PW_TOKEN_GOOD);
}

/* However many were used, none of them is taken again: what is forgotten counts as old. */
static void no_used_one_is_forgotten(void **state)
{
	enum { MANY = 3 * PW_TOKENS_USED };
	static char used[MANY][PW_TOKEN_MAX];

	(void)state;
	for (int i = 0; i < MANY; i++) {
		pw_token_new(&tokens, VISIT, "/found", NOW + i, used[i]);
		assert_int_equal(take(used[i], NOW + i), PW_TOKEN_GOOD);
	}
	for (int i = 0; i < MANY; i++)
		assert_int_equal(take(used[i], NOW + MANY), i < MANY - PW_TOKENS_USED
				 ? PW_TOKEN_OLD : PW_TOKEN_USED_UP);
	char fresh[PW_TOKEN_MAX];

	pw_token_new(&tokens, VISIT, "/found", NOW + MANY, fresh);
	assert_int_equal(take(fresh, NOW + MANY), PW_TOKEN_GOOD);
}

/* RFC 4231, 4.2 to 4.4, vectors for HMAC-SHA-512; crypto_auth of libsodium is their first 256 bits,
 * with a key of 32 bytes: a shorter one is padded with zeros by HMAC itself (RFC 2104, 2). */
static void the_mac_is_hmac_sha_512(void **state)
{
	static const struct { const char *key, *text, *mac; } vector[] = {
		{ "\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b\x0b",
		  "Hi There", "87aa7cdea5ef619d4ff0b4241a1d6cb02379f4e2ce4ec2787ad0b30545e17cde" },
		{ "Jefe", "what do ya want for nothing?",
		  "164b7a7bfcf819e2e395fbe73b56e0a387bd64222e831fd610270cd7ea250554" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof vector / sizeof vector[0]; i++) {
		unsigned char key[crypto_auth_KEYBYTES] = { 0 }, mac[crypto_auth_BYTES];
		char hex[2 * crypto_auth_BYTES + 1];

		memcpy(key, vector[i].key, strlen(vector[i].key));
		crypto_auth(mac, (const unsigned char *)vector[i].text, strlen(vector[i].text), key);
		sodium_bin2hex(hex, sizeof hex, mac, sizeof mac);
		assert_string_equal(hex, vector[i].mac);
	}
	assert_string_equal(crypto_auth_primitive(), "hmacsha512256");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup(a_token_is_taken_once, begin),
		cmocka_unit_test_setup(it_is_good_for_half_an_hour, begin),
		cmocka_unit_test_setup(it_is_of_one_visitor_and_one_path, begin),
		cmocka_unit_test_setup(a_forged_one_is_not_taken, begin),
		cmocka_unit_test_setup(no_used_one_is_forgotten, begin),
		cmocka_unit_test(the_mac_is_hmac_sha_512),
	};

	return cmocka_run_group_tests_name("page: tokens", tests, NULL, NULL);
}

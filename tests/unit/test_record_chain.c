/* SPDX-License-Identifier: Apache-2.0 */
/* The chain (J3) against FIPS 180-4 and against sha256sum. */
#include "record_help.h"

/* NIST, example values for FIPS 180-4, SHA-256: one block, two blocks, a long message. */
static const struct {
	const char *message;
	unsigned times;
	const char *hash;
} vectors[] = {
	{ "abc", 1, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" },
	{ "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 1,
	  "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1" },
	{ "a", 1000000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0" },
};

static void hash_of_the_standard(void **state)
{
	static struct iovec parts[1000000];
	char hex[65];

	(void)state;
	for (size_t v = 0; v < sizeof(vectors) / sizeof(vectors[0]); v++) {
		for (unsigned i = 0; i < vectors[v].times; i++)
			parts[i] = (struct iovec){
				.iov_base = (char *)(uintptr_t)vectors[v].message,
				.iov_len = strlen(vectors[v].message),
			};
		pw_sha256_hex(parts, (int)vectors[v].times, hex);
		assert_string_equal(hex, vectors[v].hash);
	}
}

static void parts_count_as_one_text(void **state)
{
	static const char text[] = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
	char hex[65];

	(void)state;
	for (size_t cut = 0; cut <= strlen(text); cut++) {
		const struct iovec parts[] = {
			{ .iov_base = (char *)(uintptr_t)text, .iov_len = cut },
			{ .iov_base = (char *)(uintptr_t)(text + cut),
			  .iov_len = strlen(text) - cut },
		};
		pw_sha256_hex(parts, 2, hex);
		assert_string_equal(hex, vectors[1].hash);
	}
}

/* J3, the text laid out by hand; the hash by sha256sum (GNU coreutils). */
static void records_as_sha256sum_has_them(void **state)
{
	struct folder *f = *state;
	static const struct {
		struct pw_record r;
		const char *text;
	} cases[] = {
		{ { .seq = 1, .boot = 1, .mono_ms = 12, .wall_ms = 1790000000012, .wall_ok = true,
		    .kind = PW_K_EXCUSED, .epoch = "00112233aabbccdd", .body = "{\"at_ms\":12}" },
		  "postwalk-record-v1\nbus-7\n00112233aabbccdd\n1\n1\n12\n1790000000012\n1\n"
		  "excused\n"
		  "0000000000000000000000000000000000000000000000000000000000000000\n"
		  "{\"at_ms\":12}" },
		{ { .seq = 9223372036854775807, .boot = 18446744073709551615u, .mono_ms = -5,
		    .wall_ms = -1, .wall_ok = false, .kind = PW_K_FAULT,
		    .epoch = "ffffffffffffffff", .body = "{\"words\":\"T\xc3\xbcr\\n\"}" },
		  "postwalk-record-v1\nbus-7\nffffffffffffffff\n9223372036854775807\n"
		  "18446744073709551615\n-5\n-1\n0\nfault\n"
		  "0000000000000000000000000000000000000000000000000000000000000000\n"
		  "{\"words\":\"T\xc3\xbcr\\n\"}" },
	};
	char outside[80], hash[65];

	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct pw_record r = cases[i].r;

		memcpy(r.prev, PW_CHAIN_ORIGIN, sizeof(r.prev));
		write_file(in(f, "text"), cases[i].text);
		ask(outside, sizeof(outside), "sha256sum '%s' | cut -c1-64", in(f, "text"));
		pw_record_hash(BUS, &r, hash);
		assert_string_equal(hash, outside);
	}
}

/* J8, in its order, and what begins an epoch (J6). */
static void kinds_have_the_names_of_J8(void **state)
{
	static const char *const names[] = { "boot", "policy", "edges", "level", "sweep", "restart",
		"excused", "rung", "fault", "service", "clock", "proof", "found", "setup", "pin",
		"lost", "receipt", "prune", "epoch", "report" };

	(void)state;
	assert_int_equal(sizeof(names) / sizeof(names[0]), PW_KINDS - 1);
	for (unsigned k = 1; k < PW_KINDS; k++) {
		assert_string_equal(pw_kind_name(k), names[k - 1]);
		assert_int_equal(pw_kind_find(names[k - 1]), k);
	}
	assert_int_equal(pw_kind_find("none"), PW_K_NONE);
	assert_int_equal(pw_kind_find("Sweep"), PW_K_NONE);
	assert_int_equal(pw_kind_find(""), PW_K_NONE);
}

/* J3: nothing that stands on a line of its own may break one. */
static void words_of_the_chain(void **state)
{
	(void)state;
	assert_true(pw_chain_word("bus-7"));
	assert_true(pw_chain_word("A.z_0-9"));
	assert_false(pw_chain_word(""));
	assert_false(pw_chain_word("bus 7"));
	assert_false(pw_chain_word("bus\n7"));
	assert_false(pw_chain_word("b\xc3\xbcs"));
	assert_true(pw_hex_text("00ff", 4));
	assert_false(pw_hex_text("00FF", 4));
	assert_false(pw_hex_text("00f", 4));
	assert_false(pw_hex_text("00ff0", 4));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(hash_of_the_standard),
		cmocka_unit_test(parts_count_as_one_text),
		cmocka_unit_test_setup_teardown(records_as_sha256sum_has_them, with_folder,
						without_folder),
		cmocka_unit_test(kinds_have_the_names_of_J8),
		cmocka_unit_test(words_of_the_chain),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

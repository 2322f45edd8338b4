/* SPDX-License-Identifier: Apache-2.0 */
/* Soundness (J10): what is touched is found, where it begins and once; the rest is left alone. */
#include "record_sealed.h"

/* -- touches ----------------------------------------------------------------------------------- */

static void leave(struct items *x)
{
	(void)x;
}

static void edit_body(struct items *x)
{
	record(x, 6)->body = "{\"at_ms\":2}";
}

static void edit_bodies(struct items *x)
{
	record(x, 6)->body = "{\"at_ms\":2}";
	record(x, 7)->body = "{\"at_ms\":2}";
}

static void edit_last_sealed(struct items *x)
{
	record(x, 12)->body = "{\"verdict\":\"done\" }";
}

static void edit_wall(struct items *x)
{
	record(x, 6)->wall_ms++;
}

static void edit_wall_ok(struct items *x)
{
	record(x, 6)->wall_ok = false;
}

static void edit_kind(struct items *x)
{
	record(x, 6)->kind = PW_K_RESTART;
}

static void edit_prev(struct items *x)
{
	record(x, 6)->prev[63] ^= 1;
}

static void edit_hash(struct items *x)
{
	record(x, 6)->hash[0] = record(x, 6)->hash[0] == 'a' ? 'b' : 'a';
}

static void edit_seq(struct items *x)
{
	record(x, 6)->seq = 66;
}

static void edit_and_hash(struct items *x)
{
	struct pw_record *r = record(x, 6);

	edit_body(x);
	pw_record_hash(BUS, r, r->hash);
}

static void edit_and_link(struct items *x)
{
	edit_body(x);
	items_link(x, place(x, 6, false));
}

static void edit_behind_seal_and_link(struct items *x)
{
	item_delete(x, place(x, 12, true));
	record(x, 10)->body = "{\"at_ms\":2}";
	items_link(x, place(x, 10, false));
}

static void edit_first_prev(struct items *x)
{
	struct pw_record *r = record(x, 1);

	r->prev[0] = '1';
	pw_record_hash(BUS, r, r->hash);
	memcpy(record(x, 2)->prev, r->hash, 65);
	items_link(x, place(x, 2, false));
	items_seal(x);
}

static void delete_one(struct items *x)
{
	item_delete(x, place(x, 6, false));
}

static void delete_two(struct items *x)
{
	delete_one(x);
	item_delete(x, place(x, 7, false));
}

static void delete_and_renumber(struct items *x)
{
	delete_one(x);
	for (size_t i = place(x, 7, false); i < x->count; i++)
		if (!x->at[i].is_seal)
			x->at[i].record.seq--;
	items_link(x, place(x, 6, false));
}

static void delete_sealed(struct items *x)
{
	item_delete(x, place(x, 8, false));
}

static void delete_sealed_and_seal(struct items *x)
{
	delete_sealed(x);
	item_delete(x, place(x, 8, true));
}

static void insert_copy(struct items *x)
{
	struct item copy = x->at[place(x, 6, false)];

	item_insert(x, place(x, 7, false), &copy);
}

static void insert_sealed_copy(struct items *x)
{
	struct item copy = x->at[place(x, 12, false)];

	item_insert(x, x->count, &copy);
}

static void insert_older(struct items *x)
{
	struct item copy = x->at[place(x, 3, false)];

	item_insert(x, place(x, 7, false), &copy);
}

static void insert_and_link(struct items *x)
{
	struct item fresh = x->at[place(x, 6, false)];

	fresh.record.seq = 7;
	for (size_t i = place(x, 7, false); i < x->count; i++)
		if (!x->at[i].is_seal)
			x->at[i].record.seq++;
	item_insert(x, place(x, 8, false), &fresh);
	items_link(x, place(x, 7, false));
}

static void swap(struct items *x)
{
	size_t a = place(x, 6, false), b = place(x, 7, false);
	struct item held = x->at[a];

	x->at[a] = x->at[b];
	x->at[b] = held;
}

static void swap_and_renumber(struct items *x)
{
	swap(x);
	record(x, 7)->seq = 0;
	record(x, 6)->seq = 7;
	record(x, 0)->seq = 6;
	items_link(x, place(x, 6, false));
}

static void cut_tail(struct items *x)
{
	x->count = place(x, 11, false);
}

static void cut_tail_at_seal(struct items *x)
{
	x->count = place(x, 9, false);
}

static void cut_all(struct items *x)
{
	x->count = 0;
}

static void cut_records(struct items *x)
{
	x->at[0] = x->at[place(x, 4, true)];
	x->count = 1;
}

static void cut_head_and_renumber(struct items *x)
{
	cut_head(x);
	for (size_t i = 0; i < x->count; i++)
		if (!x->at[i].is_seal)
			x->at[i].record.seq -= 4;
	items_link(x, 0);
}

static void strip_seals(struct items *x)
{
	for (size_t i = x->count; i-- > 0;)
		if (x->at[i].is_seal)
			item_delete(x, i);
}

static void strip_last_seal(struct items *x)
{
	item_delete(x, place(x, 12, true));
}

static void strip_a_seal(struct items *x)
{
	item_delete(x, place(x, 8, true));
}

static void edit_sig(struct items *x)
{
	seal(x, 8)->sig[127] ^= 1;
}

static void edit_last_sig(struct items *x)
{
	seal(x, 12)->sig[0] = seal(x, 12)->sig[0] == '0' ? '1' : '0';
}

static void edit_seal_hash(struct items *x)
{
	seal(x, 8)->hash[5] ^= 1;
}

static void edit_seal_seq(struct items *x)
{
	seal(x, 8)->seq = 7;
}

static void sign_other_seq(struct items *x)
{
	edit_seal_seq(x);
	pw_seal_make(BUS, EPOCH, seal(x, 7), &x->key);
}

static void double_seal(struct items *x)
{
	struct item copy = x->at[place(x, 8, true)];

	item_insert(x, place(x, 9, false), &copy);
}

static void move_seal(struct items *x)
{
	struct item held = x->at[place(x, 8, true)];

	item_delete(x, place(x, 8, true));
	item_insert(x, place(x, 10, false), &held);
}

static void seal_first(struct items *x)
{
	struct item copy = x->at[place(x, 4, true)];

	item_insert(x, 0, &copy);
}

static void sign_anew(struct items *x)
{
	struct pw_secret_key own = x->key;
	static const unsigned char other[32] = { 1 };

	edit_and_link(x);
	key_from(&x->key, other);
	items_seal(x);
	x->key = own;
}

static void sign_one_anew(struct items *x)
{
	struct pw_secret_key own = x->key;
	static const unsigned char other[32] = { 1 };

	key_from(&x->key, other);
	item_seal(x, place(x, 8, true));
	x->key = own;
}

static void other_epoch_at_one(struct items *x)
{
	record(x, 9)->epoch[0] = 'f';
	items_link(x, place(x, 9, false));
}

static void other_epoch_from_one(struct items *x)
{
	for (uint64_t seq = 9; seq <= 12; seq++)
		record(x, seq)->epoch[0] = 'f';
	items_link(x, place(x, 9, false));
	items_seal(x);
}

static void other_journal_behind(struct items *x)
{
	struct items other;

	items_make(&other, JOURNAL);
	for (size_t i = 0; i < other.count; i++)
		other.at[i].record.epoch[0] = 'f';
	items_link(&other, 0);
	items_seal(&other);
	for (size_t i = 0; i < 4; i++)
		item_insert(x, x->count, &other.at[i]);
}

static const struct touch {
	int line;
	const char *legend;
	void (*touch)(struct items *x);
	struct expected found[6];
} touches[] = {
	{ T, "nothing", leave, { { 0, 0 } } },
	{ T, "a body", edit_body, { { CHAIN, 6 } } },
	{ T, "two bodies: two touches", edit_bodies, { { CHAIN, 6 }, { CHAIN, 7 } } },
	{ T, "the body that the last seal covers", edit_last_sealed, { { CHAIN, 12 } } },
	{ T, "a wall time", edit_wall, { { CHAIN, 6 } } },
	{ T, "wall_ok", edit_wall_ok, { { CHAIN, 6 } } },
	{ T, "a kind", edit_kind, { { CHAIN, 6 } } },
	{ T, "a prev", edit_prev, { { CHAIN, 6 } } },
	{ T, "a hash: its text, and the next one's prev", edit_hash, { { CHAIN, 6 }, { CHAIN, 7 } } },
	{ T, "a seq", edit_seq, { { GAP, 66 }, { CHAIN, 66 }, { GAP, 7 } } },
	{ T, "a body, hashed anew", edit_and_hash, { { CHAIN, 7 } } },
	{ T, "a body, all hashed anew", edit_and_link, { { SEAL, 8 }, { UNSEALED, 5 } } },
	{ T, "behind the last seal, hashed anew: nothing vouches for it",
	  edit_behind_seal_and_link, { { UNSEALED, 9 } } },
	{ T, "the first prev, all hashed and sealed anew", edit_first_prev, { { CHAIN, 1 } } },
	{ T, "one gone", delete_one, { { GAP, 7 } } },
	{ T, "two gone", delete_two, { { GAP, 8 } } },
	{ T, "one gone, renumbered and hashed anew", delete_and_renumber,
	  { { SEAL, 8 }, { UNSEALED, 5 } } },
	{ T, "a sealed one gone", delete_sealed, { { SEAL, 8 }, { GAP, 9 } } },
	{ T, "a sealed one gone with its seal", delete_sealed_and_seal, { { GAP, 9 } } },
	{ T, "one twice", insert_copy, { { GAP, 6 } } },
	{ T, "the last one twice, the second behind the seal", insert_sealed_copy,
	  { { GAP, 12 }, { UNSEALED, 12 } } },
	{ T, "an older one again", insert_older, { { GAP, 3 }, { MONO, 3 }, { GAP, 7 },
						    { STEP, 7 } } },
	{ T, "one more, renumbered and hashed anew", insert_and_link,
	  { { SEAL, 8 }, { UNSEALED, 5 } } },
	{ T, "two swapped", swap, { { GAP, 7 }, { GAP, 6 }, { MONO, 6 }, { GAP, 8 } } },
	{ T, "two swapped, renumbered and hashed anew", swap_and_renumber,
	  { { MONO, 7 }, { SEAL, 8 }, { UNSEALED, 5 } } },
	{ T, "the tail cut off", cut_tail, { { UNSEALED, 9 } } },
	{ T, "the tail cut off at a seal: only an outside witness knows", cut_tail_at_seal,
	  { { 0, 0 } } },
	{ T, "nothing left", cut_all, { { UNSEALED, 0 } } },
	{ T, "nothing left but a seal", cut_records, { { SEAL, 4 }, { UNSEALED, 0 } } },
	{ T, "the head cut off", cut_head, { { PRUNED, 5 } } },
	{ T, "the head cut off, renumbered and hashed anew", cut_head_and_renumber,
	  { { SEAL, 8 }, { UNSEALED, 1 } } },
	{ T, "no seals", strip_seals, { { UNSEALED, 1 } } },
	{ T, "no last seal", strip_last_seal, { { UNSEALED, 9 } } },
	{ T, "one seal fewer: a later one vouches for as much", strip_a_seal, { { 0, 0 } } },
	{ T, "a signature", edit_sig, { { SEAL, 8 } } },
	{ T, "the last signature", edit_last_sig, { { SEAL, 12 }, { UNSEALED, 9 } } },
	{ T, "a seal's hash", edit_seal_hash, { { SEAL, 8 } } },
	{ T, "a seal's seq", edit_seal_seq, { { SEAL, 7 } } },
	{ T, "a seal's seq, signed anew", sign_other_seq, { { SEAL, 7 } } },
	{ T, "a seal twice", double_seal, { { SEAL, 8 } } },
	{ T, "a seal one further on", move_seal, { { SEAL, 8 } } },
	{ T, "a seal before all records", seal_first, { { SEAL, 4 } } },
	{ T, "a body, all hashed and sealed anew with another key", sign_anew,
	  { { SEAL, 4 }, { UNSEALED, 1 } } },
	{ T, "one seal by another key", sign_one_anew, { { SEAL, 8 } } },
	{ T, "one record of another epoch, hashed anew", other_epoch_at_one,
	  { { PW_FLAW_EPOCH, 9 }, { PW_FLAW_EPOCH, 10 }, { SEAL, 12 }, { UNSEALED, 9 } } },
	{ T, "another epoch from one record on, hashed and sealed anew", other_epoch_from_one,
	  { { PW_FLAW_EPOCH, 9 } } },
	{ T, "another journal behind this one", other_journal_behind,
	  { { PW_FLAW_EPOCH, 1 }, { UNSEALED, 1 } } },
};

/* J10: each touch by what it is, where it begins, and nothing else. */
static void touches_are_found(void **state)
{
	struct items x;
	struct findings found;
	struct pw_check c;

	(void)state;
	for (size_t i = 0; i < sizeof(touches) / sizeof(touches[0]); i++) {
		items_make(&x, JOURNAL);
		touches[i].touch(&x);
		items_check(&x, &x.key.public, &c, &found);
		assert_found(&found, touches[i].found, touches[i].line);
	}
}

/* J10: what can be read at any time. */
static void where_it_stands(void **state)
{
	struct items x;
	struct findings found;
	struct pw_check c;

	(void)state;
	items_make(&x, JOURNAL);
	items_check(&x, &x.key.public, &c, &found);
	assert_int_equal(c.first, 1);
	assert_int_equal(c.seq, 12);
	assert_int_equal(c.sealed, 12);
	assert_int_equal(c.records, 12);
	assert_int_equal(c.seals, 3);
	assert_string_equal(c.epoch, EPOCH);
	assert_string_equal(c.hash, record(&x, 12)->hash);
	assert_string_equal(c.first_prev, PW_CHAIN_ORIGIN);
	assert_int_equal(c.boot, 2);
	assert_int_equal(c.mono_ms, 90000);
}

static void without_the_right_key(void **state)
{
	static const unsigned char seed[32] = { 7 };
	struct pw_secret_key other;
	struct items x;
	struct findings found;
	struct pw_check c;

	(void)state;
	key_from(&other, seed);
	items_make(&x, JOURNAL);
	items_check(&x, &other.public, &c, &found);
	assert_found(&found, (struct expected[]){ { SEAL, 4 }, { UNSEALED, 1 }, { 0, 0 } }, T);
	items_check(&x, NULL, &c, &found);
	assert_found(&found, (struct expected[]){ { UNSEALED, 1 }, { 0, 0 } }, T);
	assert_int_equal(c.seals, 3);
}

/* -- the rest ---------------------------------------------------------------------------------- */

static void the_ends_of_seq(void **state)
{
	static const struct {
		int line;
		uint64_t first, second;
		struct expected found[4];
	} cases[] = {
		{ T, 0, 1, { { PRUNED, 0 }, { UNSEALED, 1 } } },
		{ T, 1, 0, { { GAP, 0 }, { 0, 0 } } },
		{ T, UINT64_MAX, 0, { { GAP, 0 }, { PRUNED, UINT64_MAX } } },
		{ T, UINT64_MAX - 1, UINT64_MAX,
		  { { PRUNED, UINT64_MAX - 1 }, { UNSEALED, UINT64_MAX - 1 } } },
		{ T, 1, UINT64_MAX, { { GAP, UINT64_MAX }, { UNSEALED, 1 } } },
	};
	struct items x;
	struct findings found;
	struct pw_check c;

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		items_make(&x, JOURNAL);
		x.count = 2;
		x.at[0].record.seq = cases[i].first;
		x.at[1].record.seq = cases[i].second;
		items_link(&x, 0);
		items_check(&x, NULL, &c, &found);
		assert_found(&found, cases[i].found, cases[i].line);
	}
}

/* J6: a touch begins a new epoch; a power cut leaves an unsealed tail, and clocks are clocks. */
static void damage_and_oddities(void **state)
{
	(void)state;
	assert_true(pw_flaw_is_damage(PW_FLAW_EPOCH));
	assert_true(pw_flaw_is_damage(PW_FLAW_GAP));
	assert_true(pw_flaw_is_damage(PW_FLAW_CHAIN));
	assert_true(pw_flaw_is_damage(PW_FLAW_SEAL));
	assert_true(pw_flaw_is_damage(PW_FLAW_PRUNED));
	assert_false(pw_flaw_is_damage(PW_FLAW_UNSEALED));
	assert_false(pw_flaw_is_damage(PW_FLAW_MONO));
	assert_false(pw_flaw_is_damage(PW_FLAW_WALL));
}

/* -- made outside ------------------------------------------------------------------------------ */

/* J3, J4: a record hashed by sha256sum (GNU coreutils) and a seal signed by openssl with the key of
 * RFC 8032, section 7.1, TEST 1 (from memory; openssl and libsodium derive the public half that is
 * remembered with it); both texts laid out by hand. Found sound. */
static void a_journal_made_by_other_tools(void **state)
{
	static const struct pw_public_key key = { {
		0xd7, 0x5a, 0x98, 0x01, 0x82, 0xb1, 0x0a, 0xb7, 0xd5, 0x4b, 0xfe, 0xd3, 0xc9, 0x64,
		0x07, 0x3a, 0x0e, 0xe1, 0x72, 0xf3, 0xda, 0xa6, 0x23, 0x25, 0xaf, 0x02, 0x1a, 0x68,
		0xf7, 0x07, 0x51, 0x1a } };
	static const unsigned char der[16] = { 0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03,
		0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20 }; /* RFC 8410 */
	struct folder *f = *state;
	struct pw_record r = { .seq = 1, .boot = 3, .mono_ms = 12, .wall_ms = 1790000000012,
		.kind = PW_K_FAULT, .epoch = EPOCH, .body = "{\"words\":\"T\xc3\xbcr\\n\"}" };
	struct pw_seal s = { .seq = 1 };
	struct findings found = { 0 };
	struct pw_check c;
	char text[512], hash[80];
	FILE *file;

	memcpy(r.prev, PW_CHAIN_ORIGIN, 65);
	write_file(in(f, "record"), "postwalk-record-v1\nbus-7\n00112233aabbccdd\n1\n3\n12\n"
		   "1790000000012\n0\nfault\n"
		   "0000000000000000000000000000000000000000000000000000000000000000\n"
		   "{\"words\":\"T\xc3\xbcr\\n\"}");
	ask(hash, sizeof(hash), "sha256sum '%s' | cut -c1-64", in(f, "record"));
	assert_int_equal(strlen(hash), 64);
	memcpy(r.hash, hash, 65);
	memcpy(s.hash, hash, 65);
	snprintf(text, sizeof(text), "postwalk-seal-v1\nbus-7\n00112233aabbccdd\n1\n%s\n", hash);
	write_file(in(f, "seal"), text);
	file = fopen(in(f, "key"), "w");
	assert_non_null(file);
	fwrite(der, 1, sizeof(der), file);
	fwrite(rfc8032_seed, 1, sizeof(rfc8032_seed), file);
	fclose(file);
	ask(text, sizeof(text), "openssl pkeyutl -sign -rawin -keyform DER -inkey '%s' -in '%s' |"
	    " od -An -v -tx1 | tr -d ' \\n'", in(f, "key"), in(f, "seal"));
	assert_int_equal(strlen(text), 128);
	memcpy(s.sig, text, 129);

	pw_check_begin(&c, BUS, &key, take_finding, &found);
	pw_check_record(&c, &r);
	pw_check_seal(&c, &s);
	pw_check_end(&c);
	assert_found(&found, (struct expected[]){ { 0, 0 } }, T);
	assert_int_equal(c.sealed, 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(touches_are_found),
		cmocka_unit_test(where_it_stands),
		cmocka_unit_test(without_the_right_key),
		cmocka_unit_test(the_ends_of_seq),
		cmocka_unit_test(damage_and_oddities),
		cmocka_unit_test_setup_teardown(a_journal_made_by_other_tools, with_folder,
						without_folder),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Accounts, tokens, holds and temperatures as the store keeps them. */
#include "store_world.h"

#define HASH_ONE "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"
#define HASH_TWO "ff112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"

static struct pw_account account(const char *code, enum pw_office_role role)
{
	struct pw_account a = { .role = role, .must_change = true, .made_ms = 1, .changed_ms = 2,
				.seen_ms = 3 };

	snprintf(a.code, sizeof(a.code), "%s", code);
	snprintf(a.hash, sizeof(a.hash), "$argon2id$v=19$m=65536,t=2,p=1$%s", code);
	return a;
}

static int list_account(void *ctx, const struct pw_account *a)
{
	char *text = ctx;

	snprintf(text + strlen(text), 200 - strlen(text), "%s:%d ", a->code, (int)a->role);
	return 0;
}

static void accounts_come_back_as_they_were_put(struct world *w)
{
	struct pw_account put = account("O-2", PW_MAY_ACT), got;
	char all[200] = "";

	IN_TRANSACTION(w->s, pw_people_put(w->s, &put, WHY));
	put = account("O-1", PW_MAY_SEE);
	IN_TRANSACTION(w->s, pw_people_put(w->s, &put, WHY));
	put = account("O-2", PW_MAY_ADMINISTER);
	put.must_change = false;
	put.seen_ms = NOON_MS;
	IN_TRANSACTION(w->s, pw_people_put(w->s, &put, WHY));
	again(w);
	assert_int_equal(pw_people_one(w->s, "O-2", &got, WHY), 1);
	assert_string_equal(got.code, "O-2");
	assert_string_equal(got.hash, put.hash);
	assert_int_equal(got.role, PW_MAY_ADMINISTER);
	assert_false(got.must_change);
	assert_int_equal(got.made_ms, 1);
	assert_int_equal(got.changed_ms, 2);
	assert_int_equal(got.seen_ms, NOON_MS);
	assert_int_equal(pw_people_one(w->s, "O-3", &got, WHY), 0);
	assert_int_equal(got.role, PW_MAY_NOTHING);
	FINE(pw_people_all(w->s, list_account, all, WHY));
	assert_string_equal(all, "O-1:1 O-2:3 ");
}

/* It is of an account that may something, and not over. */
static void tokens_hold_until_they_end(struct world *w)
{
	struct pw_account put = account("O-1", PW_MAY_SEE);
	char code[PW_AUDIT_CODE];

	IN_TRANSACTION(w->s, pw_people_put(w->s, &put, WHY));
	IN_TRANSACTION(w->s, pw_people_token_put(w->s, HASH_ONE, "O-1", "the board in the hall",
						 NOON_MS, WHY));
	IN_TRANSACTION(w->s, pw_people_token_put(w->s, HASH_TWO, "O-9", "of nobody", NOON_MS, WHY));
	assert_int_equal(pw_people_token(w->s, HASH_ONE, NOON_MS - 1, code, WHY), 1);
	assert_string_equal(code, "O-1");
	assert_int_equal(pw_people_token(w->s, HASH_ONE, NOON_MS, code, WHY), 0);
	assert_string_equal(code, "");
	assert_int_equal(pw_people_token(w->s, HASH_TWO, NOON_MS - 1, code, WHY), 0);
	put.role = PW_MAY_NOTHING;
	IN_TRANSACTION(w->s, pw_people_put(w->s, &put, WHY));
	assert_int_equal(pw_people_token(w->s, HASH_ONE, NOON_MS - 1, code, WHY), 0);
	put.role = PW_MAY_ADMINISTER;
	IN_TRANSACTION(w->s, pw_people_put(w->s, &put, WHY));
	IN_TRANSACTION(w->s, pw_people_token_put(w->s, HASH_ONE, "O-1", "ended", 1, WHY));
	assert_int_equal(pw_people_token(w->s, HASH_ONE, NOON_MS - 1, code, WHY), 0);
}

static int list_hold(void *ctx, const struct pw_hold *h)
{
	char *text = ctx;

	snprintf(text + strlen(text), 300 - strlen(text), "%" PRIu64 " %s %d-%d %s %s%s; ", h->id,
		 h->bus, h->from, h->to, h->who, h->words, h->lifted_ms > 0 ? " lifted" : "");
	return 0;
}

static void holds_stand_until_they_are_lifted(struct world *w)
{
	struct pw_hold h = { .bus = "14", .from = 20260901, .to = 20260930, .at_ms = NOON_MS,
			     .who = "O-1", .words = "case 7" };
	struct pw_hold any = { .from = 0, .to = 0, .who = "O-2", .words = "all of it" };
	char all[300] = "", other[300] = "";
	uint64_t first;

	IN_TRANSACTION(w->s, pw_keep_hold(w->s, &h, WHY));
	first = h.id;
	IN_TRANSACTION(w->s, pw_keep_hold(w->s, &any, WHY));
	assert_int_not_equal(first, any.id);
	FINE(pw_store_begin(w->s, WHY));
	assert_int_equal(pw_keep_lift(w->s, first, "O-3", NOON_MS + 1, WHY), 1);
	assert_int_equal(pw_keep_lift(w->s, first, "O-3", NOON_MS + 2, WHY), 0);
	assert_int_equal(pw_keep_lift(w->s, 999, "O-3", NOON_MS + 2, WHY), 0);
	FINE(pw_store_commit(w->s, WHY));
	FINE(pw_keep_holds(w->s, list_hold, all, WHY));
	snprintf(other, sizeof(other), "%" PRIu64 " 14 20260901-20260930 O-1 case 7 lifted; %" PRIu64
		 "  0-0 O-2 all of it; ", first, any.id);
	assert_string_equal(all, other);
	h.from = 20261001;
	assert_int_equal(pw_keep_hold(w->s, &h, WHY), -2);
	assert_string_equal(why, "expected a hold from a day to the same or a later one, got "
				 "20261001 to 20260930");
	h.from = 20260931;
	h.to = 0;
	assert_int_equal(pw_keep_hold(w->s, &h, WHY), -2);
}

static int list_warmth(void *ctx, int64_t at_ms, int32_t c10, const char *source)
{
	char *text = ctx;

	snprintf(text + strlen(text), 200 - strlen(text), "%d:%d %s; ", (int)(at_ms - NOON_MS),
		 c10, source);
	return 0;
}

static void temperatures_are_given_in_order_of_time(struct world *w)
{
	static const int at[] = { 60, 0, 30, 90 };
	char of_bus[200] = "", outside_it[200] = "";

	FINE(pw_store_begin(w->s, WHY));
	for (int i = 0; i < 4; i++)
		FINE(pw_audit_warmth(w->s, "14", NOON_MS + at[i], 100 + at[i], "its sensor", WHY));
	FINE(pw_audit_warmth(w->s, "14", NOON_MS + 30, -55, "its sensor, read again", WHY));
	FINE(pw_audit_warmth(w->s, "", NOON_MS + 30, 321, "weather.csv", WHY));
	FINE(pw_store_commit(w->s, WHY));
	FINE(pw_audit_warmths(w->s, "14", NOON_MS, NOON_MS + 90, list_warmth, of_bus, WHY));
	assert_string_equal(of_bus, "0:100 its sensor; 30:-55 its sensor, read again; "
				    "60:160 its sensor; ");
	FINE(pw_audit_warmths(w->s, "", NOON_MS, NOON_MS + 90, list_warmth, outside_it, WHY));
	assert_string_equal(outside_it, "30:321 weather.csv; ");
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(accounts_come_back_as_they_were_put),
		CASE(tokens_hold_until_they_end),
		CASE(holds_stand_until_they_are_lifted),
		CASE(temperatures_are_given_in_order_of_time),
	};

	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}

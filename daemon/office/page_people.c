/* SPDX-License-Identifier: Apache-2.0 */
/* Accounts: who may do what, by their codes; and tokens for programs. */
#include <stdlib.h>
#include <string.h>

#include "web_internal.h"
#include "postwalk/text.h"

#define DAY_MS INT64_C(86400000)

static const struct { enum pw_office_role role; enum pw_phrase phrase; } roles[] = {
	{ PW_MAY_SEE, PW_P_SEE },
	{ PW_MAY_ACT, PW_P_ACT },
	{ PW_MAY_ADMINISTER, PW_P_ADMINISTER },
	{ PW_MAY_NOTHING, PW_P_CLOSED },
};
#define ROLES (sizeof(roles) / sizeof(roles[0]))

static enum pw_phrase phrase_of(enum pw_office_role role)
{
	for (size_t i = 0; i < ROLES; i++)
		if (roles[i].role == role)
			return roles[i].phrase;
	return PW_P_CLOSED;
}

/* -- what there is ----------------------------------------------------------------------------- */

struct listing {
	struct pw_account *account;
	size_t accounts, open, administer;
};

static int keep_account(void *ctx, const struct pw_account *a)
{
	struct listing *l = ctx;

	if ((l->accounts & (l->accounts - 1)) == 0) {
		const size_t room = l->accounts ? l->accounts * 2 : 1;
		struct pw_account *more = realloc(l->account, room * sizeof(*more));

		if (!more)
			return -1;
		l->account = more;
	}
	l->account[l->accounts++] = *a;
	l->open += a->role != PW_MAY_NOTHING;
	l->administer += a->role == PW_MAY_ADMINISTER;
	return 0;
}

static int work_list(struct pw_store *s, void *ctx, char *why, size_t size)
{
	return pw_people_all(s, keep_account, ctx, why, size);
}

static void put_time(struct pw_table *t, int64_t ms)
{
	pw_cell_put_time(t, ms ? ms : INT64_MIN);
}

static void put_accounts(struct pw_report *r, const struct listing *l)
{
	static const struct pw_column columns[] = {
		{ "account", PW_P_PEOPLE_CODE, PW_COL_TEXT, 0, false },
		{ "may", PW_P_PEOPLE_MAY, PW_COL_WORD, 0, false },
		{ "password", PW_P_PEOPLE_FIRST, PW_COL_WORD, 0, false },
		{ "seen", PW_P_PEOPLE_SEEN, PW_COL_MOMENT, 0, false },
		{ "changed", PW_P_PEOPLE_CHANGED, PW_COL_MOMENT, 0, false },
		{ "made", PW_P_PEOPLE_MADE, PW_COL_MOMENT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = pw_report_table(r, "accounts", PW_P_PEOPLE_ACCOUNTS, columns);

	pw_table_none(t, PW_P_PEOPLE_NONE);
	for (size_t i = 0; i < l->accounts; i++) {
		const struct pw_account *a = &l->account[i];

		pw_cell_put_text(t, a->code);
		pw_cell_put_word(t, phrase_of(a->role));
		pw_cell_put_word(t, a->must_change ? PW_P_PEOPLE_GIVEN : PW_P_PEOPLE_OWN);
		put_time(t, a->seen_ms);
		put_time(t, a->changed_ms);
		put_time(t, a->made_ms);
	}
}

/* -- forms ------------------------------------------------------------------------------------- */

static void put_account_form(const struct pw_asked *q, struct pw_report *r)
{
	const char *role = pw_asked_value(q, "role");

	pw_report_say(r, PW_SAY_HEADING, PW_P_PEOPLE_MAKE, NULL);
	pw_report_form(r, "/people", false);
	pw_report_field(r, PW_FIELD_HIDDEN, "what", PW_P_NONE, "account", false);
	pw_report_field(r, PW_FIELD_CODE, "code", PW_P_PEOPLE_CODE_HELP, pw_asked_value(q, "code"), true);
	pw_report_field(r, PW_FIELD_CHOICE, "role", PW_P_PEOPLE_MAY, NULL, true);
	for (size_t i = 0; i < ROLES; i++)
		pw_report_choice(r, pw_may_name(roles[i].role), roles[i].phrase,
				 strcmp(role, pw_may_name(roles[i].role)) == 0);
	pw_report_field(r, PW_FIELD_TICK, "fresh", PW_P_PEOPLE_FRESH, NULL, false);
	pw_report_form_end(r, PW_P_PEOPLE_SAVE);
}

static void put_token_form(const struct pw_asked *q, struct pw_report *r)
{
	const char *days = pw_asked_value(q, "days");

	pw_report_say(r, PW_SAY_HEADING, PW_P_PEOPLE_TOKENS, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_PEOPLE_TOKEN_WHAT, NULL);
	pw_report_form(r, "/people", false);
	pw_report_field(r, PW_FIELD_HIDDEN, "what", PW_P_NONE, "token", false);
	pw_report_field(r, PW_FIELD_CODE, "account", PW_P_PEOPLE_TOKEN_FOR,
			pw_asked_value(q, "account"), true);
	pw_report_field(r, PW_FIELD_TEXT, "words", PW_P_PEOPLE_TOKEN_WORDS,
			pw_asked_value(q, "words"), true);
	pw_report_field(r, PW_FIELD_TEXT, "days", PW_P_PEOPLE_TOKEN_DAYS, days[0] ? days : "365", true);
	pw_report_form_end(r, PW_P_PEOPLE_TOKEN_MAKE);
}

int pw_people_get(struct pw_asked *q, struct pw_report *r)
{
	struct listing l = { .accounts = 0 };
	const int result = pw_asked_desk(q, work_list, &l);

	if (result == 0) {
		pw_report_say(r, PW_SAY_TITLE, PW_P_PEOPLE_NAME, NULL);
		pw_report_say(r, PW_SAY_LEAD, PW_P_PEOPLE_LEAD,
			      pw_report_count(r, (int64_t)l.open),
			      pw_report_count(r, (int64_t)l.administer), NULL);
		put_accounts(r, &l);
		put_account_form(q, r);
		put_token_form(q, r);
	}
	free(l.account);
	return result;
}

/* -- what is sent ------------------------------------------------------------------------------ */

static bool is_code(const char *code)
{
	return pw_chain_word(code) && strlen(code) < PW_AUDIT_CODE;
}

static void say(struct pw_asked *q, enum pw_phrase phrase, const char *const *fill)
{
	FILE *out = fmemopen(q->said, sizeof(q->said), "w");

	if (!out)
		return;
	pw_phrase_fill(out, pw_phrase(q->tongue, phrase), fill);
	fclose(out);
	q->said[sizeof(q->said) - 1] = '\0';
}

static int post_account(struct pw_asked *q)
{
	const int role = pw_may_find(pw_asked_value(q, "role"));
	struct pw_account_order a = { .by = q->who, .code = pw_asked_value(q, "code"),
				      .fresh = pw_asked_value(q, "fresh")[0] != '\0' };
	char why[240];

	if (!is_code(a.code))
		return pw_asked_wrong(q, "code", PW_P_PEOPLE_BAD_CODE, NULL);
	if (role < 0)
		return pw_asked_wrong(q, "role", PW_P_PEOPLE_BAD_ROLE, NULL);
	if (strcmp(a.code, q->who) == 0)
		return pw_asked_wrong(q, "code", PW_P_PEOPLE_SELF, NULL);
	a.role = (enum pw_office_role)role;
	if (pw_account_order(q->o, &a, why, sizeof(why))) {
		pw_office_say("page /people: %s", why);
		return -1;
	}
	const char *const fill[] = { a.code, pw_phrase(q->tongue, phrase_of(a.role)), a.first, NULL };

	say(q, a.first[0] ? PW_P_PEOPLE_DRAWN : PW_P_PEOPLE_SAVED, fill);
	return 0;
}

static int post_token(struct pw_asked *q)
{
	const char *days = pw_asked_value(q, "days"), *words = pw_asked_value(q, "words");
	const char *code = pw_asked_value(q, "account");
	const long n = strlen(days) < 4 && strspn(days, "0123456789") == strlen(days) ? atol(days) : 0;
	char token[PW_TOKEN_DIGITS + 1], why[240];
	int result;

	if (!is_code(code))
		return pw_asked_wrong(q, "account", PW_P_PEOPLE_BAD_CODE, NULL);
	if (!words[0] || strlen(words) > 160)
		return pw_asked_wrong(q, "words", PW_P_PEOPLE_BAD_WORDS, NULL);
	if (n < 1 || n > PW_TOKEN_DAYS_MOST)
		return pw_asked_wrong(q, "days", PW_P_PEOPLE_BAD_DAYS, NULL);
	result = pw_account_token(q->o, q->who, code, words, q->now_ms + n * DAY_MS, token, why,
				  sizeof(why));
	if (result == -2)
		return pw_asked_wrong(q, "account", PW_P_PEOPLE_NO_ACCOUNT, NULL);
	if (result)
		return result;
	const char *const fill[] = { token, NULL };

	say(q, PW_P_PEOPLE_TOKEN_MADE, fill);
	return 0;
}

int pw_people_post(struct pw_asked *q)
{
	return strcmp(pw_asked_value(q, "what"), "token") == 0 ? post_token(q) : post_account(q);
}

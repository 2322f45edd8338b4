/* SPDX-License-Identifier: Apache-2.0 */
/* Accounts: who may do what, by their codes; and tokens for programs. */
#include <stdlib.h>
#include <string.h>

#include "web_internal.h"
#include "postwalk/text.h"

#define DAY_MS INT64_C(86400000)
#define SHORT 12 /* digits of a token's SHA-256: what it is called */

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

struct token {
	char hash[65], code[PW_AUDIT_CODE], words[164];
	int64_t ends_ms;
};
struct listing {
	struct pw_account *account;
	size_t accounts, open, administer;
	struct token *token;
	size_t tokens;
};

/* Room for one more of n. */
static void *more_of(void *of, size_t n, size_t each)
{
	return n & (n - 1) ? of : realloc(of, (n ? n * 2 : 1) * each);
}

static int keep_account(void *ctx, const struct pw_account *a)
{
	struct listing *l = ctx;
	struct pw_account *more = more_of(l->account, l->accounts, sizeof(*more));

	if (!more)
		return -1;
	l->account = more;
	l->account[l->accounts++] = *a;
	l->open += a->role != PW_MAY_NOTHING;
	l->administer += a->role == PW_MAY_ADMINISTER;
	return 0;
}

static int keep_token(void *ctx, const char *hash, const char *code, const char *words,
		      int64_t ends_ms)
{
	struct listing *l = ctx;
	struct token *more = more_of(l->token, l->tokens, sizeof(*more)), *t;

	if (!more)
		return -1;
	l->token = more;
	t = &l->token[l->tokens++];
	snprintf(t->hash, sizeof(t->hash), "%s", hash);
	snprintf(t->code, sizeof(t->code), "%s", code);
	snprintf(t->words, sizeof(t->words), "%s", words);
	t->ends_ms = ends_ms;
	return 0;
}

static int work_list(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const int result = pw_people_all(s, keep_account, ctx, why, size);

	return result ? result : pw_people_tokens(s, keep_token, ctx, why, size);
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
		pw_cell_put_word(t, a->must_change ? PW_P_FIRST_PASSWORD : PW_P_OWN_PASSWORD);
		put_time(t, a->seen_ms);
		put_time(t, a->changed_ms);
		put_time(t, a->made_ms);
	}
}

static void put_tokens(struct pw_report *r, const struct listing *l)
{
	static const struct pw_column columns[] = {
		{ "token", PW_P_PEOPLE_TOKEN, PW_COL_TEXT, 0, false },
		{ "account", PW_P_PEOPLE_TOKEN_FOR, PW_COL_TEXT, 0, false },
		{ "words", PW_P_PEOPLE_TOKEN_WORDS, PW_COL_TEXT, 0, false },
		{ "ends", PW_P_PEOPLE_TOKEN_ENDS, PW_COL_MOMENT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = pw_report_table(r, "tokens", PW_P_PEOPLE_TOKENS, columns);

	pw_table_none(t, PW_P_PEOPLE_TOKEN_NONE);
	for (size_t i = 0; i < l->tokens; i++) {
		char name[SHORT + 1];

		snprintf(name, sizeof(name), "%.*s", SHORT, l->token[i].hash);
		pw_cell_put_text(t, name);
		pw_cell_put_text(t, l->token[i].code);
		pw_cell_put_text(t, l->token[i].words);
		pw_cell_put_time(t, l->token[i].ends_ms);
	}
}

/* -- forms ------------------------------------------------------------------------------------- */

static void put_account_form(const struct pw_asked *q, struct pw_report *r)
{
	const char *role = pw_asked_value(q, "role");

	pw_report_say(r, PW_SAY_HEADING, PW_P_PEOPLE_MAKE, NULL);
	pw_report_form(r, "/people", false);
	pw_report_field(r, PW_FIELD_HIDDEN, "what", PW_P_NONE, "account", false);
	pw_report_field(r, PW_FIELD_CODE, "code", PW_P_PEOPLE_CODE_HELP, pw_asked_value(q, "code"),
			true);
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

	pw_report_say(r, PW_SAY_HEADING, PW_P_PEOPLE_TOKEN_MAKE, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_PEOPLE_TOKEN_WHAT, NULL);
	pw_report_form(r, "/people", false);
	pw_report_field(r, PW_FIELD_HIDDEN, "what", PW_P_NONE, "token", false);
	pw_report_field(r, PW_FIELD_CODE, "account", PW_P_PEOPLE_TOKEN_FOR,
			pw_asked_value(q, "account"), true);
	pw_report_field(r, PW_FIELD_TEXT, "words", PW_P_PEOPLE_TOKEN_WORDS,
			pw_asked_value(q, "words"), true);
	pw_report_field(r, PW_FIELD_TEXT, "days", PW_P_PEOPLE_TOKEN_DAYS, days[0] ? days : "365",
			true);
	pw_report_form_end(r, PW_P_PEOPLE_TOKEN_MAKE);
}

static void put_end_form(const struct pw_asked *q, struct pw_report *r, const struct listing *l)
{
	size_t good = 0;

	for (size_t i = 0; i < l->tokens; i++)
		good += l->token[i].ends_ms > q->now_ms;
	if (good == 0)
		return;
	pw_report_say(r, PW_SAY_HEADING, PW_P_PEOPLE_TOKEN_END, NULL);
	pw_report_form(r, "/people", false);
	pw_report_field(r, PW_FIELD_HIDDEN, "what", PW_P_NONE, "end", false);
	pw_report_field(r, PW_FIELD_CHOICE, "hash", PW_P_PEOPLE_TOKEN, NULL, true);
	for (size_t i = 0; i < l->tokens; i++) {
		char label[240];

		if (l->token[i].ends_ms <= q->now_ms)
			continue;
		snprintf(label, sizeof(label), "%.*s %s: %s", SHORT, l->token[i].hash,
			 l->token[i].code, l->token[i].words);
		pw_report_choice_text(r, l->token[i].hash, label, false);
	}
	pw_report_form_end(r, PW_P_PEOPLE_TOKEN_END);
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
		put_tokens(r, &l);
		put_token_form(q, r);
		put_end_form(q, r, &l);
	}
	free(l.account);
	free(l.token);
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
	const char *const fill[] = { a.code, pw_phrase(q->tongue, phrase_of(a.role)), a.first,
				     NULL };

	say(q, a.first[0] ? PW_P_PEOPLE_DRAWN : PW_P_PEOPLE_SAVED, fill);
	return 0;
}

static int post_token(struct pw_asked *q)
{
	const char *days = pw_asked_value(q, "days"), *words = pw_asked_value(q, "words");
	const char *code = pw_asked_value(q, "account");
	const bool digits = strlen(days) < 4 && strspn(days, "0123456789") == strlen(days);
	const long n = digits ? atol(days) : 0;
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

static int post_end(struct pw_asked *q)
{
	char why[240];
	int result = pw_account_token_end(q->o, q->who, pw_asked_value(q, "hash"), why,
					  sizeof(why));

	if (result == -2)
		return pw_asked_wrong(q, "hash", PW_P_WEB_NO_TOKEN, NULL);
	say(q, PW_P_PEOPLE_TOKEN_ENDED, NULL);
	return result;
}

int pw_people_post(struct pw_asked *q)
{
	static const struct { const char *what; int (*post)(struct pw_asked *q); } acts[] = {
		{ "account", post_account }, { "token", post_token }, { "end", post_end },
	};

	for (size_t i = 0; i < sizeof(acts) / sizeof(acts[0]); i++)
		if (strcmp(pw_asked_value(q, "what"), acts[i].what) == 0)
			return acts[i].post(q);
	return pw_asked_wrong(q, "", PW_P_WEB_BAD, NULL);
}

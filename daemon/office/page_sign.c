/* SPDX-License-Identifier: Apache-2.0 */
/* Signing in and out, and one's own password. */
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "web_internal.h"

/* -- tries that were wrong --------------------------------------------------------------------- */

static int64_t wait_ms(struct pw_turn *t, const char *code)
{
	const int64_t now_ms = pw_since_boot_ms();
	int64_t address_ms, code_ms;

	pthread_mutex_lock(&t->web->lock);
	address_ms = pw_guess_wait_ms(&t->web->by_address, t->address, now_ms);
	code_ms = pw_guess_wait_ms(&t->web->by_code, code, now_ms);
	pthread_mutex_unlock(&t->web->lock);
	return address_ms > code_ms ? address_ms : code_ms;
}

static void note_wrong(struct pw_turn *t, const char *code)
{
	const int64_t now_ms = pw_since_boot_ms();

	pthread_mutex_lock(&t->web->lock);
	pw_guess_wrong(&t->web->by_address, t->address, now_ms);
	pw_guess_wrong(&t->web->by_code, code, now_ms);
	pthread_mutex_unlock(&t->web->lock);
}

static int slow_down(struct pw_turn *t, int64_t ms)
{
	char seconds[24];

	t->retry_s = (int)((ms + 999) / 1000);
	snprintf(seconds, sizeof(seconds), "%d", t->retry_s);
	return pw_asked_wrong(&t->asked, "password", PW_P_SIGN_WAIT, seconds);
}

/* -- work on the desk -------------------------------------------------------------------------- */

struct signing {
	struct pw_asked *q;
	const char *code, *did;
	struct pw_account account;
};

static int work_find(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct signing *g = ctx;
	int found = pw_people_one(s, g->code, &g->account, why, size);

	return found < 0 ? found : 0;
}

/* Of an account that there is alone: what was typed may have been a password in the wrong place. */
static int work_wrong(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct signing *g = ctx;

	return pw_store_log(s, g->q->now_ms, g->account.code, g->did, why, size);
}

static int work_put(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct signing *g = ctx;
	int result = pw_people_put(s, &g->account, why, size);

	return result ? result
		      : pw_store_log(s, g->q->now_ms, g->account.code, g->did, why, size);
}

/* -- in ---------------------------------------------------------------------------------------- */

int pw_sign_in_get(struct pw_asked *q, struct pw_report *r)
{
	pw_report_say(r, PW_SAY_TITLE, PW_P_SIGN_IN, NULL);
	pw_report_form(r, "/sign-in", false);
	pw_report_field(r, PW_FIELD_CODE, "code", PW_P_SIGN_CODE, pw_asked_value(q, "code"), true);
	pw_report_field(r, PW_FIELD_PASSWORD, "password", PW_P_SIGN_PASSWORD, NULL, true);
	pw_report_field(r, PW_FIELD_HIDDEN, "then", PW_P_NONE, pw_asked_value(q, "then"), false);
	pw_report_form_end(r, PW_P_SIGN_IN);
	pw_report_say(r, PW_SAY_TEXT, PW_P_SIGN_WHO, NULL);
	return 0;
}

/* A page of ours, and nowhere else. */
static const char *where_then(const char *then)
{
	char path[64];

	snprintf(path, sizeof(path), "%.*s", (int)strcspn(then, "?"), then);
	return pw_leaf_at(path) ? then : pw_leaves_office[0].path;
}

static void begin_session(struct pw_turn *t, const struct pw_account *a)
{
	struct pw_session is = { .role = a->role, .must_change = a->must_change };

	memcpy(is.code, a->code, sizeof(is.code));
	pw_signed_begin(t->web->sessions, &is, pw_since_boot_ms(), t->id);
	t->id_is_new = true;
}

int pw_sign_in_post(struct pw_asked *q)
{
	struct pw_turn *t = pw_turn_of(q);
	const char *code = pw_asked_value(q, "code"), *password = pw_asked_value(q, "password");
	const int64_t ms = wait_ms(t, code);
	struct signing g = { .q = q, .code = code, .did = "signed in" };
	int result;

	if (ms > 0)
		return slow_down(t, ms);
	if (pw_asked_desk(q, work_find, &g))
		return -1;
	if (!pw_password_holds(&q->o->hashing, g.account.role ? g.account.hash : "", password)) {
		note_wrong(t, code);
		g.did = "a wrong password was tried";
		if (g.account.code[0] && pw_asked_desk(q, work_wrong, &g))
			return -1;
		return pw_asked_wrong(q, "password", PW_P_SIGN_WRONG, NULL);
	}
	g.account.seen_ms = q->now_ms;
	result = pw_asked_desk(q, work_put, &g);
	if (result)
		return result;
	pw_signed_end(t->web->sessions, t->id);
	begin_session(t, &g.account);
	snprintf(q->then, sizeof(q->then), "%s",
		 g.account.must_change ? "/password" : where_then(pw_asked_value(q, "then")));
	return 0;
}

/* -- out --------------------------------------------------------------------------------------- */

int pw_sign_out_get(struct pw_asked *q, struct pw_report *r)
{
	(void)q;
	pw_report_say(r, PW_SAY_TITLE, PW_P_SIGN_OUT, NULL);
	pw_report_form(r, "/sign-out", false);
	pw_report_form_end(r, PW_P_SIGN_OUT);
	return 0;
}

int pw_sign_out_post(struct pw_asked *q)
{
	struct pw_turn *t = pw_turn_of(q);

	pw_signed_end(t->web->sessions, t->id);
	t->ends_cookie = true;
	snprintf(q->then, sizeof(q->then), "/sign-in");
	return 0;
}

/* -- one's own password ------------------------------------------------------------------------ */

int pw_password_get(struct pw_asked *q, struct pw_report *r)
{
	pw_report_say(r, PW_SAY_TITLE, PW_P_SIGN_CHANGE, NULL);
	if (pw_turn_of(q)->session.must_change)
		pw_report_say(r, PW_SAY_NEXT, PW_P_SIGN_MUST, NULL);
	pw_report_form(r, "/password", false);
	pw_report_field(r, PW_FIELD_PASSWORD, "now", PW_P_SIGN_NOW, NULL, true);
	pw_report_field(r, PW_FIELD_NEW_PASSWORD, "new", PW_P_SIGN_NEW, NULL, true);
	pw_report_field(r, PW_FIELD_NEW_PASSWORD, "again", PW_P_SIGN_AGAIN, NULL, true);
	pw_report_form_end(r, PW_P_SIGN_CHANGE);
	pw_report_say(r, PW_SAY_TEXT, PW_P_SIGN_LONG, NULL);
	return 0;
}

static int check_new(struct pw_asked *q)
{
	const char *is = pw_asked_value(q, "new");

	if (!pw_password_long(is))
		return pw_asked_wrong(q, "new", PW_P_SIGN_LONG, NULL);
	if (strcmp(is, pw_asked_value(q, "again")) != 0)
		return pw_asked_wrong(q, "again", PW_P_SIGN_DIFFER, NULL);
	if (strcmp(is, pw_asked_value(q, "now")) == 0)
		return pw_asked_wrong(q, "new", PW_P_SIGN_SAME, NULL);
	return 0;
}

/* 0: it is right. */
static int check_now(struct pw_asked *q, struct signing *g)
{
	struct pw_turn *t = pw_turn_of(q);
	const int64_t ms = wait_ms(t, q->who);

	if (ms > 0)
		return slow_down(t, ms);
	if (pw_asked_desk(q, work_find, g))
		return -1;
	if (pw_password_holds(&q->o->hashing, g->account.hash, pw_asked_value(q, "now")))
		return 0;
	note_wrong(t, q->who);
	return pw_asked_wrong(q, "now", PW_P_SIGN_NOT_NOW, NULL);
}

int pw_password_post(struct pw_asked *q)
{
	struct pw_turn *t = pw_turn_of(q);
	struct signing g = { .q = q, .code = q->who, .did = "changed the own password" };
	int result = check_new(q);

	if (result == 0)
		result = check_now(q, &g);
	if (result)
		return result;
	if (pw_password_hash(&q->o->hashing, pw_asked_value(q, "new"), g.account.hash))
		return -1;
	g.account.must_change = false;
	g.account.changed_ms = q->now_ms;
	if (pw_asked_desk(q, work_put, &g))
		return -1;
	pw_signed_end_of(t->web->sessions, q->who);
	begin_session(t, &g.account);
	snprintf(q->said, sizeof(q->said), "%s", pw_phrase(q->tongue, PW_P_SIGN_CHANGED));
	snprintf(q->then, sizeof(q->then), "%s", pw_leaves_office[0].path);
	return 0;
}

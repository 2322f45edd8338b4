/* SPDX-License-Identifier: Apache-2.0 */
#include <sodium.h>
#include <string.h>

#include "accounts.h"
#include "intake_internal.h"
#include "postwalk/text.h"
#include "web.h"

static const char *const roles[] = {
	[PW_MAY_NOTHING] = "nothing",
	[PW_MAY_SEE] = "see",
	[PW_MAY_ACT] = "act",
	[PW_MAY_ADMINISTER] = "administer",
};
#define ROLES (sizeof(roles) / sizeof(roles[0]))

const char *pw_may_name(enum pw_office_role role)
{
	return roles[role];
}

int pw_may_find(const char *name)
{
	for (size_t i = 0; i < ROLES; i++)
		if (strcmp(roles[i], name) == 0)
			return (int)i;
	return -1;
}

/* -- passwords --------------------------------------------------------------------------------- */

static void hash_begins(struct pw_hashing *h)
{
	pthread_mutex_lock(&h->lock);
	while (h->under_way == PW_HASHES_AT_ONCE)
		pthread_cond_wait(&h->freed, &h->lock);
	h->under_way++;
	pthread_mutex_unlock(&h->lock);
}

static void hash_ends(struct pw_hashing *h)
{
	pthread_mutex_lock(&h->lock);
	h->under_way--;
	pthread_cond_signal(&h->freed);
	pthread_mutex_unlock(&h->lock);
}

int pw_password_hash(struct pw_hashing *h, const char *password, char hash[160])
{
	_Static_assert(crypto_pwhash_STRBYTES <= 160, "room for a hash");
	int result;

	hash_begins(h);
	result = crypto_pwhash_str(hash, password, strlen(password),
				   crypto_pwhash_OPSLIMIT_INTERACTIVE,
				   crypto_pwhash_MEMLIMIT_INTERACTIVE);
	hash_ends(h);
	return result ? -1 : 0;
}

/* Who is not known is told as late as who is. */
bool pw_password_holds(struct pw_hashing *h, const char *hash, const char *password)
{
	char other[160];
	bool holds;

	if (!hash[0]) {
		pw_password_hash(h, password, other);
		return false;
	}
	hash_begins(h);
	holds = crypto_pwhash_str_verify(hash, password, strlen(password)) == 0;
	hash_ends(h);
	return holds;
}

bool pw_password_long(const char *password)
{
	size_t characters = 0;

	for (const char *c = password; *c; c++)
		characters += ((unsigned char)*c & 0xc0) != 0x80; /* its first byte: RFC 3629 */
	return characters >= PW_PASSWORD_LEAST && strlen(password) <= PW_PASSWORD_MOST;
}

/* -- accounts ---------------------------------------------------------------------------------- */

struct work {
	struct pw_account_order *order;
	struct pw_account account;
	char hash[160];
	bool found;
};

static int work_look(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct work *w = ctx;
	int found = pw_people_one(s, w->order->code, &w->account, why, size);

	w->found = found == 1;
	return found < 0 ? found : 0;
}

static int work_put(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct work *w = ctx;
	const struct pw_account_order *a = w->order;
	const int64_t now_ms = pw_office_now_ms();
	char did[160];
	int result;

	w->account.role = a->role;
	w->account.changed_ms = now_ms;
	if (!w->found) {
		snprintf(w->account.code, sizeof(w->account.code), "%s", a->code);
		w->account.made_ms = now_ms;
	}
	if (a->first[0]) {
		memcpy(w->account.hash, w->hash, sizeof(w->hash));
		w->account.must_change = true;
	}
	result = pw_people_put(s, &w->account, why, size);
	if (result)
		return result;
	snprintf(did, sizeof(did), "account %s: may %s%s", a->code, pw_may_name(a->role),
		 a->first[0] ? "; a first password was drawn" : "");
	return pw_store_log(s, now_ms, a->by, did, why, size);
}

int pw_account_order(struct pw_office *o, struct pw_account_order *a, char *why, size_t size)
{
	struct work w = { .order = a };
	int result = pw_desk_do(o->desk, work_look, &w, why, size);

	a->first[0] = '\0';
	if (result)
		return result;
	a->made = !w.found;
	if (a->made || a->fresh) {
		pw_code_draw(a->first);
		if (pw_password_hash(&o->hashing, a->first, w.hash)) {
			snprintf(why, size, "there is no memory for a password's hash");
			return -1;
		}
	}
	result = pw_desk_do(o->desk, work_put, &w, why, size);
	if (result == 0 && o->web)
		pw_web_forget(o->web, a->code);
	return result;
}

/* -- tokens ------------------------------------------------------------------------------------ */

struct token_work {
	const char *by, *code, *words, *hash;
	int64_t ends_ms;
};

static int work_token(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const struct token_work *w = ctx;
	struct pw_account account;
	char did[240];
	int result = pw_people_one(s, w->code, &account, why, size);

	if (result == 0 || (result == 1 && account.role == PW_MAY_NOTHING)) {
		snprintf(why, size, "there is no account %s", w->code);
		return -2;
	}
	if (result < 0)
		return result;
	result = pw_people_token_put(s, w->hash, w->code, w->words, w->ends_ms, why, size);
	if (result)
		return result;
	snprintf(did, sizeof(did), "token for account %s: %s", w->code, w->words);
	return pw_store_log(s, pw_office_now_ms(), w->by, did, why, size);
}

int pw_account_token(struct pw_office *o, const char *by, const char *code, const char *words,
		     int64_t ends_ms, char token[PW_TOKEN_DIGITS + 1], char *why, size_t size)
{
	unsigned char bytes[PW_TOKEN_DIGITS / 2];
	char hash[65];
	struct token_work w = { by, code, words, hash, ends_ms };

	randombytes_buf(bytes, sizeof(bytes));
	sodium_bin2hex(token, PW_TOKEN_DIGITS + 1, bytes, sizeof(bytes));
	pw_token_hash(token, hash);
	return pw_desk_do(o->desk, work_token, &w, why, size);
}

struct ending {
	const char *by, *hash;
	char code[PW_AUDIT_CODE], words[164]; /* "": it is not there */
};

static int find_token(void *ctx, const char *hash, const char *code, const char *words,
		      int64_t ends_ms)
{
	struct ending *e = ctx;

	(void)ends_ms;
	if (strcmp(hash, e->hash) != 0)
		return 0;
	snprintf(e->code, sizeof(e->code), "%s", code);
	snprintf(e->words, sizeof(e->words), "%s", words);
	return 1;
}

static int work_end(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const int64_t now_ms = pw_office_now_ms();
	struct ending *e = ctx;
	char did[240];
	int result = pw_people_tokens(s, find_token, e, why, size);

	if (result < 0)
		return result;
	if (!e->code[0]) {
		snprintf(why, size, "there is no such token");
		return -2;
	}
	result = pw_people_token_put(s, e->hash, e->code, e->words, now_ms, why, size);
	if (result)
		return result;
	snprintf(did, sizeof(did), "ended a token of account %s: %s", e->code, e->words);
	return pw_store_log(s, now_ms, e->by, did, why, size);
}

int pw_account_token_end(struct pw_office *o, const char *by, const char *hash, char *why,
			 size_t size)
{
	struct ending e = { .by = by, .hash = hash };

	return pw_desk_do(o->desk, work_end, &e, why, size);
}

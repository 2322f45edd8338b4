/* SPDX-License-Identifier: Apache-2.0 */
/* Accounts of people, by their codes, and tokens of programs. */
#include <string.h>

#include "store_internal.h"

#define PW_TOKEN_WORDS 164

static const char *const role_name[] = {
	[PW_MAY_NOTHING] = "nothing", [PW_MAY_SEE] = "see", [PW_MAY_ACT] = "act",
	[PW_MAY_ADMINISTER] = "administer",
};

/* -- accounts ---------------------------------------------------------------------------------- */

int pw_people_put(struct pw_store *s, const struct pw_account *a, char *why, size_t size)
{
	const struct pw_cell args[] = {
		pw_cell_text(a->code), pw_cell_text(role_name[a->role]), pw_cell_text(a->hash),
		pw_cell_number(a->must_change), pw_cell_number(a->made_ms),
		pw_cell_number(a->changed_ms), pw_cell_number(a->seen_ms),
	};

	return pw_store_ask(s, PW_Q_ACCOUNT_PUT, args, NULL, NULL, why, size);
}

static enum pw_office_role find_role(const struct pw_cell *cell)
{
	char name[16];

	pw_cell_get_text(cell, name, sizeof(name));
	for (enum pw_office_role r = PW_MAY_SEE; r <= PW_MAY_ADMINISTER; r++)
		if (strcmp(role_name[r], name) == 0)
			return r;
	return PW_MAY_NOTHING;
}

static int get_account(void *ctx, const struct pw_cell *cells)
{
	struct pw_account *a = ctx;

	*a = (struct pw_account){ .role = find_role(&cells[1]), .must_change = cells[3].number != 0,
				  .made_ms = cells[4].number, .changed_ms = cells[5].number,
				  .seen_ms = cells[6].number };
	pw_cell_get_text(&cells[0], a->code, sizeof(a->code));
	pw_cell_get_text(&cells[2], a->hash, sizeof(a->hash));
	return 0;
}

int pw_people_one(struct pw_store *s, const char *code, struct pw_account *a, char *why,
		  size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(code) };

	*a = (struct pw_account){ .role = PW_MAY_NOTHING };
	return pw_store_ask_one(s, PW_Q_ACCOUNT, args, get_account, a, why, size);
}

struct accounts {
	int (*take)(void *ctx, const struct pw_account *a);
	void *ctx;
};

static int give_account(void *ctx, const struct pw_cell *cells)
{
	const struct accounts *all = ctx;
	struct pw_account a;

	get_account(&a, cells);
	return all->take(all->ctx, &a);
}

int pw_people_all(struct pw_store *s, int (*take)(void *ctx, const struct pw_account *a),
		  void *ctx, char *why, size_t size)
{
	struct accounts all = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_ACCOUNTS, NULL, give_account, &all, why, size);
}

/* -- tokens ------------------------------------------------------------------------------------ */

int pw_people_token_put(struct pw_store *s, const char *hash, const char *code, const char *words,
			int64_t ends_ms, char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_hex(hash), pw_cell_text(code), pw_cell_text(words),
					pw_cell_number(ends_ms) };

	return pw_store_ask(s, PW_Q_TOKEN_PUT, args, NULL, NULL, why, size);
}

struct tokens {
	int (*take)(void *ctx, const char *hash, const char *code, const char *words,
		    int64_t ends_ms);
	void *ctx;
};

static int give_token(void *ctx, const struct pw_cell *cells)
{
	const struct tokens *all = ctx;
	char hash[65], code[PW_AUDIT_CODE], words[PW_TOKEN_WORDS];

	pw_cell_get_hex(&cells[0], hash, sizeof(hash));
	pw_cell_get_text(&cells[1], code, sizeof(code));
	pw_cell_get_text(&cells[2], words, sizeof(words));
	return all->take(all->ctx, hash, code, words, cells[3].number);
}

int pw_people_tokens(struct pw_store *s,
		     int (*take)(void *ctx, const char *hash, const char *code, const char *words,
				 int64_t ends_ms),
		     void *ctx, char *why, size_t size)
{
	struct tokens all = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_TOKENS, NULL, give_token, &all, why, size);
}

static int get_code(void *ctx, const struct pw_cell *cells)
{
	pw_cell_get_text(&cells[0], ctx, PW_AUDIT_CODE);
	return 0;
}

int pw_people_token(struct pw_store *s, const char *hash, int64_t now_ms, char code[PW_AUDIT_CODE],
		    char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_hex(hash), pw_cell_number(now_ms) };

	code[0] = '\0';
	return pw_store_ask_one(s, PW_Q_TOKEN, args, get_code, code, why, size);
}

/* SPDX-License-Identifier: Apache-2.0 */
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "page_internal.h"

#define NONCE_BYTES 16
#define LONGEST_PATH 64

/* In hex: when it was issued, a nonce, and crypto_auth over these, the path and the visitor. */
struct token {
	unsigned char at_ms[8], nonce[NONCE_BYTES], mac[crypto_auth_BYTES];
};
_Static_assert(sizeof(struct token) * 2 < PW_TOKEN_MAX, "room for the hex digits");
_Static_assert(crypto_auth_KEYBYTES == sizeof((struct pw_tokens *)0)->key, "a key");

struct signed_text { /* zeros behind the two strings */
	unsigned char at_ms[8], nonce[NONCE_BYTES];
	char path[LONGEST_PATH], visit[PW_VISIT_MAX];
};

void pw_tokens_begin(struct pw_tokens *t)
{
	memset(t, 0, sizeof *t);
	t->floor_ms = -1;
	if (sodium_init() < 0)
		abort(); /* without random numbers there is no page */
	crypto_auth_keygen(t->key);
}

static bool text_of(const struct token *k, const char *visit, const char *path,
		    struct signed_text *s)
{
	memset(s, 0, sizeof *s);
	if (strlen(visit) >= sizeof s->visit || strlen(path) >= sizeof s->path)
		return false;
	memcpy(s->at_ms, k->at_ms, sizeof s->at_ms);
	memcpy(s->nonce, k->nonce, sizeof s->nonce);
	memcpy(s->path, path, strlen(path));
	memcpy(s->visit, visit, strlen(visit));
	return true;
}

static int64_t issued_ms(const struct token *k)
{
	uint64_t ms = 0;

	for (size_t i = 0; i < sizeof k->at_ms; i++)
		ms = ms << 8 | k->at_ms[i];
	return (int64_t)ms;
}

void pw_token_new(const struct pw_tokens *t, const char *visit, const char *path, int64_t now_ms,
		  char token[PW_TOKEN_MAX])
{
	struct signed_text text;
	struct token k;

	token[0] = '\0'; /* "" is never taken */
	for (size_t i = 0; i < sizeof k.at_ms; i++)
		k.at_ms[i] = (unsigned char)((uint64_t)now_ms >> (56 - 8 * i));
	randombytes_buf(k.nonce, sizeof k.nonce);
	if (!text_of(&k, visit, path, &text))
		return;
	crypto_auth(k.mac, (const unsigned char *)&text, sizeof text, t->key);
	sodium_bin2hex(token, PW_TOKEN_MAX, (const unsigned char *)&k, sizeof k);
}

static bool genuine(const struct pw_tokens *t, const char *visit, const char *path,
		    const char *token, struct token *k)
{
	struct signed_text text;
	const char *end;
	size_t n;

	if (sodium_hex2bin((unsigned char *)k, sizeof *k, token, strlen(token), NULL, &n, &end) ||
	    n != sizeof *k || *end || !text_of(k, visit, path, &text))
		return false;
	return !crypto_auth_verify(k->mac, (const unsigned char *)&text, sizeof text, t->key);
}

static unsigned oldest(const struct pw_tokens *t)
{
	unsigned at = 0;

	for (unsigned i = 1; i < t->used; i++)
		if (t->ring[i].at_ms < t->ring[at].at_ms)
			at = i;
	return at;
}

/* In the place of the oldest, where there is no room: what is as old is not taken any more. */
static void remember(struct pw_tokens *t, const struct token *k)
{
	unsigned at = t->used;

	if (t->used == PW_TOKENS_USED) {
		at = oldest(t);
		t->floor_ms = t->ring[at].at_ms;
	} else {
		t->used++;
	}
	t->ring[at].at_ms = issued_ms(k);
	memcpy(t->ring[at].nonce, k->nonce, sizeof k->nonce);
}

enum pw_token_answer pw_token_take(struct pw_tokens *t, const char *visit, const char *path,
				   const char *token, int64_t now_ms)
{
	struct token k;

	if (!genuine(t, visit, path, token, &k))
		return PW_TOKEN_FORGED;
	for (unsigned i = 0; i < t->used; i++)
		if (!sodium_memcmp(t->ring[i].nonce, k.nonce, sizeof k.nonce))
			return PW_TOKEN_USED_UP;
	if (now_ms - issued_ms(&k) > PW_TOKEN_MS || issued_ms(&k) <= t->floor_ms)
		return PW_TOKEN_OLD;
	remember(t, &k);
	return PW_TOKEN_GOOD;
}

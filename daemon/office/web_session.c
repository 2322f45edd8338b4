/* SPDX-License-Identifier: Apache-2.0 */
/* Who is signed in: a random number of 256 bits a session, in memory alone. */
#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "web_internal.h"

#define SESSIONS 1024
#define LONGEST_PATH 64

struct one {
	char id[PW_SESSION_ID]; /* "": free */
	struct pw_session is;
	int64_t began_ms, seen_ms;
	char said[512];
};

struct pw_sessions {
	unsigned char key[crypto_auth_KEYBYTES]; /* of form tokens */
	pthread_mutex_t lock;                    /* of all below */
	struct one of[SESSIONS];
};
_Static_assert(crypto_auth_BYTES * 2 + 1 == PW_FORM_TOKEN, "a token is crypto_auth's, in hex");

struct pw_sessions *pw_signed_new(void)
{
	struct pw_sessions *s = calloc(1, sizeof(*s));

	if (!s)
		return NULL;
	crypto_auth_keygen(s->key);
	pthread_mutex_init(&s->lock, NULL);
	return s;
}

void pw_signed_free(struct pw_sessions *s)
{
	if (!s)
		return;
	pthread_mutex_destroy(&s->lock);
	sodium_memzero(s, sizeof(*s));
	free(s);
}

void pw_signed_draw(char id[PW_SESSION_ID])
{
	unsigned char random[32];

	randombytes_buf(random, sizeof(random));
	sodium_bin2hex(id, PW_SESSION_ID, random, sizeof(random));
}

/* -- sessions ---------------------------------------------------------------------------------- */

static bool is_over(const struct one *o, int64_t now_ms)
{
	return now_ms - o->seen_ms >= PW_SESSION_IDLE_MS ||
	       now_ms - o->began_ms >= PW_SESSION_MOST_MS;
}

static struct one *find(struct pw_sessions *s, const char *id)
{
	if (strlen(id) != PW_SESSION_ID - 1)
		return NULL;
	for (size_t i = 0; i < SESSIONS; i++)
		if (s->of[i].id[0] && sodium_memcmp(s->of[i].id, id, PW_SESSION_ID - 1) == 0)
			return &s->of[i];
	return NULL;
}

bool pw_signed_find(struct pw_sessions *s, const char *id, int64_t now_ms, struct pw_session *is)
{
	struct one *o;
	bool found = false;

	pthread_mutex_lock(&s->lock);
	o = find(s, id);
	if (o && is_over(o, now_ms)) {
		sodium_memzero(o, sizeof(*o));
	} else if (o) {
		o->seen_ms = now_ms;
		*is = o->is;
		found = true;
	}
	pthread_mutex_unlock(&s->lock);
	return found;
}

/* A free place, else the one that has been idle longest. */
static struct one *place(struct pw_sessions *s)
{
	struct one *idlest = &s->of[0];

	for (size_t i = 0; i < SESSIONS; i++) {
		if (!s->of[i].id[0])
			return &s->of[i];
		if (s->of[i].seen_ms < idlest->seen_ms)
			idlest = &s->of[i];
	}
	return idlest;
}

void pw_signed_begin(struct pw_sessions *s, const struct pw_session *is, int64_t now_ms,
		      char id[PW_SESSION_ID])
{
	struct one *o;

	pw_signed_draw(id);
	pthread_mutex_lock(&s->lock);
	o = place(s);
	*o = (struct one){ .is = *is, .began_ms = now_ms, .seen_ms = now_ms };
	memcpy(o->id, id, sizeof(o->id));
	pthread_mutex_unlock(&s->lock);
}

void pw_signed_end(struct pw_sessions *s, const char *id)
{
	struct one *o;

	pthread_mutex_lock(&s->lock);
	o = find(s, id);
	if (o)
		sodium_memzero(o, sizeof(*o));
	pthread_mutex_unlock(&s->lock);
}

void pw_signed_end_of(struct pw_sessions *s, const char *code)
{
	pthread_mutex_lock(&s->lock);
	for (size_t i = 0; i < SESSIONS; i++)
		if (strcmp(s->of[i].is.code, code) == 0)
			sodium_memzero(&s->of[i], sizeof(s->of[i]));
	pthread_mutex_unlock(&s->lock);
}

/* -- told once --------------------------------------------------------------------------------- */

void pw_signed_say(struct pw_sessions *s, const char *id, const char *said)
{
	struct one *o;

	pthread_mutex_lock(&s->lock);
	o = find(s, id);
	if (o)
		snprintf(o->said, sizeof(o->said), "%s", said);
	pthread_mutex_unlock(&s->lock);
}

void pw_signed_said(struct pw_sessions *s, const char *id, char said[512])
{
	struct one *o;

	said[0] = '\0';
	pthread_mutex_lock(&s->lock);
	o = find(s, id);
	if (o) {
		memcpy(said, o->said, sizeof(o->said));
		sodium_memzero(o->said, sizeof(o->said));
	}
	pthread_mutex_unlock(&s->lock);
}

/* -- forms ------------------------------------------------------------------------------------- */

struct signed_text { /* zeros behind both */
	char id[PW_SESSION_ID], path[LONGEST_PATH];
};

void pw_form_token(const struct pw_sessions *s, const char *id, const char *path,
		   char token[PW_FORM_TOKEN])
{
	struct signed_text text;
	unsigned char mac[crypto_auth_BYTES];

	memset(&text, 0, sizeof(text));
	snprintf(text.id, sizeof(text.id), "%s", id);
	snprintf(text.path, sizeof(text.path), "%s", path);
	crypto_auth(mac, (const unsigned char *)&text, sizeof(text), s->key);
	sodium_bin2hex(token, PW_FORM_TOKEN, mac, sizeof(mac));
}

bool pw_form_token_holds(const struct pw_sessions *s, const char *id, const char *path,
			 const char *token)
{
	char holds[PW_FORM_TOKEN];

	pw_form_token(s, id, path, holds);
	return strlen(token) == PW_FORM_TOKEN - 1 &&
	       sodium_memcmp(holds, token, PW_FORM_TOKEN - 1) == 0;
}

/* SPDX-License-Identifier: Apache-2.0 */
/* A bus's key tied to its id, by a code that somebody in the office made. */
#include "uplink_internal.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "postwalk/text.h"

/* Before the code is used up: is this the office that it is meant for? */
static void look(struct pw_link *link, const char *office, struct pw_public_key *key,
		 struct pw_reply *reply)
{
	char print[65];

	pw_link_office(link, key, reply);
	if (reply->said != PW_SAID_SO || office == NULL)
		return;
	pw_public_key_print(key, print);
	if (strcmp(print, office) != 0)
		pw_reply_set(reply, PW_SAID_STRANGER, "the office there has another key: its "
			     "fingerprint is %s", print);
}

/* The request's body, to be freed; NULL: no memory. */
static char *body_of(const char *bus, const char *code, const struct pw_secret_key *key)
{
	char text[320], print[65], pem[PW_PEM_MAX], sig[129], *body;
	json_t *object;
	int n;

	pw_public_key_print(&key->public, print);
	pw_public_key_pem(&key->public, pem);
	n = snprintf(text, sizeof(text), "postwalk-enrol-v1\n%.31s\n%.100s\n%s\n", bus, code,
		     print);
	pw_sign(key, text, (size_t)n, sig);
	object = json_pack("{ssssssss}", "bus", bus, "code", code, "key", pem, "sig", sig);
	body = object != NULL ? json_dumps(object, JSON_COMPACT) : NULL;
	json_decref(object);
	return body;
}

static void take_token(struct pw_place *p, const json_t *answer, const struct pw_public_key *looked,
		       struct pw_reply *reply)
{
	const char *token = json_string_value(json_object_get(answer, "token"));
	const char *pem = json_string_value(json_object_get(answer, "key"));
	struct pw_public_key key;
	char why[200];

	if (token == NULL || !pw_hex_text(token, 64) || pem == NULL
	    || pw_public_key_read(pem, &key, why, sizeof(why)) < 0) {
		pw_answer_is_strange(reply, "a token and the office's key");
	} else if (memcmp(&key, looked, sizeof(key)) != 0) {
		pw_reply_set(reply, PW_SAID_STRANGER, "the office answers with two keys");
	} else {
		p->key = key;
		memcpy(p->token, token, sizeof(p->token));
	}
}

static void ask(struct pw_link *link, const char *body, const struct pw_public_key *looked,
		struct pw_place *p, struct pw_reply *reply)
{
	const struct pw_question q = {
		.path = "/v1/enrol", .body = body, .length = strlen(body),
		.type = "application/json",
	};
	struct pw_answer a;
	json_t *answer;

	if (!pw_link_ask(link, &q, &a, reply))
		return;
	answer = pw_answer_read(&a, reply);
	if (reply->said == PW_SAID_SO || reply->said == PW_SAID_WAITS)
		take_token(p, answer, looked, reply);
	json_decref(answer);
}

void pw_link_enrol(struct pw_place *p, const char *bus, const char *code,
		   const struct pw_secret_key *key, const char *office, struct pw_reply *reply)
{
	struct pw_public_key looked;
	struct pw_place fresh = *p;
	struct pw_link *link;
	char *body;

	memset(reply, 0, sizeof(*reply));
	memset(&fresh.key, 0, sizeof(fresh.key));
	fresh.token[0] = '\0';
	if (pw_link_open(&fresh, &pw_patience, &link, reply->why, sizeof(reply->why)) < 0) {
		reply->said = PW_SAID_REFUSED;
		return;
	}
	body = body_of(bus, code, key);
	look(link, office, &looked, reply);
	if (reply->said == PW_SAID_SO && body != NULL)
		ask(link, body, &looked, p, reply);
	else if (body == NULL)
		pw_reply_set(reply, PW_SAID_LATER, "out of memory");
	free(body);
	pw_link_close(link);
}

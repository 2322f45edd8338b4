/* SPDX-License-Identifier: Apache-2.0 */
/* How a contact begins: who is there, and how far does it have this journal? */
#include "uplink_internal.h"

#include <sodium.h>
#include <stdio.h>
#include <string.h>

static bool takes_zstd(const json_t *answer)
{
	const json_t *one;
	size_t i;

	json_array_foreach(json_object_get(answer, "packing"), i, one)
		if (json_is_string(one) && strcmp(json_string_value(one), "zstd") == 0)
			return true;
	return false;
}

static void take_office(struct pw_link *link, const json_t *answer, struct pw_public_key *key,
			struct pw_reply *reply)
{
	const char *version = json_string_value(json_object_get(answer, "office"));
	const char *pem = json_string_value(json_object_get(answer, "key"));
	const struct pw_public_key none = { { 0 } }, *known = &link->place.key;
	char why[200], print[65];

	if (version == NULL || strcmp(version, "postwalk-office-v1") != 0 || pem == NULL
	    || pw_public_key_read(pem, key, why, sizeof(why)) < 0) {
		pw_answer_is_strange(reply, "postwalk-office-v1 and its key");
		return;
	}
	link->packs = takes_zstd(answer);
	if (memcmp(known, &none, sizeof(none)) == 0 || memcmp(known, key, sizeof(*key)) == 0)
		return;
	pw_public_key_print(key, print);
	pw_reply_set(reply, PW_SAID_STRANGER, "the office there has another key than that of this "
		     "bus: its fingerprint is %s", print);
}

void pw_link_office(struct pw_link *link, struct pw_public_key *key, struct pw_reply *reply)
{
	const struct pw_question q = { .path = "/v1/office" };
	struct pw_answer a;
	json_t *answer;

	if (!pw_link_ask(link, &q, &a, reply))
		return;
	answer = pw_answer_read(&a, reply);
	if (reply->said == PW_SAID_SO)
		take_office(link, answer, key, reply);
	json_decref(answer);
}

void pw_link_heads(struct pw_link *link, const char *bus, const char *epoch, struct pw_reply *reply)
{
	char path[PW_NAME_MAX + 32], query[32];
	const struct pw_question q = { .path = path, .query = query };
	struct pw_public_key key;
	struct pw_answer a;
	json_t *answer;

	pw_link_office(link, &key, reply);
	if (reply->said != PW_SAID_SO)
		return;
	snprintf(path, sizeof(path), "/v1/bus/%.31s/head", bus);
	snprintf(query, sizeof(query), "epoch=%.16s", epoch);
	if (!pw_link_ask(link, &q, &a, reply))
		return;
	answer = pw_answer_read(&a, reply);
	if (reply->said == PW_SAID_SO && pw_heads_read(answer, &reply->heads) < 0)
		pw_answer_is_strange(reply, "heads");
	json_decref(answer);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* fleet_lines.h - JSON Lines of a fleet and its exports, read back. */
#ifndef OFFICE_FLEET_LINES_H
#define OFFICE_FLEET_LINES_H

#include <jansson.h>

struct lines {
	json_t *all;
	size_t count, records;
	char bus[PW_NAME_MAX];
};

static inline const char *json_word(const json_t *object, const char *key)
{
	const char *word = json_string_value(json_object_get(object, key));

	return word ? word : "";
}

static inline json_t *lines_array(const char *text)
{
	json_t *all = json_array();

	for (const char *end; (end = strchr(text, '\n')); text = end + 1) {
		json_t *one = json_loadb(text, (size_t)(end - text), 0, NULL);

		if (!one)
			fail_msg("no JSON: %.*s", (int)(end - text), text);
		json_array_append_new(all, one);
	}
	return all;
}

static inline void lines_read(struct lines *x, const char *path)
{
	char *text = NULL;
	size_t room = 0;
	FILE *f = fopen(path, "r");

	assert_non_null(f);
	*x = (struct lines){ .all = json_array() };
	while (getline(&text, &room, f) > 0)
		json_array_append_new(x->all, json_loads(text, 0, NULL));
	free(text);
	fclose(f);
	x->count = json_array_size(x->all);
	snprintf(x->bus, sizeof(x->bus), "%s", json_word(json_array_get(x->all, 0), "bus"));
	for (size_t i = 0; i < x->count; i++)
		x->records += json_object_get(json_array_get(x->all, i), "seq") != NULL;
}

static inline void lines_free(struct lines *x)
{
	json_decref(x->all);
	*x = (struct lines){ 0 };
}

/* Is the line a receipt's record? One that the office's key does not hold fails the test. */
static inline bool lines_receipt_holds(const struct lines *x, size_t i,
				       const struct pw_public_key *office)
{
	const json_t *line = json_array_get(x->all, i);
	struct pw_receipt r = { .seq = 0 };
	json_t *body;

	if (strcmp(json_word(line, "kind"), "receipt") != 0)
		return false;
	body = json_loads(json_word(line, "body"), JSON_REJECT_DUPLICATES, NULL);
	assert_non_null(body);
	r.alert = json_object_get(body, "alert") != NULL;
	r.seq = (uint64_t)json_integer_value(json_object_get(body, r.alert ? "alert" : "seq"));
	r.time_ms = json_integer_value(json_object_get(body, "time_ms"));
	snprintf(r.bus, sizeof(r.bus), "%s", x->bus);
	snprintf(r.epoch, sizeof(r.epoch), "%s", json_word(line, "epoch"));
	snprintf(r.hash, sizeof(r.hash), "%s", json_word(body, "hash"));
	snprintf(r.nonce, sizeof(r.nonce), "%s", json_word(body, "nonce"));
	snprintf(r.sig, sizeof(r.sig), "%s", json_word(body, "sig"));
	if (!pw_receipt_holds(&r, office))
		fail_msg("%s: a receipt that its office never gave: %s", x->bus,
			 json_word(line, "body"));
	json_decref(body);
	return true;
}

#endif

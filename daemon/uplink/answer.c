/* SPDX-License-Identifier: Apache-2.0 */
/* What an answer of the office means (docs/protocol.md). */
#include "uplink_internal.h"

#include <stdio.h>
#include <string.h>

#include "postwalk/text.h"

/* The first line that has the status. */
static const struct meaning {
	long from, to;
	enum pw_said said;
} meanings[] = {
	{ 200, 200, PW_SAID_SO },      { 202, 202, PW_SAID_WAITS },  { 408, 408, PW_SAID_LATER },
	{ 409, 409, PW_SAID_GAP },     { 429, 429, PW_SAID_LATER },  { 500, 599, PW_SAID_LATER },
	{ 0, 999, PW_SAID_REFUSED },
};

static enum pw_said said_by(long status)
{
	const struct meaning *m = meanings;

	while (status < m->from || status > m->to)
		m++;
	return m->said;
}

void pw_reply_set(struct pw_reply *reply, enum pw_said said, const char *format, ...)
{
	char text[1024];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof(text), format, args);
	va_end(args);
	pw_plain(text);
	pw_fit(reply->why, sizeof(reply->why), text);
	reply->said = said;
}

void pw_answer_is_strange(struct pw_reply *reply, const char *expected)
{
	pw_reply_set(reply, PW_SAID_REFUSED, "the answer cannot be understood: expected %s",
		     expected);
}

json_t *pw_answer_read(const struct pw_answer *a, struct pw_reply *reply)
{
	json_error_t error;
	json_t *answer = json_loadb(a->text, a->length, JSON_REJECT_DUPLICATES, &error);
	const bool cut = answer == NULL
			 && json_error_code(&error) == json_error_premature_end_of_input;
	const char *words = json_string_value(json_object_get(answer, "words"));

	reply->retry_s = a->retry_s;
	if (words != NULL)
		pw_reply_set(reply, said_by(a->status), "the office says: %s (%ld)", words,
			     a->status);
	else if (a->status >= 300 && a->status < 400)
		pw_reply_set(reply, said_by(a->status), "the answer is %ld, to look elsewhere: an "
			     "office does not say that", a->status);
	else
		pw_reply_set(reply, said_by(a->status), "the answer is status %ld", a->status);
	if (answer != NULL && !json_is_object(answer)) {
		json_decref(answer);
		answer = NULL;
	}
	if (reply->said == PW_SAID_SO && cut)
		pw_reply_set(reply, PW_SAID_LATER, "the answer was cut off");
	else if (reply->said == PW_SAID_SO && answer == NULL)
		pw_answer_is_strange(reply, "a JSON object");
	return answer;
}

static bool take_hex(const json_t *value, size_t digits, char *to)
{
	const char *text = json_string_value(value);

	if (text == NULL || !pw_hex_text(text, digits))
		return false;
	memcpy(to, text, digits + 1);
	return true;
}

static bool take_head(const json_t *one, struct pw_head *head)
{
	const json_t *seq = json_object_get(one, "seq"), *branch = json_object_get(one, "branch");

	if (!take_hex(json_object_get(one, "epoch"), 16, head->epoch)
	    || !take_hex(json_object_get(one, "hash"), 64, head->hash) || !json_is_integer(seq)
	    || !json_is_integer(branch) || json_integer_value(seq) < 1
	    || json_integer_value(branch) < 0 || json_integer_value(branch) > UINT32_MAX)
		return false;
	head->seq = (uint64_t)json_integer_value(seq);
	head->branch = (uint32_t)json_integer_value(branch);
	return true;
}

/* More than fit are left out: where none of those that fit will do, there are other places. */
int pw_heads_read(const json_t *answer, struct pw_heads *heads)
{
	const json_t *all = json_object_get(answer, "heads"), *one;
	size_t i;

	heads->count = 0;
	if (!json_is_array(all))
		return -1;
	json_array_foreach(all, i, one) {
		if (heads->count == PW_HEADS_MAX)
			break;
		if (!take_head(one, &heads->head[heads->count]))
			return -1;
		heads->count++;
	}
	return 0;
}

/* SPDX-License-Identifier: Apache-2.0 */
#include "source_internal.h"

int pw_body_int(const json_t *body, const char *key, int64_t *value)
{
	const json_t *number = json_object_get(body, key);

	if (!json_is_integer(number))
		return -1;
	*value = json_integer_value(number);
	return *value < -PW_FAR_MS || *value > PW_FAR_MS ? -1 : 0;
}

bool pw_body_bool(const json_t *body, const char *key, bool *value)
{
	const json_t *is = json_object_get(body, key);

	*value = json_is_true(is);
	return json_is_boolean(is);
}

const char *pw_body_word(const json_t *body, const char *key)
{
	const char *text = json_string_value(json_object_get(body, key));

	return text ? text : "";
}

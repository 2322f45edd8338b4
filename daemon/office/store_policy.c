/* SPDX-License-Identifier: Apache-2.0 */
/* The policy that a bus recorded last. */
#include <jansson.h>
#include <stdio.h>

#include "store_internal.h"

struct policy { char *text; size_t room; };

/* A body that has no text is none. */
static int take_policy(void *ctx, const struct pw_cell *cells)
{
	const struct policy *p = ctx;
	json_t *body = json_loadb(cells[0].bytes, cells[0].length, 0, NULL);
	const char *text = json_string_value(json_object_get(body, "text"));

	snprintf(p->text, p->room, "%s", text ? text : "");
	json_decref(body);
	return 0;
}

int pw_audit_policy(struct pw_store *s, const char *bus, char *text, size_t room, char *why,
		    size_t size)
{
	struct policy p = { .text = text, .room = room };
	const struct pw_cell args[] = { pw_cell_text(bus) };
	int result;

	text[0] = '\0';
	result = pw_store_ask_one(s, PW_Q_POLICY, args, take_policy, &p, why, size);
	return result == 1 && text[0] == '\0' ? 0 : result;
}

/* SPDX-License-Identifier: Apache-2.0 */
/* Which lines did worst on a day, and the policy that a bus recorded last. */
#include <jansson.h>
#include <stdio.h>

#include "store_internal.h"

/* -- lines ------------------------------------------------------------------------------------- */

struct lines {
	int (*take)(void *ctx, const struct pw_line_day *d);
	void *ctx;
};

static int give_line(void *ctx, const struct pw_cell *cells)
{
	const struct lines *all = ctx;
	struct pw_line_day d = { .day = (int32_t)cells[2].number,
				 .edges = (uint32_t)cells[3].number,
				 .bounces = (uint32_t)cells[4].number,
				 .chatters = (uint32_t)cells[5].number,
				 .disagreements = (uint32_t)cells[6].number,
				 .shortest_ms = (uint32_t)cells[7].number };

	pw_cell_get_text(&cells[0], d.bus, sizeof(d.bus));
	pw_cell_get_text(&cells[1], d.line, sizeof(d.line));
	return all->take(all->ctx, &d);
}

int pw_audit_lines_worst(struct pw_store *s, int32_t day, unsigned each,
			 int (*take)(void *ctx, const struct pw_line_day *d), void *ctx, char *why,
			 size_t size)
{
	struct lines all = { .take = take, .ctx = ctx };
	const struct pw_cell args[] = { pw_cell_number(day), pw_cell_number(each) };
	int result = pw_store_ask(s, PW_Q_LINES_BOUNCED, args, give_line, &all, why, size);

	if (result == 0)
		result = pw_store_ask(s, PW_Q_LINES_FAILED, args, give_line, &all, why, size);
	return result;
}

/* -- policy ------------------------------------------------------------------------------------ */

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

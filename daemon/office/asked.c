/* SPDX-License-Identifier: Apache-2.0 */
/* What a page's file sees of a request, by the web and by the shell alike. */
#include <stdarg.h>
#include <string.h>

#include "commands_internal.h"
#include "web.h"

const char *pw_asked_value(const struct pw_asked *q, const char *name)
{
	for (unsigned i = 0; i < q->fields; i++)
		if (strcmp(q->field[i].name, name) == 0)
			return q->field[i].value;
	return "";
}

int32_t pw_asked_day(const struct pw_asked *q, const char *name)
{
	const char *text = pw_asked_value(q, name);
	int32_t day = text[0] ? pw_day_read(text) : 0;

	return text[0] && day == 0 ? -1 : day;
}

int pw_asked_wrong(struct pw_asked *q, const char *field, enum pw_phrase phrase, const char *fill)
{
	q->wrong = phrase;
	snprintf(q->wrong_field, sizeof(q->wrong_field), "%s", field);
	snprintf(q->wrong_fill, sizeof(q->wrong_fill), "%s", fill ? fill : "");
	return 1;
}

int pw_asked_desk(struct pw_asked *q,
		  int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx)
{
	char why[240];
	int result = pw_desk_do(q->o->desk, work, ctx, why, sizeof(why));

	if (result < 0)
		pw_office_say("page %s: %s", q->leaf->path, why);
	return result;
}

int pw_asked_log(struct pw_asked *q, struct pw_store *s, char *why, size_t size,
		 const char *format, ...)
{
	char did[300];
	va_list args;

	va_start(args, format);
	vsnprintf(did, sizeof(did), format, args);
	va_end(args);
	return pw_store_log(s, q->now_ms, q->who, did, why, size);
}

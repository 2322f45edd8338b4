/* SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "report_internal.h"

#define FILLS_MAX 5 /* a count before four texts */

struct pw_report *pw_report_new(enum pw_tongue tongue, const struct pw_zone *zone)
{
	struct pw_report *r = calloc(1, sizeof(*r));

	if (!r)
		return NULL;
	r->tongue = tongue;
	r->zone = zone;
	r->last = &r->first;
	return r;
}

void pw_report_free(struct pw_report *r)
{
	if (!r)
		return;
	for (struct pw_block *b = r->first; b; b = b->next) {
		if (!b->table)
			continue;
		free(b->table->cell);
		free(b->table->mark);
		pw_room_free(&b->table->room);
	}
	pw_room_free(&r->room);
	free(r);
}

bool pw_report_ok(const struct pw_report *r)
{
	return !r->broke;
}

enum pw_tongue pw_report_tongue(const struct pw_report *r)
{
	return r->tongue;
}

struct pw_block *pw_report_block(struct pw_report *r, enum pw_block_kind kind)
{
	struct pw_block *b = pw_room_take(&r->room, sizeof(*b));

	if (!b) {
		r->broke = true;
		return NULL;
	}
	*b = (struct pw_block){ .kind = kind };
	*r->last = b;
	r->last = &b->next;
	return b;
}

const char *pw_report_copy(struct pw_report *r, const char *text)
{
	const char *copy = pw_room_text(&r->room, text, false);

	r->broke |= !copy;
	return copy ? copy : "";
}

/* -- sentences --------------------------------------------------------------------------------- */

static const char *filled(struct pw_report *r, const char *text, const char *const *fill)
{
	char *made = NULL;
	size_t length = 0;
	FILE *f = open_memstream(&made, &length);
	const char *copy = "";

	if (!f) {
		r->broke = true;
		return "";
	}
	pw_phrase_fill(f, text, fill);
	if (fclose(f))
		r->broke = true;
	else
		copy = pw_report_copy(r, made);
	free(made);
	return copy;
}

/* From first on, up to the NULL that ends them. */
static void take_fills(va_list args, const char *fill[FILLS_MAX + 1], size_t first)
{
	size_t n = first;

	while (n < FILLS_MAX && (fill[n] = va_arg(args, const char *)))
		n++;
	fill[n] = NULL;
}

static void say(struct pw_report *r, enum pw_say_as as, const char *text, const char *const *fill)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_SAY);

	if (!b)
		return;
	b->as = as;
	b->text = filled(r, text, fill);
}

void pw_report_say(struct pw_report *r, enum pw_say_as as, enum pw_phrase phrase, ...)
{
	const char *fill[FILLS_MAX + 1];
	va_list args;

	va_start(args, phrase);
	take_fills(args, fill, 0);
	va_end(args);
	say(r, as, pw_phrase(r->tongue, phrase), fill);
}

void pw_report_say_count(struct pw_report *r, enum pw_say_as as, enum pw_phrase phrase,
			 int64_t count, ...)
{
	const char *fill[FILLS_MAX + 1] = { pw_report_count(r, count) };
	va_list args;

	va_start(args, count);
	take_fills(args, fill, 1);
	va_end(args);
	say(r, as, pw_phrase_count(r->tongue, phrase, count), fill);
}

const char *pw_report_phrase(struct pw_report *r, enum pw_phrase phrase, ...)
{
	const char *fill[FILLS_MAX + 1];
	va_list args;

	va_start(args, phrase);
	take_fills(args, fill, 0);
	va_end(args);
	return filled(r, pw_phrase(r->tongue, phrase), fill);
}

const char *pw_report_counted(struct pw_report *r, enum pw_phrase phrase, int64_t count)
{
	const char *fill[FILLS_MAX + 1] = { pw_report_count(r, count) };

	return filled(r, pw_phrase_count(r->tongue, phrase, count), fill);
}

void pw_report_said(struct pw_report *r, enum pw_say_as as, const char *text)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_SAY);

	if (!b)
		return;
	b->as = as;
	b->text = pw_report_copy(r, text);
}

void pw_report_link(struct pw_report *r, const char *href, enum pw_phrase phrase)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_LINK);

	if (!b)
		return;
	b->href = pw_report_copy(r, href);
	b->text = pw_phrase(r->tongue, phrase);
}

void pw_report_verbatim(struct pw_report *r, const char *text)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_VERBATIM);

	if (!b)
		return;
	b->text = pw_room_text(&r->room, text, true);
	if (!b->text) {
		b->text = "";
		r->broke = true;
	}
}

/* -- pictures ---------------------------------------------------------------------------------- */

void pw_report_picture_of(struct pw_report *r, const char *kind, const struct pw_table *t,
			  const char *roles,
			  enum pw_phrase caption)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_PICTURE);

	if (!b)
		return;
	b->href = pw_report_copy(r, kind);
	b->roles = pw_report_copy(r, roles);
	b->pictured = t;
	b->text = pw_phrase(r->tongue, caption);
}

void pw_report_picture(struct pw_report *r, const char *kind, const struct pw_table *t,
		       enum pw_phrase caption)
{
	pw_report_picture_of(r, kind, t, "", caption);
}

void pw_report_svg(struct pw_report *r, const char *svg, enum pw_phrase caption)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_SVG);
	char *copy;

	if (!b)
		return;
	b->text = pw_phrase(r->tongue, caption);
	copy = pw_room_take(&r->room, strlen(svg) + 1);
	b->href = copy ? strcpy(copy, svg) : "";
	r->broke |= !copy;
}

/* -- a flow: rows are written as they come ------------------------------------------------------ */

void pw_report_flow(struct pw_report *r, bool csv, const char *table, FILE *out)
{
	r->flow.out = out;
	r->flow.csv = csv;
	r->flow.table = table ? pw_report_copy(r, table) : NULL;
}

/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <string.h>

#include "warmth.h"

int pw_warmth_take(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const struct pw_warmth_taking *t = ctx;
	char did[300];
	int result = 0;

	for (size_t i = 0; i < t->w->rows && result >= 0; i++) {
		const struct pw_warmth_row *row = &t->w->row[i];

		result = pw_audit_warmth(s, row->bus, row->at_ms, row->c10, t->source, why, size);
	}
	if (result < 0)
		return result;
	snprintf(did, sizeof(did),
		 "warmth: %zu temperatures of %.80s taken, %zu lines not; source: %.100s",
		 t->w->rows, t->file, t->w->notes, t->source);
	return pw_store_log(s, t->now_ms, t->who, did, why, size);
}

static void say_line(enum pw_tongue tongue, const struct pw_warmth_note *n, FILE *out)
{
	const char *const shown[] = { n->shown, NULL };
	char number[16], words[300] = "";
	const char *const fill[] = { number, words, NULL };
	FILE *f = fmemopen(words, sizeof(words), "w");

	snprintf(number, sizeof(number), "%" PRIu32, n->line);
	if (f) {
		pw_phrase_fill(f, pw_phrase(tongue, n->why), shown);
		fclose(f);
	}
	pw_phrase_fill(out, pw_phrase(tongue, PW_P_HEAT_LINE), fill);
}

void pw_warmth_say(enum pw_tongue tongue, const struct pw_warmths *w, size_t lines, FILE *out)
{
	char taken[24], not_taken[24], more[24];
	const char *const counts[] = { taken, not_taken, NULL }, *const left[] = { more, NULL };

	snprintf(taken, sizeof(taken), "%zu", w->rows);
	snprintf(not_taken, sizeof(not_taken), "%zu", w->notes);
	pw_phrase_fill(out, pw_phrase(tongue, PW_P_HEAT_TAKEN), counts);
	for (size_t i = 0; i < w->notes && i < lines; i++) {
		putc('\n', out);
		say_line(tongue, &w->note[i], out);
	}
	if (w->notes <= lines)
		return;
	snprintf(more, sizeof(more), "%zu", w->notes - lines);
	putc('\n', out);
	pw_phrase_fill(out, pw_phrase(tongue, PW_P_HEAT_MORE_LINES), left);
}

bool pw_warmth_source_ok(const char *source)
{
	return source && source[0] && strlen(source) < PW_WARMTH_SOURCE &&
	       !strpbrk(source, "\r\n\t");
}

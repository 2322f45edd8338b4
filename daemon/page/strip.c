/* SPDX-License-Identifier: Apache-2.0 */
/* Raw edges of a line as a picture, and its short pulses as bars with their numbers. */
#include <inttypes.h>
#include <stdio.h>

#include "leaf.h"

#define STRIP_WIDTH 300 /* edges in one of so many columns are drawn as one */
#define STRIP_HIGH 3
#define STRIP_LOW 21
#define BAR_HEIGHT 20

static int row_of(unsigned level)
{
	return level ? STRIP_HIGH : STRIP_LOW;
}

/* Edges kept that are not older than from_ms. */
static unsigned edges_since(const struct pw_wire *w, int64_t from_ms)
{
	unsigned n = 0;

	while (n < w->tail && w->at_ms[w->tail - 1 - n] >= from_ms)
		n++;
	return n;
}

/* Before the first edge that is kept of many, nothing is known: nothing is drawn. */
static void put_path(struct pw_sheet *t, const struct pw_wire *w, unsigned shown, int64_t from_ms,
		     int64_t span_ms)
{
	unsigned level = (w->level ^ shown) & 1;
	int at = 0, column = -1;

	pw_sheet_raw(t, "<path fill=\"none\" d=\"");
	if (shown < PW_TAIL_MAX)
		pw_sheet_fmt(t, "M0 %d", row_of(level));
	for (unsigned i = w->tail - shown; i < w->tail; i++) {
		column = (int)((w->at_ms[i] - from_ms) * STRIP_WIDTH / span_ms);
		level ^= 1;
		if (i == w->tail - shown && shown == PW_TAIL_MAX)
			pw_sheet_fmt(t, "M%d %dV%d", column, row_of(level ^ 1), row_of(level));
		else if (column != at || i == 0)
			pw_sheet_fmt(t, "H%dV%d", column, row_of(level));
		else
			pw_sheet_fmt(t, "V%d", row_of(level));
		at = column;
	}
	pw_sheet_fmt(t, "H%d\"/>", STRIP_WIDTH);
}

void pw_put_strip(struct pw_sheet *t, const struct pw_wire *w, int64_t now_ms, int64_t span_ms,
		  enum pw_word span)
{
	int64_t from_ms = now_ms - span_ms;
	unsigned shown = edges_since(w, from_ms);

	pw_sheet_fmt(t, "<figure class=\"strip\"><svg viewBox=\"0 0 %d 24\" aria-hidden=\"true\" "
		     "preserveAspectRatio=\"none\">", STRIP_WIDTH);
	put_path(t, w, shown, from_ms, span_ms);
	pw_sheet_raw(t, "</svg>\n<figcaption><span>");
	pw_sheet_count(t, PW_W_I_STRIP, shown, pw_word(t->language, span));
	if (shown == PW_TAIL_MAX) {
		pw_sheet_raw(t, ". ");
		pw_sheet_word(t, PW_W_I_CUT, "", "");
	}
	pw_sheet_raw(t, "</span></figcaption></figure>\n");
}

static void put_width(struct pw_sheet *t, int bin)
{
	char ms[24];

	snprintf(ms, sizeof ms, "%" PRId64,
		 pw_width_below_ms[bin < PW_WIDTHS - 1 ? bin : PW_WIDTHS - 2]);
	pw_sheet_word(t, bin < PW_WIDTHS - 1 ? PW_W_I_BELOW : PW_W_I_ABOVE, ms, "");
}

/* Bins that have none are left out. */
void pw_put_bins(struct pw_sheet *t, const struct pw_wire *w)
{
	uint32_t most = 0;

	for (int i = 0; i < PW_WIDTHS; i++)
		most = w->width[i] > most ? w->width[i] : most;
	if (most == 0)
		return;
	pw_put_element(t, "p", "small", PW_W_I_BINS);
	pw_sheet_raw(t, "<ul class=\"bins\">\n");
	for (int i = 0; i < PW_WIDTHS; i++) {
		if (w->width[i] == 0)
			continue;
		int height = (int)((uint64_t)w->width[i] * BAR_HEIGHT / most);

		height = height ? height : 1;
		pw_sheet_fmt(t, "<li><svg viewBox=\"0 0 10 %d\" aria-hidden=\"true\"><path "
			     "d=\"M0 %dh10v%dH0z\"/></svg><b>%" PRIu32 "</b> ", BAR_HEIGHT,
			     BAR_HEIGHT - height, height, w->width[i]);
		put_width(t, i);
		pw_sheet_raw(t, "</li>\n");
	}
	pw_sheet_raw(t, "</ul>\n");
}

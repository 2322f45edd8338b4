/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The bus from above, its front at the left: seats row by row, and one mark where the walk should
 * be by the policy's pace. The length lies in slots of equal width: 0 is the front with the service
 * door, 1 to rows are the rows, rows + 1 is the rear with the button. Nothing is drawn behind the
 * mark: a row that it has passed looks like any other, for nothing is known of it.
 */
#include <inttypes.h>
#include <stdio.h>

#include "page_internal.h"

#define SLOT 26  /* widths and heights in the drawing's own units */
#define FIRST 22 /* where slot 0 begins */
#define MIDDLE 50

/* Which of so many equal parts a moment lies in, from 0; parts when all is over. */
static int64_t part(int64_t gone_ms, int64_t all_ms, int64_t parts)
{
	if (gone_ms >= all_ms || all_ms <= 0)
		return parts;
	return gone_ms * parts / all_ms;
}

static void pace_to_rear(const struct pw_snapshot *s, struct pw_pace *p)
{
	p->all_ms = s->walk_min_ms;
	p->gone_ms = pw_span_ms(s->basis_ms, s->now_ms);
	if (p->gone_ms < 0 || pw_line_level(s, PW_REAR_DOOR) || pw_line_level(s, PW_EXITS)) {
		p->gone_ms = p->all_ms = 0; /* R12: it begins when they are shut */
		p->word = PW_W_PACE_FRONT;
		return;
	}
	p->row = part(p->gone_ms, p->all_ms, s->rows) + 1;
	p->word = p->row <= s->rows ? PW_W_PACE_ROW : PW_W_PACE_REAR;
	if (s->rows == 0 && p->gone_ms < p->all_ms)
		p->word = PW_W_PACE_FRONT;
}

static void pace_back(const struct pw_snapshot *s, struct pw_pace *p)
{
	p->back = true;
	p->all_ms = s->return_min_ms;
	p->gone_ms = pw_span_ms(s->press_ms, s->now_ms);
	if (p->gone_ms < 0)
		p->gone_ms = 0;
	p->row = s->rows - part(p->gone_ms, p->all_ms, s->rows);
	p->word = p->row > 0 ? PW_W_PACE_ROW : PW_W_PACE_DOOR;
}

void pw_pace(const struct pw_snapshot *s, struct pw_pace *pace)
{
	*pace = (struct pw_pace){ .word = PW_W_NONE };
	if (s->rows < 0 || s->rows > PW_ROWS_MAX)
		return;
	if (s->phase == PW_OWED || s->phase == PW_OVERDUE)
		pace_to_rear(s, pace);
	else if (s->phase == PW_WALK_BACK)
		pace_back(s, pace);
	if (pace->word != PW_W_PACE_ROW)
		pace->row = 0;
}

static int64_t slot_of(const struct pw_pace *p, int64_t rows)
{
	return p->word == PW_W_PACE_ROW ? p->row : p->word == PW_W_PACE_REAR ? rows + 1 : 0;
}

/* -- the drawing ------------------------------------------------------------------------------- */

static void put_body(struct pw_sheet *t, int64_t end)
{
	pw_sheet_fmt(t, "<path class=\"body\" d=\"M18 5H%" PRId64, end - 5);
	pw_sheet_raw(t, "a5 5 0 0 1 5 5v80a5 5 0 0 1-5 5H18C8 95 4 80 4 50S8 5 18 5z\"/>\n");
	/* the driver's place: seat and wheel */
	pw_sheet_raw(t, "<path class=\"seats\" d=\"M31 63h13v22h-13zM22 67a7 7 0 1 0 .1 0z\"/>\n");
}

/* Where the walk should be, as a band over the whole width, with a pointer at each side. */
static void put_mark(struct pw_sheet *t, const struct pw_pace *p, int64_t rows)
{
	pw_sheet_fmt(t, "<g class=\"slot\" transform=\"translate(%" PRId64 ")\">",
		     FIRST + slot_of(p, rows) * SLOT);
	pw_sheet_raw(t, "<path class=\"band\" d=\"M0 6h26v88H0zM13 4L3-11h20zM13 96L3 111h20z\"/>");
	if (p->word == PW_W_PACE_ROW || p->word == PW_W_PACE_FRONT)
		pw_sheet_raw(t, p->back ? "<path d=\"M22 40h-9l-9 10 9 10h9l-9-10z\"/>"
					: "<path d=\"M4 40h9l9 10-9 10h-9l9-10z\"/>");
	pw_sheet_raw(t, "</g>\n");
}

static void put_seats(struct pw_sheet *t, int64_t rows)
{
	pw_sheet_raw(t, "<path class=\"seats\" d=\"");
	for (int64_t r = 1; r <= rows; r++)
		pw_sheet_fmt(t, "M%" PRId64 " 10h14v26h-14zm0 54h14v26h-14z", FIRST + r * SLOT + 4);
	pw_sheet_raw(t, "\"/>\n<path class=\"backs\" d=\"");
	for (int64_t r = 1; r <= rows; r++)
		pw_sheet_fmt(t, "M%" PRId64 " 9h5v28h-5zm0 54h5v28h-5z", FIRST + r * SLOT + 17);
	pw_sheet_raw(t, "\"/>\n");
}

static void put_button(struct pw_sheet *t, bool pressed, int64_t rows)
{
	int64_t middle = FIRST + (rows + 1) * SLOT + SLOT / 2;

	pw_sheet_fmt(t, "<circle class=\"button\" cx=\"%" PRId64 "\" cy=\"%d\" r=\"10\"/>", middle,
		     MIDDLE);
	pw_sheet_fmt(t, "<circle class=\"%s\" cx=\"%" PRId64 "\" cy=\"%d\" r=\"5\"/>\n",
		     pressed ? "backs" : "seats", middle, MIDDLE);
}

static void put_doors(struct pw_sheet *t, const struct pw_snapshot *s, int64_t end)
{
	if (s->line[PW_SERVICE_DOOR].configured)
		pw_sheet_raw(t, pw_line_level(s, PW_SERVICE_DOOR)
				? "<path class=\"gap\" d=\"M24 3h20v4H24z\"/>"
				  "<path class=\"leaf\" d=\"M22-9h5V7h-5zM41-9h5V7h-5z\"/>\n"
				: "<path class=\"leaf\" d=\"M23 2h22v6H23z\"/>\n");
	if (!s->line[PW_REAR_DOOR].configured)
		return;
	if (pw_line_level(s, PW_REAR_DOOR)) {
		pw_sheet_fmt(t, "<path class=\"gap\" d=\"M%" PRId64 " 38h4v24h-4z\"/>", end - 2);
		pw_sheet_fmt(t, "<path class=\"ajar\" d=\"M%" PRId64 " 60h18v6h-18z\"/>\n", end - 2);
	} else {
		pw_sheet_fmt(t, "<path class=\"leaf\" d=\"M%" PRId64 " 37h6v26h-6z\"/>\n", end - 3);
	}
}

/* What a script needs to move the mark and its words on between two answers. */
static void put_way(struct pw_sheet *t, const struct pw_pace *p, int64_t rows)
{
	char of[24];

	if (p->word == PW_W_PACE_FRONT)
		return;
	snprintf(of, sizeof of, "%" PRId64, rows);
	pw_sheet_fmt(t, " data-gone=\"%" PRId64 "\" data-all=\"%" PRId64 "\"", p->gone_ms,
		     p->all_ms);
	pw_sheet_fmt(t, " data-rows=\"%" PRId64 "\" data-back=\"%d\"", rows, p->back);
	pw_sheet_fmt(t, " data-first=\"%d\" data-slot=\"%d\"", FIRST, SLOT);
	pw_sheet_raw(t, " data-row=\"");
	pw_sheet_word(t, PW_W_PACE_ROW, "%", of);
	pw_sheet_raw(t, "\" data-end=\"");
	pw_sheet_word(t, p->back ? PW_W_PACE_DOOR : PW_W_PACE_REAR, "", "");
	pw_sheet_raw(t, "\"");
}

static void put_caption(struct pw_sheet *t, const struct pw_pace *p, int64_t rows)
{
	char row[24], of[24];

	snprintf(row, sizeof row, "%" PRId64, p->row);
	snprintf(of, sizeof of, "%" PRId64, rows);
	pw_sheet_raw(t, "<figcaption><span>");
	pw_sheet_word(t, PW_W_FRONT, "", "");
	pw_sheet_raw(t, "</span> <b>");
	pw_sheet_word(t, p->word, row, of);
	pw_sheet_raw(t, "</b> <span>");
	pw_sheet_word(t, PW_W_REAR, "", "");
	pw_sheet_raw(t, "</span></figcaption>\n");
}

void pw_aisle(struct pw_sheet *t, const struct pw_snapshot *s)
{
	int64_t end = FIRST + (s->rows + 2) * SLOT + 5;
	struct pw_pace p;

	pw_pace(s, &p);
	if (p.word == PW_W_NONE)
		return;
	pw_sheet_raw(t, "<figure class=\"aisle\"");
	put_way(t, &p, s->rows);
	pw_sheet_fmt(t, ">\n<svg viewBox=\"0 -12 %" PRId64 " 124\" role=\"img\" aria-label=\"",
		     end + 20);
	pw_sheet_count(t, PW_W_AISLE_ALT, s->rows, "");
	pw_sheet_raw(t, "\">\n");
	put_body(t, end);
	put_mark(t, &p, s->rows);
	put_seats(t, s->rows);
	put_button(t, p.back, s->rows);
	put_doors(t, s, end);
	pw_sheet_raw(t, "</svg>\n");
	put_caption(t, &p, s->rows);
	pw_sheet_raw(t, "</figure>\n");
}

/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "leaf.h"

/* do=sign or review; who. */
enum pw_word pw_report_read(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act)
{
	const char *what = pw_form_value(f, "do");

	(void)s;
	if (!strcmp(what, "sign"))
		act->kind = PW_A_SIGN;
	else if (!strcmp(what, "review"))
		act->kind = PW_A_REVIEW;
	else
		return PW_W_E_FORM;
	return pw_read_code(f, true, act);
}

bool pw_review_due(const struct pw_day *d)
{
	return d->report.wall_ms != 0 && d->review.wall_ms < d->report.wall_ms;
}

void pw_put_defect(struct pw_sheet *t, const struct pw_defect *d)
{
	pw_sheet_fmt(t, "<b>%u. ", (unsigned)d->id);
	pw_sheet_word(t, pw_say_found(d->what), "", "");
	if (d->part != PW_PART_NONE) {
		pw_sheet_word(t, PW_W_COLON, "", "");
		pw_sheet_raw(t, " ");
		pw_sheet_word(t, pw_say_part(d->part), "", "");
	}
	pw_sheet_raw(t, "</b>");
	if (d->words[0]) {
		pw_sheet_raw(t, "<br><q>");
		pw_sheet_html(t, d->words);
		pw_sheet_raw(t, "</q>");
	}
	pw_sheet_raw(t, "<br>");
	pw_put_signed(t, d->who[0] ? PW_W_R_NOTED : PW_W_R_NOTED_AT, d->who, d->wall_ms);
	pw_sheet_raw(t, " ");
}

static void put_standing(struct pw_sheet *t, const struct pw_defect *d)
{
	if (d->certified == PW_REPORT_REPAIRED)
		pw_sheet_word(t, PW_W_R_REPAIRED, d->by, "");
	else if (d->certified == PW_REPORT_NO_NEED)
		pw_sheet_word(t, PW_W_R_NO_NEED, d->by, "");
	else
		pw_sheet_word(t, d->reported ? PW_W_R_REPORTED : PW_W_R_UNREPORTED, "", "");
}

/* The count. */
static unsigned put_defects(struct pw_sheet *t, const struct pw_day *d, bool certified,
			    enum pw_word head)
{
	unsigned n = 0;

	for (uint32_t i = 0; i < d->defects; i++) {
		if ((d->defect[i].certified != 0) != certified)
			continue;
		if (n++ == 0) {
			pw_put_element(t, "h2", NULL, head);
			pw_sheet_raw(t, "<ul class=\"defects\">\n");
		}
		pw_sheet_raw(t, "<li>");
		pw_put_shape(t, "mark", certified ? "done" : "fault");
		pw_put_defect(t, &d->defect[i]);
		put_standing(t, &d->defect[i]);
		pw_sheet_raw(t, "</li>\n");
	}
	if (n)
		pw_sheet_raw(t, "</ul>\n");
	return n;
}

static void put_all_defects(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_day *d = &v->s->day;

	if (put_defects(t, d, false, PW_W_R_OPEN) == 0)
		pw_put_element(t, "p", "lead", PW_W_R_NONE_OPEN);
	put_defects(t, d, true, PW_W_R_CERTIFIED);
	if (d->defects_dropped) {
		pw_sheet_raw(t, "<p>");
		pw_sheet_count(t, PW_W_R_MORE, d->defects_dropped, "");
		pw_sheet_raw(t, "</p>\n");
	}
}

static void put_signed(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_day *d = &v->s->day;

	pw_sheet_raw(t, "<p>");
	if (d->report.wall_ms)
		pw_put_signed(t, PW_W_R_SIGNED, d->report.who, d->report.wall_ms);
	else
		pw_sheet_word(t, PW_W_R_NOT_SIGNED, "", "");
	if (d->report.wall_ms) {
		pw_sheet_raw(t, "<br>");
		if (pw_review_due(d))
			pw_sheet_word(t, PW_W_R_NOT_REVIEWED, "", "");
		else
			pw_put_signed(t, PW_W_R_REVIEWED, d->review.who, d->review.wall_ms);
	}
	pw_sheet_raw(t, "</p>\n");
}

/* One form at a time: what is due. A report to be reviewed comes before a new one. */
static void put_forms(struct pw_sheet *t, const struct pw_view *v)
{
	bool review = pw_review_due(&v->s->day);

	if (v->visit->sent)
		review = !strcmp(pw_form_value(v->visit->sent, "do"), "review");
	pw_sheet_raw(t, review ? "<section class=\"sign\" id=\"review\">\n"
		     : "<section class=\"sign\" id=\"sign\">\n");
	pw_put_element(t, "h2", NULL, review ? PW_W_R_REVIEW_HEAD : PW_W_R_SIGN_HEAD);
	pw_put_element(t, "p", NULL, review ? PW_W_R_REVIEW_LEAD : PW_W_R_SIGN_LEAD);
	pw_put_form(t, v);
	pw_put_code_field(t, v, PW_W_YOUR_CODE, true);
	pw_sheet_raw(t, "<p class=\"do\">");
	pw_put_button(t, NULL, "do", review ? "review" : "sign",
		      review ? PW_W_R_REVIEW : PW_W_R_SIGN);
	if (review)
		pw_put_button(t, NULL, "do", "sign", PW_W_R_SIGN_AGAIN);
	pw_sheet_raw(t, "</p>\n</form>\n</section>\n");
}

static void put_ink(struct pw_sheet *t, const struct pw_view *v)
{
	static const enum pw_word who[] = { PW_W_R_INK_DRIVER, PW_W_R_INK_MECHANIC,
					    PW_W_R_INK_REVIEW };

	(void)v;
	pw_sheet_raw(t, "<div class=\"ink\">\n");
	for (size_t i = 0; i < sizeof who / sizeof who[0]; i++) {
		pw_put_element(t, "p", NULL, who[i]);
		pw_put_element(t, "p", NULL, PW_W_R_INK_DATE);
	}
	pw_sheet_raw(t, "</div>\n");
}

const struct pw_piece pw_report_pieces[] = {
	{ "defects", put_all_defects }, { "signed", put_signed }, { "forms", put_forms },
	{ "ink", put_ink }, { NULL, NULL },
};

/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "leaf.h"

static enum pw_word read_certify(const struct pw_form *f, struct pw_act *act)
{
	const char *id = pw_form_value(f, "id"), *as = pw_form_value(f, "as");
	char *end;
	unsigned long long number = strtoull(id, &end, 10);
	enum pw_word wrong;

	if (id[0] < '0' || id[0] > '9' || *end || number == 0 || number > UINT32_MAX)
		return PW_W_E_DEFECT;
	act->id = (uint32_t)number;
	act->yes = !strcmp(as, "repaired");
	if (!act->yes && strcmp(as, "no_need") != 0)
		return PW_W_E_CERTIFY;
	wrong = pw_read_words(f, act);
	return wrong == PW_W_NONE ? pw_read_code(f, true, act) : wrong;
}

/* do=on or off: service; do=certify: id, as=repaired or no_need, who, words. */
enum pw_word pw_mechanic_read(const struct pw_form *f, const struct pw_snapshot *s,
			      struct pw_act *act)
{
	const char *what = pw_form_value(f, "do");

	(void)s;
	act->kind = PW_A_CERTIFY;
	if (!strcmp(what, "certify"))
		return read_certify(f, act);
	act->kind = PW_A_SERVICE;
	act->yes = !strcmp(what, "on");
	return act->yes || !strcmp(what, "off") ? PW_W_NONE : PW_W_E_FORM;
}

static void put_service_now(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_snapshot *s = v->s;
	int64_t left_ms = pw_span_ms(s->now_ms, s->service_end_ms);
	char end[PW_CLOCK_MAX], left[PW_CLOCK_MAX];

	pw_sheet_raw(t, "<p class=\"lead\">");
	pw_put_shape(t, "mark", s->service ? "one" : "zero");
	if (s->service && left_ms >= 0) {
		pw_wall_text(s->wall_ms + left_ms, "%H:%M %Z", end);
		pw_clock_text(left_ms, true, left);
		pw_sheet_word(t, PW_W_S_ON, end, left);
	} else {
		pw_sheet_word(t, s->service ? PW_W_S_ON_NO_END : PW_W_S_OFF, "", "");
	}
	pw_sheet_raw(t, "</p>\n");
	pw_put_form(t, v);
	pw_sheet_raw(t, "<p class=\"do\">");
	pw_put_button(t, NULL, "do", s->service ? "off" : "on",
		      s->service ? PW_W_S_TURN_OFF : PW_W_S_TURN_ON);
	pw_sheet_raw(t, "</p>\n</form>\n");
}

/* One field with its own legend; error: tied to it when it is the one to blame. */
static void open_choice(struct pw_sheet *t, const struct pw_view *v, enum pw_word legend,
			enum pw_word error, const char *id)
{
	pw_sheet_raw(t, "<fieldset");
	if (v->visit->refusal == error)
		pw_sheet_fmt(t, " aria-describedby=\"%s\"", id);
	pw_sheet_raw(t, ">\n");
	pw_put_element(t, "legend", NULL, legend);
	pw_put_error(t, v, error, id);
}

static void put_which(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_day *d = &v->s->day;
	const char *chosen = pw_visit_value(v->visit, "id");

	open_choice(t, v, PW_W_S_WHICH, PW_W_E_DEFECT, "id-error");
	for (uint32_t i = 0; i < d->defects; i++) {
		if (d->defect[i].certified)
			continue;
		pw_sheet_fmt(t, "<label class=\"pick\"><input type=\"radio\" name=\"id\" "
			     "value=\"%u\" required%s><span>", (unsigned)d->defect[i].id,
			     strtoul(chosen, NULL, 10) == d->defect[i].id ? " checked" : "");
		pw_put_defect(t, &d->defect[i]);
		pw_sheet_raw(t, "</span></label>\n");
	}
	pw_sheet_raw(t, "</fieldset>\n");
}

static void put_as(struct pw_sheet *t, const struct pw_view *v)
{
	static const struct { const char *value; enum pw_word word; } as[] = {
		{ "repaired", PW_W_S_REPAIRED }, { "no_need", PW_W_S_NO_NEED },
	};
	const char *chosen = pw_visit_value(v->visit, "as");

	open_choice(t, v, PW_W_S_AS, PW_W_E_CERTIFY, "as-error");
	for (size_t i = 0; i < sizeof as / sizeof as[0]; i++) {
		pw_sheet_fmt(t, "<label class=\"pick\"><input type=\"radio\" name=\"as\" "
			     "value=\"%s\" required%s>", as[i].value,
			     strcmp(chosen, as[i].value) ? "" : " checked");
		pw_put_element(t, "span", NULL, as[i].word);
		pw_sheet_raw(t, "</label>\n");
	}
	pw_sheet_raw(t, "</fieldset>\n");
}

static void put_certify(struct pw_sheet *t, const struct pw_view *v)
{
	unsigned open = 0;

	for (uint32_t i = 0; i < v->s->day.defects; i++)
		open += !v->s->day.defect[i].certified;
	pw_put_element(t, "h2", NULL, PW_W_S_CERTIFY);
	if (open == 0) {
		pw_put_element(t, "p", NULL, PW_W_R_NONE_OPEN);
		return;
	}
	pw_put_form(t, v);
	put_which(t, v);
	put_as(t, v);
	pw_put_words_field(t, v);
	pw_put_code_field(t, v, PW_W_S_CODE, true);
	pw_sheet_raw(t, "<p class=\"do\">");
	pw_put_button(t, NULL, "do", "certify", PW_W_S_DO_CERTIFY);
	pw_sheet_raw(t, "</p>\n</form>\n");
}

const struct pw_piece pw_mechanic_pieces[] = {
	{ "service_now", put_service_now }, { "certify", put_certify }, { NULL, NULL },
};

/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "leaf.h"

const char *pw_visit_value(const struct pw_visit *v, const char *name)
{
	const char *sent = v->sent ? pw_form_value(v->sent, name) : "";

	return sent[0] || !v->query ? sent : pw_form_value(v->query, name);
}

/* -- read -------------------------------------------------------------------------------------- */

enum pw_word pw_read_code(const struct pw_form *f, bool must, struct pw_act *act)
{
	const char *code = pw_form_value(f, "who");

	if (code[0] ? !pw_code_ok(code) : must)
		return PW_W_E_CODE;
	snprintf(act->who, sizeof act->who, "%s", code);
	return PW_W_NONE;
}

enum pw_word pw_read_words(const struct pw_form *f, struct pw_act *act)
{
	const char *words = pw_form_value(f, "words");

	if (words[0] && !pw_said_ok(words))
		return PW_W_E_WORDS;
	snprintf(act->words, sizeof act->words, "%s", words);
	return PW_W_NONE;
}

enum pw_word pw_read_output(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act)
{
	const char *text = pw_form_value(f, "line");
	char *end;
	unsigned long line = strtoul(text, &end, 10);

	if (text[0] < '0' || text[0] > '9' || *end || line >= PW_LINES ||
	    !s->line[line].configured || !s->line[line].out)
		return PW_W_E_LINE;
	act->line = (uint8_t)line;
	return PW_W_NONE;
}

/* -- put --------------------------------------------------------------------------------------- */

void pw_put_element(struct pw_sheet *t, const char *tag, const char *class, enum pw_word word)
{
	pw_sheet_fmt(t, class ? "<%s class=\"%s\">" : "<%s>", tag, class);
	pw_sheet_word(t, word, "", "");
	pw_sheet_fmt(t, "</%s>\n", tag);
}

void pw_put_hidden(struct pw_sheet *t, const char *name, const char *value)
{
	pw_sheet_fmt(t, "<input type=\"hidden\" name=\"%s\" value=\"", name);
	pw_sheet_html(t, value);
	pw_sheet_raw(t, "\">\n");
}

void pw_put_form(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_fmt(t, "<form method=\"post\" action=\"%s\">\n", v->leaf->path);
	pw_put_hidden(t, "token", v->visit->token);
}

void pw_put_button(struct pw_sheet *t, const char *id, const char *name, const char *value,
		   enum pw_word word)
{
	pw_sheet_raw(t, "<button");
	if (id)
		pw_sheet_fmt(t, " id=\"%s\"", id);
	if (name)
		pw_sheet_fmt(t, " name=\"%s\" value=\"%s\"", name, value);
	pw_sheet_raw(t, ">");
	pw_sheet_word(t, word, "", "");
	pw_sheet_raw(t, "</button>\n");
}

/* Refusals that one field of a page is to blame for. */
bool pw_field_tells(enum pw_word refusal)
{
	switch (refusal) {
	case PW_W_E_CODE: case PW_W_E_WORDS: case PW_W_E_PART: case PW_W_E_PIN:
	case PW_W_E_DEFECT: case PW_W_E_CERTIFY: case PW_W_A_PIN_WRONG:
		return true;
	default:
		return false;
	}
}

void pw_put_error(struct pw_sheet *t, const struct pw_view *v, enum pw_word error, const char *id)
{
	if (v->visit->refusal != error)
		return;
	pw_sheet_fmt(t, "<p class=\"error\" id=\"%s\">", id);
	pw_put_shape(t, "mark", "fault");
	pw_sheet_word(t, error, "", "");
	pw_sheet_raw(t, "</p>\n");
}

static void put_value(struct pw_sheet *t, const struct pw_view *v, const char *name)
{
	const char *value = v->visit->sent ? pw_form_value(v->visit->sent, name) : "";

	if (!value[0])
		return;
	pw_sheet_raw(t, " value=\"");
	pw_sheet_html(t, value);
	pw_sheet_raw(t, "\"");
}

static void put_described(struct pw_sheet *t, const struct pw_view *v, enum pw_word error,
			  const char *id)
{
	if (v->visit->refusal == error)
		pw_sheet_fmt(t, " aria-invalid=\"true\" aria-describedby=\"%s\"", id);
}

void pw_put_code_field(struct pw_sheet *t, const struct pw_view *v, enum pw_word label, bool must)
{
	pw_sheet_raw(t, "<p class=\"field\"><label for=\"who\">");
	pw_sheet_word(t, label, "", "");
	pw_sheet_fmt(t, "</label>\n<input id=\"who\" name=\"who\" maxlength=\"%d\" "
		     "autocomplete=\"off\" autocapitalize=\"off\"", PW_CODE_MAX - 1);
	pw_sheet_raw(t, must ? " spellcheck=\"false\" required" : " spellcheck=\"false\"");
	put_value(t, v, "who");
	put_described(t, v, PW_W_E_CODE, "who-error");
	pw_sheet_raw(t, "></p>\n");
	pw_put_error(t, v, PW_W_E_CODE, "who-error");
}

/* 80 characters of two bytes fit; who writes in others is told when they do not. */
void pw_put_words_field(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_raw(t, "<p class=\"field\"><label for=\"words\">");
	pw_sheet_word(t, PW_W_OWN_WORDS, "", "");
	pw_sheet_raw(t, "</label>\n<input id=\"words\" name=\"words\" maxlength=\"80\" "
			"autocomplete=\"off\"");
	put_value(t, v, "words");
	put_described(t, v, PW_W_E_WORDS, "words-error");
	pw_sheet_raw(t, "></p>\n");
	pw_put_error(t, v, PW_W_E_WORDS, "words-error");
}

void pw_put_moment(struct pw_sheet *t, int64_t wall_ms)
{
	char when[PW_CLOCK_MAX];

	pw_wall_text(wall_ms, "%Y-%m-%d %H:%M %Z", when);
	pw_sheet_html(t, when);
}

void pw_put_signed(struct pw_sheet *t, enum pw_word word, const char *who, int64_t wall_ms)
{
	char when[PW_CLOCK_MAX];

	pw_wall_text(wall_ms, "%Y-%m-%d %H:%M %Z", when);
	pw_sheet_word(t, word, who, when);
}

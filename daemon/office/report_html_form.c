/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "postwalk/audit.h"
#include "postwalk/day.h"
#include "report_internal.h"

/* What a field is in HTML. more: attributes of it. */
static const struct { const char *type, *more; } kinds[] = {
	[PW_FIELD_TEXT] = { "text", " maxlength=\"160\"" },
	[PW_FIELD_CODE] = { "text", " maxlength=\"15\" pattern=\"[A-Za-z0-9._\\-]{1,15}\" autocapitalize=\"none\""
				    " autocomplete=\"off\" spellcheck=\"false\"" },
	[PW_FIELD_DAY] = { "date", "" },
	[PW_FIELD_PASSWORD] = { "password", " maxlength=\"160\" autocomplete=\"current-password\"" },
	[PW_FIELD_NEW_PASSWORD] = { "password", " maxlength=\"160\" autocomplete=\"new-password\"" },
	[PW_FIELD_WORDS] = { NULL, " maxlength=\"160\" rows=\"3\"" },
	[PW_FIELD_CHOICE] = { NULL, "" },
	[PW_FIELD_FILE] = { "file", "" },
	[PW_FIELD_HIDDEN] = { "hidden", "" },
	[PW_FIELD_TICK] = { "checkbox", "" },
};

struct at { const struct pw_report *r; unsigned form; FILE *out; };

static void put_attribute(const char *name, const char *value, FILE *out)
{
	fprintf(out, " %s=\"", name);
	pw_html_text(value, out);
	putc('"', out);
}

static bool is_wrong(const struct at *a, const struct pw_form *form, const struct pw_field_block *f)
{
	return a->r->wrong && !form->get && !strcmp(a->r->wrong_field, f->name);
}

/* id, name, and what is common to all that can be filled in. */
static void put_common(const struct at *a, const struct pw_field_block *f, bool wrong)
{
	fprintf(a->out, " id=\"f%u-", a->form);
	pw_html_text(f->name, a->out);
	putc('"', a->out);
	put_attribute("name", f->name, a->out);
	fputs(kinds[f->kind].more, a->out);
	if (f->must)
		fputs(" required", a->out);
	if (wrong)
		fprintf(a->out, " aria-invalid=\"true\" aria-describedby=\"f%u-wrong\"", a->form);
}

static void put_select(const struct at *a, const struct pw_field_block *f, bool wrong)
{
	fputs("<select", a->out);
	put_common(a, f, wrong);
	fputs(">\n", a->out);
	for (const struct pw_option *o = f->option; o; o = o->next) {
		fputs("<option", a->out);
		put_attribute("value", o->value, a->out);
		fputs(o->chosen ? " selected>" : ">", a->out);
		pw_html_text(o->label, a->out);
		fputs("</option>\n", a->out);
	}
	fputs("</select>", a->out);
}

static void put_input(const struct at *a, const struct pw_field_block *f, bool wrong)
{
	const bool tick = f->kind == PW_FIELD_TICK;
	const bool secret = f->kind == PW_FIELD_PASSWORD || f->kind == PW_FIELD_NEW_PASSWORD;

	fprintf(a->out, "<input type=\"%s\"", kinds[f->kind].type);
	put_common(a, f, wrong);
	if (tick)
		fputs(f->value && !strcmp(f->value, "1") ? " value=\"1\" checked" : " value=\"1\"",
		      a->out);
	else if (f->value && !secret && f->kind != PW_FIELD_FILE)
		put_attribute("value", f->value, a->out);
	putc('>', a->out);
}

static void put_control(const struct at *a, const struct pw_field_block *f, bool wrong)
{
	if (f->kind == PW_FIELD_CHOICE) {
		put_select(a, f, wrong);
	} else if (f->kind == PW_FIELD_WORDS) {
		fputs("<textarea", a->out);
		put_common(a, f, wrong);
		putc('>', a->out);
		pw_html_text(f->value ? f->value : "", a->out);
		fputs("</textarea>", a->out);
	} else {
		put_input(a, f, wrong);
	}
}

static void put_label(const struct at *a, const struct pw_form *form,
		      const struct pw_field_block *f)
{
	fprintf(a->out, "<label for=\"f%u-", a->form);
	pw_html_text(f->name, a->out);
	fputs("\">", a->out);
	pw_html_text(f->label, a->out);
	if (f->must && !form->get && f->kind != PW_FIELD_TICK) {
		fputs(" <span class=\"must\">", a->out);
		pw_html_text(pw_phrase(a->r->tongue, PW_P_REQUIRED), a->out);
		fputs("</span>", a->out);
	}
	fputs("</label>", a->out);
}

static void put_field(const struct at *a, const struct pw_form *form,
		      const struct pw_field_block *f)
{
	const bool wrong = is_wrong(a, form, f), tick = f->kind == PW_FIELD_TICK;

	if (f->kind == PW_FIELD_HIDDEN) {
		fputs("<input type=\"hidden\"", a->out);
		put_attribute("name", f->name, a->out);
		put_attribute("value", f->value ? f->value : "", a->out);
		fputs(">\n", a->out);
		return;
	}
	fputs(tick ? "<div class=\"field tick\">" : "<div class=\"field\">", a->out);
	if (!tick)
		put_label(a, form, f);
	if (wrong) {
		fprintf(a->out, "<span class=\"wrong\" id=\"f%u-wrong\">", a->form);
		pw_html_text(a->r->wrong, a->out);
		fputs("</span>", a->out);
	}
	put_control(a, f, wrong);
	if (tick)
		put_label(a, form, f);
	fputs("</div>\n", a->out);
}

static bool has_file(const struct pw_form *form)
{
	for (const struct pw_field_block *f = form->field; f; f = f->next)
		if (f->kind == PW_FIELD_FILE)
			return true;
	return false;
}

void pw_html_form(const struct pw_report *r, const struct pw_form *form, unsigned number,
		  const char *token, FILE *out)
{
	const struct at a = { .r = r, .form = number, .out = out };

	fprintf(out, "<form class=\"%s\" method=\"%s\"", form->get ? "filter" : "act",
		form->get ? "get" : "post");
	put_attribute("action", form->action, out);
	fputs(has_file(form) ? " enctype=\"multipart/form-data\">\n" : ">\n", out);
	if (!form->get) {
		fputs("<input type=\"hidden\" name=\"token\"", out);
		put_attribute("value", token, out);
		fputs(">\n", out);
	}
	for (const struct pw_field_block *f = form->field; f; f = f->next)
		put_field(&a, form, f);
	fputs("<div class=\"field\"><button type=\"submit\">", out);
	pw_html_text(form->button ? form->button : "", out);
	fputs("</button></div>\n</form>\n", out);
}

/* SPDX-License-Identifier: Apache-2.0 */
#include "report_internal.h"

void pw_report_form(struct pw_report *r, const char *action, bool get)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_FORM);
	struct pw_form *form = pw_room_take(&r->room, sizeof(*form));

	r->form = NULL;
	if (!b || !form) {
		r->broke = true;
		return;
	}
	*form = (struct pw_form){ .action = pw_report_copy(r, action), .get = get };
	form->last = &form->field;
	b->form = r->form = form;
}

void pw_report_wrong(struct pw_report *r, const char *field, enum pw_phrase phrase,
		     const char *fill)
{
	r->wrong = pw_report_phrase(r, phrase, fill, NULL);
	r->wrong_field = pw_report_copy(r, field);
}

void pw_report_field(struct pw_report *r, enum pw_field_kind kind, const char *name,
		     enum pw_phrase label,
		     const char *value, bool must)
{
	struct pw_field_block *f = r->form ? pw_room_take(&r->room, sizeof(*f)) : NULL;

	if (!f) {
		r->broke = true;
		return;
	}
	*f = (struct pw_field_block){
		.kind = kind, .name = pw_report_copy(r, name), .label = pw_phrase(r->tongue, label),
		.value = value ? pw_report_copy(r, value) : NULL, .must = must,
	};
	f->last = &f->option;
	*r->form->last = f;
	r->form->last = &f->next;
}

/* The field that was added last. */
static struct pw_field_block *last_field(const struct pw_report *r)
{
	struct pw_field_block *f = r->form ? r->form->field : NULL;

	while (f && f->next)
		f = f->next;
	return f;
}

void pw_report_choice_text(struct pw_report *r, const char *value, const char *label, bool chosen)
{
	struct pw_field_block *f = last_field(r);
	struct pw_option *o = f ? pw_room_take(&r->room, sizeof(*o)) : NULL;

	if (!o) {
		r->broke = true;
		return;
	}
	*o = (struct pw_option){
		.value = pw_report_copy(r, value), .label = pw_report_copy(r,
									   label), .chosen = chosen,
	};
	*f->last = o;
	f->last = &o->next;
}

void pw_report_choice(struct pw_report *r, const char *value, enum pw_phrase label, bool chosen)
{
	pw_report_choice_text(r, value, pw_phrase(r->tongue, label), chosen);
}

void pw_report_form_end(struct pw_report *r, enum pw_phrase button)
{
	if (r->form)
		r->form->button = pw_phrase(r->tongue, button);
	r->form = NULL;
}

/* SPDX-License-Identifier: Apache-2.0 */
/* The pages from the shell, with the same numbers; and who may sign in to them. */
#include <stdlib.h>
#include <string.h>

#include "accounts.h"
#include "commands_internal.h"
#include "web.h"
#include "postwalk/text.h"

/* -- account ----------------------------------------------------------------------------------- */

int pw_do_account(struct pw_order *c)
{
	const int role = pw_may_find(c->role);
	struct pw_account_order a = { .by = c->by ? c->by : "shell", .code = c->argv[1],
				      .fresh = c->fresh };
	char why[240];
	int result;

	if (!pw_chain_word(a.code) || strlen(a.code) >= PW_AUDIT_CODE)
		return pw_order_bad(c, "expected a code of at most 15 of A-Z a-z 0-9 . _ -, not "
				    "\"%.40s\"", a.code);
	if (role < 0)
		return pw_order_bad(c, "expected --role see, act, administer or nothing, not "
				    "\"%.40s\"", c->role);
	a.role = (enum pw_office_role)role;
	result = pw_account_order(c->o, &a, why, sizeof(why));
	if (result)
		return result == -1 ? pw_order_not(c, "%s", why) : pw_order_bad(c, "%s", why);
	fprintf(c->out, "account %s may %s\n", a.code, pw_may_name(a.role));
	if (a.first[0])
		fprintf(c->out, "first password %s\nIt stands here once, and must be changed at "
			"the first sign-in.\n", a.first);
	return 0;
}

/* -- audit ------------------------------------------------------------------------------------- */

enum form { FORM_TEXT, FORM_CSV, FORM_LINES };
struct audit {
	struct pw_order *order;
	struct pw_asked asked;
	enum form form;
	const char *table; /* NULL: the first, or all */
};

static const char *word_of(const struct pw_leaf *leaf)
{
	return leaf->path[1] ? leaf->path + 1 : "morning";
}

static const struct pw_leaf *find_leaf(const char *word)
{
	for (size_t i = 0; i < pw_leaves_office_count; i++)
		if (pw_leaves_office[i].about && strcmp(word_of(&pw_leaves_office[i]), word) == 0)
			return &pw_leaves_office[i];
	return NULL;
}

void pw_audit_help(FILE *out)
{
	for (size_t i = 0; i < pw_leaves_office_count; i++) {
		const struct pw_leaf *leaf = &pw_leaves_office[i];

		if (!leaf->about)
			continue;
		fprintf(out, "        %s: %s", word_of(leaf), leaf->about);
		for (const char *at = leaf->asks; *at; at += strspn(at, " ")) {
			const size_t n = strcspn(at, " ");

			fprintf(out, "%s--%.*s", at == leaf->asks ? " (" : " ", (int)n, at);
			at += n;
		}
		fprintf(out, "%s\n", leaf->asks[0] ? ")" : "");
	}
}

static bool is_asked(const struct pw_leaf *leaf, const char *name)
{
	for (const char *at = leaf->asks; *at; at += strspn(at, " ")) {
		const size_t n = strcspn(at, " ");

		if (strlen(name) == n && strncmp(at, name, n) == 0)
			return true;
		at += n;
	}
	return false;
}

/* How many words it was. 0: it is none. */
static int take_form(struct audit *a, const char *const *word, int left)
{
	static const struct { const char *name; enum form form; bool tables; } forms[] = {
		{ "--text", FORM_TEXT, false }, { "--csv", FORM_CSV, true },
		{ "--jsonl", FORM_LINES, false },
	};

	if (strcmp(word[0], "--whole") == 0) {
		a->asked.whole = true;
		return 1;
	}
	for (size_t i = 0; i < sizeof(forms) / sizeof(forms[0]); i++) {
		if (strcmp(word[0], forms[i].name) != 0)
			continue;
		a->form = forms[i].form;
		if (!forms[i].tables || left < 2 || strncmp(word[1], "--", 2) == 0)
			return 1;
		a->table = word[1];
		return 2;
	}
	return 0;
}

static int take_field(struct audit *a, const char *const *word, int left)
{
	struct pw_asked *q = &a->asked;
	const char *name = word[0] + 2;

	if (strncmp(word[0], "--", 2) != 0 || left < 2)
		return 0;
	if (strcmp(name, "tongue") == 0) {
		q->tongue = pw_tongue_find(word[1], strlen(word[1]));
		return q->tongue ? 2 : 0;
	}
	if (!is_asked(q->leaf, name) || q->fields == PW_ASK_FIELDS ||
	    strlen(word[1]) >= PW_ASK_VALUE || strlen(name) >= sizeof(q->field[0].name))
		return 0;
	snprintf(q->field[q->fields].name, sizeof(q->field[0].name), "%s", name);
	snprintf(q->field[q->fields++].value, PW_ASK_VALUE, "%s", word[1]);
	return 2;
}

static int take_words(struct audit *a)
{
	struct pw_order *c = a->order;

	a->asked.leaf = find_leaf(c->argv[1]);
	if (!a->asked.leaf)
		return pw_order_bad(c, "expected a page, not \"%.40s\"; postwalk-office --help "
				    "lists them", c->argv[1]);
	for (int i = 2, n; i < c->argc; i += n) {
		n = take_form(a, c->argv + i, c->argc - i);
		if (n == 0)
			n = take_field(a, c->argv + i, c->argc - i);
		if (n == 0)
			return pw_order_bad(c, "audit %s: expected one of its fields with a value "
				"of at most 199 bytes, not \"%.40s\"; its fields are: %s",
				c->argv[1], c->argv[i],
				a->asked.leaf->asks[0] ? a->asked.leaf->asks : "none");
	}
	return 0;
}

static int tell_wrong(struct audit *a)
{
	const struct pw_asked *q = &a->asked;
	const char *const fill[] = { q->wrong_fill, NULL };
	char words[300] = "this cannot be asked";
	FILE *out = fmemopen(words, sizeof(words), "w");

	if (out && q->wrong)
		pw_phrase_fill(out, pw_phrase(q->tongue, q->wrong), fill);
	if (out)
		fclose(out);
	return pw_order_bad(a->order, "audit %s%s%s: %s", a->order->argv[1],
			    q->wrong_field[0] ? " --" : "", q->wrong_field, words);
}

static int tell(struct audit *a, int result, const struct pw_report *r, bool no_table)
{
	if (result == 1)
		return tell_wrong(a);
	if (result < 0)
		return pw_order_not(a->order, "the store cannot be reached now");
	if (!pw_report_ok(r))
		return pw_order_not(a->order, "there is no memory for it");
	if (no_table)
		return pw_order_bad(a->order, "audit %s: it has no table %.40s", a->order->argv[1],
				    a->table ? a->table : "at all");
	if (fflush(a->order->out))
		return pw_order_not(a->order, "it cannot be written");
	return 0;
}

/* Rows go out as they come. */
static int print(struct audit *a)
{
	struct pw_report *r = pw_report_new(a->asked.tongue, a->asked.zone);
	bool no_table = false;
	int result, status;

	if (!r)
		return pw_order_not(a->order, "there is no memory for it");
	if (a->form != FORM_TEXT)
		pw_report_flow(r, a->form == FORM_CSV, a->table, a->order->out);
	result = a->asked.leaf->get(&a->asked, r);
	if (a->form != FORM_TEXT)
		no_table = pw_report_flow_end(r) != 0;
	else if (result == 0)
		pw_report_text(r, a->order->out);
	status = tell(a, result, r, no_table);
	pw_report_free(r);
	return status;
}

/* A page that is a file: it is written as it is. */
static int print_file(struct audit *a)
{
	const char *type = NULL;
	char name[128];
	const int result = a->asked.leaf->file(&a->asked, a->order->out, &type, name);

	if (result == 1)
		return tell_wrong(a);
	if (result < 0 || fflush(a->order->out))
		return pw_order_not(a->order, "it cannot be had or written now");
	return 0;
}

int pw_do_audit(struct pw_order *c)
{
	struct audit a = { .order = c, .asked = { .o = c->o, .tongue = PW_ENGLISH,
						  .role = PW_MAY_ADMINISTER, .who = "shell" } };
	struct pw_zone *zone = NULL;
	char why[200];
	int status = take_words(&a);

	if (status)
		return status;
	if (pw_zone_open(c->o->conf.zone, &zone, why, sizeof(why)))
		return pw_order_not(c, "%s", why);
	a.asked.zone = zone;
	a.asked.now_ms = pw_office_now_ms();
	a.asked.today = pw_hours_day(a.asked.now_ms);
	status = a.asked.leaf->file ? print_file(&a) : print(&a);
	pw_zone_free(zone);
	return status;
}

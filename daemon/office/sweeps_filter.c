/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "postwalk/text.h"
#include "sweeps.h"

/* -- choices ----------------------------------------------------------------------------------- */

static const char *verdict_name(unsigned v)
{
	return pw_verdict_name(v);
}

static const char *result_name(unsigned v)
{
	return pw_result_name(v);
}

static const char *finding_name(unsigned v)
{
	return pw_finding_name(v);
}

static const struct choice {
	const char *field;
	enum pw_phrase label;
	unsigned first, end;
	const char *(*name)(unsigned value);
	size_t bits; /* in a filter */
} choices[] = {
	{ "result", PW_P_COL_RESULT, PW_RESULT_WALKED, PW_RESULTS, result_name,
	  offsetof(struct pw_audit_filter, results) },
	{ "verdict", PW_P_COL_VERDICT, PW_DONE, PW_MISSED + 1, verdict_name,
	  offsetof(struct pw_audit_filter, verdicts) },
	{ "finding", PW_P_COL_FINDINGS, 0, PW_FINDINGS, finding_name,
	  offsetof(struct pw_audit_filter, findings) },
};
#define CHOICES (sizeof(choices) / sizeof(choices[0]))

static const struct text_field {
	const char *field;
	enum pw_phrase label;
	enum pw_field_kind kind;
	size_t at, size; /* in a filter */
} texts[] = {
#define TEXT(name, title, kind)                                                               \
	{ #name, title, kind, offsetof(struct pw_audit_filter, name),                         \
	  sizeof(((struct pw_audit_filter *)0)->name) }
	TEXT(bus, PW_P_COL_BUS, PW_FIELD_CODE), TEXT(driver, PW_P_COL_DRIVER, PW_FIELD_CODE),
	TEXT(route, PW_P_COL_ROUTE, PW_FIELD_TEXT), TEXT(rung, PW_P_COL_RUNG, PW_FIELD_CODE),
#undef TEXT
};
#define TEXTS (sizeof(texts) / sizeof(texts[0]))

/* -- out of an address ------------------------------------------------------------------------- */

/* Several of them, spaces between, are any of them. */
static int take_choice(struct pw_asked *q, const struct choice *c, struct pw_audit_filter *f)
{
	uint32_t *bits = (uint32_t *)(void *)((char *)f + c->bits);
	const char *p = pw_asked_value(q, c->field);

	while (*(p += strspn(p, " "))) {
		const size_t length = strcspn(p, " ");
		unsigned v = c->first;

		while (v < c->end &&
		       (strlen(c->name(v)) != length || strncmp(c->name(v), p, length) != 0))
			v++;
		if (v == c->end)
			return pw_asked_wrong(q, c->field, PW_P_SWEEPS_NO_SUCH,
					      pw_asked_value(q, c->field));
		*bits |= UINT32_C(1) << v;
		p += length;
	}
	return 0;
}

static int take_text(struct pw_asked *q, const struct text_field *t, struct pw_audit_filter *f)
{
	const char *value = pw_asked_value(q, t->field);

	if (strlen(value) >= t->size || (t->kind == PW_FIELD_CODE && value[0] &&
					 !pw_chain_word(value)))
		return pw_asked_wrong(q, t->field, PW_P_SWEEPS_NO_SUCH, value);
	strcpy((char *)f + t->at, value);
	return 0;
}

static int take_days(struct pw_asked *q, struct pw_audit_filter *f)
{
	f->from = pw_asked_day(q, "from");
	f->to = pw_asked_day(q, "to");
	if (f->from < 0)
		return pw_asked_wrong(q, "from", PW_P_SWEEPS_NO_DAY, pw_asked_value(q, "from"));
	if (f->to < 0)
		return pw_asked_wrong(q, "to", PW_P_SWEEPS_NO_DAY, pw_asked_value(q, "to"));
	if (f->from && f->to && f->from > f->to)
		return pw_asked_wrong(q, "to", PW_P_SWEEPS_BACKWARDS, NULL);
	return 0;
}

int pw_sweeps_filter(struct pw_asked *q, struct pw_audit_filter *f)
{
	const char *order = pw_asked_value(q, "order");
	int result = 0;

	*f = (struct pw_audit_filter){ .longest = strcmp(order, "longest") == 0 };
	if (order[0] && !f->longest && strcmp(order, "newest") != 0)
		result = pw_asked_wrong(q, "order", PW_P_SWEEPS_NO_SUCH, order);
	for (size_t i = 0; i < TEXTS && result == 0; i++)
		result = take_text(q, &texts[i], f);
	for (size_t i = 0; i < CHOICES && result == 0; i++)
		result = take_choice(q, &choices[i], f);
	return result ? result : take_days(q, f);
}

/* -- the form ---------------------------------------------------------------------------------- */

static void put_choice(const struct pw_asked *q, struct pw_report *r, const struct choice *c)
{
	const char *value = pw_asked_value(q, c->field);

	pw_report_field(r, PW_FIELD_CHOICE, c->field, c->label, value, false);
	pw_report_choice(r, "", PW_P_ANY, value[0] == '\0');
	if (strchr(value, ' '))
		pw_report_choice_text(r, value, value, true);
	for (unsigned v = c->first; v < c->end; v++)
		pw_report_choice(r, c->name(v), pw_phrase_find(c->name(v)),
				 strcmp(value, c->name(v)) == 0);
}

void pw_sweeps_form(const struct pw_asked *q, struct pw_report *r)
{
	const bool longest = strcmp(pw_asked_value(q, "order"), "longest") == 0;

	pw_report_form(r, "/sweeps", true);
	for (size_t i = 0; i < TEXTS; i++)
		pw_report_field(r, texts[i].kind, texts[i].field, texts[i].label,
				pw_asked_value(q, texts[i].field), false);
	for (size_t i = 0; i < CHOICES; i++)
		put_choice(q, r, &choices[i]);
	pw_report_field(r, PW_FIELD_DAY, "from", PW_P_COL_FROM, pw_asked_value(q, "from"), false);
	pw_report_field(r, PW_FIELD_DAY, "to", PW_P_COL_TO, pw_asked_value(q, "to"), false);
	pw_report_field(r, PW_FIELD_CHOICE, "order", PW_P_SWEEPS_ORDER, NULL, false);
	pw_report_choice(r, "newest", PW_P_SWEEPS_NEWEST, !longest);
	pw_report_choice(r, "longest", PW_P_SWEEPS_LONGEST, longest);
	pw_report_form_end(r, PW_P_SHOW);
}

/* -- addresses --------------------------------------------------------------------------------- */

static void add_field(char *address, const char *name, const char *value)
{
	const size_t used = strlen(address);

	snprintf(address + used, PW_SWEEPS_ADDRESS - used, "%s%s=",
		 strchr(address, '?') ? "&" : "?",
		 name);
	pw_address_add(address, PW_SWEEPS_ADDRESS, value);
}

void pw_sweeps_address(const struct pw_asked *q, const struct pw_audit_key *behind,
		       char address[PW_SWEEPS_ADDRESS])
{
	char text[PW_ASK_VALUE];

	snprintf(address, PW_SWEEPS_ADDRESS, "%s", q->leaf->path);
	for (unsigned i = 0; i < q->fields; i++)
		if (q->field[i].value[0] && strcmp(q->field[i].name, "behind") != 0)
			add_field(address, q->field[i].name, q->field[i].value);
	if (!behind)
		return;
	snprintf(text, sizeof(text), "%s~%" PRId32 "~%s~%" PRIu32 "~%" PRIu64 "~%s", behind->bus,
		 behind->day, behind->epoch, behind->branch, behind->seq, behind->run);
	add_field(address, "behind", text);
}

/* BUS~DAY~EPOCH~BRANCH~SEQ~RUN: no code has the mark. */
int pw_sweeps_behind(const struct pw_asked *q, struct pw_audit_key *key)
{
	const char *text = pw_asked_value(q, "behind");
	int n = 0;

	*key = (struct pw_audit_key){ .day = 0 };
	if (!text[0])
		return 0;
	if (sscanf(text, "%31[^~]~%" SCNd32 "~%n", key->bus, &key->day, &n) != 2 || n == 0)
		return -2;
	text += n;
	if (strcspn(text, "~") >= sizeof(key->epoch))
		return -2;
	memcpy(key->epoch, text, strcspn(text, "~"));
	text += strcspn(text, "~");
	n = 0;
	if (sscanf(text, "~%" SCNu32 "~%" SCNu64 "~%n", &key->branch, &key->seq, &n) != 2 ||
	    n == 0 ||
	    strlen(text + n) >= sizeof(key->run))
		return -2;
	strcpy(key->run, text + n);
	return 1;
}

static bool take_number(const struct pw_asked *q, const char *name, uint64_t most, uint64_t *value)
{
	const char *text = pw_asked_value(q, name);
	char *end;

	if (text[0] < '0' || text[0] > '9' || strlen(text) > 18)
		return false;
	*value = strtoull(text, &end, 10);
	return *end == '\0' && *value <= most;
}

bool pw_row_key(const struct pw_asked *q, struct pw_audit_key *key)
{
	const char *bus = pw_asked_value(q, "bus"), *run = pw_asked_value(q, "run");
	uint64_t branch;

	*key = (struct pw_audit_key){ .day = pw_asked_day(q, "day") };
	if (key->day <= 0 || !pw_chain_word(bus) || strlen(bus) >= sizeof(key->bus) ||
	    strlen(run) >= sizeof(key->run))
		return false;
	strcpy(key->bus, bus);
	strcpy(key->run, run);
	if (run[0])
		return true;
	if (!pw_hex_text(pw_asked_value(q, "epoch"), 16) ||
	    !take_number(q, "branch", UINT32_MAX, &branch) ||
	    !take_number(q, "seq", INT64_MAX, &key->seq) || key->seq == 0)
		return false;
	strcpy(key->epoch, pw_asked_value(q, "epoch"));
	key->branch = (uint32_t)branch;
	return true;
}

/* SPDX-License-Identifier: Apache-2.0 */
/*
 * core_help.h - plays rows of a table through the core.
 *
 * A row is: what it shows (with the rule's number), a policy, a trace, what must come of it.
 *
 *   policy  words over the defaults of replay: KEY=VALUE of [sweep] or [walk] (several findings
 *           with commas between), +LINE and -LINE configure a line or take it away, LINE:MS sets
 *           its settle_ms, NAME@SECONDS a rung of an own ladder
 *   trace   trace lines with ';' between:  "0 ignition=1; 100 ignition=0; 130 end"; "120 press" is
 *           the button pressed (both contacts, if there are two) and let go 0.2 s later
 *   expect  records in order, ';' between: "KIND FIELD:VALUE ..." names the fields that matter.
 *           sweep, restart, excused and fault must be complete. Any other kind counts when it is
 *           named at all: rung, standing, refused, accepted, press, notify, key_on, key_off.
 *           "no KIND" names one without expecting any
 *
 * Unless a row says otherwise walk_min is 14.505 s, return_min 8.505 s, and due 60 s.
 */
#ifndef TEST_CORE_HELP_H
#define TEST_CORE_HELP_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "../../daemon/core/core_internal.h"
#include "postwalk/record.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define ROWS_MAX 128

struct row {
	const char *what, *policy, *trace, *expect;
};

struct play {
	struct pw_policy p;
	struct pw_state s;
	struct pw_sink sink;
	uint8_t raw;
	bool begun;
	int64_t last_ms;
	size_t n;
	char said[1 << 16]; /* the records as plain words, a line each */
};

/* -- what was said ---------------------------------------------------------------------------------- */

/* {"kind":"sweep","late_s":0.000,...} becomes sweep,late_s:0.000,... */
static inline void play_say(struct play *t, const char *json)
{
	assert_true(t->n + strlen(json) + 2 < sizeof(t->said));
	if (strncmp(json, "{\"kind\":", 8) == 0)
		json += 8;
	for (; *json != '\0'; json++)
		if (*json != '"' && *json != '{' && *json != '}')
			t->said[t->n++] = *json;
	t->said[t->n++] = '\n';
	t->said[t->n] = '\0';
}

static inline void play_say_signal(struct play *t, const char *kind, const struct pw_effect *e)
{
	char text[160];

	snprintf(text, sizeof(text), "%s,edge:%lld,at:%lld,why:%s,name:%s", kind,
		 (long long)e->edge_ms, (long long)e->at_ms, e->why ? pw_why_name(e->why) : "",
		 e->rung ? t->p.signal[e->rung].name : "");
	play_say(t, text);
}

static inline void play_take(void *ctx, const struct pw_effect *e)
{
	static const char *const quiet[] = {
		[PW_E_REFUSED] = "refused", [PW_E_ACCEPTED] = "accepted", [PW_E_PRESS] = "press",
		[PW_E_NOTIFY] = "notify", [PW_E_KEY_ON] = "key_on", [PW_E_KEY_OFF] = "key_off",
	};
	struct play *t = ctx;
	char text[PW_BODY_MAX];
	int n = pw_text_effect(e, &t->p, text, sizeof(text));

	assert_true(n >= 0);
	if (n > 0)
		play_say(t, text);
	else
		play_say_signal(t, quiet[e->kind], e);
}

/* -- the policy ------------------------------------------------------------------------------------- */

static inline void play_rung(struct play *t, const char *word, const char *at)
{
	struct pw_policy_error e;
	char section[48];

	snprintf(section, sizeof(section), "rung %.*s", (int)(at - word), word);
	if (pw_policy_section(&t->p, section, &e) ||
	    pw_policy_set(&t->p, section, "after_s", at + 1, &e))
		fail_msg("%s: %s", word, e.text);
}

static inline void play_word(struct play *t, char *word)
{
	char *mark = strpbrk(word, "=:@");
	struct pw_policy_error e = { .text = "" };
	int line;

	if (word[0] == '+' || word[0] == '-') {
		line = pw_line_find(&t->p, word + 1);
		assert_true(line >= 0);
		t->p.line[line].configured = word[0] == '+';
	} else if (mark && *mark == '@') {
		play_rung(t, word, mark);
	} else if (mark && *mark == ':') {
		*mark = '\0';
		line = pw_line_find(&t->p, word);
		assert_true(line >= 0);
		t->p.line[line].settle_ms = atoi(mark + 1);
	} else {
		assert_non_null(mark);
		*mark = '\0';
		if (pw_policy_set(&t->p, "sweep", word, mark + 1, &e) &&
		    pw_policy_set(&t->p, "walk", word, mark + 1, &e))
			fail_msg("%s = %s: %s", word, mark + 1, e.text);
	}
}

static inline void play_policy(struct play *t, const char *policy)
{
	struct pw_policy_error e;
	char text[600], *rest = text;

	memset(t, 0, sizeof(*t));
	t->sink = (struct pw_sink){ play_take, t };
	pw_policy_init(&t->p, true);
	assert_true(strlen(policy) < sizeof(text));
	strcpy(text, policy);
	for (char *word; (word = strtok_r(rest, " ", &rest)) != NULL;)
		play_word(t, word);
	if (pw_policy_check(&t->p, false, &e))
		fail_msg("%s: %s", policy, e.text);
}

/* -- the trace -------------------------------------------------------------------------------------- */

struct play_line {
	int64_t at_ms;
	uint8_t mask, levels;
	bool cut, on, lost, end, service, service_on, press;
};

static inline int64_t play_ms(const char *seconds)
{
	char *end;
	int64_t ms = 1000 * (int64_t)strtoll(seconds, &end, 10);

	for (int unit = 100; *end != '\0'; unit /= 10) {
		if (*end == '.')
			unit = 1000;
		else
			ms += unit * (*end - '0');
		end++;
	}
	return ms;
}

static inline void play_name(const struct play *t, struct play_line *l, const char *word)
{
	const char *mark = strchr(word, '=');
	int line = mark ? pw_input_find(word, (size_t)(mark - word)) : -1;

	l->cut |= strcmp(word, "power=cut") == 0;
	l->on |= strcmp(word, "power=on") == 0;
	l->lost |= strcmp(word, "clock=lost") == 0;
	l->end |= strcmp(word, "end") == 0;
	l->service |= strncmp(word, "service=", 8) == 0;
	l->service_on |= strcmp(word, "service=on") == 0;
	l->press |= strcmp(word, "press") == 0;
	if (line < 0) {
		assert_true(l->cut || l->on || l->lost || l->end || l->service || l->press);
		return;
	}
	assert_true(t->p.line[line].configured);
	l->mask |= (uint8_t)(1u << line);
	l->levels |= (uint8_t)((mark[1] == '1') << line);
}

static inline void play_event(struct play *t, enum pw_event_kind kind, const struct play_line *l)
{
	const struct pw_event ev = { .kind = kind, .at_ms = l->at_ms, .mask = l->mask,
				     .levels = t->raw, .clock_lost = l->lost };

	pw_step(&t->s, &t->p, &ev, &t->sink);
}

/* One line is stepped; what is due in its own moment waits for the next or for play_settle. */
static inline void play_step(struct play *t, const struct play_line *l)
{
	assert_true(l->at_ms >= t->last_ms);
	t->last_ms = l->at_ms;
	if (l->end)
		return;
	if (!t->begun && t->p.line[PW_REAR_BUTTON_NC].configured)
		t->raw = 1u << PW_REAR_BUTTON_NC;
	t->raw = (uint8_t)((t->raw & ~l->mask) | l->levels);
	if (t->begun)
		pw_run(&t->s, &t->p, l->at_ms - 1, &t->sink);
	else
		play_event(t, PW_POWER_ON_FIRST, l);
	if (l->on)
		play_event(t, PW_POWER_ON, l);
	if (l->cut)
		play_event(t, PW_POWER_CUT, l);
	if (l->service && t->s.powered)
		play_event(t, l->service_on ? PW_SERVICE_ON : PW_SERVICE_OFF, l);
	if (t->begun && !l->on && !l->cut && t->s.powered && l->mask)
		play_event(t, PW_LEVELS, l);
	t->begun = true;
}

/* Everything that is due in the moment reached. */
static inline void play_settle(struct play *t)
{
	pw_run(&t->s, &t->p, t->last_ms, &t->sink);
}

static inline struct play_line play_read(const struct play *t, char *text)
{
	struct play_line l = { 0 };
	char *word = strtok_r(text, " ", &text);

	assert_non_null(word);
	l.at_ms = play_ms(word);
	while ((word = strtok_r(text, " ", &text)) != NULL)
		play_name(t, &l, word);
	return l;
}

/* The contacts of a button that is pressed, or let go. */
static inline void play_contacts(const struct play *t, struct play_line *l, bool pressed)
{
	bool pair = t->p.line[PW_REAR_BUTTON_NC].configured;

	l->mask |= (uint8_t)(1u << PW_REAR_BUTTON | (unsigned)pair << PW_REAR_BUTTON_NC);
	if (pressed)
		l->levels |= 1u << PW_REAR_BUTTON;
	else if (pair)
		l->levels |= 1u << PW_REAR_BUTTON_NC;
}

/* Lines of a trace as structs; the count. */
static inline size_t play_lines(const struct play *t, const char *trace, struct play_line *lines,
				size_t max)
{
	char text[4096], *rest = text;
	size_t n = 0;

	assert_true(strlen(trace) < sizeof(text));
	strcpy(text, trace);
	for (char *line; (line = strtok_r(rest, ";", &rest)) != NULL;) {
		if (line[strspn(line, " ")] == '\0')
			continue;
		assert_true(n + 1 < max);
		lines[n++] = play_read(t, line);
		if (!lines[n - 1].press)
			continue;
		play_contacts(t, &lines[n - 1], true);
		lines[n] = (struct play_line){ .at_ms = lines[n - 1].at_ms + 200 };
		play_contacts(t, &lines[n++], false);
	}
	return n;
}

static inline void play_trace(struct play *t, const char *trace)
{
	struct play_line lines[ROWS_MAX];
	size_t n = play_lines(t, trace, lines, COUNT(lines));
	char text[128];

	for (size_t i = 0; i < n; i++)
		play_step(t, &lines[i]);
	play_settle(t);
	pw_text_standing(&t->s, t->last_ms, text, sizeof(text));
	play_say(t, text);
}

/* -- the expectation ---------------------------------------------------------------------------------- */

static inline bool play_is_complete_kind(const char *kind, size_t n)
{
	static const char *const kinds[] = { "sweep", "restart", "excused", "fault" };

	for (size_t i = 0; i < COUNT(kinds); i++)
		if (strlen(kinds[i]) == n && strncmp(kind, kinds[i], n) == 0)
			return true;
	return false;
}

/* Does a record of that kind stand among those expected? */
static inline bool play_names(const char *expect, const char *kind, size_t n)
{
	for (const char *at = expect; at; at = strchr(at, ';')) {
		at += strspn(at, "; ");
		at += strncmp(at, "no ", 3) == 0 ? 3 : 0;
		if (strncmp(at, kind, n) == 0 && (at[n] == ' ' || at[n] == ';' || at[n] == '\0'))
			return true;
	}
	return false;
}

/* Is word one of the comma-separated fields of a record? */
static inline bool play_has(const char *record, const char *word)
{
	size_t n = strlen(word);

	for (const char *at = strstr(record, word); at; at = strstr(at + 1, word))
		if ((at == record || at[-1] == ',') && (at[n] == ',' || at[n] == '\0'))
			return true;
	return false;
}

static inline char *play_next(const char *expect, char **rest)
{
	char *record;

	while ((record = strtok_r(*rest, "\n", rest)) != NULL) {
		size_t n = strcspn(record, ",");

		if (play_is_complete_kind(record, n) || play_names(expect, record, n))
			return record;
	}
	return NULL;
}

static inline void play_expect(struct play *t, const char *expect)
{
	static char said[sizeof(t->said)];
	char text[4096], *rest = text, *left = said, *record;

	strcpy(said, t->said);
	assert_true(strlen(expect) < sizeof(text));
	strcpy(text, expect);
	for (char *line; (line = strtok_r(rest, ";", &rest)) != NULL;) {
		char *word = strtok_r(line, " ", &line);

		if (!word || strcmp(word, "no") == 0)
			continue;
		record = play_next(expect, &left);
		if (!record)
			fail_msg("expected one more: %s\n%s", word, t->said);
		for (; word; word = strtok_r(line, " ", &line))
			if (!play_has(record, word))
				fail_msg("expected %s in %s\n%s", word, record, t->said);
	}
	record = play_next(expect, &left);
	if (record)
		fail_msg("not expected: %s\n%s", record, t->said);
}

/* -- tables --------------------------------------------------------------------------------------------- */

static inline void play_row(void **state)
{
	const struct row *r = *state;
	struct play *t = malloc(sizeof(*t));

	assert_non_null(t);
	play_policy(t, r->policy);
	play_trace(t, r->trace);
	play_expect(t, r->expect);
	free(t);
}

/* Every row is a test of its own name; then the others. */
static inline int play_rows(const char *group, const struct row *rows, size_t n,
			    const struct CMUnitTest *more, size_t more_n)
{
	static struct CMUnitTest tests[ROWS_MAX];

	if (n + more_n > ROWS_MAX)
		return 1;
	for (size_t i = 0; i < n; i++)
		tests[i] = (struct CMUnitTest){ .name = rows[i].what, .test_func = play_row,
						.initial_state = (void *)(uintptr_t)&rows[i] };
	for (size_t i = 0; i < more_n; i++)
		tests[n + i] = more[i];
	return _cmocka_run_group_tests(group, tests, n + more_n, NULL, NULL);
}

#endif

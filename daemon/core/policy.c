/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "policy_internal.h"

#define BIT(i) (1u << (i))

static const struct {
	enum pw_signal signal;
	struct pw_signal_policy is;
} signals[] = {
	{ PW_SIGNAL_NONE, { .name = "none" } },
	{ PW_PROMPT, { .name = "prompt", .outputs = BIT(PW_BEEPER) | BIT(PW_LAMP),
		       .pattern = { { 100, 1900 }, 2, false } } },
	{ PW_CARRIED, { .name = "carried", .outputs = BIT(PW_LAMP),
			.pattern = { { 800, 800 }, 2, false } } },
	{ PW_SPENT, { .name = "spent", .outputs = BIT(PW_LAMP),
		      .pattern = { { 300, 1700 }, 2, false } } },
	{ PW_REFUSED, { .name = "refused", .outputs = BIT(PW_BEEPER),
			.pattern = { { 900 }, 1, true } } },
	{ PW_ACCEPTED, { .name = "accepted", .outputs = BIT(PW_BEEPER),
			 .pattern = { { 80, 80, 80 }, 3, true } } },
	{ PW_LADDER, { .name = "cabin", .outputs = BIT(PW_BEEPER) | BIT(PW_LAMP),
		       .pattern = { { 250, 150 }, 2, false } } },
	{ PW_LADDER + 1, { .name = "outside", .after_ms = 30000,
			   .outputs = BIT(PW_BEEPER) | BIT(PW_HORN) | BIT(PW_LAMP),
			   .pattern = { { 1500, 500 }, 2, false } } },
	{ PW_LADDER + 2, { .name = "office", .after_ms = 60000, .notify = true,
			   .outputs = BIT(PW_BEEPER) | BIT(PW_HORN) | BIT(PW_LAMP),
			   .pattern = { { 1200, 400, 400, 400 }, 4, false } } },
};

static const struct {
	enum pw_line line;
	struct pw_line_policy is;
} lines[] = {
#define X(up, low, settle) { PW_##up, { .name = #low, .direction = PW_IN, .settle_ms = settle } },
	PW_INPUT_LIST(X)
#undef X
	{ PW_BEEPER, { .name = "beeper", .direction = PW_OUT } },
	{ PW_HORN, { .name = "horn", .direction = PW_OUT, .outside = true } },
	{ PW_LAMP, { .name = "lamp", .direction = PW_OUT } },
	{ PW_DOME, { .name = "dome", .direction = PW_OUT } },
};

static const struct pw_policy defaults = {
	.listen = "127.0.0.1:8787",
	.keep_days = 800,
	.proof_ms = 86400000,
	.rows = 12,
	.aisle_um = 9100000,
	.pace_um_s = 1070000,
	.look_us = 500000,
	.due_ms = 60000,
	.carried_due_ms = 45000,
	.restart_ms = 10000,
	.run_min_ms = 30000,
	.leave_grace_ms = 30000,
	.return_max_ms = 600000,
	.held_max_ms = 10000,
	.disagree_ms = 500,
	.alarm_max_ms = 1800000,
	.service_max_ms = 3600000,
	.owed_when = PW_EVERY_KEY_OFF,
	.door_rule = PW_GRACE,
	.doubt_on = BIT(PW_F_REAR_OPENED) | BIT(PW_F_RETURN_SHORT) | BIT(PW_F_LEFT_BY_REAR) |
		    BIT(PW_F_BUTTON_HELD) | BIT(PW_F_BUTTON_CONTACTS) | BIT(PW_F_POWER_LOST) |
		    BIT(PW_F_CLOCK_UNSURE) | BIT(PW_F_MUTED) | BIT(PW_F_DOOR_LEFT_OPEN),
	.rungs = 3,
};

void pw_policy_init(struct pw_policy *p, bool replay_lines)
{
	*p = defaults;
	for (size_t i = 0; i < sizeof(signals) / sizeof(signals[0]); i++)
		p->signal[signals[i].signal] = signals[i].is;
	for (size_t i = 0; i < sizeof(lines) / sizeof(lines[0]); i++)
		p->line[lines[i].line] = lines[i].is;
	for (unsigned i = 0; i < PW_LINES; i++) {
		p->line[i].offset = -1;
		p->line[i].bias = PW_BIAS_AS_IS;
		p->line[i].configured = replay_lines && i < PW_INPUTS && i != PW_REAR_BUTTON_NC &&
					i != PW_PARK_BRAKE;
	}
}

static int fail(struct pw_policy_error *e, const char *section, const char *key, const char *text)
{
	snprintf(e->text, sizeof(e->text), "%s", text);
	snprintf(e->section, sizeof(e->section), "%s", section);
	snprintf(e->key, sizeof(e->key), "%s", key);
	return -1;
}

int pw_line_find(const struct pw_policy *p, const char *name)
{
	for (int i = 0; i < PW_LINES; i++)
		if (p->line[i].name[0] != '\0' && strcmp(p->line[i].name, name) == 0)
			return i;
	return -1;
}

int pw_input_find(const char *name, size_t len)
{
#define X(up, low, settle)                                                  \
	if (len == sizeof(#low) - 1 && memcmp(name, #low, sizeof(#low) - 1) == 0) \
		return PW_##up;
	PW_INPUT_LIST(X)
#undef X
	return -1;
}

/* -- sections ---------------------------------------------------------------------------------- */

static bool is_name(const char *name)
{
	size_t n = 0;

	while ((name[n] >= 'a' && name[n] <= 'z') || (name[n] >= '0' && name[n] <= '9') ||
	       name[n] == '_')
		n++;
	return n > 0 && n < PW_NAME_MAX && name[n] == '\0';
}

static int line_section(struct pw_policy *p, const char *section, const char *name,
			struct pw_policy_error *e)
{
	int i = pw_line_find(p, name);

	for (int free = PW_EXTRA; i < 0 && free < PW_LINES; free++)
		if (p->line[free].name[0] == '\0')
			i = free;
	if (i < 0)
		return fail(e, section, "", "expected at most eight lines of the board's own");
	snprintf(p->line[i].name, PW_NAME_MAX, "%s", name);
	p->line[i].configured = true;
	return 0;
}

static int signal_find(const struct pw_policy *p, const char *name)
{
	for (unsigned i = PW_PROMPT; i < PW_LADDER + p->rungs; i++)
		if (strcmp(p->signal[i].name, name) == 0)
			return (int)i;
	return -1;
}

/* Any rung of the file's own replaces the default ladder whole. */
static int rung_section(struct pw_policy *p, const char *section, const char *name,
			struct pw_policy_error *e)
{
	struct pw_signal_policy *s;
	int i = signal_find(p, name);

	if (i >= 0 && (i < PW_LADDER || p->own_ladder))
		return 0;
	if (!p->own_ladder)
		p->rungs = 0;
	p->own_ladder = true;
	if (p->rungs == PW_RUNGS_MAX)
		return fail(e, section, "", "expected at most eight rungs");
	if (strcmp(name, "none") == 0)
		return fail(e, section, "", "expected a rung's name other than none");
	s = &p->signal[PW_LADDER + p->rungs++];
	*s = (struct pw_signal_policy){ .after_ms = -1, .outputs = BIT(PW_BEEPER) | BIT(PW_LAMP),
					.pattern = { { 250, 150 }, 2, false } };
	snprintf(s->name, sizeof(s->name), "%s", name);
	return 0;
}

int pw_policy_section(struct pw_policy *p, const char *section, struct pw_policy_error *e)
{
	for (unsigned k = PW_S_BUS; k < PW_S_LINE; k++)
		if (strcmp(section, pw_plain_section[k]) == 0)
			return 0;
	if (strncmp(section, "line ", 5) == 0 && is_name(section + 5))
		return line_section(p, section, section + 5, e);
	if (strncmp(section, "rung ", 5) == 0 && is_name(section + 5))
		return rung_section(p, section, section + 5, e);
	return fail(e, section, "", "expected a section [bus], [page], [journal], [walk], "
				    "[sweep], [line NAME] or [rung NAME] with a name of a-z 0-9 _");
}

/* -- keys --------------------------------------------------------------------------------------- */

/* What a section's keys are laid into. */
static void *base_of(struct pw_policy *p, const char *section, enum pw_scope *scope)
{
	int i;

	for (unsigned k = PW_S_BUS; k < PW_S_LINE; k++) {
		if (strcmp(section, pw_plain_section[k]) == 0) {
			*scope = (enum pw_scope)k;
			return p;
		}
	}
	if (strncmp(section, "line ", 5) == 0) {
		*scope = PW_S_LINE;
		i = pw_line_find(p, section + 5);
		return i < 0 ? NULL : &p->line[i];
	}
	*scope = PW_S_RUNG;
	i = strncmp(section, "rung ", 5) == 0 ? signal_find(p, section + 5) : -1;
	return i < 0 ? NULL : &p->signal[i];
}

static const char *misplaced_in_signal(const struct pw_policy *p, const struct pw_key *k,
				       const struct pw_signal_policy *signal)
{
	bool reached = signal == &p->signal[PW_PROMPT] || signal == &p->signal[PW_SPENT];

	if (signal >= &p->signal[PW_LADDER])
		return NULL;
	if (strcmp(k->key, "after_s") == 0)
		return "expected no after_s: this signal is no rung of the ladder";
	if (strcmp(k->key, "notify") == 0 && !reached)
		return "expected no notify: no sweep reaches this signal";
	return NULL;
}

/* Keys that this line or signal has no use for. */
const char *pw_key_misplaced(const struct pw_policy *p, const struct pw_key *k, const void *base)
{
	const struct pw_line_policy *line = base;

	if (k->scope == PW_S_RUNG)
		return misplaced_in_signal(p, k, base);
	if (k->scope != PW_S_LINE)
		return NULL;
	if (strcmp(k->key, "direction") == 0 && line < &p->line[PW_EXTRA])
		return "expected no direction: that of a standard line is known";
	if (strcmp(k->key, "settle_ms") == 0 && line >= &p->line[PW_INPUTS])
		return "expected no settle_ms: only the standard inputs settle";
	if ((strcmp(k->key, "sense") == 0 || strcmp(k->key, "outside") == 0) &&
	    line->direction != PW_OUT)
		return "expected this key with an output only (direction = out comes first)";
	return NULL;
}

int pw_policy_set(struct pw_policy *p, const char *section, const char *key, const char *value,
		  struct pw_policy_error *e)
{
	enum pw_scope scope;
	char why[160];
	void *base = base_of(p, section, &scope);

	if (!base)
		return pw_policy_section(p, section, e) ? -1 : fail(e, section, key,
								    "expected its section first");
	for (size_t i = 0; i < pw_key_count; i++) {
		const struct pw_key *k = &pw_keys[i];
		const char *wrong;

		if (k->scope != scope || strcmp(k->key, key) != 0)
			continue;
		wrong = pw_key_misplaced(p, k, base);
		if (wrong)
			return fail(e, section, key, wrong);
		if (pw_value_read(k, p, base, value, why, sizeof(why)))
			return fail(e, section, key, why);
		return 0;
	}
	snprintf(why, sizeof(why), "expected a key of section [%.40s], not \"%.40s\"", section, key);
	return fail(e, section, key, why);
}

/* -- figures ------------------------------------------------------------------------------------ */

static int64_t rounded(int64_t n, int64_t by)
{
	return (2 * n + by) / (2 * by);
}

int64_t pw_return_min_ms(const struct pw_policy *p)
{
	return rounded(p->aisle_um * 1000, p->pace_um_s);
}

int64_t pw_walk_min_ms(const struct pw_policy *p)
{
	return rounded(p->aisle_um * 1000000 + p->rows * p->look_us * p->pace_um_s,
		       p->pace_um_s * 1000);
}

/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "policy_internal.h"

enum { PLAIN = PW_S_LINE - PW_S_BUS, FIRST_SIGNAL = PLAIN + PW_LINES };

/* A section as printed: its head, and what its keys are read from. */
struct section {
	enum pw_scope scope;
	char head[64];
	const void *base;
};

/* Section n, or false when there is none there. */
static bool section_at(const struct pw_policy *p, unsigned n, struct section *s)
{
	if (n < PLAIN) {
		*s = (struct section){ .scope = (enum pw_scope)(n + PW_S_BUS), .base = p };
		snprintf(s->head, sizeof(s->head), "[%s]", pw_plain_section[n + PW_S_BUS]);
		return true;
	}
	if (n < FIRST_SIGNAL) {
		const struct pw_line_policy *line = &p->line[n - PLAIN];

		*s = (struct section){ .scope = PW_S_LINE, .base = line };
		snprintf(s->head, sizeof(s->head), "[line %s]", line->name);
		return line->configured;
	}
	n = n - FIRST_SIGNAL + PW_PROMPT;
	*s = (struct section){ .scope = PW_S_RUNG, .base = &p->signal[n] };
	snprintf(s->head, sizeof(s->head), "[rung %s]", p->signal[n].name);
	return true;
}

static bool is_set(const struct pw_key *k, const char *value)
{
	bool text = k->type == PW_V_WORD || k->type == PW_V_PLACE || k->type == PW_V_SAID;

	return !(text && value[0] == '\0') && !(k->type == PW_V_OFFSET && value[0] == '-');
}

/* Key n of a section: 1 printed, 0 not of this section, -1 no more keys. */
static int key_at(const struct pw_policy *p, const struct section *s, unsigned n, char *buf,
		  size_t size)
{
	char value[256];

	if (n >= pw_key_count)
		return -1;
	if (pw_keys[n].scope != s->scope || pw_key_misplaced(p, &pw_keys[n], s->base))
		return 0;
	pw_value_print(&pw_keys[n], p, s->base, value, sizeof(value));
	if (!is_set(&pw_keys[n], value))
		return 0;
	snprintf(buf, size, "%s = %s", pw_keys[n].key, value);
	return 1;
}

/* The cursor counts places: a head and every key of the table, section by section. */
int pw_policy_print(const struct pw_policy *p, int *cursor, char *buf, size_t size)
{
	unsigned places = 1 + (unsigned)pw_key_count;
	unsigned sections = FIRST_SIGNAL + PW_LADDER - PW_PROMPT + p->rungs;

	for (unsigned at = (unsigned)(*cursor)++; at / places < sections;
	     at = (unsigned)(*cursor)++) {
		struct section s;

		if (!section_at(p, at / places, &s)) {
			*cursor = (int)((at / places + 1) * places);
			continue;
		}
		if (at % places == 0) {
			snprintf(buf, size, "%s", s.head);
			return 1;
		}
		if (key_at(p, &s, at % places - 1, buf, size) == 1)
			return 1;
	}
	return 0;
}

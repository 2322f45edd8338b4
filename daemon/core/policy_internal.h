/* SPDX-License-Identifier: Apache-2.0 */
/* policy_internal.h - the table of policy keys, and how values read and print. */
#ifndef POSTWALK_POLICY_INTERNAL_H
#define POSTWALK_POLICY_INTERNAL_H

#include "postwalk/core.h"

enum pw_scope { PW_S_BUS = 1, PW_S_PAGE, PW_S_JOURNAL, PW_S_YARD, PW_S_WALK, PW_S_SWEEP, PW_S_LINE, PW_S_RUNG };
enum pw_value_type {
	PW_V_TIME = 1, /* int64 ms; seconds with three decimals at most */
	PW_V_MICRO,    /* int64 millionths; six decimals at most */
	PW_V_COUNT,    /* int64 */
	PW_V_OFFSET,   /* int32 */
	PW_V_YES,      /* bool */
	PW_V_WORD,     /* char[]: letters, digits . _ - */
	PW_V_PLACE,    /* char[]: also / and : */
	PW_V_SAID,     /* char[]: a sentence, UTF-8 without controls */
	PW_V_CHOICE,   /* enum, 1 for the first of choices */
	PW_V_FINDINGS, /* uint32 of bits */
	PW_V_OUTPUTS,  /* uint32 of bits */
	PW_V_PATTERN   /* struct pw_pattern */
};

struct pw_key {
	enum pw_scope scope;
	const char *key;
	enum pw_value_type type;
	size_t offset, size; /* in struct pw_policy, pw_line_policy or pw_signal_policy */
	int64_t smallest, largest; /* in the stored unit; NUMBERS only */
	const char *const *choices;
	const char *help;
};

extern const struct pw_key pw_keys[];
extern const size_t pw_key_count;

/* Sections that stand once, by their scope: [PW_S_BUS] to [PW_S_SWEEP]. */
extern const char *const pw_plain_section[PW_S_LINE];

/* Reads value into what key names in base. 0, or -1 with the expectation in words. */
int pw_value_read(const struct pw_key *k, const struct pw_policy *p, void *base, const char *value,
		  char *why, size_t size);
void pw_value_print(const struct pw_key *k, const struct pw_policy *p, const void *base, char *buf,
		    size_t size);

/* NULL, or why a line or signal (base) has no use for this key. */
const char *pw_key_misplaced(const struct pw_policy *p, const struct pw_key *k, const void *base);

/* Seconds with three decimals. */
#define PW_S_FMT "%lld.%03lld"
#define PW_S_ARG(ms) (long long)((ms) / 1000), (long long)((ms) % 1000)

/* NULL, or which standard signal a pattern would be taken for (R24). */
const char *pw_pattern_taken_for(const struct pw_pattern *t);

#endif

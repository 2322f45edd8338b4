/* SPDX-License-Identifier: Apache-2.0 */
/* Values of the policy: read from text strictly, printed so that they read back the same. */
#include <stdio.h>
#include <string.h>

#include "policy_internal.h"

/* Digits, then at most `decimals` decimals, into units of 10^-decimals. */
static int read_decimal(const char *t, int decimals, int64_t *value)
{
	int64_t v = 0;
	int left = decimals, digits = 0;

	for (; *t >= '0' && *t <= '9' && digits < 12; t++, digits++)
		v = v * 10 + (*t - '0');
	if (digits == 0)
		return -1;
	if (*t == '.') {
		digits = 0;
		for (t++; *t >= '0' && *t <= '9' && left > 0; t++, left--, digits++)
			v = v * 10 + (*t - '0');
		if (digits == 0)
			return -1;
	}
	if (*t != '\0')
		return -1;
	for (; left > 0; left--)
		v *= 10;
	*value = v;
	return 0;
}

static int decimals_of(const struct pw_key *k)
{
	return k->type == PW_V_TIME ? 3 : k->type == PW_V_MICRO ? 6 : 0;
}

static const char *unit_of(const struct pw_key *k)
{
	switch (k->type) {
	case PW_V_TIME:
		return "seconds with at most three decimals";
	case PW_V_MICRO:
		return "a number with at most six decimals";
	default:
		return "a whole number";
	}
}

/* Trailing zeros of the decimals fall away. */
static void print_decimal(int64_t v, int decimals, char *buf, size_t size)
{
	int64_t unit = 1;
	int n;

	for (int i = 0; i < decimals; i++)
		unit *= 10;
	n = snprintf(buf, size, "%lld", (long long)(v / unit));
	if (v % unit == 0 || n < 0 || (size_t)n >= size)
		return;
	n += snprintf(buf + n, size - (size_t)n, ".%0*lld", decimals, (long long)(v % unit));
	while (buf[n - 1] == '0')
		buf[--n] = '\0';
}

static int read_number(const struct pw_key *k, void *at, const char *value, char *why, size_t size)
{
	char low[32], high[32];
	int decimals = decimals_of(k);
	int64_t v;

	print_decimal(k->smallest, decimals, low, sizeof(low));
	print_decimal(k->largest, decimals, high, sizeof(high));
	if (read_decimal(value, decimals, &v) || v < k->smallest || v > k->largest) {
		snprintf(why, size, "expected %s from %s to %s, not \"%.40s\"", unit_of(k), low,
			 high, value);
		return -1;
	}
	if (k->type == PW_V_OFFSET)
		*(int32_t *)at = (int32_t)v;
	else
		*(int64_t *)at = v;
	return 0;
}

static int read_text(const struct pw_key *k, char *at, const char *value, char *why, size_t size)
{
	static const char word[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
				   "0123456789._-/:[]";
	size_t n = strspn(value, word);

	if (k->type == PW_V_WORD)
		n = strcspn(value, "/:[]") < n ? 0 : n;
	if (n == 0 || value[n] != '\0' || n >= k->size) {
		snprintf(why, size, "expected 1 to %zu letters, digits or . _ -%s, not \"%.40s\"",
			 k->size - 1, k->type == PW_V_WORD ? "" : " / : [ ]", value);
		return -1;
	}
	memcpy(at, value, n + 1);
	return 0;
}

/* One line of UTF-8; quoted marks and the like are a reader's matter. */
static int read_said(const struct pw_key *k, char *at, const char *value, char *why, size_t size)
{
	size_t n = strlen(value);
	bool control = false;

	for (size_t i = 0; i < n; i++)
		control |= (unsigned char)value[i] < ' ' || value[i] == 0x7f;
	if (n == 0 || n >= k->size || control) {
		snprintf(why, size, "expected a sentence of 1 to %zu bytes, not \"%.40s\"",
			 k->size - 1, control ? "(a control character)" : value);
		return -1;
	}
	memcpy(at, value, n + 1);
	return 0;
}

static int read_choice(const struct pw_key *k, uint32_t *at, const char *value, char *why,
		       size_t size)
{
	size_t n;

	for (uint32_t i = 0; k->choices[i]; i++) {
		if (strcmp(value, k->choices[i]) == 0) {
			*at = i + 1;
			return 0;
		}
	}
	n = (size_t)snprintf(why, size, "expected");
	for (uint32_t i = 0; k->choices[i] && n < size; i++)
		n += (size_t)snprintf(why + n, size - n, "%s %s", i ? " or" : "", k->choices[i]);
	if (n < size)
		snprintf(why + n, size - n, ", not \"%.40s\"", value);
	return -1;
}

static int read_yes(bool *at, const char *value, char *why, size_t size)
{
	*at = strcmp(value, "yes") == 0;
	if (*at || strcmp(value, "no") == 0)
		return 0;
	snprintf(why, size, "expected yes or no, not \"%.40s\"", value);
	return -1;
}

/* The next word of a list into word; NULL at the end. */
static const char *next_word(const char *t, char *word, size_t size)
{
	size_t n;

	t += strspn(t, " \t,");
	n = strcspn(t, " \t,");
	if (n == 0)
		return NULL;
	snprintf(word, size, "%.*s", (int)n, t);
	return t + n;
}

static int finding_of(const char *word)
{
	for (int i = 0; i < PW_FINDINGS; i++)
		if (strcmp(word, pw_finding_name((enum pw_finding)i)) == 0)
			return i;
	return -1;
}

static int output_of(const struct pw_policy *p, const char *word)
{
	int i = pw_line_find(p, word);

	return i >= 0 && p->line[i].direction == PW_OUT ? i : -1;
}

static int read_set(const struct pw_key *k, const struct pw_policy *p, uint32_t *at,
		    const char *value, char *why, size_t size)
{
	char word[64];

	*at = 0;
	while ((value = next_word(value, word, sizeof(word)))) {
		int i = k->type == PW_V_FINDINGS ? finding_of(word) : output_of(p, word);

		if (i < 0) {
			snprintf(why, size, "expected names of %s, not \"%.40s\"",
				 k->type == PW_V_FINDINGS ? "findings" : "output lines", word);
			return -1;
		}
		*at |= 1u << i;
	}
	return 0;
}

static int read_pattern(struct pw_pattern *t, const char *value, char *why, size_t size)
{
	char word[32];
	const char *from = value;
	int64_t ms;

	t->count = 0;
	if (strcmp(value, "steady") == 0) {
		t->ms[t->count++] = 0;
		return 0;
	}
	while ((value = next_word(value, word, sizeof(word)))) {
		if (t->count == PW_PATTERN_MAX || read_decimal(word, 0, &ms) || ms < 20 || ms > 60000)
			break;
		t->ms[t->count++] = (uint32_t)ms;
	}
	if (!value && t->count > 0 && (t->once || t->count % 2 == 0))
		return 0;
	snprintf(why, size, "expected steady or %s at most %d times of 20 to 60000 ms, not \"%.40s\"",
		 t->once ? "on, off, on ...," : "pairs of on and off,", PW_PATTERN_MAX, from);
	return -1;
}

int pw_value_read(const struct pw_key *k, const struct pw_policy *p, void *base, const char *value,
		  char *why, size_t size)
{
	void *at = (char *)base + k->offset;

	switch (k->type) {
	case PW_V_TIME:
	case PW_V_MICRO:
	case PW_V_COUNT:
	case PW_V_OFFSET:
		return read_number(k, at, value, why, size);
	case PW_V_WORD:
	case PW_V_PLACE:
		return read_text(k, at, value, why, size);
	case PW_V_SAID:
		return read_said(k, at, value, why, size);
	case PW_V_CHOICE:
		return read_choice(k, at, value, why, size);
	case PW_V_YES:
		return read_yes(at, value, why, size);
	case PW_V_FINDINGS:
	case PW_V_OUTPUTS:
		return read_set(k, p, at, value, why, size);
	case PW_V_PATTERN:
		return read_pattern(at, value, why, size);
	}
	return -1;
}

static void print_set(const struct pw_key *k, const struct pw_policy *p, uint32_t set, char *buf,
		      size_t size)
{
	size_t n = 0;

	buf[0] = '\0';
	for (unsigned i = 0; i < 32 && n < size; i++) {
		const char *name;

		if (!(set >> i & 1))
			continue;
		name = k->type == PW_V_FINDINGS ? pw_finding_name((enum pw_finding)i)
						: p->line[i].name;
		n += (size_t)snprintf(buf + n, size - n, "%s%s", n ? " " : "", name);
	}
}

static void print_pattern(const struct pw_pattern *t, char *buf, size_t size)
{
	size_t n = 0;

	if (t->count == 1 && t->ms[0] == 0) {
		snprintf(buf, size, "steady");
		return;
	}
	buf[0] = '\0';
	for (unsigned i = 0; i < t->count && n < size; i++)
		n += (size_t)snprintf(buf + n, size - n, "%s%u", n ? " " : "", t->ms[i]);
}

void pw_value_print(const struct pw_key *k, const struct pw_policy *p, const void *base, char *buf,
		    size_t size)
{
	const void *at = (const char *)base + k->offset;

	switch (k->type) {
	case PW_V_TIME:
	case PW_V_MICRO:
	case PW_V_COUNT:
		print_decimal(*(const int64_t *)at, decimals_of(k), buf, size);
		break;
	case PW_V_OFFSET:
		snprintf(buf, size, "%d", *(const int32_t *)at);
		break;
	case PW_V_WORD:
	case PW_V_PLACE:
	case PW_V_SAID:
		snprintf(buf, size, "%s", (const char *)at);
		break;
	case PW_V_CHOICE:
		snprintf(buf, size, "%s", k->choices[*(const uint32_t *)at - 1]);
		break;
	case PW_V_YES:
		snprintf(buf, size, "%s", *(const bool *)at ? "yes" : "no");
		break;
	case PW_V_FINDINGS:
	case PW_V_OUTPUTS:
		print_set(k, p, *(const uint32_t *)at, buf, size);
		break;
	case PW_V_PATTERN:
		print_pattern(at, buf, size);
		break;
	}
}

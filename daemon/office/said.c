/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdlib.h>

#include "judged.h"

static char decimal_mark(const struct pw_in_words *in)
{
	return in->tongue == PW_ENGLISH ? '.' : ',';
}

/* Tenths below a minute: that is what a walk is measured by. */
static void put_span(const struct pw_in_words *in, int64_t ms, char text[PW_VALUE_TEXT])
{
	const int64_t tenths = (llabs(ms) + 50) / 100, s = (llabs(ms) + 500) / 1000;
	const char *minus = ms < 0 ? "-" : "";

	if (s < 60)
		snprintf(text, PW_VALUE_TEXT, "%s%" PRId64 "%c%" PRId64 " s", minus, tenths / 10,
			 decimal_mark(in), tenths % 10);
	else if (s < 3600)
		snprintf(text, PW_VALUE_TEXT, "%s%" PRId64 " min %02" PRId64 " s", minus, s / 60,
			 s % 60);
	else
		snprintf(text, PW_VALUE_TEXT, "%s%" PRId64 " h %02" PRId64 " min", minus, s / 3600,
			 s / 60 % 60);
}

static void put_clock(const struct pw_in_words *in, int64_t mono_ms, char text[PW_VALUE_TEXT])
{
	struct pw_local at;

	pw_zone_local(in->zone, pw_plus(mono_ms, in->wall_less_mono_ms), &at);
	snprintf(text, PW_VALUE_TEXT, "%02d:%02d:%02d", at.ms / 3600000, at.ms / 60000 % 60,
		 at.ms / 1000 % 60);
}

static void put_metres(const struct pw_in_words *in, int64_t um, char text[PW_VALUE_TEXT])
{
	const int64_t tenths = (um + 50000) / 100000;

	snprintf(text, PW_VALUE_TEXT, "%" PRId64 "%c%" PRId64 " m", tenths / 10, decimal_mark(in),
		 tenths % 10);
}

static void put_findings(const struct pw_in_words *in, uint32_t findings, char text[PW_VALUE_TEXT])
{
	size_t n = 0;

	text[0] = '\0';
	for (unsigned i = 0; i < PW_FINDINGS && n < PW_VALUE_TEXT; i++)
		if (findings >> i & 1)
			n += (size_t)snprintf(text + n, PW_VALUE_TEXT - n, "%s%s", n ? "; " : "",
					      pw_code_words(in, pw_finding_name(i)));
}

const char *pw_code_words(const struct pw_in_words *in, const char *code)
{
	const enum pw_phrase phrase = pw_phrase_find(code);

	return phrase ? pw_phrase(in->tongue, phrase) : code;
}

const char *pw_value_words(const struct pw_in_words *in, const struct pw_value *v,
			   char text[PW_VALUE_TEXT])
{
	text[0] = '\0';
	switch (v->kind) {
	case PW_VALUE_SPAN:
		put_span(in, v->number, text);
		break;
	case PW_VALUE_CLOCK:
		put_clock(in, v->number, text);
		break;
	case PW_VALUE_METRES:
		put_metres(in, v->number, text);
		break;
	case PW_VALUE_FINDINGS:
		put_findings(in, (uint32_t)v->number, text);
		break;
	case PW_VALUE_COUNT:
		snprintf(text, PW_VALUE_TEXT, "%" PRId64, v->number);
		break;
	case PW_VALUE_CODE:
		return pw_code_words(in, v->code);
	case PW_VALUE_NONE:
		break;
	}
	return text;
}

void pw_said_words(const struct pw_in_words *in, const struct pw_said *said, FILE *out)
{
	char text[PW_SAID_VALUES][PW_VALUE_TEXT];
	const char *fill[PW_SAID_VALUES + 1] = { NULL };

	for (size_t i = 0; i < PW_SAID_VALUES; i++)
		fill[i] = pw_value_words(in, &said->value[i], text[i]);
	pw_phrase_fill(out, pw_phrase(in->tongue, said->phrase), fill);
}

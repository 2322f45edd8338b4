/* SPDX-License-Identifier: Apache-2.0 */
/* The kept state as JSON text and back, over the core's own table of what is kept (R20). */
#include "record_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* Beside the table: the refusals of the open sweep. */
static const char refusals[] = "sweep.refusals";

static void write_field(struct pw_json *o, const struct pw_field *f, const struct pw_state *s)
{
	const char *at = (const char *)s + f->offset;

	switch (f->type) {
	case PW_FIELD_TIME:
	case PW_FIELD_SPAN:
		pw_json_time(o, f->name, *(const int64_t *)(const void *)at);
		break;
	case PW_FIELD_BOOL:
		pw_json_bool(o, f->name, *(const bool *)(const void *)at);
		break;
	case PW_FIELD_U32:
		pw_json_int(o, f->name, *(const uint32_t *)(const void *)at);
		break;
	case PW_FIELD_U8:
		pw_json_int(o, f->name, *(const uint8_t *)at);
		break;
	}
}

int pw_text_kept(const struct pw_state *s, char *buf, size_t size)
{
	struct pw_json o;

	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	for (size_t i = 0; i < pw_kept_count; i++)
		write_field(&o, &pw_kept[i], s);
	pw_refusals_text(&o, refusals, &s->sweep);
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

static int read_field(const json_t *value, const struct pw_field *f, struct pw_state *s)
{
	char *at = (char *)s + f->offset;
	int64_t number = 0;

	switch (f->type) {
	case PW_FIELD_TIME:
	case PW_FIELD_SPAN:
		return pw_json_get_time(value, (int64_t *)(void *)at);
	case PW_FIELD_BOOL:
		*(bool *)(void *)at = json_is_true(value);
		return json_is_boolean(value) ? 0 : -1;
	case PW_FIELD_U32:
		if (pw_json_get_int(value, 0, UINT32_MAX, &number) < 0)
			return -1;
		*(uint32_t *)(void *)at = (uint32_t)number;
		return 0;
	case PW_FIELD_U8:
		if (pw_json_get_int(value, 0, UINT8_MAX, &number) < 0)
			return -1;
		*(uint8_t *)at = (uint8_t)number;
		return 0;
	}
	return -1;
}

static bool in_range(const struct pw_state *s)
{
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (s->input[i].level > 1)
			return false;
	return s->phase >= PW_PARKED && s->phase < PW_PHASES && s->sweep.rung < PW_SIGNALS
	       && s->sweep.findings >> PW_FINDINGS == 0;
}

static int read_kept(const json_t *text, struct pw_state *s)
{
	int count;

	if (!json_is_object(text) || json_object_size(text) != pw_kept_count + 1)
		return -1;
	for (size_t i = 0; i < pw_kept_count; i++)
		if (read_field(json_object_get(text, pw_kept[i].name), &pw_kept[i], s) < 0)
			return -1;
	count = pw_refusals_read(json_object_get(text, refusals), &s->sweep);
	if (count < 0 || !in_range(s))
		return -1;
	return s->sweep.refused == (uint32_t)count
		       || (s->sweep.refused > PW_REFUSALS_MAX && count == PW_REFUSALS_MAX) ? 0 : -1;
}

int pw_text_kept_read(const char *text, struct pw_state *s)
{
	json_t *read = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
	int result;

	memset(s, 0, sizeof(*s));
	result = read_kept(read, s);
	json_decref(read);
	return result;
}

/* -- what binds it to the records -------------------------------------------------------------- */

#define TEXT_MAX (PW_KEPT_MAX + 512)

static int kept_text(const char *bus, const char *epoch, const struct pw_kept_row *r,
		     char text[TEXT_MAX])
{
	return snprintf(text, TEXT_MAX,
			"postwalk-kept-v1\n%s\n%s\n%" PRIu64 "\n%s\n%" PRIu64 "\n%s\n%" PRId64
			"\n%" PRId64 "\n%" PRIu64 "\n%d\n%s",
			bus, epoch, r->seq, r->hash, r->boot, r->boot_id, r->mono_ms, r->wall_ms,
			r->batch, r->ended, r->state);
}

void pw_kept_sign(const char *bus, const char *epoch, struct pw_kept_row *row,
		  const struct pw_secret_key *key)
{
	char text[TEXT_MAX];
	int n = kept_text(bus, epoch, row, text);

	pw_sign(key, text, (size_t)n, row->sig);
}

bool pw_kept_holds(const char *bus, const char *epoch, const struct pw_kept_row *row,
		   const struct pw_public_key *key)
{
	char text[TEXT_MAX];
	int n = kept_text(bus, epoch, row, text);

	return pw_signed(key, text, (size_t)n, row->sig);
}

/* SPDX-License-Identifier: Apache-2.0 */
/* A journal as JSON Lines (J10). What is written here is read back to the same, or not written. */
#include "record_internal.h"

#include <stddef.h>
#include <stdio.h>
#include <string.h>

#define EXPORT_VERSION "postwalk-export-v1"
#define DIGITS_MAX "9223372036854775807" /* what an integer of SQLite and of jansson holds */

/* -- writing ----------------------------------------------------------------------------------- */

static bool bus_fits(const char *bus)
{
	return pw_chain_word(bus) && strlen(bus) < PW_NAME_MAX;
}

static bool seq_fits(uint64_t seq)
{
	return seq >= 1 && seq <= INT64_MAX;
}

/* Altered bytes would not hash the same, so a body that is not UTF-8 has no line. */
static bool body_fits(const char *body)
{
	json_t *text = strnlen(body, PW_BODY_MAX + 1) <= PW_BODY_MAX ? json_string(body) : NULL;

	json_decref(text);
	return text != NULL;
}

static bool record_fits(const struct pw_record *r)
{
	return seq_fits(r->seq) && r->boot <= INT64_MAX && r->kind > PW_K_NONE && r->kind < PW_KINDS
	       && pw_hex_text(r->epoch, 16) && pw_hex_text(r->prev, 64) && pw_hex_text(r->hash, 64)
	       && body_fits(r->body);
}

int pw_export_head(const char *bus, const struct pw_public_key *key, char *buf, size_t size)
{
	char pem[PW_PEM_MAX];
	struct pw_json o;

	if (!bus_fits(bus))
		return -1;
	pw_public_key_pem(key, pem);
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	pw_json_text(&o, "export", EXPORT_VERSION, sizeof(EXPORT_VERSION));
	pw_json_text(&o, "bus", bus, PW_NAME_MAX);
	pw_json_text(&o, "key", pem, sizeof(pem));
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

int pw_export_record(const struct pw_record *r, char *buf, size_t size)
{
	struct pw_json o;

	if (!record_fits(r))
		return -1;
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	pw_json_int(&o, "seq", (int64_t)r->seq);
	pw_json_text(&o, "epoch", r->epoch, sizeof(r->epoch));
	pw_json_int(&o, "boot", (int64_t)r->boot);
	pw_json_int(&o, "mono_ms", r->mono_ms);
	pw_json_int(&o, "wall_ms", r->wall_ms);
	pw_json_int(&o, "wall_ok", r->wall_ok);
	pw_json_text(&o, "kind", pw_kind_name(r->kind), PW_NAME_MAX);
	pw_json_text(&o, "body", r->body, PW_BODY_MAX);
	pw_json_text(&o, "prev", r->prev, sizeof(r->prev));
	pw_json_text(&o, "hash", r->hash, sizeof(r->hash));
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

int pw_export_seal(const struct pw_seal *s, char *buf, size_t size)
{
	struct pw_json o;

	if (!seq_fits(s->seq) || !pw_hex_text(s->hash, 64) || !pw_hex_text(s->sig, 128))
		return -1;
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	pw_json_open(&o, "seal", '{');
	pw_json_int(&o, "seq", (int64_t)s->seq);
	pw_json_text(&o, "hash", s->hash, sizeof(s->hash));
	pw_json_text(&o, "sig", s->sig, sizeof(s->sig));
	pw_json_close(&o, '}');
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

int pw_export_purged(const struct pw_seal *s, const struct pw_public_key *office, char *buf,
		     size_t size)
{
	char pem[PW_PEM_MAX];
	struct pw_json o;

	if (!seq_fits(s->seq) || !pw_hex_text(s->hash, 64) || !pw_hex_text(s->sig, 128))
		return -1;
	pw_public_key_pem(office, pem);
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	pw_json_open(&o, "purged", '{');
	pw_json_int(&o, "seq", (int64_t)s->seq);
	pw_json_text(&o, "hash", s->hash, sizeof(s->hash));
	pw_json_text(&o, "key", pem, sizeof(pem));
	pw_json_text(&o, "sig", s->sig, sizeof(s->sig));
	pw_json_close(&o, '}');
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

int pw_export_end(uint64_t records, uint64_t seals, char *buf, size_t size)
{
	struct pw_json o;

	if (records > INT64_MAX || seals > INT64_MAX)
		return -1;
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	pw_json_open(&o, "end", '{');
	pw_json_int(&o, "records", (int64_t)records);
	pw_json_int(&o, "seals", (int64_t)seals);
	pw_json_close(&o, '}');
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

/* -- reading: values --------------------------------------------------------------------------- */

static bool take_unsigned(const json_t *value, int64_t least, void *to)
{
	int64_t n;

	if (pw_json_get_int(value, least, INT64_MAX, &n))
		return false;
	*(uint64_t *)to = (uint64_t)n;
	return true;
}

static bool take_seq(const json_t *value, void *to)
{
	return take_unsigned(value, 1, to);
}

static bool take_count(const json_t *value, void *to)
{
	return take_unsigned(value, 0, to);
}

static bool take_ms(const json_t *value, void *to)
{
	return pw_json_get_int(value, INT64_MIN, INT64_MAX, to) == 0;
}

static bool take_bit(const json_t *value, void *to)
{
	int64_t n;

	if (pw_json_get_int(value, 0, 1, &n))
		return false;
	*(bool *)to = n == 1;
	return true;
}

static bool take_hex(const json_t *value, size_t digits, void *to)
{
	const char *text = json_string_value(value);

	if (text == NULL || !pw_hex_text(text, digits))
		return false;
	memcpy(to, text, digits + 1);
	return true;
}

static bool take_epoch(const json_t *value, void *to)
{
	return take_hex(value, 16, to);
}

static bool take_hash(const json_t *value, void *to)
{
	return take_hex(value, 64, to);
}

static bool take_sig(const json_t *value, void *to)
{
	return take_hex(value, 128, to);
}

static bool take_version(const json_t *value, void *to)
{
	const char *text = json_string_value(value);

	(void)to;
	return text != NULL && strcmp(text, EXPORT_VERSION) == 0;
}

static bool take_bus(const json_t *value, void *to)
{
	const char *text = json_string_value(value);

	if (text == NULL || !bus_fits(text))
		return false;
	memcpy(to, text, strlen(text) + 1);
	return true;
}

static bool take_key(const json_t *value, void *to)
{
	const char *text = json_string_value(value);
	char why[PW_WORDS_MAX];

	return text != NULL && pw_public_key_read(text, to, why, sizeof(why)) == 0;
}

static bool take_kind(const json_t *value, void *to)
{
	const char *text = json_string_value(value);
	enum pw_kind kind = text != NULL ? pw_kind_find(text) : PW_K_NONE;

	*(enum pw_kind *)to = kind;
	return kind != PW_K_NONE;
}

static bool take_body(const json_t *value, void *to)
{
	*(const char **)to = json_string_value(value);
	return json_is_string(value) && json_string_length(value) <= PW_BODY_MAX;
}

/* -- reading: lines ---------------------------------------------------------------------------- */

struct field {
	const char *key, *expected;
	bool (*take)(const json_t *value, void *to);
	size_t at; /* in struct pw_export_line */
};

#define AT(member) offsetof(struct pw_export_line, member)
static const struct field head_fields[] = {
	{ "export", "\"" EXPORT_VERSION "\"", take_version, 0 },
	{ "bus", "1 to 31 characters of A-Z a-z 0-9 . _ -", take_bus, AT(bus) },
	{ "key", "an Ed25519 public key as PEM", take_key, AT(key) },
};
static const struct field record_fields[] = {
	{ "seq", "an integer from 1 to " DIGITS_MAX, take_seq, AT(record.seq) },
	{ "epoch", "16 digits of 0-9 a-f", take_epoch, AT(record.epoch) },
	{ "boot", "an integer from 0 to " DIGITS_MAX, take_count, AT(record.boot) },
	{ "mono_ms", "an integer", take_ms, AT(record.mono_ms) },
	{ "wall_ms", "an integer", take_ms, AT(record.wall_ms) },
	{ "wall_ok", "0 or 1", take_bit, AT(record.wall_ok) },
	{ "kind", "a kind of record", take_kind, AT(record.kind) },
	{ "body", "text of at most 8192 bytes", take_body, AT(record.body) },
	{ "prev", "64 digits of 0-9 a-f", take_hash, AT(record.prev) },
	{ "hash", "64 digits of 0-9 a-f", take_hash, AT(record.hash) },
};
static const struct field seal_fields[] = {
	{ "seq", "an integer from 1 to " DIGITS_MAX, take_seq, AT(seal.seq) },
	{ "hash", "64 digits of 0-9 a-f", take_hash, AT(seal.hash) },
	{ "sig", "128 digits of 0-9 a-f", take_sig, AT(seal.sig) },
};
static const struct field purged_fields[] = {
	{ "seq", "an integer from 1 to " DIGITS_MAX, take_seq, AT(seal.seq) },
	{ "hash", "64 digits of 0-9 a-f", take_hash, AT(seal.hash) },
	{ "key", "an Ed25519 public key as PEM", take_key, AT(key) },
	{ "sig", "128 digits of 0-9 a-f", take_sig, AT(seal.sig) },
};
static const struct field end_fields[] = {
	{ "records", "an integer from 0 to " DIGITS_MAX, take_count, AT(records) },
	{ "seals", "an integer from 0 to " DIGITS_MAX, take_count, AT(seals) },
};
_Static_assert(PW_BODY_MAX == 8192, "as the field's words have it");

static const struct shape {
	enum pw_export_kind kind;
	const char *mark; /* the key that no other kind has at its top */
	bool inside;      /* the fields are those of the object under it */
	const struct field *fields;
	size_t count;
} shapes[] = {
#define FIELDS(low) low##_fields, sizeof(low##_fields) / sizeof(low##_fields[0])
	{ PW_X_HEAD, "export", false, FIELDS(head) },
	{ PW_X_RECORD, "seq", false, FIELDS(record) },
	{ PW_X_SEAL, "seal", true, FIELDS(seal) },
	{ PW_X_END, "end", true, FIELDS(end) },
	{ PW_X_PURGED, "purged", true, FIELDS(purged) },
};

static int read_fields(const json_t *object, const struct shape *s, struct pw_export_line *line,
		       char *why, size_t size)
{
	for (size_t i = 0; i < s->count; i++) {
		const struct field *f = &s->fields[i];
		const json_t *value = json_object_get(object, f->key);

		if (value != NULL && f->take(value, (char *)line + f->at))
			continue;
		snprintf(why, size, "expected \"%s\" to be %s", f->key, f->expected);
		return -2;
	}
	if (json_object_size(object) == s->count)
		return 0;
	snprintf(why, size, "expected no other keys than the %zu of such a line", s->count);
	return -2;
}

static int read_shape(const json_t *root, struct pw_export_line *line, char *why, size_t size)
{
	for (size_t i = 0; i < sizeof(shapes) / sizeof(shapes[0]); i++) {
		const struct shape *s = &shapes[i];
		const json_t *marked = json_object_get(root, s->mark);

		if (marked == NULL)
			continue;
		line->kind = s->kind;
		if (!s->inside)
			return read_fields(root, s, line, why, size);
		if (json_object_size(root) == 1 && json_is_object(marked))
			return read_fields(marked, s, line, why, size);
		snprintf(why, size, "expected \"%s\" alone, and an object in it", s->mark);
		return -2;
	}
	snprintf(why, size, "expected an object with \"export\", \"seq\", \"seal\" or \"end\" in it");
	return -2;
}

/* Our own words: those of jansson quote the line, whatever may stand in it. */
static void tell_syntax(const json_error_t *error, char *why, size_t size)
{
	switch (json_error_code(error)) {
	case json_error_duplicate_key:
		snprintf(why, size, "expected no key twice");
		break;
	case json_error_numeric_overflow:
		snprintf(why, size, "expected no integer beyond " DIGITS_MAX);
		break;
	case json_error_invalid_utf8:
		snprintf(why, size, "expected UTF-8");
		break;
	case json_error_null_character:
	case json_error_null_byte_in_key:
		snprintf(why, size, "expected no zero character in a string");
		break;
	case json_error_premature_end_of_input:
		snprintf(why, size, "expected a whole JSON object, and the line ends before it does");
		break;
	case json_error_end_of_input_expected:
		snprintf(why, size, "expected one JSON object, and nothing behind it");
		break;
	default:
		snprintf(why, size, "expected a JSON object, which column %d does not go on with",
			 error->column);
	}
}

int pw_export_read(const char *text, size_t length, struct pw_export_line *line, char *why,
		   size_t size)
{
	json_error_t error;
	json_t *root;

	memset(line, 0, sizeof(*line));
	if (length > PW_EXPORT_LINE_MAX - 2) {
		snprintf(why, size, "expected a line of at most %d bytes", PW_EXPORT_LINE_MAX - 2);
		return -2;
	}
	if (memchr(text, '\0', length) != NULL) {
		snprintf(why, size, "expected text without a zero byte");
		return -2;
	}
	root = json_loadb(text, length, JSON_REJECT_DUPLICATES, &error);
	if (root == NULL) {
		tell_syntax(&error, why, size);
		return -2;
	}
	if (read_shape(root, line, why, size) == 0) {
		line->held = root;
		return 0;
	}
	json_decref(root);
	return -2;
}

void pw_export_free(struct pw_export_line *line)
{
	json_decref(line->held);
	line->held = NULL;
}

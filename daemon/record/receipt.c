/* SPDX-License-Identifier: Apache-2.0 */
/* What the office says it has, signed (docs/protocol.md). */
#include "record_internal.h"

#include <inttypes.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

static const char *version_of(const struct pw_receipt *r)
{
	return r->alert ? "postwalk-alert-v1" : "postwalk-receipt-v1";
}

int pw_receipt_text(const struct pw_receipt *r, char text[PW_RECEIPT_TEXT_MAX])
{
	return snprintf(text, PW_RECEIPT_TEXT_MAX,
			"%s\n%.31s\n%.16s\n%" PRIu64 "\n%.64s\n%" PRId64 "\n%.32s\n", version_of(r),
			r->bus, r->epoch, r->seq, r->hash, r->time_ms, r->nonce);
}

void pw_receipt_sign(struct pw_receipt *r, const struct pw_secret_key *office)
{
	char text[PW_RECEIPT_TEXT_MAX];
	int n = pw_receipt_text(r, text);

	pw_sign(office, text, (size_t)n, r->sig);
}

bool pw_receipt_holds(const struct pw_receipt *r, const struct pw_public_key *office)
{
	char text[PW_RECEIPT_TEXT_MAX];
	int n = pw_receipt_text(r, text);

	return pw_signed(office, text, (size_t)n, r->sig);
}

/* -- as JSON ----------------------------------------------------------------------------------- */

static bool fits(const struct pw_receipt *r)
{
	return pw_chain_word(r->bus) && pw_hex_text(r->epoch, 16) && r->seq >= 1
	       && r->seq <= INT64_MAX && pw_hex_text(r->hash, 64) && pw_hex_text(r->nonce, 32)
	       && pw_hex_text(r->sig, 128);
}

int pw_receipt_write(const struct pw_receipt *r, char *buf, size_t size)
{
	struct pw_json o;

	if (!fits(r))
		return -1;
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	pw_json_text(&o, "receipt", version_of(r), PW_NAME_MAX);
	pw_json_text(&o, "bus", r->bus, sizeof(r->bus));
	pw_json_text(&o, "epoch", r->epoch, sizeof(r->epoch));
	pw_json_int(&o, "seq", (int64_t)r->seq);
	pw_json_text(&o, "hash", r->hash, sizeof(r->hash));
	pw_json_int(&o, "time_ms", r->time_ms);
	pw_json_text(&o, "nonce", r->nonce, sizeof(r->nonce));
	pw_json_text(&o, "sig", r->sig, sizeof(r->sig));
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

static bool take_text(const json_t *value, char *to, size_t size)
{
	const char *text = json_string_value(value);

	if (text == NULL || json_string_length(value) >= size)
		return false;
	memcpy(to, text, strlen(text) + 1);
	return true;
}

static bool take_version(const json_t *value, struct pw_receipt *r)
{
	const char *text = json_string_value(value);

	r->alert = text != NULL && strcmp(text, "postwalk-alert-v1") == 0;
	return text != NULL && strcmp(text, version_of(r)) == 0;
}

static int read_fields(const json_t *text, struct pw_receipt *r)
{
	int64_t seq;

	if (!take_version(json_object_get(text, "receipt"), r)
	    || !take_text(json_object_get(text, "bus"), r->bus, sizeof(r->bus))
	    || !take_text(json_object_get(text, "epoch"), r->epoch, sizeof(r->epoch))
	    || pw_json_get_int(json_object_get(text, "seq"), 1, INT64_MAX, &seq) < 0
	    || !take_text(json_object_get(text, "hash"), r->hash, sizeof(r->hash))
	    || pw_json_get_int(json_object_get(text, "time_ms"), 0, PW_MOMENT_MAX, &r->time_ms) < 0
	    || !take_text(json_object_get(text, "nonce"), r->nonce, sizeof(r->nonce))
	    || !take_text(json_object_get(text, "sig"), r->sig, sizeof(r->sig)))
		return -1;
	r->seq = (uint64_t)seq;
	return fits(r) ? 0 : -1;
}

int pw_receipt_read(const char *text, size_t length, struct pw_receipt *r, char *why, size_t size)
{
	json_error_t error;
	json_t *read = json_loadb(text, length, JSON_REJECT_DUPLICATES, &error);
	int result;

	memset(r, 0, sizeof(*r));
	result = read != NULL && read_fields(read, r) == 0 ? 0 : -2;
	if (read == NULL)
		snprintf(why, size, "expected a receipt as JSON: %s", error.text);
	else if (result < 0)
		snprintf(why, size, "expected a receipt with bus, epoch, seq, hash, time_ms, nonce and sig");
	json_decref(read);
	return result;
}

/* SPDX-License-Identifier: Apache-2.0 */
/* What the office says it has, signed (docs/protocol.md). */
#include "delivered_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

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

/* -- as a record's body (J8) ------------------------------------------------------------------- */

int pw_receipt_body(const struct pw_receipt *r, char *buf, size_t size)
{
	struct pw_json o;

	if (!fits(r))
		return -1;
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	pw_json_int(&o, r->alert ? "alert" : "seq", (int64_t)r->seq);
	pw_json_text(&o, "hash", r->hash, sizeof(r->hash));
	pw_json_int(&o, "time_ms", r->time_ms);
	pw_json_text(&o, "nonce", r->nonce, sizeof(r->nonce));
	pw_json_text(&o, "sig", r->sig, sizeof(r->sig));
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

int pw_receipt_body_read(const char *body, struct pw_receipt *r)
{
	json_t *read = json_loads(body, JSON_REJECT_DUPLICATES, NULL);
	int64_t seq;

	r->alert = json_object_get(read, "alert") != NULL;
	if (pw_json_get_int(json_object_get(read, r->alert ? "alert" : "seq"), 1, INT64_MAX, &seq) < 0) {
		json_decref(read);
		return -1;
	}
	r->seq = (uint64_t)seq;
	if (!take_text(json_object_get(read, "hash"), r->hash, sizeof(r->hash)))
		r->hash[0] = '\0';
	if (pw_json_get_int(json_object_get(read, "time_ms"), 0, PW_MOMENT_MAX, &r->time_ms) < 0)
		r->time_ms = PW_NO_TIME;
	if (!take_text(json_object_get(read, "nonce"), r->nonce, sizeof(r->nonce)))
		r->nonce[0] = '\0';
	if (!take_text(json_object_get(read, "sig"), r->sig, sizeof(r->sig)))
		r->sig[0] = '\0';
	json_decref(read);
	return 0;
}

/* -- outside the database ---------------------------------------------------------------------- */

static const char file_name[] = "receipt";
#define FILE_MAX (PW_RECEIPT_TEXT_MAX + 132)

static void file_text(const struct pw_receipt *r, char text[FILE_MAX])
{
	int n = pw_receipt_text(r, text);

	snprintf(text + n, (size_t)(FILE_MAX - n), "%.128s\n", r->sig);
}

/* Only the very text that would be written is a whole one. */
static int file_parse(const char *text, struct pw_receipt *r)
{
	char again[FILE_MAX];

	memset(r, 0, sizeof(*r));
	if (sscanf(text, "postwalk-receipt-v1\n%31s\n%16s\n%" SCNu64 "\n%64s\n%" SCNd64 "\n%32s\n%128s\n",
		   r->bus, r->epoch, &r->seq, r->hash, &r->time_ms, r->nonce, r->sig) != 7)
		return -1;
	file_text(r, again);
	return strcmp(text, again) == 0 && fits(r) ? 0 : -1;
}

int pw_receipt_file_write(const char *dir, const struct pw_receipt *r)
{
	int folder = pw_whole_open(dir), result, error;
	char text[FILE_MAX];

	if (folder < 0)
		return -1;
	file_text(r, text);
	result = pw_whole_write(folder, file_name, 0640, text);
	error = errno;
	close(folder);
	errno = error;
	return result;
}

int pw_receipt_file_read(const char *dir, struct pw_receipt *r)
{
	int folder = pw_whole_open(dir), error;
	char text[FILE_MAX + 1];
	ssize_t n;

	if (folder < 0)
		return -1;
	n = pw_whole_read(folder, file_name, text, sizeof(text));
	error = errno;
	close(folder);
	errno = error;
	if (n < 0)
		return errno == ENOENT ? 0 : -1;
	return strlen(text) == (size_t)n && file_parse(text, r) == 0 ? 1 : -2;
}

int pw_office_key(const char *dir, struct pw_public_key *office, char *why, size_t size)
{
	char path[4096];

	snprintf(path, sizeof(path), "%s/office.pub", dir);
	return pw_public_key_load(path, office, why, size) < 0 ? -1 : 0;
}

int pw_receipt_witness(const char *dir, struct pw_receipt *r)
{
	struct pw_public_key office;
	char why[PW_WORDS_MAX];

	return pw_office_key(dir, &office, why, sizeof(why)) == 0 && pw_receipt_file_read(dir, r) == 1
	       && pw_receipt_holds(r, &office);
}

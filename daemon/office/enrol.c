/* SPDX-License-Identifier: Apache-2.0 */
/* How a bus's key comes to be tied to its id. Of codes and tokens the office keeps SHA-256 alone. */
#include <ctype.h>
#include <stdarg.h>
#include <sodium.h>
#include <string.h>

#include "intake_internal.h"
#include "postwalk/text.h"

#define BODY_MAX 4096

/* Read aloud and copied by hand: no I, L, O, 0, 1. */
static const char letters[] = "23456789ABCDEFGHJKMNPQRSTUVWXYZ";

/* -- codes ------------------------------------------------------------------------------------- */

void pw_code_draw(char code[PW_CODE_MAX_TEXT])
{
	char *to = code;

	for (int i = 0; i < PW_CODE_LETTERS; i++) {
		if (i > 0 && i % 4 == 0)
			*to++ = '-';
		*to++ = letters[randombytes_uniform(sizeof(letters) - 1)];
	}
	*to = '\0';
}

int pw_code_hash(const char *code, char hash[65])
{
	char plain[PW_CODE_LETTERS];
	struct iovec part = { plain, 0 };

	for (; *code != '\0'; code++) {
		const char c = (char)toupper((unsigned char)*code);

		if (c == '-' || c == ' ')
			continue;
		if (part.iov_len == sizeof(plain) || !strchr(letters, c))
			return -1;
		plain[part.iov_len++] = c;
	}
	if (part.iov_len != sizeof(plain))
		return -1;
	pw_sha256_hex(&part, 1, hash);
	return 0;
}

static void draw_token(char token[PW_TOKEN_DIGITS + 1])
{
	unsigned char bytes[PW_TOKEN_DIGITS / 2];

	randombytes_buf(bytes, sizeof(bytes));
	sodium_bin2hex(token, PW_TOKEN_DIGITS + 1, bytes, sizeof(bytes));
}

/* -- the request ------------------------------------------------------------------------------- */

__attribute__((format(printf, 4, 5)))
static int refuse(struct pw_wrong *w, unsigned status, const char *word, const char *format, ...)
{
	va_list args;

	*w = (struct pw_wrong){ .status = status, .word = word };
	va_start(args, format);
	vsnprintf(w->words, sizeof(w->words), format, args);
	va_end(args);
	return -2;
}

/* postwalk-enrol-v1 LF BUS LF CODE LF FINGERPRINT LF */
static bool is_signed(const char *bus, const char *code, const struct pw_public_key *key,
		      const char *sig)
{
	char fingerprint[65], text[256];
	int n;

	pw_public_key_print(key, fingerprint);
	n = snprintf(text, sizeof(text), "postwalk-enrol-v1\n%s\n%s\n%s\n", bus, code, fingerprint);
	return n < (int)sizeof(text) && pw_signed(key, text, (size_t)n, sig);
}

static int read_fields(json_t *root, struct pw_enrolment *e, struct pw_wrong *wrong)
{
	const char *bus, *code, *key, *sig;
	char why[120];

	if (json_unpack(root, "{s:s,s:s,s:s,s:s!}", "bus", &bus, "code", &code, "key", &key, "sig",
			&sig))
		return refuse(wrong, 400, "bad",
			      "expected an object of four texts: bus, code, key, sig");
	if (!pw_chain_word(bus) || strlen(bus) >= PW_NAME_MAX)
		return refuse(wrong, 400, "bad",
			      "expected bus to be 1 to 31 characters of A-Z a-z 0-9 . _ -");
	if (pw_public_key_read(key, &e->key, why, sizeof(why)))
		return refuse(wrong, 400, "bad", "key: %s", why);
	if (!is_signed(bus, code, &e->key, sig))
		return refuse(wrong, 403, "key",
			      "expected sig to be the key's own signature over bus, "
			      "code and the key's fingerprint");
	if (pw_code_hash(code, e->code_hash))
		return refuse(wrong, 403, "code",
			      "expected five groups of four letters and digits, "
			      "as the office has given it");
	snprintf(e->bus, sizeof(e->bus), "%s", bus);
	return 0;
}

int pw_enrol_read(const char *text, size_t length, struct pw_enrolment *e, struct pw_wrong *wrong)
{
	json_error_t error;
	json_t *root = length <= BODY_MAX ? json_loadb(text, length, JSON_REJECT_DUPLICATES, &error)
					  : NULL;
	int result;

	memset(e, 0, sizeof(*e));
	if (!root)
		return refuse(wrong, 400, "bad", "expected one JSON object of at most %d bytes",
			      BODY_MAX);
	result = read_fields(root, e, wrong);
	json_decref(root);
	if (result == 0)
		draw_token(e->token);
	return result;
}

/* -- in the store ------------------------------------------------------------------------------ */

/* An accepted key is kept as well: exports of older epochs are headed by the key of their time. */
static int put_key(struct pw_store *s, struct pw_enrolment *e, bool accepted, char *why,
		   size_t size)
{
	struct pw_key_row *k = &e->asked;

	*k = (struct pw_key_row){ .key = e->key, .asked_ms = e->now_ms, .accepted = accepted };
	memcpy(k->bus, e->bus, sizeof(k->bus));
	pw_token_hash(e->token, k->token);
	if (accepted) {
		k->decided_ms = e->now_ms;
		snprintf(k->who, sizeof(k->who), "office");
		snprintf(k->words, sizeof(k->words), "by its code");
	}
	return pw_store_key_put(s, k, why, size);
}

static int enrol(struct pw_store *s, struct pw_enrolment *e, char *why, size_t size)
{
	struct pw_bus_row *row = &e->row;

	e->how = PW_ENROL_SO;
	memcpy(row->bus, e->bus, sizeof(row->bus));
	row->has_key = true;
	row->key = e->key;
	row->enrolled_ms = e->now_ms;
	pw_token_hash(e->token, row->token);
	if (pw_store_bus_put(s, row, why, size) || put_key(s, e, true, why, size))
		return -1;
	return pw_store_log(s, e->now_ms, e->bus, "enrolled by its code", why, size);
}

static int ask_a_person(struct pw_store *s, struct pw_enrolment *e, char *why, size_t size)
{
	struct pw_matter m = { .kind = PW_MATTER_KEY, .came_ms = e->now_ms };

	e->how = PW_ENROL_WAITS;
	memcpy(m.bus, e->bus, sizeof(m.bus));
	pw_public_key_print(&e->key, m.hash);
	pw_matter_say(&m, m.hash);
	if (put_key(s, e, false, why, size) || pw_store_matter_put(s, &m, why, size) < 0)
		return -1;
	return pw_store_log(s, e->now_ms, e->bus, "asks for another key", why, size);
}

int pw_enrol_work(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_enrolment *e = ctx;
	int result = pw_store_code_take(s, e->bus, e->code_hash, e->now_ms, why, size);

	if (result < 0)
		return result;
	if (result == 0) {
		e->how = PW_ENROL_CODE;
		return 0;
	}
	result = pw_store_bus(s, e->bus, &e->row, why, size);
	if (result < 0)
		return result;
	if (result == 0)
		memset(&e->row, 0, sizeof(e->row));
	if (!e->row.has_key || memcmp(&e->row.key, &e->key, sizeof(e->key)) == 0)
		return enrol(s, e, why, size);
	return ask_a_person(s, e, why, size);
}

void pw_enrol_done(struct pw_office *o, const struct pw_enrolment *e)
{
	char fingerprint[65];

	pw_public_key_print(&e->key, fingerprint);
	if (e->how == PW_ENROL_SO) {
		pw_roll_bus(o->roll, &e->row);
		pw_office_say("bus %s is enrolled; its key is %s", e->bus, fingerprint);
	} else if (e->how == PW_ENROL_WAITS) {
		pw_roll_key(o->roll, &e->asked);
		pw_office_say("bus %s has a key, and asks for another, %s: a person has to decide "
			      "(postwalk-office keys)", e->bus, fingerprint);
		if (o->teller)
			pw_teller_wake(o->teller);
	}
}

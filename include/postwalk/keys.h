/* SPDX-License-Identifier: Apache-2.0 */
/*
 * keys.h - keys, what they sign, and receipts: Ed25519 (RFC 8032) as PEM (RFC 8410).
 *
 * Buses sign seals (J4, journal.h), the office signs receipts. Errors, if not said otherwise: 0;
 * -1: it cannot be had now; -2: it is not what was expected. Both with one sentence in why.
 */
#ifndef POSTWALK_KEYS_H
#define POSTWALK_KEYS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "postwalk/policy.h"

/* -- key.c ------------------------------------------------------------------------------------------- */

#define PW_PEM_MAX 128 /* a public key's text, with its closing zero */
struct pw_public_key { unsigned char bytes[32]; };
struct pw_secret_key { unsigned char bytes[64]; struct pw_public_key public; };

/* text: PEM, SubjectPublicKeyInfo; white space around it is fine. 0 or -2. */
int pw_public_key_read(const char *text, struct pw_public_key *key, char *why, size_t size);
int pw_public_key_load(const char *path, struct pw_public_key *key, char *why, size_t size);
void pw_public_key_pem(const struct pw_public_key *key, char pem[PW_PEM_MAX]);
/* What to compare keys by: SHA-256 of the DER text, as `openssl pkey -pubin -outform DER | sha256sum`. */
void pw_public_key_print(const struct pw_public_key *key, char hex[65]);

/* Loads dir/NAME.key (0600), or draws one where there is none, and sees that dir/NAME.pub is its public
 * half. name: "bus" or "office". drawn: it was drawn now. -1: the folder cannot be had; -2: what stands
 * there is no key. */
int pw_secret_key_load(const char *dir, const char *name, struct pw_secret_key *key, bool *drawn,
		       char *why, size_t size);
/* From 32 bytes: the same key for the same seed (tests, made-up buses). */
void pw_secret_key_from(const unsigned char seed[32], struct pw_secret_key *key);
/* As 128 hex digits and a zero. */
void pw_sign(const struct pw_secret_key *key, const void *text, size_t length, char sig[129]);
bool pw_signed(const struct pw_public_key *key, const void *text, size_t length, const char *sig);

/* -- receipt.c --------------------------------------------------------------------------------------- */

/* The office has committed what it names: all of an epoch up to seq, or (alert) that one record. */
struct pw_receipt {
	bool alert;
	char bus[PW_NAME_MAX], epoch[17];
	uint64_t seq;
	char hash[65];   /* of the record seq */
	int64_t time_ms; /* Unix, by the office's clock */
	char nonce[33];  /* 32 hex digits, drawn by who asked: an old receipt is no answer */
	char sig[129];
};

#define PW_RECEIPT_TEXT_MAX 320
/* What is signed: "postwalk-receipt-v1" or "postwalk-alert-v1", then bus, epoch, seq, hash, time_ms and
 * nonce, each line ended by one LF. Its length. */
int pw_receipt_text(const struct pw_receipt *r, char text[PW_RECEIPT_TEXT_MAX]);
void pw_receipt_sign(struct pw_receipt *r, const struct pw_secret_key *office);
bool pw_receipt_holds(const struct pw_receipt *r, const struct pw_public_key *office);
/* As JSON on one line, without LF: {"receipt":"postwalk-receipt-v1","bus":,"epoch":,"seq":,"hash":,
 * "time_ms":,"nonce":,"sig":}. Length, or -1. */
int pw_receipt_write(const struct pw_receipt *r, char *buf, size_t size);
/* What else stands in that object is passed over. 0 or -2; nothing is held against a key here. */
int pw_receipt_read(const char *text, size_t length, struct pw_receipt *r, char *why, size_t size);

#endif

/* SPDX-License-Identifier: Apache-2.0 */
/*
 * accounts.h - who may do what in the office: passwords (argon2id by libsodium), accounts made and
 * changed by the shell and by a page alike.
 */
#ifndef POSTWALK_OFFICE_ACCOUNTS_H
#define POSTWALK_OFFICE_ACCOUNTS_H

#include "intake_internal.h"

#define PW_PASSWORD_LEAST 12 /* characters */
#define PW_PASSWORD_MOST 128 /* bytes */
#define PW_PASSWORD_FIRST 25 /* room of one that is drawn: 20 letters, about 99 bits */
#define PW_TOKEN_DAYS_MOST 400

/* In step with enum pw_office_role: "nothing", "see", "act", "administer". */
const char *pw_may_name(enum pw_office_role role);
int pw_may_find(const char *name); /* -1: there is none */

/* Each takes 64 MiB and some tenths of a second: PW_HASHES_AT_ONCE of them in the process, others
 * wait. Not on the desk's thread. */
/* 0; -1: no memory. */
int pw_password_hash(struct pw_hashing *h, const char *password, char hash[160]);
/* hash "": it does not, and that is told as late. */
bool pw_password_holds(struct pw_hashing *h, const char *hash, const char *password);
bool pw_password_long(const char *password); /* it is long enough, and not too long */

/* An account made, or its role changed, or a new first password drawn for it. */
struct pw_account_order {
	const char *by;              /* who says so, for the log */
	const char *code;
	enum pw_office_role role;
	bool fresh;                  /* a first password is drawn, though there is the account */
	/* What became of it. */
	bool made;
	char first[PW_PASSWORD_FIRST]; /* "": its password stays */
};
/* Sessions of it end. 0; -1, -2 with why. Not on the desk's thread. */
int pw_account_order(struct pw_office *o, struct pw_account_order *a, char *why, size_t size);

/* A token for a program. 64 hex digits; its SHA-256 is kept. */
int pw_account_token(struct pw_office *o, const char *by, const char *code, const char *words,
		     int64_t ends_ms, char token[PW_TOKEN_DIGITS + 1], char *why, size_t size);
/* -2: there is no such. */
int pw_account_token_end(struct pw_office *o, const char *by, const char *hash, char *why,
			 size_t size);

#endif

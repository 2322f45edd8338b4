/* SPDX-License-Identifier: Apache-2.0 */
/* keys_internal.h - the bus's key, what it signs, and the small files that hold both. */
#ifndef POSTWALK_KEYS_INTERNAL_H
#define POSTWALK_KEYS_INTERNAL_H

#include <sys/types.h>

#include "postwalk/journal.h"

/* -- whole.c: small files, there whole or as they were ---------------------------------------- */

int pw_whole_open(const char *dir); /* fd of the folder, or -1 with errno */
/* The whole file (cut to size, ended by a zero). Its length, size when it is longer; -1 with errno. */
ssize_t pw_whole_read(int dir, const char *name, char *text, size_t size);
/* Temporary file, fsync, rename, fsync of the folder. 0, or -1 with errno. */
int pw_whole_write(int dir, const char *name, mode_t mode, const char *text);

int pw_public_key_aside(const char *dir); /* aside.c: bus.pub alone. 0, or -1 with errno */

/* -- key.c ------------------------------------------------------------------------------------- */

struct pw_secret_key { unsigned char bytes[64]; struct pw_public_key public; };
/* Loads dir/bus.key, or draws one where there is none, and sees that dir/bus.pub is its public half.
 * drawn: it was drawn now. -1: the folder cannot be had; -2: what stands there is no key. */
int pw_key_load(const char *dir, struct pw_secret_key *key, bool *drawn, char *why, size_t size);
/* Ed25519 (RFC 8032), as 128 hex digits and a zero. */
void pw_sign(const struct pw_secret_key *key, const void *text, size_t length, char sig[129]);
bool pw_signed(const struct pw_public_key *key, const void *text, size_t length, const char *sig);

/* -- seal.c ------------------------------------------------------------------------------------ */

/* Fills in sig. */
void pw_seal_make(const char *bus, const char *epoch, struct pw_seal *s,
		  const struct pw_secret_key *key);

/* A seal outside the database: the five signed lines of J4, then the signature as a sixth. */
struct pw_seal_file {
	char bus[PW_NAME_MAX], epoch[17];
	struct pw_seal seal;
};
/* Writes dir/seal.a or dir/seal.b: the one that is missing, broken, of another epoch, or older. Whole
 * or not at all, on the disk when it returns. 0, or -1 with errno. */
int pw_seal_file_write(const char *dir, const struct pw_seal_file *f);
/* Those of the two that are whole, and how many; -1 with errno: they cannot be read. broken: how many
 * are there and not whole. */
int pw_seal_files_read(const char *dir, struct pw_seal_file f[2], unsigned *broken);

#endif

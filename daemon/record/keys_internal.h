/* SPDX-License-Identifier: Apache-2.0 */
/* keys_internal.h - the bus's key, what it signs, and the small files that hold both. */
#ifndef POSTWALK_KEYS_INTERNAL_H
#define POSTWALK_KEYS_INTERNAL_H

#include "postwalk/journal.h"

int pw_public_key_aside(const char *dir, const char *name); /* aside.c: NAME.pub alone. 0, or -1 with errno */

/* -- seal.c ------------------------------------------------------------------------------------ */

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

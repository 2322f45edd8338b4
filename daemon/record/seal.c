/* SPDX-License-Identifier: Apache-2.0 */
/* Seals (J4), and the two files that hold the newest outside the database. */
#include "record_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char *const names[2] = { "seal.a", "seal.b" };

int pw_seal_text(const char *bus, const char *epoch, const struct pw_seal *s,
		 char text[PW_SEAL_TEXT_MAX])
{
	return snprintf(text, PW_SEAL_TEXT_MAX,
			"postwalk-seal-v1\n%.31s\n%.16s\n%" PRIu64 "\n%.64s\n", bus, epoch, s->seq,
			s->hash);
}

void pw_seal_make(const char *bus, const char *epoch, struct pw_seal *s,
		  const struct pw_secret_key *key)
{
	char text[PW_SEAL_TEXT_MAX];
	int n = pw_seal_text(bus, epoch, s, text);

	pw_sign(key, text, (size_t)n, s->sig);
}

bool pw_seal_holds(const char *bus, const char *epoch, const struct pw_seal *s,
		   const struct pw_public_key *key)
{
	char text[PW_SEAL_TEXT_MAX];
	int n = pw_seal_text(bus, epoch, s, text);

	return pw_signed(key, text, (size_t)n, s->sig);
}

/* -- an office's word -------------------------------------------------------------------------- */

static int purged_text(const char *bus, const char *epoch, const struct pw_seal *s,
		       char text[PW_SEAL_TEXT_MAX])
{
	return snprintf(text, PW_SEAL_TEXT_MAX,
			"postwalk-purged-v1\n%.31s\n%.16s\n%" PRIu64 "\n%.64s\n", bus, epoch,
			s->seq, s->hash);
}

void pw_purged_make(const char *bus, const char *epoch, struct pw_seal *s,
		    const struct pw_secret_key *key)
{
	char text[PW_SEAL_TEXT_MAX];
	int n = purged_text(bus, epoch, s, text);

	pw_sign(key, text, (size_t)n, s->sig);
}

bool pw_purged_holds(const char *bus, const char *epoch, const struct pw_seal *s,
		     const struct pw_public_key *key)
{
	char text[PW_SEAL_TEXT_MAX];
	int n = purged_text(bus, epoch, s, text);

	return pw_signed(key, text, (size_t)n, s->sig);
}

/* -- outside the database ---------------------------------------------------------------------- */

#define FILE_MAX (PW_SEAL_TEXT_MAX + 132)

static void file_text(const struct pw_seal_file *f, char text[FILE_MAX])
{
	int n = pw_seal_text(f->bus, f->epoch, &f->seal, text);

	snprintf(text + n, (size_t)(FILE_MAX - n), "%s\n", f->seal.sig);
}

/* Only the very text that would be written is a whole one. */
static int file_parse(const char *text, struct pw_seal_file *f)
{
	char again[FILE_MAX];

	memset(f, 0, sizeof(*f));
	if (sscanf(text, "postwalk-seal-v1\n%31s\n%16s\n%" SCNu64 "\n%64s\n%128s\n", f->bus,
		   f->epoch, &f->seal.seq, f->seal.hash, f->seal.sig) != 5)
		return -1;
	file_text(f, again);
	return strcmp(text, again) == 0 && pw_chain_word(f->bus) && pw_hex_text(f->epoch, 16)
		       && pw_hex_text(f->seal.hash, 64) && pw_hex_text(f->seal.sig, 128) ? 0 : -1;
}

/* 1: whole; 0: not there; -1 with errno; -2: not whole. */
static int read_one(int dir, const char *name, struct pw_seal_file *f)
{
	char text[FILE_MAX + 1];
	ssize_t n = pw_whole_read(dir, name, text, sizeof(text));

	if (n < 0)
		return errno == ENOENT ? 0 : -1;
	return strlen(text) == (size_t)n && file_parse(text, f) == 0 ? 1 : -2;
}

/* Which of the two is to be written over: what is of no use first, else the older. */
static unsigned choose(int dir, const struct pw_seal_file *fresh)
{
	struct pw_seal_file f[2];

	for (unsigned i = 0; i < 2; i++)
		if (read_one(dir, names[i], &f[i]) != 1 || strcmp(f[i].epoch, fresh->epoch) != 0)
			return i;
	return f[0].seal.seq <= f[1].seal.seq ? 0 : 1;
}

int pw_seal_file_write(const char *dir, const struct pw_seal_file *f)
{
	int folder = pw_whole_open(dir), result, error;
	char text[FILE_MAX];

	if (folder < 0)
		return -1;
	file_text(f, text);
	result = pw_whole_write(folder, names[choose(folder, f)], 0640, text);
	error = errno;
	close(folder);
	errno = error;
	return result;
}

int pw_seal_files_read(const char *dir, struct pw_seal_file f[2], unsigned *broken)
{
	int folder = pw_whole_open(dir), found = 0, one = 0, error = 0;

	*broken = 0;
	if (folder < 0)
		return -1;
	for (unsigned i = 0; i < 2 && one != -1; i++) {
		one = read_one(folder, names[i], &f[found]);
		error = errno;
		found += one == 1;
		*broken += one == -2;
	}
	close(folder);
	errno = error;
	return one == -1 ? -1 : found;
}

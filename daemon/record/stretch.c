/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A stretch of the journal as export lines (J10): from a record to a seal. It is made slice by slice,
 * since the watch's batches come first, and no statement stays under way between two slices.
 */
#include "stretch_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#define REST_MAX 512 /* of a seal's line and the last one */

void pw_stretch_drop(struct pw_stretch *s)
{
	if (s->fd >= 0)
		close(s->fd);
	s->fd = -1;
	s->done = false;
}

/* There will be no text: 0, as a slice has it. */
__attribute__((format(printf, 2, 3)))
static int nothing(struct pw_stretch *s, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	vsnprintf(s->words, sizeof(s->words), format, args);
	va_end(args);
	pw_stretch_drop(s);
	return 0;
}

/* A line of so many bytes, -1: it does not fit. False: there will be no text. */
static bool put(struct pw_stretch *s, int length)
{
	ssize_t n;

	if (length < 0) {
		nothing(s, "seq %" PRIu64 " has no line as an export has them", s->next);
		return false;
	}
	s->line[length++] = '\n';
	n = pwrite(s->fd, s->line, (size_t)length, (off_t)s->length);
	if (n != length) {
		nothing(s, "no memory for a text: %s", n < 0 ? strerror(errno) : "it is full");
		return false;
	}
	s->length += (size_t)length;
	return true;
}

void pw_stretch_begin(struct pw_stretch *s, struct pw_journal *j, const struct pw_public_key *key,
		      uint64_t first, bool alert)
{
	s->first = s->next = first;
	s->last = alert ? first : pw_journal_sealed(j);
	s->least = alert ? 0 : PW_STRETCH_LEAST;
	s->seq = s->length = s->good_length = 0;
	s->records = s->seals = s->good_records = 0;
	s->seal.seq = 0;
	s->hash[0] = s->words[0] = '\0';
	s->done = false;
	s->fd = memfd_create("stretch", MFD_CLOEXEC | MFD_ALLOW_SEALING);
	if (s->fd < 0)
		nothing(s, "no memory for a text: %s", strerror(errno));
	else
		put(s, pw_export_head(pw_journal_bus(j), key, s->line, sizeof(s->line) - 1));
}

/* -- records and seals ------------------------------------------------------------------------- */

/* The record that is next. 1: given; 0: there is none, and no text. */
static int read_next(struct pw_stretch *s, struct pw_journal *j, struct pw_record *r, char *why, size_t size)
{
	int result = pw_journal_read(j, s->next, r, why, size);

	if (result < 0 || (result == 1 && r->seq == s->next))
		return result;
	if (s->records == 0 && result == 1)
		s->first = r->seq; /* it begins there */
	return nothing(s, "seq %" PRIu64 " is not there any more", s->next);
}

static int read_seal(struct pw_stretch *s, struct pw_journal *j, uint64_t seq, char *why, size_t size)
{
	int result = s->seal.seq < seq ? pw_journal_read_seal(j, seq, &s->seal, why, size) : 1;

	if (result == 0)
		s->seal.seq = UINT64_MAX;
	return result < 0 ? result : 0;
}

/* 1: it may end there. */
static int put_seal(struct pw_stretch *s, const struct pw_record *r)
{
	if (!put(s, pw_export_seal(&s->seal, s->line, sizeof(s->line) - 1)))
		return 0;
	s->seals++;
	s->seq = r->seq;
	memcpy(s->hash, r->hash, sizeof(s->hash));
	s->good_length = s->length;
	s->good_records = s->records;
	return s->length >= s->least || s->next > s->last;
}

static bool is_too_long(const struct pw_stretch *s)
{
	return s->good_length > 0 && s->length + REST_MAX > PW_STRETCH_MOST;
}

/* What is behind its last seal is left to the next one. */
static int finish(struct pw_stretch *s)
{
	s->length = s->good_length;
	if (ftruncate(s->fd, (off_t)s->length) < 0)
		return nothing(s, "no memory for a text: %s", strerror(errno));
	if (!put(s, pw_export_end(s->good_records, s->seals, s->line, sizeof(s->line) - 1)))
		return 0;
	if (fcntl(s->fd, F_ADD_SEALS, F_SEAL_SEAL | F_SEAL_SHRINK | F_SEAL_GROW | F_SEAL_WRITE) < 0)
		return nothing(s, "a text cannot be sealed: %s", strerror(errno));
	s->done = true;
	return 0;
}

/* 1: go on; 0: done. */
static int put_record(struct pw_stretch *s, struct pw_journal *j, char *why, size_t size)
{
	struct pw_record r;
	int result;

	if ((result = read_next(s, j, &r, why, size)) != 1
	    || (result = read_seal(s, j, r.seq, why, size)) < 0)
		return result;
	if (!put(s, pw_export_record(&r, s->line, sizeof(s->line) - 1)))
		return 0;
	s->records++;
	s->next++;
	if (is_too_long(s) || (s->seal.seq == r.seq && put_seal(s, &r) == 1))
		return finish(s);
	return s->fd >= 0;
}

int pw_stretch_slice(struct pw_stretch *s, struct pw_journal *j, char *why, size_t size)
{
	int result = s->fd >= 0;

	if (result == 1 && (s->next == 0 || s->next > s->last)) {
		pw_stretch_drop(s);
		return 0;
	}
	for (unsigned i = 0; i < PW_STRETCH_SLICE && result == 1; i++)
		result = put_record(s, j, why, size);
	pw_journal_rest(j);
	return result;
}

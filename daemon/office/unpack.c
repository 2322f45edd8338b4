/* SPDX-License-Identifier: Apache-2.0 */
/* A packed body made plain: gzip (RFC 1952) by zlib, zstd (RFC 8878). */
#include <stdlib.h>
#include <string.h>
#include <zlib.h>
#include <zstd.h>

#include "intake_internal.h"

#define FIRST_ROOM 65536
#define ZSTD_WINDOW_LOG 23 /* 8 MiB: what a reader should support by RFC 8878, 3.1.1.1.2 */

struct room {
	char *text;
	size_t used, size, most;
};

/* One byte more than most, so that what is too long shows. 0; -1: no memory; -3: most is passed. */
static int make_room(struct room *r)
{
	size_t size = r->size == 0 ? FIRST_ROOM : r->size * 2;
	char *more;

	if (r->used > r->most)
		return -3;
	if (r->used < r->size)
		return 0;
	if (size > r->most + 1)
		size = r->most + 1;
	more = realloc(r->text, size);
	if (!more)
		return -1;
	r->text = more;
	r->size = size;
	return 0;
}

static int plain(const void *body, size_t length, struct room *r)
{
	if (length > r->most)
		return -3;
	r->text = malloc(length > 0 ? length : 1);
	if (!r->text)
		return -1;
	memcpy(r->text, body, length);
	r->used = length;
	return 0;
}

/* -- gzip -------------------------------------------------------------------------------------- */

/* Members may follow each other (RFC 1952, 2.2); nothing else may. */
static int inflate_members(z_stream *z, struct room *r)
{
	int result, got;

	do {
		result = make_room(r);
		if (result)
			return result;
		z->next_out = (unsigned char *)r->text + r->used;
		z->avail_out = (unsigned)(r->size - r->used);
		got = inflate(z, Z_NO_FLUSH);
		r->used = r->size - z->avail_out;
		if (got == Z_STREAM_END && z->avail_in > 0)
			got = inflateReset(z);
	} while (got == Z_OK);
	if (got != Z_STREAM_END)
		return got == Z_MEM_ERROR ? -1 : -2;
	return r->used > r->most ? -3 : 0;
}

static int gunzip(const void *body, size_t length, struct room *r)
{
	z_stream z = { .next_in = (unsigned char *)(uintptr_t)body, .avail_in = (unsigned)length };
	int result;

	if (inflateInit2(&z, 15 + 16) != Z_OK)
		return -1;
	result = inflate_members(&z, r);
	inflateEnd(&z);
	return result;
}

/* -- zstd -------------------------------------------------------------------------------------- */

static int decompress_frames(ZSTD_DCtx *z, const void *body, size_t length, struct room *r)
{
	ZSTD_inBuffer in = { .src = body, .size = length };
	size_t left = 1, before;
	int result;

	while (in.pos < in.size || left > 0) {
		result = make_room(r);
		if (result)
			return result;
		ZSTD_outBuffer out = { .dst = r->text, .size = r->size, .pos = r->used };

		before = in.pos;
		left = ZSTD_decompressStream(z, &out, &in);
		if (ZSTD_isError(left))
			return -2;
		if (in.pos == before && out.pos == r->used && left > 0)
			return -2; /* it wants more, and there is no more */
		r->used = out.pos;
	}
	return r->used > r->most ? -3 : 0;
}

static int unzstd(const void *body, size_t length, struct room *r)
{
	ZSTD_DCtx *z = ZSTD_createDCtx();
	int result;

	if (!z)
		return -1;
	ZSTD_DCtx_setParameter(z, ZSTD_d_windowLogMax, ZSTD_WINDOW_LOG);
	result = decompress_frames(z, body, length, r);
	ZSTD_freeDCtx(z);
	return result;
}

/* ---------------------------------------------------------------------------------------------- */

int pw_unpack(enum pw_packing packing, const void *body, size_t length, size_t most, char **text,
	      size_t *out, char *why, size_t size)
{
	struct room r = { .most = most };
	int result = packing == PW_PACK_GZIP ? gunzip(body, length, &r)
		     : packing == PW_PACK_ZSTD ? unzstd(body, length, &r) : plain(body, length, &r);

	*text = r.text;
	*out = r.used;
	if (result == 0)
		return 0;
	free(r.text);
	*text = NULL;
	if (result == -1)
		snprintf(why, size, "there is no memory to unpack it now");
	else if (result == -2)
		snprintf(why, size, "expected a whole %s stream and nothing behind it",
			 packing == PW_PACK_GZIP ? "gzip" : "zstd");
	else
		snprintf(why, size, "expected at most %zu bytes of text", most);
	return result;
}

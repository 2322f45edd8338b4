/* SPDX-License-Identifier: Apache-2.0 */
/* What every file of a pack was, as sha256sum has it; signed by the office's key. */
#include <stdlib.h>
#include <sodium.h>
#include <string.h>

#include "pack_internal.h"

#define PIECE 65536

static int sum_file(struct pw_pack *p, const char *name, char hex[65])
{
	unsigned char piece[PIECE], digest[crypto_hash_sha256_BYTES];
	crypto_hash_sha256_state state;
	char path[700];
	size_t got;
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s", p->dir, name);
	f = fopen(path, "re");
	if (!f)
		return pw_pack_broke(p, name);
	crypto_hash_sha256_init(&state);
	while ((got = fread(piece, 1, sizeof(piece), f)) > 0)
		crypto_hash_sha256_update(&state, piece, got);
	crypto_hash_sha256_final(&state, digest);
	sodium_bin2hex(hex, 65, digest, sizeof(digest));
	if (ferror(f)) {
		fclose(f);
		return pw_pack_broke(p, name);
	}
	fclose(f);
	return 0;
}

static int write_sums(struct pw_pack *p, FILE *out, FILE *text)
{
	const char (*name)[128] = p->files.item;
	const size_t count = p->files.count - 1; /* the last one is this file */
	char hex[65];

	for (size_t i = 0; i < count; i++) {
		if (sum_file(p, name[i], hex))
			return -1;
		fprintf(out, "%s  %s\n", hex, name[i]);
		fprintf(text, "%s  %s\n", hex, name[i]);
	}
	return 0;
}

static int write_signature(struct pw_pack *p, const char *text, size_t length)
{
	unsigned char raw[64];
	char sig[129];
	FILE *out = pw_pack_open(p, "SHA256SUMS.sig");

	if (!out)
		return -1;
	pw_sign(&p->o->key, text, length, sig);
	sodium_hex2bin(raw, sizeof(raw), sig, 128, NULL, NULL, NULL);
	fwrite(raw, 1, sizeof(raw), out);
	return pw_pack_close(p, &out);
}

/* The list is a line a file: what is signed may stand in memory. */
int pw_pack_sums(struct pw_pack *p, char hex[65])
{
	char *text = NULL;
	size_t length = 0;
	FILE *copy = open_memstream(&text, &length), *out = pw_pack_open(p, "SHA256SUMS");
	int result = copy && out ? write_sums(p, out, copy) : -1;

	if (copy && fclose(copy))
		result = pw_pack_broke(p, "SHA256SUMS");
	if (out && pw_pack_close(p, &out))
		result = -1;
	if (result == 0)
		result = sum_file(p, "SHA256SUMS", hex);
	if (result == 0)
		result = write_signature(p, text, length);
	free(text);
	return result;
}

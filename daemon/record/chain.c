/* SPDX-License-Identifier: Apache-2.0 */
/* The chain of records (J3), hashed as text so that sha256sum can say whether it holds. */
#include "record_internal.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

const char PW_CHAIN_ORIGIN[65] =
	"0000000000000000000000000000000000000000000000000000000000000000";

void pw_sha256_hex(const struct iovec *parts, int count, char hex[65])
{
	unsigned char digest[crypto_hash_sha256_BYTES];
	crypto_hash_sha256_state state;

	crypto_hash_sha256_init(&state);
	for (int i = 0; i < count; i++)
		crypto_hash_sha256_update(&state, parts[i].iov_base, parts[i].iov_len);
	crypto_hash_sha256_final(&state, digest);
	sodium_bin2hex(hex, 65, digest, sizeof(digest));
}

void pw_record_hash(const char *bus, const struct pw_record *r, char hash[65])
{
	char head[512];
	struct iovec parts[2];
	int n = snprintf(head, sizeof(head),
			 "postwalk-record-v1\n%s\n%s\n%" PRIu64 "\n%" PRIu64 "\n%" PRId64
			 "\n%" PRId64 "\n%d\n%s\n%.64s\n",
			 bus, r->epoch, r->seq, r->boot, r->mono_ms, r->wall_ms, r->wall_ok ? 1 : 0,
			 pw_kind_name(r->kind), r->prev);

	parts[0] = (struct iovec){ .iov_base = head, .iov_len = (size_t)n };
	parts[1] = (struct iovec){ .iov_base = (char *)(uintptr_t)r->body,
				   .iov_len = strlen(r->body) };
	pw_sha256_hex(parts, 2, hash);
}

bool pw_chain_word(const char *text)
{
	static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
				      "0123456789._-";

	return text[0] != '\0' && text[strspn(text, allowed)] == '\0';
}

bool pw_hex_text(const char *text, size_t digits)
{
	return strlen(text) == digits && strspn(text, "0123456789abcdef") == digits;
}

const char *pw_kind_name(enum pw_kind kind)
{
	static const char *const names[PW_KINDS] = {
#define X(up, low) [PW_K_##up] = #low,
		PW_KIND_LIST(X)
#undef X
	};

	return kind > PW_K_NONE && kind < PW_KINDS ? names[kind] : "none";
}

enum pw_kind pw_kind_find(const char *name)
{
	for (enum pw_kind k = PW_K_NONE + 1; k < PW_KINDS; k++)
		if (strcmp(pw_kind_name(k), name) == 0)
			return k;
	return PW_K_NONE;
}

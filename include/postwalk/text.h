/* SPDX-License-Identifier: Apache-2.0 */
/* text.h - small texts: hashes and words as records have them, and small files. No state. */
#ifndef POSTWALK_TEXT_H
#define POSTWALK_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>
#include <sys/uio.h>

/* -- chain.c ----------------------------------------------------------------------------------------- */

void pw_sha256_hex(const struct iovec *parts, int count, char hex[65]);
bool pw_chain_word(const char *text); /* of [A-Za-z0-9._-], not empty */
bool pw_hex_text(const char *text, size_t digits); /* that many of 0-9 a-f, and no more */

/* -- json.c ------------------------------------------------------------------------------------------ */

/* The length of the UTF-8 sequence that begins here (RFC 3629), 0 when none does. */
size_t pw_utf8_sequence(const unsigned char *s, size_t left);

/* -- whole.c: small files, there whole or as they were ------------------------------------------------- */

int pw_whole_open(const char *dir); /* fd of the folder, or -1 with errno */
/* The whole file (cut to size, ended by a zero). Its length, size when it is longer; -1 with errno. */
ssize_t pw_whole_read(int dir, const char *name, char *text, size_t size);
/* Temporary file, fsync, rename, fsync of the folder. 0, or -1 with errno. */
int pw_whole_write(int dir, const char *name, mode_t mode, const char *text);

#endif

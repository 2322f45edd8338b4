/* SPDX-License-Identifier: Apache-2.0 */
/* sheet.h - text into a buffer of fixed size, escaped. */
#ifndef POSTWALK_PAGE_SHEET_H
#define POSTWALK_PAGE_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "words.h"

struct pw_sheet {
	char *buf;
	size_t size, len;
	bool over; /* something did not fit: all of it is void */
	enum pw_language language; /* of its words: English until it is set */
};

/* Length of the UTF-8 character at s (RFC 3629), 0 when there is none. */
size_t pw_utf8_length(const unsigned char *s);

void pw_sheet_open(struct pw_sheet *t, char *buf, size_t size);
int pw_sheet_close(const struct pw_sheet *t); /* length without the closing zero, or -1 */
void pw_sheet_raw(struct pw_sheet *t, const char *s);
void pw_sheet_bytes(struct pw_sheet *t, const char *s, size_t len);
void pw_sheet_fmt(struct pw_sheet *t, const char *fmt, ...)
	__attribute__((format(printf, 2, 3))); /* 127 characters at most */
void pw_sheet_html(struct pw_sheet *t, const char *s); /* for content and quoted attributes */
void pw_sheet_json(struct pw_sheet *t, const char *s); /* with its quotes */
/* A word, escaped for HTML, a for {1} and b for {2}. */
void pw_sheet_word(struct pw_sheet *t, enum pw_word word, const char *a, const char *b);
/* The same of something counted: the count for {1}; for {2} markup as it is. */
void pw_sheet_count(struct pw_sheet *t, enum pw_word word, int64_t count, const char *markup);

#endif

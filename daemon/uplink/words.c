/* SPDX-License-Identifier: Apache-2.0 */
#include "uplink_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "postwalk/text.h"

int64_t pw_uplink_now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* A service manager reads the level from the head of the line; a person does not want it. */
void pw_uplink_log(int level, const char *format, ...)
{
	char text[512];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof(text), format, args);
	va_end(args);
	pw_plain(text);
	if (getenv("JOURNAL_STREAM"))
		dprintf(STDERR_FILENO, "<%d>%s\n", level, text);
	else
		dprintf(STDERR_FILENO, "postwalk uplink: %s\n", text);
}

/* C0, DEL, and C1 in UTF-8. */
static bool moves_cursor(const unsigned char *at)
{
	return at[0] < ' ' || at[0] == 0x7f || (at[0] == 0xc2 && at[1] < 0xa0);
}

void pw_plain(char *text)
{
	size_t left = strlen(text), n;
	char *to = text;

	for (const char *at = text; left > 0; at += n, left -= n) {
		n = pw_utf8_sequence((const unsigned char *)at, left);
		if (n > 0 && !moves_cursor((const unsigned char *)at)) {
			memmove(to, at, n);
			to += n;
			continue;
		}
		n = n > 0 ? n : 1;
		*to++ = '?';
	}
	*to = '\0';
}

void pw_fit(char *to, size_t size, const char *text)
{
	size_t length = strlen(text), n = 0, one;

	while (n < length
	       && (one = pw_utf8_sequence((const unsigned char *)text + n, length - n)) > 0
	       && n + one < size)
		n += one;
	memcpy(to, text, n);
	to[n] = '\0';
}

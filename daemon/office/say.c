/* SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "office_internal.h"

int64_t pw_office_now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_REALTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* A service manager reads the level from the head of the line; a person does not want it. */
void pw_office_say(const char *format, ...)
{
	char text[512];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof(text), format, args);
	va_end(args);
	if (getenv("JOURNAL_STREAM"))
		dprintf(STDERR_FILENO, "<5>%s\n", text);
	else
		dprintf(STDERR_FILENO, "postwalk-office: %s\n", text);
}
